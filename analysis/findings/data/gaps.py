"""Missing readings: gaps of the whole site, and of one point."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.findings.confidence import Flags, Floats, confidence_of
from fieldfare.analysis.findings.context import Context, Rule
from fieldfare.analysis.findings.episodes import runs_of
from fieldfare.analysis.findings.model import Evidence, Finding, Severity
from fieldfare.analysis.findings.phrases import day_text, listed, named
from fieldfare.analysis.minutes.rolling import window_sum
from fieldfare.analysis.plant.site import Point

_WHOLE_SHARE, _NONE_SHARE = 0.9, 0.1
_LOST_MIN = 60
# Quantities that the unit's own controls report.
_OWN_WORD = frozenset(
    {
        "compressor_speed",
        "compressor_starts",
        "compressor_hours",
        "operating_mode",
        "fault_code",
        "defrost_active",
        "target_flow_temperature",
        "diverter_to_hot_water",
    }
)


@dataclass(frozen=True)
class _Gap:
    """points that are silent, from first to last day [index]; hours lost in it, in the period in all, and on
    its newest days (`gap_recent_days`)"""

    points: tuple[Point, ...]
    first: int
    last: int
    hours: float
    in_all: float
    of_late: float
    ongoing: bool


def data_gap(context: Context) -> Finding | None:
    """Stretches in which the gateway, or one point that usually comes regularly, said nothing."""
    days = context.all_days.days
    minutes = days.floats("minutes_total")
    begun = np.flatnonzero(days.floats("minutes_any_known") > 0)
    if not len(begun):
        raise NotAssessed("no readings in this period", "not_enough_data")
    gap = _whole_gap(context, days, minutes, int(begun[0])) or _point_gap(context, days, minutes)
    if gap is None:
        return None
    severity = _gap_severity(context, gap, float(minutes.sum()) / 60.0)
    everything = len(gap.points) == len(_sending(context))
    who = "all points" if everything else listed(named(p) for p in gap.points)
    since = days.day(gap.first).isoformat()
    until = None if gap.ongoing else days.day(gap.last).isoformat()
    span = (
        f"since {day_text(since)}"
        if until is None
        else f"on {day_text(since)}"
        if until == since
        else f"between {day_text(since)} and {day_text(until)}"
    )
    length = _long(gap.hours) + (f" ({_long(gap.in_all)} in total)" if gap.in_all > 1.2 * gap.hours else "")
    registers = everything and any(p.form == "register" for p in gap.points)
    remark = (
        " Totals remain valid where a register kept counting; details within the gap are lost."
        if registers
        else ""
    )
    if everything:
        step = (
            "Call the household: does the gateway have power and network? If so, restart it; bring a"
            " spare only if it stays silent."
        )
    else:
        step = (
            f"Check that {listed(p.id for p in gap.points)} is still in the gateway's device list;"
            " then check its cable, battery and radio."
        )
    return Finding(
        "data_gap",
        severity,
        since,
        confidence_of(1.5, max(gap.hours / 24.0, 1.0)) if severity != "note" else 0.9,
        f"No readings from {who} {span}: {length} are missing.{remark}",
        (
            _evidence(context, gap, float(minutes.sum()) / 60.0),
            Evidence("hours without readings in all", round(gap.in_all, 1), "h"),
            Evidence("share of the period", round(gap.in_all * 60.0 / float(minutes.sum()), 4), "-"),
            Evidence("silent points", listed((p.id for p in gap.points), 6)),
        ),
        next_step=step if severity != "note" else "",
        home=(
            ""
            if severity == "note" or not everything or until
            else (
                f"We have had no readings since {day_text(since)}. Your heating may be fine; please"
                " check that the small box beside the meter has power, and call us if its lights are"
                " out."
            )
        ),
        until=until,
        visit="none" if until else "call",
        bring=() if everything or until else ("spare sensor or battery",),
    )


def _long(hours: float) -> str:
    return f"{hours:.0f} hours" if hours < 72 else f"{hours / 24:.0f} days"


def _sending(context: Context) -> list[Point]:
    days = context.all_days.days
    return [p for p in context.site.point if f"seen.{p.id}" in days and days.total(f"seen.{p.id}") > 0]


def _whole_gap(context: Context, days: Table, minutes: Floats, begun: int) -> _Gap | None:
    """Silence of all points; time before the first reading does not count."""
    there = days.floats("minutes_any_known")
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
    of_late = float(np.where(silent, lost, 0.0)[_newest(context, lost >= minutes)].sum()) / 60.0
    return _Gap(tuple(_sending(context)), *longest, own, hours, of_late, ongoing)


def _newest(context: Context, silent: Flags) -> slice:
    """The newest days, in which a failure shows that it may come again.

    What fails every three weeks is not well after two: the days reach back as far as its gaps lie apart.

    silent : bool (n,), whole days without a reading
    """
    begun = [first for first, _ in runs_of(silent)]
    apart = float(np.median(np.diff(begun))) if len(begun) >= context.limit("gap_repeats") else 0.0
    reach = math.ceil(max(context.limit("gap_recent_days"), apart))
    return slice(max(len(silent) - reach, 0), None)


def _usual_spacing(context: Context) -> float:
    """Minutes between readings of the point that is read most often."""
    days = context.all_days.days
    spacings = [days.median(c) for c in days.names if c.startswith("spacing.")]
    return min(spacings, default=1.0)


def _point_gap(context: Context, days: Table, minutes: Floats) -> _Gap | None:
    """Whole days without a point that is there nearly every minute of other days.

    A point that is sent only when it changes is often silent for long and none the worse.
    """
    sending = days.floats("minutes_any_known") > _WHOLE_SHARE * minutes
    dead = fill_nan(days.floats("minutes_dead"), 0.0) >= 0.5 * minutes
    gaps: list[_Gap] = []
    for point in _sending(context):
        if point.form == "state" or point.quantity.startswith("target_"):
            continue
        share = fill_nan(minutes_sent(days, point), 0.0) / minutes
        there = np.flatnonzero(share > _NONE_SHARE)
        if not len(there):
            continue
        usual = float(np.median(share[there[0] : there[-1] + 1]))
        if usual < _WHOLE_SHARE:
            continue
        # A point that is heard a little every day isn't silent: one sent on change says little on quiet days.
        # The days at both ends of a true gap are heard in part.
        nothing = share <= 0.0
        silent = (share < _NONE_SHARE) & sending & (window_sum(nothing, 1, 2) > 0)
        if point.quantity in _OWN_WORD:
            silent &= ~dead  # a unit without supply sends nothing, which is a finding about the unit
        silent[: there[0]] = False
        for a, b in runs_of(silent):
            lost = np.zeros(len(days))
            lost[a : b + 1] = minutes[a : b + 1]
            hours, of_late = (
                float(lost[part].sum()) / 60.0 for part in (slice(None), _newest(context, silent))
            )
            gaps.append(_Gap((point,), a, b, hours, hours, of_late, b == len(days) - 1))
    if not gaps:
        return None
    worst = max(gaps, key=lambda g: (g.ongoing, g.hours))
    alike = [g for g in gaps if abs(g.first - worst.first) <= 1 and g.ongoing == worst.ongoing]
    points = tuple(p for g in alike for p in g.points)
    return replace(worst, points=points)


def minutes_sent(days: Table, point: Point) -> Floats:
    """Minutes of each day that a point's readings cover, those left out as impossible too."""
    return fill_nan(days.floats(f"sent.{point.id}"), days.floats(f"seen.{point.id}"))


