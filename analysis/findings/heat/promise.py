"""Does the home do what its design promised: in performance, or in electricity where heat is not measured?"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.efficiency_odds import chance_of_shortfall
from fieldfare.analysis.expectation.promise import GAINS_W_PER_M2, at_design_weather
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.figures.change import DetectedChange, find_change
from fieldfare.analysis.figures.design_use import USUAL_FLOOR_M2, design_use
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.findings.confidence import Floats
from fieldfare.analysis.findings.context import Context, Need, Rule, minutes_off
from fieldfare.analysis.findings.data.flow_product import is_pair_unchecked
from fieldfare.analysis.findings.heat.efficiency import pump_inside_kw
from fieldfare.analysis.findings.model import (
    Cause,
    Evidence,
    Finding,
    Severity,
)
from fieldfare.analysis.findings.phrases import day_text, percent
from fieldfare.analysis.findings.yearly_cost import heating_year, per_year
from fieldfare.analysis.plant.site import HEAT_QUANTITIES
from fieldfare.analysis.statistics.distributions import GAUSS_95, normal_probability

_CODE = "performance_below_promise"


class _Part(NamedTuple):
    """One use: performance in design weather, promised, relative sd, electricity [kWh].

    loose : heat is calculated from two sensors that nobody compared
    """

    use: str
    measured: float
    promised: float
    sd: float
    kwh: float
    loose: bool

    @property
    def ratio(self) -> float:
        return self.measured / self.promised

    @property
    def certain(self) -> float:
        """Probability that it is below its promise.

        A sensor a kelvin off is as common as a unit a fifth short: where one would explain the shortfall, the
        prior of either counts.
        """
        below = normal_probability((1.0 - self.ratio) / max(self.sd * self.ratio, 1e-6))
        return min(below, chance_of_shortfall(max(self.ratio, 1e-6), self.sd)) if self.loose else below


def performance_below_promise(context: Context) -> Finding | None:
    parts = [p for p in (_space(context), _hot_water(context)) if p is not None]
    if not parts:
        raise NotAssessed(_why_not(context), "not_enough_data")
    limit = context.limit
    short = [p for p in parts if p.ratio < limit("promise_note_share") and p.certain >= limit("promise_sure")]
    if not short:
        return None
    worst = min(short, key=lambda p: p.ratio)
    name = "promise_note_share"
    severity: Severity = "note"
    if worst.ratio < limit("promise_act_share"):
        name, severity = "promise_act_share", "act"
    elif worst.ratio < limit("promise_watch_share"):
        name, severity = "promise_watch_share", "watch"
    evidence = []
    for part in parts:
        label = f"performance over the promise, {part.use}, at the design's weather"
        if part is worst:
            evidence.append(context.evidence(label, round(part.ratio, 3), "-", name))
        else:
            evidence.append(Evidence(label, round(part.ratio, 3), "-"))
        evidence.append(Evidence(f"promised, {part.use}", part.promised, "-"))
        evidence.append(Evidence(f"95 % range of it, {part.use}", _range(part), "-"))
    if context.site.measures("circulation_pump_electricity"):
        evidence.append(Evidence("taken off", "the circulation pump, by its own meter"))
    elif pump_inside_kw(context) > 0.0:
        evidence.append(Evidence("taken off", "the circulation pump in the unit's meter, by its usual power"))
    kwh = sum(p.kwh * (1.0 - p.ratio) for p in short)
    return Finding(
        _CODE,
        severity,
        context.all_days.days.day(0).isoformat(),
        min(worst.certain, limit("surest")),
        (
            f"Performance for {worst.use} is {worst.measured:.1f} in the design's weather; the design"
            f" promised {worst.promised:.1f}."
        ),
        evidence=tuple(evidence),
        next_step=(
            "Go through the other findings of this home, the most costly first: they show what lowers"
            " the performance. If none explains it, check the design's flow temperature and hot-water"
            " figures against what was installed."
        ),
        home=(
            ""
            if severity == "note"
            else (
                "The heat pump uses more electricity than was promised for the heat it gives. Your installer"
                " is looking into it."
            )
        ),
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="call" if severity != "note" else "none",
    )


def promise_kept(context: Context) -> list[dict[str, Any]]:
    """Performance at the design's weather beside its promise, JSON-ready: rows of use, measured (value, low,
    high), promised, and sure, the probability that the promise is kept. Empty where neither is known."""
    out = []
    for part in (_space(context), _hot_water(context)):
        if part is None:
            continue
        half = GAUSS_95 * part.sd * part.measured
        measured = Estimate.around(part.measured, half)
        out.append(
            {
                "use": part.use.replace(" ", "_"),
                "measured": measured.as_dict(),
                "promised": part.promised,
                "sure": 1.0 - part.certain,
            }
        )
    return out


def explained(findings: list[Finding]) -> list[Finding]:
    """The findings, with the promise's one pointing at those that explain it, by what each costs."""
    known = [f for f in findings if f.code != _CODE and (f.cost_kwh or 0.0) > 0.0 and f.until is None]
    total = sum(f.cost_kwh or 0.0 for f in known)
    causes = tuple(
        Cause(f.code, (f.cost_kwh or 0.0) / total, f.headline)
        for f in sorted(known, key=lambda f: -(f.cost_kwh or 0.0))
    )
    return [replace(f, causes=causes) if f.code == _CODE else f for f in findings]


