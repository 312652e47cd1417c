"""Do the cylinder's reheats take too long, or give up before their setpoint?"""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import HOT_WATER, setpoint_advice
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.excess import Excess, Expected, excess
from fieldfare.analysis.expectation.hypotheses import probability_of
from fieldfare.analysis.expectation.reheat import (
    CHARGING_SHARE,
    Charge,
    coil_w_per_k,
)
from fieldfare.analysis.expectation.reheat import expected_minutes as charge_minutes
from fieldfare.analysis.facts.minutes import rated
from fieldfare.analysis.facts.table import Table, fill_nan, group_by_day
from fieldfare.analysis.findings.confidence import Flags, Floats
from fieldfare.analysis.findings.context import Context, Need, Rule, require_hot_water
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.grading import graded, ranked
from fieldfare.analysis.findings.hot_water.blind_charge import blind_charge
from fieldfare.analysis.findings.hot_water.coil import coil_changed, coil_poor
from fieldfare.analysis.findings.model import (
    Cause,
    Evidence,
    Finding,
    Severity,
)
from fieldfare.analysis.findings.onset import onset
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.physics.hot_water import WH_PER_LITRE_KELVIN
from fieldfare.analysis.statistics.quantiles import nan_median, robust_sd

_LEAST_MIN, _LEAST_KWH = 15.0, 1.0
_SHOWN_BY = ("operating_mode", "diverter_to_hot_water", "heat_output", "cylinder_temperature")
_FEWEST = 6
_AGAIN_MIN = 60.0
# Charges picked for their length are long: they tell of all only where most are long enough to be judged.
_MOST = 0.5
_DRAWN_OUT = 1.7
_ABLE_SHARE = 0.75
# Below this rise a charge says little; a charge nobody's sensor saw is taken to warm the cylinder by so much.
_LEAST_RISE_K, _UNSEEN_RISE_K = 2.0, 10.0
_SENSOR_K = 1.1  # a sensor in its pocket, and a controller that stops half a kelvin early (common practice)
_WATER_W_PER_K = 1155.0  # per m3/h, at 30 to 50 C (IAPWS, reference 1)


def slow_reheat(context: Context) -> Finding | None:
    """Charges significantly longer than expected, or through a coil that passes less than it did."""
    require_hot_water(context)
    reheats = _whole(context)
    found = _too_long(context, reheats)
    if found is not None and found.severity != "note":
        return found
    poor = coil_changed(context, reheats) or coil_poor(context, reheats, approach_at_rating(context, reheats))
    return poor or found


