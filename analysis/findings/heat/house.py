"""Is the house leakier or tighter than designed, and will the heat pump hold it on the design day?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fieldfare.analysis.cautions import refrigerant_caution
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.capacity_odds import by_rating_and_load, chance
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.figures.capacity import Capacity, FullWork, capacity
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.figures.heat_loss import HeatLoss, heater_unseen
from fieldfare.analysis.findings.confidence import Flags
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.data.flow_product import disagreement
from fieldfare.analysis.findings.grading import graded, in_doubt
from fieldfare.analysis.findings.hot_water.diverter import leak_to_heating
from fieldfare.analysis.findings.model import Evidence, Finding, Severity
from fieldfare.analysis.findings.overheated import overheated_c
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.minutes.balance import HEAT_SEEN_BY
from fieldfare.analysis.plant.site import HEAT_QUANTITIES
from fieldfare.analysis.statistics.distributions import GAUSS_95, normal_probability
from fieldfare.analysis.statistics.quantiles import nan_median

_NEEDS = (
    Need(HEAT_SEEN_BY, 240.0, 14),
    Need(("outdoor_temperature",), 180.0),
)
_FLAT_OUT_SHARE, _FLAT_OUT_UNASKED = 0.7, 0.9
_READS = frozenset({*HEAT_QUANTITIES, "flow_rate", "outdoor_temperature", "room_temperature"})


def heat_loss_above_design(context: Context) -> Finding | None:
    loss, ratio = _measured(context)
    assert ratio.value is not None
    assert ratio.low is not None
    limit = context.limit("heat_loss_above") + _unmeasured(context, loss)
    sure = context.limit("heat_loss_sure")
    if ratio.value < limit:
        return None
    severity: Severity = "note"
    if ratio.low > 1.0 + sure:
        severity = graded(ratio.value, limit, context.limit("heat_loss_above_act"))
    elif _chance(ratio, 1.0 + sure, above=True) >= context.limit("heat_loss_likely"):
        severity = "watch"
    if loss.free_share > context.limit("heat_loss_free_share"):
        severity = "note"
    off = disagreement(context)
    belied = off is not None and off > 0.0 and ratio.value / (1.0 + off) < limit
    if belied:
        severity = "note"  # by the other instruments there is less heat, and the house is as designed
    found = Finding(
        "heat_loss_above_design",
        severity,
        _first(context),
        min(_sure(ratio, 1.0 + sure, above=True), context.limit("surest")),
        f"The house loses {percent(ratio.value - 1.0)} more heat than designed ({_interval(ratio)} of the"
        " design).",
        evidence=_evidence(context, loss, "heat_loss_above", limit),
        next_step=(
            "Talk to the householder and the designer: unfinished building work, open windows or loft"
            " hatch, a heated space missing from the design, extract fans running on, rooms warmer"
            " than designed. Check the design's areas and U-values, then whether the unit still"
            " covers the design day."
        ),
        home=(
            ""
            if severity == "note"
            else (
                "Your house loses more heat than planned, which costs more to run. An open loft"
                " hatch, a fan left on or unfinished insulation are worth checking. Your installer"
                " will go through it with you."
            )
        ),
        visit="call" if severity != "note" else "none",
    )
    return in_doubt(context, found) if severity == "note" and not belied else found


def heat_loss_below_design(context: Context) -> Finding | None:
    if any(r.kind == "other_heat_source" for r in context.recognised):
        raise NotAssessed(
            "an unmetered heat source warms the house, so its heat loss appears smaller than it is",
            "other_source",
        )
    if (room := overheated_c(context)) is not None:
        raise NotAssessed(
            f"the rooms are heated to {room:.0f} °C, and open windows in mild weather look like a tighter"
            " house",
            "not_enough_data",
        )
    loss, ratio = _measured(context)
    assert ratio.value is not None
    assert ratio.high is not None
    limit, sure = (
        context.limit("heat_loss_below") - _unmeasured(context, loss),
        context.limit("heat_loss_sure"),
    )
    if ratio.value > limit:
        return None
    # Rooms that nobody measures may be cooler than asked, more so in the cold, which looks just like a
    # tighter house: the interval allows for what is usual, and what is unusual asks for more.
    least = sure if loss.indoor_measured else sure + context.limit("heat_loss_unmeasured")
    severity: Severity = "watch" if ratio.high < 1.0 - least else "note"
    # More free heat than people and appliances give comes from something that nobody meters, and what is lit
    # in the cold flattens the line. Where most heat is free, what is metered says little of the house.
    beyond = loss.gains_beyond > context.limit("heat_loss_gains_beyond")
    if beyond or loss.free_share > context.limit("heat_loss_free_share"):
        severity = "note"
    return Finding(
        "heat_loss_below_design",
        severity,
        _first(context),
        min(_sure(ratio, 1.0 - sure, above=False), context.limit("surest")),
        f"The house loses {percent(1.0 - ratio.value)} less heat than designed ({_interval(ratio)} of the"
        " design).",
        evidence=_evidence(context, loss, "heat_loss_below", limit),
        next_step=(
            (
                ("First make sure that no unmetered back-up heater contributes: its heat is missing here. ")
                if heater_unseen(context.site)
                else ""
            )
            + (
                "Ask first for a stove or another heater: there is more free heat than usual. "
                if beyond
                else ""
            )
            + (
                "The flow temperature can be lowered: reduce the heating curve by 1 to 2 K a week, watch"
                " the rooms, and stop when one gets too cool. Check for short cycling in mild weather,"
                " since the unit is larger than the house needs."
            )
        ),
        home=(
            ""
            if severity == "note"
            else (
                "Good news: your house loses less heat than planned. Your installer may lower the"
                " heating water's temperature a little, which saves electricity."
            )
        ),
        visit="setting" if severity != "note" else "none",
        changes=(("flow_temperature", "lower"),),
    )


def _measured(context: Context) -> tuple[HeatLoss, Estimate]:
    loss = context.figures.heat_loss
    leak = context.once(leak_to_heating)
    if leak is not None and leak.is_sure and leak.rate > context.limit("diverter_leak_k_per_h"):
        raise NotAssessed(
            "heat leaks through the diverter, so heating and hot water can't be separated: see"
            " diverter_passing",
            "distrusted",
        )
    if not loss.ratio:
        if loss.reason:
            raise NotAssessed(loss.reason, loss.reason_code)
        raise NotAssessed(
            loss.ratio.reason or "needs design.heat_loss_kw and design.outdoor_c", "missing_in_site_file"
        )
    return loss, loss.ratio


def _unmeasured(context: Context, loss: HeatLoss) -> float:
    """Extra margin without a room sensor: rooms a kelvin warmer or cooler look the same."""
    design = context.site.design
    if loss.indoor_measured or design.outdoor_c is None:
        return 0.0
    return 1.0 / (design.indoor_c - design.outdoor_c)


def _evidence(context: Context, loss: HeatLoss, name: str, limit: float) -> tuple[Evidence, ...]:
    c, d = loss.coefficient, context.site.design.coefficient_w_per_k
    return (
        context.evidence("heat loss over the design's", _round(loss.ratio.value, 3), "-", name, limit),
        Evidence("95 % interval of it", f"{_interval(loss.ratio)}"),
        Evidence("measured coefficient", _round(c.value, 1), "W/K"),
        Evidence("designed coefficient", _round(d, 1), "W/K"),
        Evidence("heat loss at the design temperatures", _round(loss.heat_loss_kw.value, 2), "kW"),
        Evidence("designed heat loss", loss.design_kw, "kW"),
        Evidence("days used", loss.days_used, "days"),
        Evidence("method", loss.method),
    )


def _interval(ratio: Estimate) -> str:
    return (
        f"{ratio.low:.2f} to {ratio.high:.2f}"
        if ratio.low is not None and ratio.high is not None
        else "no interval"
    )


def _round(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def _first(context: Context) -> str:
    return context.days.day(0).isoformat()


def _sure(ratio: Estimate, limit: float, *, above: bool) -> float:
    return max(_chance(ratio, limit, above=above), 0.3)


def _chance(ratio: Estimate, limit: float, *, above: bool) -> float:
    """Probability that the ratio lies beyond the limit, by the interval's end on that side."""
    assert ratio.value is not None
    assert ratio.low is not None
    assert ratio.high is not None
    side = ratio.value - ratio.low if above else ratio.high - ratio.value
    z = (ratio.value - limit) / max(side / GAUSS_95, 1e-6)
    return normal_probability(z if above else -z)


