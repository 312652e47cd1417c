"""Does the compressor start too often, or run too briefly, for the weather?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.cycling import field_rank
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.figures.operation import blurred_runs, run_spacing
from fieldfare.analysis.findings.confidence import confidence_of
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.cycling.common import (
    Flags,
    Floats,
    downgraded,
    heating_year,
    nan_median,
    ranked,
    water_caution,
)
from fieldfare.analysis.findings.cycling.trips import unit_trips
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.model import (
    Cause,
    Evidence,
    Finding,
    Severity,
)
from fieldfare.analysis.minutes.operating_state import COOLING, HOT_WATER
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.quantiles import median

# A pause longer than this is a rest between two needs, not part of a cycle.
_LONGEST_PAUSE_MIN = 60.0
_START_MINUTES = 2.0
# EN 14825's heating limit, and a design day where the site file gives none.
_HEATING_LIMIT_C, _USUAL_DESIGN_C = 15.5, -6.0
# Over what was asked: the unit's own switching difference lies at 2 to 5 K, a call ends anywhere below.
_OWN_STOP_K, _CALL_STOP_K = 2.3, 1.5
_KWH_PER_LITRE_K = 0.00116
# Runs of 10 minutes show in readings half as far apart (sampling theorem).
_CLOSE_MIN = 5.0
_CLOSE_TO_TRIPS_MIN = 2.5


@dataclass(frozen=True)
class _Days:
    """By day, aligned with the days table: heating runs, their median length, starts an hour while it
    heats."""

    count: Floats
    minutes: Floats
    rate: Floats


def short_cycling(context: Context) -> Finding | None:
    if not len(context.facts.runs):
        return _by_counter(context)
    days = context.days
    blurred = blurred_runs(context.site, context.facts)
    if blurred is not None and run_spacing(days) > _CLOSE_MIN:
        if np.isfinite(days.floats("compressor_starts_counted")).any():
            return _by_counter(context)
        raise NotAssessed(blurred)
    close = run_spacing(context.days) <= _CLOSE_TO_TRIPS_MIN
    if close and (trips := unit_trips(context)) is not None and trips.severity != "note":
        return trips
    runs = _heating_runs(context.facts.runs)
    by_day = _by_day(days, runs)
    outdoor = days.floats("outdoor")
    limit = context.limit
    many = by_day.count >= limit("cycling_runs_a_day")
    allowed, least = _weather_limits(context, outdoor)
    size = np.fmax(by_day.rate / allowed, least / np.maximum(by_day.minutes, 0.5))
    brief = many & (fill_nan(size, 0.0) > 1.0)
    cold = np.isfinite(outdoor) & (_load(context, outdoor) >= limit("cold_load_share"))
    through = (
        cold & (by_day.count > limit("cold_starts_a_day")) & (by_day.minutes < limit("cold_run_minutes"))
    )
    so = brief | through
    heated = (days.floats("n_heating") >= 60) | (days.floats("n_running") >= 60)
    spell = latest_episode(days["day"], so, _comparable(so, outdoor, heated), hold_days=3, gone_days=7)
    if spell is None:
        return _unseen(context)
    here = spell.covers(days["day"]) & so
    severity, over = _severity(context, by_day, here, np.where(brief, size, np.nan), spell)
    chosen = runs.where(np.isin(runs["day"], days["day"][here]))
    starts = nan_median(by_day.count[here])
    length, rate = nan_median(by_day.minutes[here]), nan_median(by_day.rate[here])
    cause, told = _causes(context, chosen, cold_share=float(through[here].mean()))
    kwh = _cost(context, chosen, by_day, here)
    return Finding(
        "short_cycling",
        severity,
        spell.since,
        confidence_of(over, spell.days * spell.share, spell.share),
        f"The compressor starts {starts:.0f} times a day for heating and runs {length:.0f} minutes at a"
        " time.",
        evidence=(
            context.evidence(
                "median heating run",
                round(length, 1),
                "min",
                "short_run_minutes",
                round(nan_median(least[here]), 1),
            ),
            context.evidence(
                "starts an hour while heating",
                round(rate, 2),
                "1/h",
                "starts_per_hour",
                round(nan_median(allowed[here]), 2),
            ),
            context.evidence("heating starts a day", round(starts, 1), "1/day", "cold_starts_a_day"),
            context.evidence("days with it", int(here.sum()), "days", "cycling_days"),
            *told,
        ),
        causes=cause,
        next_step=_next_step(cause[0].cause if cause else ""),
        caution=(
            water_caution(context.site)
            if cause and cause[0].cause in ("low_water_volume", "flow_restriction")
            else ""
        ),
        home=(
            ""
            if severity == "note"
            else (
                "Your heat pump switches on and off more often than is good for it. It still heats; your"
                " installer will look at its settings. Leaving thermostats at a steady setting helps."
            )
        ),
        until=spell.until,
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="setting" if cause and cause[0].cause == "thermostat_chopping" else "drive",
        bring=_bring(cause[0].cause if cause else ""),
    )


def _unseen(context: Context) -> Finding | None:
    """Readings far apart show no run that is shorter; then only a counter can tell that there are none."""
    days, closest = context.days, run_spacing(context.days)
    if closest <= _CLOSE_MIN:
        return None
    if np.isfinite(days.floats("compressor_starts_counted")).any():
        return _by_counter(context)
    raise NotAssessed(
        f"readings every {closest:.0f} minutes can't show short runs; needs them every {_CLOSE_MIN:.0f}"
        " minutes, or compressor_starts"
    )


def _heating_runs(runs: Table) -> Table:
    """Whole runs that made no hot water, with the pause after each (nan: none seen, or a rest)."""
    after = np.append(runs.floats("pause")[1:], np.nan)
    after = np.where(after > _LONGEST_PAUSE_MIN, np.nan, after)
    heating = (
        ~np.isin(runs["use"], (HOT_WATER, COOLING))
        & (runs["minutes_hot_water"] == 0)
        & ~runs["cut"].astype(np.bool_)
    )
    return runs.with_columns(after=after, period=runs["minutes"] + after).where(heating)


def _by_day(days: Table, runs: Table) -> _Days:
    day, of_run = days["day"], runs["day"]
    first, end = np.searchsorted(of_run, day, side="left"), np.searchsorted(of_run, day, side="right")
    minutes, period = (runs.floats(c) for c in ("minutes", "period"))
    length, rate = np.full(len(day), np.nan), np.full(len(day), np.nan)
    for i in np.flatnonzero(end > first):
        length[i] = median(minutes[first[i] : end[i]])
        known = period[first[i] : end[i]]
        known = known[np.isfinite(known)]
        if len(known) >= 5:
            rate[i] = 60.0 / median(known)
    return _Days((end - first).astype(np.float64), length, rate)


def _load(context: Context, outdoor: Floats) -> Floats:
    """Share of the design load that each day's weather asks for [-]; nan where it is not known."""
    base = context.figures.heat_loss.base_temperature_c
    base = min(base, _HEATING_LIMIT_C) if base is not None and base > 8.0 else _HEATING_LIMIT_C
    design = context.site.design.outdoor_c
    return (base - outdoor) / (base - (design if design is not None else _USUAL_DESIGN_C))


