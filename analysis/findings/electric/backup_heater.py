"""Does the back-up heater give heat in weather that the heat pump should carry?"""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import MAINS_WORK, refrigerant_caution
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.excess import Expected
from fieldfare.analysis.expectation.hypotheses import probability_of
from fieldfare.analysis.facts.direct_heat import helped_below
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags, confidence_of
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.episodes import Episode, as_cold, latest_episode
from fieldfare.analysis.findings.grading import downgraded, graded, ranked
from fieldfare.analysis.findings.model import Cause, Evidence, Finding
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.findings.yearly_cost import heating_year, per_year
from fieldfare.analysis.minutes.balance import only_split_meters
from fieldfare.analysis.statistics.quantiles import nan_median

_USUAL_COP = 2.8
_WEAK_SHARE = 0.75
_PLAIN_KWH = 1.0
# Output while the heater is on, over the highest that was seen: of a unit at its limit, whose means hold some
# defrosts and starts, and of one that the control keeps below it (common practice).
_FULL, _THROTTLED = Expected(0.95, 0.08), Expected(0.65, 0.2)
_STRONG = 3.0  # log of 20
# Signs that both causes share carry little weight.
_ALSO_RUNS, _ALSO_COOL = 0.4, 0.4
# A compressor that works less of the day than this rests while the heater heats (common practice: a start a
# day is no work).
_RESTS_SHARE = 0.08


def backup_heater_use(context: Context) -> Finding | None:
    days = context.days
    below = helped_below(context.site)
    if below is None:
        raise NotAssessed(
            "needs design.bivalent_c or design.outdoor_c to know in which weather the heater may run",
            "missing_in_site_file",
        )
    if "electricity_backup_mild_kwh" not in days:
        raise NotAssessed(
            "needs backup_heater_electricity together with outdoor_temperature", "missing_quantity"
        )
    mild, used = days.floats("electricity_backup_mild_kwh"), days.floats("electricity_backup_kwh")
    known = np.isfinite(used) & np.isfinite(days.floats("outdoor"))
    heats_when_mild = fill_nan(mild, 0.0) >= context.limit("backup_day_kwh")
    heated = known & ((days.floats("minutes_heating") >= 60) | heats_when_mild)
    like = as_cold(heats_when_mild, days.floats("outdoor"), heated)
    episode = latest_episode(days["day"], heats_when_mild, like, hold_days=3, gone_days=10)
    if episode is None:
        return None
    inside = like & episode.covers(days["day"])
    if (alone := _alone(context, inside & heats_when_mild, episode)) is not None:
        return alone
    total = float(np.nansum(mild[inside]))
    share = total / max(_space_heat(context, inside), total, 1e-9)
    watch, act = context.limit("backup_share_watch"), context.limit("backup_share_act")
    many = float((mild[inside & heats_when_mild] >= _PLAIN_KWH).sum()) >= context.limit("backup_days_watch")
    severity = downgraded("watch" if many and share < watch else graded(share, watch, act), episode, 3.0)
    if severity == "note" and episode.until is None and share < 0.2 * watch:
        return None
    causes, evidence = _causes(context, inside & heats_when_mild)
    cop = _cop(context)
    kwh = total * (1.0 - 1.0 / cop) * heating_year(context)
    full = bool(causes) and causes[0].cause == "capacity_shortfall"
    per_day = total / max(int((inside & heats_when_mild).sum()), 1)
    return Finding(
        "backup_heater_use",
        severity,
        episode.since,
        confidence_of(share / watch, episode.days * episode.share, max(episode.share, 0.6)),
        (
            f"The back-up heater supplied {percent(share)} of the space heat above {below:g} °C outdoors,"
            " where the heat pump should supply all of it."
        ),
        evidence=(
            context.evidence(
                "back-up heat in mild weather, share of space heat",
                round(share, 4),
                "-",
                "backup_share_watch",
            ),
            Evidence("back-up electricity in mild weather", round(total, 1), "kWh"),
            context.evidence("on days when the heater ran", round(per_day, 2), "kWh/day", "backup_day_kwh"),
            Evidence("days when the heater ran", int((inside & heats_when_mild).sum()), "days"),
            *evidence,
        ),
        causes=causes,
        until=episode.until,
        next_step=(
            _full_step()
            if full
            else (
                "Check the controller's bivalent point (or heater release) remotely or ask the"
                f" householder to read it: set it to {below:g} °C as designed, and the heater's delay"
                " to 30 minutes or more. Check again after a week."
            )
        ),
        caution=f"{refrigerant_caution(context.site)}" if full else MAINS_WORK,
        home=(
            (
                "The back-up electric heater has run more than it should, which costs more. Your"
                " installer will check its setting."
            )
            if not full
            else (
                "The heat pump gives less heat than it should and the back-up electric heater makes"
                " up the rest, which costs more. Your installer will arrange a check."
            )
        ),
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="drive" if full else "setting",
        bring=("coil cleaning kit", "clamp thermometer", "power meter") if full else (),
    )


