"""Days table: one row per local day with everything that figures and findings need.

`columns/` describes every column. The neighbouring modules make some of them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.circuit import NO_FLOW_M3_H, circuit_columns
from fieldfare.analysis.facts.cylinder import cylinder_columns
from fieldfare.analysis.facts.direct_heat import direct_heat_columns
from fieldfare.analysis.facts.load_factor import load_factor_columns, load_share, part_load
from fieldfare.analysis.facts.melting import melting_columns
from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.misplaced import misplaced_columns
from fieldfare.analysis.facts.money import money_columns
from fieldfare.analysis.facts.operating import operating_columns
from fieldfare.analysis.facts.other_heat import other_heat_columns
from fieldfare.analysis.facts.other_sources import other_source_columns
from fieldfare.analysis.facts.room_deficit import room_deficit_columns
from fieldfare.analysis.facts.segments import Segments, held_for, total_kwh
from fieldfare.analysis.facts.slots import slot_columns
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.facts.use_attribution import UseAttribution, attribute_to_uses
from fieldfare.analysis.minutes.grid import Grid
from fieldfare.analysis.minutes.operating_state import (
    COOLING,
    DEFROST,
    HEATING,
    HOT_WATER,
    OFF,
    UNKNOWN,
    USE_UNKNOWN,
)
from fieldfare.analysis.minutes.rolling import forward_fill, run_begins
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# A larger rise of the target ends a set-back, and radiators take some hours to follow (common practice: 2
# to 4 h).
_RAISED_K, _RECOVERY_MIN = 0.3, 240
# Pumps overrun and refrigerant settles after a stop; idle power is taken after that.
_SETTLED_MIN = 15
# Below this much pump power nothing circulates: the resolution of usual meters.
_NO_PUMP_W = 4.0
_COARSEST_FOR_REST_MIN = 15.0
# Night, afternoon and night [local hours], an hour of any clock from the sun; readings further apart blur
# them.
_RISE_HOURS, _RISE_APART_MIN = ((4, 8), (12, 16), (20, 24)), 120.0


def days_columns(site: Site, minutes: Minutes, frost: Callable[[], dict[str, Floats]]) -> dict[str, object]:
    """Columns of one row for each local day of the grid, as the module says.

    frost : gives the kg of frost in each minute, as `frost_growth` does
    """
    grid = minutes.grid
    day = Segments(grid.day_start[:-1], grid.day_start[1:])
    columns: dict[str, object] = {
        "day": grid.local_dates,
        "minutes_total": day.minutes,
    }
    columns |= _known(minutes, day)
    heaters = _Heaters.of(minutes)
    columns |= _energies(minutes, day, heaters)
    columns |= _pairs(minutes, day, heaters)
    columns |= _uses(minutes, day)
    columns |= _weather(minutes, day)
    columns |= _rooms(site, minutes, day)
    columns |= circuit_columns(minutes, day)
    columns |= _idle(minutes, day)
    columns |= cylinder_columns(site, minutes, day)
    columns |= operating_columns(site, minutes, day)
    share = load_share(site, minutes)
    gain = part_load(site, minutes, share)
    columns |= _expected(minutes, day, gain)
    columns |= load_factor_columns(minutes, day, share, gain)
    columns |= direct_heat_columns(site, minutes, day, share)
    columns |= room_deficit_columns(minutes, day)
    columns |= melting_columns(site, minutes, day)
    columns |= other_heat_columns(minutes, day)
    columns |= other_source_columns(site, minutes, day)
    columns |= misplaced_columns(minutes, day)
    columns |= _frost(site, frost, day)
    columns |= slot_columns(site, minutes, day)
    if site.cost is not None:
        columns |= money_columns(site, site.cost, minutes, day)
    return columns


def _known(minutes: Minutes, day: Segments) -> dict[str, object]:
    out: dict[str, object] = {
        "minutes_electricity_known": day.count(np.isfinite(minutes.electricity)),
        "minutes_heat_known": day.count(np.isfinite(minutes.heat)),
        "minutes_paired": day.count(minutes.paired),
        "minutes_any_known": (
            day.count(np.any(np.vstack(list(minutes.grid.seen.values())), axis=0))
            if minutes.grid.seen
            else np.zeros(len(day), dtype=np.int64)
        ),
    }
    for point, has_reading in minutes.grid.seen.items():
        out[f"seen.{point}"] = day.count(has_reading)
    for point, sent in minutes.grid.sent.items():
        out[f"sent.{point}"] = day.count(sent)
    for quantity, spacing in minutes.grid.spacing.items():
        out[f"spacing.{quantity}"] = np.full(len(day), spacing)
    for quantity, step in minutes.grid.step.items():
        out[f"step.{quantity}"] = np.full(len(day), step)
    out["running_spacing_min"] = np.full(len(day), minutes.use.running_spacing)
    out["use_spacing_min"] = np.full(len(day), minutes.use.water_spacing)
    return out


@dataclass(frozen=True)
class _Heaters:
    """Electricity of the direct heaters [Wh], (n,), 0 where there are none; the rest, nan where not known;
    and the use that the rest belongs to."""

    backup: Floats
    immersion: Floats
    rest: Floats
    split: UseAttribution

    @classmethod
    def of(cls, minutes: Minutes) -> _Heaters:
        plant, nothing = minutes.balance, np.zeros(len(minutes.grid))
        backup, immersion = (
            nothing if wh is None else fill_nan(wh, 0.0) for wh in (plant.backup_heater, plant.immersion)
        )
        rest = minutes.electricity - backup - immersion
        return cls(backup, immersion, rest, attribute_to_uses(minutes, rest))


def _energies(minutes: Minutes, day: Segments, heaters: _Heaters) -> dict[str, object]:
    """Electricity and heat by consumer and by use."""
    plant, use = minutes.balance, minutes.use
    out: dict[str, object] = {"electricity_total_kwh": total_kwh(day, minutes.electricity)}
    for name, wh in (
        ("heat_pump", plant.heat_pump),
        ("fan", plant.fan),
        ("backup", plant.backup_heater),
        ("immersion", plant.immersion),
        ("pump", plant.circulation_pump),
    ):
        out[f"electricity_{name}_kwh"] = total_kwh(day, wh)
    backup, immersion, rest, split = heaters.backup, heaters.immersion, heaters.rest, heaters.split
    code = use.code
    use_known = ~np.isin(code, (USE_UNKNOWN, UNKNOWN))
    water = code == HOT_WATER
    out["electricity_space_kwh"] = total_kwh(day, split.spent_on(HEATING) + np.where(water, 0.0, backup))
    out["electricity_hot_water_kwh"] = total_kwh(
        day, split.spent_on(HOT_WATER) + np.where(water, backup, 0.0) + immersion
    )
    out["electricity_defrost_kwh"] = total_kwh(day, split.spent_on(DEFROST))
    # Hourly readings show no rest at all.
    apart = minutes.grid.spacing.get("heat_pump_electricity", 1.0)
    out["electricity_idle_kwh"] = total_kwh(
        day, split.resting if apart <= _COARSEST_FOR_REST_MIN else np.full(len(code), np.nan)
    )
    out["electricity_undetermined_kwh"] = total_kwh(day, np.where(use_known, 0.0, rest))
    cooling = minutes.cooling
    out["electricity_cooling_kwh"] = total_kwh(day, split.spent_on(COOLING))
    # Cooling is counted separately from heat.
    heat = np.where(cooling & np.isfinite(minutes.heat), 0.0, minutes.heat)
    out["heat_cooling_kwh"] = total_kwh(
        day, np.where(cooling, -minutes.heat, np.where(np.isfinite(heat), 0.0, np.nan))
    )
    taken = minutes.drawn_back
    rest_heat = heat + taken
    serving = split.heat
    out["heat_total_kwh"] = total_kwh(day, heat)
    out["heat_defrost_taken_kwh"] = total_kwh(day, np.where(np.isfinite(heat), taken, np.nan))
    out["heat_hot_water_kwh"] = total_kwh(
        day, np.where(serving == HOT_WATER, rest_heat, np.where(np.isfinite(heat), 0.0, np.nan))
    )
    out["heat_space_kwh"] = total_kwh(
        day, np.where(serving != HOT_WATER, rest_heat, np.where(np.isfinite(heat), 0.0, np.nan))
    )
    space, hot = plant.space_heat, plant.hot_water_heat
    if space is not None and hot is not None:
        out["heat_hot_water_kwh"], out["heat_space_kwh"] = (
            total_kwh(day, np.maximum(hot, 0.0)),
            total_kwh(day, np.maximum(space, 0.0)),
        )
    # As in `_pairs`: a direct heater's heat is of the use that its electricity is of.
    seen = np.zeros(len(code)) if plant.sees_backup else backup
    out["heat_added_space_kwh"] = total_kwh(day, np.where(water, 0.0, seen))
    out["heat_added_hot_water_kwh"] = total_kwh(day, np.where(water, seen, 0.0) + immersion)
    out["heat_flow_error_kwh"] = total_kwh(day, minutes.flow_error)
    out["heat_pair_error_kwh"] = total_kwh(day, minutes.pair_error)
    out["minutes_heat_use_known"] = day.count(use_known & np.isfinite(heat))
    return out


def _pairs(minutes: Minutes, day: Segments, heaters: _Heaters) -> dict[str, object]:
    """Sums over minutes in which heat and all electricity meters of the plant are known."""
    plant, cooling = minutes.balance, minutes.cooling
    pair = minutes.paired & ~cooling
    out: dict[str, object] = _cooling_pairs(minutes, day, minutes.paired & cooling, heaters.rest)
    for name, wh in (
        ("heat", minutes.heat),
        ("heat_pump", plant.heat_pump),
        ("fan", plant.fan),
        ("backup", plant.backup_heater),
        ("immersion", plant.immersion),
        ("pump", plant.circulation_pump),
        ("flow_error", minutes.flow_error),
        ("pair_error", minutes.pair_error),
    ):
        out[f"paired_{name}_kwh"] = (
            day.sum(np.where(pair, wh, 0.0)) / 1000.0 if wh is not None else np.full(len(day), np.nan)
        )
    backup, immersion, split = heaters.backup, heaters.immersion, heaters.split
    # A defrost counts to the use that it interrupts.
    own = np.where(split.use == DEFROST, minutes.use.serves, split.use)
    added = np.zeros(len(backup)) if plant.sees_backup else backup
    for name, code in (("space", HEATING), ("hot_water", HOT_WATER)):
        mine, its_heat = pair & (own == code), pair & (split.heat == code)
        own_backup = np.where(mine if code == HOT_WATER else its_heat, backup, 0.0)
        own_heat = np.where(its_heat, minutes.heat, 0.0) + (0.0 if plant.sees_backup else own_backup)
        if code == HOT_WATER:
            own_heat = own_heat + np.where(pair, immersion, 0.0)
        own_electricity = np.where(mine, split.own, 0.0) + own_backup
        if code == HOT_WATER:
            own_electricity = own_electricity + np.where(pair, immersion, 0.0)
        out[f"paired_heat_{name}_kwh"] = day.sum(own_heat) / 1000.0
        out[f"paired_electricity_{name}_kwh"] = day.sum(own_electricity) / 1000.0
    out["paired_added_heat_kwh"] = day.sum(np.where(pair, added + immersion, 0.0)) / 1000.0
    return out


def _cooling_pairs(minutes: Minutes, day: Segments, pair: Flags, rest: Floats) -> dict[str, object]:
    """The same sums for cooling: cold, electricity without heaters, and the heat meter's errors."""
    parts = {
        "heat": -minutes.heat,
        "electricity": rest,
        "flow_error": minutes.flow_error,
        "pair_error": minutes.pair_error,
    }
    out: dict[str, object] = {
        f"paired_cooling_{name}_kwh": day.sum(np.where(pair, wh, 0.0)) / 1000.0 for name, wh in parts.items()
    }
    out["minutes_cooling"] = day.count(minutes.use.code == COOLING)
    return out


