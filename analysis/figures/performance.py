"""Seasonal performance at the SEPEMO boundaries H1 to H4, by use, month and day, with GUM intervals."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.figures.sums import known_sum
from fieldfare.analysis.minutes.balance import meter_behind_heater, only_split_meters
from fieldfare.analysis.physics import boundaries, metering
from fieldfare.analysis.plant.site import HEAT_QUANTITIES, Site

Floats = NDArray[np.float64]

# Difference in performance of unmetered and metered minutes, one standard deviation (common practice:
# the spread of daily performance within a month).
_UNSEEN_SPREAD = 0.12
_LEAST_PAIR_KWH = 0.5
# Domestic runs last 20 to 60 minutes (reference values 9.3): means over longer hold parts of runs and rests.
_COARSEST_FOR_PRODUCT_MIN = 15.0
_COARSEST_FOR_DAYS_MIN = 6 * 60.0
_COARSEST_FOR_MONTHS_MIN = 4 * 1440.0


@dataclass(frozen=True)
class PerformanceRatios:
    """Ratios [-] of heat to electricity; `reasons` says why one is not given."""

    boundaries: dict[str, Estimate]
    space_heating: Estimate
    hot_water: Estimate
    by_month: list[dict[str, Any]]
    by_day: list[dict[str, Any]]
    renewable_kwh: float | None
    cooling: Estimate = field(default_factory=lambda: Estimate.none("the unit did not cool in this period"))
    blurred: str | None = None  # why sparse readings can't separate the uses
    energies: dict[str, tuple[float, float]] = field(default_factory=dict)
    """Boundary or use -> heat and electricity [kWh] whose quotient it is: of the minutes with both known."""

    @property
    def best(self) -> tuple[str, Estimate] | None:
        """The widest available boundary, with its name."""
        for name in ("H4", "H3", "H2", "H1"):
            if self.boundaries[name]:
                return name, self.boundaries[name]
        return None


def performance(
    site: Site, days: Table, blurred: str | None = None, unsplit: str | None = None
) -> PerformanceRatios:
    """Performance over the given days.

    days : Table, the days table. blurred : why the uses can't be separated. unsplit : why hot water's heat
        and electricity can't be divided by each other. Returns Performance; a boundary the meters can't
        separate is None with a reason.
    """
    ratios = _ratios(site, days)
    given = {name: _with_interval(site, days, ratio) for name, ratio in ratios.items()}
    h2 = ratios["H2"]
    renewable = None
    if h2.value is not None and h2.heat_kwh is not None and h2.value > 0:
        renewable = boundaries.renewable_heat_kwh(h2.heat_kwh, h2.value)
    return PerformanceRatios(
        given,
        Estimate.none(blurred) if blurred else _by_use(site, days, "space"),
        Estimate.none(why) if (why := blurred or unsplit) else _by_use(site, days, "hot_water"),
        _by_month(site, days),
        _by_day(site, days),
        renewable,
        _cooling(site, days),
        blurred,
        _energies_of(ratios, days),
    )


def _energies_of(
    ratios: Mapping[str, boundaries.BoundaryRatio], days: Table
) -> dict[str, tuple[float, float]]:
    """Heat and electricity that each ratio is the quotient of [kWh]."""
    parts = {name: (ratio.heat_kwh, ratio.electricity_kwh) for name, ratio in ratios.items()}
    for use, column in (("space_heating", "space"), ("hot_water", "hot_water")):
        parts[use] = (
            known_sum(days, f"paired_heat_{column}_kwh"),
            known_sum(days, f"paired_electricity_{column}_kwh"),
        )
    return {n: (heat, used) for n, (heat, used) in parts.items() if heat is not None and used is not None}


_SUMMED = [
    "paired_heat_kwh",
    "paired_heat_pump_kwh",
    "paired_fan_kwh",
    "paired_backup_kwh",
    "paired_immersion_kwh",
    "paired_pump_kwh",
    "heat_total_kwh",
    "electricity_total_kwh",
    "minutes_heat_known",
    "minutes_any_known",
    "minutes_total",
    "paired_heat_space_kwh",
    "paired_electricity_space_kwh",
    "heat_added_space_kwh",
    "heat_added_hot_water_kwh",
]


# Heat of the minutes with everything known, and the meter's two errors in them.


@dataclass(frozen=True)
class MeterColumns:
    """Columns of a heat meter's heat, of its parts' permissible errors [kWh],
    and of the minutes they are from"""

    heat: str
    flow_error: str
    pair_error: str
    minutes: str


HEAT_METER = MeterColumns(
    "paired_heat_kwh", "paired_flow_error_kwh", "paired_pair_error_kwh", "minutes_paired"
)
COOLING_METER = MeterColumns(
    "paired_cooling_heat_kwh",
    "paired_cooling_flow_error_kwh",
    "paired_cooling_pair_error_kwh",
    "minutes_paired",
)


def _ratios(site: Site, days: Table) -> dict[str, boundaries.BoundaryRatio]:
    sums = {c: math.nan if (total := known_sum(days, c)) is None else total for c in _SUMMED}
    return boundaries.spf(_Meters.of(site).balance(sums))


@dataclass(frozen=True)
class _Meters:
    """Meter layout from the site file, read once for all days.

    within : consumers on the unit's meter besides the unit. behind : the heat meter is downstream of the
        back-up heater
    unforeseen : heaters that are not in the design
    """

    within: frozenset[str]
    behind: bool
    unforeseen: frozenset[str]

    @classmethod
    def of(cls, site: Site) -> _Meters:
        within = set().union(*(p.includes for p in site.points_of("heat_pump_electricity")))
        if site.heat_pump.source == "air":
            within.add(boundaries.FAN)
        unforeseen = set()
        if site.design.bivalent_c is None:
            unforeseen.add(boundaries.BACKUP)
        if site.hot_water is None:
            unforeseen.add(boundaries.IMMERSION)
        behind = only_split_meters(site)
        # A separately metered heater is already subtracted from the heat.
        behind |= meter_behind_heater(site) and not site.measures("backup_heater_electricity")
        return cls(frozenset(within), behind, frozenset(unforeseen))

    def balance(self, sums: Mapping[str, boundaries.Energy]) -> boundaries.PeriodEnergies:
        """Energies over the minutes with known heat and all electricity meters.

        sums : column of the days table -> its sum over some days, nan if none knows it; or of several periods
            that know the same columns

        A heater that is neither in the design nor metered is taken as not fitted: a back-up heater without a
        bivalent temperature, an immersion heater without a cylinder.
        """

        def known(column: str) -> boundaries.Energy | None:
            value = sums[column]
            return None if np.isnan(value).any() else value

        unit = known("paired_heat_pump_kwh")
        heat = known("paired_heat_kwh") if np.all(sums["minutes_heat_known"] > 0) else None
        metered = {
            boundaries.FAN: known("paired_fan_kwh"),
            boundaries.BACKUP: known("paired_backup_kwh"),
            boundaries.IMMERSION: known("paired_immersion_kwh"),
            boundaries.PUMP: known("paired_pump_kwh"),
        }
        # Separately metered consumers are already subtracted; the fan stays within the outdoor
        # unit.
        apart = {name for name, value in metered.items() if value is not None and name != boundaries.FAN}
        within = self.within - apart
        for name in self.unforeseen:
            if metered[name] is None and name not in within:
                metered[name] = 0.0
        return boundaries.PeriodEnergies(
            heat_kwh=heat,
            heat_pump_kwh=unit,
            fan_kwh=metered[boundaries.FAN],
            backup_heater_kwh=metered[boundaries.BACKUP],
            immersion_kwh=metered[boundaries.IMMERSION],
            circulation_pump_kwh=metered[boundaries.PUMP],
            meter_includes=within.intersection(boundaries.CONSUMERS),
            heat_includes=frozenset({boundaries.BACKUP}) if self.behind else frozenset(),
        )


def _no_product(site: Site, days: Table) -> str | None:
    """Why flow rate and temperatures give no heat; None with a heat meter or frequent readings."""
    if any(site.measures(q) for q in HEAT_QUANTITIES):
        return None
    names = [f"spacing.{q}" for q in ("flow_rate", "flow_temperature", "return_temperature")]
    if not all(days.knows(name) for name in names):
        return None
    apart = max(float(np.nanmin(days.floats(name))) for name in names)
    if apart <= _COARSEST_FOR_PRODUCT_MIN:
        return None
    return (
        f"flow rate and temperatures every {apart:.0f} minutes give no heat: mean flow times mean difference"
        " is not the mean heat where the unit starts and stops between"
    )


def _with_interval(site: Site, days: Table, ratio: boundaries.BoundaryRatio) -> Estimate:
    if (reason := _no_product(site, days)) is not None:
        return Estimate.none(reason)
    if ratio.value is None or ratio.heat_kwh is None or ratio.electricity_kwh is None:
        return Estimate.none(ratio.reason or "needs heat and electricity")
    if ratio.electricity_kwh < _LEAST_PAIR_KWH:
        return Estimate.none("hardly any electricity was used while heat was measured too")
    low, high = relative_limits(site, days, ratio.heat_kwh, ratio.electricity_kwh)
    return Estimate(ratio.value, ratio.value * low, ratio.value * high)


def _cooling(site: Site, days: Table) -> Estimate:
    """Cooling energy over electricity while the unit cools, including the rests after it."""
    if "minutes_cooling" not in days or days.total("minutes_cooling") == 0:
        if not site.measures("operating_mode"):
            return Estimate.none("needs operating_mode")
        return Estimate.none("the unit did not cool in this period")
    if days.total("minutes_heat_known") == 0:
        return Estimate.none("needs a heat meter, or flow rate with flow and return temperature")
    cold, electricity = days.total("paired_cooling_heat_kwh"), days.total("paired_cooling_electricity_kwh")
    if electricity < _LEAST_PAIR_KWH:
        return Estimate.none("hardly any electricity was used for cooling while heat was measured too")
    if cold <= 0.02 * electricity:
        return Estimate.none("the heat meter does not count cold")
    low, high = relative_limits(site, days, cold, electricity, COOLING_METER)
    return Estimate(cold / electricity, cold / electricity * low, cold / electricity * high)


def relative_limits(
    site: Site, days: Table, heat: float, electricity: float, meter: MeterColumns = HEAT_METER
) -> tuple[float, float]:
    """Factors from a ratio to the ends of its 95 % interval. meter : the columns that the heat is from

    A meter's error within its class does not shrink with time: each part of a meter is rectangular within its
    own limit (GUM 4.3.7). Missing minutes add a normal part that grows with their share.
    """
    # One common error: a use's share of it is its share of the heat.
    share = abs(heat) / max(abs(days.total(meter.heat)), 1e-9)
    parts = [days.total(error) * share for error in (meter.flow_error, meter.pair_error)]
    direct = (known_sum(days, "paired_immersion_kwh") or 0.0) if meter is HEAT_METER else 0.0
    widths = [error / max(heat, 1e-9) for error in parts]
    # A heat meter is not on the electricity that counts as heat, and the same error sits above and below.
    unit = max(electricity - direct, 0.0)
    widths.append(_electricity_class(site, "heat_pump_electricity") * unit / electricity)
    for quantity, column in (
        ("immersion_electricity", "paired_immersion_kwh"),
        ("backup_heater_electricity", "paired_backup_kwh"),
        ("circulation_pump_electricity", "paired_pump_kwh"),
    ):
        own = known_sum(days, column) if meter is HEAT_METER else None
        if own:
            widths.append(_electricity_class(site, quantity) * own / electricity)
    missing = 1.0 - min(days.total(meter.minutes) / max(days.total("minutes_total"), 1.0), 1.0)
    normal = _UNSEEN_SPREAD * missing
    size = float(np.sqrt(sum(w * w for w in widths) / 3.0 + normal**2))
    factor = metering.coverage_factor(widths, normal=normal)
    half = factor * size
    return 1.0 - half, 1.0 + half


def _electricity_class(site: Site, quantity: str) -> float:
    """A meter's maximum permissible error [-]; by default class B, the usual one."""
    given = [p.meter_class for p in site.points_of(quantity) if p.meter_class in ("A", "B", "C")]
    grade: Any = min(given) if given else "B"
    return metering.electricity_meter_mpe(grade)


