"""Performance and electricity against the design's promise."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.promise import at_design_weather, design_electricity
from fieldfare.analysis.expectation.reference_weather import reference_weather
from fieldfare.analysis.figures.design_use import design_use
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.heat import promise
from fieldfare.analysis.findings.model import Finding
from fieldfare.analysis.plant.load import parse_site
from tests.analysis.heat_tables import DAYS, SITE, check_whole, context_of, days_of

INSIDE = 'includes = ["circulation_pump"]'
ELECTRIC_ONLY = (
    SITE.partition("[[point]]")[0]
    + '[[point]]\nid = "e"\nquantity = "heat_pump_electricity"\nas = "interval"\nunit = "kWh"\n'
    '[[point]]\nid = "t"\nquantity = "outdoor_temperature"\nas = "gauge"\n'
)


def test_the_reference_year_has_the_published_equivalent_hours() -> None:
    """Source: Reg. (EU) 813/2013 Annex VII: 2066 equivalent heating hours in the average climate at -10
    °C."""
    weather = reference_weather(-10.0)
    load = np.maximum(16.0 - weather.outdoor_c, 0.0) / 26.0
    assert np.sum(load * weather.days * 24.0) == pytest.approx(2066, abs=1.0)


def test_a_design_year_uses_the_published_hours_at_the_design_load() -> None:
    """Source: as above. 10 kW at -10 °C with no need above 16 °C takes 20 660 kWh; at a performance of 4 it
    takes a quarter, and a little more because the cold days weigh more in electricity than in heat."""
    weather = reference_weather(-10.0)
    gains_w = 10_000.0 / 26.0 * 4.0
    found = design_electricity(
        weather.outdoor_c,
        coefficient_w_per_k=10_000.0 / 26.0,
        indoor_c=20.0,
        design_outdoor_c=-10.0,
        floor_area_m2=gains_w / 3.2,
        spf_space=4.0,
        hot_water_kwh_per_day=0.0,
        spf_hot_water=4.0,
    )
    assert float(found.daily @ weather.days) == pytest.approx(20_660 / 4.0, rel=0.03)
    assert 0.05 < found.sd < 0.4


@pytest.mark.parametrize("warmer_by", [0.0, 4.0])
def test_the_design_year_is_told_from_a_milder_season(warmer_by: float) -> None:
    rng = np.random.default_rng(4)
    outdoor = rng.normal(2.7 + warmer_by, 5.0, 150)
    heat = np.maximum(16.0 - outdoor, 0.1) * 6.0
    used = heat / (3.5 * (1.0 + 0.02 * (outdoor - 2.7)))
    found = at_design_weather(outdoor, heat, used, -10.0, 16.0)
    assert found is not None
    assert found.value == pytest.approx(3.4, rel=0.05)
    assert found.sd < 0.05


def measured(space: float, **columns: Any) -> Context:
    heat = np.full(DAYS, 80.0)
    days = days_of(
        paired_heat_space_kwh=heat,
        paired_electricity_space_kwh=heat / space,
        electricity_space_kwh=heat / space,
        electricity_hot_water_kwh=3.0,
        **columns,
    )
    context = context_of(days)
    figure = Estimate.around(space, 0.05 * space)
    none = Estimate.none("no hot water is told apart")
    figures: Any = context.figures
    figures.performance = SimpleNamespace(space_heating=figure, hot_water=none)
    return context


def test_a_promise_that_is_kept_is_silent() -> None:
    assert promise.performance_below_promise(measured(3.6)) is None


@pytest.mark.parametrize(("space", "severity"), [(3.1, "watch"), (2.4, "act")])
def test_a_promise_that_is_not_kept_is_told(space: float, severity: str) -> None:
    found = check_whole(promise.performance_below_promise(measured(space)))
    assert found.severity == severity
    assert found.cost_kwh > 0.0
    for e in found.evidence:
        if e.limit is not None:
            assert e.side == "below"
            assert float(str(e.value)) < e.limit


@pytest.mark.parametrize("apart", [False, True])
def test_a_circulation_pump_is_no_part_of_what_was_promised(apart: bool) -> None:
    """The same performance of the unit, with 1.5 kWh a day of a pump counted on top: by the unit's own meter
    (45 W for 8 kW over 17 h are 0.7 kWh, 5 to 75 W are possible), or by a meter of its own."""
    heat = np.full(DAYS, 40.0)
    used = heat / 3.5 + 1.5
    days = days_of(
        paired_heat_space_kwh=heat,
        paired_electricity_space_kwh=used,
        electricity_space_kwh=used,
        paired_pump_kwh=1.65 if apart else np.nan,
    )
    meter = '[[point]]\nid = "pump"\nquantity = "circulation_pump_electricity"\nas = "power"\nunit = "W"\n'
    bare_site = SITE.replace(INSIDE, "")
    assert bare_site != SITE
    figures: Any = SimpleNamespace(
        performance=SimpleNamespace(
            space_heating=Estimate.around(3.1, 0.1), hot_water=Estimate.none("not told apart")
        ),
        heat_loss=context_of(days).figures.heat_loss,
    )
    kept = replace(context_of(days, site=bare_site + meter if apart else SITE), figures=figures)
    plain = replace(context_of(days, site=bare_site), figures=figures)
    assert check_whole(promise.performance_below_promise(plain)).severity == "watch"
    found = promise.performance_below_promise(kept)
    assert found is None or found.severity == "note"
    part, bare = promise.promise_kept(kept)[0], promise.promise_kept(plain)[0]
    assert part["measured"]["value"] > 1.05 * bare["measured"]["value"]
    wider = [x["measured"]["high"] / x["measured"]["low"] for x in (part, bare)]
    assert (wider[0] > 1.03 * wider[1]) is not apart


@pytest.mark.parametrize(("apart", "words"), [(True, "its own meter"), (False, "its usual power")])
def test_it_says_how_the_circulation_pump_was_taken_off(apart: bool, words: str) -> None:
    """The unit's meter contains the pump; a meter of its own beside it is what is used."""
    meter = '[[point]]\nid = "pump"\nquantity = "circulation_pump_electricity"\nas = "power"\nunit = "W"\n'
    context = measured(2.5, paired_pump_kwh=0.5 if apart else np.nan)
    site = parse_site(SITE + meter) if apart else context.site
    told = check_whole(promise.performance_below_promise(replace(context, site=site)))
    assert [words in str(e.value) for e in told.evidence if e.label == "taken off"] == [True]


