"""The house itself in the engine's input: walls, windows, air, people."""

from __future__ import annotations

from typing import Any

from tests.reference.engine.houses import UPPER_FLOOR_AIR_CHANGES, UPPER_FLOOR_M, House
from tests.reference.engine.parts import ALWAYS, Model, compact, gain


def envelope(model: Model, house: House, *, shaded: bool) -> None:
    """A box. Walls, roof and floor are a massive inner layer behind insulation of the wanted conductance."""
    w, d, h = house.width_m, house.depth_m, house.height_m
    inner = {"roughness": "MediumRough", "conductivity": 1.1, "density": 1800.0, "specific_heat": 900.0}
    outer = {"roughness": "MediumRough", "conductivity": 0.035, "density": 30.0, "specific_heat": 1400.0}
    mass = house.thermal_mass_m
    absorbed = 0.0 if shaded else 0.6
    model["Material"] = {"Mass": {**inner, "thickness": mass, "solar_absorptance": 0.6}}
    for part, u in (
        ("Wall", house.wall_built_u or house.wall_u),
        ("Roof", house.roof_u),
        ("Floor", house.floor_u),
    ):
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
    surfaces["Floor"] |= HIDDEN
    if house.ground_c is not None:
        surfaces["Floor"]["outside_boundary_condition"] = "Ground"
        months = "january february march april may june july august september october november december"
        model["Site:GroundTemperature:BuildingSurface"] = {
            "Ground": {f"{m}_ground_temperature": house.ground_c for m in months.split()}
        }
    model["BuildingSurface:Detailed"] = surfaces
    if house.party_u:
        _party_wall(model, house, shaded)
    if house.ceiling_u:
        _upper_floor(model, house)
    share = house.window_share**0.5
    model["FenestrationSurface:Detailed"] = {
        f"{name} window": _window(name, corners, share * house.window_scale[name != "South"])
        for name, corners in walls.items()
        if not (house.party_u and name == "North")
    }


HIDDEN = {"sun_exposure": "NoSun", "wind_exposure": "NoWind"}


def _layer(model: Model, name: str, u: float, mass_m: float) -> None:
    """A construction between two rooms: insulation of the wanted conductance and the massive layer."""
    resistance = 1.0 / u - 0.26 - mass_m / 1.1  # films of two rooms: 0.13 m2K/W each (ISO 6946)
    model["Material"][f"{name} insulation"] = {
        "roughness": "MediumRough",
        "conductivity": 0.035,
        "density": 30.0,
        "specific_heat": 1400.0,
        "thickness": max(0.035 * resistance, 0.003),
    }
    model["Construction"][name] = {"outside_layer": f"{name} insulation", "layer_2": "Mass"}


def _party_wall(model: Model, house: House, coheating: bool) -> None:
    """The north wall against a neighbour; a co-heating test keeps the neighbour as warm as the house."""
    _layer(model, "Party", house.party_u, house.thermal_mass_m)
    wall = model["BuildingSurface:Detailed"]["North"]
    wall |= {"construction_name": "Party", **HIDDEN}
    if coheating:
        wall["outside_boundary_condition"] = "Adiabatic"
        return
    wall |= {
        "outside_boundary_condition": "OtherSideCoefficients",
        "outside_boundary_condition_object": "Neighbour",
    }
    model["SurfaceProperty:OtherSideCoefficients"] = {
        "Neighbour": {
            "combined_convective_radiative_film_coefficient": 7.7,
            "constant_temperature": house.neighbour_c,
            "constant_temperature_coefficient": 1.0,
            "external_dry_bulb_temperature_coefficient": 0.0,
        }
    }


def _upper_floor(model: Model, house: House) -> None:
    """An unheated zone on top of the house; the roof is on it."""
    w, d, low = house.width_m, house.depth_m, house.height_m
    top = low + UPPER_FLOOR_M
    _layer(model, "Ceiling", house.ceiling_u, 0.02)
    model["Construction"]["Ceiling from above"] = {
        "outside_layer": "Mass",
        "layer_2": "Ceiling insulation",
    }
    model["Zone"]["Upper"] = {}
    surfaces = model["BuildingSurface:Detailed"]
    between = {"outside_boundary_condition": "Surface", **HIDDEN}
    surfaces["Roof"] |= {
        **between,
        "surface_type": "Ceiling",
        "construction_name": "Ceiling",
        "outside_boundary_condition_object": "Upper floor",
    }
    floor = [(0, 0, low), (0, d, low), (w, d, low), (w, 0, low)]
    surfaces["Upper floor"] = _surface("Floor", "Ceiling from above", "Surface", floor) | {
        **between,
        "outside_boundary_condition_object": "Roof",
        "zone_name": "Upper",
    }
    sides = {
        "Upper south": [(0, 0, top), (0, 0, low), (w, 0, low), (w, 0, top)],
        "Upper east": [(w, 0, top), (w, 0, low), (w, d, low), (w, d, top)],
        "Upper north": [(w, d, top), (w, d, low), (0, d, low), (0, d, top)],
        "Upper west": [(0, d, top), (0, d, low), (0, 0, low), (0, 0, top)],
    }
    for name, corners in sides.items():
        surfaces[name] = _surface("Wall", "Wall", "Outdoors", corners) | {"zone_name": "Upper"}
    roof = [(0, d, top), (0, 0, top), (w, 0, top), (w, d, top)]
    surfaces["Upper roof"] = _surface("Roof", "Roof", "Outdoors", roof) | {"zone_name": "Upper"}
    model["ZoneInfiltration:DesignFlowRate"] = {
        "Upper air": _leak("Upper", ALWAYS, UPPER_FLOOR_AIR_CHANGES, 0.0)
    }


def _leak(zone: str, schedule: str, air_changes: float, wind_share: float) -> dict[str, Any]:
    return {
        "zone_or_zonelist_or_space_or_spacelist_name": zone,
        "schedule_name": schedule,
        "design_flow_rate_calculation_method": "AirChanges/Hour",
        "air_changes_per_hour": air_changes,
        "constant_term_coefficient": 1.0 - wind_share,
        "temperature_term_coefficient": 0.0,
        "velocity_term_coefficient": wind_share / 4.47,
        "velocity_squared_term_coefficient": 0.0,
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
    leaks = model.setdefault("ZoneInfiltration:DesignFlowRate", {})
    leaks["Air"] = _leak("House", ALWAYS, house.air_changes, house.wind_share)
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
    if house.airing:
        model["Schedule:Compact"]["Night"] = compact(
            ["Until: 06:00", 1.0, "Until: 22:00", 0.0, "Until: 24:00", 1.0]
        )
        leaks["Open windows"] = _leak("House", "Night", house.airing, 0.0)
    if house.stove_w:
        model["OtherEquipment"]["Stove"] = gain(house.stove_w, "Evening")