@dataclass(frozen=True)
class _Failed:
    """Days on which the unit ran flat out in milder weather than the design's and still fell short."""

    days: int
    first: str
    mildest_c: float
    deficit_k: float
    share: float | None


def capacity_short(context: Context) -> Finding | None:
    coldest, helped = context.site.design.outdoor_c, context.site.design.bivalent_c
    if coldest is None:
        raise NotAssessed("needs design.outdoor_c", "missing_in_site_file")
    design = max(coldest, helped) if helped is not None else coldest
    figure = _at(context, design)
    failed = _failed(context, design)
    limit = context.limit
    margin = figure.margin
    if not margin and failed is None:
        raise NotAssessed(margin.reason or "needs a heat meter", "not_enough_data")
    severity: Severity | None = None
    by_margin = _by_rating_and_load(figure)
    if margin and by_margin is not None and (margin.value or 0.0) < limit("capacity_note"):
        severity = "note"
        if by_margin > limit("finding_chance"):
            severity = _by_margin(context, figure)
    # Against a margin that says it holds, a few days flat out are a long set-back or a party of guests.
    holds = bool(margin) and (margin.value or 0.0) >= 1.0
    needed = limit("capacity_failed_days") * (limit("capacity_failed_against_margin") if holds else 1.0)
    enough = failed is not None and failed.days >= needed
    if failed is not None and enough and (not margin or (margin.value or 0.0) < 1.1):
        severity = "act" if failed.deficit_k >= 2.0 or severity == "act" else "watch"
    if severity is None:
        return None
    real = chance(by_margin, failed.days if failed is not None else 0, _held(context, design))
    return _capacity_finding(
        context, figure, failed if enough else None, design, severity, min(real, limit("surest"))
    )


