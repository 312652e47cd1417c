"""Heat from flow rate and temperatures, and its accuracy compared with a heat meter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.figures.estimate import robust_fit
from fieldfare.analysis.findings.confidence import Floats
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.minutes.balance import uncorrected_share
from fieldfare.analysis.physics.metering import HeatClass, combine, heat_meter_mpe
from fieldfare.analysis.physics.water import KWH_PER_M3_K
from fieldfare.analysis.plant.site import HEAT_QUANTITIES
from fieldfare.analysis.statistics.quantiles import robust_sd

_SENSOR_K = 0.3
# The same once their difference was read in water that a resting unit passes on: what is left moves with
# temperature.
_ZEROED_K, _ZEROED_DAYS, _PASSING_MIN = 0.1, 10, 20
# Coverage of 95 % of a normal distribution.
_COVERAGE = 2.0
_UNIT_FLOW_SENSOR = 0.05
LEAST_KWH, FEWEST_DAYS = 3.0, 4
_RUNNING = ("check_meter", "check_flow", "check_volume")
_DEEP_IN_RUNS = ("core_meter", "core_flow", "core_volume")


def flow_spacing(days: Table) -> float:
    """Minutes between the readings of flow rate and temperatures; 0 where they are not all measured."""
    names = [f"spacing.{q}" for q in ("flow_rate", "flow_temperature", "return_temperature")]
    if not all(name in days for name in names):
        return 0.0
    return max(float(np.nanmin(days.floats(name))) for name in names)


def _meter_spacing(days: Table) -> float:
    """Minutes between two counts of the heat meter; 0 where there is none."""
    names = [name for q in HEAT_QUANTITIES if (name := f"spacing.{q}") in days]
    return max((float(np.nanmin(days.floats(name))) for name in names), default=0.0)


def _meter_step(days: Table) -> float:
    """Step of the heat meter's register [kWh]; 0 where it is fine or there is none."""
    names = [name for q in HEAT_QUANTITIES if (name := f"step.{q}") in days]
    return max((float(np.nanmax(fill_nan(days.floats(name), 0.0))) for name in names), default=0.0)


def blurred(context: Context) -> str | None:
    """Why mean flow times mean difference does not stand for heat; None where it does.

    Runs and rests show from two readings on (sampling theorem). Where much of the heat comes in shorter ones
    their product depends on where in the run the readings fall. A register shows up to one of its steps of a
    run's heat in the rest after it.
    """
    days, runs, most = context.all_days.days, context.all_days.runs, context.limit("flow_product_share")
    apart = flow_spacing(days)
    words = "mean flow times mean temperature difference is not the mean heat"
    if apart > context.limit("flow_product_minutes"):
        return (
            f"flow rate and temperatures every {apart:.0f} minutes: where the unit starts and stops in"
            f" between, {words}"
        )
    apart, step = max(apart, _meter_spacing(days)), _meter_step(days)
    if not len(runs) or (apart <= 1.0 and step <= 0.0):
        return None
    heat = np.maximum(fill_nan(runs.floats("heat"), 0.0), 0.0)
    if step * np.count_nonzero(heat) > most * heat.sum() > 0.0:
        return (
            f"the heat meter counts in steps of {step:.2g} kWh, and a run gives"
            f" {heat[heat > 0.0].mean():.1f} kWh: how much of it came while the unit ran is not known"
        )
    short = np.fmin(runs.floats("minutes"), runs.floats("pause")) <= 2.0 * apart
    if heat.sum() <= 0.0 or heat[short].sum() <= most * heat.sum():
        return None
    return (
        f"runs or rests no longer than two of the readings, which are {apart:.0f} minutes apart: heat meter,"
        " flow rate and temperatures can't be compared"
    )


def pair_offset(days: Table) -> tuple[float | None, float]:
    """Flow sensor minus return sensor [K] while water circulates at rest, None where that is not known or
    more than their classes allow, and the limit of error of each sensor after it is taken off [K]."""
    offset, left = rest_offset(days)
    if offset is None or abs(offset) > 2.0 * _SENSOR_K:
        return None, _SENSOR_K
    return offset, left


def rest_offset(days: Table) -> tuple[float | None, float]:
    """The same, however large.

    An offset stays the same. A circuit that still cools differs from day to day, and the more so the warmer
    it is: the scatter of the days is the uncertainty of the offset, and where it grows with the water's
    temperature, or is as wide as the sensors' own, nothing was learned.
    """
    if "pair_offset" not in days:
        return None, _SENSOR_K
    is_known = np.isfinite(days.floats("pair_offset")) & (days.floats("minutes_passing") >= _PASSING_MIN)
    if is_known.sum() < _ZEROED_DAYS:
        return None, _SENSOR_K
    offsets = days.floats("pair_offset")[is_known]
    left = max(_ZEROED_K, _COVERAGE * robust_sd(offsets))
    if left >= _SENSOR_K or _grows_with(days.floats("loop_c")[is_known], offsets):
        return None, _SENSOR_K
    return float(np.median(offsets)), left


