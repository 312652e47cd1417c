"""Stuck sensors: readings that do not change."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.cautions import METER_WORK
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.findings.confidence import Flags, Floats, confidence_of
from fieldfare.analysis.findings.context import Context, Rule
from fieldfare.analysis.findings.data.belied_cylinder import belied_cylinder
from fieldfare.analysis.findings.data.gaps import minutes_sent
from fieldfare.analysis.findings.data.impossible import broken, impossible_readings
from fieldfare.analysis.findings.data.long_runs import minutes_in_runs
from fieldfare.analysis.findings.data.unreliable_rooms import room_of
from fieldfare.analysis.findings.episodes import runs_of
from fieldfare.analysis.findings.model import Evidence, Finding, Severity
from fieldfare.analysis.findings.phrases import day_text, named
from fieldfare.analysis.minutes.plausible import ERROR_VALUES
from fieldfare.analysis.plant.site import Point
from fieldfare.analysis.statistics.quantiles import nan_median

_WATER = frozenset(
    {
        "flow_temperature",
        "return_temperature",
        "distribution_flow_temperature",
        "distribution_return_temperature",
    }
)
_AIR = frozenset({"outdoor_temperature", "outdoor_humidity", "room_temperature", "solar_irradiance"})
# A pump of one speed gives one flow, and a coarse pressure gauge one step, for weeks.
_NEVER_STILL = _AIR | _WATER | {"cylinder_temperature"}
_WORKED_MIN = 60.0
# A cylinder this warm loses several kelvin a day through its best insulation: it can't keep one reading.
_WARM_CYLINDER_C = 30.0
_MOSTLY = 0.8
# No unit gives more heat for its electricity (EN 14511 data, common practice).
_LEAST_STEPS, _HIGHEST_COP = 3.0, 7.5
# Two meters of their classes, and two pairs of sensors, agree closer than this (EN 1434-1 class 3 and IEC
# 60751 class B).
_BELIED, _LEAST_COMPARED_KWH = 0.15, 3.0
_HABIT_DAYS = 5  # with changes, from which a point's habit is known
_SATURATED = 99.0  # fog keeps a sensor at its upper end for days


@dataclass(frozen=True)
class _Stuck:
    """Days, first to last [index], on which a point kept one value though it should have changed.

    within_k : it did, but by no more than a converter's noise [K]; 0 where it did not
    """

    point: Point
    first: int
    last: int
    length: int
    ongoing: bool
    within_k: float = 0.0


def sensor_stuck(context: Context) -> Finding | None:
    """A reading that has not changed for longer than its own habit allows while it should."""
    days = context.all_days.days
    runs = [found for found in context.once_for_all_days(_stuck_by_point).values() if found is not None]
    impossible = impossible_readings(context)
    if not runs and impossible is None:
        raise NotAssessed(
            "needs a temperature, or heat beside electricity, read at least 12 times a day",
            "missing_quantity",
        )
    stuck = [s for found in runs for s in found]
    if not any(s.ongoing for s in stuck) and not (impossible is not None and impossible.until is None):
        belied = belied_cylinder(context)
        if belied is not None:
            return belied
    if impossible is not None and not any(s.ongoing for s in stuck):
        return impossible
    if not stuck:
        return _shortly_stuck(context)
    worst = max(stuck, key=lambda s: (s.ongoing, s.length))
    point, length, ongoing = worst.point, worst.length, worst.ongoing
    need, habit = _days_needed(context, point)
    value = float(days.floats(f"raw.{point.id}")[worst.last])
    severity: Severity = "act" if length >= 3 else "watch"
    if not ongoing:  # one that stood still for weeks may do so again
        long = length >= context.limit("gap_long_days") and point.quantity in _NEVER_STILL
        severity = "watch" if long else "note"
    shows = f"{value:.4g} {point.kind.unit}" if point.form != "register" else "the same total"
    unchanged = f"within {worst.within_k:g} K" if worst.within_k else "without a change"
    spoken = (
        " (a typical value of a failed sensor)" if point.form == "gauge" and value in ERROR_VALUES else ""
    )
    expected = f" (usually about {habit:.0f} changes a day)" if math.isfinite(habit) else ""
    return Finding(
        "sensor_stuck",
        severity,
        days.day(worst.first).isoformat(),
        confidence_of(2.0, length),
        f"{named(point)} has shown {shows}{spoken} {unchanged} for {length}"
        f" day{'' if length == 1 else 's'}{expected}.",
        (
            context.evidence(
                "days without a change",
                float(length),
                "days",
                "stuck_missing_changes" if math.isfinite(habit) else "stuck_days_unknown_habit",
                float(need) - 0.5,
            ),
            Evidence("changes a day before", None if math.isnan(habit) else round(habit, 1), "changes"),
            Evidence("reading", round(value, 3), point.kind.unit),
        ),
        next_step=(
            ""
            if not ongoing
            else (
                f"Read {point.id} at the plant: if the display changes, the gateway repeats an old"
                " value: restart it. If not, replace the sensor (seat it well in its pocket, with"
                " paste and insulation)."
            )
        ),
        caution=(
            ""
            if not ongoing
            else METER_WORK
            if point.kind.energy
            else "Pipes and pockets may be hot and under pressure."
        ),
        until=None if ongoing else days.day(worst.last).isoformat(),
        visit="drive" if ongoing else "none",
        bring=(f"sensor for {point.quantity.replace('_', ' ')}",) if ongoing else (),
    )


def _should_move(days: Table, point: Point) -> Flags | None:
    """Days on which a point's reading must move; None where that is not known."""
    if not np.isfinite(_moves(days, point)).any():
        return None
    if point.quantity == "outdoor_humidity":
        return days.floats(f"raw.{point.id}") < _SATURATED
    if point.quantity in _AIR:
        return np.ones(len(days), dtype=bool)
    running, worked, gave = _of_its_unit(days, point)
    if point.quantity in _WATER:
        return running >= _WORKED_MIN
    if point.quantity == "flow_rate":
        return _flow_contradicted(days)
    if point.quantity == "cylinder_temperature":
        return days.floats(f"raw.{point.id}") > _WARM_CYLINDER_C
    if point.quantity == "system_pressure":
        return days.floats("minutes_heating") >= 2.0 * _WORKED_MIN
    # A coarse register moves only when a whole step has gone by: a day must hold some of them.
    steps = _LEAST_STEPS * float(np.nanmax(days.floats(f"step.{point.quantity}"), initial=0.0))
    if point.quantity == "heat_output" and np.isfinite(worked).any():
        return (running >= _WORKED_MIN) & (fill_nan(worked, 0.0) >= max(2.0, steps))
    if point.quantity == "heat_pump_electricity" and np.isfinite(gave).any():
        return fill_nan(gave, 0.0) >= max(5.0, _HIGHEST_COP * steps)
    return None


