"""Run the compiled simulation over a span and return its log."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from fieldfare.collector.simulated.design.schedule import SimulatedSpan, draws_of, hours_of
from fieldfare.collector.simulated.design.spec import PlantSpec
from fieldfare.collector.simulated.design.weather import day_means, minutes, snap
from fieldfare.collector.simulated.step import kernel
from fieldfare.collector.simulated.step.layout import DAY_DTYPE, LOG_DTYPE, STEP_S
from fieldfare.collector.simulated.step.parameters import emitters_of, fixed_of


@dataclass(frozen=True)
class Trace:
    """True state of the system, before any meter.

    log : record array (intervals,) of float32; stamp_s : int64 array (intervals,), UTC seconds at the end of
        each interval; days : record array (days,) of sums; events : float array (n, 7); balance : float array
        (3, 4), stored heat before and after, and net inflow [J]
    """

    span: SimulatedSpan
    log_s: int
    stamp_s: np.ndarray
    log: np.ndarray
    days: np.ndarray
    events: np.ndarray
    balance: np.ndarray
    sun: np.ndarray  # W/m2 on the horizontal at each stamp
    hours: np.ndarray


def run_plant(spec: PlantSpec, span: SimulatedSpan, log_s: int = 60) -> Trace:
    """Simulate a system.

    spec : PlantSpec; span : SimulatedSpan; log_s : int [s], 60 or a multiple of the step that divides 60
    Returns Trace. Raises ValueError for an invalid log interval.
    """
    if 60 % log_s or log_s % int(STEP_S):
        raise ValueError(f"log_s must divide 60 and be a multiple of {STEP_S:g}, got {log_s}")
    first_utc = span.begin.date()
    weather_days = (span.end.date() - first_utc).days + 1
    t_day, clear, depression = day_means(spec.climate, spec.seed, first_utc, weather_days)
    t_day = snap(
        t_day, first_utc, spec.oddities, spec.climate.design_c, span.first + timedelta(days=span.days // 2)
    )
    sky = minutes(spec.climate, spec.seed, first_utc, t_day, clear, depression, spec.climate.longitude / 15.0)
    skip = int((span.begin.hour * 60) + span.begin.minute)
    weather = sky.columns()[skip : skip + span.minutes]
    intervals = (span.minutes - span.warm_minutes) * 60 // log_s
    log = np.zeros(intervals, dtype=LOG_DTYPE)
    days = np.zeros(span.days, dtype=DAY_DTYPE)
    events = np.zeros((span.days * 160 + 200, 7))
    balance = np.zeros((3, 4))
    hours = hours_of(spec, span)
    noise = np.random.default_rng([spec.seed, 41]).standard_normal(span.minutes)
    count = kernel.run(
        fixed_of(spec),
        emitters_of(spec),
        np.array(spec.control.curve),
        hours,
        weather,
        draws_of(spec, span),
        noise,
        span.warm_minutes,
        round(log_s / STEP_S),
        log,
        days,
        events,
        balance,
    )
    start_s = int(span.start.timestamp())
    stamp = start_s + log_s * (1 + np.arange(intervals, dtype=np.int64))
    at = np.minimum(span.warm_minutes + ((stamp - start_s) // 60), span.minutes - 1)
    return Trace(span, log_s, stamp, log, days, events[:count], balance, weather[at, 2], hours)
