"""Does hot water run out, does the cylinder cool too fast?"""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import HOT_WATER
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.cylinder_cooling import behind_reading, expected, reading_uncertainty
from fieldfare.analysis.expectation.excess import Excess
from fieldfare.analysis.expectation.hypotheses import probability_of
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags, confidence_of
from fieldfare.analysis.findings.context import Context, Need, Rule, require_hot_water
from fieldfare.analysis.findings.episodes import latest_episode
from fieldfare.analysis.findings.grading import graded, in_doubt, ranked
from fieldfare.analysis.findings.hot_water.diverter import leak_in_charges, leak_to_heating, outweighs
from fieldfare.analysis.findings.hot_water.emptied import emptied_by_day, full_content
from fieldfare.analysis.findings.hot_water.loss_rise import loss_rise, risen
from fieldfare.analysis.findings.hot_water.reheat import approach_at_rating, slowness
from fieldfare.analysis.findings.hot_water.too_much import too_much_hot_water
from fieldfare.analysis.findings.model import Cause, Evidence, Finding
from fieldfare.analysis.findings.onset import onset
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.findings.yearly_cost import DAYS_A_YEAR, USUAL_CHARGING_COP
from fieldfare.analysis.physics.hot_water import RATED_ROOM_C, WH_PER_LITRE_KELVIN, loss_class_limit_w
from fieldfare.analysis.statistics.quantiles import nan_median, quantile, robust_sd

_WEEK = 7.0
_LEANING_MIN = 40.0
_LOSS_TEST_K = 45.0  # Reg. (EU) 812/2013: 65 °C in a room of 20 °C
_LEAST_OVER_K = (
    18.0  # a cylinder near the room, half empty, loses too little to be distinguished from settling layers
)
_EMPTIED_C = 30.0
_ALIKE = 1.4
# Between wet or missing insulation, and a loop that runs day and night.
_LOOP_OVER_CLASS = 2.8
# The fifth of the days on which draws and layers add least, at its upper end.
_CALM_DAYS = 0.2
_LEAST_W_PER_K = 0.5  # a cylinder that seems to lose less than the best on sale was warmed meanwhile


