"""A small hand-made plant with a few days of minute readings."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from fieldfare.analysis.readings import Readings, Samples

SITE = """
[site]
id = "{id}"
name = "{name}"
timezone = "Europe/London"
[design]
heat_loss_kw = 6.0
outdoor_c = -3.0
[heat_pump]
rated_output_kw = 7.0
[[emitter]]
kind = "radiator"
output_kw = 14.0
[heating_curve]
points = [[-3.0, 46.0], [15.0, 28.0]]
[cost]
currency = "GBP"
electricity = 0.27
[[point]]
id = "elec"
quantity = "heat_pump_electricity"
as = "power"
[[point]]
id = "heat"
quantity = "heat_output"
as = "power"
[[point]]
id = "flow"
quantity = "flow_temperature"
[[point]]
id = "return"
quantity = "return_temperature"
[[point]]
id = "outdoor"
quantity = "outdoor_temperature"
[[point]]
id = "room"
quantity = "room_temperature"
"""
START = datetime(2026, 1, 5, tzinfo=UTC)


def site_text(site: str = "alder-row", name: str = "Alder Row", **more: str) -> str:
    """A site file; `more` are lines for its [site] section."""
    text = SITE.format(id=site, name=name)
    lines = "".join(f"{key} = {value}\n" for key, value in more.items())
    return text.replace("[design]", f"{lines}[design]", 1)


def readings(days: int = 4, start: datetime = START, *, power: float = 1500.0) -> Readings:
    """Minutes of a unit that runs 40 minutes of each hour at a COP of 3."""
    n = days * 1440
    time = int(start.timestamp()) * 1000 + np.arange(n, dtype=np.int64) * 60_000
    minute = np.arange(n)
    on = minute % 60 < 40
    return {
        "elec": Samples(time, np.where(on, power, 12.0)),
        "heat": Samples(time, np.where(on, 3.0 * power, 0.0)),
        "flow": Samples(time, np.where(on, 38.0, 30.0)),
        "return": Samples(time, np.where(on, 33.0, 29.5)),
        "outdoor": Samples(time, 5.0 + 3.0 * np.sin(minute / 1440 * 2 * np.pi)),
        "room": Samples(time, np.full(n, 20.5)),
    }


def write_csv(path: Path, found: Readings) -> Path:
    """A wide CSV of readings that share their times."""
    names = list(found)
    times = found[names[0]].time
    rows = [",".join(["time", *names])]
    for i, t in enumerate(times):
        moment = datetime.fromtimestamp(int(t) / 1000, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        rows.append(",".join([moment, *(f"{found[n].value[i]:g}" for n in names)]))
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path
