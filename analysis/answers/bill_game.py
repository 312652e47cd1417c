"""The split of a bill: electricity as a function of its causes, and each cause's Shapley share of the change.

    electricity = (need(weather, rooms, house) - heaters) x performance(weather, efficiency) + heaters
                + (drawn + standing loss - immersion) x performance(weather, efficiency) + immersion
                + standby and pumps + rest - what was not read

The rest of each side is what its meter shows beyond this, so that the shares add up to the metered
difference exactly. The
money is electricity at the mean price paid, and the standing charge.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.answers.bill_side import (
    DRAWS,
    Daily,
    House,
    KnownWeather,
    UnitEfficiency,
    around,
)
from fieldfare.analysis.answers.shapley import shapley

Floats = NDArray[np.float64]

_STEP_KWH = 0.01  # a day: steps of registers and of the minutes between two uses
PLAYERS = (
    "weather",
    "rooms",
    "house",
    "hot_water",
    "cylinder_loss",
    "efficiency",
    "direct_heat",
    "standby",
    "meter",
    "rest",
)


@dataclass(frozen=True)
class Levels:
    """One side, a day's mean: energies float64 (d,) [kWh/d].

    weather : of all its days. daily : its whole days. later : 0 or 1, which side of a performance's step
    it is on
    full : what all days would have used. unread : of it, what no meter saw
    """

    weather: KnownWeather
    daily: Daily
    house: House
    room: Floats
    space: UnitEfficiency | None
    water: UnitEfficiency | None
    later: int
    drawn: Floats
    loss: Floats
    backup: Floats
    immersion: Floats
    standby: Floats
    full: Floats | None
    unread: Floats

    @classmethod
    def of(
        cls,
        daily: Daily,
        house: House,
        room: Floats,
        space: UnitEfficiency | None,
        water: UnitEfficiency | None,
        later: int,
        loss: Floats | None,
        full: Floats,
        unread: Floats,
        doubt: float,
        rng: np.random.Generator,
    ) -> Levels:
        """Levels of measured days. loss : standing loss [kWh/d], None where it is not separable from draws
        doubt : relative standard uncertainty of what a use took, as uses are separated by the minute
        """
        heat = float(daily.water.mean())
        lost = np.zeros(DRAWS) if loss is None else np.minimum(loss, heat)
        standby, backup, immersion = (
            float(getattr(daily, n).mean()) for n in ("standby", "backup", "immersion")
        )
        return cls(
            daily.weather,
            daily,
            house,
            room,
            space,
            water,
            later,
            around(heat, doubt * heat, rng) - lost,
            lost,
            around(backup, doubt * backup + _STEP_KWH, rng),
            around(immersion, doubt * immersion + _STEP_KWH, rng),
            around(standby, doubt * standby + _STEP_KWH, rng),
            full,
            unread,
        )


@dataclass(frozen=True)
class Prices:
    """Mean prices [money/kWh] of the electricity of before and now, each at the tariff of then and now;
    standing charges
    [money/d]."""

    before_then: float
    before_now: float
    now_then: float
    now_now: float
    standing_then: float
    standing_now: float

    @property
    def by_hour(self) -> bool:
        return (self.before_then, self.before_now) != (self.now_then, self.now_now)


def shares(
    levels: tuple[Levels, Levels],
    days: int,
    prices: Prices | None,
    heat_scale: Floats,
    unseen_weather: Floats,
) -> tuple[dict[str, Floats], dict[str, Floats] | None, dict[str, Any]]:
    """Each cause's share of the change from the first side to the second over so many days.

    heat_scale : float64 (d,), what the heat meter may show of the true heat; heaters beside it are metered
    by themselves
    unseen_weather : float64 (d,), what wind and sky add to the need of one span against another
    Returns kWh by part and money by part (None without prices), float64 (d,) each, and the totals of both
    sides.
    """
    after = levels[1]
    energy = _energy(levels, heat_scale, unseen_weather) * days
    n = len(PLAYERS)
    kwh = _without_zero_parts(dict(zip(PLAYERS, shapley(energy, n), strict=True)))
    before, now = energy[(0,) * n][0], energy[(1,) * n][0]
    totals: dict[str, Any] = {
        "before": {"kwh": float(before), "money": None, "price": None},
        "now": {
            "kwh": float(now),
            "money": None,
            "price": None,
            "full_kwh": float(after.full[0] * days) if after.full is not None else None,
        },
        "difference": {"kwh": float(now - before), "money": None},
    }
    if prices is None:
        return kwh, None, totals
    price = np.array([[prices.before_then, prices.before_now], [prices.now_then, prices.now_now]])
    paid = (
        energy[..., None, None, :] * price[..., None]
    )  # axes of timing and tariff after those of the energy
    money = dict(zip((*PLAYERS, "timing", "tariff"), shapley(paid, n + 2), strict=True))
    if not prices.by_hour:
        money.pop("timing")
    money = _without_zero_parts(money, keep=("tariff", *kwh))
    money["standing_charge"] = np.full(DRAWS, (prices.standing_now - prices.standing_then) * days)
    for name, used, mean, standing in (
        ("before", before, prices.before_then, prices.standing_then),
        ("now", now, prices.now_now, prices.standing_now),
    ):
        totals[name] |= {"money": float(used * mean + standing * days), "price": mean}
    totals["difference"]["money"] = totals["now"]["money"] - totals["before"]["money"]
    return kwh, money, totals


def _without_zero_parts(
    found: Mapping[str, Floats], keep: tuple[str, ...] = ("weather", "rest")
) -> dict[str, Floats]:
    """Omit parts that are exactly zero, such as the house if both sides are the same home."""
    return {code: v for code, v in found.items() if code in keep or float(np.abs(v).max()) > 1e-9}


def _energy(levels: tuple[Levels, Levels], scale: Floats, unseen: Floats) -> Floats:
    """Electricity a day for every combination of before and now: float64 (2, ..., 2, d), an axis for each
    of PLAYERS."""
    need = {
        (w, r, h): (
            levels[h].house.need(levels[w].weather, levels[r].room).mean(axis=1)
            / scale
            * (unseen if w else 1.0)
        )
        for w, r, h in product((0, 1), repeat=3)
    }
    space = {(w, e): _performance(levels, w, e, "space") * scale for w, e in product((0, 1), repeat=2)}
    water = {(w, e): _performance(levels, w, e, "water") * scale for w, e in product((0, 1), repeat=2)}
    out = np.empty((2,) * len(PLAYERS) + (DRAWS,))
    beyond = [_rest(levels, i, need, space, water, scale) for i in (0, 1)]
    for at in product((0, 1), repeat=len(PLAYERS)):
        w, r, h, d, loss, e, direct, s, m, u = at
        out[at] = _model(levels, need[w, r, h], space[w, e], water[w, e], d, loss, direct, scale)
        out[at] += levels[s].standby - levels[m].unread + beyond[u]
    return out


def _rest(
    levels: tuple[Levels, Levels],
    i: int,
    need: Mapping[tuple[int, int, int], Floats],
    space: Mapping[tuple[int, int], Floats],
    water: Mapping[tuple[int, int], Floats],
    scale: Floats,
) -> Floats:
    """Metered minus modelled electricity of a side [kWh/d]; 0 if the side is not a measurement."""
    full = levels[i].full
    if full is None:
        return np.zeros(DRAWS)
    return full - _model(levels, need[i, i, i], space[i, i], water[i, i], i, i, i, scale) - levels[i].standby


def _model(
    levels: tuple[Levels, Levels],
    need: Floats,
    space: Floats,
    water: Floats,
    drawn: int,
    loss: int,
    direct: int,
    scale: Floats,
) -> Floats:
    backup, immersion = levels[direct].backup, levels[direct].immersion
    cylinder = levels[drawn].drawn + levels[loss].loss
    return np.asarray((need - backup) * space + backup + (cylinder / scale - immersion) * water + immersion)


def _performance(levels: tuple[Levels, Levels], w: int, e: int, use: str) -> Floats:
    """Electricity a unit of heat in one side's weather with the other's or the same efficiency."""
    performance: UnitEfficiency | None = getattr(levels[e], use)
    if performance is None:
        return np.ones(DRAWS)
    weather = levels[w].weather
    weight = np.ones(len(weather.outdoor))
    if use == "space":
        weight = levels[1].house.need(weather, levels[1].room)[0] + 1e-9
    away = weather.outdoor - performance.middle
    moments = float(np.average(away, weights=weight)), float(np.average(away**2, weights=weight))
    return performance.at(moments, levels[e].later)
