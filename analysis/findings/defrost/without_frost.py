"""Defrosts where no frost can have formed, even in the dampest air on the coldest plausible coil."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import refrigerant_caution
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.defrost import defrosts_due
from fieldfare.analysis.expectation.defrost_odds import dry_chance
from fieldfare.analysis.expectation.defrost_pattern import Pattern, pattern
from fieldfare.analysis.expectation.frost import UNITS_SPREAD
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.findings.confidence import Flags
from fieldfare.analysis.findings.context import Context, Rule
from fieldfare.analysis.findings.defrost.causes import (
    dry_causes,
    efficiency,
    rated_kw,
    used_wh,
)
from fieldfare.analysis.findings.defrost.observed import (
    NEEDS,
    READS,
    DailyFrost,
    by_clock,
    seen,
    weekly,
)
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.model import Finding, Severity, rounded
from fieldfare.analysis.findings.yearly_cost import heating_year
from fieldfare.analysis.statistics.distributions import normal_quantile
from fieldfare.analysis.statistics.quantiles import nan_median


def defrost_without_frost(context: Context) -> Finding | None:
    defrosts = seen(context)
    if by_clock(context, defrosts) is not None:
        return None  # a timer does not look for frost; excessive_defrost notes it
    if len(defrosts) and not defrosts["frost_known"].any():
        raise NotAssessed("needs outdoor_temperature", "missing_quantity")
    dry = without_frost(context, defrosts) | _hollow(context, defrosts)
    if _by_short_timer(context, defrosts):
        dry &= fill_nan(defrosts.floats("outdoor"), -np.inf) >= context.limit("dry_air_c")
    has_dry_defrost = np.isin(context.days["day"], defrosts["day"][dry])
    episode = _episode_in_mild_weather(context, has_dry_defrost)
    return None if episode is None else _finding(context, defrosts, dry, has_dry_defrost, episode)


def _by_short_timer(context: Context, defrosts: Table) -> bool:
    """One spacing in any air, too long for a lock and too short for `by_clock`: a timer, with or without
    frost.

    It counts only with a cold coil, so that defrosts in warm air still tell of a sensor.
    """
    usual = _pattern(context, defrosts)
    return (
        usual is not None
        and usual.lock >= context.limit("timer_least_minutes")
        and usual.locked >= context.limit("timer_locked")
        and efficiency(context) > context.limit("timed_defrost_efficiency")
    )


def _pattern(context: Context, mine: Table) -> Pattern | None:
    laid = mine.floats("frost_usual_kg") * 1000.0 / rated_kw(context)
    return pattern(mine.floats("since_last"), laid, UNITS_SPREAD)


def without_frost(context: Context, defrosts: Table) -> Flags:
    """Defrosts since whose predecessor no frost can have settled.

    `frost_kg` is the most that can have: the coldest plausible coil at the measured load, saturated air where
    humidity is not measured. Frost of colder hours before counts until the next defrost, since it may be
    melted at 8 °C.
    """
    most = defrosts.floats("frost_kg") * 1000.0 / rated_kw(context)
    none = fill_nan(most, np.inf) < context.limit("dry_frost_g_per_kw")
    return np.asarray(none & defrosts["frost_known"].astype(np.bool_), dtype=np.bool_)


def _hollow(context: Context, defrosts: Table) -> Flags:
    """Defrosts using no more than a bare coil takes, in weeks with far more of them than expected.

    What was melted is measured there; the air alone could not tell.
    """
    used = used_wh(defrosts, rated_kw(context))
    if not np.isfinite(used).any():
        return np.zeros(len(defrosts), dtype=np.bool_)
    frost = DailyFrost.of(context)
    # Single small ones among whole ones are the end of a melt that was cut short.
    if not nan_median(used) < context.limit("defrost_coil_wh_per_kw"):
        return np.zeros(len(defrosts), dtype=np.bool_)
    heated = context.days.floats("minutes_heating") >= context.limit("heated_day_minutes")
    rate = weekly(context, defrosts, frost, heated)["rate"]
    often = fill_nan(rate, -np.inf) >= normal_quantile(context.limit("dry_rate_chance"))
    row = np.clip(np.searchsorted(context.days["day"], defrosts["day"]), 0, len(often) - 1)
    bare = fill_nan(used, np.inf) < context.limit("defrost_coil_wh_per_kw")
    return np.asarray(bare & often[row], dtype=np.bool_)


def _finding(
    context: Context, defrosts: Table, dry: Flags, has_dry_defrost: Flags, episode: Episode
) -> Finding:
    limit, days = context.limit, context.days
    covered = episode.covers(days["day"])
    inside = np.isin(defrosts["day"], days["day"][covered])
    chosen = defrosts.where(dry & inside)
    number, on = len(chosen), int((has_dry_defrost & covered).sum())
    share = number / max(int(inside.sum()), 1)
    energy = nan_median(used_wh(defrosts, rated_kw(context)))
    unfrosted = without_frost(context, chosen)
    bare = int(unfrosted.sum())
    warm = unfrosted & (fill_nan(chosen.floats("outdoor"), -99.0) >= limit("dry_air_c"))
    severity = _severity(context, number, on, share, episode)
    kwh = float(chosen.total("electricity") + np.nansum(chosen["heat_taken"]) / limit("defrost_usual_cop"))
    kwh *= heating_year(context)
    low, high = (float(take.reduce(chosen["outdoor"])) for take in (np.fmin, np.fmax))
    return Finding(
        "defrost_without_frost",
        severity,
        episode.since,
        _chance(
            context,
            defrosts.where(inside),
            nan_median(used_wh(chosen, rated_kw(context))),
            int(warm.sum()),
            bare,
            _surplus(context, int(inside.sum()), covered),
        ),
        f"{number} defrosts took place without frost, at {low:.0f} to {high:.0f} °C.",
        evidence=(
            context.evidence("defrosts without frost", number, "defrosts", "dry_defrosts"),
            context.evidence("days with such a defrost", on, "days", "dry_defrost_days"),
            context.evidence("share of all defrosts", round(share, 3), "-", "dry_defrost_least_share"),
            context.evidence(
                "of these, defrosts before which no frost can have formed", bare, "defrosts", "dry_defrosts"
            ),
            context.evidence(
                "of these, defrosts in air too warm for frost even if the sensor reads high",
                int(warm.sum()),
                "defrosts",
                "dry_defrosts",
            ),
            context.evidence(
                "heat and electricity of a defrost, per kilowatt rated",
                rounded(energy),
                "Wh/kW",
                "defrost_coil_wh_per_kw",
            ),
        ),
        causes=dry_causes(context, energy),
        next_step=(
            "Check that leaves, snow or a fence do not block the air to the coil. Compare the coil"
            " sensor with a clamp thermometer on the same pipe and against the air after a long rest;"
            " if it agrees, have the refrigerant circuit checked."
        ),
        caution=refrigerant_caution(context.site),
        home=(
            ""
            if severity == "note"
            else (
                "Your heat pump sometimes runs its de-icing when there is no ice, so it stops heating"
                " for some minutes. Your installer will check a sensor and the refrigerant."
            )
        ),
        until=episode.until,
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="drive",
        bring=("clamp thermometer", "coil sensor"),
    )


def _surplus(context: Context, number: int, covered: Flags) -> float:
    """Excess of defrosts over the number needed for the frost [standard deviations]."""
    return defrosts_due(DailyFrost.of(context).total(covered)).score(number)


def _chance(context: Context, mine: Table, energy: float, warm: int, bare: int, often: float) -> float:
    """Probability that a sensor or the charge makes them. mine : all defrosts of the episode. energy : used
    by those without frost, median [Wh/kW]. warm, bare : of these, in air that frosts no coil, and before
    which none can have settled. often : as `_surplus` has it
    """
    usual = _pattern(context, mine)
    real = dry_chance(
        warm,
        bare - warm,
        empty=energy < context.limit("defrost_coil_wh_per_kw"),
        locked=usual.locked if usual else 0.0,
        follows=usual.follows if usual else -1.0,
        efficiency=efficiency(context),
        often=often,
    )
    return min(real, context.limit("surest"))


def _severity(context: Context, number: int, on: int, share: float, episode: Episode) -> Severity:
    limit = context.limit
    enough = number >= limit("dry_defrosts") and on >= limit("dry_defrost_days")
    if episode.until is not None or not enough or share < limit("dry_defrost_least_share"):
        return "note"
    return "act" if number >= limit("dry_defrosts_act") else "watch"


def _episode_in_mild_weather(context: Context, has_dry_defrost: Flags) -> Episode | None:
    """Latest episode, judged on days as mild as those affected: a frosty month does not end it."""
    days = context.days
    outdoor = days.floats("outdoor")
    heated = days.floats("minutes_heating") >= context.limit("heated_day_minutes")
    if has_dry_defrost.any() and np.isfinite(outdoor[has_dry_defrost]).any():
        low, high = np.nanquantile(outdoor[has_dry_defrost], (0.1, 0.9))
        heated &= (fill_nan(outdoor, low) >= low) & (fill_nan(outdoor, high) <= high)
    return latest_episode(days["day"], has_dry_defrost, heated | has_dry_defrost, hold_days=2, gone_days=14)


RULES: tuple[Rule, ...] = (Rule("defrost_without_frost", defrost_without_frost, needs=NEEDS, reads=READS),)
