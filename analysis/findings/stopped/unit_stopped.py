"""Does the unit run? Heat is needed and it gives none.

Every day counts here: cold beyond design, an absence or a service day excuse nothing that is reported below.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import timedelta

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.findings.confidence import Flags
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.data.impossible import repeats_itself
from fieldfare.analysis.findings.data.stuck_sensors import still_days
from fieldfare.analysis.findings.declared import rests_for_boiler
from fieldfare.analysis.findings.grading import ranked
from fieldfare.analysis.findings.model import (
    Cause,
    Evidence,
    Finding,
    Severity,
)
from fieldfare.analysis.findings.stopped.cold_while_running import cold_while_running
from fieldfare.analysis.findings.stopped.coming_back import coming_back
from fieldfare.analysis.findings.stopped.direct_heater import heater_inside
from fieldfare.analysis.findings.stopped.failed_starts import cools_instead, is_barren, is_unlike_before
from fieldfare.analysis.findings.stopped.heat_due import (
    Reason,
    is_powerless,
    reasons,
    target_lowered,
)
from fieldfare.analysis.findings.stopped.one_of_several import one_of_several
from fieldfare.analysis.findings.stopped.rests import Rest, Rests, local, rests, standby
from fieldfare.analysis.findings.stopped.texts import (
    POSSIBLE_HOME,
    POSSIBLE_STEP,
    caution,
    headline,
    home,
    next_step,
    possible_headline,
)
from fieldfare.analysis.minutes.midnight import local_midnight

# A period that is over ends at midnight, in the middle of ordinary pauses too.
_LEAST_AT_END_H = 3.0
# A cause is spoken of in headline and next step from this weight on.
_LIKELY = 0.55
# Share of a rest with frozen readings above which it is unknown whether the unit rested.
_FROZEN_SHARE = 0.5
# A pump that runs on after charges and against seizing moves water for so small a part of the time (common
# practice: minutes after each run, and once a day).
_STANDS_SHARE = 0.1
# Reasons that are not independent of each other.
_ORIGIN = {
    **dict.fromkeys(("call", "flow", "mode"), "asked"),
    **dict.fromkeys(("weather", "pause", "habit"), "length"),
    "floor": "room",
}
_ORDER = ("unit", "tries", "heating", "hot_water")


def unit_stopped(context: Context) -> Finding | None:
    """Heat is due and the heat pump gives none: the newest stop, of the whole unit before one of its uses."""
    found = _stopped(context)
    if found is None or found.until is not None or found.severity in ("note", "watch"):
        found = cold_while_running(context) or found or one_of_several(context)
    if found is None and (resting := rests_for_boiler(context.site, context.all_days.days)) is not None:
        raise resting
    return found


def _stopped(context: Context) -> Finding | None:
    if repeats_itself(context):
        raise NotAssessed("every temperature stands still or can't be true: see sensor_stuck", "distrusted")
    if not len(context.all_days.rests):
        _refuse_unknown(context)
        return heater_inside(context)
    possible: Finding | None = None
    for kind in _ORDER:
        if kind == "hot_water" and (hidden := heater_inside(context)) is not None:
            return hidden
        for rest in _chosen(context, kind, _goes_on):
            if rest.open and rest["minutes_frozen"] >= _FROZEN_SHARE * rest["minutes"]:
                raise NotAssessed(
                    "no gauge has moved of late: the gateway repeats its readings", "distrusted"
                )
            found = reasons(context, rest)
            if not (found and _is_own(context, rest)):
                continue
            if rest.kind == "tries" and not is_unlike_before(context, rest, found):
                continue
            if not _only_possible(context, found):
                return _finding(context, rest, found)
            possible = possible or _finding(context, rest, found)
    again = coming_back(context, _chosen(context, "unit", _is_past))
    return again or possible or _newest_past(context)


def _chosen(context: Context, kind: str, which: Callable[[Context, Rests], Flags]) -> Iterator[Rest]:
    """The rests of a kind that are chosen, newest first."""
    found = rests(context, kind)
    if found is not None:
        yield from (found.rest(row) for row in np.flatnonzero(which(context, found))[::-1].tolist())


def _newest_past(context: Context) -> Finding | None:
    """Among the unit's past rests with heat due: the newest that may recur, else the newest."""
    newest: tuple[Rest, list[Reason]] | None = None
    for rest in _chosen(context, "unit", _is_past):
        if newest is not None and not _is_near_or_long(context, rest):
            continue
        if _only_repeats(context, rest):
            continue
        if found_reasons := reasons(context, rest):
            if _may_return(context, rest, found_reasons):
                return _past(context, rest, found_reasons)
            newest = newest or (rest, found_reasons)
    return None if newest is None else _past(context, *newest)


