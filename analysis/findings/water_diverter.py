"""Does heat leak between hot water and heating?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.errors import NotAssessed
from analysis.facts.table import first_known, of_each_day
from analysis.figures.estimate import robust_fit
from analysis.findings.context import Context, Need, Rule
from analysis.findings.model import Evidence, Finding, Severity
from analysis.findings.operation_common import graded, water_caution
from analysis.findings.spells import last_spell
from analysis.findings.telling import Floats
from analysis.findings.water_common import HOT_WATER_CAUTION, needs_hot_water, passed
from analysis.physics.hot_water import WH_PER_LITRE_KELVIN

_FEWEST = 12
_SURE = 4.0  # standard errors: many plants, each looked at once, leave no room for a chance of one in twenty


@dataclass(frozen=True)
class Leak:
    """What a full cylinder loses to the heating water [K/h], its error, of how much cooling in all, told from so many
    charges; `how` in words"""

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

    A cylinder loses to the room whatever the heating does; past a leaking diverter it loses to the water that passes its
    coil, the more the cooler that water is, and only while it flows. Told after each charge, over the charges of the
    period: from how the cooling follows the difference of the two, or from cooling with the heating on against off.
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
        fit = robust_fit(np.column_stack([over[rows], np.ones(rows.sum())]), fall[rows])
        slope, error = fit.combination(np.array([1.0, 0.0]))
        size = float(np.mean(np.abs(over[rows])))
        how = "it cools the faster the cooler the heating water is"
        rate, cooling = min(slope * size, _calm(fall[rows])), float(np.median(fall[rows]))
        if cooling < 0.0 and not _use_told(context):
            return None  # a cylinder that warms slowly is what a weak charge looks like where nothing names the use
        return Leak(rate, error * size, cooling, int(rows.sum()), how)
    if on.sum() >= _FEWEST and off.sum() >= _FEWEST:
        busy, rest = fall[on], fall[off]
        difference = min(float(np.median(busy) - np.median(rest)), _calm(busy))
        error = 1.2533 * float(
            np.hypot(_spread(busy) / np.sqrt(len(busy)), _spread(rest) / np.sqrt(len(rest)))
        )
        how = "it cools faster with the heating on than off"
        return Leak(difference, max(error, 0.02), float(np.median(busy)), int(on.sum()), how)
    return None


def _use_told(context: Context) -> bool:
    return any(
        context.site.measures(q) for q in ("operating_mode", "diverter_to_hot_water", "hot_water_heat")
    )


def _calm(fall: Floats) -> float:
    """Cooling after the calmest quarter of the charges [K/h]: a leak is there after each of them, a draw is not."""
    return float(max(np.quantile(fall, 0.25), -np.quantile(fall, 0.75)))


def _spread(values: Floats) -> float:
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def diverter_passing(context: Context) -> Finding | None:
    needs_hot_water(context)
    leak = context.once(leak_to_heating)
    if leak is None:
        raise NotAssessed(f"needs cylinder_temperature and at least {_FEWEST} charges followed by heating")
    watch, act = context.limit("diverter_leak_k_per_h"), context.limit("diverter_leak_act")
    if not leak.is_sure or leak.rate < 0.5 * watch:
        return None
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
        "diverter_passing", severity, since, float(np.clip(1.0 - np.exp(-leak.rate / max(2.0 * leak.error, 0.4 * watch)), 0.5, 0.99)),
        f"While the heating runs the full cylinder {way} {amount}: heat passes the diverter.",
        evidence=(
            passed(context, "cylinder's cooling that follows the heating water", round(leak.rate, 2), "K/h", "diverter_leak_k_per_h"),
            Evidence("its standard uncertainty", round(leak.error, 2), "K/h"),
            Evidence("cooling of the full cylinder while heating", round(leak.cooling, 2), "K/h"),
            Evidence("charges compared", leak.charges, "charges"),
            Evidence("told from", leak.how),
        ),
        until=until,
        next_step=(
            "Visit: feel or measure the pipe to the coil while the heating runs; it should be at room temperature. Check the diverter's end position, its actuator and seat, "
            "and dirt; where there are two pumps, the check valves."
        ),
        caution=f"{HOT_WATER_CAUTION} {water_caution(context.site)}",
        home="" if severity == "note" else (
            "Some heat goes the wrong way between heating and hot water, so the hot water cools and is made again too often. You still have both; your installer will look at the valve."
        ),
        visit="drive" if severity != "note" else "none",
        bring=("diverter actuator and cartridge", "clamp thermometer") if severity != "note" else (),
    )  # fmt: skip


def _since(context: Context, leak: Leak) -> tuple[str, str | None]:
    """The newest stretch of days on which the full cylinder fell by more than half of the leak."""
    days, reheats = context.days, context.facts.reheats
    mine = reheats.where((reheats.floats("heat_after") >= 0.5) & np.isfinite(reheats.floats("fall_after")))
    daily = np.abs(of_each_day(days["day"], mine["day"], mine["fall_after"], "median"))
    so = first_known(daily, 0.0) > 0.5 * leak.rate
    spell = last_spell(days["day"], so, np.isfinite(daily), hold_days=3, gone_days=14)
    if spell is None:
        return days.day(0).isoformat(), None
    return spell.since, spell.until


def outweighs(context: Context, cooling: float) -> bool:
    """True where a leak past the diverter is a good part of a cooling [K/h] that would else be laid to the cylinder."""
    leak = context.once(leak_to_heating)
    return leak is not None and leak.is_sure and leak.rate > 0.4 * cooling


RULES = (
    Rule(
        "diverter_passing", diverter_passing,
        (Need(("cylinder_temperature",), 15.0, 7), Need(("operating_mode", "diverter_to_hot_water", "heat_pump_electricity"), 15.0)),
        frozenset({"cylinder_temperature"}),
    ),
)  # fmt: skip