def _weather_limits(context: Context, outdoor: Floats) -> tuple[Floats, Floats]:
    """Starts an hour and run length [min] that each day's weather allows; as in mild weather where it is not
    known."""
    limit = context.limit
    mild, cold = limit("mild_load_share"), limit("cold_load_share")
    x = np.clip((fill_nan(_load(context, outdoor), mild) - mild) / max(cold - mild, 1e-6), 0.0, 1.0)
    starts = limit("mild_starts_per_hour") + x * (limit("starts_per_hour") - limit("mild_starts_per_hour"))
    run = limit("mild_run_minutes") + x * (limit("short_run_minutes") - limit("mild_run_minutes"))
    return starts, run


def _comparable(so: Flags, outdoor: Floats, heated: Flags) -> Flags:
    """Days on which it could show: in the weather in which it did, or all where the weather is not known."""
    if not so.any() or not np.isfinite(outdoor[so]).any():
        return heated | so
    coldest, warmest = np.nanquantile(outdoor[so], (0.1, 0.9))
    like = (outdoor >= coldest) & (outdoor <= warmest)
    return np.asarray(so | (heated & like), dtype=np.bool_)


def _severity(
    context: Context, by_day: _Days, here: Flags, size: Floats, spell: Episode
) -> tuple[Severity, float]:
    """Grade by size and by how much of the season it takes; `over` is the size over its limit."""
    limit = context.limit
    over = nan_median(by_day.count[here]) / limit("cold_starts_a_day")
    if np.isfinite(size[here]).mean() >= 0.3:
        over = nan_median(size[here])
    heavy = nan_median(by_day.count[here]) >= 2.0 * limit("counted_starts_a_day") and here.sum() >= 28
    severity: Severity = "act" if over >= 1.7 or heavy else "watch"
    # Short runs of a few mild days, in a season with few starts, neither wear nor cost anything to speak of.
    if field_rank(_mean_starts(context, by_day, spell)) < limit("cycling_field_rank"):
        severity = "note"
    return downgraded(severity, spell, limit("cycling_days")), over


