"""Effects of each fault on the system, at three strengths, with the reasoning.

Strengths are an experienced engineer's judgement of the traces: faint, hard to see without a hint; plain,
recognised within minutes; gross, the householder calls. Level 0 is healthy; 1/3, 2/3 and 1 are the three
strengths.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from fieldfare.collector.simulated.design.spec import Fault, PlantSpec
from fieldfare.collector.simulated.step.machine import steady

if TYPE_CHECKING:
    from fieldfare.collector.simulated.design.schedule import SimulatedSpan

How = Literal["set", "add", "mul"]
Relative = Literal["", "curve_top", "setpoint", "design", "january", "load"]
LEVELS = {"faint": 1.0 / 3.0, "plain": 2.0 / 3.0, "gross": 1.0}


@dataclass(frozen=True)
class FaultEffect:
    """One setting or property that an active fault changes, hour by hour."""

    name: str  # of layout.HOURLY
    how: How
    healthy: float  # value at level 0
    faint: float
    plain: float
    gross: float
    slide_days: float = 0.0  # above 0: days over which it grows to its value
    relative: Literal["", "curve_top", "setpoint", "design", "january", "load"] = (
        ""  # added to a property of the system
    )

    def at(self, level: float) -> float:
        """Value at a level between 0 and 1."""
        return float(
            np.interp(level, [0.0, 1 / 3, 2 / 3, 1.0], [self.healthy, self.faint, self.plain, self.gross])
        )


def _e(
    name: str,
    how: How,
    healthy: float,
    faint: float,
    plain: float,
    gross: float,
    *,
    slide: float = 0.0,
    relative: Relative = "",
) -> FaultEffect:
    """A FaultEffect, short to write."""
    return FaultEffect(name, how, healthy, faint, plain, gross, slide, relative)


# (code, cause): effects. A cause of None is the code's own single form.
EFFECTS: dict[tuple[str, str | None], tuple[FaultEffect, ...]] = {
    # A room thermostat made for boilers switches by time: its anticipator and narrow band give one, two and
    # three calls an hour with a unit that must rest ten minutes; one is a nuisance, two wear it, three leave
    # no run worth the name.
    ("short_cycling", "thermostat_chopping"): (
        _e("hysteresis", "mul", 1.0, 0.8, 0.4, 0.2),
        _e("anticipator", "add", 0.0, 0.25, 1.5, 3.0),
    ),
    # At 62 % the spread only widens; at 40 % the lowest output lifts the flow to its limit in minutes; at 28
    # % at once.
    ("short_cycling", "flow_restriction"): (_e("flow", "mul", 1.0, 0.62, 0.40, 0.28),),
    # A fifth less air suggests dirty fins; at 55 % leaves or a fence block the coil.
    ("excessive_defrost", "coil_airflow"): (_e("airflow", "mul", 1.0, 0.84, 0.70, 0.52),),
    # Undercharge starves the coil first, then costs output and efficiency; a frosted inlet shows the plain
    # strength.
    ("excessive_defrost", "low_refrigerant_symptom"): (
        _e("evaporator", "mul", 1.0, 0.82, 0.66, 0.50),
        _e("capacity", "mul", 1.0, 0.95, 0.86, 0.72),
        _e("eta", "mul", 1.0, 0.97, 0.91, 0.82),
    ),
    # With a third of the melting heat, defrosts reach the time limit and leave ice.
    ("excessive_defrost", "insufficient_defrost_heat"): (_e("defrost_heat", "mul", 1.0, 0.55, 0.32, 0.20),),
    ("defrost_without_frost", "low_refrigerant_symptom"): (
        _e("evaporator", "mul", 1.0, 0.66, 0.50, 0.38),
        _e("capacity", "mul", 1.0, 0.92, 0.80, 0.64),
        _e("eta", "mul", 1.0, 0.95, 0.88, 0.78),
    ),
    # A coil sensor that has slipped or drifted: 1 K brings defrosts forward, 4 K starts them on a dry coil in
    # cool air, 9 K at any temperature.
    ("defrost_without_frost", "sensor_fault"): (_e("coil_sensor", "add", 0.0, -1.0, -4.0, -9.0),),
    # 2.5 K is within what installers argue about; 6 K costs an eighth of the electricity; 12 K is a factory
    # curve.
    ("flow_temperature_above_curve", "curve_set_high"): (_e("curve_shift", "add", 0.0, 2.5, 6.0, 12.0),),
    # Flow temperature set by hand near the design value and forgotten: for ten days, five weeks, permanently.
    ("flow_temperature_above_curve", "manual_override"): (
        _e("fixed_flow", "set", 0.0, -3.0, 1.0, 6.0, relative="curve_top"),
    ),
    ("no_weather_compensation", "fixed_flow_setting"): (
        _e("fixed_flow", "set", 0.0, -6.0, -1.0, 5.0, relative="curve_top"),
    ),
    ("low_flow", "strainer_or_air"): (
        _e("flow", "mul", 1.0, 0.75, 0.55, 0.40),
        _e("air_bubbles", "add", 0.0, 0.02, 0.05, 0.09),
    ),
    ("low_flow", "pump_setting"): (_e("flow", "mul", 1.0, 0.75, 0.55, 0.40),),
    # Debris after a refit: 10 % in ten weeks is unnoticed, a third is plain, at 45 % the unit trips on
    # flow.
    ("falling_flow", "strainer_clogging"): (_e("flow", "mul", 1.0, 0.88, 0.66, 0.42, slide=70.0),),
    ("buffer_mixing", "secondary_flow_exceeds_primary"): (_e("flow2", "mul", 1.0, 1.5, 2.4, 4.2),),
    # A bivalent point 5.5 K below January's mean uses the heater in cold spells, at the mean half the winter,
    # above it always; set so, it does not wait for the unit to fall short.
    ("backup_heater_use", "bivalent_set_high"): (
        _e("bivalent", "set", -8.0, -5.5, -1.5, 6.0, relative="january"),
        _e("eager", "set", 0.0, 1.0, 1.0, 1.0),
    ),
    # The unit gives 85, 65 or 48 % of the design load on the design day; the heater carries the rest.
    ("backup_heater_use", "capacity_shortfall"): (
        _e("capacity", "mul", 1.2, 0.85, 0.65, 0.48, relative="load"),
        _e("bivalent", "set", 0.0, 14.0, 18.0, 24.0, relative="design"),
    ),
    # Element left on a timer: for an hour after supper, twice a day, all day.
    ("immersion_use", "immersion_timer_on"): (
        _e("immersion_timer", "set", 0.0, 1.5, 6.0, 12.0, relative="setpoint"),
    ),
    # 10 to 15 W is usual; 40 W more is a trace heater, 90 W a crankcase heater that is always on, 220 W
    # both.
    ("high_standby", None): (_e("standby", "add", 0.0, 30.0, 90.0, 220.0),),
    # The level sets the share of the day with the pump forced on: see apply_fault.
    ("pump_always_on", None): (_e("pump_always", "set", 0.0, 1.0, 1.0, 1.0),),
    # Heating limit at 19, 22 and 30 C with the room call forced: the towel rail is warm in June.
    ("heating_out_of_season", None): (
        _e("cutoff", "set", 16.0, 18.5, 22.0, 30.0),
        _e("summer_call", "set", 0.0, 0.4, 0.8, 1.0),
        _e("target0", "add", 0.0, 0.5, 2.0, 4.0),
        _e("target1", "add", 0.0, 0.5, 2.0, 4.0),
        _e("min_flow", "add", 0.0, 1.0, 4.0, 8.0),
    ),
    # Field meters can hardly resolve 5 %; 20 % is outside every tolerance; 35 % is a failing
    # compressor.
    ("efficiency_below_expected", None): (_e("eta", "mul", 1.0, 0.93, 0.78, 0.62),),
    ("efficiency_fell", "step"): (_e("eta", "mul", 1.0, 0.95, 0.84, 0.68),),
    ("efficiency_fell", "slide"): (_e("eta", "mul", 1.0, 0.95, 0.84, 0.68, slide=60.0),),
    ("room_below_target", "curve_too_low"): (_e("curve_shift", "add", 0.0, -2.5, -5.5, -10.0),),
    ("room_below_target", "zone_not_opening"): (_e("open1", "mul", 1.0, 0.10, 0.04, 0.0),),
    # Coil transfer falls by half unseen; at a sixth reheats take half as long again; at a tenth the unit
    # trips on its limit.
    ("slow_reheat", "coil_or_scale"): (_e("coil_ua", "mul", 1.0, 0.40, 0.17, 0.10),),
    ("slow_reheat", "flow_low"): (_e("flow_hot", "mul", 1.0, 0.40, 0.23, 0.17),),
    ("hot_water_shortfall", "reheat_slow"): (
        _e("coil_ua", "mul", 1.0, 0.30, 0.14, 0.09),
        _e("draw", "mul", 1.0, 1.3, 1.5, 1.7),
    ),
    # A circulation pipe on a day timer loses 1, 2.5 or 6 kWh a day.
    ("high_standing_loss", "secondary_circulation"): (_e("secondary", "add", 0.0, 1.6, 5.0, 12.0),),
    ("high_standing_loss", "insulation"): (_e("insulation", "add", 0.0, 0.7, 2.2, 5.5),),
    # Disinfection ends at 57.5 C, is never tried, is never tried and the store kept lukewarm.
    ("pasteurisation_missed", None): (
        _e("pasteurise", "mul", 1.0, 0.958, 0.0, 0.0),
        _e("setpoint", "add", 0.0, 0.0, 0.0, -4.0),
        _e("reheat_below", "add", 0.0, 0.0, 0.0, -4.0),
    ),
    # A diverter that leaks 0.6, 2 or 8 %: at 2 % the heating draws half a kilowatt from the cylinder.
    ("diverter_passing", None): (_e("passing", "set", 0.0, 0.006, 0.02, 0.08),),
    # A weeping valve: a tenth of a bar a month, a tenth a week, a bar in a month.
    ("pressure_falling", None): (_e("leak", "add", 0.0, 0.03, 0.09, 0.30),),
    ("pressure_low", None): (_e("pressure", "add", 0.0, -0.75, -1.05, -1.35),),
    # The unit's supply trips, the gateway's does not: hours, one day, three days without flow in frost.
    ("frost_risk", "power_loss"): (_e("power", "set", 1.0, 0.0, 0.0, 0.0),),
}

# What households do that is no fault of the system: the same form, of no finding.
HABITS: dict[tuple[str, str | None], tuple[FaultEffect, ...]] = {
    ("household", "windows_open"): (_e("infiltration", "mul", 1.0, 3.0, 7.0, 12.0),),
    ("household", "more_drawn"): (_e("draw", "mul", 1.0, 1.5, 2.2, 3.0),),
    ("household", "heating_off"): (_e("cutoff", "set", 16.0, 5.0, -30.0, -40.0),),
}

# Codes whose fault begins during the span by default; the others are present from the first day.
LATER = {
    "efficiency_fell",
    "falling_flow",
    "pressure_falling",
    "frost_risk",
    "register_reset",
    "sensor_stuck",
    "data_gap",
}


def fault_start_day(fault: Fault, span: SimulatedSpan) -> int:
    """Local day, counted from the span's first, on which a fault begins (-1000: always present)."""
    if fault.start is not None:
        return (fault.start - span.first).days
    if fault.code in LATER:
        return int(span.days * (0.3 if fault.code in {"falling_flow", "pressure_falling"} else 0.5))
    if fault.cause == "manual_override":
        return int(span.days * 0.35)
    return -1000