def _too_long(context: Context, reheats: Table) -> Finding | None:
    """Charges significantly longer than expected from output, coil and flow limit."""
    slow = slowness(context, reheats)
    usual, doubt = expected_minutes(context, reheats)
    over_minutes = reheats.floats("minutes") - usual
    approach = approach_at_rating(context, reheats)
    share = reheats.floats("flow_rate") / (context.site.heat_pump.flow_m3_per_h or np.nan)
    lift = reheats.floats("lift")
    is_known = np.isfinite(over_minutes)
    if is_known.sum() < _FEWEST:
        raise NotAssessed(
            f"needs at least {_FEWEST} whole reheats with heat, or cylinder temperature and litres",
            "not_enough_data",
        )
    limit = context.limit
    little = fill_nan(share, 9.0) < limit("reheat_flow_share")
    little |= ~np.isfinite(share) & (fill_nan(lift, 0.0) > limit("reheat_lift_watch"))
    poor = fill_nan(approach, 0.0) > limit("coil_approach_watch")
    # With no difference left between flow and cylinder no coil passes anything: the setpoint is at the flow's
    # limit.
    poor &= fill_nan(reheats.floats("over_cylinder"), np.inf) >= limit("coil_least_difference_k")
    if not context.site.measures("cylinder_temperature"):
        # The set-point replaces the cylinder temperature, so that its change does not look like a poor coil.
        poor &= np.nan_to_num(slow) > _DRAWN_OUT
    is_long = poor | little
    # Long charges with cool coil water: the cylinder's doing only where the unit gives more for heating than
    # here.
    is_long |= (~np.isfinite(approach) | _able(context)) & (np.nan_to_num(slow) > limit("reheat_slow_watch"))
    # Long by itself is not slow: a cold cylinder, a setpoint near the flow limit and a small unit take their
    # time.
    is_long &= fill_nan(over_minutes, 0.0) >= np.maximum(limit("reheat_excess_minutes"), doubt)
    episode = _episode(context, reheats, is_long, is_known)
    if episode is None or episode.share < 0.5:
        return None
    inside = is_long & is_known & episode.covers(reheats["day"])
    length, coil, flow = nan_median(slow[inside]), nan_median(approach[inside]), nan_median(share[inside])
    late = excess(
        nan_median(reheats.floats("minutes")[inside]),
        robust_sd(over_minutes[inside]) / np.sqrt(inside.sum()),
        Expected(nan_median(usual[inside]), nan_median(doubt[inside])),
    )
    late_by_day = group_by_day(context.days["day"], reheats["day"], over_minutes, "median")
    severity = _slow_severity(context, length, coil, flow, episode, int(inside.sum()))
    causes = _slow_causes(context, length, coil, flow, nan_median(lift[inside]))
    minutes = nan_median(reheats.floats("minutes")[inside])
    by_flow = bool(causes) and causes[0].cause == "flow_low"
    return Finding(
        "slow_reheat",
        severity,
        onset(context.days["day"], late_by_day, episode),
        float(np.clip(late.probability, 0.5, 0.99)),
        _slow_headline(minutes, nan_median(usual[inside]), length, coil, flow, by_flow=by_flow),
        evidence=(
            Evidence("usual reheat", round(minutes), "min"),
            Evidence("expected from output, coil and flow limit", round(nan_median(usual[inside])), "min"),
            Evidence("its standard uncertainty", round(nan_median(doubt[inside])), "min"),
            context.evidence("longer than expected by", round(late.value), "min", "reheat_excess_minutes"),
            context.evidence(
                "reheat time over that at rated output", round(length, 2), "-", "reheat_slow_watch"
            ),
            context.evidence(
                "coil water over the cylinder, at rated output", round(coil, 1), "K", "coil_approach_watch"
            ),
            context.evidence("flow while charging over nominal", round(flow, 2), "-", "reheat_flow_share"),
            context.evidence(
                "flow minus return while charging",
                round(nan_median(lift[inside]), 1),
                "K",
                "reheat_lift_watch",
            ),
            Evidence("slow reheats", int(inside.sum()), "reheats"),
        ),
        causes=causes,
        until=episode.until,
        next_step=(
            (
                "Visit: the flow through the coil is too low. Clean the strainer, vent coil and cylinder,"
                " check whether the diverter opens fully and the pump runs at its hot-water speed."
            )
            if by_flow
            else (
                "Visit: the coil transfers too little heat. Vent it, measure flow and return at the"
                " cylinder, descale coil or plate exchanger if the water is hard; compare the coil's"
                " area with the unit's output."
            )
        ),
        caution=HOT_WATER,
        home=(
            ""
            if severity == "note"
            else (
                "Heating the hot water takes longer than it should. After a bath, give it more time."
                " Your installer will check the cylinder."
            )
        ),
        visit="drive" if severity != "note" else "none",
        bring=("strainer kit", "air vent key") if by_flow else ("descaler and pump", "thermometer pair"),
    )


def expected_minutes(context: Context, reheats: Table) -> tuple[Floats, Floats]:
    """Expected reheat length from output, coil, flow limit and heat, with uncertainty [min]."""
    plant, pump = context.site.hot_water, context.site.heat_pump
    assert plant is not None
    heat, output = heat_into_cylinder(context, reheats), CHARGING_SHARE * _rated_kw(context, reheats)
    top = reheats.floats("to_c")
    end = np.where(np.isfinite(top), top, plant.setpoint_c)
    rise = fill_nan(end - reheats.floats("from_c"), _UNSEEN_RISE_K)
    hottest = reheats.floats("flow_max")
    highest_flow = (
        float(np.quantile(hottest[np.isfinite(hottest)], 0.9)) + 1.0 if np.isfinite(hottest).any() else np.inf
    )
    limit = min(pump.max_flow_c or np.inf, highest_flow)
    water = (pump.flow_m3_per_h or np.inf) * _WATER_W_PER_K
    usual, doubt = np.full(len(reheats), np.nan), np.full(len(reheats), np.nan)
    judged = (heat >= _LEAST_KWH) & (output > 0.0) & (rise >= _LEAST_RISE_K)
    heat, output, end, rise = heat[judged], output[judged], end[judged], rise[judged]
    litres = heat * 1000.0 / WH_PER_LITRE_KELVIN / rise
    coil = coil_w_per_k(output / CHARGING_SHARE, water)
    usual[judged], doubt[judged] = charge_minutes(Charge(litres, end - rise, end, output, coil, limit))
    endless = ~np.isfinite(usual)
    usual[endless] = doubt[endless] = np.nan
    return usual, doubt