def _mean_starts(context: Context, by_day: _Days, spell: Episode) -> float:
    """Heating starts a day, over all days with heating of the spell."""
    days = context.days
    heated = spell.covers(days["day"]) & (
        (by_day.count > 0) | (fill_nan(days.floats("n_heating"), 0.0) >= context.limit("heated_day_minutes"))
    )
    return float(by_day.count[heated].mean()) if heated.any() else 0.0


def _by_counter(context: Context) -> Finding | None:
    """Starts from the unit's own counter, or as coarse readings show them: too many is too many."""
    days, limit = context.days, context.limit
    starts = days.floats("compressor_starts_counted")
    hours = days.floats("compressor_hours_counted")
    basis = "by the unit's own counter"
    if not np.isfinite(starts).any():
        raise NotAssessed(
            "needs heat_pump_electricity or compressor_speed every 15 minutes or closer, or compressor_starts"
        )
    running = hours if np.isfinite(hours).any() else days.floats("n_running") / 60.0
    judged = np.isfinite(starts) & (starts >= 1)
    length = np.divide(running * 60.0, starts, out=np.full(len(starts), np.nan), where=starts > 0)
    so = judged & (starts > limit("counted_starts_a_day"))
    # Long runs between many starts are a busy winter's day, not short cycling.
    so &= ~(length > 2.0 * limit("cold_run_minutes"))
    spell = latest_episode(
        days["day"], so, _comparable(so, days.floats("outdoor"), judged), hold_days=3, gone_days=7
    )
    if spell is None:
        return None
    here = spell.covers(days["day"]) & so
    many, mean = nan_median(starts[here]), nan_median(length[here])
    over = many / limit("counted_starts_a_day")
    severity = downgraded("act" if over >= 2.0 else "watch", spell, limit("cycling_days"))
    told = (
        () if np.isnan(mean) else (context.evidence("mean run", round(mean, 1), "min", "short_run_minutes"),)
    )
    return Finding(
        "short_cycling",
        severity,
        spell.since,
        confidence_of(over, spell.days * spell.share, spell.share) * 0.9,
        f"The compressor starts {many:.0f} times a day {basis}.",
        evidence=(
            context.evidence("starts a day", round(many, 1), "1/day", "counted_starts_a_day"),
            *told,
            context.evidence("days with it", int(here.sum()), "days", "cycling_days"),
        ),
        next_step=(
            "Ask for minute data of electricity, flow temperature and room call for a week: they tell what"
            " ends the runs."
        ),
        home=(
            ""
            if severity == "note"
            else (
                "Your heat pump switches on and off more often than is good for it. It still heats; your"
                " installer will look into it."
            )
        ),
        until=spell.until,
        visit="call",
    )