def _expected(minutes: Minutes, day: Segments, gain: Floats) -> dict[str, object]:
    """Electricity expected from the unit's rating for the heat given, at each minute's temperatures.

    The electricity really used includes defrosts, as rating points do. gain : of `part_load`
    """
    serving, heat, use = minutes.serving, minutes.heat, minutes.use
    metered = minutes.balance.heat_pump
    unit = metered if metered is not None else np.full(len(minutes.grid), np.nan)
    working = use.running & np.isfinite(heat) & np.isfinite(unit)
    out: dict[str, object] = {}
    # A defrost is judged at the flow it interrupts.
    cop = forward_fill(minutes.rated_cop, np.isfinite(minutes.rated_cop) & use.running, np.nan)
    curve_cop = minutes.curve_cop
    for name, code in (("space", HEATING), ("hot_water", HOT_WATER)):
        mine = working & (serving == code) & np.isfinite(cop)
        out[f"expected_{name}_kwh"] = day.sum(np.where(mine, heat / cop, 0.0)) / 1000.0
        out[f"expected_part_load_{name}_kwh"] = day.sum(np.where(mine, heat / cop / gain, 0.0)) / 1000.0
        out[f"expected_heat_{name}_kwh"] = day.sum(np.where(mine, heat, 0.0)) / 1000.0
        out[f"expected_used_{name}_kwh"] = day.sum(np.where(mine, unit, 0.0)) / 1000.0
    mine = working & (serving == HEATING) & np.isfinite(cop) & np.isfinite(curve_cop)
    out["expected_curve_space_kwh"] = day.sum(np.where(mine, heat / curve_cop, 0.0)) / 1000.0
    out["expected_curve_actual_kwh"] = day.sum(np.where(mine, heat / cop, 0.0)) / 1000.0
    return out


