"""Rooms without a set temperature that are far below the design's: wanted so, or short of heat?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.cold_room import ColdRoom
from fieldfare.analysis.expectation.wished_warmth import chance_of_lacking
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags, Floats
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.episodes import Episode, as_cold, latest_episode
from fieldfare.analysis.findings.model import Cause, Evidence, Finding
from fieldfare.analysis.plant.zone_names import the_zone, zone_name
from fieldfare.analysis.statistics.quantiles import nan_median


def episode_below_design(context: Context, room: Floats, judged: Flags) -> tuple[Episode, Flags] | None:
    """Latest episode of a room far below the design's temperature, and its days; None without one."""
    days, limit = context.days, context.limit
    known = judged & np.isfinite(room)
    cool = known & (fill_nan(below_design(context, room), -9.0) >= limit("room_below_design_k"))
    episode = latest_episode(
        days["day"],
        cool,
        as_cold(cool, days.floats("outdoor"), known, room),
        hold_days=int(limit("room_days")),
        gone_days=10,
    )
    if episode is None or episode.share < limit("room_days_share"):
        return None
    return episode, known & cool & episode.covers(days["day"])


def below_design(context: Context, room: Floats) -> Floats:
    """Design room temperature less the room's, by day [K]."""
    return np.asarray(context.site.design.indoor_c - room, dtype=np.float64)


def is_designed(context: Context) -> bool:
    """Whether the site file names the design's room temperature."""
    return "indoor_c" in context.site.design.model_fields_set


def _fall(context: Context, fall: float) -> Evidence:
    return context.evidence(
        "fall of the rooms from the evening to their coldest", round(fall, 1), "K", "room_set_back_k"
    )


def cool_room(
    context: Context,
    zone: str,
    room: Floats,
    other_rooms: Sequence[Floats],
    episode: Episode,
    inside: Flags,
    facts: ColdRoom,
    causes: tuple[Cause, ...],
    evidence: tuple[Evidence, ...],
) -> Finding:
    """The finding, with the doubt that the household wants it so.

    Raises NotAssessed where that is more likely.
    """
    limit = context.limit
    below = nan_median(below_design(context, room)[inside])
    warm = any(
        nan_median(below_design(context, other)[inside]) < limit("room_deficit_act") for other in other_rooms
    )
    days = context.days
    fall = nan_median((days.floats("room_end") - days.floats("room_min"))[inside])
    lacking = chance_of_lacking(below, facts, others_warm=warm, night_fall_k=fall)
    set_back = np.isfinite(fall) and fall >= limit("room_set_back_k")
    at, design = nan_median(room[inside]), context.site.design.indoor_c
    if lacking < limit("finding_likely"):
        raise NotAssessed(
            f"{the_zone(zone)} is at {at:.1f} °C, {below:.1f} K below the design, with no set temperature"
            " measured there: it may be wanted so",
            "not_enough_data",
        )
    return Finding(
        "room_below_target",
        "watch" if episode.until is None else "note",
        episode.since,
        min(lacking, limit("surest")),
        f"{the_zone(zone, begins=True)} stays at {at:.1f} °C, {below:.1f} K below the design; no set"
        " temperature is measured there.",
        evidence=(
            context.evidence(
                f"design minus room temperature, {zone_name(zone)}",
                round(below, 2),
                "K",
                "room_below_design_k",
            ),
            Evidence("room meanwhile", round(at, 1), "°C"),
            Evidence("design room temperature", design, "°C"),
            Evidence("probability that it is not wanted so", round(lacking, 2), "-"),
            *((_fall(context, fall),) if set_back else ()),
            context.evidence("days below the design", int(inside.sum()), "days", "room_days"),
            context.evidence("share of heating days", round(episode.share, 2), "-", "room_days_share"),
            *evidence,
        ),
        causes=causes,
        until=episode.until,
        next_step=(
            f"Ask the householder first whether {the_zone(zone)} is meant to be as cool as this. "
            + (
                "The rooms fall far by night and don't come back in the day: ask for the times and the depth"
                " of the set-back, and try a week without it. "
                if set_back
                else ""
            )
            + "If not, look at the cause named here: a low curve is a setting, a unit that runs without a"
            " rest is short of output. A measured set temperature there would end the doubt."
        ),
        home=(
            ""
            if episode.until is not None
            else (
                f"Part of your house ({zone_name(zone)}) is cooler than planned. If you want it so, all is"
                " well; if not, tell your installer."
            )
        ),
        visit="none" if episode.until is not None else "call",
    )
