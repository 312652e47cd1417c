"""A house's run as the meters of its home export it: site file, readings and truth."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from tests.reference.engine.houses import Climate, House, capacity_share, input_share

ZONES: dict[Climate, tuple[str, int, float]] = {
    "golden": ("America/Phoenix", -7, 39.7),
    "chicago": ("America/Regina", -6, 42.0),
    "washington": ("America/Panama", -5, 38.9),
    "coast": ("Pacific/Pitcairn", -8, 37.6),
}
"""Zone without daylight saving time at the weather file's offset [h], and latitude."""
RATING_POINTS = ((7.0, 35.0), (2.0, 35.0), (-7.0, 35.0), (7.0, 55.0), (-7.0, 55.0))


@dataclass(frozen=True)
class Point:
    """id, quantity, form and unit of the site file; decimals of its readings"""

    id: str
    quantity: str
    form: str
    unit: str
    decimals: int
    zone: str = ""


POINTS = (
    Point("hp_power", "heat_pump_electricity", "power", "W", 0),
    Point("hp_energy", "heat_pump_electricity", "register", "kWh", 3),
    Point("heat_power", "heat_output", "power", "W", 0),
    Point("heat_energy", "heat_output", "register", "kWh", 3),
    Point("pump_power", "circulation_pump_electricity", "power", "W", 1),
    Point("backup", "backup_heater_electricity", "register", "kWh", 3),
    Point("flow", "flow_temperature", "gauge", "degC", 2),
    Point("back", "return_temperature", "gauge", "degC", 2),
    Point("water", "flow_rate", "gauge", "m3/h", 3),
    Point("outdoor", "outdoor_temperature", "gauge", "degC", 1),
    Point("humidity", "outdoor_humidity", "gauge", "%", 0),
    Point("sun", "solar_irradiance", "gauge", "W/m2", 0),
    Point("room", "room_temperature", "gauge", "degC", 2, "house"),
    Point("target", "target_room_temperature", "gauge", "degC", 1, "house"),
)


def readings(run: pd.DataFrame) -> pd.DataFrame:
    """Columns of `POINTS` in their units, indexed as the run is."""
    heat, electricity = run["Heat Pump Load Side Heat Transfer Rate"], run["Heat Pump Electricity Rate"]
    altitude = np.sin(np.radians(run["Site Solar Altitude Angle"].clip(lower=0.0)))
    direct, diffuse = (run[f"Site {k} Solar Radiation Rate per Area"] for k in ("Direct", "Diffuse"))
    return pd.DataFrame(
        {
            "hp_power": electricity,
            "hp_energy": 1200.0 + electricity.cumsum() / 60_000.0,
            "heat_power": heat,
            "heat_energy": 4100.0 + heat.cumsum() / 60_000.0,
            "pump_power": run["Pump Electricity Rate"],
            "backup": 80.0 + _backup(run).cumsum() / 60_000.0,
            "flow": run["Heat Pump Load Side Outlet Temperature"],
            "back": run["Heat Pump Load Side Inlet Temperature"],
            "water": run["Heat Pump Load Side Mass Flow Rate"] * 3600.0 / 993.0,
            "outdoor": run["Site Outdoor Air Drybulb Temperature"],
            "humidity": run["Site Outdoor Air Relative Humidity"],
            "sun": diffuse + direct * altitude,
            "room": run["Zone Mean Air Temperature"],
            "target": run["Schedule Value"],
        }
    )


def _backup(run: pd.DataFrame) -> pd.Series:
    """Electricity of the heater behind the heat pump, 0 where there is none [W]."""
    return (
        run["Boiler Electricity Rate"]
        if "Boiler Electricity Rate" in run
        else 0.0 * run["Zone Mean Air Temperature"]
    )


