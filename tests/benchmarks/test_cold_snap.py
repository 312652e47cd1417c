"""A cold spell replayed on a few homes: those that will fall short are named, a sound one is not."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from tests.benchmarks.snap_cases import CASES, SPELLS, forecast_of, replayed

SEED = 2310
SPELL = replace(SPELLS[0], since=date(2022, 11, 1))
BY_NAME = {case.name: case for case in CASES}


def test_the_open_weather_has_the_spell() -> None:
    """By the file itself: 17 December 2022 is its coldest day, at -9 °C."""
    forecast = forecast_of(SPELLS[0])
    assert float(forecast.outdoor_c.min()) == -9.0
    assert forecast.time[int(forecast.outdoor_c.argmin())].date().isoformat() == "2022-12-17"


@pytest.mark.parametrize(
    ("case", "kinds"),
    [("healthy", {"fine", "doubted"}), ("unit at 65 % of the load", {"named"})],
)
def test_a_home_that_falls_short_is_named(case: str, kinds: set[str]) -> None:
    found = replayed(BY_NAME[case], SEED, SPELL, every_s=600)
    assert found.kind in kinds, found
    if found.passed.short:
        assert found.kw_error == pytest.approx(0.0, abs=0.35 * found.passed.missing_kw)
        assert found.day_error is not None
        assert abs(found.day_error) <= 2
