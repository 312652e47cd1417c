"""Clocks: one meter against another, and all of them against the sun."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.findings.confidence import Floats, confidence_of
from fieldfare.analysis.findings.context import Context, Rule
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.model import Evidence, Finding, Severity
from fieldfare.analysis.findings.phrases import day_text, listed
from fieldfare.analysis.findings.two_sided import two_sided_evidence
from fieldfare.analysis.plant.site import HEAT_QUANTITIES, Point
from fieldfare.analysis.statistics.moving import moving_mean, moving_median

_SIGNALS = ("heat", "lift", "state")
# Natural delay after the compressor: water transport and the warming heat exchanger [min].
_NATURAL_MIN = 2.0
_NATURAL_EDGE_MIN = {"heat": 1.0, "state": 0.0}
_FEWEST_DAYS = 5
_QUANTITIES = {
    "electricity": ("heat_pump_electricity",),
    "heat": HEAT_QUANTITIES,
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
    episode: Episode
    name: str = "clock_minutes"


def clock_offset(context: Context) -> Finding | None:
    """Clock offset of one meter against the others, or of the whole site against the sun."""
    lags, keeps = _all_lags(context)
    found = _between_meters(context, lags, keeps) if lags else None
    if found is not None:
        return found
    by_season = _by_clock_change(context)
    if by_season is not None:
        return by_season
    by_sun, is_known_by_sun = _by_irradiance(context)
    if by_sun is not None:
        return by_sun
    by_air, is_known_by_air = (
        (None, False) if "outdoor_temperature" in context.unreliable else clock_by_air(context)
    )
    if by_air is not None:
        return by_air
    if not keeps and not is_known_by_sun and not is_known_by_air:
        raise NotAssessed(
            "needs the unit's electricity beside heat or water temperatures every half hour or closer, or an"
            " outdoor sensor with the site's latitude and longitude",
            "missing_quantity",
        )
    return None


# ---- between meters


def _lags(context: Context) -> tuple[list[_Lag], set[str]]:
    """Signals that run off the electricity's clock, and those that keep it."""
    days = context.all_days.days
    keeps: set[str] = set()
    out = []
    for signal in _SIGNALS:
        if any(q in context.unreliable for q in (*_QUANTITIES["electricity"], *_QUANTITIES[signal])):
            continue
        lag, like = days.floats(f"lag_{signal}"), days.floats(f"like_{signal}")
        is_known = np.isfinite(lag) & (like >= context.limit("clock_likeness"))
        if is_known.sum() < _FEWEST_DAYS:
            continue
        if signal == "lift" and "heat" in keeps and _flow_agrees(context):
            keeps.add(signal)
            continue
        limit = max(
            context.limit("clock_minutes"), context.limit("clock_spacings") * _spacing(context, signal)
        )
        late = lag - _NATURAL_MIN
        off = is_known & (np.abs(late) >= limit)
        episode = latest_episode(days["day"], off, is_known, hold_days=_FEWEST_DAYS)
        if off.sum() < 0.3 * is_known.sum():
            keeps.add(signal)
        if episode is None or episode.share < 0.7:
            continue
        mine = off & episode.covers(context.all_days.days["day"])
        typical = float(np.median(late[mine]))
        # A true offset is one and the same every day; likenesses by accident are all over the day.
        if np.median(np.abs(late[mine] - typical)) > max(0.05 * abs(typical), limit / 3.0):
            continue
        keeps.discard(signal)
        out.append(_Lag(signal, typical, limit, episode))
    return out, keeps


def _flow_agrees(context: Context) -> bool:
    """Flow rate and temperatures give the heat meter's heat in heating and while the cylinder is charged.

    Charges are short: temperatures of another time would give much less in them. A control that holds the
    difference of flow and return makes it follow something else than the electricity, and likeness alone
    would blame the clock.
    """
    days = context.all_days.days
    if "heat_output" in context.unreliable or "flow_rate" in context.unreliable:
        return False
    for use in ("space", "hot"):
        meter, flow = (days.floats(f"check_{by}_{use}") for by in ("meter", "flow"))
        both = np.isfinite(meter) & np.isfinite(flow) & (flow > 0.0)
        if both.sum() < _FEWEST_DAYS or not meter[both].sum() > 0.0:
            return False
        if abs(float(np.log(flow[both].sum() / meter[both].sum()))) > context.limit("clock_flow_agrees"):
            return False
    return True


def _all_lags(context: Context) -> tuple[list[_Lag], set[str]]:
    """Lags from the correlation of whole days; otherwise from run starts and stops, to the minute."""
    lags, keeps = _lags(context)
    if lags:
        return lags, keeps
    for signal in ("heat", "state"):
        lag = _by_edges(context, signal)
        if isinstance(lag, _Lag):
            lags.append(lag)
            keeps.discard(signal)
        elif lag:
            keeps.add(signal)
    # A smaller offset than likeness can show may have gone unnoticed: only edges show it.
    if lags:
        keeps &= {"heat", "state"} - {lag.signal for lag in lags}
    return lags, keeps


