"""Defrosts: more than the weather explains, and those that had no frost to melt."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.errors import NotAssessed
from analysis.findings.context import Context, Need, Rule
from analysis.findings.model import Cause, Evidence, Finding, Severity
from analysis.findings.operation_common import (
    Flags,
    Floats,
    heating_year,
    inside,
    lowered,
    middle,
    ranked,
    refrigerant_caution,
)
from analysis.findings.spells import last_spell
from analysis.findings.telling import column, sure
from analysis.physics.air import frost_rate_index

_EXTREME_COIL_K = 10.0
_LOCK_MIN = 3.0
# Where nothing is known about the unit's efficiency: as rated.
_AS_RATED = 1.0


def excessive_defrost(context: Context) -> Finding | None:
    defrosts = _seen(context)
    limit, days = context.limit, context.days
    frosty = defrosts[defrosts["frosting"].astype(bool)]
    if len(frosty) < limit("defrost_count_watch"):
        return None
    rated = _rated(context)
    often = (frosty["since_last"] < limit("defrost_interval_minutes")).to_numpy()
    little = (frosty["frost_kg"] * 1000.0 / rated < limit("defrost_frost_g_per_kw")).to_numpy()
    power = (frosty["heat_taken"] / frosty["minutes"] * 60.0 / rated).to_numpy(dtype=np.float64)
    slow = (frosty["minutes"] > limit("defrost_long_minutes")).to_numpy() & (
        power < limit("defrost_heat_share")
    )
    per_day = (
        pd.DataFrame({"day": frosty["day"], "bad": (often & little) | slow})
        .groupby("day")["bad"]
        .agg(["mean", "size"])
    )
    per_day = per_day.reindex(days["day"])
    judged = (per_day["size"].fillna(0.0) >= 2).to_numpy()
    so = judged & (per_day["mean"].fillna(0.0) >= 0.5).to_numpy()
    spell = last_spell(days["day"], so, judged, hold_days=5, gone_days=7)
    if spell is None:
        return None
    here = frosty[frosty["day"].isin(days["day"][inside(days, spell)])]
    interval = middle(here["since_last"].to_numpy(dtype=np.float64))
    frost = middle((here["frost_kg"] * 1000.0 / rated).to_numpy(dtype=np.float64))
    length, drawn = middle(here["minutes"].to_numpy(dtype=np.float64)), middle(_drawn(here, rated))
    sooner = min(
        limit("defrost_interval_minutes") / max(interval, 1.0),
        limit("defrost_frost_g_per_kw") / max(frost, 1.0),
    )
    longer = length / limit("defrost_long_minutes") if drawn < limit("defrost_heat_share") else 0.0
    over = max(sooner, longer)
    if not over > 1.0 or spell.share < 0.5:
        return None
    severity: Severity = "act" if over >= 1.6 else "watch"
    enough = len(here) >= limit("defrost_count_watch")
    severity = lowered(severity, spell, 5.0) if enough else "note"
    causes = _causes(context, here, slow=longer > 1.0, sooner=sooner)
    kwh = _cost(context, here, frost if sooner > 1.0 else limit("defrost_frost_g_per_kw"), slow=longer > 1.0)
    headline = (
        f"Each defrost takes {length:.0f} minutes and draws little heat to melt with."
        if longer > sooner
        else f"It defrosts every {interval:.0f} minutes of running, on less frost than a clean coil carries."
    )
    return Finding(
        "excessive_defrost", severity, spell.since, sure(over, spell.days * spell.share, spell.share), headline,
        evidence=(
            Evidence("running time between defrosts in frosting air", round(interval, 1), "min", limit("defrost_interval_minutes")),
            Evidence("most frost that can settle between two, a kilowatt rated", round(frost), "g/kW", limit("defrost_frost_g_per_kw")),
            Evidence("length of a defrost", round(length, 1), "min", limit("defrost_long_minutes")),
            Evidence("heat drawn from the water meanwhile, over rated output", round(drawn, 2), "-", limit("defrost_heat_share")),
            Evidence("defrosts seen in frosting air", len(here), ""),
        ),
        causes=causes,
        next_step=_next_step(causes[0].cause if causes else ""),
        caution=refrigerant_caution(context.site),
        home="" if severity == "note" else (
            "Your heat pump melts ice off its outdoor unit more often or longer than the weather explains. Please keep leaves, snow and "
            "covers a metre away from it; do not chip at the ice. Your installer will look at it."
        ),
        until=spell.until, cost_kwh=kwh, cost_money=context.money(kwh), visit="drive",
        bring=("coil brush and fin comb", "clamp thermometer", "hose"),
    )  # fmt: skip


def defrost_without_frost(context: Context) -> Finding | None:
    defrosts = _seen(context)
    limit, days = context.limit, context.days
    dry = _dry(context, defrosts)
    known = defrosts["frost_known"].to_numpy(dtype=bool)
    if not known.any() and len(defrosts):
        raise NotAssessed("needs outdoor_temperature")
    count = (
        pd.Series(1.0, index=defrosts["day"][dry])
        .groupby(level=0)
        .sum()
        .reindex(days["day"])
        .fillna(0.0)
        .to_numpy()
    )
    so = count >= 1.0
    spell = _spell_of_weather(context, so)
    if spell is None:
        return None
    chosen = defrosts[dry & defrosts["day"].isin(days["day"][inside(days, spell)]).to_numpy()]
    number, on = len(chosen), int((so & inside(days, spell)).sum())
    share = number / max(int(defrosts["day"].isin(days["day"][inside(days, spell)]).sum()), 1)
    enough = number >= limit("dry_defrosts") and on >= limit("dry_defrost_days")
    severity: Severity = "note" if not enough else "act" if number >= limit("dry_defrosts_act") else "watch"
    severity = "note" if spell.until is not None else severity
    energy = middle(_energy(defrosts, _rated(context)))
    kwh = float(chosen["electricity"].sum() + chosen["heat_taken"].sum() / 3.0) * heating_year(context)
    warmest = chosen["outdoor"].max()
    return Finding(
        "defrost_without_frost", severity, spell.since, sure(number / limit("dry_defrosts"), on * 2.0),
        f"{number} defrosts came in air that could not frost a coil, up to {warmest:.0f} °C.",
        evidence=(
            Evidence("defrosts without frost", number, "defrosts", limit("dry_defrosts")),
            Evidence("days with one", on, "days", limit("dry_defrost_days")),
            Evidence("their share of all", round(share, 3), "-"),
            Evidence("heat and electricity of a defrost, a kilowatt rated", round(energy, 1), "Wh/kW", limit("defrost_coil_wh_per_kw")),
        ),
        causes=_dry_causes(context, energy),
        next_step=(
            "Read the coil sensor against a clamp thermometer on the same pipe and against the air after a long rest; if it agrees, have the "
            "refrigerant circuit checked."
        ),
        caution=refrigerant_caution(context.site),
        home="" if severity == "note" else (
            "Your heat pump melts ice that is not there, so it stops heating for some minutes now and then. Rooms stay warm; your "
            "installer will check a sensor and the refrigerant."
        ),
        until=spell.until, cost_kwh=kwh, cost_money=context.money(kwh), visit="drive", bring=("clamp thermometer", "coil sensor"),
    )  # fmt: skip


def _seen(context: Context) -> pd.DataFrame:
    if context.site.heat_pump.source != "air":
        raise NotAssessed("the source is not air")
    if context.figures.defrost.reason:
        raise NotAssessed(context.figures.defrost.reason)
    return context.facts.defrosts


def _rated(context: Context) -> float:
    return context.site.heat_pump.rated_output_kw or 6.0


def _drawn(defrosts: pd.DataFrame, rated: float) -> Floats:
    """Heat power drawn from the water over rated output [-]."""
    return (defrosts["heat_taken"] / defrosts["minutes"] * 60.0 / rated).to_numpy(dtype=np.float64)


def _energy(defrosts: pd.DataFrame, rated: float) -> Floats:
    """What a defrost had to melt and warm with [Wh a kilowatt rated]."""
    return ((defrosts["heat_taken"] + defrosts["electricity"]) * 1000.0 / rated).to_numpy(dtype=np.float64)


def _dry(context: Context, defrosts: pd.DataFrame) -> Flags:
    """Defrosts with nothing to melt: warm air and a coil that by its load stayed above freezing, or air too dry.

    The coil's load counts since the last defrost; without one within a day the temperature alone decides, two kelvin on.
    """
    limit = context.limit
    outdoor = defrosts["outdoor"].to_numpy(dtype=np.float64)
    humidity = defrosts["humidity"].to_numpy(dtype=np.float64)
    frost = (defrosts["frost_kg"] * 1000.0 / _rated(context)).to_numpy(dtype=np.float64)
    none = np.nan_to_num(frost, nan=np.inf) < limit("dry_frost_g_per_kw")
    warm = (outdoor > limit("frost_free_above_c")) & none
    warm |= (outdoor > limit("frost_free_above_c") + 2.0) & ~np.isfinite(frost)
    index = np.asarray(
        frost_rate_index(
            outdoor,
            np.clip(np.nan_to_num(humidity, nan=100.0), 1.0, 100.0),
            coil_difference_k=_EXTREME_COIL_K,
        )
    )
    arid = np.isfinite(humidity) & np.isfinite(outdoor) & (index < limit("dry_frost_index")) & none
    return np.asarray((warm | arid) & defrosts["frost_known"].to_numpy(dtype=bool), dtype=np.bool_)


def _spell_of_weather(context: Context, so: NDArray[np.bool_]):  # type: ignore[no-untyped-def]
    """The newest stretch, judged on days as mild as those on which it was so: a frosty month does not end it."""
    days = context.days
    outdoor = column(days, "outdoor")
    heated = column(days, "n_heating") >= 60
    if so.any() and np.isfinite(outdoor[so]).any():
        low, high = np.nanquantile(outdoor[so], (0.1, 0.9))
        heated &= (np.nan_to_num(outdoor, nan=low) >= low) & (np.nan_to_num(outdoor, nan=high) <= high)
    return last_spell(days["day"], so, heated | so, hold_days=2, gone_days=14)


def _efficiency(context: Context) -> float:
    """Steady heating's performance over the unit's rating [-], defrosts and starts left out; as rated where unknown."""
    days = context.days
    real, rated = float(np.nansum(column(days, "xe_steady"))), float(np.nansum(column(days, "x_steady")))
    return rated / real if real > 5.0 and rated > 0 else _AS_RATED


def _top_output(context: Context) -> float:
    """Best whole hour's output over the rating [-]; nan where the unit was never asked for it."""
    top = column(context.days, "load_share_top")
    return float(np.nanquantile(top, 0.98)) if np.isfinite(top).sum() >= 20 else float("nan")