def _by_use(site: Site, days: Table, use: str) -> Estimate:
    if (reason := _no_product(site, days)) is not None:
        return Estimate.none(reason)
    heat, electricity = (
        known_sum(days, f"paired_heat_{use}_kwh"),
        known_sum(days, f"paired_electricity_{use}_kwh"),
    )
    if days.total("minutes_heat_known") == 0:
        return Estimate.none("needs a heat meter, or flow rate with flow and return temperature")
    if heat is None or electricity is None or electricity < _LEAST_PAIR_KWH:
        if use == "hot_water" and site.hot_water is None:
            return Estimate.none("the system makes no hot water")
        use_unknown = (
            days.total("minutes_running") > 0
            and days.total("minutes_heating") + days.total("minutes_hot_water") == 0
        )
        return Estimate.none(
            "the meters can't tell heating from hot water: needs operating_mode, diverter_to_hot_water or"
            " cylinder_temperature"
            if use_unknown
            else "hardly any electricity went to this use"
        )
    if coarse(days, "heat_pump_electricity", 30.0):
        return Estimate.none(
            "readings are too far apart to tell heating from hot water"
            if site.hot_water is not None
            else "readings are too far apart to tell running from rest"
        )
    low, high = relative_limits(site, days, heat, electricity)
    return Estimate(heat / electricity, heat / electricity * low, heat / electricity * high)