def _only_repeats(context: Context, rest: Rest) -> bool:
    """Whether several sensors stood still on all whole days of a rest: a gateway repeated its last readings,
    which `sensor_stuck` reports."""
    days = context.all_days.days["day"]
    first, last = (np.datetime64(local(context, ms).date()) for ms in (rest.start, rest.end))
    inside = (days > first) & (days < last)
    still = sum(bool(flags[inside].all()) for flags in context.once_for_all_days(still_days).values())
    return bool(inside.any()) and still > 1


def _refuse_unknown(context: Context) -> None:
    """Raises NotAssessed if it is never known whether the unit runs."""
    days = context.all_days.days
    if (
        not (days.floats("minutes_total") - days.floats("minutes_unknown") > 0).any()
        and not days.total("minutes_heat_known") > 0
    ):
        raise NotAssessed("no measurement shows whether the unit runs", "missing_quantity")


def _goes_on(context: Context, found: Rests) -> Flags:
    """True where a rest reaches the latest readings or the period's end; later gaps are data_gap's."""
    newest = context.all_days.days.day(len(context.all_days.days) - 1)
    heard = found.end > local_midnight(context.site, newest - timedelta(1))
    beyond = found.end >= local_midnight(context.site, newest + timedelta(1))
    return np.where(found.open, heard, beyond & (found.hours >= _LEAST_AT_END_H))


def _is_past(context: Context, found: Rests) -> Flags:
    """True where a rest is over and was long enough to report."""
    return ~_goes_on(context, found) & (found.hours >= context.limit("stopped_past_hours"))


def _is_own(context: Context, rest: Rest) -> bool:
    """A rest of one use counts where the unit works for the other; else it is the whole unit's."""
    return rest.kind == "unit" or rest["minutes_working"] > 0 or is_barren(rest)


def _finding(context: Context, rest: Rest, found: list[Reason]) -> Finding:
    causes = _causes(context, rest, found)
    main = _likely_cause(causes)
    severity = _severity(context, rest, found)
    if _only_possible(context, found):
        return Finding(
            "unit_stopped",
            severity,
            local(context, rest.start).date().isoformat(),
            _sure(rest, found),
            possible_headline(context, rest),
            evidence=(*_shown(context, rest), *(r.evidence for r in found)),
            causes=causes,
            next_step=POSSIBLE_STEP,
            caution=caution(context, rest.kind),
            home=POSSIBLE_HOME,
            visit="none",
        )
    return Finding(
        "unit_stopped",
        severity,
        local(context, rest.start).date().isoformat(),
        _sure(rest, found),
        headline(context, rest, found, main),
        evidence=(*_shown(context, rest), *(r.evidence for r in found)),
        causes=causes,
        next_step=next_step(rest, main),
        caution=caution(context, rest.kind),
        home=home(context, rest, severity),
        visit="drive" if severity == "urgent" else "call",
        bring=("multimeter", "spare fuses", "the maker's fault list") if main != "switched_off" else (),
    )


def _past(context: Context, rest: Rest, found: list[Reason]) -> Finding | None:
    """A stop that has ended: watch where it may come again; otherwise a note."""
    until = local(context, rest.end).date()
    since = local(context, rest.start).date().isoformat()
    severity: Severity = "watch" if _may_return(context, rest, found) else "note"
    causes = _causes(context, rest, found)
    main = _likely_cause(causes)
    return Finding(
        "unit_stopped",
        severity,
        since,
        _sure(rest, found),
        headline(context, rest, found, main),
        evidence=(*_shown(context, rest), *(r.evidence for r in found)),
        causes=causes,
        next_step=(
            "Ask the household what happened and who restarted it; read the unit's fault memory at the "
            "next visit."
        ),
        caution=caution(context, rest.kind),
        until=until.isoformat(),
        visit="call" if severity == "watch" else "none",
        home=(
            ""
            if severity == "note"
            else (
                "Your heat pump stopped for a while and runs again. Your installer would like to hear"
                " what happened."
            )
        ),
    )


def _may_return(context: Context, rest: Rest, found_reasons: list[Reason]) -> bool:
    """Whether an ended stop is clear, and recent or long, without a job on the unit since.

    A unit that starts again by itself has not been mended; one that stood for days in the heating season is
    asked about for the rest of that season.
    """
    until = local(context, rest.end).date()
    plain = {"power", "floor", "fault"}
    # In mild air rooms a kelvin under their target are a heating limit's doing as often as a stop's.
    if not rest["outdoor_mean_c"] > context.limit("stopped_mild_c"):
        plain.add("room")
    # The whole unit stood for days while somebody drew the cylinder cold: nobody wished that.
    if rest.kind == "unit" and rest.hours >= context.limit("stopped_long_hours"):
        plain.add("cylinder")
    plain &= {r.kind for r in found_reasons}
    worked_on = any(r.kind == "serviced" and r.until >= until.isoformat() for r in context.recognised)
    return bool(_is_near_or_long(context, rest) and plain and not worked_on)


