"""Days table: one row per local day with everything that figures and findings need.

Energies in kWh, temperatures in °C, powers in W, flows in m3/h, pressures in bar, times in minutes. Prefixes:
`e_` electricity, `q_` heat, `p_` sums over minutes with known heat and electricity (for ratios), `x_`
electricity expected from the unit's rating, `n_` minutes, `room.` and `seen.` one column per zone or point.
The neighbouring modules add more columns.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.circuit import NO_FLOW_M3_H, circuit_columns
from fieldfare.analysis.facts.cylinder import tank_columns
from fieldfare.analysis.facts.direct_heat import direct_heat_columns
from fieldfare.analysis.facts.load_factor import load_share, part_load, strain_columns
from fieldfare.analysis.facts.melting import melting_columns
from fieldfare.analysis.facts.minutes import Minutes
from fieldfare.analysis.facts.misplaced import misplaced_columns
from fieldfare.analysis.facts.money import money_columns
from fieldfare.analysis.facts.operating import operating_columns
from fieldfare.analysis.facts.other_heat import other_heat_columns
from fieldfare.analysis.facts.other_sources import other_source_columns
from fieldfare.analysis.facts.room_deficit import warmth_columns
from fieldfare.analysis.facts.segments import Segments, held_for, total_kwh
from fieldfare.analysis.facts.slots import slot_columns
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.minutes.operating_state import (
    COOLING,
    DEFROST,
    HEATING,
    HOT_WATER,
    OFF,
    UNKNOWN,
    UNTOLD,
    within,
)
from fieldfare.analysis.minutes.rolling import forward_fill
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


def days_columns(site: Site, minutes: Minutes, frost: Callable[[], dict[str, Floats]]) -> dict[str, object]:
    """Columns of one row for each local day of the grid, as the module says.

    frost : gives the kg of frost in each minute, as `frost_growth` does
    """
    grid = minutes.grid
    day = Segments(grid.day_start[:-1], grid.day_start[1:])
    columns: dict[str, object] = {
        "day": grid.local_dates,
        "n_minutes": day.minutes,
    }
    columns |= _known(minutes, day)
    columns |= _energies(minutes, day)
    columns |= _pairs(minutes, day)
    columns |= _uses(minutes, day)
    columns |= _weather(minutes, day)
    columns |= _rooms(site, minutes, day)
    columns |= circuit_columns(minutes, day)
    columns |= _idle(minutes, day)
    columns |= tank_columns(site, minutes, day)
    columns |= operating_columns(site, minutes, day)
    share = load_share(site, minutes)
    gain = part_load(site, minutes, share)
    columns |= _expected(minutes, day, gain)
    columns |= strain_columns(minutes, day, share, gain)
    columns |= direct_heat_columns(site, minutes, day, share)
    columns |= warmth_columns(minutes, day)
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
        "n_electricity": day.count(np.isfinite(minutes.electricity)),
        "n_heat": day.count(np.isfinite(minutes.heat)),
        "n_pair": day.count(minutes.paired),
        "n_any": (
            day.count(np.any(np.vstack(list(minutes.grid.seen.values())), axis=0))
            if minutes.grid.seen
            else np.zeros(len(day), dtype=np.int64)
        ),
    }
    for point, seen in minutes.grid.seen.items():
        out[f"seen.{point}"] = day.count(seen)
    for point, sent in minutes.grid.sent.items():
        out[f"sent.{point}"] = day.count(sent)
    for quantity, spacing in minutes.grid.spacing.items():
        out[f"spacing.{quantity}"] = np.full(len(day), spacing)
    for quantity, step in minutes.grid.step.items():
        out[f"step.{quantity}"] = np.full(len(day), step)
    out["running_spacing"] = np.full(len(day), minutes.use.running_spacing)
    out["use_spacing"] = np.full(len(day), minutes.use.water_spacing)
    return out


def _energies(minutes: Minutes, day: Segments) -> dict[str, object]:
    """Electricity and heat by consumer and by use."""
    plant, use = minutes.balance, minutes.use
    out: dict[str, object] = {"e_total": total_kwh(day, minutes.electricity)}
    for name, wh in (
        ("heat_pump", plant.heat_pump),
        ("fan", plant.fan),
        ("backup", plant.backup_heater),
        ("immersion", plant.immersion),
        ("pump", plant.circulation_pump),
    ):
        out[f"e_{name}"] = total_kwh(day, wh)
    nothing = np.zeros(len(minutes.grid))
    backup = fill_nan(plant.backup_heater, 0.0) if plant.backup_heater is not None else nothing
    immersion = fill_nan(plant.immersion, 0.0) if plant.immersion is not None else nothing
    rest = minutes.electricity - backup - immersion
    code, serves = use.code, use.serves
    use_known = ~np.isin(code, (UNTOLD, UNKNOWN))
    water, idle = code == HOT_WATER, code == OFF
    # A sparse reading at a run's end includes part of the run; hourly ones show no rest at all.
    apart = minutes.grid.spacing.get("heat_pump_electricity", 1.0)
    edge = idle & within(use.running, round(apart)) if apart > 2.5 else np.zeros(len(code), dtype=np.bool_)
    own = np.where(edge, serves, code)
    out["e_space"] = total_kwh(day, np.where(own == HEATING, rest, 0.0) + np.where(water, 0.0, backup))
    out["e_hot_water"] = total_kwh(
        day, np.where(own == HOT_WATER, rest, 0.0) + np.where(water, backup, 0.0) + immersion
    )
    out["e_defrost"] = total_kwh(day, np.where(code == DEFROST, rest, 0.0))
    resting = np.where(idle & ~edge, rest, 0.0)
    out["e_idle"] = total_kwh(day, resting if apart <= _COARSEST_FOR_REST_MIN else np.full(len(code), np.nan))
    out["e_untold"] = total_kwh(day, np.where(use_known, 0.0, rest))
    cooling = minutes.cooling
    out["e_cooling"] = total_kwh(day, np.where(own == COOLING, rest, 0.0))
    # Cooling is counted separately from heat.
    heat = np.where(cooling & np.isfinite(minutes.heat), 0.0, minutes.heat)
    out["q_cooling"] = total_kwh(
        day, np.where(cooling, -minutes.heat, np.where(np.isfinite(heat), 0.0, np.nan))
    )
    taken = minutes.drawn_back
    rest_heat = heat + taken
    serving = np.where(idle, serves, minutes.serving)
    out["q_total"] = total_kwh(day, heat)
    out["q_defrost_taken"] = total_kwh(day, np.where(np.isfinite(heat), taken, np.nan))
    out["q_hot_water"] = total_kwh(
        day, np.where(serving == HOT_WATER, rest_heat, np.where(np.isfinite(heat), 0.0, np.nan))
    )
    out["q_space"] = total_kwh(
        day, np.where(serving != HOT_WATER, rest_heat, np.where(np.isfinite(heat), 0.0, np.nan))
    )
    space, hot = plant.space_heat, plant.hot_water_heat
    if space is not None and hot is not None:
        out["q_hot_water"], out["q_space"] = (
            total_kwh(day, np.maximum(hot, 0.0)),
            total_kwh(day, np.maximum(space, 0.0)),
        )
    out["q_flow_error"] = total_kwh(day, minutes.flow_error)
    out["q_pair_error"] = total_kwh(day, minutes.pair_error)
    out["q_use_known"] = day.count(use_known & np.isfinite(heat))
    return out


def _pairs(minutes: Minutes, day: Segments) -> dict[str, object]:
    """Sums over minutes in which heat and all electricity meters of the plant are known."""
    plant, cooling = minutes.balance, minutes.cooling
    pair = minutes.paired & ~cooling
    out: dict[str, object] = _cooling_pairs(minutes, day, minutes.paired & cooling)
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
        out[f"p_{name}"] = (
            day.sum(np.where(pair, wh, 0.0)) / 1000.0 if wh is not None else np.full(len(day), np.nan)
        )
    nothing = np.zeros(len(minutes.grid))
    backup = fill_nan(plant.backup_heater, 0.0) if plant.backup_heater is not None else nothing
    immersion = fill_nan(plant.immersion, 0.0) if plant.immersion is not None else nothing
    rest = fill_nan(minutes.electricity, 0.0) - backup - immersion
    serving = minutes.serving
    after_stop = np.where(minutes.use.code == OFF, minutes.use.serves, serving)
    added = nothing if plant.sees_backup else backup
    for name, code in (("space", HEATING), ("hot_water", HOT_WATER)):
        mine = pair & (serving == code)
        its_heat = pair & (after_stop == code)
        own_backup = np.where(mine if code == HOT_WATER else pair & (after_stop == HEATING), backup, 0.0)
        own_heat = np.where(its_heat, minutes.heat, 0.0) + (0.0 if plant.sees_backup else own_backup)
        if code == HOT_WATER:
            own_heat = own_heat + np.where(pair, immersion, 0.0)
        own_electricity = np.where(mine, rest, 0.0) + own_backup
        if code == HOT_WATER:
            own_electricity = own_electricity + np.where(pair, immersion, 0.0)
        out[f"p_heat_{name}"] = day.sum(own_heat) / 1000.0
        out[f"p_electricity_{name}"] = day.sum(own_electricity) / 1000.0
    out["p_added_heat"] = day.sum(np.where(pair, added + immersion, 0.0)) / 1000.0
    return out


def _cooling_pairs(minutes: Minutes, day: Segments, pair: Flags) -> dict[str, object]:
    """The same sums for cooling, `pc_`: cold, electricity without heaters, and the heat meter's errors."""
    plant = minutes.balance
    heaters = sum((fill_nan(p, 0.0) for p in (plant.backup_heater, plant.immersion) if p is not None), 0.0)
    parts = {
        "heat": -minutes.heat,
        "electricity": minutes.electricity - heaters,
        "flow_error": minutes.flow_error,
        "pair_error": minutes.pair_error,
    }
    out: dict[str, object] = {
        f"pc_{name}": day.sum(np.where(pair, wh, 0.0)) / 1000.0 for name, wh in parts.items()
    }
    out["n_cooling"] = day.count(minutes.use.code == COOLING)
    return out