def coarse(days: Table, quantity: str, limit_minutes: float) -> bool:
    """Whether a quantity's readings are absent or further apart than the limit."""
    column = f"spacing.{quantity}"
    return column not in days or not bool((days[column] <= limit_minutes).any())


def _rows(site: Site, name: str, keys: list[str], sums: Floats, outdoor: Floats) -> list[dict[str, Any]]:
    """One row per key (a month or a day).

    sums : float64 (n, columns of _SUMMED), over its days, nan where none knows it. outdoor : float64 (n,),
        mean [°C]
    """
    column = dict(zip(_SUMMED, sums.T, strict=True))
    factor = {boundary: np.full(len(keys), np.nan) for boundary in ("H4", "H3", "H2", "H1")}
    meters = _Meters.of(site)
    for alike in _known_alike(column):
        found = boundaries.spf_of_each(meters.balance({c: values[alike] for c, values in column.items()}))
        for boundary, (ratio, electricity) in found.items():
            factor[boundary][alike] = np.where(electricity >= _LEAST_PAIR_KWH, ratio, np.nan)
    used, silent = (
        column["paired_electricity_space_kwh"],
        (column["minutes_any_known"] == 0) & (name == "day"),
    )
    made = factor | {
        "space_heating": np.divide(
            column["paired_heat_space_kwh"],
            used,
            out=np.full(len(keys), np.nan),
            where=used >= _LEAST_PAIR_KWH,
        ),
        # The total across a silence is known, but not its split over the days.
        "heat_kwh": np.where(silent, np.nan, column["heat_total_kwh"]),
        "direct_electric_kwh": np.where(silent, np.nan, _by_heaters(column)),
        "electricity_kwh": np.where(silent, np.nan, column["electricity_total_kwh"]),
        "outdoor_c": outdoor,
        "coverage": np.where(silent, 0.0, column["minutes_any_known"] / column["minutes_total"]),
    }
    for values in (*factor.values(), made["space_heating"]):
        values[silent] = np.nan
    plain = [keys, *([None if v != v else v for v in values.tolist()] for values in made.values())]
    return [dict(zip((name, *made), row, strict=True)) for row in zip(*plain, strict=True)]


