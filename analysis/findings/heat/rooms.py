"""Are rooms below their set temperature, and which of unit, curve, emitters or one zone binds?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from fieldfare.analysis.cautions import water_caution
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.cold_room import ColdRoom, cause_weights
from fieldfare.analysis.expectation.set_back import Recovery, depth_now, with_set_back
from fieldfare.analysis.expectation.water_flow import water_difference
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags, Floats, confidence_of
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.episodes import Episode, as_cold, latest_episode
from fieldfare.analysis.findings.grading import ranked
from fieldfare.analysis.findings.heat.cool_rooms import cool_room, episode_below_design, is_designed
from fieldfare.analysis.findings.model import (
    SEVERITIES,
    Cause,
    Evidence,
    Finding,
    Severity,
)
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.physics.emitters import HeatEmitter, output_kw
from fieldfare.analysis.plant.zone_names import the_zone, zone_name
from fieldfare.analysis.statistics.quantiles import nan_median

# A target far above the design is a wish the plant was not built for.
_BEYOND_DESIGN_K = 1.5
_HEATED_MIN = 60.0
_COLD_ENOUGH_C = 12.0
_VISITS: dict[str, Literal["setting", "call"]] = {"curve_too_low": "setting", "deep_set_back": "call"}
_SHALLOWER = (
    "Some rooms do not get warm again between two nights. Make the night set-back half as deep, or leave it"
    " off while it is cold. Tell your installer if they stay cold."
)


@dataclass(frozen=True)
class _Zone:
    """deficit : target minus room [K] by day, nan if not judged; own : whether the zone has its own
    target."""

    name: str
    deficit: Floats
    room: Floats
    own: bool


def room_below_target(context: Context) -> Finding | None:
    zones = _zones(context)
    days, limit = context.days, context.limit
    judged, outdoor = _judged(context), days.floats("outdoor")
    found: list[_Cold] = []
    for zone in zones:
        known = judged & np.isfinite(zone.deficit)
        cold = fill_nan(zone.deficit, -9.0) > (limit("room_deficit_note") if zone.own else 0.0)
        episode = latest_episode(
            days["day"],
            cold & known,
            as_cold(cold & known, outdoor, known, zone.room),
            hold_days=int(limit("room_days")),
            gone_days=10,
        )
        if episode is None or episode.share < limit("room_days_share"):
            continue
        inside = known & cold & episode.covers(days["day"])
        causes, evidence = _causes(context, zone, zones, inside)
        size = nan_median(zone.deficit[inside])
        severity = _severity(context, zone, size, episode, inside, causes)
        if severity is not None:
            found.append(_Cold(zone, episode, inside, size, severity, causes, evidence))
    if not found:
        if (cool := _below_design(context, zones, judged)) is not None:
            return cool
        if not any(zone.own for zone in zones):
            raise NotAssessed(
                "needs target_room_temperature for at least one zone, and days on which it stayed the"
                " same for some hours",
                "missing_quantity",
            )
        return None
    worst = max(found, key=lambda f: (SEVERITIES.index(f.severity), f.episode.until is None, f.size))
    return _finding(context, worst)


def _below_design(context: Context, zones: list[_Zone], judged: Flags) -> Finding | None:
    """A zone without a set temperature far below the design's: the one furthest below; None without one."""
    if not is_designed(context):
        return None
    candidates = [
        (zone, *cool)
        for zone in zones
        if not zone.own and (cool := episode_below_design(context, zone.room, judged)) is not None
    ]
    if not candidates:
        return None
    zone, episode, inside = max(candidates, key=lambda c: (c[1].until is None, -nan_median(c[0].room[c[2]])))
    causes, evidence = _causes(context, zone, zones, inside)
    return cool_room(
        context,
        zone.name,
        zone.room,
        [z.room for z in zones if z.name != zone.name],
        episode,
        inside,
        _measured(context, zone, zones, inside),
        causes,
        evidence,
    )


@dataclass(frozen=True)
class _Cold:
    """A cold zone: its newest episode, the days of it, the median deficit [K] and why."""

    zone: _Zone
    episode: Episode
    inside: Flags
    size: float
    severity: Severity
    causes: tuple[Cause, ...]
    evidence: tuple[Evidence, ...]


