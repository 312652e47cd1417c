"""Readings that do not come, or do not move: gaps and stuck sensors."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.findings.confidence import (
    METER_CAUTION,
    Flags,
    Floats,
    confidence_of,
    listed,
    named,
    runs_of,
)
from fieldfare.analysis.findings.context import Context, Rule
from fieldfare.analysis.findings.data.impossible import broken, impossible_readings
from fieldfare.analysis.findings.data.unreliable_rooms import room_of
from fieldfare.analysis.findings.model import Evidence, Finding, Severity
from fieldfare.analysis.minutes.plausible import ERROR_VALUES
from fieldfare.analysis.plant.site import Point

_WHOLE_SHARE, _NONE_SHARE = 0.9, 0.1
_LOST_MIN = 60
# ---- gaps


@dataclass(frozen=True)
class _Gap:
    """points that are silent, from first to last day [index]; hours lost in it, and in the period in all"""

    points: tuple[Point, ...]
    first: int
    last: int
    hours: float
    in_all: float
    ongoing: bool


def data_gap(context: Context) -> Finding | None:
    """Stretches in which the gateway, or one point that usually comes regularly, said nothing."""
    days = context.whole.days
    minutes = days.floats("n_minutes")
    begun = np.flatnonzero(days.floats("n_any") > 0)
    if not len(begun):
        raise NotAssessed("no readings in this period")
    gap = _whole_gap(context, days, minutes, int(begun[0])) or _point_gap(context, days, minutes)
    if gap is None:
        return None
    severity = _gap_severity(context, gap, float(minutes.sum()) / 60.0)
    everything = len(gap.points) == len(_sending(context))
    who = "all points" if everything else listed(named(p) for p in gap.points)
    since = days.day(gap.first).isoformat()
    until = None if gap.ongoing else days.day(gap.last).isoformat()
    span = (
        f"since {since}"
        if until is None
        else f"on {since}"
        if until == since
        else f"between {since} and {until}"
    )
    length = _long(gap.hours) + (f" (in all {_long(gap.in_all)})" if gap.in_all > 1.2 * gap.hours else "")
    registers = everything and any(p.form == "register" for p in gap.points)
    kept = " Totals hold where a register counted on; what happened within is lost." if registers else ""
    if everything:
        step = (
            "Call the house: has the gateway power and network? If so, start it anew; take a spare along only"
            " if it stays silent."
        )
    else:
        step = (
            f"See whether {listed(p.id for p in gap.points)} still stands in the gateway's list; then its"
            " cable, battery and radio."
        )
    return Finding(
        "data_gap",
        severity,
        since,
        confidence_of(1.5, max(gap.hours / 24.0, 1.0)) if severity != "note" else 0.9,
        f"No readings from {who} {span}: {length} are missing.{kept}",
        (
            context.evidence("hours without readings", round(gap.in_all, 1), "h", "gap_watch_hours"),
            Evidence("share of the period", round(gap.in_all * 60.0 / float(minutes.sum()), 4), "-"),
            Evidence("silent points", listed((p.id for p in gap.points), 6)),
        ),
        next_step=step if severity != "note" else "",
        home=(
            ""
            if severity == "note" or not everything or until
            else (
                f"Since {since} no readings reach us. The heating itself need not be affected; please look"
                " whether the small box beside the meter has power, and call us if its lights are out."
            )
        ),
        until=until,
        visit="none" if until else "call",
        bring=() if everything or until else ("spare sensor or battery",),
    )


def _long(hours: float) -> str:
    return f"{hours:.0f} hours" if hours < 72 else f"{hours / 24:.0f} days"


def _sending(context: Context) -> list[Point]:
    days = context.whole.days
    return [p for p in context.site.point if f"seen.{p.id}" in days and days.total(f"seen.{p.id}") > 0]


def _whole_gap(context: Context, days: Table, minutes: Floats, begun: int) -> _Gap | None:
    """Silence of every point; what comes before the first reading ever is none."""
    there = days.floats("n_any")
    lost = minutes - there
    # The day of the first reading, and that of the newest, are parts of days by nature.
    lost[: begun + 1] = 0.0
    last_day = len(days) - 1
    if there[last_day] > 0:
        lost[last_day] = 0.0
    silent = lost >= _LOST_MIN
    hours = float(lost[silent].sum()) / 60.0
    if hours <= 0:
        return None
    found = runs_of(silent)
    trailing = float(minutes[found[-1][0] : found[-1][1] + 1].sum()) if found[-1][1] == last_day else 0.0
    ongoing = trailing > 3.0 * _usual_spacing(context)
    if trailing and not ongoing:  # the next reading is not due yet
        hours -= float(lost[found[-1][0] : found[-1][1] + 1].sum()) / 60.0
        found = found[:-1]
        if not found:
            return None
    longest = found[-1] if ongoing else max(found, key=lambda r: float(lost[r[0] : r[1] + 1].sum()))
    if not ongoing and hours < 6.0:
        return None
    own = float(lost[longest[0] : longest[1] + 1].sum()) / 60.0
    return _Gap(tuple(_sending(context)), *longest, own, hours, ongoing)


def _usual_spacing(context: Context) -> float:
    """Minutes between readings of the point that is read most often."""
    days = context.whole.days
    spacings = [days.median(c) for c in days.names if c.startswith("spacing.")]
    return min(spacings, default=1.0)


def _point_gap(context: Context, days: Table, minutes: Floats) -> _Gap | None:
    """Whole days without a point that is there nearly every minute of other days.

    A point that is sent only when it changes is often silent for long and none the worse.
    """
    sending = days.floats("n_any") > _WHOLE_SHARE * minutes
    gaps: list[_Gap] = []
    for point in _sending(context):
        if point.form == "state" or point.quantity.startswith("target_"):
            continue
        share = fill_nan(_sent(days, point), 0.0) / minutes
        there = np.flatnonzero(share > _NONE_SHARE)
        if not len(there):
            continue
        usual = float(np.median(share[there[0] : there[-1] + 1]))
        if usual < _WHOLE_SHARE:
            continue
        silent = (share < _NONE_SHARE) & sending
        silent[: there[0]] = False
        for a, b in runs_of(silent):
            hours = float(minutes[a : b + 1].sum()) / 60.0
            gaps.append(_Gap((point,), a, b, hours, hours, b == len(days) - 1))
    if not gaps:
        return None
    worst = max(gaps, key=lambda g: (g.ongoing, g.hours))
    alike = [g for g in gaps if abs(g.first - worst.first) <= 1 and g.ongoing == worst.ongoing]
    points = tuple(p for g in alike for p in g.points)
    return _Gap(points, worst.first, worst.last, worst.hours, worst.in_all, worst.ongoing)


def _sent(days: Table, point: Point) -> Floats:
    """Minutes of each day that a point's readings cover, those left out as impossible too."""
    return fill_nan(days.floats(f"sent.{point.id}"), days.floats(f"seen.{point.id}"))