def site_text(house: House, points: tuple[Point, ...]) -> str:
    """The site file, as the designer knows the house."""
    zone, _, latitude = ZONES[house.climate]
    lines = [
        "[site]",
        f'id = "engine-{house.name}"',
        f'name = "Engine {house.name}"',
        f'timezone = "{zone}"',
        f"latitude = {latitude}",
        f"floor_area_m2 = {2.0 * house.width_m * house.depth_m}",
        "",
        "[design]",
        f"heat_loss_kw = {house.design_load_kw:.2f}",
        f"indoor_c = {house.target_c}",
        f"outdoor_c = {house.design_outdoor_c}",
        *([f"bivalent_c = {house.bivalent_c:.1f}"] if house.backup_kw else []),
        "",
        "[heat_pump]",
        'source = "air"',
        f"rated_output_kw = {house.output_kw:.2f}",
        f"min_output_kw = {house.least_share * house.output_kw:.2f}",
        f"flow_m3_per_h = {house.design_load_kw / 4.18 / 8.0 * 3600.0 / 995.0:.3f}",
        "max_flow_c = 60.0",
    ]
    for outdoor, flow in RATING_POINTS:
        full = house.output_kw * capacity_share(flow, outdoor)
        # Part load gains at a full load of 1 are none: 0.98 - 0.30 + 0.32.
        cop = house.cop / input_share(flow, outdoor)
        lines += [
            "[[heat_pump.rating]]",
            f"outdoor_c = {outdoor}",
            f"flow_c = {flow}",
            f"output_kw = {full:.2f}",
            f"cop = {cop:.2f}",
        ]
    low, high = house.curve
    lines += ["", "[heating_curve]", f"points = [[{house.design_outdoor_c}, {low}], [15.0, {high}]]", ""]
    kind = house.emitter
    lines += [
        "[[emitter]]",
        f'kind = "{kind}"',
        f"output_kw = {house.emitter_kw:.2f}",
        "output_excess_k = 50.0",
        "",
    ]
    lines += ["[csv]", 'time_column = "time"', 'timezone = "UTC"', ""]
    for p in points:
        lines += [
            "[[point]]",
            f'id = "{p.id}"',
            f'quantity = "{p.quantity}"',
            f'as = "{p.form}"',
            f'unit = "{p.unit}"',
        ]
        if p.zone:
            lines.append(f'zone = "{p.zone}"')
    return "\n".join(lines) + "\n"


def truth(house: House, run: pd.DataFrame, heat_loss: float) -> dict[str, Any]:
    """What the engine knows of itself."""
    heat, electricity = run["Heat Pump Load Side Heat Transfer Rate"], run["Heat Pump Electricity Rate"]
    pump, backup = run["Pump Electricity Rate"], _backup(run)
    works = (heat > 0.0).to_numpy()
    return {
        "H2": float(heat.sum() / electricity.sum()),
        "H3": float((heat + backup).sum() / (electricity + backup).sum()),
        "H4": float((heat + backup).sum() / (electricity + backup + pump).sum()),
        "heat_loss_w_per_k": heat_loss,
        "starts": int(np.sum(works[1:] & ~works[:-1])),
        "defrosts": 0,
        "electricity_kwh": float((electricity + pump).sum() / 60_000.0),
        "heat_kwh": float(heat.sum() / 60_000.0),
    }


def write(
    folder: Path,
    house: House,
    run: pd.DataFrame,
    heat_loss: float,
    *,
    without: tuple[str, ...] = (),
    spacing_min: int = 1,
) -> None:
    """Write site.toml, readings.csv.gz and truth.json.

    without : ids of points that this home has not. spacing_min : minutes between readings
    """
    points = tuple(p for p in POINTS if p.id not in without and (p.id != "backup" or house.backup_kw))
    _, offset, _ = ZONES[house.climate]
    table = readings(run)[[p.id for p in points]].iloc[::spacing_min]
    for p in points:
        table[p.id] = table[p.id].round(p.decimals)
    table.index = (table.index - pd.Timedelta(hours=offset)).strftime("%Y-%m-%dT%H:%M:%SZ")
    table.index.name = "time"
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "site.toml").write_text(site_text(house, points))
    table.to_csv(folder / "readings.csv.gz")
    told = {
        "name": f"engine-{house.name}",
        "family": "faulty" if house.must else "healthy",
        "title": f"{house.name} house of the reference engine",
        "fault": None,
        "must": [{"any_of": [code], "severity_at_least": "watch"} for code in house.must],
        "first_cause": [],
        "must_not": [],
        "may": [
            *house.may,
            *(
                ["heat_loss_below_design", "heat_loss_above_design"]
                if heat_loss < 0.85 * house.coefficient_w_per_k
                else []
            ),
        ],
        "verdict": {"in": ["watch", "act", "urgent"] if house.must else ["in_order", "not_known"]},
        "metering": "full" if not without else "some",
        "spacing_min": spacing_min,
        "days": round(len(run) / 1440),
        "figures": truth(house, run, heat_loss),
    }
    (folder / "truth.json").write_text(json.dumps(told, indent=1))