def _finding(context: Context, cold: _Cold) -> Finding:
    zone, episode, limit = cold.zone, cold.episode, context.limit
    hit = int(cold.inside.sum())
    first = cold.causes[0].cause if cold.causes else ""
    room, named = nan_median(zone.room[cold.inside]), the_zone(zone.name, begins=True)
    if zone.own:
        headline = f"{named} stays {cold.size:.1f} K below its set temperature (at {room:.1f} °C)."
        lack = context.evidence(
            f"target minus room temperature, {zone_name(zone.name)}",
            round(cold.size, 2),
            "K",
            "room_deficit_watch" if cold.severity != "note" else "room_deficit_note",
        )
        over = cold.size / limit("room_deficit_watch")
    else:
        headline = f"{named} stays at {room:.1f} °C; no set temperature is measured there."
        lack = context.evidence(f"room, {zone_name(zone.name)}", round(room, 1), "°C", "room_cold_c")
        over = 1.0 + cold.size / limit("room_deficit_watch")
    quiet = cold.severity == "note"
    return Finding(
        "room_below_target",
        cold.severity,
        episode.since,
        confidence_of(over, hit, episode.share),
        headline,
        evidence=(
            lack,
            Evidence("room meanwhile", round(room, 1), "°C"),
            context.evidence("days below target", hit, "days", "room_days"),
            context.evidence("share of heating days", round(episode.share, 2), "-", "room_days_share"),
            *cold.evidence,
        ),
        causes=cold.causes,
        until=episode.until,
        next_step=_step(context, first, cold),
        caution=water_caution(context.site) if first == "zone_not_opening" else "",
        home=(
            ""
            if quiet
            else _SHALLOWER
            if first == "deep_set_back"
            else (
                f"Part of your house ({zone_name(zone.name)}) is colder than its set temperature. Keep doors"
                " and radiator valves there open. Your installer has been told."
            )
        ),
        visit="none" if quiet else _VISITS.get(first, "drive"),
        bring=("spare valve actuator", "air vent key", "thermometer") if first == "zone_not_opening" else (),
        changes=(("flow_temperature", "raise"),) if first == "curve_too_low" else (),
    )


def _severity(
    context: Context, zone: _Zone, size: float, episode: Episode, inside: Flags, causes: tuple[Cause, ...]
) -> Severity | None:
    limit = context.limit
    # A large deficit needs fewer days to be believed: two kelvin and more come of no open window.
    grave = size >= limit("room_deficit_act")
    lasts = episode.until is None and inside.sum() >= limit("room_days") * (1.0 if grave else 2.0)
    if not zone.own:
        # The set temperature is unknown: worth a look, unless the whole house is this cold.
        cold_house = grave and size >= limit("room_deficit_urgent") and _all_cold(context, inside)
        return "note" if not lasts else "act" if cold_house else "watch"
    if size < limit("room_deficit_note"):
        return None
    # A set-back is the household's own wish, not a shortage.
    plain = (
        bool(causes) and causes[0].weight >= limit("room_cause_plain") and causes[0].cause != "deep_set_back"
    )
    watch = limit("room_deficit_watch") if not plain else limit("room_deficit_explained")
    if not lasts or size < watch:
        return "note"
    if size >= limit("room_deficit_urgent"):
        return "urgent"
    return "act" if grave else "watch"


def _all_cold(context: Context, inside: Flags) -> bool:
    """No zone was warmer on these days than any lived-in room must be."""
    days = context.days
    rooms = [days.floats(c) for c in days.names if c.startswith("room_day.")]
    return all(not nan_median(room[inside]) >= context.limit("room_cold_c") for room in rooms)


def _zones(context: Context) -> list[_Zone]:
    days, design = context.days, context.site.design
    out = []
    names = [c.removeprefix("room_day.") for c in days.names if c.startswith("room_day.")]
    for name in names:
        deficit = days.floats(f"deficit.{name}")
        if np.isfinite(deficit).any():
            target = days.floats(f"wanted.{name}")
            deficit = deficit - np.maximum(target - (design.indoor_c + _BEYOND_DESIGN_K), 0.0)
            out.append(_Zone(name, deficit, days.floats(f"room_day.{name}"), True))
    for name in names:
        if all(z.name != name for z in out):
            room = days.floats(f"room_day.{name}")
            out.append(_Zone(name, context.limit("room_cold_c") - room, room, False))
    return out


def _judged(context: Context) -> Flags:
    """Heating days no colder than the design's."""
    days, coldest = context.days, context.site.design.outdoor_c
    outdoor = days.floats("outdoor")
    heated = (days.floats("minutes_heating") >= _HEATED_MIN) | (
        days.floats("minutes_running") >= 4 * _HEATED_MIN
    )
    # A unit whose heat finds no way out runs in moments that meters average below a run.
    heated |= days.floats("heat_space_kwh") >= context.limit("room_heated_kwh")
    cold = ~np.isfinite(outdoor) | (outdoor < _COLD_ENOUGH_C)
    return heated & cold & ~(outdoor < (coldest if coldest is not None else -99.0))