def _by_edges(context: Context, signal: str) -> _Lag | bool:
    """Small offset from run starts and stops; True where aligned, False where undetermined."""
    days = context.all_days.days
    if any(q in context.unreliable for q in (*_QUANTITIES["electricity"], *_QUANTITIES[signal])):
        return False
    begin, end = days.floats(f"begin_{signal}"), days.floats(f"end_{signal}")
    late = (begin + end) / 2.0 - _NATURAL_EDGE_MIN[signal]
    is_known = np.isfinite(late)
    if is_known.sum() < _FEWEST_DAYS:  # a unit that never rests: its quick changes tell
        begin = end = days.floats(f"near_{signal}")
        late = begin - _NATURAL_EDGE_MIN[signal]
        is_known = np.isfinite(late) & (days.floats(f"near_like_{signal}") >= context.limit("clock_likeness"))
    if is_known.sum() < _FEWEST_DAYS:
        return False
    limit = context.limit("clock_edge_minutes") + (_spacing(context, signal) - 1.0) / 2.0
    alike = np.abs(begin - end) <= context.limit("clock_edge_agree_minutes") + _spacing(context, signal) - 1.0
    off = is_known & (np.abs(late) >= limit) & alike
    episode = latest_episode(days["day"], off, is_known, hold_days=_FEWEST_DAYS)
    if episode is None or episode.share < 0.7:
        return True
    mine = late[off & episode.covers(days["day"])]
    typical = float(np.median(mine))
    if np.median(np.abs(mine - typical)) > max(0.2 * abs(typical), 1.5):
        return True
    return _Lag(signal, typical, limit, episode, "clock_edge_minutes")


def _spacing(context: Context, signal: str) -> float:
    days = context.all_days.days
    quantities = ("heat_pump_electricity", *_QUANTITIES[signal])
    return max((days.median(f"spacing.{q}") for q in quantities if f"spacing.{q}" in days), default=1.0)


def _between_meters(context: Context, lags: list[_Lag], keeps: set[str]) -> Finding:
    """Where nothing keeps the electricity's clock, that is the odd one; else every clock that
    deviates from it."""
    first = max(lags, key=lambda x: x.episode.days)
    electricity = not keeps
    culprit = "electricity" if electricity else first.signal
    alone = len(lags) + len(keeps) == 1
    points = _points(context, culprit)
    minutes = first.minutes
    # Others late by so much: the electricity's own stamps are early, and the other way about.
    late = -minutes if electricity else minutes
    how = f"{abs(late):.0f} minutes {'late' if late > 0 else 'early'}"
    episode = first.episode
    severity: Severity = "note" if episode.until else "act" if abs(minutes) >= 60.0 else "watch"
    sides = "electricity and heat" if first.signal != "state" else "electricity and the unit's operating mode"
    headline = (
        (
            f"{listed((p.id for p in points))} {'are' if len(points) > 1 else 'is'} stamped {how}: they"
            " show the same changes as the other meters, at a different time."
        )
        if not alone
        else (
            f"{sides.capitalize()} show the same changes {abs(minutes):.0f} minutes apart: one of the"
            " two clocks is wrong."
        )
    )
    one_interval = any(
        p.form == "interval" and abs(abs(late) - _spacing(context, first.signal)) < 3.0 for p in points
    )
    hint = " (exactly one interval: check whether `stamp` should be start or end)" if one_interval else ""
    return Finding(
        "clock_offset",
        severity,
        episode.since,
        confidence_of(abs(minutes) / first.limit, episode.days, episode.share) * (0.85 if alone else 1.0),
        headline,
        (
            *(
                two_sided_evidence(
                    f"{lag.signal} after electricity", round(lag.minutes, 1), "min", lag.name, lag.limit
                )
                for lag in lags
            ),
            Evidence("days with the offset", float(episode.days), "days"),
        ),
        next_step=(
            ""
            if episode.until
            else (
                f"Compare the clock of the device that stamps {listed(p.id for p in points)} with"
                " the true time, synchronise it with a time server, and check that its time zone"
                f" matches the site file{hint}."
            )
        ),
        until=episode.until,
        visit="none" if episode.until else "setting",
    )


def _points(context: Context, signal: str) -> list[Point]:
    return [p for q in _QUANTITIES[signal] for p in context.site.points_of(q)]


def _unreliable(context: Context, finding: Finding) -> frozenset[str]:
    """The quantities whose clock deviates; a whole plant out of step with the sun still keeps step with
    itself."""
    lags, keeps = _all_lags(context)
    if not lags:
        return frozenset()
    chosen = {lag.signal for lag in lags} if keeps else {"electricity"}
    return frozenset(q for s in chosen for q in _QUANTITIES[s])


# ---- across the change of the clocks

_HOUR_MIN, _SLACK_MIN, _AROUND_DAYS, _LEAST_AROUND = 60.0, 12.0, 14, 4


