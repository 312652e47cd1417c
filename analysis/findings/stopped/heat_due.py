"""Reasons why heat was needed while the unit rested, each independent of the unit's own operation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.declared import carried_by_boiler
from fieldfare.analysis.findings.hot_water.heated_by_others import heated_by_others
from fieldfare.analysis.findings.model import Evidence
from fieldfare.analysis.findings.silent_meter import nothing_at_rest
from fieldfare.analysis.findings.stopped.rests import (
    Rest,
    days_before,
    heating_begins_below,
    local,
    rested_at_that_hour,
    standby,
    usual_pause,
)
from fieldfare.analysis.findings.stopped.rhythm import rhythm
from fieldfare.analysis.findings.stopped.usual_rest import is_usual_rest
from fieldfare.analysis.minutes.operating_state import HEATING
from fieldfare.analysis.statistics.quantiles import nan_median

# The warmest day that was heated was no sharp limit.
_DAYS_DIFFER_K = 0.5
# Lowest room temperatures of like days differ by about so much; a few of them show a set-back (common
# practice).
_LOW_DIFFERS_K, _FEWEST_LOWS = 0.7, 2
# Days before a rest that show what is usual: a week.
_DAYS_BEFORE = 7
# A room thermostat's usual switching band.
_WARM_WITHIN_K = 0.5
# Scale of unusually long healthy rests (common practice: a second night is no set-back).
_SELDOMER_H = 24.0
# A dozen runs show where the thermostat switches (common practice).
_FEWEST_STARTS = 12
# Minutes below target that show that heat is due in a rest that goes on.
_DUE_MIN = 60.0
# Frost settings keep 5 °C at the least (common practice).
_FROST_SETTING_C = 5.0


@dataclass(frozen=True)
class Reason:
    """Why heat was due. kind : floor, room, weather, call, flow, mode, cylinder, heater, fault, power, pause
    or habit

    strength [0 to 1] : how sure this reason alone makes that heat was due
    """

    kind: str
    strength: float
    evidence: Evidence


def reasons(context: Context, rest: Rest) -> list[Reason]:
    """All reasons for which heat was due in a rest; none where it was not."""
    if rest.kind == "hot_water":
        return _cylinder(context, rest)
    warm = rooms_are_warm(context, rest)
    found = [*_rooms(context, rest), *_heater(context, rest)]
    if rest.kind in ("unit", "tries"):
        found += _cylinder(context, rest)
    if not warm:
        found += _weather(context, rest)
    found += _demand_reasons(context, rest, warm) or _out_of_rhythm(context, rest)
    found += _without_power(context, rest, warm) or out_of_habit(context, rest, warm)
    return _due_from_the_unit(context, rest, found)


# Cold beyond bearing, no supply, a fault and a cold cylinder are reported whatever else heats the rooms.
_WHATEVER_HEATS = frozenset({"floor", "cylinder", "fault", "power"})
_EDGE_MS = 3_600_000  # a rest's first and last hour make no day of it


def _due_from_the_unit(context: Context, rest: Rest, found: list[Reason]) -> list[Reason]:
    """The reasons without those that a boiler's turn, or surplus in the immersion heater, explains."""
    edge = min(_EDGE_MS, (rest.end - rest.start) // 2)
    first, last = (
        np.datetime64(local(context, at).date()) for at in (rest.start + edge, rest.end - 1 - edge)
    )
    site, days = context.site, context.all_days.days
    if carried_by_boiler(site, days, first, last):
        return [r for r in found if r.kind in _WHATEVER_HEATS]
    if site.pv is not None and site.pv.immersion and not rest["backup_kwh"] > 0.0:
        return [r for r in found if r.kind != "heater"]
    return found


def rooms_are_warm(context: Context, rest: Rest) -> bool:
    """Whether rooms are at their target or usual temperature, so that the weather alone calls for no heat."""
    short, last = rest["room_short_last_k"], rest["room_last_c"]
    if _below_floor(context, rest):
        return False
    if np.isfinite(short):
        near = short < context.limit("stopped_room_short_k") and last >= _usual_start_c(context, rest)
        return bool(short <= _WARM_WITHIN_K or near)
    if not np.isfinite(last):
        return False
    usual = days_before(context, rest).floats("room")
    usual = usual[np.isfinite(usual)]
    level = float(np.median(usual)) if len(usual) else rest["room_first_c"]
    return bool(last >= max(level - 1.0, 18.5))


def _usual_start_c(context: Context, rest: Rest) -> float:
    """Room temperature at which the unit usually started [°C]; infinite with few runs.

    A thermostat feels walls and floor too, and hangs elsewhere than the sensor.
    """
    runs = context.all_days.runs
    rooms = runs.floats("room_start")[(runs["start"] < rest.start) & (runs["use"] == HEATING)]
    rooms = rooms[np.isfinite(rooms)]
    return float(np.median(rooms)) if len(rooms) >= _FEWEST_STARTS else np.inf


def _rooms(context: Context, rest: Rest) -> list[Reason]:
    limit = context.limit
    first, last, short = rest["room_first_c"], rest["room_last_c"], rest["room_short_last_k"]
    outdoor = rest["outdoor_mean_c"]
    hours = max(rest.hours, 0.1)
    if hours < limit("stopped_room_hours") or not np.isfinite(last) or outdoor >= limit("stopped_season_c"):
        return []
    if _below_floor(context, rest):
        evidence = context.evidence("room at the end", round(last, 1), "°C", "stopped_room_floor_c")
        return [Reason("floor", 0.97, evidence)]
    mild = outdoor > limit("stopped_mild_c")
    if np.isfinite(short):
        name = "stopped_room_short_mild_k" if mild else "stopped_room_short_k"
        # Rooms that were as cold before while it worked are a finding of their own, and no sign of a stop; of
        # a rest that has ended nothing tells how much colder they would have become.
        usual = _usually_short(context, rest)
        known = usual >= limit(name) if rest.ended else short - usual < limit(name)
        # Warm walls hold a thermostat off while the air is cool: heat was due since then, not all the rest.
        due = limit("stopped_unknown_pause_hours") * 60.0 if rest.ended else _DUE_MIN
        if known or short < limit(name) or rest["minutes_room_short"] < due:
            return []
        evidence = context.evidence("room below its target", round(short, 1), "K", name)
        return [Reason("room", 0.9 if not mild else 0.75, evidence)]
    if last > _usual_low(context, rest) - _LOW_DIFFERS_K:
        return []  # as cold as in other nights: a set-back whose target is not measured
    fell = first - last
    if not mild and fell >= limit("stopped_room_fall_k"):
        evidence = context.evidence("fall of the room", round(fell, 1), "K", "stopped_room_fall_k")
        return [Reason("room", 0.85, evidence)]
    if not mild and last < limit("stopped_room_cool_c") and (fell >= 0.5 or not rest.begun):
        evidence = context.evidence("room at the end", round(last, 1), "°C", "stopped_room_cool_c")
        return [Reason("room", 0.8, evidence)]
    return []


def _usually_short(context: Context, rest: Rest) -> float:
    """Usual deficit of the worst zone on earlier working days [K]; at least 0."""
    before = days_before(context, rest)
    short = [before.floats(c)[-_DAYS_BEFORE:] for c in before.names if c.startswith("deficit.")]
    known = [v[np.isfinite(v)] for v in short]
    return max((float(np.median(v)) for v in known if len(v) >= _FEWEST_LOWS), default=0.0)


def _below_floor(context: Context, rest: Rest) -> bool:
    """True where the rooms are colder than anybody lives in, and not held there by a frost setting."""
    held = rest["room_short_last_k"] <= _WARM_WITHIN_K and rest["target_mean_c"] >= _FROST_SETTING_C
    return bool(rest["room_last_c"] < context.limit("stopped_room_floor_c") and not held)


def _usual_low(context: Context, rest: Rest) -> float:
    """The room's usual lowest of a day before the rest [°C]; endlessly high where too few days tell."""
    before = days_before(context, rest).floats("room_min")
    before = before[np.isfinite(before)]
    return float(np.quantile(before, 0.1)) if len(before) >= _FEWEST_LOWS else np.inf


def _weather(context: Context, rest: Rest) -> list[Reason]:
    outdoor, limit = rest["outdoor_mean_c"], context.limit
    if rest.hours < limit("stopped_weather_hours") or not np.isfinite(outdoor):
        return []
    below, known = need_below(context, rest)
    if outdoor >= below or is_usual_rest(context, rest):
        return []
    evidence = context.evidence(
        "mean outdoor temperature meanwhile", round(outdoor, 1), "°C", "stopped_weather_c", round(below, 1)
    )
    # The longer it rests in such weather, the seldomer a sound unit does.
    beyond = (rest.hours - limit("stopped_weather_hours")) / _SELDOMER_H
    return [Reason("weather", 1.0 - (0.15 if known else 0.3) * float(np.exp(-beyond)), evidence)]


def need_below(context: Context, rest: Rest) -> tuple[float, bool]:
    """Outdoor temperature below which this house needs heat [°C], and whether its own habit tells it."""
    own = heating_begins_below(context, rest)
    return (context.limit("stopped_weather_c"), False) if own is None else (own, True)


# Each sign of heat demand: the minutes of a rest that show it, the minutes in which it is known, the
_SIGNS = (
    ("call", "minutes_called", "minutes_call_known", "pause_called", 0.7),
    ("flow", "minutes_flow_short", "minutes_flow_known", "pause_flow_short", 0.4),
    ("mode", "minutes_mode_on", "minutes_mode_known", "pause_mode_on", 0.7),
)


# Rarer calls do not count as demand.
_NO_CALL = 0.3


def _demand_reasons(context: Context, rest: Rest, warm: bool) -> list[Reason]:
    """Heat called for by call, flow temperature or mode, longer than this unit ever leaves it unanswered."""
    limit, minutes = context.limit, rest["minutes"]
    if rest["outdoor_mean_c"] >= limit("stopped_season_c"):
        return []
    if rest.kind == "heating" and rest.hours < limit("stopped_room_hours"):
        return []  # a long reheat of the cylinder comes first
    short = rest.hours < 24.0
    habit = rested_at_that_hour(context, rest) if short else False
    faulty = rest["minutes_fault"] >= min(0.5 * minutes, 60.0)
    found = []
    for kind, part, whole, pause, share in _SIGNS:
        if not (rest.share(part, whole) >= share and rest[whole] >= 0.5 * minutes):
            continue
        if kind == "flow" and rest.share("minutes_called", "minutes_call_known") < _NO_CALL:
            continue  # a curve's target is shown all season; the rooms have no demand
        if short and rested_at_that_hour(context, rest, (part, whole)):
            continue  # unanswered at the same hours of another day too: a tariff's lock
        usual = usual_pause(context, rest, pause) if habit is not None else None
        if not faulty and _asks_idly(context, rest, kind, usual, warm):
            continue
        least = limit("stopped_pause_minutes") if faulty else _least_pause(context, usual)
        if rest[part] >= least:
            words = (
                f"{kind} for heat while none is supplied"
                if kind == "call"
                else "heat called for and none supplied"
            )
            evidence = context.evidence(
                words, round(rest[part]), "min", "stopped_pause_minutes", round(least)
            )
            found.append(Reason(kind, 0.85, evidence))
    if faulty and minutes >= limit("stopped_pause_minutes") and _cold_enough(context, rest):
        found.append(
            Reason(
                "fault",
                0.85,
                context.evidence(
                    "stopped with a fault reported", round(minutes), "min", "stopped_pause_minutes"
                ),
            )
        )
    return found[:2]


def _out_of_rhythm(context: Context, rest: Rest) -> list[Reason]:
    """In heating weather, a rest that the unit's usual pauses do not explain: likely, then certain."""
    if rest.kind != "unit" or rest["minutes"] < context.limit("stopped_pause_minutes") or _denied(rest):
        return []
    if np.isfinite(rest["outdoor_mean_c"]):
        due = not rest["outdoor_mean_c"] > context.limit("stopped_mild_c") and _cold_enough(context, rest)
    else:
        due = in_winter(context, rest) and worked_lately(context, rest)
    found = rhythm(context, rest) if due else None
    if found is None or found.stopped < context.limit("stopped_possible"):
        return []
    evidence = context.evidence(
        "probability that it is not a pause", round(found.stopped, 2), "-", "stopped_possible"
    )
    return [Reason("pause", min(found.stopped, 0.95), evidence)]


def _asks_idly(context: Context, rest: Rest, kind: str, usual: float | None, warm: bool) -> bool:
    """Whether the controls call for heat that is not needed.

    With warm rooms only this unit's own habit tells, and in mild weather nothing does. A flow temperature or
    a mode is often shown all season: it tells only where it is never left unanswered.
    """
    mild = rest["outdoor_mean_c"] > context.limit("stopped_mild_c")
    if kind == "call":
        return (usual is None or mild) if warm else (usual is None and mild)
    answered = usual is not None and usual <= context.limit("stopped_answered_minutes")
    return (not answered or mild) if warm else not _cold_enough(context, rest)


def _least_pause(context: Context, usual: float | None) -> float:
    """Shortest rest that is not a pause [minutes]. usual : the longest usual pause, None if unknown"""
    if usual is None:
        return 60.0 * context.limit("stopped_unknown_pause_hours")
    return max(context.limit("stopped_pause_minutes"), context.limit("stopped_pause_ratio") * usual)


def _denied(rest: Rest) -> bool:
    """A call or target flow temperature is measured and shows no demand."""
    no_call = rest.share("minutes_called", "minutes_call_known") < _NO_CALL
    return bool(no_call or rest.share("minutes_flow_asked", "minutes_flow_known") < 0.3)


def _cold_enough(context: Context, rest: Rest) -> bool:
    """Weather in which this house needs heat, by the day: an hour of it may be milder than its day."""
    outdoor = rest["outdoor_mean_c"]
    if rest.hours < 18.0:
        days = context.all_days.days
        last = np.datetime64(local(context, rest.end - 1).date())
        about = days.floats("outdoor")[(days["day"] <= last) & (days["day"] >= last - np.timedelta64(1, "D"))]
        about = about[np.isfinite(about)]
        outdoor = float(min(outdoor, about.mean())) if len(about) else outdoor
    return bool(outdoor < need_below(context, rest)[0] + _DAYS_DIFFER_K)


# A standing cylinder does not cool below its room.
_DRAWN_BELOW_C, _DRAWN_K_PER_DAY = 18.0, 12.0


def target_lowered(context: Context, rest: Rest) -> float | None:
    """Decrease of the rooms' target [K], if 2 K or more; else None."""
    target = rest["target_mean_c"]
    before = days_before(context, rest).floats("target")
    before = before[np.isfinite(before)]
    usual = float(np.median(before)) if len(before) else 20.0
    return float(usual - target) if np.isfinite(target) and usual - target >= 2.0 else None


def _cylinder(context: Context, rest: Rest) -> list[Reason]:
    water, limit = context.site.hot_water, context.limit
    last = rest["tank_last_c"]
    if water is None or not np.isfinite(last) or rest.hours < limit("stopped_cylinder_hours"):
        return []
    if rest["minutes_tank_cold"] < limit("stopped_cylinder_cold_min"):
        return []  # a large draw just now: the unit ends what it does, then begins
    short = water.reheats_below_c - last
    before = days_before(context, rest).floats("tank_min")
    before = before[np.isfinite(before)]
    # Between the hours in which reheats are allowed a cylinder may always have been as cold.
    usual = float(np.quantile(before, 0.1)) if len(before) >= 3 else np.inf
    if short < limit("stopped_cylinder_short_k") or last > usual - 2.0:
        return []
    fell = rest["tank_first_c"] - last
    if rest.kind == "hot_water" and (rest.hours < 12.0 or _as_long_between_charges(context, rest)):
        return []
    evidence = context.evidence(
        "cylinder below its reheat temperature", round(short, 1), "K", "stopped_cylinder_short_k"
    )
    # Far faster, or further, than a standing cylinder cools by itself: somebody draws, so somebody is at
    # home.
    if fell / max(rest.hours, 1.0) * 24.0 <= _DRAWN_K_PER_DAY and last >= _DRAWN_BELOW_C:
        return []  # cools during an absence
    return [Reason("cylinder", 0.85, evidence)]


def _as_long_between_charges(context: Context, rest: Rest) -> bool:
    """Whether the unit has often let as many hours pass between two charges, by its time programme."""
    reheats, limit = context.all_days.reheats, context.limit
    before = reheats.where(reheats["start"] < rest.start) if len(reheats) else reheats
    if len(before) < 2:
        return False
    ends = before["start"] + before["minutes"] * 60_000
    hours = (before["start"][1:] - ends[:-1]) / 3_600_000.0
    like = hours >= limit("stopped_like_length") * rest.hours
    return bool(like.sum() >= limit("stopped_like_rests"))


def _heater(context: Context, rest: Rest) -> list[Reason]:
    """Direct heaters at work: they are only let in where heat is due."""
    least = context.limit("stopped_heater_kwh")
    least_hours = context.limit("stopped_room_hours") if rest.kind == "heating" else 2.0
    found = []
    if rest["backup_kwh"] >= least and rest.hours >= least_hours and rest.kind != "hot_water":
        evidence = context.evidence(
            "back-up heat meanwhile", round(rest["backup_kwh"], 1), "kWh", "stopped_heater_kwh"
        )
        found.append(Reason("heater", 0.9, evidence))
    a_day = rest["immersion_kwh"] / max(rest.hours / 24.0, 1.0)
    # Less than that is a disinfection now and then.
    enough = a_day >= context.limit("stopped_immersion_kwh") and rest.hours >= 36.0
    if enough and rest.kind == "unit" and not _water_is_hot(context, rest):
        evidence = context.evidence(
            "immersion heat meanwhile", round(a_day, 1), "kWh/day", "stopped_immersion_kwh"
        )
        found.append(Reason("heater", 0.8, evidence))
    return found


def _water_is_hot(context: Context, rest: Rest) -> bool:
    """On most days of a rest the stored water was hotter than the unit makes it: none was due from it."""
    days = context.all_days.days
    first, last = (np.datetime64(local(context, at).date()) for at in (rest.start, rest.end - 1))
    inside = days.where((days["day"] >= first) & (days["day"] <= last))
    return bool(len(inside)) and float(np.mean(heated_by_others(context, inside))) >= context.limit(
        "stopped_hot_share"
    )


def is_powerless(context: Context, rest: Rest) -> bool:
    """The unit draws nothing at all, though its meter shows what it draws at rest."""
    if not rest.share("minutes_powerless", "minutes_power_known") >= 0.8 or nothing_at_rest(
        context.site, context.all_days.days
    ):
        return False
    # The last row of an export may hold the beginning of its interval only: a day's sum so far.
    every_min = nan_median(context.all_days.days.floats("spacing.heat_pump_electricity"))
    if rest.hours * 60.0 < 2.0 * every_min:
        return False
    usual = standby(context, rest)
    if not np.isfinite(usual):
        return rest.hours >= 12.0  # never seen at rest with power: only a long nothing tells
    return usual >= context.limit("stopped_standby_w")


def _without_power(context: Context, rest: Rest, warm: bool) -> list[Reason]:
    """No supply is wrong at any time of the heating season, and in frost whatever the rooms are."""
    limit = context.limit
    minutes = rest["minutes_powerless"]
    if rest.kind != "unit" or minutes < limit("stopped_powerless_minutes") or not is_powerless(context, rest):
        return []
    evidence = context.evidence("without any power", round(minutes), "min", "stopped_powerless_minutes")
    sign = ("minutes_powerless", "minutes_power_known")
    habit = rested_at_that_hour(context, rest, sign) if rest.hours < 24.0 else False
    if habit or (habit is None and rest.hours < limit("stopped_unknown_pause_hours")):
        return []
    frost = rest["outdoor_lowest_c"] < limit("stopped_frost_c")
    if frost and rest.hours >= limit("stopped_room_hours"):
        return [Reason("power", 0.9, evidence)]
    if not np.isfinite(rest["outdoor_mean_c"]):
        return [Reason("power", 0.8, evidence)] if rest.hours >= 24.0 and worked_lately(context, rest) else []
    if _cold_enough(context, rest) and (not warm or rest.begun):
        return [Reason("power", 0.85, evidence)]
    return []


def worked_lately(context: Context, rest: Rest) -> bool:
    """The unit worked two hours or more on most of the days of the week before."""
    ran = days_before(context, rest).floats("minutes_running")[-7:]
    return bool(len(ran) >= 3 and (ran >= 120.0).mean() >= 0.7)


def out_of_habit(context: Context, rest: Rest, warm: bool) -> list[Reason]:
    """Without an outdoor sensor: no operation for 36 hours, in winter or after weeks of daily running."""
    if rest.kind != "unit" or np.isfinite(rest["outdoor_mean_c"]) or rest.hours < 36.0:
        return []
    if warm:
        return []
    winter = in_winter(context, rest)
    if not (winter or worked_lately(context, rest)):
        return []
    evidence = context.evidence("hours without operation", round(rest.hours), "h", "stopped_weather_hours")
    return [Reason("habit", 0.75 if winter and worked_lately(context, rest) else 0.55, evidence)]


def in_winter(context: Context, rest: Rest) -> bool:
    """The rest ends in the five coldest months of its half of the world."""
    latitude = context.site.latitude
    month = local(context, rest.end).month
    return month in ((5, 6, 7, 8, 9) if latitude is not None and latitude < 0 else (11, 12, 1, 2, 3))
