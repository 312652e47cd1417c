"""Simulate a home day by day and sum up its truth."""

from typing import Any

import numpy as np

from tests.reference.plants_c import spec as n
from tests.reference.plants_c.engine import fast, start_state
from tests.reference.plants_c.homes import Home
from tests.reference.plants_c.spec import CHANNELS, COLUMN, Spec

SETTLE_DAYS = 3  # the house and the water settle on the first day's weather, unrecorded
DAY = 1440


def as_spec(values: dict[str, float]) -> Spec:
    """The engine's record of a plant's numbers."""
    return Spec(**{key: float(values[key]) for key in Spec._fields})


def run(home: Home, faulty: bool = True, stepper: Any = fast) -> np.ndarray:
    """Return the channels of every minute, shape (minutes, channels)."""
    chance = np.random.default_rng(home.days).random(home.days * DAY)
    weather = np.column_stack([*home.weather, chance])
    monday = (home.start.astype("datetime64[D]").astype(int) + 3) % 7  # 1970-01-01 was a Thursday
    out = np.zeros((home.days * DAY, len(CHANNELS)))
    first = as_spec(home.spec_of(0.0, faulty))
    state = start_state(first, float(home.weather.outdoor[0]))
    state = settle(first, state, weather, home.draws, monday, stepper)
    for day in range(home.days):
        at = slice(day * DAY, (day + 1) * DAY)
        spec = as_spec(home.spec_of(float(day), faulty))
        stepper(spec, state, weather[at], home.draws[at], int(monday + day) * DAY, out[at])
    return out


def settle(
    spec: Spec, state: np.ndarray, weather: np.ndarray, draws: np.ndarray, monday: int, stepper: Any
) -> np.ndarray:
    """Repeat the first day; counters start at zero afterwards."""
    scratch = np.zeros((DAY, len(CHANNELS)))
    for _ in range(SETTLE_DAYS):
        stepper(spec, state, weather[:DAY], draws[:DAY], int(monday) * DAY, scratch)
    for place in (n.STARTS, n.DEFROSTS, n.SHORT, n.HOURS, n.LOST):
        state[place] = 0.0
    return state


def kwh(out: np.ndarray, name: str) -> float:
    """Energy of a power channel."""
    return float(out[:, COLUMN[name]].sum() / 60000.0)


def figures(out: np.ndarray) -> dict[str, float]:
    """The truth at the plant itself."""
    unit, heater, immersion, pump = (kwh(out, n) for n in ("p_unit", "p_bu", "p_imm", "p_pump"))
    heat = kwh(out, "q_hp")
    total = unit + heater + immersion + pump
    return {
        "H2": round(heat / max(unit, 1e-6), 3),
        "H4": round((heat + heater + immersion) / max(total, 1e-6), 3),
        "heat_loss_w_per_k": round(float(out[:, COLUMN["ua_now"]].mean()), 1),
        "starts": int(out[-1, COLUMN["starts"]]),
        "defrosts": int(out[-1, COLUMN["defrosts"]]),
        "electricity_kwh": round(total, 1),
        "heat_kwh": round(heat + heater + immersion, 1),
        "backup_kwh": round(heater, 1),
        "immersion_kwh": round(immersion, 1),
        "hot_water_kwh": round(kwh(out, "q_dhw"), 1),
        "pump_kwh": round(pump, 1),
        "litres_below_40c": round(float(out[-1, COLUMN["short"]]), 0),
        "run_hours": round(float(out[-1, COLUMN["hours"]]), 0),
        "reheat_median_min": round(reheat_minutes(out[2 * len(out) // 3 :]), 0),
        "room_mean_c": round(float(out[:, COLUMN["room0"]].mean()), 2),
        "room_deficit_k": round(float(deficit(out).mean()), 3),
        "pressure_low_bar": round(float(out[:, COLUMN["pressure"]].min()), 2),
        "pressure_high_bar": round(float(out[:, COLUMN["pressure"]].max()), 2),
        "hottest_water_c": round(float(out[:, COLUMN["t_top"]].max()), 1),
    }


def reheat_minutes(out: np.ndarray) -> float:
    """Median length of a charge of the cylinder, minutes; zero where there is none. `figures` takes the last
    third of the record, in which every fault is there."""
    charging = np.concatenate([[0.0], out[:, COLUMN["diverter"]], [0.0]])
    edges = np.diff(charging)
    length = np.flatnonzero(edges < 0) - np.flatnonzero(edges > 0)
    return float(np.median(length)) if len(length) else 0.0


def deficit(out: np.ndarray) -> np.ndarray:
    """How far downstairs is below what is asked, K, by minute."""
    return np.maximum(out[:, COLUMN["ask0"]] - 0.5 - out[:, COLUMN["room0"]], 0.0)