def hot_water_shortfall(context: Context) -> Finding | None:
    require_hot_water(context)
    days, limit = context.days, context.limit
    cold, known = (
        days.floats("minutes_tank_cold"),
        days.floats("minutes_tank_known") >= 0.8 * days.floats("minutes_total"),
    )
    if known.sum() < _WEEK:
        raise NotAssessed("needs cylinder_temperature on at least 7 days", "too_few_days")
    lowest = days.floats("tank_min")
    # While it is charged its top is warm long before the sensor is: such minutes count a quarter.
    waited = fill_nan(cold, 0.0) - 0.75 * fill_nan(days.floats("minutes_cold_charging"), 0.0)
    short = waited >= limit("cold_day_minutes")
    short |= fill_nan(days.floats("cold_longest_min"), 0.0) >= limit("cold_spell_minutes")
    turned = days.floats("heat_hot_water_kwh") / full_content(context)
    if not {"heat_output", "hot_water_heat"} & context.unreliable.keys():
        # The more often a day's water turns the cylinder over, the less it takes.
        leaning = np.where(turned > 1.5 * limit("cold_turnover"), _LEANING_MIN / 3.0, _LEANING_MIN)
        short |= (fill_nan(cold, 0.0) >= leaning) & (np.nan_to_num(turned) > limit("cold_turnover"))
    # Some degrees under 40 °C at the sensor are a low setting, and still a shower.
    short &= fill_nan(lowest, 99.0) < limit("cold_least_c")
    short |= fill_nan(lowest, 99.0) < limit("cold_day_c")
    emptied = emptied_by_day(context, known & short)
    too_cold = known & short & (emptied >= limit("emptied_least_chance"))
    episode = latest_episode(days["day"], too_cold, known, hold_days=4, gone_days=28)
    if episode is None:
        return None
    inside = known & episode.covers(days["day"])
    # A cluster of bad days is not the rule: the share is taken over a month at least.
    weekly = (
        _WEEK * float((too_cold & inside).sum()) / max(float(inside.sum()), min(30.0, float(known.sum())))
    )
    chance = float(np.mean(emptied[too_cold & inside]))
    # Probable shortfalls are weighted: the observed number decides on "watch", the probable number on "act".
    severity = graded(chance * weekly, limit("cold_days_watch"), limit("cold_days_act"))
    if severity == "note" and weekly >= limit("cold_days_watch"):
        severity = "watch"
    if chance < limit("emptied_likely"):
        severity = "note"
    if episode.until is not None:
        severity = "note"
    if severity == "note" and weekly < 0.5 * limit("cold_days_watch"):
        return None
    chosen = too_cold & inside
    causes, evidence = _shortfall_causes(context, chosen)
    first = causes[0].cause if causes else ""
    found = Finding(
        "hot_water_shortfall",
        severity,
        episode.since,
        chance * confidence_of(weekly / limit("cold_days_watch"), episode.days, max(episode.share, 0.6)),
        f"Hot water {'runs' if chance >= limit('finding_chance') else 'may run'} out on {weekly:.1f} days a"
        f" week: the cylinder's sensor falls to {nan_median(lowest[chosen]):.0f} °C.",
        evidence=(
            context.evidence("days short of hot water", round(weekly, 1), "days/week", "cold_days_watch"),
            context.evidence(
                "minutes below 40 °C on such a day",
                round(nan_median(cold[chosen])),
                "min",
                "cold_day_minutes",
            ),
            context.evidence(
                "coldest cylinder temperature on such a day",
                round(nan_median(lowest[chosen]), 1),
                "°C",
                "cold_day_c",
            ),
            Evidence("chance that all usable water was drawn on such a day", round(chance, 2), "-"),
            *evidence,
        ),
        causes=causes,
        until=episode.until,
        next_step=_shortfall_step(first),
        caution=HOT_WATER,
        home=(
            ""
            if severity == "note"
            else (
                "Hot water sometimes runs short. Spread baths and showers over the day if you can;"
                " your installer will fix it."
            )
        ),
        visit=(
            "none"
            if severity == "note"
            else "setting"
            if first == "reheat_window"
            else "call"
            if first == "cylinder_small"
            else "drive"
        ),
        bring=("descaler and pump", "air vent key") if first == "reheat_slow" and severity != "note" else (),
    )
    return in_doubt(context, found) if severity == "note" else found


def _shortfall_step(cause: str) -> str:
    if cause == "reheat_window":
        return (
            "Change the hot-water time programme remotely or by phone: add a reheat before the"
            " evening, or let the cylinder reheat whenever it falls below its limit."
        )
    if cause == "diverter_passing":
        return (
            "Visit: heat leaks through the diverter from the cylinder into the heating; see"
            " diverter_passing, and check the hot water again once it closes."
        )
    if cause == "reheat_slow":
        return (
            "Visit: find out why charging takes so long: flow through the coil, air, scale, the"
            " diverter. See slow_reheat."
        )
    return (
        "Ask the householder how much water is used and when. First raise the reheat limit or the"
        " setpoint by a few kelvin, within the unit's range; if that is not enough, plan a larger"
        " cylinder or a second charge before the evening."
    )


