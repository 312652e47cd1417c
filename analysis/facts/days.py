"""The days table: one row a local day, everything the figures and findings need of it.

Energies in kWh, temperatures in °C, powers in W, flows in m3/h, pressures in bar, times in minutes. Names:
`e_` electricity, `q_` heat, `p_` sums over minutes in which heat and electricity were both known (for ratios),
`x_` electricity expected from the unit's rating, `n_` minutes, `room.` and `seen.` one column a zone or point.
More columns stand in tank.py, operating.py, strain.py, direct_heat.py and warmth.py.
"""

from __future__ import annotations

from datetime import UTC, datetime, time

import numpy as np
from numpy.typing import NDArray

from analysis.facts.direct_heat import direct_heat_columns
from analysis.facts.minutes import Minutes
from analysis.facts.operating import operating_columns
from analysis.facts.segments import Segments
from analysis.facts.strain import strain_columns
from analysis.facts.tank import tank_columns
from analysis.facts.warmth import warmth_columns
from analysis.medians import median
from analysis.plant.site import Cost, Site
from analysis.use import DEFROST, HEATING, HOT_WATER, OFF, UNKNOWN, UNTOLD, within

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Pumps run on and refrigerant settles for a while after a stop; idle power is taken after that.
_SETTLED_MIN = 15
# Below this much flow or pump power nothing circulates: the resolution of usual meters.
_NO_FLOW_M3_H = 0.03
_NO_PUMP_W = 4.0
# A stopped unit's own heat is carried off by then (common practice).
_PASSED_MIN = 10
# What a heat meter makes of a tenth of a kelvin or three at a usual flow.
_QUIET_W = 400.0
_CALM_K = 0.5
_COARSEST_FOR_REST_MIN = 15.0


def days_columns(site: Site, minutes: Minutes) -> dict[str, object]:
    """Columns of one row for each local day of the grid, as the module says."""
    grid = minutes.grid
    day = Segments(grid.day_start[:-1], grid.day_start[1:])
    columns: dict[str, object] = {
        "day": grid.local_dates,
        "n_minutes": day.minutes,
    }
    columns |= _known(minutes, day)
    columns |= _energies(minutes, day)
    columns |= _pairs(minutes, day)
    columns |= _expected(minutes, day)
    columns |= _uses(minutes, day)
    columns |= _weather(minutes, day)
    columns |= _rooms(site, minutes, day)
    columns |= _water(site, minutes, day)
    columns |= _idle(minutes, day)
    columns |= tank_columns(site, minutes, day)
    columns |= operating_columns(site, minutes, day)
    columns |= strain_columns(site, minutes, day)
    columns |= direct_heat_columns(site, minutes, day)
    columns |= warmth_columns(minutes, day)
    if site.cost is not None:
        columns |= _cost(site, site.cost, minutes, day)
    return columns


def _known(minutes: Minutes, day: Segments) -> dict[str, object]:
    out: dict[str, object] = {
        "n_electricity": day.count(np.isfinite(minutes.electricity)),
        "n_heat": day.count(np.isfinite(minutes.heat)),
        "n_pair": day.count(minutes.paired),
        "n_any": day.count(np.any(np.vstack(list(minutes.grid.seen.values())), axis=0))
        if minutes.grid.seen
        else np.zeros(len(day), dtype=np.int64),
    }
    for point, seen in minutes.grid.seen.items():
        out[f"seen.{point}"] = day.count(seen)
    for quantity, spacing in minutes.grid.spacing.items():
        out[f"spacing.{quantity}"] = np.full(len(day), spacing)
    out["use_spacing"] = np.full(len(day), minutes.use.water_spacing)
    return out


