"""Derived minute series, computed once for all facts."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.balance import Balance, balance
from fieldfare.analysis.minutes.grid import Grid
from fieldfare.analysis.minutes.operating_state import (
    COOLING,
    DEFROST,
    HEATING,
    OFF,
    Use,
    classify_minutes,
    within,
)
from fieldfare.analysis.minutes.rolling import true_runs
from fieldfare.analysis.physics.air import frost_rate_index
from fieldfare.analysis.physics.heat_pump import RatedPerformance
from fieldfare.analysis.physics.metering import heat_meter_mpe, resistance_sensor_mpe
from fieldfare.analysis.physics.water import KWH_PER_M3_K
from fieldfare.analysis.plant.curve import curve_at
from fieldfare.analysis.plant.site import HEAT_QUANTITIES, HeatPump, Site

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Defaults without measurements: a domestic heat pump's usual water difference, and half of the meter's rated
# flow.
WATER_ON_ITS_WAY_MIN = 3
_USUAL_DIFFERENCE_K = 5.0
_LEAST_FLOW_SHARE = 0.1
# A unit's own flow sensor (common practice: vortex and turbine sensors, 5 %).
_UNIT_FLOW_SENSOR = 0.05
# A sensor on a pipe or in a dry pocket differs so much from the water (common practice: up to half a kelvin).
_PLACED_K = 0.5
_MORE_THAN_NOMINAL = 1.25
# Frost limit without a humidity sensor (A7 needs a coil 7 K colder than the air, EN 14511
# air).
_FROSTING_BELOW_C = 6.0
_FROST_MIN_G_PER_KG = 0.15


@dataclass(frozen=True)
class Minutes:
    """Arrays float64 (n,) or bool (n,) on the grid's minutes.

    electricity : Wh, all of the plant's. rated_cop : the unit's own rating at the minute's temperatures
    curve_cop : the same at the designed curve's flow temperature; nan where no curve or outdoor temperature
    curve : the designed flow temperature. frosting : air that can frost a coil. flow_error, pair_error : Wh,
        the largest permissible error of the heat meter's flow sensor, and of its temperature pair with the
        calculator. paired : heat and the unit's electricity both known
    """

    grid: Grid
    balance: Balance
    use: Use
    electricity: Floats
    heat: Floats
    rated_cop: Floats
    curve_cop: Floats
    curve: Floats
    frosting: Flags
    frost_known: Flags
    flow_error: Floats
    pair_error: Floats
    paired: Flags

    @property
    def drawn_back(self) -> Floats:
        """Heat that defrosts draw from the water [Wh], 0 without any; delayed by the water's transit time."""
        melting = within(self.use.code == DEFROST, 0, WATER_ON_ITS_WAY_MIN)
        return np.where(melting & (self.heat < 0), -self.heat, 0.0)

    @property
    def cooling(self) -> Flags:
        """Minutes of cooling, including the rests after it."""
        return (self.use.code == COOLING) | ((self.use.code == OFF) & (self.use.serves == COOLING))

    @property
    def serving(self) -> NDArray[np.int8]:
        """Use that a minute's heat and electricity belong to; for a defrost, the interrupted use."""
        code = self.use.code
        return np.where(code == DEFROST, self.use.serves, code)


def coldest_room(minutes: Minutes) -> Floats:
    """Temperature of the coldest zone in each minute [°C]; nan without measurements."""
    rooms = minutes.grid.zones.get("room_temperature", {})
    return np.fmin.reduce(list(rooms.values())) if rooms else np.full(len(minutes.grid), np.nan)


# A powered unit draws at least some watts: controls and radio (common practice). Below this nothing is
# drawn.
_LEAST_STANDBY_W, _NO_DRAW_W = 5.0, 2.5


def without_power(minutes: Minutes) -> Flags:
    """Minutes in which the unit certainly draws nothing: bool (n,).

    A stepping register also stays constant in standby: it shows a power cut only if it pauses for longer than
    the minimum standby takes to fill a step.
    """
    unit = minutes.balance.heat_pump
    if unit is None:
        return np.zeros(len(minutes.grid), dtype=bool)
    dead = np.isfinite(unit) & (np.abs(fill_nan(unit, 0.0)) * 60.0 < _NO_DRAW_W)
    needed = minutes.grid.step.get("heat_pump_electricity", 0.0) * 1000.0 / _LEAST_STANDBY_W * 60.0
    if needed <= 1.0:
        return dead
    begin, end = true_runs(dead)
    for a, b in zip(begin, end, strict=True):
        if b - a < needed:
            dead[a:b] = False
    return dead


def rated(site: Site) -> RatedPerformance:
    """The unit's rated performance, from the site file's EN 14511 points."""
    return _rated(site.heat_pump)


@lru_cache(maxsize=256)
def _rated(pump: HeatPump) -> RatedPerformance:
    points = [(r.outdoor_c, r.flow_c, r.output_kw, r.cop) for r in pump.rating]
    return RatedPerformance(points, pump.source, nominal_kw=pump.rated_output_kw)