def _of_its_unit(days: Table, point: Point) -> tuple[Floats, Floats, Floats]:
    """Running minutes, electricity and heat by day [kWh] of the unit that a point belongs to; of all of them
    for a shared point."""
    if point.heat_pump is None:
        return (
            days.floats("minutes_running"),
            days.floats("electricity_heat_pump_kwh"),
            days.floats("heat_total_kwh"),
        )
    names = (
        f"{name}{point.heat_pump}" for name in ("minutes_unit_running.", "unit_used_kwh.", "unit_heat_kwh.")
    )
    running, worked, gave = (days.floats(n) if n in days else np.full(len(days), np.nan) for n in names)
    return running, worked, gave


def _flow_contradicted(days: Table) -> Flags | None:
    """Days on which a separate heat meter shows another flow; None without one.

    A pump of one speed that is never stopped gives one and the same reading for months, and no other meter
    says it is wrong. Where both agree while the cylinder is charged, the reading is right, and something else
    heats the meter's water for the rooms.
    """
    if "check_meter" not in days:
        return None
    agree = np.abs(_flow_over_meter(days, "_hot") - 1.0) <= _BELIED
    return (np.abs(_flow_over_meter(days, "") - 1.0) > _BELIED) & ~agree


def _flow_over_meter(days: Table, use: str) -> Floats:
    """Heat by flow and temperatures over the meter's by day [-]; nan where too little to compare, or unknown.

    use : "" for all, "_hot" for charges of the cylinder
    """
    nothing = np.full(len(days), np.nan)
    if f"check_meter{use}" not in days:
        return nothing
    meter, flow = days.floats(f"check_meter{use}"), days.floats(f"check_flow{use}")
    return np.divide(flow, meter, out=nothing, where=meter > _LEAST_COMPARED_KWH)