def _gap_severity(context: Context, gap: _Gap, hours_in_all: float) -> Severity:
    lasting = (gap.last - gap.first + 1) >= context.limit("gap_ongoing_days")
    if gap.ongoing:
        return "act" if lasting else "watch" if gap.hours >= 24.0 else "note"
    # A gap that is over still leaves the period's figures incomplete, if it is no small part of them.
    much = max(
        min(context.limit("gap_watch_hours"), 0.1 * hours_in_all),
        context.limit("gap_watch_share") * hours_in_all,
    )
    return "watch" if gap.in_all >= much else "note"


# ---- stuck sensors

_WATER = frozenset(
    {
        "flow_temperature",
        "return_temperature",
        "distribution_flow_temperature",
        "distribution_return_temperature",
    }
)
_AIR = frozenset({"outdoor_temperature", "outdoor_humidity", "room_temperature", "solar_irradiance"})
_WORKED_MIN = 60.0
# A cylinder this warm loses several kelvin a day through its best insulation: it can't keep one reading.
_WARM_CYLINDER_C = 30.0
_MOSTLY = 0.8
# No unit gives more heat for its electricity (EN 14511 data, common practice).
_LEAST_STEPS, _HIGHEST_COP = 3.0, 7.5
# Two meters of their classes, and two pairs of sensors, agree closer than this (EN 1434-1 class 3 and IEC
# 60751 class B).
_BELIED, _LEAST_COMPARED_KWH = 0.15, 3.0
_SATURATED = 99.0  # fog keeps a sensor at its upper end for days


