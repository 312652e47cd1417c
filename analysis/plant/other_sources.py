"""`[[other_heat]]` and `[pv]` of the site file: what heats beside the heat pump, and what leads it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Literal

from pydantic import Field, model_validator

from fieldfare.analysis.plant.fields import AirTemperature, Number
from fieldfare.analysis.plant.section import Section

Served = Literal["space_heating", "hot_water"]
NAMES = {"boiler": "boiler", "stove": "stove", "solar_thermal": "solar collector"}
"""Kind -> its name in a sentence."""
MOST_STORED_C = 65.0
"""Hottest water that surplus may be stored at [°C]; above it the stored water counts as a scald risk."""


class OtherHeat(Section):
    """`[[other_heat]]`: a heat source beside the heat pump.

    serves : what it heats. below_c : outdoor temperature below which a boiler works, and above which it rests
    alone : the heat pump does not heat the rooms while it works (alternative operation)
    """

    kind: Literal["boiler", "stove", "solar_thermal"]
    serves: Annotated[tuple[Served, ...], Field(min_length=1, max_length=2)]
    below_c: AirTemperature | None = None
    alone: bool = False

    @model_validator(mode="after")
    def _consistent(self) -> OtherHeat:
        if self.kind != "boiler" and (self.below_c is not None or self.alone):
            raise ValueError(f"below_c and alone are of a boiler's control; a {NAMES[self.kind]} has neither")
        if self.alone and "space_heating" not in self.serves:
            raise ValueError('alone is of space heating: add "space_heating" to serves, or leave it out')
        if len(set(self.serves)) < len(self.serves):
            raise ValueError("serves: name each use once")
        return self

    @property
    def name(self) -> str:
        return NAMES[self.kind]


def names_of(sources: Iterable[OtherHeat], article: str = "") -> str:
    """Their names in a sentence, each once. article : before every name but the first, as "a " """
    return f" and {article}".join(dict.fromkeys(s.name for s in sources))


class Pv(Section):
    """`[pv]`: setpoints that the controls raise on surplus electricity.

    raises_flow_k, raises_room_k : above curve and target. raises_hot_water_to_c : instead of the setpoint
    immersion : surplus goes into the cylinder's immersion heater
    """

    raises_flow_k: Annotated[Number, Field(ge=0, le=25)] = 0.0
    raises_room_k: Annotated[Number, Field(ge=0, le=5)] = 0.0
    raises_hot_water_to_c: Annotated[Number, Field(ge=30, le=MOST_STORED_C)] | None = None
    immersion: bool = False
