"""A home's `[limits]` apply wherever a limit is read, through one function."""

from __future__ import annotations

import ast
from pathlib import Path

import numpy as np
import pytest

import fieldfare.analysis
from fieldfare.analysis.advice.pump import least_pump_share
from fieldfare.analysis.advice.room_response import opens_doubt
from fieldfare.analysis.commissioned.compare import hand_half
from fieldfare.analysis.findings.limits import LIMITS, limit_of
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.tuning.steps import toward

ROOT = Path(next(iter(fieldfare.analysis.__path__))).parent
SHOWN = {
    "analysis/findings/limits.py",  # limit_of itself
    "analysis/reports/defect.py",  # the default beside the home's own
    "dashboards/handbook/entries.py",  # the handbook is of no home
}
"""Files that show a default."""


def home(**limits: float) -> Site:
    own = "".join(f"{name} = {value}\n" for name, value in limits.items())
    return parse_site(f'[site]\nid = "elm"\nname = "Elm"\ntimezone = "UTC"\n[limits]\n{own}')


def reads_a_default(file: Path) -> bool:
    """Whether a file takes `.default` of an entry of a table of limits."""
    return any(
        isinstance(node, ast.Attribute)
        and node.attr == "default"
        and isinstance(node.value, ast.Subscript)
        and isinstance(node.value.value, ast.Name)
        and node.value.value.id.startswith("LIMITS")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
    )


def test_no_module_reads_a_limit_past_the_home() -> None:
    files = [f for room in ("analysis", "api", "dashboards") for f in sorted((ROOT / room).rglob("*.py"))]
    assert len(files) > 300
    found = {str(f.relative_to(ROOT)) for f in files if reads_a_default(f)}
    assert found <= SHOWN


@pytest.mark.parametrize("name", sorted(LIMITS))
def test_every_limit_follows_the_home(name: str) -> None:
    assert limit_of(home(**{name: 0.125}), name) == 0.125
    assert limit_of(home(), name) == LIMITS[name].default


def test_advice_and_tuning_follow_a_homes_own_limits() -> None:
    assert least_pump_share(home(), 4.0) is None
    assert least_pump_share(home(advice_lift_low_k=4.5), 4.0) == pytest.approx(4.0 / 5.0)
    assert toward(home(advice_step_k=1.0), "heating_curve", (50.0, 30.0), (44.0, 30.0)) == (49.0, 30.0)
    opened, warmer = np.array([0.4, 0.5, 0.6]), np.array([0.3, 0.2, 0.1])
    assert opens_doubt(home(), opened, warmer) == pytest.approx(1.5, abs=0.01)
    assert opens_doubt(home(advice_response_doubt=2.5), opened, warmer) == pytest.approx(2.5)


def test_a_typed_value_is_as_doubtful_as_the_home_says() -> None:
    usual, own = (hand_half(s, 1.5, "bar", "1.50") for s in (home(), home(commissioned_pressure_bar=0.5)))
    assert own == pytest.approx(0.5, abs=0.01)
    assert own > usual
