"""Expectations of daily electricity: from design and weather, from the rating, from the home's signature."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation import cold_room, mixed
from fieldfare.analysis.facts.minutes import rated
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.design_use import design_use
from fieldfare.analysis.figures.electricity_days import electricity_days
from fieldfare.analysis.figures.electricity_signature import electricity_signature
from fieldfare.analysis.plant.curve import curve_at
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import GAUSS_95
from fieldfare.dashboards.figures.chart import (
    DATES,
    Axis,
    Band,
    Chart,
    Points,
    nothing,
)
from fieldfare.dashboards.figures.expectations.compared import ComparedSeries, compared_chart
from fieldfare.dashboards.figures.expectations.unit import day_numbers
from fieldfare.dashboards.text.words import number, share

_KWH = Axis("Electricity", "kWh a day", low=0.0)
_WHOLE_SHARE = 0.95
_HEATING_LIMIT_C = 15.0
_RATING_SD = 0.05  # half of the 8 % that a check allows, and a rating carried to other temperatures
_FACTS = ("running", "output_share", "lacking", "below_curve")
_FACT_WORDS = ("time running", "output over rating", "flow short of asked", "flow below design")
_COLD_SHARE = 0.25


def promise_chart(site: Site, facts: Facts) -> Chart:
    """Daily electricity against the expectation from design and weather."""
    key, title = "expected-electricity", "Electricity, measured and expected by the design"
    try:
        expected, used = design_use(site, facts.days, _WHOLE_SHARE)
    except NotAssessed as why:
        return nothing(key, title, str(why))
    half = GAUSS_95 * expected.sd * expected.daily
    middle = expected.daily
    return compared_chart(
        ComparedSeries(
            key, title, DATES, _KWH, day_numbers(facts), used, middle, middle - half, middle + half, "days"
        ),
        "Needs whole days of electricity with outdoor temperature.",
    )


def signature_chart(site: Site, facts: Facts) -> Chart:
    """Daily electricity over outdoor temperature against the home's own signature."""
    key, title = (
        "expected-signature",
        "Electricity over outdoor temperature, measured and by its own signature",
    )
    used = electricity_days(facts.days)
    found = electricity_signature(used, site.design.outdoor_c)
    if found.fit is None:
        return nothing(key, title, found.reason)
    line = np.asarray(found.fit.predict(used.outdoor))
    half = GAUSS_95 * found.fit.residual_sd
    return compared_chart(
        ComparedSeries(
            key,
            title,
            Axis("Outdoor temperature", "°C"),
            _KWH,
            used.outdoor,
            used.kwh,
            line,
            np.maximum(line - half, 0.0),
            line + half,
            "days",
        ),
        "Needs whole days of electricity with outdoor temperature.",
    )


def mixed_chart(site: Site, facts: Facts) -> Chart:
    """Daily electricity against the rating's for the same heat, with a usual share of hot water."""
    key, title = "expected-mixed", "Electricity for the heat given, measured and by the rating"
    days = facts.days
    heat, outdoor = days.floats("paired_heat_kwh"), days.floats("outdoor")
    if not site.heat_pump.rating or not (np.isfinite(heat + outdoor) & (heat > 0.0)).any():
        return nothing(key, title, "Needs heat, electricity, outdoor temperature and the unit's rating.")
    flow = curve_at(site.heating_curve.points, outdoor) if site.heating_curve else mixed.usual_curve(outdoor)
    yearly = site.design.hot_water_kwh_per_year
    hot, cylinder = 0.0, mixed.USUAL_CYLINDER_C
    if site.hot_water is not None:
        cylinder = site.hot_water.setpoint_c
        hot = mixed.usual_hot_water(
            heat, outdoor, no_heating_above_c=_HEATING_LIMIT_C, designed=yearly / 365.0 if yearly else None
        )
    expected = mixed.mixed_electricity(
        heat, outdoor, np.asarray(flow), rated(site), outdoor, hot_water_kwh=hot, cylinder_c=cylinder
    )
    # Reg. (EU) 813/2013 Table 8 allows 8 % under the declared figure in a check.
    spread = GAUSS_95 * np.hypot(expected.spread, _RATING_SD)
    return compared_chart(
        ComparedSeries(
            key,
            title,
            DATES,
            _KWH,
            day_numbers(facts),
            days.floats("paired_heat_pump_kwh"),
            expected.electricity,
            expected.electricity * np.exp(-spread),
            expected.electricity * np.exp(spread),
            "days",
        ),
        "Needs heat, electricity, outdoor temperature and the unit's rating.",
    )


def cold_room_chart(site: Site, facts: Facts) -> Chart:
    """Facts of days with cold rooms, in standard deviations from each cause's expectation."""
    key, title = "expected-cold-room", "Cold rooms: what was measured beside what each cause would show"
    days = facts.days
    below = sum((days.floats(n) for n in days.names if n.startswith("minutes_below.")), np.zeros(len(days)))
    minutes_with_target = sum(
        (days.floats(n) for n in days.names if n.startswith("minutes_asked.")), np.zeros(len(days))
    )
    cold = (minutes_with_target > 0.0) & (below > _COLD_SHARE * minutes_with_target)
    if not cold.any():
        return nothing(key, title, "No day with rooms under their set temperature for a quarter of the time.")
    shares = {
        "running": days.floats("minutes_running") / np.maximum(days.floats("minutes_total"), 1.0),
        "output_share": days.floats("load_share"),
        "lacking": days.floats("minutes_lacking") / np.maximum(days.floats("minutes_settled"), 1.0),
        "below_curve": -days.floats("above_curve"),
    }
    measured = {
        name: float(np.median(v[cold & np.isfinite(v)]))
        for name, v in shares.items()
        if (cold & np.isfinite(v)).any()
    }
    return _causes_chart(key, title, measured, int(cold.sum()))


def _causes_chart(key: str, title: str, measured: dict[str, float], days: int) -> Chart:
    places = [float(_FACTS.index(name)) for name in measured]
    rows, layers = (
        [],
        [Band("95 % band of a cause", [0.0, len(_FACTS) - 1.0], [-GAUSS_95] * 2, [GAUSS_95] * 2, "design")],
    )
    points = []
    for cause, shape in zip(cold_room.CAUSES, ("dot", "ring", "cross", "square"), strict=True):
        expected = cold_room.signature(cause)
        away = [(value - expected[name].mean) / expected[name].sd for name, value in measured.items()]
        points.append(Points(cause.replace("_", " "), places, away, "heat", shape))  # type: ignore[arg-type]
        rows += [
            (
                cause.replace("_", " "),
                _FACT_WORDS[_FACTS.index(n)],
                number(v, 2),
                number(expected[n].mean, 2),
                number(expected[n].sd, 2),
            )
            for n, v in measured.items()
        ]
    weights = cold_room.cause_weights(cold_room.ColdRoom(**measured))
    best = max(weights, key=lambda c: weights[c])
    named = best.replace("_", " ")
    says = f"On {days} days with cold rooms the facts fit {named} best ({share(weights[best])})."
    return Chart(
        key,
        title,
        says,
        Axis("Fact", names=_FACT_WORDS),
        Axis("Distance from each cause", "standard deviations"),
        (*layers, *points),
        ("Cause", "Fact", "Measured", "Expected", "Standard deviation"),
        tuple(rows),
    )
