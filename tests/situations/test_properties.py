"""A few plants through the properties of every result; `python -m tests.situations.properties` searches all
faults."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from fieldfare import analysis, dashboards
from tests.benchmarks.confusion import Case
from tests.situations.properties import checked, tells_number_for_site_file, violations

CASES = (
    Case(100, None, None, "healthy", None, 60),
    Case(101, "room_below_target", "curve_too_low", "plain", "full", 60),
    Case(102, "short_cycling", "thermostat_chopping", "plain", "full", 60),
    Case(103, "flow_temperature_above_curve", "curve_set_high", "plain", "full", 60),
    Case(104, "hot_water_shortfall", "cylinder_small", "plain", "full", 60),
    Case(105, "excessive_defrost", "coil_airflow", "gross", "full", 60),
)


@pytest.mark.parametrize("case", CASES, ids=lambda c: c.code or "healthy")
def test_a_result_does_not_contradict_itself(case: Case) -> None:
    assert checked(case)[1] == []


def test_the_search_finds_what_it_is_for() -> None:
    raised = {
        "code": "room_below_target",
        "severity": "act",
        "until": None,
        "changes": [["flow_temperature", "raise"]],
    }
    lowered = {
        "code": "heat_loss_below_design",
        "severity": "watch",
        "until": None,
        "changes": [["flow_temperature", "lower"]],
    }
    idle = {
        "label": "runs",
        "value": 14.0,
        "unit": "min",
        "limit": 12.0,
        "limit_name": "short_run_minutes",
        "side": "below",
    }
    shut = raised | {
        "evidence": [],
        "causes": [{"cause": "zone_not_opening"}],
        "next_step": "Look at the valves. Put 32 °C into the site file.",
    }
    document = {
        "findings": [raised | {"evidence": [idle]}, lowered | {"evidence": []}, shut],
        "verdict": {"verdict": "in_order", "missing": []},
    }
    found = violations(document)
    assert len(found) == 7
    assert sum("site file" in line for line in found) == 1
    assert sum("valves are shut" in line for line in found) == 1


WHERE = [Path(module.__path__[0]) for module in (analysis, dashboards)]


def texts(tree: ast.AST) -> Iterator[str]:
    """The strings of a module, each number in them written as 9.9, with those that stand in a row joined."""
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            parts = (v.value if isinstance(v, ast.Constant) else _filled(v) for v in node.values)
            yield "".join(str(part) for part in parts)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def _filled(value: ast.expr) -> str:
    spec = (
        ast.unparse(value.format_spec) if isinstance(value, ast.FormattedValue) and value.format_spec else ""
    )
    return "9.9" if "f" in spec[1:] or "g" in spec else "name"


@pytest.mark.parametrize("room", WHERE, ids=lambda p: p.name)
def test_no_text_asks_for_a_number_in_the_site_file(room: Path) -> None:
    """The site file holds the design. A measured value belongs there only after somebody looked."""
    paths = sorted(room.rglob("*.py"))
    assert len(paths) > 50
    told = [
        f"{path.name}: {text}"
        for path in paths
        for text in texts(ast.parse(path.read_text(encoding="utf-8")))
        if tells_number_for_site_file(text)
    ]
    assert told == []


def test_a_number_in_an_f_string_is_seen() -> None:
    told = list(texts(ast.parse('f"Put {flow:.0f} °C into the site file."')))
    assert any(tells_number_for_site_file(text) for text in told)
