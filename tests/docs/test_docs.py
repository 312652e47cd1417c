"""The docs build without warnings and network, their examples run, and their links exist."""

from __future__ import annotations

import doctest
import importlib.util
import os
import re
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from fieldfare.analysis.facts.columns import COLUMNS
from fieldfare.analysis.findings.limits import LIMITS
from fieldfare.dashboards.handbook.keys import KEYS
from tests.contract_codes import CONTRACT_CODES

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
ROOMS = ("analysis", "api", "collector", "dashboards")
WRITTEN = sorted(p for p in DOCS.rglob("*.md") if not {"_build", "handbook"} & set(p.relative_to(DOCS).parts))
REFERENCE = re.compile(
    r"\breferences?(?: values)? (\d{1,2}(?:\.\d{1,2})?)(?:(?:,| and) (\d{1,2}\.\d{1,2}))?", re.I
)


def extension(name: str) -> ModuleType:
    """One of the docs' own Sphinx extensions."""
    spec = importlib.util.spec_from_file_location(f"docs_{name}", DOCS / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    return made


def test_every_page_builds_without_a_warning(tmp_path: Path) -> None:
    """Every page is read and its links are followed; `make docs` writes them too."""
    options = ["-W", "--keep-going", "-q", "-E", "-b", "dummy", "-d", str(tmp_path / "trees")]
    proxies = {"http_proxy": "http://127.0.0.1:9", "https_proxy": "http://127.0.0.1:9"}  # no network
    done = subprocess.run(
        [sys.executable, "-m", "sphinx", *options, str(DOCS), str(tmp_path / "out")],
        env={**os.environ, **proxies},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr


def test_each_finding_and_each_limit_has_its_place_in_the_handbook(tmp_path: Path) -> None:
    folder = tmp_path / "handbook"
    extension("handbook").write_pages(folder)
    pages = {p.stem: p.read_text(encoding="utf-8") for p in folder.glob("*.md")}
    assert set(pages) == KEYS | {"index", "quantities", "days_table"}
    assert all(f"| `{name}` |" in pages["days_table"] for name in COLUMNS)
    for code in CONTRACT_CODES:
        for part in ("How it is worked out", "What it can't tell", "Severity"):
            assert f"## {part}" in pages[code], code
    missing = [name for name in LIMITS if not any(f"| `{name}` |" in page for page in pages.values())]
    assert not missing
    assert "[reference 9.3](../references.md#reference-9-3)" in pages["short_cycling"]


def test_pages_of_entries_that_are_gone_are_removed(tmp_path: Path) -> None:
    (tmp_path / "no_such_finding.md").write_text("old")
    extension("handbook").write_pages(tmp_path)
    assert not (tmp_path / "no_such_finding.md").exists()


def test_each_reference_of_the_code_exists() -> None:
    text = (DOCS / "references.md").read_text(encoding="utf-8")
    there = set(re.findall(r"^#{2,3} (\d{1,2}(?:\.\d{1,2})?) ", text, re.M))
    targets = set(re.findall(r"^\(reference-([\d-]+)\)=$", text, re.M))
    assert targets == {number.replace(".", "-") for number in there}
    files = [p for room in (*ROOMS, "tests") for p in (ROOT / room).rglob("*.py")]
    named = {
        number: path.relative_to(ROOT)
        for path in files
        for match in REFERENCE.finditer(
            re.sub(r'"?\s*\n\s*(?:#|f?")? ?', " ", path.read_text(encoding="utf-8"))
        )
        for number in match.groups()
        if number
    }
    assert {"9.3", "6.2", "8"} <= set(named)
    unknown = {number: str(path) for number, path in named.items() if number not in there}
    assert not unknown


def test_parameters_of_a_docstring_become_a_list() -> None:
    lines = ["Read it.", "", "path, site : a file;", "    more of it", "Returns a Site.", "  of it", ""]
    assert extension("docstrings").as_rest(lines) == [
        "Read it.",
        "",
        "",
        "",
        "- **path, site**: a file; more of it",
        "",
        "Returns a Site.",
        "of it",
        "",
        "",
    ]


@pytest.mark.parametrize("page", WRITTEN, ids=lambda p: str(p.relative_to(DOCS)))
def test_examples_run(page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    blocks = re.findall(r"^```pycon\n(.*?)^```$", page.read_text(encoding="utf-8"), re.M | re.S)
    if not blocks:
        return
    monkeypatch.chdir(tmp_path)
    if "home.toml" in "".join(blocks):
        subprocess.run([sys.executable, str(DOCS / "example.py"), str(tmp_path)], check=True)
    example = doctest.DocTestParser().get_doctest("\n".join(blocks), {}, page.name, str(page), 0)
    assert example.examples
    told: list[str] = []
    result = doctest.DocTestRunner().run(example, out=told.append)
    assert not result.failed, "".join(told)


@pytest.mark.parametrize("page", [*WRITTEN, ROOT / "DEVELOPERS.md"], ids=lambda p: p.name)
def test_files_and_folders_that_a_page_names_exist(page: Path) -> None:
    """A path in code marks that begins with a folder of the tree."""
    tops = (*ROOMS, "deploy", "docs", "tests")
    named = re.findall(rf"`((?:{'|'.join(tops)})/[\w./-]*)`", page.read_text(encoding="utf-8"))
    assert not [path for path in named if not (ROOT / path).exists()]
