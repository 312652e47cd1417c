"""Clocks: one meter against another, and all of them against the sun."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.errors import NotAssessed
from analysis.findings.context import Context, Rule
from analysis.findings.model import Evidence, Finding, Severity
from analysis.findings.spells import Spell, last_spell
from analysis.findings.telling import Floats, column, listed, sure
from analysis.plant.site import Point

_SIGNALS = ("heat", "lift", "state")
# What follows the compressor by nature: water on its way and the warming exchanger [min].
_NATURAL_MIN = 3.0
_FEWEST_DAYS = 5
_QUANTITIES = {
    "electricity": ("heat_pump_electricity",),
    "heat": ("heat_output", "space_heat", "hot_water_heat"),
    "lift": ("flow_temperature", "return_temperature"),
    "state": ("operating_mode",),
}
# The outdoor air's crest after solar noon [h]; limits_trust says where it lies in measured years.
_CREST_H = 2.75
_CREST_LEAST_K = 1.0
_WINDOW_DAYS = 21


@dataclass(frozen=True)
class _Lag:
    signal: str
    minutes: float
    limit: float
    spell: Spell


def clock_offset(context: Context) -> Finding | None:
    """A meter whose story comes at another time than the rest tells it, or a whole plant out of step with the sun."""
    lags, judged = _lags(context)
    found = _between_meters(context, lags, judged) if lags else None
    if found is not None:
        return found
    by_sun, seen = _by_irradiance(context)
    if by_sun is not None:
        return by_sun
    by_air, seen_air = _by_air(context)
    if by_air is not None:
        return by_air
    if not judged and not seen and not seen_air:
        raise NotAssessed(
            "needs the unit's electricity beside heat or water temperatures every half hour or closer, or an outdoor sensor "
            "with the site's latitude and longitude"
        )
    return None


# ---- between meters


def _lags(context: Context) -> tuple[list[_Lag], set[str]]:
    """Signals that run off the electricity's clock, and those that could be compared at all."""
    days = context.whole.days
    judged: set[str] = set()
    out = []
    for signal in _SIGNALS:
        lag, like = column(days, f"lag_{signal}"), column(days, f"like_{signal}")
        told = np.isfinite(lag) & (like >= context.limit("clock_likeness"))
        if told.sum() < _FEWEST_DAYS:
            continue
        judged.add(signal)
        limit = max(
            context.limit("clock_minutes"), context.limit("clock_spacings") * _spacing(context, signal)
        )
        late = lag - _NATURAL_MIN
        spell = last_spell(days["day"], told & (np.abs(late) >= limit), told, hold_days=_FEWEST_DAYS)
        if spell is None or spell.share < 0.7:
            continue
        mine = told & _within(context, spell) & (np.abs(late) >= limit)
        typical = float(np.median(late[mine]))
        # A true offset is one and the same every day; likenesses by accident are all over the day.
        if np.median(np.abs(late[mine] - typical)) > max(0.25 * abs(typical), limit / 2.0):
            continue
        out.append(_Lag(signal, typical, limit, spell))
    return out, judged


def _within(context: Context, spell: Spell) -> np.ndarray:
    day = context.whole.days["day"].dt.strftime("%Y-%m-%d")
    return ((day >= spell.since) & (day <= (spell.until or "9999"))).to_numpy()


def _spacing(context: Context, signal: str) -> float:
    days = context.whole.days
    wanted = ("heat_pump_electricity", *_QUANTITIES[signal])
    return max((float(days[f"spacing.{q}"].median()) for q in wanted if f"spacing.{q}" in days), default=1.0)


def _between_meters(context: Context, lags: list[_Lag], judged: set[str]) -> Finding:
    """Where all others agree among themselves, the electricity's clock is the odd one; else the one that strays."""
    strays = {lag.signal for lag in lags}
    first = max(lags, key=lambda x: x.spell.days)
    electricity = strays == judged
    culprit = "electricity" if electricity else first.signal
    alone = len(judged) == 1
    points = _points(context, culprit)
    minutes = first.minutes
    # Others late by so much: the electricity's own stamps are early, and the other way about.
    late = -minutes if electricity else minutes
    how = f"{abs(late):.0f} minutes {'late' if late > 0 else 'early'}"
    spell = first.spell
    severity: Severity = "note" if spell.until else "act" if abs(minutes) >= 60.0 else "watch"
    sides = "electricity and heat" if first.signal != "state" else "electricity and the unit's own word"
    headline = (
        f"{listed(p.id for p in points)} is stamped {how}: it tells the same story as the other meters at another time."
        if not alone
        else f"{sides.capitalize()} tell the same story {abs(minutes):.0f} minutes apart: one of the two clocks is wrong."
    )
    one_interval = any(
        p.form == "interval" and abs(abs(late) - _spacing(context, first.signal)) < 3.0 for p in points
    )
    hint = " (one interval: see whether `stamp` should be the other of start and end)" if one_interval else ""
    return Finding(
        "clock_offset",
        severity,
        spell.since,
        sure(abs(minutes) / first.limit, spell.days, spell.share) * (0.85 if alone else 1.0),
        headline,
        (
            *(Evidence(f"{lag.signal} after electricity", round(lag.minutes, 1), "min", lag.limit) for lag in lags),
            Evidence("days on which it was so", float(spell.days), "days"),
        ),
        next_step="" if spell.until else (
            f"Compare the clock of the device that stamps {listed(p.id for p in points)} with the true time, set it by a time server, "
            f"and see that its zone is the one in the site file{hint}."
        ),
        until=spell.until,
        visit="none" if spell.until else "setting",
    )  # fmt: skip