def _by_rating_and_load(figure: Capacity) -> float | None:
    """Probability that output over load lies below 1, by the intervals of both; None without a margin."""
    if figure.margin.value is None:
        return None
    spread = figure.margin.half / GAUSS_95
    return by_rating_and_load(figure.margin.value, spread, measured=figure.measured_share is not None)


def _held(context: Context, design: float) -> int:
    """Days about as cold as the design's on which the unit was not flat out and no room stayed short."""
    days, limit = context.days, context.limit
    cold = days.floats("outdoor") <= design + limit("capacity_held_near_k")
    sound = cold & ~_flat_out(context) & (days.floats("minutes_running") >= limit("heated_day_minutes"))
    for zone in (c for c in days.names if c.startswith("deficit.")):
        sound &= fill_nan(days.floats(zone), 0.0) <= limit("room_deficit_note")
    return int(sound.sum())


def _by_margin(context: Context, figure: Capacity) -> Severity:
    """By the output that full work has shown; by the rating alone never more than a look. An output carried
    far below anything measured or rated is only noted: inverters hold theirs differently there."""
    margin = figure.margin.value or 0.0
    severity = graded(margin, context.limit("capacity_watch"), context.limit("capacity_act"), downward=True)
    if severity == "note" or not _reached(context, figure):
        return "note"
    return severity if figure.measured_share is not None else "watch"


