"""Houses of the reference engine: differences in building, weather, control and use."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

Climate = Literal["golden", "chicago", "washington", "coast"]
WEATHER: dict[Climate, str] = {
    "golden": "Golden",
    "chicago": "Chicago",
    "washington": "Washington",
    "coast": "San.Francisco",
}
"""A word of the weather file's name that the engine's package ships."""


@dataclass(frozen=True)
class House:
    """A house of one heated zone, with an air-to-water heat pump.

    wall_u, roof_u, window_u [W/m2K]; window_share of the wall area [-]; air_changes [1/h] at 4.47 m/s of wind
    when wind_share is 1; wind_share : part of the infiltration in proportion to the wind [-]; gains_w : mean
    heat of people and appliances; stove_w : evening heat that nobody meters, on days below 4 °C; set_back_k :
    at night [K]
    window_scale : sides of the windows of the south wall and of the others, over those of an even share [-]
    party_u : of a north wall shared with a neighbour at neighbour_c; absent: none [W/m2K]
    ceiling_u : to an unheated upper floor under the roof; absent: none [W/m2K]
    airing : more air changes while windows are open, 22:00 to 06:00 [1/h]
    ground_c : temperature under the floor; absent: outdoor air [°C]
    colder_k : the weather file's air made colder [K]. breeze : wind over the weather file's [-]
    backup_kw : electric heater behind the heat pump. chopped : an on-off room thermostat; without it the
        emitter meets each minute's load. defrost : the engine's timed defrost
    oversize : output over heat loss on the design day [-]; cop : at A7/W35; least_share : least output over
        full [-]
    wall_built_u : of the walls as built, where not as designed [W/m2K]
    valve_open : share of the emitters' flow that is left from day valve_from_day on [-]
    must, may : codes of findings that the house as built asks for, and that it excuses
    curve_k : flow above what the emitters need by their size [K]; emitter_scale : emitters over what they
        need [-]
    """

    name: str
    climate: Climate = "chicago"
    width_m: float = 9.0
    depth_m: float = 8.0
    height_m: float = 5.2
    wall_u: float = 0.45
    roof_u: float = 0.25
    floor_u: float = 0.35
    window_u: float = 1.6
    window_share: float = 0.18
    solar_gain: float = 0.55
    air_changes: float = 0.5
    wind_share: float = 0.0
    gains_w: float = 400.0
    stove_w: float = 0.0
    target_c: float = 20.5
    set_back_k: float = 0.0
    thermal_mass_m: float = 0.12
    window_scale: tuple[float, float] = (1.2, 0.9)
    party_u: float = 0.0
    neighbour_c: float = 20.0
    ceiling_u: float = 0.0
    airing: float = 0.0
    ground_c: float | None = None
    colder_k: float = 0.0
    breeze: float = 1.0
    backup_kw: float = 0.0
    chopped: bool = True
    defrost: bool = False
    emitter: Literal["radiator", "underfloor"] = "radiator"
    oversize: float = 1.15
    cop: float = 4.6
    least_share: float = 0.25
    flow_c: float = 48.0
    curve_k: float = 0.0
    deadband_k: float = 0.8
    emitter_scale: float = 1.0
    wall_built_u: float = 0.0
    valve_open: float = 1.0
    valve_from_day: int = 0
    must: tuple[str, ...] = ()
    may: tuple[str, ...] = ()

    @property
    def design_outdoor_c(self) -> float:
        return DESIGN_OUTDOOR_C[self.climate] - self.colder_k

    @property
    def coefficient_w_per_k(self) -> float:
        """Heat loss coefficient as a designer calculates it (EN 12831-1: elements and air changes) [W/K]."""
        ground = self.width_m * self.depth_m
        sides = {"south": self.width_m, "north": self.width_m, "east": self.depth_m, "west": self.depth_m}
        if self.party_u:
            del sides["north"]
        opaque, glass = 0.0, 0.0
        for side, width in sides.items():
            scale = self.window_scale[side != "south"]
            glass += width * self.height_m * self.window_share * scale**2
            opaque += width * self.height_m * (1.0 - self.window_share * scale**2)
        air = 0.34 * self.air_changes * ground * self.height_m
        roof = self.roof_u * ground
        if self.ceiling_u:
            above = self.upper_floor_w_per_k
            roof = 1.0 / (1.0 / (self.ceiling_u * ground) + 1.0 / above)
        return self.wall_u * opaque + self.window_u * glass + roof + self._to_ground_w_per_k + air

    @property
    def upper_floor_w_per_k(self) -> float:
        """From an unheated upper floor to the outdoor air [W/K]."""
        ground = self.width_m * self.depth_m
        walls = 2.0 * (self.width_m + self.depth_m) * UPPER_FLOOR_M
        air = 0.34 * UPPER_FLOOR_AIR_CHANGES * ground * UPPER_FLOOR_M
        return self.roof_u * ground + self.wall_u * walls + air

    @property
    def _to_ground_w_per_k(self) -> float:
        """EN 12831-1: 1.45 for the year's swing, and the share of the ground's temperature difference."""
        whole = self.floor_u * self.width_m * self.depth_m
        if self.ground_c is None:
            return whole
        return 1.45 * whole * (self.target_c - self.ground_c) / (self.target_c - self.design_outdoor_c)

    @property
    def design_load_kw(self) -> float:
        return self.coefficient_w_per_k * (self.target_c - self.design_outdoor_c) / 1000.0

    @property
    def output_kw(self) -> float:
        """Rated output at A7/W35, so that the output on the design day is `oversize` of the load."""
        return self.oversize * self.design_load_kw / capacity_share(self.flow_c, self.design_outdoor_c)

    @property
    def bivalent_c(self) -> float:
        """Outdoor temperature at which load and output meet, at the design's flow [°C]."""
        slope = self.design_load_kw / (self.target_c - self.design_outdoor_c)
        full, per_k = self.output_kw * capacity_share(self.flow_c, 0.0), 0.016 * self.output_kw
        return (slope * self.target_c - full) / (slope + per_k)

    @property
    def emitter_kw(self) -> float:
        """Output at 50 K, so that the emitters give the load at the design flow (linear emitters, as in the
        engine)."""
        return self.emitter_scale * self.design_load_kw * 50.0 / (self.flow_c - 4.0 - self.target_c)

    @property
    def curve(self) -> tuple[float, float]:
        """Flow at the design temperature and at 15 °C outdoors [°C]."""
        return self.flow_c + self.curve_k, self.target_c + 4.0 + self.curve_k