def _causes(
    context: Context, runs: Table, *, cold_share: float
) -> tuple[tuple[Cause, ...], tuple[Evidence, ...]]:
    """Who ends the runs, how much water there is, how big the unit is, how much flows."""
    site = context.site
    told: list[Evidence] = []
    by_call = _ended_by_call(runs)
    scores: dict[str, tuple[float, str]] = {}
    call = by_call if by_call is not None else 0.4
    if by_call is not None:
        told.append(Evidence("runs ended by the room's call", round(by_call, 2), "-"))
    words = "the room's call or its valve ends" if by_call is not None else "nothing shows who ends"
    scores["thermostat_chopping"] = (2.0 * call**1.5, f"{words} {100 * call:.0f} % of the runs")
    own = 1.0 - call
    litres = _water_per_kw(site, runs)
    if np.isfinite(litres):
        told.append(
            context.evidence(
                "water and metal a start warms",
                round(litres, 1),
                "l/kW",
                "water_litres_per_kw",
            )
        )
    share = _flow_share(site, runs)
    if np.isfinite(share):
        told.append(context.evidence("flow over nominal", round(share, 2), "-", "low_flow_watch_share"))
    size = _size(site)
    low = context.limit("low_flow_watch_share")
    restricted = np.clip((low - share) / 0.12 + 0.5, 0.0, 1.5) if np.isfinite(share) else 0.15
    scores["flow_restriction"] = (
        own * 1.6 * float(restricted),
        (
            f"the unit ends its own runs and the flow is {100 * share:.0f} % of nominal"
            if np.isfinite(share)
            else "flow is not measured"
        ),
    )
    big = (
        float(np.clip((size - context.limit("oversized_share")) / 0.2, 0.0, 1.0))
        if np.isfinite(size)
        else 0.5
    )
    flows = 1.0 - 0.7 * min(float(restricted), 1.0)
    plenty = (
        float(np.clip(litres / context.limit("water_litres_per_kw"), 0.4, 1.0))
        if np.isfinite(litres)
        else 1.0
    )
    scores["oversized_for_mild_load"] = (
        own * (0.2 + 1.5 * big + 0.4 * cold_share) * flows * plenty,
        (
            f"lowest output is {100 * size:.0f} % of the design heat loss"
            if np.isfinite(size)
            else "the unit ends its own runs"
        )
        + (", and it cycles in cold weather too" if cold_share > 0.2 else ""),
    )
    scores["low_water_volume"] = (
        own * (0.3 + _little_water(context, litres)) * (1.0 - 0.8 * big) * flows,
        (
            f"each start has about {litres:.0f} l of water a kilowatt to warm, metal included"
            if np.isfinite(litres)
            else "the unit ends its own runs"
        ),
    )
    if by_call is None and big < 1.0 and restricted < 1.0:
        return (), tuple(told)  # nothing tells a call that falls away from a unit that stops by itself
    return ranked(scores), tuple(told)


def _ended_by_call(runs: Table) -> float | None:
    """Share of runs that a call ended rather than the unit; None where nothing shows it.

    In turn: the call itself; how far the flow had passed what was asked; whether the water stands still soon
        after.
    """
    by_call, by_unit = runs["ended_by"] == "call", runs["ended_by"] == "unit"
    told = int(by_call.sum() + by_unit.sum())
    if told >= 0.3 * len(runs):
        return float(by_call.sum()) / told if told else float("nan")
    over = runs["flow_max"] - runs["target_flow"]
    after = runs["flow_after"] / runs["flow_rate"]
    verdict = np.full(len(runs), np.nan)
    verdict[after < 0.2] = 1.0
    verdict[after >= 0.2] = 0.0
    verdict[over < _CALL_STOP_K] = np.where(
        np.isnan(verdict[over < _CALL_STOP_K]), 1.0, verdict[over < _CALL_STOP_K]
    )
    verdict[over > _OWN_STOP_K] = 0.0
    seen = verdict[np.isfinite(verdict)]
    return float(seen.mean()) if len(seen) >= max(5, 0.2 * len(runs)) else None