def _able(context: Context) -> bool:
    """True where the unit has shown near its rated output at some hour, so that it could charge as fast."""
    best = context.days.floats("load_share_top")
    return bool(np.isfinite(best).any() and np.nanquantile(best, 0.9) >= _ABLE_SHARE)


def _slow_headline(
    minutes: float, usual: float, length: float, coil: float, flow: float, *, by_flow: bool
) -> str:
    duration = f"A reheat takes {minutes:.0f} minutes; about {usual:.0f} are expected"
    if by_flow and np.isfinite(flow):
        return f"{duration}: while charging the flow is only {percent(flow)} of nominal."
    if np.isfinite(coil):
        return f"{duration}. At full output the coil would need water {coil:.0f} K hotter than the cylinder."
    return f"{duration}, {length:.1f} times as long as at rated output."


def _slow_severity(
    context: Context, length: float, coil: float, flow: float, episode: Episode, count: int
) -> Severity:
    if episode.until is not None or count < _FEWEST:
        return "note"
    limit = context.limit
    # Coil water nearer to the cylinder than the best of coils needs: the unit charges gently, by its setting.
    gently = coil < limit("coil_least_difference_k")
    by_length = (
        graded(length, limit("reheat_slow_watch"), limit("reheat_slow_act"))
        if np.isfinite(length) and not gently
        else "note"
    )
    by_coil = (
        graded(coil, limit("coil_approach_watch"), limit("coil_approach_act"))
        if np.isfinite(coil)
        else "note"
    )
    by_flow = "watch" if flow < limit("reheat_flow_share") else "note"
    order: tuple[Severity, ...] = ("note", "watch", "act")
    return order[max(order.index(s) for s in (by_length, by_coil, by_flow))]


def _slow_causes(context: Context, length: float, coil: float, flow: float, lift: float) -> tuple[Cause, ...]:
    """Low flow: low flow rate and a wide difference. Poor coil: hot water at normal flow."""
    doubt = 0.0  # log odds that the flow is low
    words = []
    if np.isfinite(flow):
        doubt += float(np.clip(14.0 * (0.68 - flow), -3.0, 3.0))
        words.append(f"{percent(flow)} of the nominal flow while charging")
    if np.isfinite(lift):
        doubt += float(np.clip(0.7 * (lift - 7.5), -2.0, 2.0))
        words.append(f"{lift:.1f} K between flow and return")
    if np.isfinite(coil):
        doubt += float(np.clip(0.15 * (15.0 - coil), -2.0, 1.0))
        words.append(f"coil water {coil:.0f} K above the cylinder at rated output")
    if not words:
        return ()
    p = probability_of(doubt)
    why = ", ".join(words)
    return ranked({"coil_or_scale": (1.0 - p, why), "flow_low": (p, why)})


