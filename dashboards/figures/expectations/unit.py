"""Expectations of the unit: frost, defrosts, runs, part load, water flow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.expectation.cycling import run_expected
from fieldfare.analysis.expectation.defrost import (
    COIL_WH_PER_KW,
    FUSION_WH_PER_G,
    REACHES_ICE,
    defrosts_due,
)
from fieldfare.analysis.expectation.frost import frost_mass
from fieldfare.analysis.expectation.uncertain import Lognormal
from fieldfare.analysis.expectation.water_flow import nominal_difference, water_difference
from fieldfare.analysis.facts.table import group_by_day
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.expected import learned
from fieldfare.analysis.minutes.operating_state import HEATING
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import GAUSS_95
from fieldfare.dashboards.figures.chart import DATES, Axis, Chart, nothing
from fieldfare.dashboards.figures.expectations.compared import ComparedSeries, Floats, compared_chart

_LEAST_FROST_G_PER_KW = 80.0  # half of a coat: less need ask for no defrost
_WEEK_DAYS = 7
_LEAST_HEAT_KWH = 4.0
_USUAL_TURN_DOWN = 0.3
_NEAR_FULL = 0.5


def day_numbers(facts: Facts) -> Floats:
    """Days since 1970, of the days table."""
    return facts.days["day"].astype("datetime64[D]").astype(np.float64)


def _frost(site: Site, facts: Facts) -> tuple[Floats, list[Lognormal | None]]:
    """First day and frost of each week [g/kW]; None without enough frost for a defrost."""
    days, rated = facts.days, site.heat_pump.rated_output_kw
    first = _week_begins(facts)
    if not rated or "frost_usual" not in days:
        return day_numbers(facts)[first], [None] * len(first)
    guesses = (
        np.column_stack([days.floats(f"frost_{n}") for n in ("least", "usual", "most")]) * 1000.0 / rated
    )
    sums = np.add.reduceat(np.nan_to_num(guesses), first, axis=0)
    expected = [
        frost_mass(*(float(g) for g in week)) if week[1] >= _LEAST_FROST_G_PER_KW else None for week in sums
    ]
    return day_numbers(facts)[first], expected


def _week_begins(facts: Facts) -> NDArray[np.int64]:
    """Rows of the days that begin a week of the period. A single day's defrosts are whole numbers, and
    few."""
    return np.arange(0, len(facts.days), _WEEK_DAYS)


def _per_week(facts: Facts, values: Floats) -> Floats:
    """Weekly sum over defrosts, 0 without any."""
    if not len(facts.defrosts):
        return np.zeros(len(_week_begins(facts)))
    by_day = np.nan_to_num(group_by_day(facts.days["day"], facts.defrosts["day"], values, "sum"))
    return np.asarray(np.add.reduceat(by_day, _week_begins(facts)))


def defrost_chart(site: Site, facts: Facts) -> Chart:
    """Weekly defrosts against the number needed for the week's frost."""
    key, title = "expected-defrost", "Defrosts, measured and expected"
    x, frost = _frost(site, facts)
    due = [None if f is None else defrosts_due(f) for f in frost]
    counted = _per_week(facts, np.ones(len(facts.defrosts)))
    return compared_chart(
        _banded(key, title, Axis("Defrosts", "a week", low=0.0), x, counted, due, "weeks with frost"),
        "Needs defrosts, outdoor temperature and heat_pump.rated_output_kw, in weeks with frost.",
    )


def frost_chart(site: Site, facts: Facts) -> Chart:
    """Frost melted per week, from the heat of defrosts, against the frost expected from air and load."""
    key, title = "expected-frost", "Frost, melted and expected"
    x, frost = _frost(site, facts)
    rated = site.heat_pump.rated_output_kw or np.nan
    used = (facts.defrosts.floats("heat_taken") + facts.defrosts.floats("electricity")) * 1000.0 / rated
    melted = np.maximum(used * REACHES_ICE.middle - COIL_WH_PER_KW.middle, 0.0) / FUSION_WH_PER_G
    measured = _per_week(facts, melted) if np.isfinite(melted).any() else np.full(len(x), np.nan)
    return compared_chart(
        _banded(key, title, Axis("Frost", "g/kW a week", low=0.0), x, measured, frost, "weeks with frost"),
        "Needs the heat of defrosts and heat_pump.rated_output_kw, in weeks with frost.",
    )