def _by_clock_change(context: Context) -> Finding | None:
    """A set-back that kept to its minute comes an hour off it from the day on which the clocks change."""
    days, zone = context.all_days.days, context.site.zone
    minute = days.floats("set_back_min")
    if not np.isfinite(minute).any():
        return None
    length = days.floats("minutes_total")
    for at in np.flatnonzero(np.abs(length - 1440.0) >= 30.0):
        before = minute[max(at - _AROUND_DAYS, 0) : at]
        after = minute[at + 1 : at + 1 + _AROUND_DAYS]
        before, after = before[np.isfinite(before)], after[np.isfinite(after)]
        if min(len(before), len(after)) < _LEAST_AROUND:
            continue
        jump = float(np.median(after) - np.median(before))
        steady = max(float(np.median(np.abs(x - np.median(x)))) for x in (before, after)) <= _SLACK_MIN
        if not steady or abs(abs(jump) - _HOUR_MIN) > _SLACK_MIN:
            continue
        since = days.day(at).isoformat()
        return (
            Finding(  # a note: the heating's own clock, left as it was, affects no figure, and is as likely
                "clock_offset",
                "note",
                since,
                0.85,
                (
                    f"Since the clock change on {day_text(since)} the set-back is an hour"
                    f" {'later' if jump > 0 else 'earlier'} in the readings' local time."
                ),
                (
                    Evidence("set-back before the change", round(float(np.median(before)) / 60.0, 2), "h"),
                    Evidence("set-back after it", round(float(np.median(after)) / 60.0, 2), "h"),
                ),
                next_step=(
                    "Ask whether the heating's own clock was changed; if so, the export's time stamps"
                    f" are in another time zone than the site file says ({zone.key} for days, [csv]"
                    " timezone for times without an offset)."
                ),
            )
        )
    return None


# ---- against the sun


def _by_irradiance(context: Context) -> tuple[Finding | None, bool]:
    """The middle of each day's irradiance against solar noon."""
    days = context.all_days.days
    centre = days.floats("sun_centre")
    if np.isfinite(centre).sum() < _WINDOW_DAYS:
        return None, False
    smooth = _running_median(centre, _WINDOW_DAYS)
    limit = context.limit("clock_sun_minutes")
    is_shifted = np.abs(smooth) > limit
    episode = latest_episode(days["day"], is_shifted, np.isfinite(smooth), hold_days=_FEWEST_DAYS)
    if episode is None or episode.share < 0.7:
        return None, True
    off = float(np.nanmedian(centre[is_shifted & episode.covers(context.all_days.days["day"])]))
    return _solar(context, episode, off, limit, "the middle of the day's sunshine", "clock_sun_minutes"), True


def clock_by_air(context: Context) -> tuple[Finding | None, bool]:
    """The warmest time of the outdoor air against the afternoon."""
    days = context.all_days.days
    cosine, sine = (_running_mean(days.floats(f"air_{n}"), _WINDOW_DAYS) for n in ("cos", "sin"))
    strong = np.hypot(cosine, sine) >= _CREST_LEAST_K
    if strong.sum() < _FEWEST_DAYS:
        return None, False
    crest = np.degrees(np.arctan2(sine, cosine)) / 15.0
    off = (crest - _CREST_H + 12.0) % 24.0 - 12.0
    limit = context.limit("clock_air_hours")
    is_shifted = strong & (np.abs(off) > limit)
    episode = latest_episode(days["day"], is_shifted, strong, hold_days=_FEWEST_DAYS)
    if episode is None or episode.share < 0.7:
        return None, True
    typical = float(np.median(off[is_shifted & episode.covers(context.all_days.days["day"])]))
    what = "the warmest time of the outdoor air"
    return _solar(context, episode, 60.0 * typical, 60.0 * limit, what, "clock_air_hours"), True


def _solar(context: Context, episode: Episode, off: float, limit: float, what: str, name: str) -> Finding:
    how = f"{abs(off) / 60:.1f} hours {'late' if off > 0 else 'early'}"
    zone = context.site.timezone
    return Finding(
        "clock_offset",
        "note" if episode.until else "watch",
        episode.since,
        confidence_of(abs(off) / limit, episode.days, episode.share) * 0.9,
        (
            f"Judged by {what}, the readings are stamped about {how} for a site at"
            f" {context.site.longitude:g}° longitude."
        ),
        (
            two_sided_evidence(f"{what} against the sun", round(off, 0), "min", name, limit),
            Evidence("days with the offset", float(episode.days), "days"),
        ),
        next_step=(
            ""
            if episode.until
            else (
                "Check in which time zone the export or gateway stamps its readings: the site file"
                f" says {zone} for days, and [csv] timezone for times without an offset. Correct it"
                " there and import the files again."
            )
        ),
        until=episode.until,
        visit="none" if episode.until else "setting",
    )


def _running_median(values: Floats, width: int) -> Floats:
    return moving_median(values, width, width // 2)


def _running_mean(values: Floats, width: int) -> Floats:
    return moving_mean(values, width, width // 2, centred=True)


CLOCK_RULES: tuple[Rule, ...] = (Rule("clock_offset", clock_offset, makes_unreliable=_unreliable),)