def _reached(context: Context, figure: Capacity) -> bool:
    """Whether the output is measured or rated near enough to the temperature in question."""
    return figure.unseen_k <= context.limit("capacity_rated_near_k")


def _carried(context: Context, figure: Capacity, design: float, load: float) -> str:
    """Text about an output extrapolated far below its last known point."""
    output, rating = figure.output_at_design_kw, context.site.heat_pump.rating
    if figure.measured_share is not None:
        by = "its work on the coldest days at full output"
    elif len(rating) > 1:
        by = "its rating points"
    else:
        by = "its only rating point"
    return (
        f"At {design:g} °C outdoors the heat pump may give {output.low:.1f} to {output.high:.1f} kW of the"
        f" {load:.1f} kW needed, by {by}, for air {figure.unseen_k:.0f} K milder:"
        " measure on a cold day."
    )


def _capacity_finding(
    context: Context,
    figure: Capacity,
    failed: _Failed | None,
    design: float,
    severity: Severity,
    confidence: float,
) -> Finding:
    margin, output = figure.margin, figure.output_at_design_kw
    load = output.value / margin.value if output.value and margin.value else None
    short = margin and (margin.value or 2.0) < 1.0
    if short and load is not None and failed is None and not _reached(context, figure):
        headline = _carried(context, figure, design, load)
    elif short:
        headline = (
            f"At {design:g} °C outdoors the heat pump supplies {output.value:.1f} kW of the {load:.1f}"
            " kW needed."
        )
    else:
        assert failed is not None
        headline = (
            f"On {failed.days} days, the mildest at {failed.mildest_c:.0f} °C outdoors, the heat pump"
            " ran at full output and did not reach its targets."
        )
    evidence = [
        context.evidence(
            "output over load on the design day",
            _round(margin.value, 3),
            "-",
            "capacity_watch",
        ),
        Evidence("95 % interval of it", _interval(margin) if margin else margin.reason),
        Evidence("output on the design day", _round(output.value, 2), "kW"),
        Evidence("load on the design day", _round(load, 2), "kW"),
    ]
    if figure.measured_share is not None:
        evidence.append(Evidence("output at full load over the rating", round(figure.measured_share, 2), "-"))
    if failed is not None:
        evidence.append(
            context.evidence(
                "days at full output below target",
                failed.days,
                "days",
                "capacity_failed_days",
            )
        )
        evidence.append(
            Evidence(
                "outdoor temperature of the mildest of these days",
                round(failed.mildest_c, 1),
                "°C",
            )
        )
        if failed.share is not None:
            evidence.append(Evidence("output on those days over the rating", round(failed.share, 2), "-"))
    weak = failed is not None and failed.share is not None and failed.share < 0.85
    step = (
        (
            "The unit gives less than its data sheet at full load: visit, check air path, fan, water"
            " flow, quiet or limiting modes; have the refrigerant circuit checked by a licensed person."
        )
        if weak
        else (
            "Before the next cold spell: agree with the householder to heat through the night without"
            " set-back, check that nothing limits the unit (quiet mode, water flow, air path), and"
            " plan support below the temperature it can cover: back-up heater, insulation, or a"
            " larger unit."
        )
    )
    return Finding(
        "capacity_short",
        severity,
        failed.first if failed is not None else _first(context),
        confidence,
        headline,
        evidence=tuple(evidence),
        next_step=step,
        caution=refrigerant_caution(context.site) if severity != "note" else "",
        home=(
            ""
            if severity == "note"
            else (
                "In very cold weather the heat pump may not keep every room as warm as you ask. In a"
                " cold spell leave the heating on through the night; your installer will work out"
                " what is needed."
            )
        ),
        visit="drive" if severity != "note" else "none",
        bring=("data sheet of the unit", "clamp thermometer") if severity != "note" else (),
    )