def build_minutes(site: Site, grid: Grid) -> Minutes:
    """All minute arrays of a grid."""
    plant = balance(site, grid)
    use = classify_minutes(site, grid, plant)
    n = len(grid)
    nothing = np.full(n, np.nan)
    heat = plant.heat if plant.heat is not None else nothing
    electricity = plant.electricity()
    outdoor = grid.gauge("outdoor_temperature")
    curve = curve_at(site.heating_curve.points, outdoor) if site.heating_curve else nothing
    rating = rated(site)
    flow = _flow_for_rating(grid, use, curve)
    source = source_temperature(site, grid)
    frosting, frost_known = _frosting(grid)
    at_meter = plant.heat_at_meter
    if plant.heat_basis == "flow_product":
        flow_error, pair_error = _product_errors(grid, heat)
    else:
        flow_error, pair_error = _heat_errors(site, grid, heat if at_meter is None else at_meter)
    pair = np.isfinite(heat)
    if plant.heat_pump is not None:
        pair &= np.isfinite(plant.heat_pump)
    for other in (plant.backup_heater, plant.immersion, plant.circulation_pump, plant.fan):
        if other is not None:
            pair &= np.isfinite(other)
    return Minutes(
        grid=grid,
        balance=plant,
        use=use,
        electricity=electricity if electricity is not None else nothing,
        heat=heat,
        rated_cop=np.asarray(rating.cop(source, flow)),
        curve_cop=np.asarray(rating.cop(source, curve)),
        curve=curve,
        frosting=frosting,
        frost_known=frost_known,
        flow_error=flow_error,
        pair_error=pair_error,
        paired=pair if plant.heat_pump is not None else np.zeros(n, dtype=bool),
    )


def source_temperature(site: Site, grid: Grid) -> Floats:
    """Source temperature [°C]: the outdoor air, or a typical brine or well temperature."""
    usual = {"brine": 0.0, "water": 10.0}.get(site.heat_pump.source)
    return grid.gauge("outdoor_temperature") if usual is None else np.full(len(grid), usual)


def _flow_for_rating(grid: Grid, use: Use, curve: Floats) -> Floats:
    """Flow temperature for the rating of each minute; without a sensor, the designed one while heating."""
    flow = grid.gauge("flow_temperature")
    if np.isfinite(flow).any():
        # Use the hotter of flow and return; swapped sensors are detected elsewhere.
        back = grid.gauge("return_temperature")
        return np.where(use.running, np.fmax(flow, back), flow)
    return np.where(use.code == HEATING, curve, np.nan)


def _frosting(grid: Grid) -> tuple[Flags, Flags]:
    outdoor = grid.gauge("outdoor_temperature")
    humidity = grid.gauge("outdoor_humidity")
    known = np.isfinite(outdoor)
    if np.isfinite(humidity).any():
        index = np.asarray(frost_rate_index(outdoor, np.clip(humidity, 1.0, 100.0)))
        return fill_nan(index, 0.0) > _FROST_MIN_G_PER_KG, known & np.isfinite(index)
    return known & (fill_nan(outdoor, 99.0) < _FROSTING_BELOW_C), known


def _product_errors(grid: Grid, heat: Floats) -> tuple[Floats, Floats]:
    """The same limits [Wh] where heat is flow rate times temperature difference: two sensors that nobody
    paired, each by its class (IEC 60751 class B) and its place, and the unit's own flow sensor."""
    flow, back = grid.gauge("flow_temperature"), grid.gauge("return_temperature")
    size = np.abs(fill_nan(heat, 0.0))
    sensors = [resistance_sensor_mpe(fill_nan(t, 0.0)) for t in (flow, back)]
    pair = np.sqrt(sum(t**2 + _PLACED_K**2 for t in sensors))
    difference = np.maximum(fill_nan(np.abs(flow - back), _USUAL_DIFFERENCE_K), 1.0)
    return size * _UNIT_FLOW_SENSOR, size * pair / difference


def _heat_errors(site: Site, grid: Grid, heat: Floats) -> tuple[Floats, Floats]:
    """Maximum permissible errors [Wh] of the flow sensor, and of the temperature pair with calculator.

    EN 1434-1; they grow at small flows and differences. Pair and calculator are verified and sold together
    (common practice), the flow sensor separately: two independent parts.
    """
    meters = [p for q in HEAT_QUANTITIES for p in site.points_of(q)]
    given = {p.meter_class for p in meters if p.meter_class in ("1", "2", "3")}
    grade = max(given) if given else "2"
    size = np.abs(fill_nan(heat, 0.0))
    difference = np.abs(grid.gauge("flow_temperature") - grid.gauge("return_temperature"))
    # If not measured, assume the smallest difference at the maximum flow, and the lowest flow of a
    # pump: unmeasured values must not be more certain than measured ones.
    pump = site.heat_pump
    greatest = _MORE_THAN_NOMINAL * (
        pump.flow_m3_per_h or (pump.rated_output_kw or 6.0) / (KWH_PER_M3_K * _USUAL_DIFFERENCE_K)
    )
    least = np.minimum(size * 60.0 / (1000.0 * KWH_PER_M3_K * greatest), _USUAL_DIFFERENCE_K)
    difference = np.maximum(np.where(np.isfinite(difference), difference, least), 1.0)
    share = np.full(len(grid), _LEAST_FLOW_SHARE)
    if pump.flow_m3_per_h and grid.has("flow_rate"):
        # A meter is chosen so that the nominal flow is about half of its permanent flow rate (common
        # practice).
        flow = grid.gauge("flow_rate") / (2.0 * pump.flow_m3_per_h)
        share = np.where(np.isfinite(flow), np.clip(flow, 0.02, 1.0), share)
    limit = heat_meter_mpe(difference, share, grade)
    return size * np.asarray(limit.flow_sensor), size * np.asarray(limit.temperature_pair + limit.calculator)
