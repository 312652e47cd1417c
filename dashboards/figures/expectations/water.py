"""Expectations of hot water and circuit: reheats, heat taken up by the cylinder, its cooling, the
pressure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fieldfare.analysis.expectation import (
    charge_balance,
    cylinder_cooling,
    pressure,
    reheat,
)
from fieldfare.analysis.expectation.excess import Expected
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.physics.hot_water import WH_PER_LITRE_KELVIN
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import GAUSS_95
from fieldfare.dashboards.figures.chart import DATES, Axis, Chart, nothing
from fieldfare.dashboards.figures.expectations.compared import ComparedSeries, Floats, compared_chart
from fieldfare.dashboards.figures.expectations.unit import day_numbers

_LEAST_RISE_K = 4.0  # smaller rises are within the effects of stratification and sensor position
_WATER_W_PER_K = 1160.0  # W/K at a flow of 1 m3/h


def reheat_chart(site: Site, facts: Facts) -> Chart:
    """Length of charges against the expectation from output, coil and flow limit."""
    key, title = "expected-reheat", "Length of reheats, measured and expected"
    why = "Needs reheats with heat and cylinder temperature, and heat_pump.rated_output_kw."
    charges, pump = facts.reheats, site.heat_pump
    if not len(charges) or not pump.rated_output_kw:
        return nothing(key, title, why)
    rated = pump.rated_output_kw
    coil = reheat.coil_w_per_k(rated, (pump.flow_m3_per_h or np.inf) * _WATER_W_PER_K)
    begin, end, heat = (charges.floats(n) for n in ("from_c", "to_c", "heat"))
    expected: list[Expected | None] = [None] * len(charges)
    for i in np.flatnonzero((end - begin >= _LEAST_RISE_K) & (heat > 0.0)):
        litres = float(heat[i]) * 1000.0 / WH_PER_LITRE_KELVIN / float(end[i] - begin[i])
        one = reheat.Charge(
            litres,
            float(begin[i]),
            float(end[i]),
            rated * reheat.CHARGING_SHARE,
            coil,
            pump.max_flow_c or np.inf,
        )
        found = reheat.expected(one)
        expected[i] = found if np.isfinite(found.value) else None
    x = _moments(charges.floats("start"))
    return compared_chart(
        _normal(
            key,
            title,
            DATES,
            Axis("Reheat", "min", low=0.0),
            x,
            charges.floats("minutes"),
            expected,
            "reheats",
        ),
        why,
    )


def charge_balance_chart(site: Site, facts: Facts) -> Chart:
    """Share of each charge's heat that the cylinder took up."""
    key, title = "expected-charge-balance", "Heat taken up by the cylinder, measured and expected"
    why = "Needs reheats with heat and cylinder temperature, and hot_water.cylinder_litres."
    charges, litres = facts.reheats, site.hot_water.cylinder_litres if site.hot_water else None
    if not len(charges) or not litres:
        return nothing(key, title, why)
    rise = charges.floats("to_c") - charges.floats("from_c")
    share = charge_balance.taken_up(
        litres, np.where(rise >= _LEAST_RISE_K, rise, np.nan), charges.floats("heat")
    )
    expected: list[Expected | None] = [charge_balance.TAKEN_UP] * len(charges)
    x = _moments(charges.floats("start"))
    return compared_chart(
        _normal(
            key,
            title,
            DATES,
            Axis("Taken up over given", "-", low=0.0),
            x,
            np.asarray(share),
            expected,
            "charges",
        ),
        why,
    )


def cylinder_cooling_chart(site: Site, facts: Facts) -> Chart:
    """Slowest cooling of each day, as heat loss per kelvin, against the cylinder's rating as installed."""
    key, title = "expected-cylinder-cooling", "Standing loss of the cylinder, measured and expected"
    why = "Needs cylinder temperature and hot_water.cylinder_litres."
    days, water = facts.days, site.hot_water
    if water is None or not water.cylinder_litres:
        return nothing(key, title, why)
    rate, over = days.floats("standing_k_per_h"), days.floats("standing_over_k")
    lost = rate * water.cylinder_litres * WH_PER_LITRE_KELVIN
    measured = np.divide(lost, over, out=np.full(len(days), np.nan), where=over > _LEAST_RISE_K)
    expected: list[Expected | None] = [
        cylinder_cooling.expected(water.cylinder_litres, water.standing_loss_kwh_per_day)
    ]
    return compared_chart(
        _normal(
            key,
            title,
            DATES,
            Axis("Standing loss", "W/K", low=0.0),
            day_numbers(facts),
            measured,
            expected * len(days),
            "days",
        ),
        why,
    )


def pressure_chart(site: Site, facts: Facts) -> Chart:
    """Daily rise of pressure per kelvin of water, against the steepest rise with the smallest acceptable
    vessel."""
    key, title = "expected-pressure", "Pressure over water temperature, measured and expected"
    why = "Needs the circuit's pressure with flow and return temperatures."
    days, pump = facts.days, site.heat_pump
    bar, loop = days.floats("pressure"), days.floats("loop_c")
    if not (np.isfinite(bar) & np.isfinite(loop)).any():
        return nothing(key, title, why)
    hottest = max((flow for _, flow in site.heating_curve.points), default=0.0) if site.heating_curve else 0.0
    hottest = max(hottest, float(np.nanmax(loop)))
    share = min(pump.antifreeze_percent, 50.0) if pump.antifreeze != "none" else 0.0
    expected: list[Expected | None] = [None] * len(days)
    for i in np.flatnonzero(np.isfinite(bar) & np.isfinite(loop)):
        expected[i] = pressure.slope_expected(
            round(float(bar[i]), 1), round(float(loop[i])), hottest, fluid=pump.antifreeze, percent=share
        )
    axis = Axis("Rise of pressure", "bar/K", low=0.0)
    made = _normal(
        key, title, DATES, axis, day_numbers(facts), days.floats("pressure_per_k"), expected, "days"
    )
    # Larger vessels have smaller rises, so only a steeper rise is unexpected.
    return compared_chart(
        replace(made, low=np.where(np.isfinite(made.low), np.minimum(made.low, 0.0), np.nan)), why
    )


def _moments(start_ms: Floats) -> Floats:
    return start_ms / 86_400_000.0


def _normal(
    key: str,
    title: str,
    x_axis: Axis,
    y_axis: Axis,
    x: Floats,
    measured: Floats,
    expected: list[Expected | None],
    of: str,
) -> ComparedSeries:
    middle = np.array([np.nan if t is None else t.value for t in expected])
    half = GAUSS_95 * np.array([np.nan if t is None else t.uncertainty for t in expected])
    return ComparedSeries(key, title, x_axis, y_axis, x, measured, middle, middle - half, middle + half, of)