def _expected(minutes: Minutes, day: Segments, gain: Floats) -> dict[str, object]:
    """Electricity expected from the unit's rating for the heat given, at each minute's temperatures.

    `xq_` is the heat with a known rating, `xe_` the unit's real electricity in the same minutes (including
    defrosts, which rating points include). `xc_space` uses the designed curve instead of the real flow, `xp_`
    the real flow with the part-load gain. gain : of `part_load`
    """
    serving, heat, use = minutes.serving, minutes.heat, minutes.use
    unit = minutes.balance.heat_pump
    working = use.running & np.isfinite(heat) & (np.isfinite(unit) if unit is not None else False)
    out: dict[str, object] = {}
    # A defrost is judged at the flow it interrupts.
    cop = forward_fill(minutes.rated_cop, np.isfinite(minutes.rated_cop) & use.running, np.nan)
    curve_cop = minutes.curve_cop
    for name, code in (("space", HEATING), ("hot_water", HOT_WATER)):
        mine = working & (serving == code) & np.isfinite(cop)
        out[f"x_{name}"] = day.sum(np.where(mine, heat / cop, 0.0)) / 1000.0
        out[f"xp_{name}"] = day.sum(np.where(mine, heat / cop / gain, 0.0)) / 1000.0
        out[f"xq_{name}"] = day.sum(np.where(mine, heat, 0.0)) / 1000.0
        out[f"xe_{name}"] = (
            day.sum(np.where(mine, unit, 0.0)) / 1000.0 if unit is not None else np.full(len(day), np.nan)
        )
    mine = working & (serving == HEATING) & np.isfinite(cop) & np.isfinite(curve_cop)
    out["xc_space"] = day.sum(np.where(mine, heat / curve_cop, 0.0)) / 1000.0
    out["xc_space_actual"] = day.sum(np.where(mine, heat / cop, 0.0)) / 1000.0
    return out


