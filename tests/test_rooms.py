"""Import directions: analysis imports none of the others, collector and dashboards import analysis, api
all."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from functools import cache
from graphlib import TopologicalSorter
from importlib.metadata import packages_distributions
from itertools import chain
from pathlib import Path

import pytest
from packaging.requirements import Requirement

ROOT = Path(__file__).parent.parent
MAY_IMPORT: dict[str, set[str]] = {
    "analysis": set(),
    "collector": {"analysis"},
    "dashboards": {"analysis"},
    "api": {"analysis", "collector", "dashboards"},
}
# The collector may know the plant as described and what readings are, and nothing of figures and findings.
COLLECTOR_MAY_KNOW = ("analysis.plant", "analysis.readings", "analysis.errors")


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text())


@cache
def nodes(path: Path) -> list[ast.AST]:
    """The syntax tree of a file, each node once."""
    return list(ast.walk(tree(path)))


@cache
def imported(path: Path) -> frozenset[str]:
    """Every module a file imports, dotted."""
    out: set[str] = set()
    for node in nodes(path):
        if isinstance(node, ast.Import):
            out |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            out.add(node.module)
    return frozenset(name.removeprefix("fieldfare.") for name in out)


def called(node: ast.Call) -> str:
    """The name called, as `open` or `date.today`; empty for any other expression."""
    if isinstance(node.func, ast.Attribute) and isinstance(node.func.value, ast.Name):
        return f"{node.func.value.id}.{node.func.attr}"
    return node.func.id if isinstance(node.func, ast.Name) else ""


@pytest.mark.parametrize("room", MAY_IMPORT)
def test_imports_go_one_way(room: str) -> None:
    allowed = MAY_IMPORT[room] | {room}
    bad = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in (ROOT / room).rglob("*.py")
        for name in imported(path)
        if name.split(".")[0] in MAY_IMPORT and name.split(".")[0] not in allowed
    ]
    assert not bad


def test_the_collector_reads_only_the_plant_description() -> None:
    bad = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in (ROOT / "collector").rglob("*.py")
        for name in imported(path)
        if name.split(".")[0] == "analysis" and not name.startswith(COLLECTOR_MAY_KNOW)
    ]
    assert not bad


def test_analysis_reads_no_clock_and_no_files() -> None:
    forbidden = {"os", "pathlib", "sqlite3", "sqlalchemy", "requests", "socket", "subprocess", "time"}
    bad = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in (ROOT / "analysis").rglob("*.py")
        for name in imported(path)
        if name.split(".")[0] in forbidden
    ]
    assert not bad
    calls = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path in (ROOT / "analysis").rglob("*.py")
        for node in nodes(path)
        if isinstance(node, ast.Call) and called(node) in ("datetime.now", "date.today", "open")
    ]
    assert not calls


def test_every_module_of_ours_that_is_imported_exists() -> None:
    """Imports inside functions too: a tool that is started now and then breaks unseen when a file moves."""
    files = [p for room in (*MAY_IMPORT, "tests") for p in (ROOT / room).rglob("*.py")]
    known = {p.relative_to(ROOT).with_suffix("").as_posix().replace("/", ".") for p in files}
    known |= {name.removesuffix(".__init__") for name in known}
    known |= {p.relative_to(ROOT).as_posix().replace("/", ".") for p in {f.parent for f in files}}
    rooms = {*MAY_IMPORT, "tests"}
    bad = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in files
        for name in imported(path)
        if name.split(".")[0] in rooms and name not in known
    ]
    assert not bad


def test_every_package_that_the_code_imports_is_declared() -> None:
    """A package that only another one brings may go with that one's next release."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *chain.from_iterable(project["optional-dependencies"].values())]
    declared = {plain_name(Requirement(line).name) for line in wanted}
    brought_by = packages_distributions()
    ours = {"fieldfare", *MAY_IMPORT, *(path.stem for path in (ROOT / "api" / "python").glob("*.py"))}
    missing = {}
    for path in (p for room in MAY_IMPORT for p in (ROOT / room).rglob("*.py")):
        for module in imported(path):
            top = module.split(".")[0]
            if top not in sys.stdlib_module_names and top not in ours:
                names = {plain_name(name) for name in brought_by.get(top, [top])}
                if not names & declared:
                    missing[top] = str(path.relative_to(ROOT))
    assert missing == {}


def plain_name(name: str) -> str:
    return name.lower().replace("_", "-")


def test_no_class_name_means_two_things() -> None:
    found: dict[str, list[str]] = {}
    for path in (p for room in MAY_IMPORT for p in (ROOT / room).rglob("*.py")):
        for node in nodes(path):
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                found.setdefault(node.name, []).append(str(path.relative_to(ROOT)))
    assert {name: where for name, where in found.items() if len(where) > 1} == {}


def test_no_docstring_describes_a_name_twice() -> None:
    twice = []
    for path in (p for room in MAY_IMPORT for p in (ROOT / room).rglob("*.py")):
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
                text = ast.get_docstring(node) or ""
                described = re.findall(r"(?:^|\. )([a-z_]\w*) : ", text, re.MULTILINE)
                twice += [f"{path.name}: {node.name}"] * (len(described) > len(set(described)))
    assert twice == []


def test_no_import_runs_in_a_circle() -> None:
    """Of what runs when a module is loaded; types alone may point back."""
    known = {dotted(p): p for room in MAY_IMPORT for p in (ROOT / room).rglob("*.py")}
    order = TopologicalSorter({name: at_load(path) & known.keys() for name, path in known.items()})
    order.prepare()  # raises CycleError, which names the circle


def dotted(path: Path) -> str:
    return path.relative_to(ROOT).with_suffix("").as_posix().replace("/", ".").removesuffix(".__init__")


def at_load(path: Path) -> set[str]:
    """The modules of ours, dotted, that loading a file loads: neither in functions nor for types alone."""
    out: set[str] = set()
    waiting: list[ast.stmt] = list(tree(path).body)
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            waiting += node.orelse
        elif isinstance(node, ast.If | ast.Try | ast.With):
            waiting += [n for n in ast.iter_child_nodes(node) if isinstance(n, ast.stmt)]
        elif isinstance(node, ast.Import):
            out |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            out |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return {name.removeprefix("fieldfare.") for name in out} - {dotted(path)}