def _gap_severity(context: Context, gap: _Gap, hours_in_all: float) -> Severity:
    """How much a gap asks for.

    One that lasts wants a call. One that ended days ago is to be looked at again, as a gateway that failed
    for days may fail again; once it has held for a fortnight nothing is left to do, and the figures carry
    their coverage. A very long one stays to be looked at: nobody can tell how the home fared meanwhile.
    """
    if gap.ongoing:
        lasting = (gap.last - gap.first + 1) >= context.limit("gap_ongoing_days")
        return "act" if lasting else "watch" if gap.hours >= 24.0 else "note"
    return "watch" if _is_long(context, gap) or gap.of_late >= _much(context, hours_in_all) else "note"


def _is_long(context: Context, gap: _Gap) -> bool:
    return gap.hours >= 24.0 * context.limit("gap_long_days")


def _much(context: Context, hours_in_all: float) -> float:
    """Hours lost on the newest days that are more than a note; less in a period of few days."""
    return max(
        min(context.limit("gap_watch_hours"), 0.1 * hours_in_all),
        context.limit("gap_watch_share") * hours_in_all,
    )


def _evidence(context: Context, gap: _Gap, hours_in_all: float) -> Evidence:
    """What determines the severity of a gap, besides its limit."""
    if _is_long(context, gap) and not gap.ongoing:
        days = round(gap.hours / 24.0, 1)
        return context.evidence("days without readings on end", days, "days", "gap_long_days")
    of_late, much = round(gap.of_late, 1), _much(context, hours_in_all)
    return context.evidence("hours without readings of late", of_late, "h", "gap_watch_hours", round(much, 1))


GAP_RULES: tuple[Rule, ...] = (Rule("data_gap", data_gap),)
