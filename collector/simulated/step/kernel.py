"""Compiled main loop: ten-second steps over the whole span, with a log, daily sums and an event list."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numba import njit

from fieldfare.collector.simulated.step.accounting import (
    DEFROST,
    REHEAT,
    RUN,
    add_day,
    add_means,
    balance_step,
    clear,
    note,
    write_log,
)
from fieldfare.collector.simulated.step.control import (
    hot_water,
    rooms,
    target_flow,
    water_flow,
)
from fieldfare.collector.simulated.step.layout import (
    CYLINDER_NODES,
    FLOWS_DTYPE,
    MEANS_DTYPE,
    SENSOR_NODE,
    STATE_DTYPE,
    STEP_S,
    Record,
)
from fieldfare.collector.simulated.step.loop import house, loop, stored
from fieldfare.collector.simulated.step.physics import heat_coefficient
from fieldfare.collector.simulated.step.unit import backup, switch, unit
from fieldfare.collector.simulated.step.water import cylinder

__all__ = ["DEFROST", "REHEAT", "RUN", "run"]

PARTS = (
    "accounting",
    "kernel",
    "layout",
    "machine",
    "physics",
    "control",
    "loop",
    "unit",
    "water",
)


def fingerprint() -> int:
    """Hash of the compiled files' source.

    The compiler's cache checks only the file of the cached function. This number, closed over below,
    invalidates the cache when any compiled file changes.
    """
    digest = hashlib.sha256()
    for part in PARTS:
        digest.update((Path(__file__).parent / f"{part}.py").read_bytes())
    return int.from_bytes(digest.digest()[:6], "big")


def _build(number: int) -> Callable[..., int]:
    """Compile the main loop for the files with this fingerprint."""

    @njit(cache=True)
    def run_steps(
        c: Record,
        em: Record,
        curve: np.ndarray,
        hours: Record,
        weather: np.ndarray,
        draws: np.ndarray,
        noise: np.ndarray,
        warm_minutes: int,
        log_steps: int,
        log: Record,
        days: Record,
        events: np.ndarray,
        balance: np.ndarray,
    ) -> int:
        if number == 0:
            return -1
        # A record does not keep its array alive in compiled code: each array is used again at the end.
        states, means = np.zeros(1, dtype=STATE_DTYPE), np.zeros(1, dtype=MEANS_DTYPE)
        flows = np.zeros(1, dtype=FLOWS_DTYPE)
        s: Record = states[0]
        acc: Record = means[0]
        f: Record = flows[0]
        air, fabric, slab, sensor = np.full(2, 19.5), np.full(2, 18.5), np.full(2, 22.0), np.full(2, 19.5)
        call, valve, duty = np.zeros(2), np.zeros(2), np.full(2, 0.5)
        water, cyl = np.full((2, 2), 26.0), np.full(CYLINDER_NODES, 47.0)
        s.t_out, s.t_in, s.top, s.bottom, s.t_dist = 27.0, 27.0, 27.0, 27.0, 27.0
        s.to_ctrl, s.to_day = weather[0, 0], weather[:1440, 0].mean()
        s.t_ev = s.to_ctrl
        s.season = 1.0 if s.to_day < 14.0 else 0.0
        s.off, s.since_defrost, s.frost = 3600.0, 3600.0, 0.03 * c.frost_full
        n, logged, in_log = 0, 0, 0
        defrost_start, defrost_outdoor, defrost_frost = 0.0, 0.0, 0.0
        per_minute = int(60.0 / STEP_S)
        for minute in range(weather.shape[0]):
            h = hours[minute // 60]
            outdoor, vapour, facade = weather[minute, 0], weather[minute, 1], weather[minute, 3]
            if minute == warm_minutes:
                stored(c, em, s, air, fabric, water, slab, cyl, balance[0])
            day = int(h.day)
            counts = minute >= warm_minutes and 0 <= day < days.shape[0]
            for sub in range(per_minute):
                t = (minute - warm_minutes) * 60.0 + sub * STEP_S
                rooms(c, h, s, outdoor, air, sensor, call, duty, valve)
                event = hot_water(c, h, s, cyl)
                target_flow(c, h, s, curve)
                route = 2.0 if s.dhw > 0.5 else 1.0
                s.route_s = 0.0 if route != s.route else s.route_s + STEP_S
                s.route = route
                opening = c.share0 * valve[0] + c.share1 * valve[1]
                water_flow(c, h, s, opening, noise[minute])
                s.cdot = 0.0
                if s.v > 0.0:
                    s.cdot = s.v * heat_coefficient(s.t_in, s.t_out, c.glycol, c.glycol_percent)
                turned = switch(c, h, s)
                if turned == 1:
                    s.run_start, s.run_heat, s.run_elec, s.run_mode = t, 0.0, 0.0, s.mode
                elif turned == -1:
                    n = note(
                        events, n, RUN, s.run_start, t, s.run_heat, s.run_elec, s.run_mode, s.stop_reason
                    )
                frosted = unit(c, h, s, outdoor, vapour)
                if frosted == 2:
                    defrost_start, defrost_outdoor, defrost_frost = t, outdoor, s.frost
                    s.event_taken, s.event_elec = 0.0, 0.0
                elif frosted == 3 or (turned == -1 and s.event_taken > 0.0):
                    n = note(
                        events,
                        n,
                        DEFROST,
                        defrost_start,
                        t,
                        s.event_taken,
                        s.event_elec,
                        defrost_outdoor,
                        defrost_frost,
                    )
                    s.event_taken, s.event_elec = 0.0, 0.0
                backup(c, h, s)
                loop(c, em, h, s, outdoor, air, water, slab, valve, cyl, f)
                if c.hot_water > 0.5:
                    drawn = draws[minute] * h.draw / per_minute
                    f.drawn, f.litres, f.cold, f.loss, f.secondary = cylinder(
                        c, h, cyl, drawn, air[0], s.p_imm
                    )
                house(c, h, f, outdoor, facade, air, fabric)
                elec = s.p_comp + s.p_fan + s.p_ctrl
                if s.on > 0.5:
                    s.run_heat += STEP_S * s.q_meter
                    s.run_elec += STEP_S * elec
                if s.defrost > 0.5:
                    s.event_elec += STEP_S * (s.p_comp + s.p_fan)
                    s.event_taken += STEP_S * max(0.0, -s.q_meter)
                if event == 1:
                    s.hot_start, s.hot_heat, s.hot_elec = t, 0.0, 0.0
                elif event >= 2:
                    n = note(
                        events,
                        n,
                        REHEAT,
                        s.hot_start,
                        t,
                        s.hot_heat,
                        s.hot_elec,
                        s.dhw_from,
                        cyl[SENSOR_NODE],
                    )
                if s.dhw > 0.5:
                    s.hot_heat += STEP_S * s.q_meter
                    s.hot_elec += STEP_S * elec
                add_means(acc, s)
                if counts:
                    add_day(days[day], h, s, f, outdoor, air, cyl[SENSOR_NODE], turned == 1)
                    balance_step(balance[2], h, s, f)
                in_log += 1
                if in_log == log_steps:
                    if minute >= warm_minutes and logged < log.shape[0]:
                        write_log(log[logged], acc, log_steps, c, h, s, outdoor, vapour, air, call, cyl)
                        logged += 1
                    in_log = 0
                    clear(acc)
        stored(c, em, s, air, fabric, water, slab, cyl, balance[1])
        return n if states.size + means.size + flows.size == 3 else -1

    return run_steps


_run_steps = _build(fingerprint())


def run(
    c: Record,
    em: Record,
    curve: np.ndarray,
    hours: Record,
    weather: np.ndarray,
    draws: np.ndarray,
    noise: np.ndarray,
    warm_minutes: int,
    log_steps: int,
    log: Record,
    days: Record,
    events: np.ndarray,
    balance: np.ndarray,
) -> int:
    """Run the simulation.

    c : record of constants; em : record array (2,); curve : float (points, 2)
    hours : record array (hours,) of settings; weather : float (minutes, 4) outdoor [degC], vapour [Pa],
        irradiance on the horizontal and on the south facade [W/m2]; draws : float (minutes,) [l at 40 degC];
        noise : float (minutes,)
    warm_minutes : int, run before anything is logged; log_steps : int, steps in a log interval
    log, days : record arrays (intervals,), (days,); events : float (n, 7); balance : float (3, 4) [J]: stored
        before, stored after, net inflow; all filled
    Returns int, the number of events.
    """
    return int(
        _run_steps(
            c, em, curve, hours, weather, draws, noise, warm_minutes, log_steps, log, days, events, balance
        )
    )