def _uses(minutes: Minutes, day: Segments) -> dict[str, object]:
    code = minutes.use.code
    starts = minutes.use.running & ~np.concatenate(([True], minutes.use.running[:-1]))
    starts &= np.concatenate(([True], code[:-1] != UNKNOWN))
    out: dict[str, object] = {
        "n_running": day.count(minutes.use.running),
        "n_heating": day.count(code == HEATING),
        "n_hot_water": day.count(code == HOT_WATER),
        "n_defrost": day.count(code == DEFROST),
        "n_off": day.count(code == OFF),
        "n_unknown": day.count(code == UNKNOWN),
        "starts": day.count(starts),
    }
    for name in ("compressor_starts", "compressor_hours"):
        counted = minutes.grid.counts.get(name)
        out[f"{name}_counted"] = day.total(counted) if counted is not None else np.full(len(day), np.nan)
    return out


def _weather(minutes: Minutes, day: Segments) -> dict[str, object]:
    grid = minutes.grid
    outdoor = grid.gauge("outdoor_temperature")
    heating = (minutes.use.code == HEATING) | (minutes.use.code == DEFROST)
    return {
        "outdoor": _day_mean(day, outdoor),
        "outdoor_min": day.least(outdoor),
        "outdoor_max": day.greatest(outdoor),
        "outdoor_heating": day.mean(outdoor, heating),
        "humidity": day.mean(grid.gauge("outdoor_humidity")),
        "solar": _day_mean(day, grid.gauge("solar_irradiance")),
        "n_frosting": day.count(minutes.frosting & heating),
        "n_frost_known": day.count(minutes.frost_known & heating),
        "n_below_zero": day.count(fill_nan(outdoor, 9.0) < 0.0),
    }