def _changes(days: Table, point: Point) -> Floats:
    """Changes in each day, including the change from the day before."""
    raw = days.floats(f"raw.{point.id}")
    anew = np.concatenate(([False], np.diff(raw) != 0.0))
    return _moves(days, point) + anew


def _stuck_by_point(context: Context) -> dict[str, list[_Stuck] | None]:
    """Point id -> its stuck runs; None where it is not known whether the point should move."""
    return {p.id: _stuck_runs(context, p) for p in context.site.point}


def _stuck_runs(context: Context, point: Point) -> list[_Stuck] | None:
    days = context.all_days.days
    should = _should_move(days, point)
    if should is None:
        return None
    if point.quantity == "heat_output":
        should &= minutes_in_runs(context) >= _WORKED_MIN
    if point.quantity == "system_pressure":
        # The relief valve holds it there; such a high pressure must be reported in any case.
        should &= ~(days.floats(f"raw.{point.id}") >= context.limit("pressure_high_act"))
    moves, changes = _moves(days, point), _changes(days, point)
    need, _ = _days_needed(context, point)
    least_quiet = max(need, math.ceil(context.limit("stuck_days_unknown_habit")))
    # Readings are constant at night: a day with few readings shows no pattern.
    mostly = minutes_sent(days, point) >= _MOSTLY * days.floats("minutes_total")
    known = np.flatnonzero(np.isfinite(moves) & mostly)
    still = (moves == 0.0) & should
    out: list[_Stuck] = []
    for a, b in runs_of(still[known]):
        run = known[a : b + 1]
        # A value that differs from day to day is a daily mean, sent repeatedly.
        begins = np.flatnonzero(np.concatenate(([True], changes[run][1:] > 0)))
        for x, y in zip(begins, [*begins[1:], len(run)], strict=True):
            part = run[x:y]
            counted = np.isfinite(days.floats(f"moves.{point.id}")[part])
            if len(part) >= (need if counted.all() else least_quiet):
                last = int(part[-1])
                ongoing = not bool((changes[last + 1 :] > 0).any())
                out.append(_Stuck(point, int(part[0]), last, len(part), ongoing))
    return out or _flickering(context, point)


def _flickering(context: Context, point: Point) -> list[_Stuck]:
    """Stuck runs of the one outdoor sensor whose reading moves by a converter's noise alone."""
    days, most = context.all_days.days, context.limit("stuck_flicker_k")
    alone = point.quantity == "outdoor_temperature" and len(list(context.site.points_of(point.quantity))) == 1
    if not alone or not {"outdoor_min", "outdoor_max"} <= set(days.names):
        return []
    low, high = days.floats("outdoor_min"), days.floats("outdoor_max")
    # Daily means may stay as close for some days: only readings that were seen to move within the day count.
    known = np.flatnonzero(np.isfinite(high - low) & (days.floats(f"moves.{point.id}") > 0.0))
    low, high, out = low[known], high[known], []
    beside = np.maximum(high[1:], high[:-1]) - np.minimum(low[1:], low[:-1]) <= most
    for a, b in runs_of(beside):
        first, last, length = int(known[a]), int(known[b + 1]), b + 2 - a
        together = float(high[a : b + 2].max() - low[a : b + 2].min())
        if length >= context.limit("stuck_days_unknown_habit") and together <= 2.0 * most:
            out.append(_Stuck(point, first, last, length, b + 2 == len(known), round(together, 1)))
    return out


def _moves(days: Table, point: Point) -> Floats:
    """Changes within each day; nan where they can't be counted.

    A change-driven value has few readings on a day without a change. Such a day counts as unchanged where the
    day before or after has the same value. For air that is never read often enough to count, the daily values
    decide.
    """
    raw, moves = days.floats(f"raw.{point.id}"), days.floats(f"moves.{point.id}")
    if point.quantity not in _NEVER_STILL:
        return moves
    if not np.isfinite(moves).any():
        return np.where(np.isfinite(raw), 0.0, np.nan) if point.quantity in _AIR else moves
    same = np.diff(raw) == 0.0
    beside = np.concatenate(([False], same)) | np.concatenate((same, [False]))
    often = int((moves > 0.0).sum()) >= _HABIT_DAYS
    return np.where(np.isnan(moves) & beside & often, 0.0, moves)