def _causes(context: Context, here: pd.DataFrame, *, slow: bool, sooner: float) -> tuple[Cause, ...]:
    """Slow melting lacks heat; a unit that has also lost output and efficiency lacks refrigerant; else the air."""
    share, top = _efficiency(context), _top_output(context)
    lost = (1.05 - share) / 0.05
    if np.isfinite(top):
        lost += 0.6 * float(np.clip((0.88 - top) / 0.1, -1.0, 2.0))
    gaps = here["since_last"].to_numpy(dtype=np.float64)
    gaps = gaps[np.isfinite(gaps)]
    lock = float(np.mean(gaps <= np.quantile(gaps, 0.1) + _LOCK_MIN)) if len(gaps) >= 20 else 0.0
    lost += 2.5 * (lock - 0.45)
    refrigerant = 1.0 / (1.0 + float(np.exp(-1.2 * lost)))
    words = f"steady heating reaches {share:.0%} of the rated performance"
    if np.isfinite(top):
        words += f" and its best hour {top:.0%} of the rated output"
    if lock > 0.5:
        words += f"; {lock:.0%} of the defrosts come as soon as the unit's own lock ends, however little frost there is"
    if slow:
        minutes = middle(here["minutes"].to_numpy(dtype=np.float64))
        return ranked(
            {
                "insufficient_defrost_heat": (
                    3.0,
                    f"a defrost takes {minutes:.0f} minutes and draws only {middle(_drawn(here, _rated(context))):.0%} of the rated output out of the water",
                ),
                "coil_airflow": (
                    0.3 if sooner <= 1.0 else 1.0,
                    "ice that is left behind blocks the air as well",
                ),
                "low_refrigerant_symptom": (0.3 * refrigerant, words),
            }
        )
    return ranked(
        {"low_refrigerant_symptom": (refrigerant, words), "coil_airflow": (1.0 - refrigerant, words)}
    )