def _banded(
    key: str, title: str, y: Axis, x: Floats, measured: Floats, expected: list[Lognormal | None], of: str
) -> ComparedSeries:
    middle, low, high = (
        np.array([np.nan if t is None else getattr(t, part) for t in expected])
        for part in ("middle", "low", "high")
    )
    return ComparedSeries(key, title, DATES, y, x, measured, middle, low, high, of)


def cycling_chart(site: Site, facts: Facts) -> Chart:
    """Length of heating runs against the expectation from water content and load below minimum output."""
    key, title = "expected-cycling", "Run length, measured and expected"
    runs, pump = facts.runs, site.heat_pump
    least = pump.min_output_kw or (pump.rated_output_kw or np.nan) * _USUAL_TURN_DOWN
    why = "Needs heat and runs, and heat_pump.min_output_kw or heat_pump.rated_output_kw."
    if not len(runs) or not np.isfinite(least):
        return nothing(key, title, why)
    minutes, pause = runs.floats("minutes"), runs.floats("pause")
    # Load while cycling: a run's heat over the run and the rest before it.
    share = runs.floats("heat") * 60.0 / np.maximum(minutes + pause, 1.0) / least
    mine = (runs["use"] == HEATING) & ~runs["cut"].astype(bool) & (share > 0.02) & (share < 0.98)
    expected = [run_expected(float(s)) if m else None for s, m in zip(share, mine, strict=True)]
    x_axis = Axis("Load over the least output", "-", low=0.0)
    of = "heating runs below the least output"
    made = _banded(key, title, Axis("Run", "min", low=0.0), share, minutes, expected, of)
    return compared_chart(replace(made, x_axis=x_axis), why)


def part_load_chart(site: Site, facts: Facts) -> Chart:
    """Daily efficiency relative to the full-output rating, against the gain at part load."""
    key, title = "expected-part-load", "Efficiency over the rating, measured and expected"
    days = facts.days
    full, part, used = (
        days.floats(n)
        for n in ("expected_space_kwh", "expected_part_load_space_kwh", "expected_used_space_kwh")
    )
    good = (days.floats("expected_heat_space_kwh") >= _LEAST_HEAT_KWH) & (used > 0.0) & (part > 0.0)
    gain = np.divide(full, part, out=np.full(len(days), np.nan), where=good)
    measured = np.divide(full, used, out=np.full(len(days), np.nan), where=good)
    strength = learned(days)
    spread = GAUSS_95 * strength.spread
    ends = [gain ** (strength.middle + s) for s in (-spread, spread)]
    return compared_chart(
        ComparedSeries(
            key,
            title,
            Axis("Gain at part load by the model", "-"),
            Axis("Efficiency over the full-load rating", "-"),
            gain,
            measured,
            gain**strength.middle,
            np.minimum(*ends),
            np.maximum(*ends),
            "heating days",
        ),
        "Needs heat, electricity, flow and outdoor temperature.",
    )


def water_flow_chart(site: Site, facts: Facts) -> Chart:
    """Flow minus return temperature of long runs against the difference at nominal flow."""
    key, title = "expected-water-flow", "Flow-return difference, measured and expected"
    runs, pump = facts.runs, site.heat_pump
    why = "Needs heat, flow and return temperature, heat_pump.rated_output_kw and heat_pump.flow_m3_per_h."
    if not len(runs) or not pump.rated_output_kw or not pump.flow_m3_per_h:
        return nothing(key, title, why)
    minutes, heat = runs.floats("minutes"), runs.floats("heat")
    output = np.divide(heat * 60.0, minutes, out=np.full(len(runs), np.nan), where=minutes >= 30.0)
    nominal = nominal_difference(pump.rated_output_kw, pump.flow_m3_per_h)
    output = np.where(output >= _NEAR_FULL * pump.rated_output_kw, output, np.nan)
    middle = np.array([water_difference(float(q), pump.flow_m3_per_h) for q in output])
    widest, tightest = nominal.high / nominal.middle, nominal.low / nominal.middle
    return compared_chart(
        ComparedSeries(
            key,
            title,
            Axis("Output", "kW"),
            Axis("Flow less return", "K", low=0.0),
            output,
            runs.floats("lift"),
            middle,
            middle * tightest,
            middle * widest,
            "runs from half of the rated output",
        ),
        why,
    )
