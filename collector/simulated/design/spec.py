"""Specification of a simulated installation, as frozen dataclasses.

Temperatures are degC, powers W, energies J or kWh as named, volumes litres, flows m3/h.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

Arrangement = Literal["none", "series", "parallel"]
ControlKind = Literal["thermostat", "compensation"]
EmitterKind = Literal["radiator", "underfloor", "fan_coil"]


@dataclass(frozen=True)
class Climate:
    """Weather of an invented place."""

    name: str
    january_c: float  # mean of the coldest month
    july_c: float
    day_noise_k: float  # standard deviation of daily means in winter
    swing_k: float  # half the day's range under a clear sky
    dew_depression_k: float  # winter mean of air minus dew point
    clearness: float  # mean share of clear-sky sun in winter
    design_c: float
    latitude: float
    longitude: float
    timezone: str
    daily: tuple[float, ...] = ()  # daily means that replace the generator's
    daily_from: date | None = None


@dataclass(frozen=True)
class HouseSpec:
    """One or two zones, each an air node and a fabric node."""

    floor_area_m2: float
    htc_w_per_k: float  # transmission and ventilation together, for heat given to the air
    direct_share: float  # of the coefficient that bypasses the fabric: windows and air change
    air_kj_per_k: float
    fabric_kj_per_k: float
    aperture_m2: float  # south facade's effective glass
    gains_w: float  # people and appliances, daily mean
    zones: tuple[str, ...]
    zone_shares: tuple[float, ...]


@dataclass(frozen=True)
class EmitterSpec:
    """Heat emitters of one zone."""

    zone: str
    kind: EmitterKind
    output_w: float  # at excess_k
    excess_k: float
    exponent: float
    litres: float  # water in emitters and pipes
    metal_kj_per_k: float
    slab_kj_per_k: float = 0.0  # underfloor only
    slab_area_m2: float = 0.0
    opened: float = 1.0  # of its lockshield valve or manifold: its part of the water over the designed one


@dataclass(frozen=True)
class Control:
    kind: ControlKind
    targets_c: tuple[float, ...]
    setback_k: float
    setback_from_h: float
    setback_to_h: float
    hysteresis_k: float  # of the room thermostat
    cutoff_c: float  # heating rests above this day mean outdoors
    curve: tuple[tuple[float, float], ...]  # outdoor, flow; coldest first
    min_flow_c: float
    stop_above_k: float  # flow over target that ends a run at the lowest output
    start_below_k: float
    min_off_s: float
    min_run_s: float


@dataclass(frozen=True)
class HeatPumpSpec:
    rated_w: float  # maximum continuous output at A7/W35
    min_w: float
    cop_a7w35: float  # EN 14511, full output, dry coil
    max_flow_c: float
    flow_m3_per_h: float
    fan_w: float
    controls_w: float
    crankcase_w: float
    pump_w: float
    hot_water_share: float  # of full output used for the cylinder
    hot_water_reach_c: float  # cylinder temperature above which the unit hands over to the immersion heater
    refrigerant: str
    antifreeze: Literal["none", "propylene_glycol", "ethylene_glycol"] = "none"
    antifreeze_percent: float = 0.0
    cold_slope: float = 0.015  # output per K of evaporating temperature; common practice for inverter units
    warm_slope: float = 0.0035  # output lost per K of flow temperature; common practice
    air_approach_k: float = (
        8.0  # air over evaporating temperature at A7/W35, full output; common practice: 6 to 11
    )
    coat_kg_per_kw: float = (
        0.20  # gives 1.5 to 2 kg on an 8 kW coil, as cold-room coils carry; common practice
    )
    defrost_trigger: float = 0.60  # of the clean coil's conductance, as the unit infers it
    defrost_gap_s: float = 2100.0  # shortest running time between defrosts; common practice 30 to 45 min
    defrost_end_c: float = 10.0  # coil temperature that ends a defrost; common practice 8 to 15
    defrost_timed: bool = False  # True: after so much running with a cold coil, whatever frost there is
    pump_difference_k: float = 0.0  # above 0 the pump modulates to keep this difference; 0: one speed
    pump_least: float = 0.3  # lowest flow of a modulating pump over the nominal one


@dataclass(frozen=True)
class HotWaterSpec:
    litres: float
    setpoint_c: float
    reheat_below_c: float
    coil_w_per_k: float
    loss_w_per_k: float
    rated_loss_kwh_per_day: float  # at 45 K, as EN 12897 rates it; what the site file says
    litres_40_per_day: float
    windows: tuple[tuple[float, float], ...] = ()  # local hours in which reheats may start; none: always
    pasteurise_c: float | None = 60.0
    pasteurise_every_days: int = 7
    pasteurise_hour: int = 2
    immersion_w: float = 3000.0
    immersion_completes: bool = True
    limit_min: float = 210.0


@dataclass(frozen=True)
class BufferSpec:
    litres: float
    arrangement: Arrangement
    secondary_flow_m3_per_h: float = 0.0
    secondary_pump_w: float = 0.0


@dataclass(frozen=True)
class Backup:
    power_w: float
    bivalent_c: float  # not used above this
    patience_min: float = 30.0  # time the unit must be short at full output


@dataclass(frozen=True)
class Meter:
    """One measured value: its declaration in the site file and its real errors."""

    id: str
    quantity: str
    kind: Literal["power", "register", "interval", "gauge", "state"]
    unit: str
    every_s: int
    resolution: float = 0.0  # in the point's unit
    noise: float = 0.0  # standard deviation, in the point's unit
    gain: float = 1.0
    offset: float = 0.0  # in the canonical unit; heat meters: error of the temperature pair in K
    meter_class: str = ""
    includes: tuple[str, ...] = ()
    stamp: Literal["", "start", "end"] = ""
    zone: str = ""
    antifreeze_corrected: bool | None = None
    start_value: float = 0.0  # of a register, in the point's unit
    lost_share: float = 0.0


@dataclass(frozen=True)
class DesignSpec:
    heat_loss_w: float
    indoor_c: float
    outdoor_c: float
    space_kwh: float
    hot_water_kwh: float
    spf_space: float
    spf_hot_water: float
    bivalent_c: float | None


@dataclass(frozen=True)
class Fault:
    """A fault, from `start` (None: the code's usual place in the season) at a level of 0 to 1."""

    code: str
    cause: str | None
    level: float
    start: date | None = None
    built_in: bool = False  # already part of the spec


@dataclass(frozen=True)
class Oddity:
    """Something unusual that is not a fault."""

    kind: Literal["away", "cold_snap", "party", "serviced", "settling_in"]
    start: date | None = None


@dataclass(frozen=True)
class Household:
    """Invented people and address, for the site file's contact."""

    name: str
    phone: str
    address: str
    latitude: float
    longitude: float
    area: str | None = None
    access_notes: str | None = None


@dataclass(frozen=True)
class PlantSpec:
    id: str
    name: str
    seed: int
    climate: Climate
    house: HouseSpec
    emitters: tuple[EmitterSpec, ...]
    control: Control
    heat_pump: HeatPumpSpec
    hot_water: HotWaterSpec | None
    buffer: BufferSpec | None
    backup: Backup | None
    design: DesignSpec
    meters: tuple[Meter, ...]
    faults: tuple[Fault, ...] = ()
    oddities: tuple[Oddity, ...] = ()
    handed_over: date | None = None
    previous_fuel: str = "natural_gas"
    cold_pressure_bar: float = 1.6
    contact: Household | None = None