def is_heat_from_flow(context: Context) -> bool:
    """Whether heat is flow rate times temperature difference, for want of a heat meter."""
    site = context.site
    whole = site.measures("heat_output") or (
        site.measures("space_heat") and (site.measures("hot_water_heat") or site.hot_water is None)
    )
    return not whole and flow_spacing(context.all_days.days) > 0.0


def is_pair_unchecked(context: Context) -> bool:
    """Whether heat is calculated from two sensors that no water at rest has compared."""
    return is_heat_from_flow(context) and rest_offset(context.all_days.days)[0] is None


def mean_lift(days: Table) -> float:
    """Mean difference of flow and return in steady heating [K]; nan where not known."""
    lift, minutes = days.floats("lift"), days.floats("minutes_steady")
    known = np.isfinite(lift) & (minutes > 0.0)
    return float(np.average(lift[known], weights=minutes[known])) if known.any() else float("nan")


def _grows_with(water: Floats, offsets: Floats) -> bool:
    """Whether the differences at rest grow with the water's temperature, beyond doubt and by what matters."""
    both = np.isfinite(water) & np.isfinite(offsets)
    if both.sum() < _ZEROED_DAYS or float(np.std(water[both])) <= 0.0:
        return False
    fit = robust_fit(np.column_stack([np.ones(both.sum()), water[both]]), offsets[both])
    slope, error = fit.combination(np.array([0.0, 1.0]))
    return bool(slope > _COVERAGE * error and slope * float(np.ptp(water[both])) > _ZEROED_K)


@dataclass(frozen=True)
class Compared:
    """By day, in the same minutes: heat by the meter and by flow and temperatures [kWh], and water [m3].

    melts : share by which defrosts that no reading shows may lower the meter's heat alone [-]
    """

    meter: Floats
    flow: Floats
    volume: Floats
    melts: Floats

    def without(self, offset: float | None) -> Floats:
        """Heat by flow and temperatures [kWh], corrected for the pair's offset [K] where known."""
        return self.flow if offset is None else self.flow - KWH_PER_M3_K * offset * self.volume

    def difference(self, lift: Floats) -> Floats:
        """Difference of flow and return [K]: in steady running, `lift`, else at which the heat was passed."""
        passed = np.divide(
            self.flow, KWH_PER_M3_K * self.volume, out=np.full(len(lift), np.nan), where=self.volume > 0.0
        )
        return np.where(np.isfinite(lift), lift, passed)


def compared(context: Context) -> Compared | str:
    """What stands beside the heat meter, or why nothing does.

    All running where its product is the heat. Else what was passed deep in long runs, where flow and
    difference stand still between two readings: only edges are blurred.
    """
    why, days = blurred(context), context.all_days.days
    meter, flow, volume = (days.floats(name) for name in (_RUNNING if why is None else _DEEP_IN_RUNS))
    if why is None:
        return Compared(meter, flow, volume, np.zeros(len(days)))
    found = Compared(meter, flow, volume, _melts_between(context))
    enough = (found.meter > LEAST_KWH) & (found.flow > 0.0)
    close = flow_spacing(days) <= context.limit("flow_product_minutes")
    return found if close and enough.sum() >= FEWEST_DAYS else why


def _melts_between(context: Context) -> Floats:
    """`Compared.melts` deep in runs: defrosts that a reading meets end a run's deep part, the others are in
    it."""
    days = context.all_days.days
    if flow_spacing(days) <= context.limit("heat_meter_melts_min") or "minutes_frosting" not in days:
        return np.zeros(len(days))
    frosty = fill_nan(days.floats("minutes_frosting"), 0.0) / np.maximum(days.floats("minutes_running"), 1.0)
    return np.asarray(context.limit("heat_meter_melts_share") * np.clip(frosty, 0.0, 1.0))


def allowed(context: Context, lift: Floats, sensor_k: float) -> Floats:
    """Disagreement that two honest instruments may show at a day's temperature difference [-].

    Heat meter after its class (EN 1434-1 limits), a flow sensor of 5 %, and two temperature sensors of
    `sensor_k` [K] each. All three are limits and rectangular: together about as wide as their root of squares
    (GUM 4.3.7 and 5.1.2).
    """
    given = {p.meter_class for q in HEAT_QUANTITIES for p in context.site.points_of(q)}
    grade: HeatClass = "3" if "3" in given else "1" if given == {"1"} else "2"
    difference = np.clip(np.where(np.isfinite(lift), np.abs(lift), 5.0), 1.5, 15.0)
    meter = heat_meter_mpe(difference, 0.5, grade).total
    scale = context.limit("heat_meter_share") / 0.12
    return np.asarray(
        scale * combine(meter, _UNIT_FLOW_SENSOR, sensor_k * 2.0**0.5 / difference), dtype=np.float64
    )


def disagreement(context: Context) -> float | None:
    """Metered heat over that from flow rate and temperatures, less what antifreeze explains, less 1; None
    where only one of them is there."""
    found = compared(context)
    if isinstance(found, str):
        return None
    meter, flow = found.meter, found.without(pair_offset(context.all_days.days)[0])
    both = (flow > LEAST_KWH) & np.isfinite(meter)
    if both.sum() < FEWEST_DAYS:
        return None
    return float(np.median(meter[both] / flow[both])) / (1.0 + uncorrected_share(context.site)) - 1.0
