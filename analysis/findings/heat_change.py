"""Did the efficiency step down or begin to slide, conditions being equal?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.errors import NotAssessed
from analysis.figures.change import FEWEST_EACH_SIDE, Change, find_change
from analysis.findings.context import Context, Need, Rule
from analysis.findings.model import Evidence, Finding, Severity
from analysis.findings.operation_common import heating_year, refrigerant_caution
from analysis.findings.telling import Flags, Floats, column, date_text

_LEAST_KWH = 4.0  # heat of a day below which its efficiency is starts and meter steps
_MOST_WEIGHT_KWH = 40.0
_FEWEST_DAYS = 3 * FEWEST_EACH_SIDE


@dataclass(frozen=True)
class _Series:
    """Daily efficiency as a logarithm, against the rating's where it can be told, with its conditions."""

    value: Floats
    conditions: Floats
    weight: Floats
    rows: Floats
    against: str


def efficiency_fell(context: Context) -> Finding | None:
    series = _series(context)
    day = series.rows.astype(np.int64)
    change = find_change(series.value, series.conditions, series.weight, day)
    if change is None:
        raise NotAssessed(f"needs at least {_FEWEST_DAYS} days of heating to compare")
    until = None
    if change.is_sure and change.size > 0.0:
        # It got better: was it worse for a while before?
        before = slice(0, change.at)
        until = date_text(context.days, int(day[max(change.at - 1, 0)]))
        earlier = find_change(
            series.value[before], series.conditions[before], series.weight[before], day[before]
        )
        if earlier is None:
            return None
        change = earlier
    limit = context.limit
    drop = 1.0 - float(np.exp(change.size))
    if not change.is_sure or drop < limit("efficiency_drop_note"):
        return None
    watch = limit("efficiency_drop_watch")
    certain = drop - 1.645 * change.error > 0.5 * watch
    severity: Severity = "note"
    if drop >= watch and certain and until is None:
        severity = "act" if drop >= limit("efficiency_drop_act") else "watch"
    return _told(context, series, change, drop, severity, until)


def _told(
    context: Context, series: _Series, change: Change, drop: float, severity: Severity, until: str | None
) -> Finding:
    days, day = context.days, series.rows.astype(np.int64)
    since = date_text(days, int(day[change.at]))
    first, last = (date_text(days, int(day[i])) for i in (change.low, change.high))
    how = "stepped down" if change.kind == "step" else f"slid down over about {change.days} days"
    used = float(np.nansum(column(days, "e_heat_pump")[day[change.at] :]))
    span = max(len(days) - int(day[change.at]), 1)
    kwh = drop * used * heating_year(context) * len(days) / span if until is None else 0.0
    confidence = float(np.clip(1.0 - np.exp(-change.score / 20.0), 0.5, 0.99))
    return Finding(
        "efficiency_fell", severity, since, confidence,
        f"Efficiency at like conditions {how} by {drop:.0%} from {since}.",
        evidence=(
            Evidence("drop of efficiency at like conditions", round(drop, 3), "-", context.limit("efficiency_drop_watch")),
            Evidence("its standard uncertainty", round(change.error, 3), "-"),
            Evidence("began between", f"{first} and {last}"),
            Evidence("days before and after", f"{change.at} and {len(series.value) - change.at}"),
            Evidence("compared", series.against),
        ),
        next_step=(
            f"Ask what was changed or happened around {since} (settings, works, storm, building dust), and whether a meter was touched. "
            + ("A step is a part, a setting or a meter. " if change.kind == "step" else "A slide is dirt or a slow loss. ")
            + "Then visit: coil and fan, strainer and flow, defrosts; have the refrigerant circuit checked by a licensed person."
        ),
        caution=refrigerant_caution(context.site), until=until,
        home="" if severity == "note" else (
            f"Since about {since} the heat pump has needed more electricity for the same heat. It keeps working; your installer will look for the cause."
        ),
        cost_kwh=kwh, cost_money=context.money(kwh), visit="drive" if severity != "note" else "none",
        bring=("coil cleaning kit", "clamp thermometer", "power meter") if severity != "note" else (),
    )  # fmt: skip


def _series(context: Context) -> _Series:
    days = context.days
    water = column(days, "xq_hot_water")
    heat = np.nan_to_num(column(days, "xq_space")) + np.nan_to_num(water)
    want = np.nan_to_num(column(days, "x_space")) + np.nan_to_num(column(days, "x_hot_water"))
    used = np.nan_to_num(column(days, "xe_space")) + np.nan_to_num(column(days, "xe_hot_water"))
    against = "with the rating at each minute's temperatures, load, frost and hot water set equal"
    good = (heat >= _LEAST_KWH) & (want > 0.2) & (used > 0.2)
    if good.sum() < _FEWEST_DAYS:
        # Without a flow temperature: the plain ratio of heat and electricity, weather and load set equal.
        heat, used = (np.nan_to_num(column(days, c)) for c in ("p_heat", "p_heat_pump"))
        want, water = heat, np.zeros(len(days))
        against = "heat over electricity, weather and load set equal"
        good = (heat >= _LEAST_KWH) & (used > 0.2)
    good &= np.isfinite(column(days, "outdoor")) & _whole(context)
    if good.sum() < _FEWEST_DAYS:
        raise NotAssessed(
            f"needs at least {_FEWEST_DAYS} days with heat and electricity, has {int(good.sum())}"
        )
    value = np.log(want[good] / used[good])
    weight = np.minimum(heat[good], _MOST_WEIGHT_KWH)
    conditions = _conditions(context, heat, water)[good]
    return _Series(value, conditions, weight, np.flatnonzero(good).astype(np.float64), against)


def _whole(context: Context) -> Flags:
    """Days whose heat and electricity are both known nearly throughout."""
    return column(context.days, "n_pair") >= 0.9 * column(context.days, "n_minutes")


def _conditions(context: Context, heat: Floats, water: Floats) -> Floats:
    """What moves a sound unit's efficiency from day to day, besides its temperatures."""
    days = context.days
    outdoor = column(days, "outdoor")
    load = heat / 24.0
    share = column(days, "load_share")
    parts = [outdoor, outdoor**2, load, load**2, np.nan_to_num(water) / np.maximum(heat, 1e-9)]
    parts.append(
        np.where(np.isfinite(share), share, np.nanmedian(share) if np.isfinite(share).any() else 0.0)
    )
    parts.append(np.nan_to_num(column(days, "n_frosting")) / 1440.0)
    return np.nan_to_num(np.column_stack(parts))


RULES = (
    Rule(
        "efficiency_fell", efficiency_fell,
        (
            Need(("heat_output", "space_heat", "flow_rate"), 1440.0, _FEWEST_DAYS),
            Need(("heat_pump_electricity",), 1440.0),
            Need(("outdoor_temperature",), 180.0),
        ),
        frozenset({"heat_output", "space_heat", "hot_water_heat", "heat_pump_electricity", "outdoor_temperature"}),
    ),
)  # fmt: skip
