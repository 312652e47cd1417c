"""One side of a bill comparison: weather, rooms, hot water and their electricity."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.expectation.promise import COP_PER_K, COP_PER_K_SD
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.energy_signature import NotIdentified, change_point
from fieldfare.analysis.figures.estimate import Fit, robust_fit
from fieldfare.analysis.figures.heat_loss import daily_sun
from fieldfare.analysis.figures.hot_water import hot_water_figures
from fieldfare.analysis.physics.hot_water import WH_PER_LITRE_KELVIN
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Metering = Literal["heat", "use", "total"]

DRAWS = 300
"""Draws of what is uncertain; 300 place the ends of a 95 % interval to about a tenth of its width."""
_MOST_UNSPLIT = 0.05  # share of electricity without a known use from which uses are not separated
_LEAST_HEAT_KWH = {"space": 2.0, "water": 0.5}  # of a day, below which its performance is meter steps
_LIKE_DAYS = 5  # read days that stand for one that was not read
_LONG_REST_MIN = 180.0  # of a day, from which its rests show the standing draw
_FEWEST_STANDING, _DAY_HOURS = 5, 17.0  # days with rates of cooling; hours of a day in which people are about
_RATIO_SD = 0.1  # relative spread of a performance without days that tell more (common practice)
_FEWEST_FOR_BEND = 24  # days from which a bend is fitted too (six a coefficient, common practice)


@dataclass(frozen=True)
class KnownWeather:
    """Every day of a span whose weather is known, read or not: outdoor [°C], sun [W/m2], float64 (n,)"""

    outdoor: Floats
    sun: Floats


@dataclass(frozen=True)
class Daily:
    """Whole days of one side, float64 (n,) each. Temperatures [°C], sun [W/m2], energies [kWh].

    space, water : heat into rooms and into the cylinder, from heaters too; electricity where no heat is
    metered
    unit_space, unit_water : the heat pump's electricity for them, without pumps and heaters
    backup, immersion : direct electric heat. standby : pumps, and the unit at rest. total : all electricity
    but for cooling
    warming : today's outdoor temperature less yesterday's, 0 where that is not known [K]
    weather : of all days of the span. full : a day's mean electricity of all of them, days that were not
    read as like ones
    """

    outdoor: Floats
    sun: Floats
    room: Floats
    space: Floats
    water: Floats
    unit_space: Floats
    unit_water: Floats
    backup: Floats
    immersion: Floats
    standby: Floats
    total: Floats
    warming: Floats
    weather: KnownWeather
    full: float

    def __len__(self) -> int:
        return len(self.outdoor)


@dataclass(frozen=True)
class House:
    """Heat that the rooms need, float64 (d,) each, a value a draw: per_k [kWh/d K], free [kWh/d], sun
    [kWh/d per W/m2],
    base [kWh/d], what is used without heating. has_room : the line is over the room's temperature."""

    per_k: Floats
    free: Floats
    sun: Floats
    base: Floats
    has_room: bool

    def need(self, weather: KnownWeather, room: Floats) -> Floats:
        """Heat a day by the line: float64 (d, n). room : float64 (d,) [°C]"""
        warm = room[:, None] if self.has_room else 0.0
        need = (
            self.per_k[:, None] * (warm - weather.outdoor)
            - self.free[:, None]
            - self.sun[:, None] * weather.sun
        )
        return np.asarray(self.base[:, None] + np.maximum(need, 0.0))

    def drifted(self, room: Floats) -> House:
        """The line that keeps its heat where a sensor's drift makes the room, float64 (d,) [°C], another than
        read: the first draw is what is read."""
        return replace(self, free=self.free + self.per_k * (room - room[0])) if self.has_room else self


def metering_of(site: Site, *days: Table) -> Metering:
    """What the meters show: heat by use, electricity by use, or electricity as a whole."""
    for part in days:
        total = max(part.total("electricity_total_kwh"), 1e-9)
        if (
            part.total("electricity_undetermined_kwh") > _MOST_UNSPLIT * total
            or not np.isfinite(part.floats("electricity_space_kwh")).any()
        ):
            return "total"
    heated = all(
        p.total("minutes_heat_use_known") > 0.5 * p.total("minutes_electricity_known") > 0 for p in days
    )
    return "heat" if heated else "use"