def _is_near_or_long(context: Context, rest: Rest) -> bool:
    newest = context.all_days.days.day(len(context.all_days.days) - 1)
    ago = (newest - local(context, rest.end).date()).days
    if ago <= context.limit("stopped_past_days"):
        return True
    long = rest.hours >= context.limit("stopped_long_hours") and ago <= context.limit("stopped_long_days")
    return long and rest["outdoor_mean_c"] < context.limit("stopped_season_c")


def _likely_cause(causes: tuple[Cause, ...]) -> str:
    """The most probable cause; none where two are about equally probable."""
    return causes[0].cause if causes and causes[0].weight >= _LIKELY else ""


def _only_possible(context: Context, found: list[Reason]) -> bool:
    """Whether only the unit's rhythm points to a stop, without certainty."""
    return {r.kind for r in found} == {"pause"} and found[0].strength < context.limit("stopped_sure")


def _severity(context: Context, rest: Rest, found: list[Reason]) -> Severity:
    """Urgent in frost, and with rooms or cylinder on their way to harm; else act.

    A heater that keeps the house warm makes it less urgent, and so does an immersion heater in summer.
    """
    limit, kinds = context.limit, {r.kind for r in found}
    if _only_possible(context, found):
        # In weather in which any house can wait, an unusual pause is no more than a note.
        waits = rest["outdoor_lowest_c"] >= limit("stopped_weather_c")
        return "watch" if found[0].strength >= limit("stopped_likely") and not waits else "note"
    if kinds == {"heater"} and not rest["outdoor_mean_c"] < limit("stopped_season_c"):
        return "watch"
    if rest.kind == "hot_water":
        return "act"
    if _by_length_alone(context, rest, found):
        return "watch"
    fell = rest["room_first_c"] - rest["room_last_c"]
    short, last = rest["room_short_last_k"], rest["room_last_c"]
    cold = last < limit("stopped_harm_room_c") or (short >= limit("stopped_room_short_k") and fell >= 0.5)
    cold |= "room" in kinds and not short >= -50.0 and fell >= 1.0
    if cold or "floor" in kinds:
        return "urgent"
    if "heater" in kinds:
        return "act"
    if rest.kind in ("unit", "tries") and rest["outdoor_lowest_c"] < limit("stopped_frost_c"):
        return "urgent"
    tank = "cylinder" in kinds and rest["tank_last_c"] < limit("stopped_cylinder_floor_c")
    return (
        "urgent" if tank and rest["tank_first_c"] - rest["tank_last_c"] >= 3.0 and len(kinds) > 1 else "act"
    )


def _by_length_alone(context: Context, rest: Rest, found: list[Reason]) -> bool:
    """The length of the rest is the only evidence of a stop, still uncertain, and there is no frost risk."""
    length = all(_ORIGIN.get(r.kind) == "length" for r in found)
    frost = rest["outdoor_lowest_c"] < context.limit("stopped_frost_c")
    return length and not frost and max(r.strength for r in found) < context.limit("stopped_sure")


def _sure(rest: Rest, found: list[Reason]) -> float:
    """Reasons of different origin add up; a rest that has only begun may still be a pause.

    A call, a flow temperature and a mode are one controller's word; weather, rhythm and habit all rest on how
    long it has been: of each origin the strongest counts.
    """
    strongest: dict[str, float] = {}
    for reason in found:
        origin = _ORIGIN.get(reason.kind, reason.kind)
        strongest[origin] = max(strongest.get(origin, 0.0), reason.strength)
    doubt = float(np.prod([1.0 - strength for strength in strongest.values()]))
    young = 0.2 * float(np.exp(-rest.hours / 2.0))
    return float(np.clip((1.0 - doubt) * (1.0 - young), 0.3, 0.98))


def _shown(context: Context, rest: Rest) -> tuple[Evidence, ...]:
    """When it last gave heat, for how long it has not, and what it drew and showed meanwhile."""
    last = f"{local(context, rest.start):%Y-%m-%d %H:%M}" if rest.begun else "none in these readings"
    out = [Evidence("last heat", last), Evidence("without heat since", round(rest.hours, 1), "h")]
    if np.isfinite(rest["power_mean_w"]) and (rest.kind == "unit" or is_barren(rest)):
        out.append(Evidence("electricity meanwhile", round(rest["power_mean_w"], 1), "W"))
        usual = standby(context, rest)
        if np.isfinite(usual):
            out.append(Evidence("usual standby power", round(usual, 1), "W"))
    if np.isfinite(rest["outdoor_lowest_c"]):
        lowest = round(rest["outdoor_lowest_c"], 1)
        out.append(context.evidence("lowest outdoor temperature meanwhile", lowest, "°C", "stopped_frost_c"))
    if np.isfinite(rest["room_last_c"]):
        out.append(Evidence("room", round(rest["room_last_c"], 1), "°C"))
    if np.isfinite(rest["tank_last_c"]) and context.site.hot_water is not None:
        out.append(Evidence("cylinder", round(rest["tank_last_c"], 1), "°C"))
    return tuple(out)


