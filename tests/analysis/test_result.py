"""The result document keeps the contract's form, and its figures agree with each other and with the simulated
truth."""

from __future__ import annotations

import json
from datetime import date, timedelta
from typing import Any

import pytest

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import Result, analyse
from fieldfare.collector.simulated.plant import Simulated, random_plant, simulate
from fieldfare.collector.simulated.site import site_toml

FIRST, DAYS = date(2024, 11, 1), 75
LAST = FIRST + timedelta(DAYS - 1)

# Contract, section 5: what others read. A figure may be None; a key may not be missing.
KEYS: dict[str, set[str]] = {
    "": {
        "site",
        "period",
        "coverage",
        "energy",
        "performance",
        "losses",
        "heat_loss",
        "capacity",
        "heating_curve",
        "cycling",
        "defrost",
        "hot_water",
        "comfort",
        "cost",
        "findings",
        "not_assessed",
    },
    "period": {"from", "to", "timezone"},
    "coverage": {"share", "points"},
    "energy.electricity_kwh": {
        "total",
        "heat_pump",
        "backup_heater",
        "immersion",
        "circulation_pump",
        "space_heating",
        "hot_water",
        "defrost",
        "idle",
    },
    "energy.heat_kwh": {"total", "space_heating", "hot_water", "defrost_taken"},
    "performance": {"H1", "H2", "H3", "H4", "space_heating", "hot_water", "expected", "by_month", "by_day"},
    "heat_loss": {
        "coefficient_w_per_k",
        "heat_loss_kw",
        "design_kw",
        "ratio",
        "base_temperature_c",
        "days_used",
        "method",
    },
    "capacity": {"output_at_design_kw", "margin"},
    "heating_curve": {"fitted", "above_design_k", "compensating"},
    "cycling": {"starts", "starts_per_running_hour", "median_run_minutes", "short_run_share"},
    "defrost": {
        "count",
        "per_frost_hour",
        "median_minutes",
        "electricity_kwh",
        "heat_taken_kwh",
        "share_of_heat",
    },
    "hot_water": {
        "reheats",
        "median_reheat_minutes",
        "litres_at_40c_when_full",
        "minutes_below_40c_per_week",
        "standing_loss_kwh_per_day",
        "last_pasteurised",
    },
    "comfort": {"zones"},
    "cost": {"currency", "total", "previous_fuel_total", "co2_kg", "previous_fuel_co2_kg"},
}


@pytest.fixture(scope="module")
def simulated() -> Simulated:
    """A plant whose meters separate every boundary: none of them counts another's consumer too."""
    specs = (
        random_plant(seed, meter_set="full", hot_water=True, meter_errors=False) for seed in range(1, 60)
    )
    return simulate(next(s for s in specs if "includes" not in site_toml(s)), FIRST, DAYS)


@pytest.fixture(scope="module")
def result(simulated: Simulated) -> Result:
    site = parse_site(simulated.site_toml)
    return analyse(site, build_facts(site, simulated.readings, FIRST, LAST), FIRST, LAST)


@pytest.fixture(scope="module")
def document(result: Result) -> dict[str, Any]:
    return result.as_dict()


def within(document: dict[str, Any], path: str) -> Any:
    for part in path.split(".") if path else ():
        document = document[part]
    return document


@pytest.mark.parametrize("path", KEYS)
def test_no_key_of_the_contract_is_missing(document: dict[str, Any], path: str) -> None:
    assert KEYS[path] <= set(within(document, path))


def test_the_document_is_plain_json(document: dict[str, Any]) -> None:
    assert json.loads(json.dumps(document, allow_nan=False)) == document


def test_uses_add_up_to_the_total(document: dict[str, Any]) -> None:
    electricity = document["energy"]["electricity_kwh"]
    uses = sum(electricity[u] for u in ("space_heating", "hot_water", "defrost", "idle"))
    assert uses == pytest.approx(electricity["total"], rel=2e-3)
    heat = document["energy"]["heat_kwh"]
    assert heat["space_heating"] + heat["hot_water"] - heat["defrost_taken"] == pytest.approx(
        heat["total"], rel=1e-3
    )


def test_losses_add_up_from_expected_to_measured(document: dict[str, Any]) -> None:
    expected = document["energy"]["heat_kwh"]["total"] / document["performance"]["expected"]["value"]
    steps = sum(x["electricity_kwh"] for x in document["losses"])
    assert expected + steps == pytest.approx(document["energy"]["electricity_kwh"]["total"], rel=1e-5)
    assert all(x["low"] <= x["electricity_kwh"] <= x["high"] and x["because"] for x in document["losses"])
    # The plant is healthy: what is not explained may be nothing, and is a small part.
    rest = next(x for x in document["losses"] if x["cause"] == "unexplained")
    assert rest["low"] < 0.0 < rest["high"]
    assert abs(rest["electricity_kwh"]) < 0.08 * document["energy"]["electricity_kwh"]["total"]
    price = document["cost"]["mean_price"]
    assert all(
        x["cost"] == pytest.approx(x["electricity_kwh"] * price, rel=1e-5, abs=1e-6)
        for x in document["losses"]
    )


def test_boundaries_never_rise_outwards(document: dict[str, Any]) -> None:
    values = [document["performance"][b]["value"] for b in ("H1", "H2", "H3", "H4")]
    assert values == sorted(values, reverse=True)


def test_figures_meet_the_simulated_truth(document: dict[str, Any], simulated: Simulated) -> None:
    truth = simulated.truth
    for boundary in ("H2", "H4"):
        assert document["performance"][boundary]["value"] == pytest.approx(truth.spf[boundary], rel=0.005)
    assert document["heat_loss"]["coefficient_w_per_k"]["value"] == pytest.approx(truth.htc_w_per_k, rel=0.10)
    assert document["cycling"]["starts"] == pytest.approx(len(truth.starts), rel=0.02)
    assert document["defrost"]["count"] == pytest.approx(len(truth.defrosts), rel=0.02, abs=1)
    assert document["hot_water"]["reheats"] == pytest.approx(len(truth.reheats), rel=0.02, abs=1)


def test_months_and_days_add_up(document: dict[str, Any]) -> None:
    total = document["energy"]["electricity_kwh"]["total"]
    for rows in ("by_month", "by_day"):
        assert sum(r["electricity_kwh"] for r in document["performance"][rows]) == pytest.approx(
            total, rel=1e-6
        )
    assert len(document["performance"]["by_day"]) == DAYS


def test_a_part_of_the_facts_is_the_facts_of_the_part(result: Result, simulated: Simulated) -> None:
    site = parse_site(simulated.site_toml)
    a, b = FIRST + timedelta(20), FIRST + timedelta(29)
    alone = build_facts(site, simulated.readings, a, b)
    cut = result.facts.between(a, b)
    for column in (
        "electricity_total_kwh",
        "heat_total_kwh",
        "electricity_space_kwh",
        "electricity_hot_water_kwh",
        "starts",
        "flow",
        "minutes_defrost",
        "paired_heat_kwh",
    ):
        # A register of 0.01 kWh may fall on either side of midnight.
        assert alone.days[column] == pytest.approx(cut.days[column], rel=1e-4, abs=0.02, nan_ok=True)
    assert len(alone.runs) == len(cut.runs)
    assert len(alone.reheats) == len(cut.reheats)


def test_a_period_without_readings_is_an_input_error(result: Result) -> None:
    with pytest.raises(InputError, match="no readings from 2031-01-01"):
        analyse(result.site, result.facts, date(2031, 1, 1), date(2031, 2, 1))