def still_days(context: Context) -> dict[str, Flags]:
    """Days of stuck sensors that move again by now: quantity -> bool (n,). Other sensors of it may go on."""
    days = context.all_days.days
    out: dict[str, Flags] = {}
    stuck = context.once_for_all_days(_stuck_by_point)
    for quantity in {p.quantity for p in context.site.point if p.form == "gauge"}:
        points = list(context.site.points_of(quantity))
        still = np.zeros((len(points), len(days)), dtype=bool)
        for row, point in zip(still, points, strict=True):
            for run in stuck[point.id] or ():
                row[run.first : run.last + 1] = not run.ongoing
        flags = np.logical_and.reduce(still)
        if flags.any():
            out[quantity] = np.asarray(flags)
    return out


def _days_needed(context: Context, point: Point) -> tuple[int, float]:
    """Days without a change that chance does not explain, and the point's own habit [changes a day]."""
    changes = _changes(context.all_days.days, point)
    lively = changes[changes > 0]
    if len(lively) >= _HABIT_DAYS and not _is_coarse_pressure(context.all_days.days, point, changes > 0):
        habit = float(np.median(lively))
        return max(math.ceil(context.limit("stuck_missing_changes") / habit), 1), habit
    if point.quantity in ("flow_rate", "system_pressure"):
        return 10**6, float("nan")  # a pump of one speed, or a coarse gauge, may show one value for ever
    return math.ceil(context.limit("stuck_days_unknown_habit")), float("nan")


def _is_coarse_pressure(days: Table, point: Point, lively: Flags) -> bool:
    """Whether a pressure gauge's usual day spans so few of its own steps that it shows one value for weeks
    where the pressure lies between two of them."""
    if point.quantity != "system_pressure" or "pressure_swing" not in days:
        return False
    apart = np.abs(np.diff(days.floats(f"raw.{point.id}")))
    apart, swing = apart[apart > 0.0], days.floats("pressure_swing")[lively]
    return not len(apart) or bool(nan_median(swing) < _LEAST_STEPS * apart.min())


def _shortly_stuck(context: Context) -> Finding | None:
    """A note where a point was stuck for hours rather than days; None without one."""
    notices = context.all_days.notices
    # A few hours show nothing of a point that rarely changes.
    known = {p.id: p for p in context.site.point if _days_needed(context, p)[0] == 1}
    stuck = [i for i in np.flatnonzero(notices["kind"] == "stuck") if notices["point"][i] in known]
    if not stuck:
        return None
    worst = max(stuck, key=lambda i: notices["amount"][i])
    point, hours, day = (
        known[notices["point"][worst]],
        float(notices["amount"][worst]),
        notices.day(worst).isoformat(),
    )
    return Finding(
        "sensor_stuck",
        "note",
        day,
        0.6,
        f"{named(point)} showed the same value for {hours:.0f} hours on {day_text(day)}.",
        (Evidence("hours without a change", round(hours, 1), "h"),),
        until=day,
    )


def _unreliable_by_stuck(context: Context, finding: Finding) -> frozenset[str]:
    """Quantities of stuck points; only the zone itself where most other room sensors are sound."""
    runs = context.once_for_all_days(_stuck_by_point)
    stuck = [p for p in context.site.point if any(s.ongoing for s in runs[p.id] or ()) or broken(context, p)]
    out: set[str] = {"cylinder_temperature"} if belied_cylinder(context) is not None else set()
    for point in stuck:
        alike = len(list(context.site.points_of(point.quantity)))
        lost = sum(p.quantity == point.quantity for p in stuck)
        few = point.quantity == "room_temperature" and lost <= context.limit("stuck_rooms_share") * alike
        out.add(room_of(point.zone) if few else point.quantity)
    return frozenset(out)


STUCK_SENSOR_RULES: tuple[Rule, ...] = (
    Rule("sensor_stuck", sensor_stuck, makes_unreliable=_unreliable_by_stuck),
)