def test_it_points_at_the_findings_that_explain_it() -> None:
    found = promise.performance_below_promise(measured(2.4))
    assert found is not None
    curve = Finding("flow_temperature_above_curve", "act", "2026-01-01", 0.9, "Too hot.", cost_kwh=300.0)
    cycling = Finding("short_cycling", "watch", "2026-01-01", 0.9, "Too often.", cost_kwh=100.0)
    told = next(f for f in promise.explained([curve, found, cycling]) if f.code == found.code)
    assert [(c.cause, c.weight) for c in told.causes] == [
        ("flow_temperature_above_curve", 0.75),
        ("short_cycling", 0.25),
    ]


def electric(factor: Any, site: str = ELECTRIC_ONLY) -> Context:
    context = context_of(days_of(minutes_electricity_known=1440, heat_space_kwh=np.nan), site=site)
    expected, _ = design_use(context.site, context.days, 0.95)
    return context_of(
        days_of(minutes_electricity_known=1440, electricity_total_kwh=expected.daily * factor), site=site
    )


def test_electricity_as_designed_is_silent() -> None:
    assert promise.electricity_above_expected(electric(1.1)) is None


def test_twice_the_electricity_is_told() -> None:
    found = check_whole(promise.electricity_above_expected(electric(2.0)))
    assert found.severity == "act"
    assert found.confidence > 0.95


def test_a_rise_is_told_with_its_day() -> None:
    rng = np.random.default_rng(1)
    factor = np.where(np.arange(DAYS) < 40, 1.2, 2.2) + 0.05 * rng.standard_normal(DAYS)
    found = check_whole(promise.electricity_above_expected(electric(factor)))
    assert "11 Dec 2025" in found.headline
    assert found.since == "2025-12-11"


def test_an_excess_from_the_first_day_did_not_begin_with_a_small_rise() -> None:
    """Twice the expected electricity all along, and a twentieth more from the middle on."""
    late = np.arange(DAYS) >= DAYS // 2
    found = check_whole(promise.electricity_above_expected(electric(2.0 + 0.1 * late)))
    assert "rose" not in found.headline
    first = promise.electricity_above_expected(electric(2.0))
    assert first is not None
    assert found.since == first.since


def test_where_heat_is_measured_the_efficiency_findings_judge() -> None:
    with pytest.raises(NotAssessed) as refused:
        promise.electricity_above_expected(context_of())
    assert refused.value.code == "not_applicable"


@pytest.mark.parametrize(("space", "sure"), [(4.6, True), (2.4, False)])
def test_a_promise_is_told_both_ways(space: float, sure: bool) -> None:
    (row,) = promise.promise_kept(measured(space))
    assert row["use"] == "space_heating"
    assert row["measured"]["low"] < row["measured"]["value"] < row["measured"]["high"]
    assert (row["sure"] > 0.95) == sure
    assert (row["sure"] < 0.05) != sure
