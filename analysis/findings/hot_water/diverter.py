"""Does heat leak between hot water and heating?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.cautions import HOT_WATER, water_caution
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.charge_balance import (
    LEAST_DRAWN,
    LEAST_TOUCHED,
    TAKEN_UP,
    leaked_share,
    taken_up,
)
from fieldfare.analysis.expectation.excess import Excess
from fieldfare.analysis.facts.table import Table, fill_nan, group_by_day
from fieldfare.analysis.figures.estimate import robust_fit
from fieldfare.analysis.findings.confidence import Floats
from fieldfare.analysis.findings.context import Context, Need, Rule, require_hot_water
from fieldfare.analysis.findings.episodes import latest_episode
from fieldfare.analysis.findings.grading import graded
from fieldfare.analysis.findings.hot_water.too_much import more_than_drawn, too_much_hot_water
from fieldfare.analysis.findings.model import Evidence, Finding, Severity
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.findings.yearly_cost import charging_cop, per_year
from fieldfare.analysis.physics.hot_water import WH_PER_LITRE_KELVIN
from fieldfare.analysis.statistics.quantiles import median_error, robust_sd

_FEWEST = 12
_LONG_ENOUGH_MIN, _SPACINGS, _LEAST_RISE_K = 25.0, 6.0, 5.0
_PROBABLE = 0.975
_WARMED_K = 3.0
_BRIEF_PAUSE_MIN = 40.0  # a draw is what brings the next charge so soon
_ALIKE = 0.8
_ENDS_ALIKE_K = 0.5
"""Spread of the charges' ends from which what a hotter cylinder loses to the room shows in the falls after
them: 0.5 K of 30 K over the room is less than 2 % of the loss."""
_SURE = 4.0  # standard errors: many plants, each looked at once, leave no room for a chance of one in twenty


@dataclass(frozen=True)
class Leak:
    """Heat leak of a full cylinder to the heating water [K/h], its error, and the number of charges; `how` as
    text"""

    rate: float
    error: float
    cooling: float
    charges: int
    how: str

    @property
    def is_sure(self) -> bool:
        return self.rate > _SURE * self.error


def leak_to_heating(context: Context) -> Leak | None:
    """Cooling of the full cylinder that follows the heating water, not the room.

    A cylinder loses to the room whatever the heating does; past a leaking diverter it loses to the water
    that passes its coil, the more the cooler that water is, and only while it flows. Told after each
    charge, over the charges of the period: from how the cooling follows the difference of the two, or from
    cooling with the heating on against off.
    """
    reheats = context.facts.reheats
    if "fall_after" not in reheats or not len(reheats):
        return None
    fall, heated = reheats.floats("fall_after"), reheats.floats("heat_after")
    known = np.isfinite(fall) & np.isfinite(heated)
    on, off = known & (heated >= 0.5), known & (heated <= 0.1)
    over = reheats.floats("to_c") - reheats.floats("flow_after")
    rows = on & np.isfinite(over)
    if rows.sum() >= _FEWEST and float(np.std(over[rows])) > 0.7:
        columns = [over[rows], np.ones(rows.sum())]
        end_c = reheats.floats("to_c")[rows]
        if float(np.std(end_c)) > _ENDS_ALIKE_K:
            # A hotter cylinder loses more to the room as well: that is no leak.
            columns.append(end_c - float(np.mean(end_c)))
        fit = robust_fit(np.column_stack(columns), fall[rows])
        slope, error = fit.combination(np.eye(len(columns))[0])
        size = float(np.mean(np.abs(over[rows])))
        how = "it cools faster when the heating water is cooler"
        rate, cooling = min(slope * size, _calm(fall[rows])), float(np.median(fall[rows]))
        if cooling < 0.0 and not _measures_use(context):
            # a cylinder that warms slowly is what a weak charge looks like where nothing names the use
            return None
        return Leak(rate, error * size, cooling, int(rows.sum()), how)
    if on.sum() >= _FEWEST and off.sum() >= _FEWEST:
        busy, rest = fall[on], fall[off]
        difference = min(float(np.median(busy) - np.median(rest)), _calm(busy))
        error = float(np.hypot(median_error(busy), median_error(rest)))
        how = "it cools faster with the heating on than off"
        return Leak(difference, max(error, 0.02), float(np.median(busy)), int(on.sum()), how)
    return None


@dataclass(frozen=True)
class ChargeLeak:
    """Share of the charges' heat that the cylinder did not take up, what it did take up, how far that is
    below what is expected, told from so many charges; seen: True where the pipe to the heating was seen to
    warm meanwhile"""

    share: float
    taken: float
    below: Excess
    charges: int
    seen: bool

    @property
    def is_sure(self) -> bool:
        return self.below.probability >= _PROBABLE


def leak_in_charges(context: Context) -> ChargeLeak | None:
    """Heat lost from charges to the heating circuit: heat given minus the cylinder's warming.

    Whole charges and their last twenty minutes are looked at. Where the two are not alike the better one
    counts: a sensor at the top misses the cold half's warming, one at the coil sees it first.
    """
    plant, reheats = context.site.hot_water, context.facts.reheats
    distrusted = {"heat_output", "cylinder_temperature"} & context.unreliable.keys()
    if (
        plant is None
        or plant.cylinder_litres is None
        or distrusted
        or not context.site.measures("heat_output")
    ):
        return None
    if not len(reheats) or "rise_end" not in reheats or not _measures_use(context):
        return None
    whole = ~reheats["cut"].astype(np.bool_) & (reheats["minutes"] >= _long_enough(context))
    whole &= fill_nan(reheats.floats("immersion"), 0.0) < 0.1 if "immersion" in reheats else True
    rise = reheats.floats("to_c") - reheats.floats("from_c")
    calm = np.append(reheats.floats("pause")[1:], np.inf) >= _BRIEF_PAUSE_MIN
    fall = np.where(calm, reheats.floats("fall_after"), np.nan)
    whole &= fill_nan(rise, 0.0) >= _LEAST_RISE_K
    reheats, rise, fall = reheats.where(whole), rise[whole], fall[whole]
    by_all = taken_up(plant.cylinder_litres, rise, reheats.floats("heat"))
    by_end = taken_up(
        plant.cylinder_litres, reheats.floats("rise_end") / 3.0, reheats.floats("heat_end") / 3.0
    )
    known_values = [v[np.isfinite(v)] for v in (by_all, by_end)]
    if min(len(v) for v in known_values) < _FEWEST:
        return None
    if _drawn_meanwhile(context, reheats, by_end, fall):
        return None
    whole_charge, at_end = (float(np.quantile(v, LEAST_DRAWN)) for v in known_values)
    alike = whole_charge >= _ALIKE * at_end
    taken = (whole_charge + at_end) / 2.0 if alike else max(whole_charge, at_end)
    spread = max(robust_sd(v) / np.sqrt(len(v)) for v in known_values)
    below = Excess(TAKEN_UP.value - taken, float(np.hypot(TAKEN_UP.uncertainty, spread)))
    warmed = _heating_warmed(context)
    if warmed is False:
        return None
    return ChargeLeak(leaked_share(taken), taken, below, len(reheats), bool(warmed))


def _drawn_meanwhile(context: Context, reheats: Table, by_end: Floats, fall: Floats) -> bool:
    """Whether draws, not a leak, explain the missing heat.

    A leak is in every charge, a draw is not: the best charges' ends then show a tight diverter. And a draw
    that goes on shows right after the charge: the cylinder's fall there, carried back into the charge's
    end, makes up for what that lacked. fall : [K/h] after each charge; nan after those that another follows
    at once
    """
    plant = context.site.hot_water
    assert plant is not None
    tight = TAKEN_UP.value * (1.0 - context.limit("charge_leak_watch") / 2.0)
    if float(np.nanquantile(by_end, LEAST_TOUCHED)) >= tight:
        return True
    made_up = (reheats.floats("rise_end") + np.maximum(fill_nan(fall, 0.0), 0.0)) / 3.0
    whole = taken_up(plant.cylinder_litres or 0.0, made_up, reheats.floats("heat_end") / 3.0)
    return float(np.nanquantile(whole, LEAST_DRAWN)) >= tight


def _long_enough(context: Context) -> float:
    """Shortest charge that shows its balance [min]: its begin and end are known to one reading each."""
    days = context.days
    apart = [
        float(np.nanmax(days.floats(f"spacing.{quantity}")))
        for quantity in ("cylinder_temperature", "heat_output", "operating_mode")
        if f"spacing.{quantity}" in days and len(days)
    ]
    return max([_LONG_ENOUGH_MIN, *(_SPACINGS * spacing for spacing in apart)])


def _heating_warmed(context: Context) -> bool | None:
    """True where the heating pipe warms during the charge; None where not measured."""
    days = context.days
    if "flow_in_hot_water" not in days:
        return None
    charging, heating = days.floats("flow_in_hot_water"), days.floats("beyond_flow")
    both = np.isfinite(charging) & np.isfinite(heating)
    if both.sum() < 3:
        return None
    return bool(np.median((charging - heating)[both]) > _WARMED_K)


def _measures_use(context: Context) -> bool:
    return any(
        context.site.measures(q) for q in ("operating_mode", "diverter_to_hot_water", "hot_water_heat")
    )


def _calm(fall: Floats) -> float:
    """Cooling after the calmest quarter of charges [K/h]: a leak is always there, a draw is not."""
    return float(max(np.quantile(fall, 0.25), -np.quantile(fall, 0.75)))


def diverter_passing(context: Context) -> Finding | None:
    require_hot_water(context)
    leak, charge = context.once(leak_to_heating), context.once(leak_in_charges)
    is_clear = leak is not None and leak.is_sure and leak.rate >= 0.5 * context.limit("diverter_leak_k_per_h")
    if not is_clear and _measures_use(context) and (much := context.once(too_much_hot_water)) is not None:
        return more_than_drawn(context, much)
    if leak is None and charge is None:
        raise NotAssessed(
            f"needs cylinder_temperature and at least {_FEWEST} charges followed by heating, or heat_output"
            " beside it",
            "missing_quantity",
        )
    watch, act = context.limit("diverter_leak_k_per_h"), context.limit("diverter_leak_act")
    if leak is None or not leak.is_sure or leak.rate < 0.5 * watch:
        return _while_charging(context, charge)
    severity: Severity = graded(leak.rate, watch, act)
    since, until = _since(context, leak)
    if until is not None:
        severity = "note"
    litres = context.site.hot_water.cylinder_litres if context.site.hot_water else None
    amount = (
        f"about {leak.rate * litres * WH_PER_LITRE_KELVIN / 1000.0:.1f} kW"
        if litres
        else f"{leak.rate:.1f} K an hour"
    )
    way = "loses" if leak.cooling > 0 else "takes up"
    return Finding(
        "diverter_passing",
        severity,
        since,
        float(np.clip(1.0 - np.exp(-leak.rate / max(2.0 * leak.error, 0.4 * watch)), 0.5, 0.99)),
        f"While the heating runs the full cylinder {way} {amount}: heat leaks through the diverter.",
        evidence=(
            context.evidence(
                "cylinder cooling that follows the heating water",
                round(leak.rate, 2),
                "K/h",
                "diverter_leak_k_per_h",
            ),
            Evidence("its standard uncertainty", round(leak.error, 2), "K/h"),
            Evidence("cooling of the full cylinder while heating", round(leak.cooling, 2), "K/h"),
            Evidence("charges compared", leak.charges, "charges"),
            Evidence("method", leak.how),
            *_charge_evidence(context, charge),
        ),
        until=until,
        next_step=(
            "Visit: feel or measure the pipe to the coil while the heating runs; it should be at room"
            " temperature. Check the diverter's end position, its actuator and seat, and dirt; where there"
            " are two pumps, the check valves."
        ),
        caution=f"{HOT_WATER} {water_caution(context.site)}",
        home=(
            ""
            if severity == "note"
            else (
                "A valve lets heat leak from the hot water into the heating, so the hot water is"
                " reheated too often. Your installer will check the valve."
            )
        ),
        visit="drive" if severity != "note" else "none",
        bring=("diverter actuator and cartridge", "clamp thermometer") if severity != "note" else (),
    )


def _charge_evidence(context: Context, charge: ChargeLeak | None) -> tuple[Evidence, ...]:
    if charge is None:
        return ()
    return (
        context.evidence(
            "share of a charge's heat that did not reach the cylinder",
            round(charge.share, 2),
            "-",
            "charge_leak_watch",
        ),
        Evidence("heat stored, from the cylinder's temperature rise", round(charge.taken, 2), "-"),
        Evidence("expected of a tight diverter", TAKEN_UP.value, "-"),
        Evidence("standard uncertainty of the difference", round(charge.below.uncertainty, 2), "-"),
    )


def _while_charging(context: Context, charge: ChargeLeak | None) -> Finding | None:
    """Heat of the charges that goes into the heating circuit."""
    watch, act = context.limit("charge_leak_watch"), context.limit("charge_leak_act")
    if charge is None or not charge.is_sure or charge.share < watch:
        return None
    severity: Severity = graded(charge.share, watch, act) if charge.seen else "watch"
    since, until = _charge_since(context, charge)
    if until is not None:
        severity = "note"
    days = context.all_days.days
    kwh = charge.share * per_year(days.total("heat_hot_water_kwh"), len(days)) / charging_cop(context)
    return Finding(
        "diverter_passing",
        severity,
        since,
        float(np.clip(charge.below.probability_above(watch / 2.0), 0.5, 0.99)),
        (
            f"While the cylinder is charged about {percent(charge.share)} of the heat goes elsewhere: heat"
            " leaks through the diverter."
        ),
        evidence=(
            *_charge_evidence(context, charge),
            Evidence("charges compared", charge.charges, "charges"),
        ),
        until=until,
        next_step=(
            "Visit, or ask the household to feel a radiator's pipe during a charge in mild weather: it should"
            " stay cold. Check the diverter's end position, its actuator and seat, and dirt; where there are"
            " two pumps, the check valves. If it is tight, compare the cylinder's volume with the site file"
            " and the heat meter with flow and temperatures."
        ),
        caution=f"{HOT_WATER} {water_caution(context.site)}",
        home=(
            ""
            if severity == "note"
            else (
                "Some heat meant for the hot water goes into the heating, so making hot water takes"
                " longer and costs more. Your installer will check the valve."
            )
        ),
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="drive" if severity != "note" else "none",
        bring=("diverter actuator and cartridge", "clamp thermometer") if severity != "note" else (),
    )


def _charge_since(context: Context, charge: ChargeLeak) -> tuple[str, str | None]:
    """The latest run of days on which no charge was taken up as with a tight diverter."""
    days, reheats, plant = context.days, context.facts.reheats, context.site.hot_water
    assert plant is not None
    assert plant.cylinder_litres is not None
    rise = reheats.floats("to_c") - reheats.floats("from_c")
    share = taken_up(plant.cylinder_litres, rise, reheats.floats("heat"))
    usable = np.isfinite(share) & (rise >= _LEAST_RISE_K) & (reheats["minutes"] >= _long_enough(context))
    best = group_by_day(days["day"], reheats["day"], np.where(usable, share, np.nan), "greatest")
    half_way = (charge.taken + TAKEN_UP.value) / 2.0
    episode = latest_episode(
        days["day"], fill_nan(best, 9.0) < half_way, np.isfinite(best), hold_days=3, gone_days=14
    )
    return (days.day(0).isoformat(), None) if episode is None else (episode.since, episode.until)


def _since(context: Context, leak: Leak) -> tuple[str, str | None]:
    """The newest stretch of days on which the full cylinder fell by more than half of the leak."""
    days, reheats = context.days, context.facts.reheats
    mine = reheats.where((reheats.floats("heat_after") >= 0.5) & np.isfinite(reheats.floats("fall_after")))
    daily = np.abs(group_by_day(days["day"], mine["day"], mine["fall_after"], "median"))
    leaks = fill_nan(daily, 0.0) > 0.5 * leak.rate
    episode = latest_episode(days["day"], leaks, np.isfinite(daily), hold_days=3, gone_days=14)
    if episode is None:
        return days.day(0).isoformat(), None
    return episode.since, episode.until


def outweighs(context: Context, cooling: float, allowed: float) -> bool:
    """True where a diverter leak leaves the cylinder's own cooling within what is allowed.

    cooling, allowed : [K/h]. What charges lack counts only where the cooling after them can't tell: heat that
    goes past a cylinder does not cool it.
    """
    leak, charge = context.once(leak_to_heating), context.once(leak_in_charges)
    if leak is not None:
        return leak.is_sure and cooling - leak.rate <= allowed
    return charge is not None and charge.is_sure and charge.share >= context.limit("charge_leak_watch")


RULES = (
    Rule(
        "diverter_passing",
        diverter_passing,
        (
            Need(("cylinder_temperature",), 15.0, 7),
            Need(("operating_mode", "diverter_to_hot_water", "heat_pump_electricity"), 15.0),
        ),
        frozenset({"cylinder_temperature"}),
    ),
)