def _energies(minutes: Minutes, day: Segments) -> dict[str, object]:
    """Electricity and heat by consumer and by use."""
    plant, use = minutes.balance, minutes.use
    out: dict[str, object] = {"e_total": _total(day, minutes.electricity)}
    for name, wh in (
        ("heat_pump", plant.heat_pump),
        ("fan", plant.fan),
        ("backup", plant.backup_heater),
        ("immersion", plant.immersion),
        ("pump", plant.circulation_pump),
    ):
        out[f"e_{name}"] = _total(day, wh)
    nothing = np.zeros(len(minutes.grid))
    backup = np.nan_to_num(plant.backup_heater) if plant.backup_heater is not None else nothing
    immersion = np.nan_to_num(plant.immersion) if plant.immersion is not None else nothing
    rest = minutes.electricity - backup - immersion
    code, serves = use.code, use.serves
    told = ~np.isin(code, (UNTOLD, UNKNOWN))
    water, idle = code == HOT_WATER, code == OFF
    # Minutes apart, a reading about a run's end holds part of the run; hours apart nothing shows a rest.
    apart = minutes.grid.spacing.get("heat_pump_electricity", 1.0)
    edge = idle & within(use.running, round(apart)) if apart > 2.5 else np.zeros(len(code), dtype=np.bool_)
    own = np.where(edge, serves, code)
    out["e_space"] = _total(day, np.where(own == HEATING, rest, 0.0) + np.where(water, 0.0, backup))
    out["e_hot_water"] = _total(
        day, np.where(own == HOT_WATER, rest, 0.0) + np.where(water, backup, 0.0) + immersion
    )
    out["e_defrost"] = _total(day, np.where(code == DEFROST, rest, 0.0))
    resting = np.where(idle & ~edge, rest, 0.0)
    out["e_idle"] = _total(day, resting if apart <= _COARSEST_FOR_REST_MIN else np.full(len(code), np.nan))
    out["e_untold"] = _total(day, np.where(told, 0.0, rest))
    heat = minutes.heat
    taken = np.where((code == DEFROST) & (heat < 0), -heat, 0.0)
    rest_heat = heat + np.where(np.isfinite(taken), taken, 0.0)
    serving = np.where(idle, serves, minutes.serving)
    out["q_total"] = _total(day, heat)
    out["q_defrost_taken"] = _total(day, np.where(np.isfinite(heat), taken, np.nan))
    out["q_hot_water"] = _total(
        day, np.where(serving == HOT_WATER, rest_heat, np.where(np.isfinite(heat), 0.0, np.nan))
    )
    out["q_space"] = _total(
        day, np.where(serving != HOT_WATER, rest_heat, np.where(np.isfinite(heat), 0.0, np.nan))
    )
    space, hot = plant.space_heat, plant.hot_water_heat
    if space is not None and hot is not None:
        out["q_hot_water"], out["q_space"] = (
            _total(day, np.maximum(hot, 0.0)),
            _total(day, np.maximum(space, 0.0)),
        )
    out["q_flow_error"] = _total(day, minutes.flow_error)
    out["q_pair_error"] = _total(day, minutes.pair_error)
    out["q_use_known"] = day.count(told & np.isfinite(heat))
    return out


def _pairs(minutes: Minutes, day: Segments) -> dict[str, object]:
    """Sums over minutes in which heat and every electricity meter of the plant were known."""
    plant, pair = minutes.balance, minutes.paired
    out: dict[str, object] = {}
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
    backup = np.nan_to_num(plant.backup_heater) if plant.backup_heater is not None else nothing
    immersion = np.nan_to_num(plant.immersion) if plant.immersion is not None else nothing
    rest = np.nan_to_num(minutes.electricity) - backup - immersion
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


def _expected(minutes: Minutes, day: Segments) -> dict[str, object]:
    """What the unit's rating would have drawn for the heat it gave, at the temperatures of those minutes.

    `xq_` is the heat for which that could be told, `xe_` the unit's real electricity in the same minutes (a defrost's
    included: rating points include defrosts). `xc_space` is at the designed curve instead of the real flow.
    """
    serving, heat, use = minutes.serving, minutes.heat, minutes.use
    unit = minutes.balance.heat_pump
    working = use.running & np.isfinite(heat) & (np.isfinite(unit) if unit is not None else False)
    out: dict[str, object] = {}
    cop = _carried(minutes.rated_cop, use.running)
    curve_cop = minutes.curve_cop
    for name, code in (("space", HEATING), ("hot_water", HOT_WATER)):
        mine = working & (serving == code) & np.isfinite(cop)
        out[f"x_{name}"] = day.sum(np.where(mine, heat / cop, 0.0)) / 1000.0
        out[f"xq_{name}"] = day.sum(np.where(mine, heat, 0.0)) / 1000.0
        out[f"xe_{name}"] = (
            day.sum(np.where(mine, unit, 0.0)) / 1000.0 if unit is not None else np.full(len(day), np.nan)
        )
    mine = working & (serving == HEATING) & np.isfinite(cop) & np.isfinite(curve_cop)
    out["xc_space"] = day.sum(np.where(mine, heat / curve_cop, 0.0)) / 1000.0
    out["xc_space_actual"] = day.sum(np.where(mine, heat / cop, 0.0)) / 1000.0
    return out