def _water_per_kw(site: Site, runs: Table) -> float:
    """Water, metal included, that a run warms for each kilowatt it gives [l/kW]; nan where it can't be told.

    What a cycle stores is its heat less what the rooms take all along: heat x pause / period. Over the rise
    of the mean water temperature that is a heat capacity.
    """
    heat, minutes = runs.floats("heat"), runs.floats("minutes")
    stored = heat * (runs["after"] / runs["period"])
    ends = runs["flow_end"] + runs["return_end"]
    begins = runs["flow_start"] + runs["return_start"]
    warmed = (ends - begins) / 2.0
    usable = np.isfinite(stored) & (warmed > 1.0) & (runs["minutes_defrost"] == 0) & (heat > 0)
    if usable.sum() < 5:
        return float("nan")
    litres = stored[usable] / warmed[usable] / _KWH_PER_LITRE_K
    return nan_median(litres / (heat[usable] / minutes[usable] * 60.0))


def _little_water(context: Context, litres: float) -> float:
    if not np.isfinite(litres):
        return 0.5
    return float(np.clip(context.limit("water_litres_per_kw") / max(litres, 1.0), 0.0, 1.5))


def _flow_share(site: Site, runs: Table) -> float:
    nominal = site.heat_pump.flow_m3_per_h
    return nan_median(runs.floats("flow_rate")) / nominal if nominal else float("nan")


def _size(site: Site) -> float:
    """Lowest output over the design heat loss [-]."""
    least, loss = site.heat_pump.min_output_kw, site.design.heat_loss_kw
    return least / loss if least and loss else float("nan")


def _cost(context: Context, runs: Table, by_day: _Days, here: Flags) -> float | None:
    """A year's electricity of the starts beyond one an hour; None without electricity.

    A start costs about two minutes of the unit's power (common practice, as in the losses).
    """
    power = runs["electricity"] / runs["minutes"] * 60.0
    if not np.isfinite(power).any():
        return None
    spare = np.maximum(1.0 - 1.0 / np.maximum(by_day.rate[here], 1.0), 0.0)
    excess = float(np.nansum(by_day.count[here] * np.where(np.isfinite(spare), spare, 0.5)))
    return excess * nan_median(power) * _START_MINUTES / 60.0 * heating_year(context)


def _next_step(cause: str) -> str:
    return {
        "thermostat_chopping": (
            "Open the room thermostat's switching band or turn off its time-proportional cycling (6 starts an"
            " hour is for boilers), or let weather compensation run with the thermostat as an upper limit"
            " only."
        ),
        "oversized_for_mild_load": (
            "Check that the lowest output is unlocked in the settings, widen the switching difference and the"
            " restart pause, keep all zones open; a buffer or a smaller unit is the lasting cure."
        ),
        "low_water_volume": (
            "Open loops and radiators so that the least water the maker asks for is always in circuit, widen"
            " the switching difference; else plan a volume tank in series."
        ),
        "flow_restriction": (
            "Clean the strainer, bleed the circuit, open the valves and raise the pump's setting until the"
            " flow is nominal."
        ),
    }.get(
        cause,
        "Look at a day by the minute: flow temperature, call and flow at the end of each run tell what"
        " ends it.",
    )


def _bring(cause: str) -> tuple[str, ...]:
    return {
        "low_water_volume": ("volume tank data", "drain hose"),
        "flow_restriction": ("strainer tools", "strainer insert", "bleed key"),
        "oversized_for_mild_load": ("installer code for the controls",),
    }.get(cause, ())


RULES: tuple[Rule, ...] = (
    Rule(
        "short_cycling",
        short_cycling,
        needs=(Need(("heat_pump_electricity", "compressor_speed", "operating_mode", "compressor_starts")),),
        reads=frozenset({"heat_pump_electricity", "compressor_speed"}),
    ),
)