def _range(part: _Part) -> str:
    half = GAUSS_95 * part.sd * part.measured
    return f"{part.measured - half:.1f} to {part.measured + half:.1f}"


def _space(context: Context) -> _Part | None:
    design, days = context.site.design, context.all_days.days
    figure = context.figures.performance.space_heating
    if design.spf_space is None or design.outdoor_c is None or figure.value is None:
        return None
    heat, used = days.floats("paired_heat_space_kwh"), days.floats("paired_electricity_space_kwh")
    if (heat > 0.0).sum() < context.limit("promise_heating_days"):
        return None
    loss = context.figures.heat_loss
    base = loss.base_temperature_c
    if base is None:
        floor = context.site.floor_area_m2 or USUAL_FLOOR_M2
        coefficient = design.coefficient_w_per_k
        base = design.indoor_c - (GAINS_W_PER_M2 * floor / coefficient if coefficient else 4.0)
    pump = _pump(context, "heating", used)
    found = at_design_weather(days.floats("outdoor"), heat, used - pump.daily, design.outdoor_c, base)
    if found is None:
        return None
    meter = math.hypot(figure.half / GAUSS_95 / figure.value, pump.sd, _moved_by_clock(context))
    kwh = float(np.nansum(days.floats("electricity_space_kwh"))) * heating_year(context)
    sd, loose = math.hypot(meter, found.sd), is_pair_unchecked(context)
    return _Part("space heating", found.value, design.spf_space, sd, kwh, loose)


def _hot_water(context: Context) -> _Part | None:
    design, days = context.site.design, context.all_days.days
    figure = context.figures.performance.hot_water
    if _minutes_off(context) > 0.0:  # charges are short: a good part of their heat falls beside them
        return None
    if design.spf_hot_water is None or figure.value is None or len(days) < context.limit("promise_year_days"):
        return None
    kwh = per_year(float(np.nansum(days.floats("electricity_hot_water_kwh"))), len(days))
    used = days.floats("paired_electricity_hot_water_kwh")
    pump = _pump(context, "hot_water", used)
    total = float(np.nansum(used))
    value = (
        figure.value * total / max(total - float(np.nansum(pump.daily)), 1e-6)
        if total > 0.0
        else figure.value
    )
    sd = math.hypot(figure.half / GAUSS_95 / figure.value, pump.sd)
    return _Part("hot water", value, design.spf_hot_water, sd, kwh, is_pair_unchecked(context))


def _minutes_off(context: Context) -> float:
    """By how much the clocks of heat and electricity are apart [min]; 0 where nothing says so."""
    return max((minutes_off(f) or 0.0 for f in context.unreliable.values()), default=0.0)


def _moved_by_clock(context: Context) -> float:
    """Share of the space heat that may be hot water's, or the other way about, for clocks that are apart [-]:
    each charge moves so many minutes of heat."""
    days, charges = context.all_days.days, context.all_days.reheats
    heating = days.total("minutes_heating")
    return _minutes_off(context) * len(charges) / heating if heating > 0.0 else 0.0


class _Pump(NamedTuple):
    """Circulation pump's part of a use's electricity.

    daily : float64 (n,) [kWh/day]. sd : what is not known of it, over the rest of that electricity [-]
    """

    daily: Floats
    sd: float


def _pump(context: Context, use: str, used: Floats) -> _Pump:
    """What the circulation pump takes of a use's electricity: no rating or promise contains it.

    use : heating or hot_water. used : float64 (n,), the use's electricity [kWh/day]
    By its own meter, else by its usual power where the site file says that the unit's meter contains it.
    """
    site, days = context.site, context.all_days.days
    hours = fill_nan(days.floats(f"minutes_{use}"), 0.0) / 60.0
    if site.measures("circulation_pump_electricity"):
        both = fill_nan(days.floats("minutes_heating"), 0.0) + fill_nan(days.floats("minutes_hot_water"), 0.0)
        share = np.divide(hours * 60.0, both, out=np.zeros(len(hours)), where=both > 0.0)
        return _Pump(share * fill_nan(days.floats("paired_pump_kwh"), 0.0), 0.0)
    if (usual := pump_inside_kw(context)) == 0.0:
        return _Pump(np.zeros(len(hours)), 0.0)
    daily = usual * hours
    rest = max(float(np.nansum(used)) - float(daily.sum()), 1e-6)
    return _Pump(daily, context.limit("pump_inside_sd_w") * float(hours.sum()) / 1000.0 / rest)