def _shortfall_causes(context: Context, chosen: Flags) -> tuple[tuple[Cause, ...], tuple[Evidence, ...]]:
    """Cold while it waits: a window. Cold while it charges: slow where a charge drags on, small where charges
    follow each other."""
    days, plant = context.days, context.site.hot_water
    assert plant is not None
    cold = float(days.floats("minutes_tank_cold")[chosen].sum())
    charging = float(np.nansum(days.floats("minutes_cold_charging")[chosen])) / max(cold, 1.0)
    evidence = [Evidence("share of the cold time with a charge running", round(charging, 2), "-")]
    reheats = context.facts.reheats
    mine = reheats.where(np.isin(reheats["day"], days["day"][chosen]))
    mine = mine.where(mine["minutes"] >= 10) if len(mine) else mine
    if not len(mine):
        why = "no charge runs while it is cold"
        return ranked({"reheat_window": (1.0, why)}), tuple(evidence)
    a_day = len(mine) / max(int(chosen.sum()), 1)
    minutes = mine.median("minutes")
    waiting = 6.0 * (0.55 - charging)
    slow = nan_median(slowness(context, mine))
    coil = nan_median(approach_at_rating(context, mine))
    evidence += [
        Evidence("charges a day", round(a_day, 1), "1/day"),
        Evidence("usual charge", round(minutes), "min"),
        context.evidence("charge time over that at rated output", round(slow, 2), "-", "reheat_slow_watch"),
    ]
    content = full_content(context)
    heat = float(np.nansum(days.floats("heat_hot_water_kwh")[chosen])) / max(int(chosen.sum()), 1)
    turned = heat / content if np.isfinite(content) and heat > 0 else np.nan
    drag = float(np.clip(3.0 * (np.nan_to_num(slow, nan=1.5) - 1.8), -1.5, 2.0)) + float(
        np.clip((minutes - 60.0) / 30.0, -1.5, 1.5)
    )
    drag += float(np.clip((np.nan_to_num(coil, nan=12.0) - 16.0) / 4.0, -1.0, 2.0))
    small = 0.0
    if np.isfinite(turned):
        small = float(np.clip(4.0 * (turned - 1.0), -2.0, 3.0))
        evidence.append(Evidence("daily hot water over a full cylinder's content", round(turned, 2), "-"))
    why = (
        f"a charge runs for {percent(charging)} of the cold time, {a_day:.1f} charges a day of"
        f" {minutes:.0f} minutes"
    )
    scores = {
        "reheat_window": (float(np.exp(waiting)), why),
        "cylinder_small": (float(np.exp(-waiting * 0.5 + small - drag)), why),
        "reheat_slow": (float(np.exp(-waiting * 0.5 + drag - small)), why),
    }
    if (leaks := _leaks(context, chosen)) is not None:
        # Heat that passes the diverter is not drawn: the cylinder's size is not to blame.
        scores["diverter_passing"] = (2.0 * sum(weight for weight, _ in scores.values()), leaks)
    return ranked(scores), tuple(evidence)


def _leaks(context: Context, chosen: Flags) -> str | None:
    """Why heat that leaks through the diverter leaves the cylinder cold on these days; None where none is
    seen."""
    leak, charge = context.once(leak_to_heating), context.once(leak_in_charges)
    if leak is not None and leak.is_sure and leak.rate > context.limit("diverter_leak_k_per_h"):
        return f"the full cylinder loses {leak.rate:.1f} K an hour to the heating"
    if charge is not None and charge.is_sure and charge.share >= context.limit("charge_leak_watch"):
        return f"{percent(charge.share)} of a charge's heat does not reach the cylinder"
    much = context.once(too_much_hot_water)
    if much is None:
        return None
    on_such_days = (chosen & much.episode.covers(context.days["day"])).sum()
    if on_such_days < context.limit("cold_by_leak_share") * chosen.sum():
        return None
    return f"charges take {much.kwh:.0f} kWh a day, more than a home can draw"


def high_standing_loss(context: Context) -> Finding | None:
    """A cylinder that loses too much by rating or class, or far more than it did itself."""
    require_hot_water(context)
    rise = context.once(loss_rise)
    if rise is None:
        return _by_rating(context)
    try:
        found = _by_rating(context)
    except NotAssessed as why:
        if why.code == "distrusted":
            raise
        found = None
    return found if found is not None and found.severity != "note" else risen(context, rise)


