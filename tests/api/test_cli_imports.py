"""Modules loaded by short commands, so that a new heavy import is noticed."""

from __future__ import annotations

import subprocess
import sys
from ast import literal_eval
from pathlib import Path

import pytest

from fieldfare.api.cli.entry import run
from tests.api.sites import readings, site_text, write_csv

_RUN = (
    "import sys; before = set(sys.modules)\n"
    "from fieldfare.api.cli.entry import run\n"
    "code = run(sys.argv[1:])\n"
    "print(*(f'loaded {name}' for name in set(sys.modules) - before), sep='\\n')\n"
    "sys.exit(code)\n"
)
COMMAND_LINE = {"click"}
STATE = COMMAND_LINE | {"sqlalchemy", "typing_extensions", "cython_runtime"}
SITE_FILES = STATE | {"pydantic", "pydantic_core", "annotated_types", "typing_inspection", "tzdata"}
RESULTS = SITE_FILES | {"babel", "orjson"}  # babel takes 0.03 s
ANALYSIS = RESULTS | {"numpy", "pyarrow", "cloudpickle"}  # the last is pyarrow's
INTAKE = RESULTS | {"numpy", "pyarrow", "cloudpickle"}
PARTS = {"sqlalchemy.orm", "sqlalchemy.dialects.postgresql"}
"""Parts of allowed packages that these commands do without."""
SHORT = {
    "--version": COMMAND_LINE,
    "--help": COMMAND_LINE,
    "site template": COMMAND_LINE,
    "site add alder.toml": SITE_FILES,
    "site show alder-row": SITE_FILES,
    "site list": RESULTS,
    "fleet": RESULTS,
    "fleet --format json": RESULTS,
    "analyse alder-row": RESULTS,
    "analyse alder-row --format json": RESULTS,
}
"""Command -> the packages outside the standard library that it may load."""
FAMILIES = {"cycling", "data", "defrost", "electric", "flow", "heat", "hot_water", "stopped"}
OF_RULES = tuple(f"fieldfare.analysis.findings.{name}" for name in ("limit", "limits", "model", "phrases"))
"""Tables of limits, the shape of a finding and words for dates: for verdicts and site files; no rules."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder of one site whose readings are sealed and whose results are kept."""
    folder = tmp_path_factory.mktemp("short")
    (folder / "alder.toml").write_text(site_text(), encoding="utf-8")
    write_csv(folder / "readings.csv", readings())
    for command in ("site add alder.toml", "ingest alder-row readings.csv", "fleet", "analyse alder-row"):
        words = [str(folder / word) if word.endswith((".toml", ".csv")) else word for word in command.split()]
        assert run(["--data", str(folder / "data"), *words]) == 0
    assert list((folder / "data" / "readings" / "sealed" / "alder-row").glob("*.parquet"))
    return folder


def _loaded(folder: Path, command: str, data: str = "data") -> set[str]:
    """Names of the modules that a command loads."""
    done = subprocess.run(
        [sys.executable, "-c", _RUN, "--data", str(folder / data), *command.split()],
        capture_output=True,
        text=True,
        cwd=folder,
        env={"PYTHONPATH": str(Path(__file__).parents[2]), "PATH": ""},
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return {line.split()[1] for line in done.stdout.splitlines() if line.startswith("loaded ")}


def _packages(modules: set[str]) -> set[str]:
    """Packages outside the standard library and our own, without compiled helpers (`_cython_...`)."""
    ours = {"fieldfare"}
    found = {name.split(".")[0] for name in modules} - sys.stdlib_module_names - ours
    return {name for name in found if not name.startswith("_")}


@pytest.mark.parametrize("command", SHORT)
def test_a_short_command_loads_what_it_runs(folder: Path, command: str) -> None:
    modules = _loaded(folder, command)
    assert _packages(modules) <= SHORT[command]
    assert not modules & PARTS
    rules = {
        m
        for m in modules
        if m.startswith("fieldfare.analysis.findings.")
        and not m.startswith(OF_RULES)
        and not m.rsplit(".", 1)[-1].startswith("limits")
        and m.rsplit(".", 1)[-1] not in FAMILIES
    }
    assert not rules
    assert not modules & {
        "fieldfare.analysis.reports.result",
        "fieldfare.analysis.facts.build",
        "fieldfare.analysis.facts.table",
        "fieldfare.analysis.minutes.grid",
    }


def test_a_new_database_loads_no_class_of_a_table(folder: Path) -> None:
    modules = _loaded(folder, "site add alder.toml", data="another")
    assert _packages(modules) <= SITE_FILES
    assert not modules & (PARTS | {"fieldfare.api.state.tables", "fieldfare.api.state.schema"})


def test_what_is_made_anew_loads_the_analysis(folder: Path) -> None:
    """The check above would see it: other days of the same site have no kept result."""
    modules = _loaded(folder, "analyse alder-row --to 2026-01-07")
    assert {"numpy", "pyarrow"} <= _packages(modules)
    assert "fieldfare.analysis.findings.judge" in modules
    assert _packages(modules) <= ANALYSIS
    assert not _packages(modules) & {"scipy", "pandas"}


def test_an_import_loads_no_pandas(folder: Path) -> None:
    """pyarrow loads it at the first conversion of its own: `collector.arrow` has others."""
    modules = _loaded(folder, "ingest alder-row readings.csv")
    assert "pyarrow.csv" in modules
    assert _packages(modules) <= INTAKE
    assert "pandas" not in modules


def test_the_service_loads_no_pandas_and_no_scipy() -> None:
    """They take 45 MB of every process: whoever needs one loads it there."""
    program = "import sys, fieldfare.api.running.serve, fieldfare.api.http.app; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert "fieldfare.api.http.app" in done.stdout.split()
    assert not _packages(set(done.stdout.split())) & {"pandas", "scipy"}


def test_a_page_loads_nothing_that_prints_a_pdf(folder: Path) -> None:
    modules = _loaded(folder, "report alder-row --month 2026-01 --out january.html")
    assert "fieldfare.dashboards.papers.pdf" in modules
    assert not _packages(modules) & {"weasyprint", "cssselect2", "tinycss2", "fontTools", "pydyf"}


def test_a_command_searches_for_garbage_seldom_and_not_as_it_ends() -> None:
    """Only the process of a command: who calls `run` keeps its own setting."""
    program = (
        "import atexit, gc\n"
        "from fieldfare.api.cli import main, garbage\n"
        "def told():\n"
        "    print(gc.get_freeze_count() > 1000)\n"
        "    print(gc.get_threshold())\n"
        "    garbage.search_as_usual()\n"
        "    print(gc.get_threshold())\n"
        "usual = gc.get_threshold()\n"
        "print(usual)\n"
        "atexit.register(told)\n"
        "main(['--version'])\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    usual, _, frozen, seldom, after = done.stdout.splitlines()
    assert frozen == "True"
    assert literal_eval(seldom)[0] > 10 * literal_eval(usual)[0]
    assert after == usual