def _why_not(context: Context) -> str:
    design, figures = context.site.design, context.figures.performance
    if design.spf_space is None and design.spf_hot_water is None:
        return "needs design.spf_space or design.spf_hot_water in the site file"
    if figures.space_heating.value is None:
        return figures.space_heating.reason or "needs heat and electricity of space heating"
    if design.outdoor_c is None:
        return "needs design.outdoor_c in the site file"
    return f"needs {context.limit('promise_heating_days'):.0f} heating days"


def electricity_above_expected(context: Context) -> Finding | None:
    """Electricity against design and weather, where no heat is measured. A house is seldom just as designed,
    so only a wide excess is reported."""
    days, limit = context.days, context.limit
    expected, used = design_use(context.site, days, limit("electricity_day_share"))
    known = np.isfinite(expected.daily + used)
    if known.sum() < limit("electricity_days"):
        raise NotAssessed(
            f"needs {limit('electricity_days'):.0f} whole days with electricity and outdoor temperature, has"
            f" {known.sum()}",
            "too_few_days",
        )
    ratio = float(used[known].sum() / expected.daily[known].sum())
    certain = normal_probability((ratio - 1.0) / expected.sd)
    if ratio < limit("electricity_watch_ratio") or certain < limit("electricity_sure"):
        return None
    act = ratio >= limit("electricity_act_ratio")
    name = "electricity_act_ratio" if act else "electricity_watch_ratio"
    since, step = days.day(int(np.argmax(known))).isoformat(), ""
    change = _step(expected.daily, used, known, days["day"])
    excess = float((used - expected.daily)[known].sum())
    if change is not None and change.size * (known.sum() - change.at) < limit("electricity_step") * excess:
        change = None  # it was above before
    evidence = [
        context.evidence(
            "electricity over that expected from design and weather", round(ratio, 2), "-", name
        ),
        Evidence("95 % range of the expected electricity", f"±{percent(GAUSS_95 * expected.sd)}"),
        Evidence("days used", int(known.sum()), "days"),
    ]
    if change is not None:
        rows = np.flatnonzero(known)
        since = days.day(int(rows[change.at])).isoformat()
        within = (
            f"{day_text(days.day(int(rows[change.low])))} to {day_text(days.day(int(rows[change.high])))}"
        )
        began = "on" if change.kind == "step" else f"over {change.days} days from"
        step = f" It rose by {change.size:.1f} kWh a day {began} {day_text(since)}."
        evidence.append(Evidence("rise in the same weather", round(change.size, 1), "kWh/day"))
        evidence.append(Evidence("95 % range of it", f"±{GAUSS_95 * change.error:.1f}", "kWh/day"))
        evidence.append(Evidence("95 % range of its first day", within))
    excess *= heating_year(context)
    return Finding(
        "electricity_above_expected",
        "act" if act else "watch",
        since,
        certain,
        f"Electricity use is {ratio:.1f} times that expected from design and weather.{step}",
        evidence=tuple(evidence),
        next_step=(
            "Ask about warmer rooms, hot water, other loads on this meter and a direct heater"
            " switched on. A heat meter, or the unit's own heat reading, would show whether the house"
            " or the heat pump is the cause."
        ),
        home=(
            "Your heating uses more electricity than planned for this weather. Your installer will ask a few"
            " questions to find out why."
        ),
        cost_kwh=excess,
        cost_money=context.money(excess),
        visit="call",
    )


def _step(expected: Floats, used: Floats, known: np.ndarray, day: np.ndarray) -> DetectedChange | None:
    """A certain rise of electricity at comparable weather, as a step or slide."""
    numbers = day.astype("datetime64[D]").astype(np.int64)[known]
    change = find_change(used[known], expected[known][:, None], np.ones(int(known.sum())), numbers)
    return change if change is not None and change.is_sure and change.size > 0.0 else None


RULES: tuple[Rule, ...] = (
    Rule(
        _CODE,
        performance_below_promise,
        (Need(("heat_pump_electricity",), 240.0, 28), Need(("outdoor_temperature",), 240.0)),
        frozenset({*HEAT_QUANTITIES, "heat_pump_electricity", "outdoor_temperature"}),
        by_day=True,
    ),
    Rule(
        "electricity_above_expected",
        electricity_above_expected,
        (Need(("heat_pump_electricity",), 1440.0, 28), Need(("outdoor_temperature",), 1440.0)),
        frozenset({"heat_pump_electricity", "outdoor_temperature"}),
        by_day=True,
    ),
)