def _frost(site: Site, frost: Callable[[], dict[str, Floats]], day: Segments) -> dict[str, object]:
    """Frost that settles on the coil of an air source in a day [kg]: the low, the usual and the high
    guess."""
    if site.heat_pump.source != "air":
        return {}
    return {f"frost_{name}": day.total(kg) for name, kg in frost().items()}


def _had_time(wanted: Floats) -> Flags:
    """Minutes in which the target has not risen for long enough for a room to follow: bool (n,)."""
    raised = np.concatenate(([0.0], np.diff(fill_nan(wanted, 0.0)))) > _RAISED_K
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
        "n_call": day.count(fill_nan(grid.gauge("heat_call"), 0.0) > 0.5),
        "n_call_known": day.count(np.isfinite(grid.gauge("heat_call"))),
    }
    targets = grid.zones.get("target_room_temperature", {})
    # A target without a zone applies to every room; a zone's own target only to that zone.
    rooms = grid.zones.get("room_temperature", {})
    whole_house = not set(targets) & set(rooms)
    nothing = np.full(len(grid), np.nan)
    calls = grid.zones.get("heat_call", {})
    for zone, values in rooms.items():
        out[f"room.{zone}"] = day.mean(values)
        wanted = targets.get(zone, target if whole_house else nothing)
        both = np.isfinite(values) & np.isfinite(wanted) & _had_time(wanted)
        out[f"n_asked.{zone}"] = day.count(both)
        out[f"target.{zone}"] = day.mean(wanted, both)
        # Half a kelvin is a room thermostat's usual switching band (common practice).
        out[f"n_below.{zone}"] = day.count(both & (values < wanted - 0.5))
        out[f"n_far_below.{zone}"] = day.count(both & (values < wanted - 1.5))
        if zone in calls:
            out[f"n_call.{zone}"] = day.count(fill_nan(calls[zone], 0.0) > 0.5)
    return out


def _idle(minutes: Minutes, day: Segments) -> dict[str, object]:
    """Electricity and pump minutes without any demand."""
    plant, use, grid = minutes.balance, minutes.use, minutes.grid
    rest = held_for(use.code == OFF, _SETTLED_MIN)
    call = grid.gauge("heat_call")
    no_call = rest & ~(fill_nan(call, 0.0) > 0.5)
    out: dict[str, object] = {"n_rest": day.count(rest)}
    unit = plant.heat_pump
    out["idle_power"] = day.mean(unit * 60.0, rest) if unit is not None else np.full(len(day), np.nan)
    pump = plant.circulation_pump
    if pump is not None and grid.spacing.get("circulation_pump_electricity", 99.0) <= 10.0:
        known = np.isfinite(pump)
        out["n_pump_known"] = day.count(no_call & known)
        out["n_pump_idle"] = day.count(no_call & known & (fill_nan(pump, 0.0) * 60.0 > _NO_PUMP_W))
        out["pump_idle_power"] = day.mean(pump * 60.0, no_call)
    elif grid.has("flow_rate"):
        rate = grid.gauge("flow_rate")
        out["n_pump_known"] = day.count(no_call & np.isfinite(rate))
        out["n_pump_idle"] = day.count(no_call & (fill_nan(rate, 0.0) > NO_FLOW_M3_H))
    return out


def _day_mean(day: Segments, values: Floats) -> Floats:
    """Mean of a day with at least two thirds known, as part of a day is biased."""
    share = day.count(np.isfinite(values)) / np.maximum(day.minutes, 1)
    return np.where(share >= 2 / 3, day.mean(values), np.nan)
