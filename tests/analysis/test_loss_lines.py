"""The loss table adds up on healthy plants, and a finding or a sentence explains every costly part.

All of fifty plants: python -m tests.benchmarks.bench_losses
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.loss_lines import DEAR_SHARE, FINDINGS_OF, accounted
from fieldfare.analysis.figures.losses import CAUSES, Loss, _given_again
from fieldfare.analysis.findings.model import Finding
from fieldfare.analysis.minutes.operating_state import HEATING
from fieldfare.analysis.plant.load import parse_site
from tests.benchmarks.bench_losses import table_of
from tests.contract_codes import CONTRACT_CODES

SITE = parse_site(
    '[site]\nid = "elm"\nname = "Elm"\ntimezone = "Europe/London"\n[design]\noutdoor_c = -3.0\n'
    "[heat_pump]\nrated_output_kw = 8.0\n"
    "min_output_kw = 2.5\n[hot_water]\npasteurise_c = 60.0\n"
)
DAYS = np.datetime64("2026-01-05", "us") + np.arange(10) * np.timedelta64(1, "D").astype("timedelta64[us]")


@pytest.mark.parametrize("seed", [1001, 1008])
def test_healthy_plants_leave_nothing_open(seed: int) -> None:
    table = table_of("own", seed, 45)
    assert table is not None
    assert table.holds
    assert table.open == ()


def facts(runs: dict[str, object] | None = None, **days: float) -> Facts:
    given = {
        "minutes_running": 600.0,
        "minutes_rest": 840.0,
        "electricity_total_kwh": 20.0,
        "electricity_idle_kwh": 0.0,
        "above_curve": 1.0,
    } | days
    table = Table({"day": DAYS, **{name: np.full(10, value) for name, value in given.items()}})
    empty = Table({"day": DAYS[:0]})
    return Facts(table, Table({"day": DAYS, **runs}) if runs else empty, empty, empty, empty)


def loss(cause: str, kwh: float, because: str = "") -> Loss:
    return Loss(cause, kwh, None, kwh - 5.0, kwh + 5.0, because)


def told(cause: str, kwh: float, found: Facts, *findings: Finding, because: str = "") -> str | None:
    return accounted(SITE, found, [loss(cause, kwh, because)], findings).get(cause)


def test_cheap_parts_and_savings_need_no_line() -> None:
    assert told("cycling", DEAR_SHARE * 200.0 - 1.0, facts()) is None
    assert told("part_load", 50.0, facts()) is None


@pytest.mark.parametrize(("heat", "expected"), [(0.0, 0.0), (15.0, 10 * 1.0 / 3.0)])
def test_heat_of_defrosts_is_given_again_only_at_a_known_performance(heat: float, expected: float) -> None:
    """Ten days with 1 kWh drawn each; a heat meter that stands still tells no performance."""
    days = facts(heat_defrost_taken_kwh=1.0, expected_heat_space_kwh=heat, expected_used_space_kwh=5.0).days
    assert _given_again(days) == pytest.approx(expected)


def test_a_finding_comes_first() -> None:
    found = Finding("high_standby", "watch", "2026-01-05", 0.9, "Too much.")
    assert told("pumps_and_standby", 20.0, facts(), found) == "high_standby"


def test_usual_pumps_are_explained_and_large_ones_are_not() -> None:
    """8 kW: 5 kWh of pumps in 100 hours are 50 W; 40 kWh are 400 W, four times what such pumps draw."""
    assert "50 W in 100 hours of running" in (
        told("pumps_and_standby", 5.0 + 7.0, facts(electricity_idle_kwh=0.7)) or ""
    )
    assert told("pumps_and_standby", 40.0, facts()) == ""


def runs(minutes: float, pause: float, heat: float) -> dict[str, object]:
    return {
        "use": np.full(10, HEATING),
        "minutes": np.full(10, minutes),
        "pause": np.full(10, pause),
        "heat": np.full(10, heat),
    }


def test_runs_as_long_as_the_load_lets_them_be_are_mild_weather() -> None:
    """Half of the least output: water and band let about a quarter of an hour be expected
    (`expectation.cycling`)."""
    usual = told("cycling", 20.0, facts(runs(18.0, 18.0, 0.75)))
    assert usual is not None
    assert usual.startswith("Mild weather: the load is 50% of the least output")
    assert told("cycling", 20.0, facts(runs(3.0, 3.0, 0.125))) == ""


def test_a_heater_in_the_cold_is_the_designs_wish_and_in_mild_weather_is_not() -> None:
    cold = facts(electricity_backup_kwh=2.0, electricity_backup_mild_kwh=0.0, electricity_immersion_kwh=0.0)
    assert "below -3 °C" in (told("direct_electric_heat", 20.0, cold) or "")
    mild = facts(electricity_backup_kwh=2.0, electricity_backup_mild_kwh=2.0, electricity_immersion_kwh=0.0)
    assert told("direct_electric_heat", 20.0, mild) == ""
    immersion = facts(
        electricity_backup_kwh=0.0, electricity_backup_mild_kwh=0.0, electricity_immersion_kwh=2.0
    )
    assert "Disinfection" in (told("direct_electric_heat", 20.0, immersion) or "")


def test_defrosts_that_air_and_load_explain_say_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the defrosts 20 kWh stand in the rating; with 20 kWh more they took 40 of the 15 to 60 kWh that are
    explained."""
    monkeypatch.setattr("fieldfare.analysis.figures.loss_lines.rated_defrosts", lambda site, days: 20.0)
    monkeypatch.setattr(
        "fieldfare.analysis.figures.loss_lines.explained_defrosts", lambda site, days: (15.0, 60.0)
    )
    assert told("defrost", 20.0, facts(), because="the line") == "the line"
    assert told("defrost", 70.0, facts(), because="the line") == ""


def test_flow_close_to_the_curve_and_charging_within_its_doubt() -> None:
    assert "1.0 K above" in (told("flow_temperature_above_curve", 20.0, facts()) or "")
    assert told("flow_temperature_above_curve", 20.0, facts(above_curve=6.0)) == ""
    assert "leaves open" in (told("hot_water", 12.0, facts()) or "")
    sure = replace(loss("hot_water", 60.0), low=40.0)
    assert accounted(SITE, facts(), [sure], [])["hot_water"] == ""


def test_parts_and_codes_are_known() -> None:
    assert set(FINDINGS_OF) <= set(CAUSES)
    assert {c for codes in FINDINGS_OF.values() for c in codes} <= set(CONTRACT_CODES)