def _carried(values: Floats, where: Flags) -> Floats:
    """Last known value while `where` goes on: a defrost is judged at the flow it interrupts."""
    known = np.isfinite(values) & where
    index = np.where(known, np.arange(len(values)), -1)
    index = np.maximum.accumulate(index) if len(index) else index
    return np.where(index >= 0, values[np.clip(index, 0, None)], np.nan)


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
        out[f"{name}_counted"] = _whole(day, counted) if counted is not None else np.full(len(day), np.nan)
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
        "n_below_zero": day.count(np.nan_to_num(outdoor, nan=9.0) < 0.0),
    }


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
        "n_call": day.count(np.nan_to_num(grid.gauge("heat_call")) > 0.5),
        "n_call_known": day.count(np.isfinite(grid.gauge("heat_call"))),
    }
    targets = grid.zones.get("target_room_temperature", {})
    calls = grid.zones.get("heat_call", {})
    for zone, values in grid.zones.get("room_temperature", {}).items():
        out[f"room.{zone}"] = day.mean(values)
        wanted = targets.get(zone, target)
        both = np.isfinite(values) & np.isfinite(wanted)
        out[f"n_asked.{zone}"] = day.count(both)
        out[f"target.{zone}"] = day.mean(wanted, both)
        # Half a kelvin is a room thermostat's usual switching band (common practice).
        out[f"n_below.{zone}"] = day.count(both & (values < wanted - 0.5))
        out[f"n_far_below.{zone}"] = day.count(both & (values < wanted - 1.5))
        if zone in calls:
            out[f"n_call.{zone}"] = day.count(np.nan_to_num(calls[zone]) > 0.5)
    return out


