"""`[weather]`: weather source of a site without an outdoor sensor."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from fieldfare.analysis.plant.fields import FreeText, Number, SiteId, Word
from fieldfare.analysis.plant.section import Section

STATION_QUANTITIES = {
    "outdoor_c": ("outdoor_temperature", "degC"),
    "humidity_percent": ("outdoor_humidity", "%"),
    "sun_w_m2": ("solar_irradiance", "W/m2"),
}
"""Column of a station's file -> quantity and unit."""


class Weather(Section):
    """Weather from a file or from another site.

    file : name of a station's CSV beside the site file, read by `site add` and `weather`. station : its name,
        for display.
    site : id of a nearby site with an outdoor sensor. base_c : base temperature of degree-days, replacing the
        home's own
    """

    file: FreeText | None = None
    station: Annotated[Word, Field(min_length=1, max_length=80)] | None = None
    site: SiteId | None = None
    base_c: Annotated[Number, Field(ge=0, le=30)] | None = None

    @model_validator(mode="after")
    def _one_source(self) -> Weather:
        if self.site is not None and (self.file is not None or self.station is not None):
            raise ValueError("give either site, or file with station; not both")
        if self.file is not None and any(c in self.file for c in "/\\"):
            raise ValueError(
                f"file: {self.file!r} must be the name of a file beside the site file, without folders"
            )
        return self

    @property
    def has_station(self) -> bool:
        """Whether readings of a station are expected."""
        return self.site is None

    @property
    def station_name(self) -> str:
        return self.station or self.file or "a weather station"


def station_id(quantity: str) -> str:
    """Point id of a station's readings."""
    return f"station.{quantity}"