DESIGN_OUTDOOR_C: dict[Climate, float] = {"golden": -16.0, "chicago": -18.0, "washington": -8.0, "coast": 4.0}
UPPER_FLOOR_M = 2.5
UPPER_FLOOR_AIR_CHANGES = 0.5


def capacity_share(flow_c: float, outdoor_c: float) -> float:
    """Full output over the rated one at A7/W35 [-]."""
    return 0.993 - 0.003 * flow_c + 0.016 * outdoor_c


def input_share(flow_c: float, outdoor_c: float) -> float:
    """Electricity a unit of heat at full output, over the rated one at A7/W35 [-]."""
    return (
        0.605
        + 0.0115 * flow_c
        + 0.00012 * flow_c**2
        - 0.0205 * outdoor_c
        + 0.00022 * outdoor_c**2
        - 0.00009 * flow_c * outdoor_c
    )


HOUSES: dict[str, House] = {
    h.name: h
    for h in (
        House("plain"),
        House("set-back", set_back_k=3.0, oversize=1.5, flow_c=52.0),
        House("floor", climate="washington", emitter="underfloor", flow_c=36.0, wall_u=0.3, window_u=1.3),
        House("leaky", climate="golden", air_changes=1.1, wind_share=1.0),
        House("sunny", climate="golden", window_share=0.34, solar_gain=0.62, wall_u=0.35),
        House("stove", stove_w=3000.0),
        House("light", thermal_mass_m=0.02, climate="washington", wall_u=0.6, gains_w=250.0),
    )
}


OTHER_HOUSES: dict[str, House] = {
    h.name: h
    for h in (
        House(
            "heavy",
            thermal_mass_m=0.28,
            set_back_k=4.0,
            oversize=1.7,
            flow_c=50.0,
            window_share=0.16,
            solar_gain=0.4,
            emitter_scale=1.4,
            may=("room_below_target",),
        ),
        House(
            "cavity",
            wall_u=0.35,
            wall_built_u=0.75,
            window_share=0.15,
            solar_gain=0.35,
            oversize=1.3,
            emitter_scale=1.5,
            must=("heat_loss_above_design",),
            may=("room_below_target", "capacity_short"),
        ),
        House(
            "shut-valve",
            window_share=0.15,
            solar_gain=0.35,
            emitter_scale=1.2,
            valve_open=0.05,
            valve_from_day=45,
            must=("room_below_target",),
        ),
    )
}
"""Houses for the benchmark alone: one that answers over a week, one with walls of twice the designed loss,
one whose emitters' valves shut in mid-winter."""


def variant(house: House, name: str, **change: object) -> House:
    """A house with other properties under another name."""
    return replace(house, name=name, **change)  # type: ignore[arg-type]