@dataclass(frozen=True)
class _Stuck:
    """A stretch of days, first to last [index], on which a point kept one reading though it should have
    moved."""

    point: Point
    first: int
    last: int
    length: int
    ongoing: bool


def sensor_stuck(context: Context) -> Finding | None:
    """A reading that has not changed for longer than its own habit allows while it should."""
    days = context.whole.days
    runs = [found for p in context.site.point if (found := _stuck_runs(context, p)) is not None]
    if not runs and impossible_readings(context) is None:
        raise NotAssessed("needs a temperature, or heat beside electricity, read at least 12 times a day")
    stuck = [s for found in runs for s in found]
    impossible = impossible_readings(context)
    if impossible is not None and not any(s.ongoing for s in stuck):
        return impossible
    if not stuck:
        return _shortly_stuck(context)
    worst = max(stuck, key=lambda s: (s.ongoing, s.length))
    point, length, ongoing = worst.point, worst.length, worst.ongoing
    need, habit = _days_needed(context, point)
    value = float(days.floats(f"raw.{point.id}")[worst.last])
    severity: Severity = "note" if not ongoing else "act" if length >= 3 else "watch"
    shows = f"{value:.4g} {point.kind.unit}" if point.form != "register" else "the same total"
    spoken = (
        " (a value that sensors show when they fail)"
        if point.form == "gauge" and value in ERROR_VALUES
        else ""
    )
    expected = f" instead of about {habit:.0f} changes a day" if math.isfinite(habit) else ""
    return Finding(
        "sensor_stuck",
        severity,
        days.day(worst.first).isoformat(),
        confidence_of(2.0, length),
        f"{named(point)} has shown {shows}{spoken} without a change for {length}"
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
                f"Read {point.id} at the plant: if the display moves, the gateway repeats an old value and"
                " wants a restart; if not, change the sensor (seat it well in its pocket, with paste and"
                " insulation)."
            )
        ),
        caution=(
            ""
            if not ongoing
            else METER_CAUTION
            if point.kind.energy
            else "Pipes and pockets may be hot and under pressure."
        ),
        until=None if ongoing else days.day(worst.last).isoformat(),
        visit="drive" if ongoing else "none",
        bring=(f"sensor for {point.quantity.replace('_', ' ')}",) if ongoing else (),
    )


def _should_move(days: Table, point: Point) -> Flags | None:
    """Days on which a point's reading must move; None where that can't be told of it."""
    if not np.isfinite(days.floats(f"moves.{point.id}")).any():
        return None
    if point.quantity == "outdoor_humidity":
        return days.floats(f"raw.{point.id}") < _SATURATED
    if point.quantity in _AIR:
        return np.ones(len(days), dtype=bool)
    if point.quantity in _WATER:
        return days.floats("n_running") >= _WORKED_MIN
    if point.quantity == "flow_rate":
        return _flow_belied(days)
    if point.quantity == "cylinder_temperature":
        return days.floats(f"raw.{point.id}") > _WARM_CYLINDER_C
    if point.quantity == "system_pressure":
        return days.floats("n_heating") >= 2.0 * _WORKED_MIN
    worked, gave = days.floats("e_heat_pump"), days.floats("q_total")
    # A coarse register moves only when a whole step has gone by: a day must hold some of them.
    steps = _LEAST_STEPS * float(np.nanmax(days.floats(f"step.{point.quantity}"), initial=0.0))
    if point.quantity == "heat_output" and np.isfinite(worked).any():
        return (days.floats("n_running") >= _WORKED_MIN) & (fill_nan(worked, 0.0) >= max(2.0, steps))
    if point.quantity == "heat_pump_electricity" and np.isfinite(gave).any():
        return fill_nan(gave, 0.0) >= max(5.0, _HIGHEST_COP * steps)
    return None