def _causes(context: Context, rest: Rest, found: list[Reason]) -> tuple[Cause, ...]:
    """Causes: no supply, locked out or switched off, from power, reports and calls."""
    if rest.kind == "unit" and is_powerless(context, rest):
        usual = standby(context, rest)
        why = "it draws nothing, not even for its controls"
        why += f", which usually take {usual:.0f} W" if np.isfinite(usual) else ""
        return ranked(
            {
                "no_power": (0.9, why),
                "locked_out": (0.05, ""),
                "switched_off": (0.05, "an isolator may be off"),
            }
        )
    if cools_instead(rest):
        why = f"it took {rest['cooled_kwh']:.0f} kWh of heat out of the water while it ran"
        return ranked({"set_to_cooling": (1.0, why)})
    if is_barren(rest):
        return ()
    if rest.kind == "tries":
        why = f"it started {rest['starts']:.0f} times, ran for minutes and warmed nothing"
        return ranked({"locked_out": (1.0, why)})
    if rest.kind != "unit":
        return _causes_of_one_use(context, rest)
    standing = rest["power_mean_w"] >= 1.0
    drawn = (
        f"it draws {rest['power_mean_w']:.0f} W at standby" if standing else "its power does not show which"
    )
    locked, off = 1.0, 1.0
    why_locked, why_off = [drawn], [drawn]
    if rest["minutes_fault"] >= 30:
        locked += 6.0
        why_locked.append(f"and reports a fault for {rest['minutes_fault'] / 60.0:.0f} h")
    silent = rest.share("minutes_called", "minutes_call_known") < 0.1
    silent |= rest.share("minutes_flow_asked", "minutes_flow_known") < 0.1
    # A room's call that the unit's controls do not pass on, or a target shown all season without a call, asks
    # for nothing.
    asking = {"mode", "heater"} | (set() if silent else {"call", "flow"})
    if asking & {r.kind for r in found}:
        locked += 2.5
        why_locked.append("and heat is called for")
    if lowered_k := target_lowered(context, rest):
        off += 5.0
        why_off.append(f"and the rooms are set {lowered_k:.0f} K lower than before")
    if rest.share("minutes_mode_on", "minutes_mode_known") < 0.1 and rest.hours >= 3.0:
        off += 0.4
        why_off.append("and its mode is off throughout")
    if silent:
        off += 1.5
        why_off.append("and its controls call for nothing")
    if rest.share("minutes_pumped", "minutes_pump_known") > 0.7:
        locked += 1.0
        why_locked.append("while its pump runs")
    powerless, why_powerless = (0.1 if standing else 0.7), drawn
    if context.site.measures("heat_pump_electricity") and rest.share("minutes_power_known", "minutes") < 0.2:
        powerless, why_powerless = (
            4.0,
            "its electricity meter stopped reporting at the same time while others continued",
        )
    return ranked(
        {
            "locked_out": (locked, " ".join(why_locked)),
            "switched_off": (off, " ".join(why_off)),
            "no_power": (powerless, why_powerless),
        }
    )


def _causes_of_one_use(context: Context, rest: Rest) -> tuple[Cause, ...]:
    """The unit works for its other use: only a setting can be named; valve, sensor or wiring can't."""
    if (lowered_k := target_lowered(context, rest)) is not None and rest.kind == "heating":
        return ranked({"switched_off": (1.0, f"the rooms are set {lowered_k:.0f} K lower than before")})
    silent = rest.share("minutes_called", "minutes_call_known") < 0.1
    silent |= rest.share("minutes_flow_asked", "minutes_flow_known") < 0.1
    if rest.kind == "heating" and silent:
        return ranked({"switched_off": (1.0, "the controls call for no space heating")})
    if rest.kind == "heating" and _pump_stands(rest) and not rest["minutes_fault"] > 0.0:
        why = "its pump stands still except for hot water and no fault is reported: no heating is called for"
        return ranked({"switched_off": (1.0, why)})
    return ()


def _pump_stands(rest: Rest) -> bool:
    """The flow is measured and hardly any of it is outside the other use's runs."""
    idle = rest["minutes_pump_known"] - rest["minutes_working"]
    return bool(idle > 0.0 and rest["minutes_pumped"] - rest["minutes_working"] < _STANDS_SHARE * idle)
