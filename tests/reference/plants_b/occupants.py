"""Occupants: set points, internal gains, hot-water draws, absence."""

from dataclasses import dataclass, field

import numpy as np

from tests.reference.plants_b import records as r
from tests.reference.plants_b.weather import make_weather

ZONE_OFFSET_H = {"Europe/London": 0, "Europe/Dublin": 0}


@dataclass
class Occupants:
    """Habits of one household."""

    people: int
    set_a: float
    set_b: float
    setback_k: float
    night: tuple[float, float]
    litres: float  # mixed water at 40 degC, a person and day
    gain_w: float
    away: list[tuple[float, float]] = field(default_factory=list)  # (first day, last day)
    away_set: float | None = None  # set point by hand during absence

    @classmethod
    def draw(cls, rng: np.random.Generator, people: int, par: dict) -> "Occupants":
        """Return random habits."""
        heavy = par["em_c_b"] > 3e6
        setback = 0.0 if rng.random() < (0.7 if heavy else 0.4) else float(rng.uniform(1.0, 2.5))
        base = float(rng.uniform(19.5, 21.3))
        return cls(
            people,
            base - float(rng.uniform(0, 0.8)),
            base,
            setback,
            (float(rng.uniform(21.5, 23.5)), float(rng.uniform(4.5, 6.5))),
            float(rng.uniform(28, 55)),
            float(rng.uniform(150, 260)),
        )


def local_hour(home) -> np.ndarray:
    """Local hour of day by minute (clock changes of the EU and UK included)."""
    import pandas as pd

    stamps = pd.date_range(str(home.start), periods=home.days * 1440, freq="min", tz="UTC")
    local = stamps.tz_convert(home.climate.timezone)
    return local.hour.to_numpy() + local.minute.to_numpy() / 60.0


def draws(home, hours: np.ndarray) -> np.ndarray:
    """Mixed water at 40 degC by minute [l/min]: showers, baths and short draws."""
    rng, occ = home.rng, home.occupants
    flow = np.zeros(home.days * 1440)
    for day in range(home.days):
        if any(a <= day < b for a, b in occ.away):
            continue
        busy = rng.normal(1.0, 0.2)
        showers = rng.poisson(max(0.1, occ.people * 0.62 * busy))
        for _ in range(showers):
            at = rng.normal(7.1, 0.8) if rng.random() < 0.6 else rng.normal(20.3, 1.2)
            put(flow, day, at, rng.normal(occ.litres * 0.95, 8), rng.uniform(6.5, 9.5))
        for _ in range(rng.poisson(3 + 3.0 * occ.people)):
            at = rng.uniform(6.5, 22.5)
            put(flow, day, at, rng.gamma(1.6, occ.litres * 0.042), rng.uniform(3, 6))
        if rng.random() < 0.08 * occ.people / 2:
            put(flow, day, rng.normal(19.5, 0.7), rng.normal(95, 15), 11)
    return flow


def put(flow: np.ndarray, day: int, hour: float, litres: float, rate: float) -> None:
    """Add one draw."""
    first = int(day * 1440 + max(0.0, min(23.9, hour)) * 60)
    count = max(1, round(max(1.0, litres) / rate))
    flow[first : first + count] += max(1.0, litres) / count


def make_inputs(home) -> np.ndarray:
    """Return the input array [minutes, inputs] of a home."""
    rng, occ, n = home.rng, home.occupants, home.days * 1440
    weather = make_weather(home.climate, home.start, home.days, rng, home.shift_k)
    hours = local_hour(home)
    inputs = np.zeros((n, len(r.INPUTS)))
    inputs[:, r.I_TOUT], inputs[:, r.I_RH] = weather["t_out"], weather["rh"]
    inputs[:, r.I_WIND], inputs[:, r.I_GHI] = weather["wind"], weather["ghi"]
    inputs[:, r.I_DRAW] = draws(home, hours)
    from_h, to_h = occ.night
    night = (hours >= from_h) | (hours < to_h)
    home_share = np.where((hours > 8.5) & (hours < 16.5), 0.55, 1.0)
    evening = ((hours > 17) & (hours < 22.5)) * 1.0
    base = occ.gain_w + 45.0 * occ.people * home_share + 130.0 * evening
    random_part = np.repeat(rng.gamma(2.0, 35.0, n // 30 + 1), 30)[:n]
    inputs[:, r.I_GA] = 0.35 * base + 0.4 * random_part
    inputs[:, r.I_GB] = 0.65 * base + 0.6 * random_part
    inputs[:, r.I_SETA] = occ.set_a - occ.setback_k * night
    inputs[:, r.I_SETB] = occ.set_b - occ.setback_k * night
    day_index = np.arange(n) // 1440
    weekday = (home.start.astype("datetime64[D]").astype(int) + 3) % 7  # 1970-01-01 was a Thursday
    local_day = day_index + ((hours < 6) & (np.arange(n) % 1440 > 1200)).astype(int)
    inputs[:, r.I_HOUR] = hours
    inputs[:, r.I_DAY] = weekday + local_day
    for first, last in occ.away:
        gone = (np.arange(n) >= first * 1440) & (np.arange(n) < last * 1440)
        inputs[gone, r.I_GA] *= 0.3
        inputs[gone, r.I_GB] *= 0.3
        if occ.away_set is not None:
            inputs[gone, r.I_SETA] = inputs[gone, r.I_SETB] = occ.away_set
    return inputs
