"""The house itself in the engine's input: walls, windows, air, people."""

from __future__ import annotations

from typing import Any

from tests.reference.engine.houses import House
from tests.reference.engine.parts import ALWAYS, Model, compact, gain


def envelope(model: Model, house: House, *, shaded: bool) -> None:
    """A box. Walls, roof and floor are a massive inner layer behind insulation of the wanted conductance."""
    w, d, h = house.width_m, house.depth_m, house.height_m
    inner = {"roughness": "MediumRough", "conductivity": 1.1, "density": 1800.0, "specific_heat": 900.0}
    outer = {"roughness": "MediumRough", "conductivity": 0.035, "density": 30.0, "specific_heat": 1400.0}
    mass = house.thermal_mass_m
    absorbed = 0.0 if shaded else 0.6
    model["Material"] = {"Mass": {**inner, "thickness": mass, "solar_absorptance": 0.6}}
    for part, u in (("Wall", house.wall_u), ("Roof", house.roof_u), ("Floor", house.floor_u)):
        # Surface films take 0.17 m2K/W (ISO 6946), the massive layer its own share.
        resistance = 1.0 / u - 0.17 - mass / 1.1
        model["Material"][f"{part} insulation"] = {
            **outer,
            "thickness": max(0.035 * resistance, 0.003),
            "solar_absorptance": max(absorbed, 0.0001),
        }
    model["WindowMaterial:SimpleGlazingSystem"] = {
        "Glass": {
            "u_factor": house.window_u,
            "solar_heat_gain_coefficient": 0.02 if shaded else house.solar_gain,
        }
    }
    model["Construction"] = {
        part: {"outside_layer": f"{part} insulation", "layer_2": "Mass"} for part in ("Wall", "Roof", "Floor")
    } | {"Window": {"outside_layer": "Glass"}}
    model["Zone"] = {"House": {}}
    walls = {
        "South": [(0, 0, h), (0, 0, 0), (w, 0, 0), (w, 0, h)],
        "East": [(w, 0, h), (w, 0, 0), (w, d, 0), (w, d, h)],
        "North": [(w, d, h), (w, d, 0), (0, d, 0), (0, d, h)],
        "West": [(0, d, h), (0, d, 0), (0, 0, 0), (0, 0, h)],
    }
    surfaces: dict[str, Any] = {}
    for name, corners in walls.items():
        surfaces[name] = _surface("Wall", "Wall", "Outdoors", corners)
    surfaces["Roof"] = _surface("Roof", "Roof", "Outdoors", [(0, d, h), (0, 0, h), (w, 0, h), (w, d, h)])
    surfaces["Floor"] = _surface("Floor", "Floor", "Outdoors", [(0, 0, 0), (0, d, 0), (w, d, 0), (w, 0, 0)])
    surfaces["Floor"] |= {"sun_exposure": "NoSun", "wind_exposure": "NoWind"}
    model["BuildingSurface:Detailed"] = surfaces
    share = house.window_share**0.5
    model["FenestrationSurface:Detailed"] = {
        f"{name} window": _window(name, corners, share * (1.2 if name == "South" else 0.9))
        for name, corners in walls.items()
    }


def _surface(
    kind: str, construction: str, boundary: str, corners: list[tuple[float, float, float]]
) -> dict[str, Any]:
    axes = ("x", "y", "z")
    return {
        "surface_type": kind,
        "construction_name": construction,
        "zone_name": "House",
        "outside_boundary_condition": boundary,
        "sun_exposure": "SunExposed",
        "wind_exposure": "WindExposed",
        "vertices": [{f"vertex_{a}_coordinate": v for a, v in zip(axes, c, strict=True)} for c in corners],
    }


def _window(wall: str, corners: list[tuple[float, float, float]], scale: float) -> dict[str, Any]:
    """A window in the middle of a wall, its sides `scale` of the wall's."""
    centre = [sum(c[i] for c in corners) / 4.0 for i in range(3)]
    out: dict[str, Any] = {
        "surface_type": "Window",
        "construction_name": "Window",
        "building_surface_name": wall,
        "number_of_vertices": 4,
    }
    for n, corner in enumerate(corners, start=1):
        for i, axis in enumerate("xyz"):
            out[f"vertex_{n}_{axis}_coordinate"] = centre[i] + scale * (corner[i] - centre[i])
    return out


def use_of(model: Model, house: House, coheating: bool) -> None:
    """Air that leaks through the house and, but in a co-heating test, the heat of people, appliances and
    stove."""
    wind = house.wind_share
    model["ZoneInfiltration:DesignFlowRate"] = {
        "Air": {
            "zone_or_zonelist_or_space_or_spacelist_name": "House",
            "schedule_name": ALWAYS,
            "design_flow_rate_calculation_method": "AirChanges/Hour",
            "air_changes_per_hour": house.air_changes,
            "constant_term_coefficient": 1.0 - wind,
            "temperature_term_coefficient": 0.0,
            "velocity_term_coefficient": wind / 4.47,
            "velocity_squared_term_coefficient": 0.0,
        }
    }
    if coheating:
        return
    model["Schedule:Compact"] = {
        "Presence": compact(
            [
                "Until: 07:00",
                0.7,
                "Until: 09:00",
                1.5,
                "Until: 17:00",
                0.7,
                "Until: 23:00",
                1.7,
                "Until: 24:00",
                0.7,
            ]
        ),
        "Evening": compact(["Until: 17:00", 0.0, "Until: 22:00", 1.0, "Until: 24:00", 0.0]),
    }
    model["OtherEquipment"] = {"People and appliances": gain(house.gains_w / 1.04, "Presence")}
    if house.stove_w:
        model["OtherEquipment"]["Stove"] = gain(house.stove_w, "Evening")
