"""Physically impossible readings: a broken sensor or cable."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import METER_WORK
from fieldfare.analysis.findings.confidence import Flags, confidence_of
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.model import Evidence, Finding, Severity
from fieldfare.analysis.findings.phrases import named
from fieldfare.analysis.minutes.plausible import BELOW_DESIGN_K, ERROR_VALUES
from fieldfare.analysis.plant.site import Point

_SEVERAL_DAYS = 3
_SEVERAL_POINTS, _MOSTLY = 3, 0.8
_SHAPES = ("gauge", "power")
_CONTROLS_WORK = (
    "Switch the controls off before opening their terminals; outdoors, work on a ladder by the local rules."
)
_MORE_THAN_STANDBY_W = 500.0
_USUAL_BELOW_C = 40.0  # degF read as degC lies above in rooms and water


def _impossible_days(context: Context, point: Point) -> Flags:
    """Days on which a good share of a point's readings can't be true and was left out."""
    notices, days = context.all_days.notices, context.all_days.days
    share = np.zeros(len(days))
    rows = np.flatnonzero((notices["kind"] == "unlikely") & (notices["point"] == point.id))
    at = np.searchsorted(days["day"], notices["day"][rows])
    np.maximum.at(share, at, notices["amount"][rows].astype(np.float64))
    bad = share >= context.limit("impossible_share")
    # A wrong unit makes whole days impossible on the high side: `unit_mismatch` tells that.
    raw = days.floats(f"raw.{point.id}")
    failed = np.isin(raw, list(ERROR_VALUES - {0.0})) | (raw < _coldest(context, point))
    if point.form == "power":
        return bad & (raw < _MORE_THAN_STANDBY_W)  # more than any home draws is a unit slip
    return bad & (failed | (raw < _USUAL_BELOW_C) & (share < 0.5))


def _coldest(context: Context, point: Point) -> float:
    low = point.kind.likely[0]
    design = context.site.design.outdoor_c
    return (
        max(low, design - BELOW_DESIGN_K)
        if point.quantity == "outdoor_temperature" and design is not None
        else low
    )


def impossible_readings(context: Context) -> Finding | None:
    """A sensor that shows what no air, water or meter can: broken, or its cable is."""
    days = context.all_days.days
    worst: tuple[bool, int, Point, Flags] | None = None
    for point in context.site.point:
        if point.form not in _SHAPES or f"raw.{point.id}" not in days:
            continue
        impossible = _impossible_days(context, point)
        if impossible.any() and (
            worst is None or (bool(impossible[-2:].any()), int(impossible.sum())) > worst[:2]
        ):
            worst = (bool(impossible[-2:].any()), int(impossible.sum()), point, impossible)
    if worst is None:
        return None
    ongoing, count, point, impossible = worst
    at = np.flatnonzero(impossible)
    typical = float(np.nanmedian(days.floats(f"raw.{point.id}")[impossible]))
    severity: Severity = "note" if not ongoing else "act" if count >= _SEVERAL_DAYS else "watch"
    shows, step, bring = _words(point, count, typical)
    return Finding(
        "sensor_stuck",
        severity,
        days.day(at[0]).isoformat(),
        confidence_of(2.0, count),
        shows,
        (
            Evidence("days with impossible readings", float(count), "days"),
            Evidence("typical reading", round(typical, 2), point.kind.unit),
        ),
        next_step=step if ongoing else "",
        caution="" if not ongoing else METER_WORK if point.kind.energy else _CONTROLS_WORK,
        until=None if ongoing else days.day(at[-1]).isoformat(),
        visit="drive" if ongoing else "none",
        bring=bring if ongoing else (),
    )


def _words(point: Point, count: int, typical: float) -> tuple[str, str, tuple[str, ...]]:
    """Headline, next step and what to bring, for a meter or a sensor."""
    on_days = f"on {count} day{'' if count == 1 else 's'}"
    if point.kind.energy:
        return (
            f"{named(point)} shows power below zero {on_days}: it counts the wrong way round; these readings"
            " are excluded from all figures.",
            f"Check which way round the clamp or the terminals of {point.id} are, and the sign that the"
            " gateway gives its values.",
            (),
        )
    return (
        f"{named(point)} sent readings that can't be true {on_days}, such as {typical:.4g}"
        f" {point.kind.unit}; they are excluded from all figures.",
        f"Check whether the cable of {point.id} is broken, loose or wet at its terminals; then replace the"
        " sensor.",
        (f"sensor for {point.quantity.replace('_', ' ')}",),
    )


def broken(context: Context, point: Point) -> bool:
    """True for a point whose readings of these days can't be true."""
    return point.form in _SHAPES and bool(_impossible_days(context, point)[-2:].all())


def repeats_itself(context: Context) -> bool:
    """True where the gateway sends one value, or zeros, for every temperature: the readings show nothing of
    the plant."""
    points = [p for p in context.site.point if p.kind.is_temperature and not p.quantity.startswith("target_")]
    if len(points) < _SEVERAL_POINTS:
        return False
    days, notices = context.all_days.days, context.all_days.notices
    newest = days["day"][-2:]
    unlikely = notices.where(
        (notices["kind"] == "unlikely")
        & np.isin(notices["day"], newest)
        & (notices.floats("amount") >= _MOSTLY)
    )
    false = set(unlikely["point"])
    stuck = {q for q, finding in context.unreliable.items() if finding.code == "sensor_stuck"}
    return all(p.quantity in stuck or p.id in false for p in points)