def reheat_incomplete(context: Context) -> Finding | None:
    require_hot_water(context)
    if (blind := blind_charge(context)) is not None:
        return blind
    plant = context.site.hot_water
    assert plant is not None
    reheats = _whole(context, 1.0)
    top = reheats.floats("to_c")
    if np.isfinite(top).sum() < _FEWEST:
        raise NotAssessed(f"needs cylinder_temperature and at least {_FEWEST} whole reheats", "too_few_days")
    limit = context.limit
    short = np.isfinite(top) & (top < plant.setpoint_c - limit("reheat_short_k"))
    gave_up = short & _stalled(context, reheats)
    finished = _finished_by_immersion(context, reheats)
    episode = _episode(context, reheats, short, np.isfinite(top))
    if episode is None or episode.share < limit("reheat_short_share"):
        return None
    days = context.days
    short_by = group_by_day(days["day"], reheats["day"], plant.setpoint_c - top, "median")
    inside = short & episode.covers(reheats["day"])
    stalled = float(gave_up[inside].mean())
    end = nan_median(top[inside])
    hottest = nan_median(reheats.floats("flow_max")[inside])
    most = context.site.heat_pump.max_flow_c
    severity: Severity = "note"
    by_heater = float(finished[inside].mean())
    by_immersion = (
        (Evidence("share finished by the immersion heater", round(by_heater, 2), "-"),)
        if context.site.measures("immersion_electricity")
        else ()
    )
    # Where the immersion heater does the rest the water gets hot: that is immersion_use, not water that stays
    # short.
    if episode.until is None and inside.sum() >= _FEWEST and stalled >= 0.5 and by_heater < 0.5:
        severity = "act" if end < plant.setpoint_c - 3.0 * limit("reheat_short_k") else "watch"
    at_top = most is not None and np.isfinite(hottest) and hottest > most - 4.0
    because = (
        f"the flow reaches {hottest:.0f} °C of the unit's {most:g} °C and the cylinder stops rising at"
        f" {end:.0f} °C"
        if at_top
        else f"the cylinder stops rising at {end:.0f} °C"
    )
    headline = (
        f"Reheats stop at {end:.0f} °C, below the setpoint of {plant.setpoint_c:g} °C."
        if stalled >= 0.5
        else f"Reheats end at {end:.0f} °C, not at the {plant.setpoint_c:g} °C in the site file."
    )
    return Finding(
        "reheat_incomplete",
        severity,
        onset(days["day"], short_by, episode),
        float(np.clip(Excess(plant.setpoint_c - end, _SENSOR_K).probability, 0.5, 0.99)),
        headline,
        evidence=(
            context.evidence(
                "setpoint minus usual end of a reheat",
                round(plant.setpoint_c - end, 1),
                "K",
                "reheat_short_k",
            ),
            Evidence("usual end of a reheat", round(end, 1), "°C"),
            context.evidence(
                "share of reheats that end short", round(episode.share, 2), "-", "reheat_short_share"
            ),
            Evidence("share of these that stalled", round(stalled, 2), "-"),
            context.evidence(
                "gain in the last twenty minutes",
                round(nan_median(reheats.floats("rise_end")[inside]), 1),
                "K/h",
                "reheat_stall_k_per_h",
            ),
            Evidence("hottest flow", round(hottest, 1), "°C"),
            *by_immersion,
            Evidence("slow reheats", int(inside.sum()), "reheats"),
        ),
        causes=ranked({"setpoint_above_reach": (1.0, because)}) if stalled >= 0.5 else (),
        until=episode.until,
        next_step=(
            "If it used to reach the setpoint, check coil and flow first. Otherwise: "
            + setpoint_advice(end, disinfected=plant.pasteurise_c is not None)
            if stalled >= 0.5
            else (
                "Ask whether the setpoint was changed on the controller; if so, enter the new one on this"
                " site's page."
            )
        ),
        caution=HOT_WATER,
        home=(
            ""
            if severity == "note"
            else (
                "The hot water does not quite reach its set temperature, and the heat pump keeps"
                " trying for a long time. Your installer will check it."
            )
        ),
        visit="setting" if severity != "note" else "none",
    )


def _stalled(context: Context, reheats: Table) -> Flags:
    """The cylinder stopped warming at the end, the unit reached its limit, or a retry followed at once."""
    rise = reheats.floats("rise_end")
    most = context.site.heat_pump.max_flow_c
    hottest = reheats.floats("flow_max")
    long = reheats["minutes"] >= 20
    at_top = fill_nan(hottest, 0.0) > (most - 3.0 if most is not None else 999.0)
    level = long & (fill_nan(rise, 99.0) < context.limit("reheat_stall_k_per_h"))
    follows = np.append(reheats.floats("pause")[1:], np.nan)
    again = fill_nan(follows, 9999.0) < _AGAIN_MIN
    return level | at_top | again


def _finished_by_immersion(context: Context, reheats: Table) -> Flags:
    """Reheats of days on which the immersion heater went on after the charge and the cylinder got there."""
    days, plant = context.days, context.site.hot_water
    assert plant is not None
    after = days.floats("electricity_immersion_after_kwh") >= context.limit("immersion_day_kwh")
    there = days.floats("tank_max") >= plant.setpoint_c - context.limit("reheat_short_k")
    return np.isin(reheats["day"], days["day"][after & there])