def rest_power(days: Table) -> float:
    """What the unit draws at rest [W]; nan where too few days have long enough rests."""
    watts = days.floats("idle_power")[days.floats("minutes_rest") >= _LONG_REST_MIN]
    watts = watts[np.isfinite(watts)]
    return float(np.median(watts)) if len(watts) >= _FEWEST_STANDING else float("nan")


def _own_uses(days: Table, rest_w: float) -> tuple[Floats, Floats, Floats]:
    """The heat pump's electricity for rooms and for water without pumps and heaters, and the pumps at
    work [kWh].

    What the unit draws at rest is taken to go on while it works: else less rest would look like less
    standby.
    """
    f = {
        n: fill_nan(days.floats(n), 0.0)
        for n in (
            "electricity_backup_kwh",
            "electricity_immersion_kwh",
            "electricity_idle_kwh",
            "electricity_pump_kwh",
            "electricity_defrost_kwh",
        )
    }
    backup, immersion = f["electricity_backup_kwh"], f["electricity_immersion_kwh"]
    under = fill_nan(days.floats("minutes_running"), 0.0) * np.nan_to_num(rest_w) / 60_000.0
    idle_pump = fill_nan(days.floats("pump_idle_power") * days.floats("minutes_rest") / 60_000.0, 0.0)
    pump = np.maximum(f["electricity_pump_kwh"] - idle_pump, 0.0)
    own_space = days.floats("electricity_space_kwh") + f["electricity_defrost_kwh"] - backup
    own_water = days.floats("electricity_hot_water_kwh") - immersion
    share = np.divide(
        own_space, own_space + own_water, out=np.ones(len(days)), where=own_space + own_water > 0.0
    )
    aside = pump + under
    return own_space - aside * share, own_water - aside * (1.0 - share), pump


def of_heating(days: Table) -> Floats:
    """All electricity of each day but for cooling, which neither the weather of heating nor a design of it
    explains [kWh]."""
    total = days.floats("electricity_total_kwh")
    if "electricity_cooling_kwh" not in days.names:
        return total
    return total - fill_nan(days.floats("electricity_cooling_kwh"), 0.0)


def daily_of(
    site: Site, days: Table, metering: Metering, whole_share: float, rest_w: float
) -> tuple[Daily, Flags]:
    """The whole days of a span, and which of its days they are.

    rest_w : what the unit draws at rest [W], nan where unknown
    """
    own_space, own_water, pump = _own_uses(days, rest_w)
    backup, immersion = (
        fill_nan(days.floats(n), 0.0) for n in ("electricity_backup_kwh", "electricity_immersion_kwh")
    )
    total = of_heating(days)
    metered_direct = np.maximum(backup + immersion - fill_nan(days.floats("paired_added_heat_kwh"), 0.0), 0.0)
    if metering == "heat":
        space = (
            days.floats("heat_space_kwh")
            - days.floats("heat_defrost_taken_kwh")
            - np.minimum(metered_direct, backup)
            + backup
        )
        water = days.floats("heat_hot_water_kwh") + immersion
    elif metering == "use":
        space, water = own_space + backup, own_water + immersion
    else:
        idle = fill_nan(days.floats("electricity_idle_kwh"), 0.0)
        own_space, own_water = total - backup - immersion - idle - pump, np.zeros(len(days))
        space, water = own_space + backup, immersion
    standby = total - backup - immersion - own_space - own_water
    outdoor = days.floats("outdoor")
    known = days.floats("minutes_electricity_known") >= whole_share * days.floats("minutes_total")
    if metering == "heat":
        known &= days.floats("minutes_heat_known") >= whole_share * days.floats("minutes_total")
    known &= np.isfinite(outdoor + total + space + water + own_space)
    sun = daily_sun(site, days)
    has_weather = np.isfinite(outdoor) & np.isfinite(sun)
    full = _full(outdoor, total, known)
    daily = Daily(
        outdoor[known],
        sun[known],
        days.floats("room")[known],
        space[known],
        water[known],
        own_space[known],
        own_water[known],
        backup[known],
        immersion[known],
        standby[known],
        total[known],
        _warming(days, outdoor)[known],
        KnownWeather(outdoor[has_weather], sun[has_weather]),
        full,
    )
    return daily, known


def _warming(days: Table, outdoor: Floats) -> Floats:
    """Today's outdoor temperature less yesterday's [K]; 0 where yesterday is not known."""
    if not len(days):
        return np.empty(0)
    next_day = np.diff(days["day"].astype("datetime64[D]").astype(np.int64), prepend=-1) == 1
    return np.where(next_day, fill_nan(np.diff(outdoor, prepend=np.nan), 0.0), 0.0)