def _by_heaters(column: Mapping[str, Floats]) -> Floats:
    """Heat of direct heaters that no heat meter sees [kWh], which H3 and H4 count."""
    return fill_nan(column["heat_added_space_kwh"], 0.0) + fill_nan(column["heat_added_hot_water_kwh"], 0.0)


def _known_alike(column: Mapping[str, Floats]) -> list[NDArray[np.intp]]:
    """Group rows that know the same columns, as their energies are computed the same way."""
    marks = column["minutes_heat_known"] > 0
    number = marks.astype(np.int64)
    for bit, values in enumerate(column.values(), 1):
        number += np.isnan(values).astype(np.int64) << bit
    return [np.flatnonzero(number == one) for one in np.unique(number)]


def _by_month(site: Site, days: Table) -> list[dict[str, Any]]:
    if coarse(days, "heat_pump_electricity", _COARSEST_FOR_MONTHS_MIN):
        return []
    months, begin = np.unique(days["day"].astype("datetime64[M]"), return_index=True)
    values = np.column_stack([days.floats(c) for c in (*_SUMMED, "outdoor")])
    known = np.add.reduceat(np.isfinite(values), begin, dtype=np.int64)
    sums = np.add.reduceat(np.nan_to_num(values), begin)
    sums[known == 0] = np.nan
    keys = np.datetime_as_string(months, unit="M").tolist()
    return _rows(site, "month", keys, sums[:, :-1], sums[:, -1] / np.maximum(known[:, -1], 1))


def _by_day(site: Site, days: Table) -> list[dict[str, Any]]:
    if coarse(days, "heat_pump_electricity", _COARSEST_FOR_DAYS_MIN):
        return []
    values = np.column_stack([days.floats(c) for c in (*_SUMMED, "outdoor")])
    keys = np.datetime_as_string(days["day"], unit="D").tolist()
    return _rows(site, "day", keys, values[:, :-1], values[:, -1])


__all__ = ["PerformanceRatios", "coarse", "performance"]