def _flow_belied(days: Table) -> Flags | None:
    """Days on which a heat meter of its own shows another flow; None where there is none.

    A pump of one speed that is never stopped gives one and the same reading for months, and no other meter
    says it is wrong.
    """
    if "check_meter" not in days:
        return None
    meter, flow = days.floats("check_meter"), days.floats("check_flow")
    ratio = np.divide(flow, meter, out=np.full(len(days), np.nan), where=meter > _LEAST_COMPARED_KWH)
    return np.abs(ratio - 1.0) > _BELIED


def _changes(days: Table, point: Point) -> Floats:
    """How often a value changed in each day, the change from the day before counted in."""
    raw = days.floats(f"raw.{point.id}")
    anew = np.concatenate(([False], np.diff(raw) != 0.0))
    return days.floats(f"moves.{point.id}") + anew


def _stuck_runs(context: Context, point: Point) -> list[_Stuck] | None:
    """None where it can't be told whether the point should move."""
    days = context.whole.days
    should = _should_move(days, point)
    if should is None:
        return None
    moves, changes = days.floats(f"moves.{point.id}"), _changes(days, point)
    need, _ = _days_needed(context, point)
    # Much keeps still at night: a day that has hardly begun, or was hardly read, tells of no day's habit.
    mostly = _sent(days, point) >= _MOSTLY * days.floats("n_minutes")
    known = np.flatnonzero(np.isfinite(moves) & mostly)
    still = (moves == 0.0) & should
    out: list[_Stuck] = []
    for a, b in runs_of(still[known]):
        run = known[a : b + 1]
        # A value that is another each day is the day's mean, sent again and again.
        begins = np.flatnonzero(np.concatenate(([True], changes[run][1:] > 0)))
        for x, y in zip(begins, [*begins[1:], len(run)], strict=True):
            part = run[x:y]
            if len(part) >= need:
                last = int(part[-1])
                ongoing = not bool((changes[last + 1 :] > 0).any())
                out.append(_Stuck(point, int(part[0]), last, len(part), ongoing))
    return out


def _days_needed(context: Context, point: Point) -> tuple[int, float]:
    """Days without a change that chance does not explain, and the point's own habit [changes a day]."""
    changes = _changes(context.whole.days, point)
    lively = changes[changes > 0]
    if len(lively) >= 5:
        habit = float(np.median(lively))
        return max(math.ceil(context.limit("stuck_missing_changes") / habit), 1), habit
    if point.quantity in ("flow_rate", "system_pressure"):
        return 10**6, float("nan")  # a pump of one speed, or a coarse gauge, may show one value for ever
    return math.ceil(context.limit("stuck_days_unknown_habit")), float("nan")


def _shortly_stuck(context: Context) -> Finding | None:
    """Hours rather than days: worth a note."""
    notices = context.whole.notices
    # Of a point that moves but now and then, hours tell nothing.
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
        f"{named(point)} showed one and the same value for {hours:.0f} hours of {day}.",
        (Evidence("hours without a change", round(hours, 1), "h"),),
        until=day,
    )


def _spoilt_by_stuck(context: Context, finding: Finding) -> frozenset[str]:
    """Quantities of stuck points; of rooms, the stuck zone alone where two thirds or more of the others are
    sound."""
    stuck = [
        p
        for p in context.site.point
        if any(s.ongoing for s in _stuck_runs(context, p) or ()) or broken(context, p)
    ]
    out: set[str] = set()
    for point in stuck:
        alike = len(list(context.site.points_of(point.quantity)))
        lost = sum(p.quantity == point.quantity for p in stuck)
        few = point.quantity == "room_temperature" and lost <= context.limit("stuck_rooms_share") * alike
        out.add(room_of(point.zone) if few else point.quantity)
    return frozenset(out)


SILENCE_RULES: tuple[Rule, ...] = (
    Rule("data_gap", data_gap),
    Rule("sensor_stuck", sensor_stuck, spoils=_spoilt_by_stuck),
)