def _causes(
    context: Context, zone: _Zone, zones: list[_Zone], inside: Flags
) -> tuple[tuple[Cause, ...], tuple[Evidence, ...]]:
    """Causes weighted by how well each explains the cold days, with the evidence."""
    measured = _measured(context, zone, zones, inside)
    weights = cause_weights(
        measured,
        shut_below=context.limit("room_emission_shut"),
        emitters_known=bool(context.site.emitter),
    )
    depth, recovery = _set_back(context, zone, inside)
    lags = measured.gap is not None and measured.gap >= context.limit("answer_gap_k")
    if depth >= context.limit("answer_setback_k") and recovery.is_late(context.limit) and not lags:
        weights = with_set_back(weights)
    facts, night = _in_words(measured), _night_in_words(depth, recovery)
    scores = {c: (weight, night if c == "deep_set_back" else facts) for c, weight in weights.items()}
    labels = (
        ("share of the time the unit ran", measured.running, "-"),
        ("output over the rating", measured.output_share, "-"),
        ("share of heating with the water 2 K or more below its set temperature", measured.lacking, "-"),
        ("heat supplied over emitter output at this water temperature", measured.emission, "-"),
        ("deficit beyond that of the best other zone", measured.gap, "K"),
        ("flow below the designed curve", measured.below_curve, "K"),
        ("flow less return over that at rated output and the pump's flow", measured.spread, "-"),
    )
    evidence = tuple(Evidence(label, round(v, 2), unit) for label, v, unit in labels if v is not None)
    if "deep_set_back" in scores:
        fall = Evidence("fall of the rooms by night", round(recovery.fell, 1), "K")
        evidence = (
            context.evidence("depth of the set-back", round(depth, 1), "K", "answer_setback_k"),
            fall,
            *evidence,
        )
    return ranked(scores), evidence


def _set_back(context: Context, zone: _Zone, inside: Flags) -> tuple[float, Recovery]:
    """Usual depth of the night set-back on the cold days [K], and how the rooms come back from it."""
    days, cold = context.days, context.days.where(inside)
    loss, nan = context.figures.heat_loss, float("nan")
    try:
        depth, lowered_h = depth_now(cold)
    except NotAssessed:
        return nan, Recovery(nan, nan, nan, nan, nan)
    raised_h = 24.0 - lowered_h
    fell = days.floats("room_end") - days.floats("room_min")
    # A unit that heats by night too gives less in the hours after it than the day's heat over these.
    given = days.floats("heat_space_kwh") / np.maximum(days.floats("minutes_heating") / 60.0, raised_h)
    value = nan if loss.coefficient.value is None else loss.coefficient.value
    warmer = days.floats("target_max") - days.floats("outdoor")
    need = (value * warmer - (loss.gains_w or 0.0)) / 1000.0
    spare = np.divide(given, need, out=np.full(len(given), nan), where=need > 0.0)
    # By day the rooms gain what they lose by night.
    usual = nan_median(fell[inside])
    needed = usual / (context.limit("answer_recovery_min") / 60.0)
    # A day's mean holds the night too, which is cool by wish.
    lacks = nan_median(zone.deficit[inside])
    recovery = Recovery(nan_median(spare[inside]), usual / raised_h, needed, usual, lacks)
    return depth, recovery


def _night_in_words(depth: float, recovery: Recovery) -> str:
    return (
        f"by night the rooms are set {depth:.1f} K lower and fall by {recovery.fell:.1f} K; by day they get"
        f" {percent(recovery.spare)} of the heat that the house needs at their target, and are still rising"
    )


def _measured(context: Context, zone: _Zone, zones: list[_Zone], inside: Flags) -> ColdRoom:
    days = context.days
    others = [z for z in zones if z.name != zone.name]
    gap = min((_colder(zone, z, inside) for z in others), default=float("nan"))
    lacking = float("nan")
    if context.site.measures("target_flow_temperature"):
        lacking = nan_median(
            (days.floats("minutes_lacking") / np.maximum(days.floats("minutes_settled"), 1.0))[inside]
        )
    running = days.floats("minutes_running") / np.maximum(days.floats("minutes_total"), 1.0)
    return ColdRoom(
        running=_known(nan_median(running[inside])),
        output_share=_known(nan_median(days.floats("load_share")[inside])),
        lacking=_known(lacking),
        emission=_known(_emission(context, zone, inside)),
        gap=_known(gap),
        below_curve=_known(-nan_median(days.floats("above_curve")[inside])),
        spread=_known(_spread(context, inside)),
    )