def _by_rating(context: Context) -> Finding | None:
    plant, days, limit = context.site.hot_water, context.days, context.limit
    assert plant is not None
    if plant.cylinder_litres is None:
        raise NotAssessed("needs hot_water.cylinder_litres", "missing_in_site_file")
    if "standing_k_per_h" not in days:
        raise NotAssessed("needs cylinder_temperature", "missing_quantity")
    content = plant.cylinder_litres * WH_PER_LITRE_KELVIN
    room = days.floats("room")
    room = np.where(np.isfinite(room), room, RATED_ROOM_C)
    over_slow, over = _over_room(days.floats("standing_over_k")), _over_room(days.floats("tank_mean") - room)
    slow = days.floats("standing_k_per_h") * content / over_slow
    by_day, by_night = (days.floats(f"cooling_{name}") * content / over for name in ("day", "night"))
    # A cylinder that was emptied below its sensor holds a cold layer under a warm one, which even out for
    # hours.
    full = fill_nan(days.floats("tank_min"), 0.0) >= _EMPTIED_C
    slow, by_day, by_night = (np.where(full, v, np.nan) for v in (slow, by_day, by_night))
    # A small draw hides in a slow fall and only adds to it: what quiet hours show, by day or night, bounds
    # the loss.
    slow = np.fmin(slow, np.fmax(by_day, by_night))
    if np.isfinite(slow).sum() < 5:
        raise NotAssessed(
            "too few days (5 needed) with long enough periods without draws or charges", "too_few_days"
        )
    whole, daytime, night = nan_median(slow), nan_median(by_day), nan_median(by_night)
    calmest = float(np.nanmin([whole, night]))
    circulates = np.isfinite(daytime) and daytime > limit("circulation_ratio") * max(calmest, _LEAST_W_PER_K)
    if circulates and nan_median(days.floats("cooling_day_usual")) < limit("circulation_steady") * nan_median(
        days.floats("cooling_day")
    ):
        circulates = False  # it falls in steps and rests between them: water is drawn
    read = daytime if circulates else whole
    worst = float(np.asarray(loss_class_limit_w(plant.cylinder_litres, "C"))) / _LOSS_TEST_K
    allowed = limit("standing_loss_over_class") * worst
    if plant.standing_loss_kwh_per_day is not None:
        designed = plant.standing_loss_kwh_per_day / 0.024 / _LOSS_TEST_K
        allowed = max(allowed, limit("standing_loss_over_design") * designed)
    to_cooling = nan_median(over) / content
    hidden = "heat leaks through the diverter, which hides the cylinder's own loss: see diverter_passing"
    if read > allowed and outweighs(context, read * to_cooling, allowed * to_cooling):
        raise NotAssessed(hidden, "distrusted")
    used = over if circulates else np.where(np.isfinite(over_slow), over_slow, over)
    lost_by_day = behind_reading(by_day if circulates else slow, used, used + room)
    is_high, known = fill_nan(lost_by_day, 0.0) > allowed, np.isfinite(lost_by_day)
    episode = latest_episode(days["day"], is_high, known, hold_days=5, gone_days=10)
    if episode is None or episode.share < 0.5:
        return None
    # All days of the episode count, not only those above the limit: scatter alone would exceed it. Draws and
    # layers add more on one day than on another and never take away: the calm days are nearest to the loss.
    mine = known & episode.covers(days["day"])
    loss = quantile(lost_by_day[mine], _CALM_DAYS)
    if loss <= allowed:
        return None
    if context.once(too_much_hot_water) is not None:
        raise NotAssessed(hidden, "distrusted")
    inside = is_high & mine
    severity = graded(loss, allowed, max(limit("standing_loss_act") * worst, 1.5 * allowed))
    if episode.until is not None or inside.sum() < 7:
        severity = "note"
    hours = 16.0 if circulates else 24.0
    lost = loss * nan_median(over[inside]) * hours / 1000.0
    saved = max(loss - worst, 0.0) / max(loss, 1e-9) * lost * DAYS_A_YEAR / USUAL_CHARGING_COP
    spread = robust_sd(lost_by_day[mine]) / np.sqrt(mine.sum())
    doubt = reading_uncertainty(loss, spread, nan_median((used + room)[mine]))
    usual = expected(plant.cylinder_litres, plant.standing_loss_kwh_per_day)
    return Finding(
        "high_standing_loss",
        severity,
        onset(days["day"], lost_by_day, episode),
        min(Excess(loss - allowed, doubt).probability, limit("surest")),
        (
            f"Between draws by day the cylinder loses {loss / worst:.1f} times the legal limit, {lost:.1f}"
            " kWh a day."
            if circulates
            else (
                f"The cylinder loses {lost:.1f} kWh a day standing, {loss / worst:.1f} times the legal limit."
            )
        ),
        evidence=(
            context.evidence(
                "standing loss per kelvin over the room",
                round(loss, 2),
                "W/K",
                "standing_loss_over_class",
                round(allowed, 2),
            ),
            Evidence("its standard uncertainty, with layers and room", round(doubt, 2), "W/K"),
            Evidence("fall of the sensor, as loss", round(read, 2), "W/K"),
            Evidence("expected as installed", round(usual.value, 2), "W/K"),
            Evidence("its standard uncertainty", round(usual.uncertainty, 2), "W/K"),
            Evidence("standing loss at night", round(night, 2), "W/K"),
            Evidence("standing loss by day, between draws", round(daytime, 2), "W/K"),
            Evidence("class C's limit", round(worst, 2), "W/K"),
            Evidence("days with this loss", int(inside.sum()), "days"),
        ),
        causes=_loss_causes(daytime, night, whole, loss / worst, circulates=bool(circulates)),
        until=episode.until,
        next_step=(
            "Ask whether a circulation pump runs all day; set it to the hours of use or to run on demand,"
            " within local rules on Legionella, and see that its pipes are insulated."
            if circulates
            else (
                "Visit or ask for photos: insulate pipes and valves at the cylinder, look for a"
                " circulation pump or a gravity loop (fit a heat trap or check valve), and wet"
                " insulation."
            )
        ),
        caution=HOT_WATER,
        home=(
            ""
            if severity == "note"
            else (
                "The hot-water cylinder cools faster than it should, which costs electricity. You"
                " don't need to do anything; your installer will check pipes and pump."
            )
        ),
        cost_kwh=saved,
        cost_money=context.money(saved),
        visit="none" if severity == "note" else "setting" if circulates else "drive",
        bring=() if circulates or severity == "note" else ("pipe insulation", "check valve"),
    )


