"""Faults of meters and gateways: each changes the table of readings (a column a point, UTC index)."""

from typing import Any

import numpy as np
import pandas as pd

ELECTRIC = ("hp_elec", "hp_elec_total")
HEAT = ("heat", "heat_total")


def present(frame: pd.DataFrame, names: tuple[str, ...]) -> list[str]:
    """Those of the points that the home has."""
    return [name for name in names if name in frame]


def after(frame: pd.DataFrame, home: Any, day: float) -> np.ndarray:
    """Which rows are later than a day of the record."""
    began = pd.Timestamp(str(home.start), tz="UTC") + pd.Timedelta(days=day)
    return np.asarray(frame.index >= began)


def scale_heat(frame: pd.DataFrame, home: Any, day: float, factor: float) -> pd.DataFrame:
    """The heat meter counts `factor` times the heat."""
    for name in present(frame, HEAT):
        frame[name] = frame[name] * factor
    return frame


def double_heat(frame: pd.DataFrame, home: Any, day: float, strength: float) -> pd.DataFrame:
    """The pulse value of the heat meter is set wrong: ten times, as a decade switch does."""
    return scale_heat(frame, home, day, 10.0)


def branch(frame: pd.DataFrame, home: Any, day: float, strength: float) -> pd.DataFrame:
    """The heat meter sits in one of two heating branches, behind where the cylinder's branches off: it counts
    all heat of a charge and part of the rest."""
    hot = np.asarray(frame["mode"] == "hot_water") if "mode" in frame else np.zeros(len(frame), bool)
    part = np.where(hot, 1.0, 0.65 - 0.2 * strength)
    for name in present(frame, HEAT):
        values = frame[name].to_numpy(float)
        if name == "heat_total":
            values = values[0] + np.cumsum(np.diff(values, prepend=values[0]) * part)
            frame[name] = np.round(values, 2)
        else:
            frame[name] = values * part
    return frame


def gaps(frame: pd.DataFrame, home: Any, day: float, strength: float) -> pd.DataFrame:
    """The gateway is off for days, several times."""
    lost = np.zeros(len(frame), bool)
    for first in (0.2, 0.45, 0.7):
        begin = first * home.days
        lost |= after(frame, home, begin) & ~after(frame, home, begin + 3.0 + 5.0 * strength)
    return frame[~lost]


def stuck(frame: pd.DataFrame, home: Any, day: float, strength: float) -> pd.DataFrame:
    """The outdoor sensor repeats one value."""
    rows = after(frame, home, day)
    if "outdoor" in frame and rows.any():
        frame.loc[rows, "outdoor"] = frame["outdoor"].to_numpy()[rows.argmax()]
    return frame


def swap(frame: pd.DataFrame, home: Any, day: float, strength: float) -> pd.DataFrame:
    """The sensors of flow and return are swapped."""
    if {"flow_t", "return_t"} <= set(frame):
        frame[["flow_t", "return_t"]] = frame[["return_t", "flow_t"]].to_numpy()
    return frame


def clock(frame: pd.DataFrame, home: Any, day: float, strength: float) -> pd.DataFrame:
    """The heat meter's gateway has its clock an hour or two late against the electricity meter's."""
    late = pd.Timedelta(hours=1 if strength < 0.8 else 2)
    rows = round(late / (frame.index[1] - frame.index[0]))
    for name in present(frame, (*HEAT, "flow_t", "return_t", "flow")):
        frame[name] = frame[name].shift(rows)
    return frame


def sunny(frame: pd.DataFrame, home: Any, day: float, strength: float) -> pd.DataFrame:
    """The outdoor sensor hangs in the sun, on a warm wall."""
    sun = pd.Series(home.weather.sun).rolling(60, min_periods=1).mean().to_numpy()
    minute = (frame.index - pd.Timestamp(str(home.start), tz="UTC")) // pd.Timedelta(minutes=1)
    at = np.clip(np.asarray(minute, int) - 1, 0, len(sun) - 1)
    if "outdoor" in frame:
        frame["outdoor"] = (frame["outdoor"] + 1.5 + (0.01 + 0.01 * strength) * sun[at]).round(1)
    return frame


def reset(frame: pd.DataFrame, home: Any, day: float, strength: float) -> pd.DataFrame:
    """The registers start at zero again, as after a change of meters."""
    rows = after(frame, home, day)
    for name in present(frame, ("hp_elec_total", "heat_total")):
        if rows.any():
            frame.loc[rows, name] -= frame[name].to_numpy()[rows.argmax()]
    return frame


def kilowatts(frame: pd.DataFrame, home: Any, day: float, strength: float) -> pd.DataFrame:
    """The electricity meter sends kW (or MWh) where the site file says W (or kWh)."""
    for name in present(frame, ELECTRIC):
        frame[name] = (frame[name] / 1000.0).round(3)
    return frame
