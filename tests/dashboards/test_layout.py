"""Form of templates and style sheets, and plain English of pages and papers."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from fieldfare import dashboards

ROOM = Path(dashboards.__file__).parent
TEMPLATES = sorted((ROOM / "templates").glob("*.html"))
SHEETS = sorted((ROOM / "static").glob("*.css"))
BLOCKS = [
    "html",
    "head",
    "body",
    "main",
    "header",
    "footer",
    "nav",
    "section",
    "article",
    "div",
    "p",
    "h1",
    "h2",
    "h3",
    "h4",
    "ul",
    "ol",
    "li",
    "dl",
    "dt",
    "dd",
    "table",
    "thead",
    "tbody",
    "tr",
    "td",
    "th",
    "caption",
    "figure",
    "figcaption",
    "form",
    "fieldset",
    "legend",
    "details",
    "summary",
    "select",
    "option",
    "link",
    "meta",
    "title",
]
_OPENING = re.compile(rf"<(?:{'|'.join(BLOCKS)})(?=[\s>{{])")
REPLACED = (
    "Intervals hold 95 in 100",
    "The ground was at",
    "there is one thing you should know",
    "keeps the water wholesome",
    "Reckoned from",
    "It caused",
    "plain electric heater",
    "were looked through every night",
    "speaks against the winter",
    "not in order, ",
    "need a drive",
    "Nothing but a visit mends",
    "poorest class on sale",
    "Efficiency at like conditions",
    "Direct heater works",
    "Rooms colder than asked",
    "was never like the weather after",
    "Enter a work",
    "come there by yourself",
    "the second law at each day",
    "starts an hour for each 1 of output",
    "days lie below the loss",
    "of the runs shorter than",
    "ended by the room's call",
    "sheet to sign: to print",
    "signs as with too little refrigerant",
    "a fault of ours",
    "no fault of ours",
    "hand and eye",
    "where each setting stands",
    "nobody yet",
    "what it rests on",
    "lead one to expect",
)
"""Wordings that plain English has replaced."""


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda p: p.name)
def test_templates_have_one_element_a_line_and_short_lines(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    for n, line in enumerate(text.splitlines(), 1):
        assert len(line) <= 160, f"line {n} has {len(line)} characters"
        assert len(_OPENING.findall(line)) <= 1, f"line {n} opens several elements"
    depth = [len(line) - len(line.lstrip()) for line in text.splitlines() if line.strip()]
    assert len(depth) < 4 or max(depth) > 0, "nothing is indented"


@pytest.mark.parametrize("path", SHEETS, ids=lambda p: p.name)
def test_style_sheets_have_one_rule_a_line(path: Path) -> None:
    for n, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        assert len(line) <= 110, f"line {n} has {len(line)} characters"
        assert line.count("}") <= 1, f"line {n} holds several rules"


def test_replaced_wordings_are_gone() -> None:
    for path in sorted(ROOM.rglob("*")):
        if path.suffix not in (".py", ".html", ".js", ".toml", ".po") or not path.is_file():
            continue
        text = re.sub(r"[\"']\s*\n\s*f?[\"']", "", path.read_text(encoding="utf-8"))
        text = re.sub(r"\s+", " ", text).casefold()
        for wording in REPLACED:
            assert wording.casefold() not in text, f"{path.name}: {wording}"


def test_long_tags_wrap() -> None:
    """A decision's tag holds whole sentences and a person's name."""
    sheet = (ROOM / "static" / "pages.css").read_text(encoding="utf-8")
    own = re.search(r"(?m)^\.tag \{([^}]*)\}", sheet)
    assert own is not None
    assert "nowrap" not in own[1]