def _alone(context: Context, chosen: Flags, episode: Episode) -> Finding | None:
    """The heater heated the house alone while the compressor did not run."""
    days = context.days
    rested = days.floats("minutes_running") < _RESTS_SHARE * days.floats("minutes_total")
    alone = chosen & rested & (days.floats("minutes_unknown") < 0.5 * days.floats("minutes_total"))
    many = int(alone.sum())
    if many < 1 or many < 0.5 * chosen.sum():
        return None
    kwh = float(np.nansum(days.floats("electricity_backup_kwh")[alone]))
    ran = float(np.nansum(days.floats("minutes_running")[alone])) / max(
        float(np.nansum(days.floats("minutes_total")[alone])), 1.0
    )
    # What it costs if it goes on for a heating season's half of the year.
    spare = 0.5 * per_year(kwh * (1.0 - 1.0 / _cop(context)), many)
    return Finding(
        "backup_heater_use",
        "act" if episode.until is None else "note",
        episode.since,
        0.95,
        (
            f"The back-up heater alone heated the house on {many} days ({kwh:.0f} kWh of direct electric"
            " heat): the compressor hardly ran."
        ),
        evidence=(
            Evidence("days with the heater alone", many, "days"),
            Evidence("back-up electricity on those days", round(kwh, 1), "kWh"),
            Evidence("share of those days the unit ran", round(ran, 3), "-"),
        ),
        until=episode.until,
        next_step=(
            "First find out why the compressor does not run (see unit_stopped and fault_reported):"
            " emergency mode set by hand, lock-out, or no supply to the outdoor unit. Leave the"
            " heater as it is until then: it keeps the house from freezing."
        ),
        caution=MAINS_WORK,
        home=(
            "A back-up electric heater heats your home instead of the heat pump, which costs about three"
            " times as much. Please ring your installer."
        ),
        cost_kwh=spare,
        cost_money=context.money(spare),
        visit="call",
    )


def _full_step() -> str:
    return (
        "Visit: the unit is at its limit where it should have reserve. Check air path and fan, a"
        " quiet or output-limiting mode, water flow, and compare output with the data sheet; then"
        " have the refrigerant circuit checked by a licensed person."
    )


def _space_heat(context: Context, inside: Flags) -> float:
    """Space heat of those days [kWh] with heater; without a heat meter from electricity at a usual COP."""
    days = context.days
    heat = float(np.nansum(days.floats("heat_space_kwh")[inside]))
    backup = float(np.nansum(days.floats("electricity_backup_kwh")[inside]))
    if heat > 0.0:
        return heat if only_split_meters(context.site) else heat + backup
    return float(np.nansum(days.floats("electricity_heat_pump_kwh")[inside])) * _USUAL_COP + backup


def _cop(context: Context) -> float:
    want = context.figures.expected
    measured = want.measured_space or want.space or context.site.design.spf_space
    return float(np.clip(measured or _USUAL_COP, 1.5, 6.0))


