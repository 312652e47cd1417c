"""Hourly schedule: control settings and occupancy, changed by faults and oddities."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from fieldfare.collector.simulated.design.draws import day_of_draws, party
from fieldfare.collector.simulated.design.spec import PlantSpec
from fieldfare.collector.simulated.faults.effects import apply_fault
from fieldfare.collector.simulated.step.layout import HOURLY, HOURLY_DTYPE

WARM_DAYS = 5  # warm-up before the first logged instant, to hide the start-up

# Share of the day's gains by local hour; people at home in the morning and the evening. Common practice.
GAINS_BY_HOUR = np.array(
    [
        0.5,
        0.45,
        0.45,
        0.45,
        0.45,
        0.6,
        1.0,
        1.4,
        1.2,
        0.85,
        0.8,
        0.85,
        1.0,
        0.9,
        0.85,
        0.9,
        1.1,
        1.5,
        1.8,
        1.8,
        1.75,
        1.6,
        1.2,
        0.7,
    ]
)
GAINS_BY_HOUR = GAINS_BY_HOUR / GAINS_BY_HOUR.mean()


@dataclass(frozen=True)
class SimulatedSpan:
    """The simulated time: local days and their UTC range."""

    first: date
    days: int
    zone: ZoneInfo
    begin: datetime  # UTC, warm-up included
    start: datetime  # UTC instant of the first local midnight
    end: datetime

    @property
    def warm_minutes(self) -> int:
        return int((self.start - self.begin).total_seconds() // 60)

    @property
    def minutes(self) -> int:
        return int((self.end - self.begin).total_seconds() // 60)


def span_of(first: date, days: int, timezone: str) -> SimulatedSpan:
    """Span of whole local days.

    first : date; days : int; timezone : str, IANA
    Returns SimulatedSpan. Raises ValueError if days < 1 or the zone is not whole hours from UTC.
    """
    if days < 1:
        raise ValueError(f"days must be at least 1, got {days}")
    zone = ZoneInfo(timezone)
    start = datetime.combine(first, time(), zone).astimezone(UTC)
    end = datetime.combine(first + timedelta(days=days), time(), zone).astimezone(UTC)
    if start.minute or end.minute:
        raise ValueError(f"timezone {timezone} is not whole hours from UTC")
    return SimulatedSpan(first, days, zone, start - timedelta(days=WARM_DAYS), start, end)


def clock(span: SimulatedSpan) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Local day number, clock hour and weekday of every UTC hour: three float arrays (hours,)."""
    count = int((span.end - span.begin).total_seconds() // 3600)
    day, hour, weekday = np.empty(count), np.empty(count), np.empty(count)
    first = span.first.toordinal()
    for i in range(count):
        local = (span.begin + timedelta(hours=i)).astimezone(span.zone)
        day[i], hour[i], weekday[i] = local.date().toordinal() - first, local.hour, local.weekday()
    return day, hour, weekday


def _within(hour: np.ndarray, begin: float, end: float) -> np.ndarray:
    """Mask of clock hours in a window that may cross midnight: bool array."""
    if begin <= end:
        return (hour >= begin) & (hour < end)
    return (hour >= begin) | (hour < end)


def hours_of(spec: PlantSpec, span: SimulatedSpan) -> np.ndarray:
    """Settings and conditions of every hour: the healthy system, then oddities, then faults.

    spec : PlantSpec; span : SimulatedSpan
    Returns record array (hours,).
    """
    day, hour, weekday = clock(span)
    h = np.zeros(len(day), dtype=HOURLY_DTYPE)
    for name, value in HOURLY.items():
        h[name] = value
    h["day"], h["hour"], h["weekday"] = day, hour, weekday
    control = spec.control
    h["target0"] = control.targets_c[0]
    h["target1"] = control.targets_c[-1]
    if control.setback_k > 0.0:
        night = _within(hour, control.setback_from_h, control.setback_to_h)
        h["target0"] -= control.setback_k * night
        h["target1"] -= control.setback_k * night
    h["open0"], h["open1"] = spec.emitters[0].opened, spec.emitters[-1].opened
    h["cutoff"] = control.cutoff_c
    rng = np.random.default_rng([spec.seed, 31])
    busy = np.array(
        [
            np.random.default_rng([spec.seed, 32, span.first.toordinal() + int(d)]).normal(1.0, 0.18)
            for d in day[::24]
        ]
    )
    h["gains"] = (
        spec.house.gains_w
        * GAINS_BY_HOUR[hour.astype(int)]
        * np.repeat(np.clip(busy, 0.4, 1.7), 24)[: len(day)]
    )
    h["gains"] *= np.where(weekday >= 5, 1.12, 0.96)
    wind = np.interp(
        np.arange(len(day)),
        np.arange(0, len(day) + 12, 12),
        rng.standard_normal(len(day) // 12 + 2)[: len(range(0, len(day) + 12, 12))],
    )
    h["infiltration"] = np.clip(1.0 + 0.3 * wind, 0.3, 2.2)
    h["infiltration"] /= h["infiltration"][WARM_DAYS * 24 :].mean()
    if spec.backup is not None:
        h["bivalent"] = spec.backup.bivalent_c
    if spec.hot_water is not None:
        _hot_water(spec, span, h)
    _oddities(spec, span, h)
    for fault in spec.faults:
        apply_fault(fault, spec, h, span)
    return h


def _hot_water(spec: PlantSpec, span: SimulatedSpan, h: np.ndarray) -> None:
    """Fill set-point, windows and disinfection; h is updated in place."""
    hw = spec.hot_water
    assert hw is not None
    h["setpoint"], h["reheat_below"] = hw.setpoint_c, hw.reheat_below_c
    h["immersion_completes"] = float(hw.immersion_completes)
    if hw.windows:
        open_now = np.zeros(len(h), dtype=bool)
        for begin, end in hw.windows:
            open_now |= _within(h["hour"], begin, end)
        h["hot_on"] = open_now
    if hw.pasteurise_c is not None:
        ordinal = span.first.toordinal() + h["day"].astype(int)
        due = (ordinal % hw.pasteurise_every_days == spec.seed % hw.pasteurise_every_days) & (
            h["hour"] == hw.pasteurise_hour
        )
        h["pasteurise"] = np.where(due, hw.pasteurise_c, 0.0)


def _oddities(spec: PlantSpec, span: SimulatedSpan, h: np.ndarray) -> None:
    """Apply oddities that are not faults; h is updated in place."""
    for n, oddity in enumerate(spec.oddities):
        begin = (default_oddity_start(span) if oddity.start is None else oddity.start) - span.first
        d0 = begin.days
        day = h["day"]
        if oddity.kind == "away":
            away = (day >= d0) & (day < d0 + 14)
            h["target0"][away] -= 4.0
            h["target1"][away] -= 4.0
            h["gains"][away] *= 0.35
            h["draw"][away] = 0.0
            h["hot_on"][away] = 0.0
        elif oddity.kind == "serviced":
            off = (day == d0) & (h["hour"] >= 9) & (h["hour"] < 16)
            h["power"][off] = 0.0
        elif oddity.kind == "settling_in":
            d0 = 0 if oddity.start is None else d0
            rng = np.random.default_rng([spec.seed, 33, n])
            for week in range(6):
                part = (day >= d0 + 4 * week) & (day < d0 + 4 * week + 4)
                h["curve_shift"][part] += rng.choice([-2.0, 2.0, 4.0, 6.0])
                h["target0"][part] += rng.choice([-1.0, 0.0, 0.5, 1.0])
                h["setpoint"][part] += rng.choice([-2.0, 0.0, 3.0])


def default_oddity_start(span: SimulatedSpan) -> date:
    """A day shortly before the middle of the span."""
    return span.first + timedelta(days=int(span.days * 0.45))


def draws_of(spec: PlantSpec, span: SimulatedSpan) -> np.ndarray:
    """Draws of every minute of the span, including warm-up: float array (minutes,) [l at 40 degC]."""
    out = np.zeros(span.minutes)
    if spec.hot_water is None:
        return out
    parties = {
        (default_oddity_start(span) if o.start is None else o.start)
        for o in spec.oddities
        if o.kind == "party"
    }
    for d in range(-WARM_DAYS, span.days):
        local = span.first + timedelta(days=d)
        drawn = day_of_draws(spec.hot_water, spec.seed, local)
        if local in parties:
            drawn = party(drawn)
        at = int(
            (datetime.combine(local, time(), span.zone).astimezone(UTC) - span.begin).total_seconds() // 60
        )
        at = max(at, 0)
        stop = min(at + 1440, span.minutes)
        out[at:stop] += drawn[: stop - at]
    return out