def _spread(context: Context, inside: Flags) -> float:
    """Flow less return over what the rated output would make of the pump's flow [-]; nan if unknown.

    What the pump gives is seen while the cylinder is charged, where no heating valve stands in its way: a
    dirty strainer or a weak pump shows there too.
    """
    days, pump, buffer = context.days, context.site.heat_pump, context.site.buffer
    # A parallel buffer parts the unit's flow from the emitters'.
    parted = buffer is not None and buffer.arrangement == "parallel"
    if parted or pump.rated_output_kw is None:
        return float("nan")
    given = nan_median(days.floats("flow_rate_hot_water")[inside])
    full = water_difference(pump.rated_output_kw, given)
    return nan_median(days.floats("lift")[inside]) / full


def _known(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _emission(context: Context, zone: _Zone, inside: Flags) -> float:
    """Heat in steady heating over emitter output at that water and room (EN 442); nan if unknown."""
    days = context.days
    if not context.site.emitter:
        return float("nan")
    emitters = [HeatEmitter(e.output_kw, e.output_excess_k, e.kind) for e in context.site.emitter]
    room = days.floats("room")
    flow = days.floats("beyond_flow")
    flow = np.where(np.isfinite(flow), flow, days.floats("flow"))
    back = flow - days.floats("lift")
    able = np.asarray(output_kw(emitters, flow, back, np.where(np.isfinite(room), room, zone.room)))
    given = days.floats("heat_power") / 1000.0
    ratio = np.divide(given, able, out=np.full(len(given), np.nan), where=able > 0.0)
    return nan_median(ratio[inside])


def _colder(zone: _Zone, other: _Zone, inside: Flags) -> float:
    """Deficit beyond that of another zone [K]; room temperatures are compared without both targets."""
    if zone.own and other.own:
        return nan_median((zone.deficit - other.deficit)[inside])
    return nan_median((other.room - zone.room)[inside])


def _in_words(measured: ColdRoom) -> str:
    parts = []
    if measured.running is not None:
        parts.append(f"the unit ran {percent(measured.running)} of the time")
    if measured.output_share is not None:
        parts.append(f"it gave {percent(measured.output_share)} of its rated output")
    if measured.lacking is not None:
        parts.append(
            f"its water was below its set temperature for {percent(measured.lacking)} of the heating"
        )
    if measured.emission is not None:
        parts.append(
            f"the rooms took {percent(measured.emission)} of what the emitters can give at this water"
            " temperature"
        )
    if measured.gap is not None:
        parts.append(
            f"the deficit of the best other zone is {abs(measured.gap):.1f} K"
            f" {'smaller' if measured.gap > 0 else 'larger'}"
        )
    if measured.below_curve is not None:
        side = "under" if measured.below_curve > 0 else "over"
        parts.append(f"the flow is {abs(measured.below_curve):.1f} K {side} the designed curve")
    if measured.spread is not None:
        parts.append(
            f"flow and return are {measured.spread:.1f} times as far apart as the rated output makes them at"
            " the flow that the pump gives"
        )
    return "; ".join(parts) or "no measurement shows how hard the unit worked"


def _step(context: Context, cause: str, cold: _Cold) -> str:
    zone = the_zone(cold.zone.name)
    if cause == "zone_not_opening":
        return (
            f"Check by phone that the thermostat and the radiator valves of {zone} are open. Then"
            " visit: check whether its valve opens when it calls (actuator, wiring, stuck pin,"
            " lockshield), bleed its emitters and balance the circuits. Leave the curve as it is."
        )
    if cause == "capacity_short":
        return (
            "Check remotely that no quiet mode or limit restricts the unit and that the night"
            " set-back is off. Then treat it as insufficient output: check capacity, air path and"
            " water flow on a visit."
        )
    if cause == "deep_set_back":
        return (
            "Have the householder make the night set-back half as deep, or leave it off while it is cold, and"
            " check the rooms after three days: a heat pump warms up slowly. If they are still cold then,"
            " look at the curve, the valves and the emitters."
        )
    if cause == "emitters_small":
        return (
            f"The water is as warm as designed and the emitters of {zone} give what they can. Check on a"
            " visit that they are bled and balanced, look for open windows or missing insulation, and"
            " compare their size with the room's heat loss (EN 442, EN 12831-1)."
        )
    return (
        "Raise the heating curve by 2 K at the cold end, remotely or by phone, and check the rooms"
        " after three cold days. If the rooms don't get warmer, set it back: then valves or emitters"
        " are the limit, not the curve."
    )


RULES = (
    Rule(
        "room_below_target",
        room_below_target,
        (Need(("room_temperature",), 60.0, 7),),
        frozenset({"room_temperature", "target_room_temperature"}),
    ),
)