def _water(site: Site, minutes: Minutes, day: Segments) -> dict[str, object]:
    """Flow, return, volume flow and pressure, in the minutes in which they mean something."""
    grid, use = minutes.grid, minutes.use
    flow, back = grid.gauge("flow_temperature"), grid.gauge("return_temperature")
    beyond, beyond_back = (grid.gauge(f"distribution_{q}_temperature") for q in ("flow", "return"))
    rate = grid.gauge("flow_rate")
    steady = _settled(use.code == HEATING, 5)
    hot = _settled(use.code == HOT_WATER, 5)
    outdoor = grid.gauge("outdoor_temperature")
    pressure = grid.gauge("system_pressure")
    weight = np.where(steady & np.isfinite(flow), np.nan_to_num(minutes.heat, nan=0.0).clip(min=0.0), 0.0)
    total = day.sum(weight)
    by_heat = np.divide(
        day.sum(np.where(weight > 0, weight * flow, 0.0)),
        total,
        out=np.full(len(day), np.nan),
        where=total > 0,
    )
    coldest = np.fmin(flow, back)
    still = (np.nan_to_num(rate, nan=0.0) < _NO_FLOW_M3_H) if grid.has("flow_rate") else ~use.running
    check_meter, check_flow = minutes.balance.metered_heat, minutes.balance.flow_heat
    out: dict[str, object] = {
        "n_steady": day.count(steady),
        "flow": day.mean(flow, steady),
        "flow_by_heat": by_heat,
        "return": day.mean(back, steady),
        "lift": day.mean(flow - back, steady),
        "outdoor_steady": day.mean(outdoor, steady),
        "curve": day.mean(minutes.curve, steady),
        "above_curve": day.mean(flow - minutes.curve, steady),
        "target_flow": day.mean(grid.gauge("target_flow_temperature"), use.code == HEATING),
        "target_above_curve": day.mean(
            grid.gauge("target_flow_temperature") - minutes.curve, use.code == HEATING
        ),
        "flow_rate": day.mean(rate, steady),
        "flow_rate_hot_water": day.mean(rate, hot),
        "beyond_flow": day.mean(beyond, steady),
        "buffer_drop": day.mean(flow - beyond, steady),
        "buffer_back": day.mean(back - beyond_back, steady),
        "beyond_lift": day.mean(beyond - beyond_back, steady),
        "n_beyond": day.count(steady & np.isfinite(flow - beyond)),
        "heat_power": day.mean(minutes.heat * 60.0, steady),
        "unit_power": day.mean(
            minutes.balance.heat_pump * 60.0
            if minutes.balance.heat_pump is not None
            else np.full(len(grid), np.nan),
            steady,
        ),
        "heat_power_max": _best_hour(minutes, day),
        "speed": day.mean(grid.gauge("compressor_speed"), steady),
        "n_full_speed": day.count(np.nan_to_num(grid.gauge("compressor_speed")) > 97.0),
        "pressure": _middle(day, pressure),
        "pressure_min": day.least(pressure),
        "water_min": day.least(np.where(outdoor < 2.0, coldest, np.nan)),
        "n_near_freezing": day.count(
            (np.nan_to_num(coldest, nan=99.0) < 3.0) & still & (np.nan_to_num(outdoor, nan=9.0) < 1.0)
        ),
        "flow_at_rest": day.mean(flow - back, _settled(use.code == OFF, 40)),
        "flow_in_hot_water": day.mean(beyond, hot),
    }
    if (
        check_meter is not None
        and check_flow is not None
        and check_meter is not check_flow
        and minutes.balance.heat_basis != "flow rate and temperatures"
    ):
        # Minutes apart, readings can't say which minutes were steady; over whole runs samples and sums agree.
        settled = within(use.running, round(grid.spacing["flow_rate"])) if grid.nearest else (steady | hot)
        both = settled & np.isfinite(check_meter) & np.isfinite(check_flow)
        out["check_meter"] = day.sum(np.where(both, check_meter, 0.0)) / 1000.0
        out["check_flow"] = day.sum(np.where(both, check_flow, 0.0)) / 1000.0
        out["check_volume"] = day.sum(np.where(both, np.nan_to_num(rate), 0.0)) / 60.0
        # Water that a resting unit passes on leaves it as it came: what the two sensors differ by is their own. While
        # the circuit still cools the one behind is the warmer.
        calm = np.abs(flow - np.concatenate((np.full(_PASSED_MIN, np.nan), flow[:-_PASSED_MIN]))) < _CALM_K
        quiet = calm & (np.abs(np.nan_to_num(check_meter, nan=np.inf)) * 60.0 < _QUIET_W)
        passing = _settled((use.code == OFF) & quiet, _PASSED_MIN) & (np.nan_to_num(rate) > _NO_FLOW_M3_H)
        out["pair_offset"] = day.mean(flow - back, passing)
        out["n_passing"] = day.count(passing)
    return out


def _best_hour(minutes: Minutes, day: Segments) -> Floats:
    """Greatest mean heat over any whole hour that starts in the day and is known throughout [W]."""
    heat = minutes.heat * 60.0
    n = len(heat)
    total = np.concatenate(([0.0], np.cumsum(np.nan_to_num(heat))))
    known = np.concatenate(([0], np.cumsum(np.isfinite(heat))))
    start = np.arange(n)
    end = np.minimum(start + 60, n)
    whole = known[end] - known[start] == 60
    hour = np.where(whole, (total[end] - total[start]) / 60.0, np.nan)
    return day.greatest(hour)