def _full(outdoor: Floats, total: Floats, known: Flags) -> float:
    """A day's mean electricity of all days [kWh]; a day not read counts as the read ones nearest to its
    weather."""
    if not known.any() or known.all():
        return float(total[known].mean()) if known.any() else 0.0
    out = np.where(known, total, np.nan)
    for i in np.flatnonzero(~known):
        away = np.abs(outdoor[known] - outdoor[i])
        like = np.argsort(away)[:_LIKE_DAYS] if np.isfinite(outdoor[i]) else slice(None)
        out[i] = total[known][like].mean()
    return float(out.mean())


def drawn(fit: Fit, rng: np.random.Generator) -> Floats:
    """Coefficients of a fit, drawn from their covariance: float64 (DRAWS, k); the first row is the fit
    itself."""
    draws = rng.multivariate_normal(
        fit.coefficients, fit.covariance, DRAWS, check_valid="ignore", method="svd"
    )
    draws[0] = fit.coefficients
    return np.asarray(draws)


def around(value: float, sd: float, rng: np.random.Generator) -> Floats:
    """A value drawn with its standard deviation: float64 (DRAWS,); the first is the value itself."""
    draws = value + sd * rng.standard_normal(DRAWS)
    draws[0] = value
    return np.asarray(draws)


def houses_of(
    sides: tuple[Daily, ...],
    metering: Metering,
    doubt: float,
    step_doubt: float,
    rng: np.random.Generator,
) -> tuple[House, ...]:
    """The line of heat over weather of each side. Two sides share it but for a step.

    The step is the house's own where rooms and heat are read: all else that moves the line is known then.
    Otherwise warmer rooms or another efficiency may be the step, and both sides get its mean.

    doubt : relative standard uncertainty of the line itself: a house is no straight line
    step_doubt : of the step, relative to the heat that the later side needs
    """
    outdoor, heat, sun = (np.concatenate([getattr(s, n) for s in sides]) for n in ("outdoor", "space", "sun"))
    room = np.concatenate([s.room for s in sides])
    later = np.repeat(np.arange(len(sides), dtype=np.float64), [len(s) for s in sides])
    base = 0.0
    try:
        line = change_point(outdoor, heat, base_load=None if metering == "total" else 0.0, robust=True)
        if np.isfinite(line.base_temperature_c):
            base = float(line.base_load) if metering == "total" else 0.0
            heating = outdoor <= line.base_temperature_c
        else:
            heating = np.ones(len(outdoor), dtype=bool)
    except (NotIdentified, ValueError):
        heating = heat > 0.1 * np.quantile(heat, 0.9)
    has_room = bool(np.isfinite(room[heating]).mean() > 0.9) if heating.any() else False
    heating &= np.isfinite(room) if has_room else True
    if heating.sum() < 8 or float(np.ptp(outdoor[heating])) < 1.0:
        nothing = np.zeros(DRAWS)
        return (House(nothing, nothing, nothing, nothing + float(np.median(heat)), False),) * len(sides)
    difference = (room if has_room else 0.0) - outdoor
    columns = [difference[heating], np.ones(int(heating.sum()))]
    lit = bool(np.isfinite(sun[heating]).all()) and float(np.std(sun[heating])) > 0.0
    columns += [sun[heating]] if lit else []
    # The house's mass carries yesterday's weather into today's heat; over a span that evens out.
    columns += [np.concatenate([s.warming for s in sides])[heating]]
    columns += [later[heating]] if len(sides) > 1 else []
    found = drawn(robust_fit(np.column_stack(columns), heat[heating] - base), rng)
    solar = np.maximum(-found[:, 2], 0.0) if lit else np.zeros(DRAWS)
    step = found[:, -1] if len(sides) > 1 else np.zeros(DRAWS)
    by_form = around(1.0, doubt, rng)
    per_k = np.maximum(found[:, 0], 0.0)
    shares = [float(later[heating].mean())] * len(sides)
    if len(sides) > 1 and has_room and metering == "heat":
        need = float(heat[heating & (later == 1.0)].mean()) if (heating & (later == 1.0)).any() else 0.0
        step = step + around(0.0, step_doubt * need, rng)
        shares = [0.0, 1.0]
    return tuple(
        House(
            per_k * by_form,
            -(found[:, 1] + share * step) * by_form,
            solar * by_form,
            np.full(DRAWS, base),
            has_room,
        )
        for share in shares
    )