def _uses(minutes: Minutes, day: Segments) -> dict[str, object]:
    code = minutes.use.code
    starts = run_begins(minutes.use.running, before=True)
    starts &= np.concatenate(([True], code[:-1] != UNKNOWN))
    out: dict[str, object] = {
        "minutes_running": day.count(minutes.use.running),
        "minutes_heating": day.count(code == HEATING),
        "minutes_hot_water": day.count(code == HOT_WATER),
        "minutes_defrost": day.count(code == DEFROST),
        "minutes_off": day.count(code == OFF),
        "minutes_unknown": day.count(code == UNKNOWN),
        "starts": day.count(starts),
    }
    for name, quantity in (
        ("compressor_starts_counted", "compressor_starts"),
        ("compressor_hours_counted", "compressor_hours"),
    ):
        counted = minutes.grid.counts.get(quantity)
        out[name] = day.total(counted) if counted is not None else np.full(len(day), np.nan)
    return out


def _weather(minutes: Minutes, day: Segments) -> dict[str, object]:
    grid = minutes.grid
    outdoor = grid.gauge("outdoor_temperature")
    heating = (minutes.use.code == HEATING) | (minutes.use.code == DEFROST)
    return {
        "outdoor": _day_mean(day, outdoor),
        "outdoor_min": day.least(outdoor),
        "outdoor_max": day.greatest(outdoor),
        "outdoor_rise": _rise(grid, day, outdoor),
        "outdoor_heating": day.mean(outdoor, heating),
        "solar": _day_mean(day, grid.gauge("solar_irradiance")),
        "minutes_frosting": day.count(minutes.frosting & heating),
    }