def _dry_causes(context: Context, energy: float) -> tuple[Cause, ...]:
    """A wrong sensor ends a defrost almost at once and costs no efficiency; a starved coil has ice of its own making."""
    share, limit = _efficiency(context), context.limit("defrost_coil_wh_per_kw")
    sensor = float(np.clip((limit - energy) / 4.0, -2.5, 2.5)) if np.isfinite(energy) else 0.0
    sensor += float(np.clip((share - 1.02) / 0.06, -2.0, 2.0))
    chance = 1.0 / (1.0 + float(np.exp(-1.3 * sensor)))
    melted = f"a defrost uses {energy:.0f} Wh a kilowatt rated, " + (
        "hardly more than the bare coil takes" if energy < limit else "as if there were ice to melt"
    )
    words = f"{melted}; steady heating reaches {share:.0%} of the rated performance"
    return ranked({"sensor_fault": (chance, words), "low_refrigerant_symptom": (1.0 - chance, words)})


def _cost(context: Context, here: pd.DataFrame, frost: float, *, slow: bool) -> float:
    """A year's electricity of the defrosts beyond those the frost asks for; a third of the heat drawn is electricity."""
    each = here["electricity"].sum() + here["heat_taken"].sum() / 3.0
    spare = max(1.0 - frost / context.limit("defrost_frost_g_per_kw"), 0.0)
    if slow:
        spare = max(spare, 0.3)
    return float(each) * spare * heating_year(context)


def _next_step(cause: str) -> str:
    return {
        "coil_airflow": "Ask for a photo of the outdoor unit; clear leaves, snow and whatever stands before it, clean the fins and see that the fan turns freely at full speed.",
        "low_refrigerant_symptom": (
            "Look for oil traces and frost that begins at the inlet only; compare output and suction superheat with the maker's table; leak search "
            "and charging by a licensed person."
        ),
        "insufficient_defrost_heat": (
            "See that all zones and a least water volume stay open during a defrost, that the flow is nominal and the water above 20 °C; then the "
            "reversing valve and the defrost-end sensor."
        ),
    }.get(cause, "Watch one defrost on site from start to end.")  # fmt: skip


_NEEDS = (
    Need(("outdoor_temperature",), 60.0),
    Need(("defrost_active", "operating_mode", "heat_output", "flow_rate", "flow_temperature"), 2.0),
)
RULES: tuple[Rule, ...] = (
    Rule("excessive_defrost", excessive_defrost, needs=_NEEDS, reads=frozenset({"outdoor_temperature"})),
    Rule(
        "defrost_without_frost", defrost_without_frost, needs=_NEEDS, reads=frozenset({"outdoor_temperature"})
    ),
)
