"""The template engine, its filters and globals."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from fieldfare.analysis.plain_text import plain_text
from fieldfare.dashboards import assets
from fieldfare.dashboards.checks.lists import entered_by, open_points
from fieldfare.dashboards.handbook.keys import KEYS
from fieldfare.dashboards.text import language, words
from fieldfare.dashboards.text.labels import SEVERITY_MEANING

TEMPLATES = Path(__file__).resolve().parent / "templates"
_FILTERS = (
    "finding_title",
    "verdict_words",
    "evidence_words",
    "telling_first",
    "missing_words",
    "named",
    "sentence",
    "capital",
    "small_first",
    "cause_words",
    "causes_told",
    "loss_words",
    "severity_words",
    "visit_words",
    "quantity_words",
    "kind_words",
    "unit",
    "number",
    "duration",
    "measure",
    "share",
    "interval",
    "money",
    "day",
    "days_between",
    "month",
    "moment",
    "since",
    "span",
    "confidence_text",
    "price_tag",
    "listed",
    "plain",
    "reason",
)


@cache
def environment() -> Environment:
    env = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
        finalize=_plain,
    )
    env.filters.update({name: getattr(words, name) for name in _FILTERS})
    env.globals.update(
        _=language.gettext,
        ngettext=language.ngettext,
        language=language.language,
        is_draft=lambda: language.language() in language.DRAFTS,
        asset=assets.address,
        plotly_styles=assets.plotly_styles,
        tally=tally,
        meaning=SEVERITY_MEANING,
        count=words.count,
        entered_by=entered_by,
        open_points=open_points,
        age=words.age,
        file_until=words.file_until,
        handbook=KEYS,
    )
    return env


def _plain(value: Any) -> Any:
    """Sanitise values in templates: texts lose invisible and direction characters; our own markup is
    unchanged."""
    return plain_text(value) if type(value) is str else value


def render(template: str, **context: Any) -> str:
    """Render a page from a template. `visitor` and `here` (active section of the service) default to None."""
    given = {"here": "", "wide": False, **context}
    given["visitor"] = {
        "name": "",
        "role": "",
        "csrf": "",
        "by_link": False,
        "owner": "",
        "demo_clock": None,
        **context.get("visitor", {}),
    }
    return environment().get_template(template).render(given)


_STROKES = {"urgent": 4, "act": 3, "watch": 2, "note": 1}


def tally(severity: str | None) -> Markup:
    """Mark of a verdict or severity: one to four strokes, the fourth crossed; a ring for in order, a broken
    ring for not known.

    Readable by shape, and by the word that is always beside it.
    """
    n = _STROKES.get(severity or "", 0)
    if n == 0:
        broken = ' stroke-dasharray="3.4 3.4"' if severity == "not_known" else ""
        body = (
            f'<circle cx="12" cy="12" r="6.5" fill="none" stroke="currentColor" stroke-width="2.5"{broken}/>'
        )
    else:
        gap, left = 5, 12 - (n - 1) * 2.5
        body = "".join(
            f'<path d="M{left + i * gap:g} 4v16" stroke="currentColor" stroke-width="2.6"'
            ' stroke-linecap="round"/>'
            for i in range(n)
        )
        if n == 4:
            body += (
                '<path d="M1.5 18 22.5 6" stroke="currentColor" stroke-width="2.6" stroke-linecap="round"/>'
            )
    head = '<svg class="tally" viewBox="0 0 24 24" aria-hidden="true" focusable="false">'
    return Markup(f"{head}{body}</svg>")  # noqa: S704