def _at(context: Context, outdoor: float) -> Capacity:
    """Output and load at the lowest temperature without back-up, from measured full-load operation."""
    site = context.site
    site = site.model_copy(update={"design": site.design.model_copy(update={"outdoor_c": outdoor})})
    loss = context.figures.heat_loss
    assert context.site.design.outdoor_c is not None
    if loss.load_kw.value is not None and loss.coefficient.value is not None:
        milder = loss.coefficient.value * (outdoor - context.site.design.outdoor_c) / 1000.0
        load = Estimate.around(max(loss.load_kw.value - milder, 0.05), loss.load_kw.half, 0.0)
        loss = replace(loss, load_kw=load)
    known = (site, context.all_days.days, loss, context.figures.hot_water.heat_kwh_per_day)
    found = capacity(*known)
    shown = _flat_out_work(context)
    if shown is None or not found.output_at_design_kw or found.measured_share is not None:
        return found
    return replace(capacity(*known, shown), full_days=found.full_days)


def _flat_out(context: Context) -> Flags:
    """Days on which the unit ran without a rest and stayed below its target for hours."""
    days = context.days
    busy = days.floats("minutes_running") >= 0.9 * (
        days.floats("minutes_total") - fill_nan(days.floats("minutes_unknown"), 0.0)
    )
    # A unit at part load with water below an outdated curve is not at its limit.
    share, best = days.floats("load_share"), days.floats("load_share_top")
    ceiling = float(np.nanquantile(best, 0.95)) if np.isfinite(best).any() else np.nan
    # Without a target flow the designed curve is used, which a lower setting never reaches.
    throttled = share < _FLAT_OUT_SHARE * ceiling
    if not context.site.measures("target_flow_temperature"):
        throttled |= share < _FLAT_OUT_UNASKED * np.fmin(best, ceiling)
    return busy & (days.floats("minutes_lacking") >= 300.0) & ~throttled


def _flat_out_work(context: Context) -> FullWork | None:
    """Output over the rating on days flat out; None with fewer than three."""
    share = context.days.floats("load_share_top")
    flat = _flat_out(context) & np.isfinite(share)
    if flat.sum() < 3:
        return None
    coldest = float(np.fmin.reduce(context.days.floats("outdoor")[flat]))
    return FullWork(float(np.clip(np.median(share[flat]), 0.3, 1.2)), int(flat.sum()), coldest)


def _failed(context: Context, design: float) -> _Failed | None:
    """Full-output days above the design temperature with rooms (or water) below target."""
    days = context.days
    outdoor = days.floats("outdoor")
    flat = _flat_out(context) & (outdoor > design)
    zones = [c for c in days.names if c.startswith("deficit.")]
    if zones:
        deficit = np.nanmax(
            np.column_stack([days.floats(z) for z in zones] + [np.full(len(days), -9.0)]), axis=1
        )
        flat &= deficit > context.limit("room_deficit_note")
    else:
        # The water alone may be short because the curve asks too much: only at the unit's rating, or far from
        # the curve.
        deficit = np.zeros(len(days))
        if not context.site.measures("target_flow_temperature"):
            return None
    if flat.sum() == 0:
        return None
    share = days.floats("load_share")[flat]
    return _Failed(
        int(flat.sum()),
        days.day(int(np.argmax(flat))).isoformat(),
        float(np.max(outdoor[flat])),
        float(np.nanmedian(deficit[flat])),
        nan_median(share) if np.isfinite(share).any() else None,
    )


RULES = (
    Rule("heat_loss_above_design", heat_loss_above_design, _NEEDS, _READS, by_day=True),
    Rule("heat_loss_below_design", heat_loss_below_design, _NEEDS, _READS, by_day=True),
    Rule(
        "capacity_short",
        capacity_short,
        (
            Need((*HEAT_SEEN_BY, "room_temperature"), 240.0, 14),
            Need(("outdoor_temperature",), 180.0),
        ),
        _READS | {"flow_temperature", "heat_pump_electricity"},
    ),
)