def _rise(grid: Grid, day: Segments, outdoor: Floats) -> Floats:
    """How far the afternoon is warmer than the nights beside it [K]; nan where readings are too far apart."""
    if grid.spacing.get("outdoor_temperature", np.inf) > _RISE_APART_MIN:
        return np.full(len(day), np.nan)

    def part(hours: tuple[int, int]) -> Floats:
        begin, end = (np.minimum(day.start + 60 * h, day.end) for h in hours)
        return _day_mean(Segments(begin, end), outdoor)

    morning, afternoon, evening = (part(hours) for hours in _RISE_HOURS)
    return np.asarray(afternoon - 0.5 * (morning + evening))


def _frost(site: Site, frost: Callable[[], dict[str, Floats]], day: Segments) -> dict[str, object]:
    """Frost that settles on the coil of an air source in a day [kg]: the low, the usual and the high
    guess."""
    if site.heat_pump.source != "air":
        return {}
    return {f"frost_{name}": day.total(kg) for name, kg in frost().items()}


def _had_time(target_temperature: Floats) -> Flags:
    """Minutes in which the target has not risen for long enough for a room to follow: bool (n,)."""
    raised = np.concatenate(([0.0], np.diff(fill_nan(target_temperature, 0.0)))) > _RAISED_K
    return held_for(~raised, _RECOVERY_MIN)