@dataclass(frozen=True)
class UnitEfficiency:
    """Electricity a unit of heat over outdoor temperature, float64 (d,) each: level, slope and bend about
    `middle` [°C],
    and the step to the later side."""

    level: Floats
    slope: Floats
    bend: Floats
    step: Floats
    middle: float

    def at(self, moments: tuple[float, float], later: float) -> Floats:
        """float64 (d,). moments : mean of outdoor temperature less `middle`, and of its square, by heat.
        later : 0 or 1"""
        return self.level + self.slope * moments[0] + self.bend * moments[1] + later * self.step


def performance_of(
    sides: tuple[Daily, ...], use: Literal["space", "water"], drift: float, rng: np.random.Generator
) -> UnitEfficiency | None:
    """Performance of a use over weather, with a step between two sides; None with too few days that tell."""
    heat = np.concatenate([getattr(s, use) - (s.backup if use == "space" else s.immersion) for s in sides])
    used = np.concatenate([getattr(s, f"unit_{use}") for s in sides])
    outdoor = np.concatenate([s.outdoor for s in sides])
    later = np.repeat(np.arange(len(sides), dtype=np.float64), [len(s) for s in sides])
    good = (heat > _LEAST_HEAT_KWH[use]) & (used > _LEAST_HEAT_KWH[use] / 5.0)
    if min((int((good & (later == i)).sum()) for i in range(len(sides))), default=0) < 5:
        return _plain_ratio(sides, use, rng)
    q, e, t, step = heat[good], used[good], outdoor[good], later[good]
    middle = float(np.average(t, weights=q))
    root = np.sqrt(q / q.mean())
    columns = [root, root * (t - middle)]
    bent = len(q) >= _FEWEST_FOR_BEND and use == "space"
    columns += [root * (t - middle) ** 2] if bent else []
    columns += [root * step] if len(sides) > 1 else []
    found = drawn(robust_fit(np.column_stack(columns), root * e / q), rng)
    zero = np.zeros(DRAWS)
    change = found[:, -1] if len(sides) > 1 else zero
    change = change + around(0.0, drift * float(np.mean(e) / np.mean(q)), rng) if len(sides) > 1 else change
    return UnitEfficiency(found[:, 0], found[:, 1], found[:, 2] if bent else zero, change, middle)


def _plain_ratio(
    sides: tuple[Daily, ...], use: Literal["space", "water"], rng: np.random.Generator
) -> UnitEfficiency | None:
    """Electricity over heat as a whole, where too few days tell more; None without heat."""
    heat = sum(float((getattr(s, use) - (s.backup if use == "space" else s.immersion)).sum()) for s in sides)
    used = sum(float(getattr(s, f"unit_{use}").sum()) for s in sides)
    if heat <= _LEAST_HEAT_KWH[use] or used <= 0.0:
        return None
    zero = np.zeros(DRAWS)
    return UnitEfficiency(around(used / heat, _RATIO_SD * used / heat, rng), zero, zero, zero, 0.0)


def usual_performance(value: float, middle: float, sd: float, rng: np.random.Generator) -> UnitEfficiency:
    """A designed performance (heat over electricity) with its usual change over weather. sd : relative"""
    level = 1.0 / np.maximum(around(value, sd * value, rng), 0.3)
    per_k = around(COP_PER_K, COP_PER_K_SD, rng)
    zero = np.zeros(DRAWS)
    return UnitEfficiency(level, -per_k * level, zero, zero, middle)


def standing_loss(site: Site, facts: Facts) -> float | None:
    """Standing loss of the cylinder [kWh a day]; None where it is not measured.

    By night and by day apart where both are known: a circulation pump on a timer works by day.
    """
    days = facts.days
    litres = site.hot_water.cylinder_litres if site.hot_water else None
    night, day = days.floats("cooling_night"), days.floats("cooling_day_usual")
    if litres is None or min(np.isfinite(night).sum(), np.isfinite(day).sum()) < _FEWEST_STANDING:
        return hot_water_figures(site, facts).standing_loss_kwh_per_day
    by_night, by_day = float(np.nanmedian(night)), float(np.nanmedian(day))
    rate = by_night * (24.0 - _DAY_HOURS) + max(by_day, by_night) * _DAY_HOURS
    return max(rate * litres * WH_PER_LITRE_KELVIN / 1000.0, 0.0)