def _causes(context: Context, chosen: Flags) -> tuple[tuple[Cause, ...], tuple[Evidence, ...]]:
    """A wrong setting leaves the unit below full output; lack of output does not.

    Each observation weighs by its likelihood with a unit at its limit over that with a heater released too
    early. A unit that gave clearly less than its highest output had more to give: the control let the heater
    in, however long the unit ran and however cool the water was meanwhile.
    """
    days = context.days
    share = nan_median(days.floats("backup_unit_share")[chosen])
    best = days.floats("load_share_top")
    best = best[np.isfinite(best)]
    ceiling = float(np.quantile(best, 0.9)) if len(best) >= 3 else np.nan
    gap = nan_median(days.floats("backup_flow_gap")[chosen])
    speed = nan_median(days.floats("speed")[chosen])
    evidence: list[Evidence] = []
    odds = 0.0  # log odds that the unit was at its limit
    words = []
    by_speed = np.isfinite(speed)
    if np.isfinite(share) and np.isfinite(ceiling) and ceiling > 0:
        used = share / ceiling
        evidence.append(Evidence("unit's output meanwhile, share of its highest output", round(used, 2), "-"))
        words.append(f"the unit gave {percent(min(used, 1.0))} of its highest measured output")
        if not by_speed:
            # The highest output seen is the unit's limit only in a season that asked for it: speed tells
            # better.
            at_limit = _log_odds(min(used, _FULL.value), _FULL, _THROTTLED)
            odds += at_limit
            if ceiling < _WEAK_SHARE and at_limit > 0.0:
                odds += 1.0
                words.append(f"and that is {percent(ceiling)} of its rating")
    running = nan_median(
        (days.floats("minutes_running") / np.maximum(days.floats("minutes_total"), 1.0))[chosen]
    )
    if np.isfinite(running):
        # A unit at its limit does not rest; in the cold nor does one that turns down.
        odds += min(float(np.clip(12.0 * (running - 0.9), -3.0, 1.2)), _ALSO_RUNS)
        words.append(f"it ran {percent(running)} of those days")
        evidence.append(Evidence("share of those days the unit ran", round(running, 2), "-"))
    if np.isfinite(gap):
        evidence.append(Evidence("flow below its set temperature meanwhile", round(gap, 1), "K"))
        # Cool water lets the heater in, whatever made it cool; hot water does so by its setting alone.
        odds += float(np.clip(1.2 * (gap - 1.2), -2.0, _ALSO_COOL))
        words.append(f"the water was {abs(gap):.1f} K {'below' if gap > 0 else 'above'} its set temperature")
    if by_speed:
        evidence.append(Evidence("compressor speed", round(speed), "%"))
        odds += float(np.clip(0.12 * (speed - 80.0), -3.0, 3.0))
        words.append(f"its compressor ran at {speed:.0f} % of its speed")
    if not words:
        return (), ()
    p = probability_of(odds)
    why = "while the heater was on, " + ", ".join(words)
    return ranked({"bivalent_set_high": (1.0 - p, why), "capacity_shortfall": (p, why)}), tuple(evidence)


def _log_odds(seen: float, one: Expected, other: Expected) -> float:
    """Log of the likelihood of a value under one normal distribution over that under another, within 20 to 1.

    Source: Kass and Raftery (1995), strong evidence is up to about 20 to 1.
    """
    first, second = ((seen - e.value) / e.uncertainty for e in (one, other))
    odds = 0.5 * (second**2 - first**2) + np.log(other.uncertainty / one.uncertainty)
    return float(np.clip(odds, -_STRONG, _STRONG))


RULES = (
    Rule(
        "backup_heater_use",
        backup_heater_use,
        (Need(("backup_heater_electricity",), 60.0, 7), Need(("outdoor_temperature",), 60.0)),
        frozenset({"backup_heater_electricity", "outdoor_temperature"}),
    ),
)