def _over_room(values: np.ndarray) -> np.ndarray:
    return np.where(values > _LEAST_OVER_K, values, np.nan)


def _loss_causes(
    daytime: float, night: float, whole: float, over_class: float, *, circulates: bool
) -> tuple[Cause, ...]:
    """A pump by the clock shows by day. One that never rests shows by size: a loop of 10 to 20 m loses 100 to
    200 W, which is two to four times what the poorest cylinder loses with its insulation on (common
    practice)."""
    base = night if np.isfinite(night) and night > 0 else whole
    ratio = daytime / base if np.isfinite(daytime) and base > 0 else np.nan
    if circulates:
        why = f"between draws it cools {ratio:.1f} times as fast by day as by night: a time-controlled pump"
        return ranked(
            {
                "secondary_circulation": (0.9, why),
                "insulation": (0.1, "missing insulation would also show at night"),
            }
        )
    loop = probability_of(2.5 * (over_class - _LOOP_OVER_CLASS))
    size = f"{over_class:.1f} times the legal limit"
    if not np.isfinite(ratio):
        alike = "it "
    elif 1.0 / _ALIKE <= ratio <= _ALIKE:
        alike = f"it cools at the same rate by day and night ({ratio:.1f} to 1) and "
    else:
        alike = f"by day it cools {ratio:.1f} times as fast as at night, as small draws make it, and it "
    return ranked(
        {
            "insulation": (1.0 - loop, f"{alike}loses {size}"),
            "secondary_circulation": (
                loop,
                (
                    "a loop that circulates all the time, by pump or gravity, loses more than poor"
                    f" insulation does: here it is {size}"
                ),
            ),
        }
    )


RULES = (
    Rule(
        "hot_water_shortfall",
        hot_water_shortfall,
        (Need(("cylinder_temperature",), 60.0, 7),),
        frozenset({"cylinder_temperature"}),
    ),
    Rule(
        "high_standing_loss",
        high_standing_loss,
        (Need(("cylinder_temperature",), 15.0, 7),),
        frozenset({"cylinder_temperature"}),
    ),
)