def _whole(context: Context, least_spacings: float = 4.0) -> Table:
    """Reheats seen from begin to end and long enough to judge. Raises NotAssessed without any."""
    reheats = context.facts.reheats
    if len(reheats):
        days = context.days
        spacing = [float(days.floats(f"spacing.{q}")[-1]) for q in _SHOWN_BY if f"spacing.{q}" in days]
        # Begin and end are known to one spacing each: shorter ones say little about their length.
        least = max(_LEAST_MIN, least_spacings * max(spacing, default=1.0))
        whole = ~reheats["cut"].astype(np.bool_)
        warms = whole & ~(reheats.floats("to_c") - reheats.floats("from_c") < _LEAST_RISE_K)
        long = reheats["minutes"] >= least
        if least > _LEAST_MIN and warms.any() and long[warms].mean() < _MOST:
            raise NotAssessed(
                f"most reheats are shorter than the {least:.0f} minutes that these readings can tell a length"
                " of",
                "spacing_too_wide",
            )
        reheats = reheats.where(whole & long)
    if not len(reheats):
        raise NotAssessed(
            "no reheat can be detected: needs operating_mode, diverter_to_hot_water, hot_water_heat"
            " or cylinder_temperature",
            "missing_quantity",
        )
    return reheats


def _rated_kw(context: Context, reheats: Table) -> Floats:
    """Rated output at each reheat's temperatures [kW], else the unit's nominal one."""
    site = context.site
    outdoor, flow = (reheats.floats(c) for c in ("outdoor", "flow"))
    if site.heat_pump.source != "air":
        outdoor = np.full(len(reheats), 0.0 if site.heat_pump.source == "brine" else 10.0)
    output = np.asarray(rated(site).capacity_kw(outdoor, flow), dtype=np.float64)
    return np.where(np.isfinite(output), output, site.heat_pump.rated_output_kw or np.nan)


def heat_into_cylinder(context: Context, reheats: Table) -> Floats:
    """Heat of each reheat [kWh]: metered, else from litres and warming."""
    heat = reheats.floats("heat").copy()
    metered = context.days.total("minutes_heat_known") > 0
    plant = context.site.hot_water
    if not metered and plant is not None and plant.cylinder_litres is not None:
        gain = reheats["to_c"] - reheats["from_c"]
        heat = plant.cylinder_litres * WH_PER_LITRE_KELVIN / 1000.0 * gain
    elif not metered:
        heat[:] = np.nan
    return heat


def slowness(context: Context, reheats: Table) -> Floats:
    """Length of each reheat over the time its heat would take at rated output [-]."""
    heat = heat_into_cylinder(context, reheats)
    could = _rated_kw(context, reheats) * reheats.floats("minutes") / 60.0
    return np.where(heat >= _LEAST_KWH, could / np.where(heat > 0, heat, np.nan), np.nan)


def approach_at_rating(context: Context, reheats: Table) -> Floats:
    """Mean coil water above cylinder temperature at rated output [K].

    Without a cylinder sensor the cylinder is taken to end at its setpoint.
    """
    plant = context.site.hot_water
    assert plant is not None
    over = reheats.floats("over_cylinder")
    if not np.isfinite(over).any():
        over = reheats.floats("flow_end") - plant.setpoint_c
    over = over - reheats.floats("lift") / 2.0
    power = reheats.floats("heat_end")
    ok = np.isfinite(over) & (power > 0.5)
    return np.where(ok, over * _rated_kw(context, reheats) / np.where(ok, power, 1.0), np.nan)


def _episode(context: Context, reheats: Table, is_long: Flags, is_known: Flags) -> Episode | None:
    """The newest stretch of days on most of whose reheats it was so."""
    days = context.days
    known_count = fill_nan(group_by_day(days["day"], reheats["day"], is_known, "sum"), 0.0)
    long_count = fill_nan(group_by_day(days["day"], reheats["day"], is_long & is_known, "sum"), 0.0)
    return latest_episode(days["day"], long_count > 0.5 * known_count, known_count > 0, hold_days=3)


RULES = (
    Rule(
        "slow_reheat",
        slow_reheat,
        (
            Need(("heat_output", "hot_water_heat", "cylinder_temperature"), 15.0, 7),
            Need(("heat_pump_electricity", "operating_mode"), 15.0),
        ),
        frozenset(
            {
                "heat_output",
                "hot_water_heat",
                "cylinder_temperature",
                "flow_temperature",
                "return_temperature",
                "flow_rate",
                "outdoor_temperature",
            }
        ),
    ),
    Rule(
        "reheat_incomplete",
        reheat_incomplete,
        (Need(("cylinder_temperature",), 15.0, 7),),
        frozenset({"cylinder_temperature", "flow_temperature"}),
    ),
)
