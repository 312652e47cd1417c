"""An invented home for the examples: a site file and a CSV export of six winter weeks.

python docs/example.py [FOLDER]    # writes home.toml and export.csv
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd

SITE = """
[site]
id = "alder-row"
name = "Alder Row"
timezone = "Europe/London"
latitude = 52.1

[design]
heat_loss_kw = 4.6
indoor_c = 20.5
outdoor_c = -3.0
spf_space = 3.6

[heat_pump]
rated_output_kw = 7.0
flow_m3_per_h = 1.2

[heating_curve]
points = [[-3.0, 44.0], [15.0, 28.0]]

[[point]]
id = "hp_elec"
quantity = "heat_pump_electricity"
as = "power"
unit = "W"
column = "P_el"

[[point]]
id = "hp_heat"
quantity = "heat_output"
as = "power"
unit = "kW"
column = "Q"

[[point]]
id = "flow"
quantity = "flow_temperature"
column = "T_flow"

[[point]]
id = "return"
quantity = "return_temperature"
column = "T_return"

[[point]]
id = "outdoor"
quantity = "outdoor_temperature"
column = "T_out"

[[point]]
id = "room"
quantity = "room_temperature"
column = "T_room"
"""
LOSS_W_PER_K, GAINS_W, CARNOT_SHARE = 200.0, 350.0, 0.42


def export(days: int = 42) -> pd.DataFrame:
    """Readings every five minutes: a house of 200 W/K, heated without a break by a unit at 0.42 of Carnot."""
    time = pd.date_range("2026-01-05", periods=days * 288, freq="5min", tz="UTC", name="time")
    hours = np.arange(len(time)) / 12.0
    chance = np.random.default_rng(7)
    drift = np.repeat(chance.normal(0.0, 2.0, days), 288)
    outdoor = 1.0 + drift + 2.0 * np.sin((hours - 9.0) * np.pi / 12.0)
    room = 20.5 + 0.2 * np.sin(hours * np.pi / 12.0)
    heat = np.clip(LOSS_W_PER_K * (room - outdoor) - GAINS_W, 1500.0, 7000.0)
    flow = 44.0 - (outdoor + 3.0) * 16.0 / 18.0
    cop = CARNOT_SHARE * (flow + 273.15) / (flow - outdoor)
    return pd.DataFrame(
        {
            "P_el": (heat / cop).round(1),
            "Q": (heat / 1000.0).round(4),
            "T_flow": flow.round(2),
            "T_return": (flow - heat / (1.2 * 1155.5)).round(2),
            "T_out": outdoor.round(2),
            "T_room": room.round(2),
        },
        index=time.strftime("%Y-%m-%dT%H:%M:%SZ"),
    ).rename_axis("time")


def write(folder: Path) -> None:
    """Write home.toml and export.csv into a folder."""
    (folder / "home.toml").write_text(SITE.lstrip(), encoding="utf-8")
    export().to_csv(folder / "export.csv")


if __name__ == "__main__":
    write(Path(sys.argv[1] if len(sys.argv) > 1 else "."))