def _points(context: Context, signal: str) -> list[Point]:
    return [p for q in _QUANTITIES[signal] for p in context.site.points_of(q)]


def _spoilt(context: Context, finding: Finding) -> frozenset[str]:
    """The quantities whose clock strays; a whole plant out of step with the sun still keeps step with itself."""
    lags, judged = _lags(context)
    if not lags:
        return frozenset()
    strays = {lag.signal for lag in lags}
    chosen = {"electricity"} if strays == judged else strays
    return frozenset(q for s in chosen for q in _QUANTITIES[s])


# ---- against the sun


def _by_irradiance(context: Context) -> tuple[Finding | None, bool]:
    """The middle of each day's irradiance against solar noon."""
    days = context.whole.days
    centre = column(days, "sun_centre")
    if np.isfinite(centre).sum() < _WINDOW_DAYS:
        return None, False
    smooth = _running_median(centre, _WINDOW_DAYS)
    limit = context.limit("clock_sun_minutes")
    so = np.abs(smooth) > limit
    spell = last_spell(days["day"], so, np.isfinite(smooth), hold_days=_FEWEST_DAYS)
    if spell is None or spell.share < 0.7:
        return None, True
    off = float(np.nanmedian(centre[so & _within(context, spell)]))
    return _solar(context, spell, off, limit, "the middle of the day's sunshine"), True


def _by_air(context: Context) -> tuple[Finding | None, bool]:
    """The warmest time of the outdoor air against the afternoon."""
    days = context.whole.days
    cosine, sine = (_running_mean(column(days, f"air_{n}"), _WINDOW_DAYS) for n in ("cos", "sin"))
    strong = np.hypot(cosine, sine) >= _CREST_LEAST_K
    if strong.sum() < _FEWEST_DAYS:
        return None, False
    crest = np.degrees(np.arctan2(sine, cosine)) / 15.0
    off = (crest - _CREST_H + 12.0) % 24.0 - 12.0
    limit = context.limit("clock_air_hours")
    so = strong & (np.abs(off) > limit)
    spell = last_spell(days["day"], so, strong, hold_days=_FEWEST_DAYS)
    if spell is None or spell.share < 0.7:
        return None, True
    typical = float(np.median(off[so & _within(context, spell)]))
    return _solar(context, spell, 60.0 * typical, 60.0 * limit, "the warmest time of the outdoor air"), True


def _solar(context: Context, spell: Spell, off: float, limit: float, what: str) -> Finding:
    how = f"{abs(off) / 60:.1f} hours {'late' if off > 0 else 'early'}"
    zone = context.site.site.timezone
    return Finding(
        "clock_offset",
        "note" if spell.until else "watch",
        spell.since,
        sure(abs(off) / limit, spell.days, spell.share) * 0.9,
        f"By {what} the readings are stamped about {how} for a site at {context.site.site.longitude:g} degrees longitude.",
        (
            Evidence(f"{what} against the sun", round(off, 0), "min", limit),
            Evidence("days on which it was so", float(spell.days), "days"),
        ),
        next_step="" if spell.until else (
            f"See in which zone the export or gateway stamps its readings: the site file says {zone} for days, and [csv] timezone "
            "for times without an offset. Correct it there and read the files anew."
        ),
        until=spell.until,
        visit="none" if spell.until else "setting",
    )  # fmt: skip


def _running_median(values: Floats, width: int) -> Floats:
    return pd.Series(values).rolling(width, center=True, min_periods=width // 2).median().to_numpy()


def _running_mean(values: Floats, width: int) -> Floats:
    return pd.Series(values).rolling(width, center=True, min_periods=width // 2).mean().to_numpy()


CLOCK_RULES: tuple[Rule, ...] = (Rule("clock_offset", clock_offset, spoils=_spoilt),)