def apply_fault(fault: Fault, spec: PlantSpec, h: np.ndarray, span: SimulatedSpan) -> None:
    """Change the hours in which a fault is active; h (hours,) is updated in place.

    fault : Fault; spec : PlantSpec; span : SimulatedSpan
    """
    effects = EFFECTS.get((fault.code, fault.cause)) or HABITS.get((fault.code, fault.cause))
    if effects is None:
        return
    day0 = fault_start_day(fault, span)
    since = h["day"] - day0
    active = since >= 0
    if fault.code == "frost_risk":
        active &= h["hour"] + 24.0 * since >= 18.0
        active &= h["hour"] + 24.0 * since < 18.0 + np.interp(
            fault.level, [0, 1 / 3, 2 / 3, 1], [0, 5, 20, 72]
        )
    if fault.code == "immersion_use" and fault.cause == "immersion_timer_on":
        hour = h["hour"]
        window = (hour >= 19) & (hour < 21)
        if fault.level > 0.5:
            window |= (hour >= 5) & (hour < 8)
        if fault.level > 0.9:
            window |= True
        active &= window
    if fault.code == "high_standing_loss" and fault.cause == "secondary_circulation":
        active &= (h["hour"] >= 5) & (h["hour"] < 23)
    if fault.cause == "manual_override":
        active &= since < np.interp(fault.level, [0, 1 / 3, 2 / 3, 1], [0, 10, 35, 10_000])
    if fault.code == "pump_always_on" and fault.level < 0.5:
        active &= (h["hour"] >= 6) & (h["hour"] < 12)
    for effect in effects:
        value = effect.at(fault.level)
        if effect.relative == "load":
            value = min(1.0, value * load_share(spec))
        elif effect.relative:
            value += _base(spec, effect.relative)
        share: np.ndarray | float = 1.0
        if effect.slide_days > 0.0:
            share = np.clip((since + h["hour"] / 24.0) / effect.slide_days, 0.0, 1.0)[active]
        if effect.how == "mul":
            h[effect.name][active] *= 1.0 + (value - 1.0) * share
        elif effect.how == "add":
            h[effect.name][active] += value * share
        else:
            h[effect.name][active] = value


def _base(spec: PlantSpec, relative: str) -> float:
    """Property of the system that a setting is measured from [degC]."""
    if relative == "curve_top":
        return spec.control.curve[0][1]
    if relative == "january":
        return spec.climate.january_c
    if relative == "design":
        return spec.climate.design_c
    if spec.hot_water is None:
        raise ValueError("a hot-water fault needs a plant that makes hot water")
    return spec.hot_water.setpoint_c


def load_share(spec: PlantSpec) -> float:
    """Design load as a share of the unit's output on the design day at the curve's flow temperature."""
    output, _ = steady(spec.heat_pump, spec.climate.design_c, spec.control.curve[0][1])
    load = spec.house.htc_w_per_k * (spec.design.indoor_c - spec.climate.design_c)
    return load / (0.93 * output)  # less what frost and hot water need