def _rooms(site: Site, minutes: Minutes, day: Segments) -> dict[str, object]:
    grid = minutes.grid
    room = grid.gauge("room_temperature")
    target = grid.gauge("target_room_temperature")
    out: dict[str, object] = {
        "room": _day_mean(day, room),
        "room_min": day.least(room),
        "room_begin": Segments(day.start, day.start + 60).mean(room),
        "room_end": Segments(day.end - 60, day.end).mean(room),
        "target": day.mean(target),
        "target_max": day.greatest(target),
    }
    targets = grid.zones.get("target_room_temperature", {})
    # A target without a zone applies to every room; a zone's own target only to that zone.
    rooms = grid.zones.get("room_temperature", {})
    whole_house = not set(targets) & set(rooms)
    nothing = np.full(len(grid), np.nan)
    for zone, values in rooms.items():
        out[f"room.{zone}"] = day.mean(values)
        zone_target = targets.get(zone, target if whole_house else nothing)
        both = np.isfinite(values) & np.isfinite(zone_target) & _had_time(zone_target)
        out[f"minutes_asked.{zone}"] = day.count(both)
        out[f"target.{zone}"] = day.mean(zone_target, both)
        # Half a kelvin is a room thermostat's usual switching band (common practice).
        out[f"minutes_below.{zone}"] = day.count(both & (values < zone_target - 0.5))
        out[f"minutes_far_below.{zone}"] = day.count(both & (values < zone_target - 1.5))
    for zone, calls in grid.zones.get("heat_call", {}).items():
        out[f"called.{zone}"] = _day_mean(day, calls)
    return out


def _idle(minutes: Minutes, day: Segments) -> dict[str, object]:
    """Electricity and pump minutes without any demand."""
    plant, use, grid = minutes.balance, minutes.use, minutes.grid
    rest = held_for(use.code == OFF, _SETTLED_MIN)
    call = grid.gauge("heat_call")
    no_call = rest & ~(fill_nan(call, 0.0) > 0.5)
    out: dict[str, object] = {"minutes_rest": day.count(rest)}
    unit = plant.heat_pump
    out["idle_power"] = day.mean(unit * 60.0, rest) if unit is not None else np.full(len(day), np.nan)
    pump = plant.circulation_pump
    if pump is not None and grid.spacing.get("circulation_pump_electricity", 99.0) <= 10.0:
        known = np.isfinite(pump)
        out["minutes_pump_known"] = day.count(no_call & known)
        out["minutes_pump_idle"] = day.count(no_call & known & (fill_nan(pump, 0.0) * 60.0 > _NO_PUMP_W))
        out["pump_idle_power"] = day.mean(pump * 60.0, no_call)
    elif grid.has("flow_rate"):
        rate = grid.gauge("flow_rate")
        out["minutes_pump_known"] = day.count(no_call & np.isfinite(rate))
        out["minutes_pump_idle"] = day.count(no_call & (fill_nan(rate, 0.0) > NO_FLOW_M3_H))
    return out


def _day_mean(day: Segments, values: Floats) -> Floats:
    """Mean of a day with at least two thirds known, as part of a day is biased."""
    share = day.count(np.isfinite(values)) / np.maximum(day.minutes, 1)
    return np.where(share >= 2 / 3, day.mean(values), np.nan)