def _idle(minutes: Minutes, day: Segments) -> dict[str, object]:
    """What is drawn and pumped while nothing is asked for."""
    plant, use, grid = minutes.balance, minutes.use, minutes.grid
    rest = _settled(use.code == OFF, _SETTLED_MIN)
    call = grid.gauge("heat_call")
    no_call = rest & ~(np.nan_to_num(call) > 0.5)
    out: dict[str, object] = {"n_rest": day.count(rest)}
    unit = plant.heat_pump
    out["idle_power"] = day.mean(unit * 60.0, rest) if unit is not None else np.full(len(day), np.nan)
    pump = plant.circulation_pump
    if pump is not None and grid.spacing.get("circulation_pump_electricity", 99.0) <= 10.0:
        known = np.isfinite(pump)
        out["n_pump_known"] = day.count(no_call & known)
        out["n_pump_idle"] = day.count(no_call & known & (np.nan_to_num(pump) * 60.0 > _NO_PUMP_W))
        out["pump_idle_power"] = day.mean(pump * 60.0, no_call)
    elif grid.has("flow_rate"):
        rate = grid.gauge("flow_rate")
        out["n_pump_known"] = day.count(no_call & np.isfinite(rate))
        out["n_pump_idle"] = day.count(no_call & (np.nan_to_num(rate) > _NO_FLOW_M3_H))
    return out


def _cost(site: Site, cost: Cost, minutes: Minutes, day: Segments) -> dict[str, object]:
    """Money for the day's electricity, by tariff band of the local clock; the standing charge is not in it."""
    price = minute_prices(site, cost, minutes.grid.time)
    return {
        "money": _total(day, minutes.electricity * price, scale=1000.0),
        "money_heat_pump": day.sum(np.nan_to_num(minutes.electricity) * np.nan_to_num(price)) / 1000.0,
    }


def minute_prices(site: Site, cost: Cost, times: NDArray[np.int64]) -> Floats:
    """Price [money/kWh] of each minute by the local clock; nan where the site file gives none."""
    flat = cost.electricity if cost.electricity is not None else np.nan
    if not cost.band or not len(times):
        return np.full(len(times), flat)
    by_minute = np.full(1440, flat)
    for band in cost.band:
        a, b = (_minute_of(t) for t in (band.start, band.end))
        covered = np.arange(a, b) if a < b else np.concatenate((np.arange(a, 1440), np.arange(0, b)))
        by_minute[covered] = band.price
    hours = np.arange(times[0] - times[0] % 900_000, times[-1] + 900_000, 900_000)
    offset = np.array(
        [_offset_minutes(site, int(t)) for t in hours[::4]], dtype=np.int64
    )  # zones change their offset on the hour or half hour; an hour's step meets the change of use
    nearest = np.clip((times - hours[0]) // 3_600_000, 0, len(offset) - 1)
    return np.asarray(by_minute[(times // 60_000 + offset[nearest]) % 1440])


def _minute_of(clock: time) -> int:
    return clock.hour * 60 + clock.minute


def _offset_minutes(site: Site, at: int) -> int:
    moment = datetime.fromtimestamp(at / 1000, UTC).astimezone(site.zone)
    shift = moment.utcoffset()
    return int(shift.total_seconds() // 60) if shift else 0


def _total(day: Segments, wh: Floats | None, scale: float = 1000.0) -> Floats:
    """kWh of each day over its known minutes; nan where none is known."""
    if wh is None:
        return np.full(len(day), np.nan)
    known = day.count(np.isfinite(wh))
    return np.where(known > 0, day.sum(wh) / scale, np.nan)


def _whole(day: Segments, counted: Floats) -> Floats:
    known = day.count(np.isfinite(counted))
    return np.where(known > 0, day.sum(counted), np.nan)


def _day_mean(day: Segments, values: Floats) -> Floats:
    """Mean of a day of which at least two thirds are known; a part of a day has another mean than the whole."""
    share = day.count(np.isfinite(values)) / np.maximum(day.minutes, 1)
    return np.where(share >= 2 / 3, day.mean(values), np.nan)


def _middle(day: Segments, values: Floats) -> Floats:
    out = np.full(len(day), np.nan)
    if np.isfinite(values).any():
        for i, (a, b) in enumerate(zip(day.start, day.end, strict=True)):
            known = values[a:b][np.isfinite(values[a:b])]
            if len(known):
                out[i] = median(known)
    return out


def _settled(flags: Flags, minutes: int) -> Flags:
    """True where `flags` has held for at least so many minutes."""
    index = np.arange(len(flags))
    last_false = np.maximum.accumulate(np.where(flags, -1, index)) if len(flags) else index
    return flags & (index - last_false > minutes)
