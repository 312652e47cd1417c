"""The site file as frozen models: the plant as designed and as measured."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, date, datetime
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from pydantic import Field, field_validator, model_validator

from fieldfare.analysis.plant.contact import Contact
from fieldfare.analysis.plant.cost import Cost
from fieldfare.analysis.plant.fields import (
    UNSAID,
    AirTemperature,
    Day,
    Energy,
    Factor,
    FreeText,
    Key,
    Language,
    Litres,
    Number,
    Output,
    RoomTemperature,
    SiteId,
    TimeZone,
    WaterTemperature,
    WholeNumber,
    Word,
)
from fieldfare.analysis.plant.other_sources import OtherHeat, Pv, Served
from fieldfare.analysis.plant.quantities import QUANTITIES, Form, Quantity
from fieldfare.analysis.plant.refusals import did_you_mean, nearest
from fieldfare.analysis.plant.section import Section as _Section
from fieldfare.analysis.plant.units import Conversion, conversion
from fieldfare.analysis.plant.weather import Weather

ZERO_C_IN_K = 273.15
MAX_ANTIFREEZE_PERCENT = 50.0
"""By mass; the property tables of `fieldfare.analysis.physics.water` end there."""


class SiteSection(_Section):
    """`[site]`: name and location of the installation."""

    id: SiteId
    name: Annotated[Word, Field(min_length=1, max_length=80)]
    timezone: TimeZone
    latitude: Annotated[Number, Field(ge=-90, le=90)] | None = None
    longitude: Annotated[Number, Field(ge=-180, le=180)] | None = None
    handed_over: Day | None = None
    floor_area_m2: Annotated[Number, Field(ge=5, le=100_000)] | None = None
    outdoor_from: SiteId | None = None
    language: Language | None = None


class Building(_Section):
    """`[building]`: type and year, by which a firm's homes are compared."""

    kind: Literal["terraced", "semi_detached", "detached", "flat", "other"] | None = None
    built: Annotated[WholeNumber, Field(ge=1000, le=2100)] | None = None


class Design(_Section):
    """`[design]`: the design figures. Heat loss by EN 12831-1 at the two temperatures."""

    heat_loss_kw: Output | None = None
    indoor_c: RoomTemperature = 20.0
    outdoor_c: AirTemperature | None = None
    space_heat_kwh_per_year: Energy | None = None
    hot_water_kwh_per_year: Energy | None = None
    spf_space: Annotated[Number, Field(ge=0.5, le=12)] | None = None
    spf_hot_water: Annotated[Number, Field(ge=0.5, le=12)] | None = None
    bivalent_c: AirTemperature | None = None

    @model_validator(mode="after")
    def _warm_inside(self) -> Design:
        if self.outdoor_c is not None and self.outdoor_c > self.indoor_c - 1.0:
            raise ValueError("outdoor_c must be below indoor_c, by 1 K at least")
        return self

    @property
    def coefficient_w_per_k(self) -> float | None:
        """Designed heat loss coefficient [W/K], where heat loss and outdoor temperature are given."""
        if self.heat_loss_kw is None or self.outdoor_c is None:
            return None
        return self.heat_loss_kw * 1000.0 / (self.indoor_c - self.outdoor_c)


class Rating(_Section):
    """One EN 14511 test point."""

    outdoor_c: AirTemperature
    flow_c: WaterTemperature
    output_kw: Output | None = None
    cop: Annotated[Number, Field(ge=0.8, le=15)]

    @model_validator(mode="after")
    def _below_carnot(self) -> Rating:
        lift = self.flow_c - self.outdoor_c
        if lift < 1.0:
            raise ValueError("flow_c must be above outdoor_c, by 1 K at least")
        if self.cop > (limit := (self.flow_c + ZERO_C_IN_K) / lift):
            raise ValueError(
                f"cop = {self.cop:g} at {self.outdoor_c:g}/{self.flow_c:g} C is above the thermodynamic limit"
                f" of {limit:.1f}"
            )
        return self


# Least and whole output of a unit of one speed are the same figure, rounded or at another test point (common
# practice).
_FIXED_SHARE = 0.9


class HeatPump(_Section):
    """`[heat_pump]`: the unit and its ratings.

    units : equal heat pumps that share the load (a cascade). Outputs and flow are those of all together, but
    min_output_kw, which is one unit's. cooling : it also cools in summer
    """

    source: Literal["air", "brine", "water"] = "air"
    rated_output_kw: Output | None = None
    min_output_kw: Output | None = None
    max_flow_c: Annotated[Number, Field(ge=25, le=95)] | None = None
    flow_m3_per_h: Annotated[Number, Field(ge=0.01, le=1000)] | None = None
    antifreeze: Literal["none", "propylene_glycol", "ethylene_glycol"] = "none"
    antifreeze_percent: Annotated[Number, Field(ge=0)] = 0.0
    refrigerant: Key | None = None
    units: Annotated[WholeNumber, Field(ge=1, le=8)] = 1
    cooling: bool = False
    rating: Annotated[tuple[Rating, ...], Field(max_length=100)] = ()

    @field_validator("antifreeze_percent")
    @classmethod
    def _in_the_tables(cls, value: float) -> float:
        if value > MAX_ANTIFREEZE_PERCENT:
            raise ValueError(
                f"must be 0 to {MAX_ANTIFREEZE_PERCENT:.0f}, in percent by mass (not by volume), got"
                f" {value:g}"
            )
        return value

    @model_validator(mode="after")
    def _consistent(self) -> HeatPump:
        if self.min_output_kw and self.rated_output_kw and self.min_output_kw > self.rated_output_kw:
            raise ValueError("min_output_kw must not be above rated_output_kw")
        return self

    @property
    def fixed_speed(self) -> bool:
        """Whether each unit's least output is all but its whole one: it can only switch on and off."""
        if not self.min_output_kw or not self.rated_output_kw:
            return False
        return self.min_output_kw * self.units >= _FIXED_SHARE * self.rated_output_kw


class HeatingCurve(_Section):
    """`[heating_curve]`: weather compensation as (outdoor, flow) pairs."""

    points: Annotated[tuple[tuple[AirTemperature, WaterTemperature], ...], Field(min_length=1, max_length=50)]

    @field_validator("points")
    @classmethod
    def _by_outdoor(cls, value: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        ordered = tuple(sorted(value))
        if len({p[0] for p in ordered}) != len(ordered):
            raise ValueError("each outdoor temperature may stand once")
        return ordered


class Emitter(_Section):
    """`[[emitter]]`: heat output at an excess temperature (EN 442: 50 K)."""

    zone: Key = "house"
    kind: Literal["radiator", "underfloor", "fan_coil"]
    output_kw: Output
    output_excess_k: Annotated[Number, Field(ge=1, le=100)] = 50.0


class HotWater(_Section):
    """`[hot_water]`: the cylinder and its control.

    stored : what the cylinder holds; heating water where drinking water is heated as it is drawn
    """

    cylinder_litres: Litres | None = None
    setpoint_c: Annotated[Number, Field(ge=30, le=80)] = 50.0
    reheat_below_c: Annotated[Number, Field(ge=20, le=80)] | None = None
    pasteurise_c: Annotated[Number, Field(ge=50, le=90)] | None = None
    pasteurise_every_days: Annotated[WholeNumber, Field(ge=1, le=366)] = 7
    standing_loss_kwh_per_day: Annotated[Number, Field(ge=0.01, le=1000)] | None = None
    stored: Literal["drinking_water", "heating_water"] = "drinking_water"

    @property
    def reheats_below_c(self) -> float:
        """Cylinder temperature at which a reheat starts [°C]; a usual one where the file has none."""
        return self.setpoint_c - 10.0 if self.reheat_below_c is None else self.reheat_below_c

    @model_validator(mode="after")
    def _consistent(self) -> HotWater:
        if self.reheat_below_c is not None and self.reheat_below_c >= self.setpoint_c:
            raise ValueError("reheat_below_c must be below setpoint_c")
        return self


class Buffer(_Section):
    """`[buffer]`."""

    litres: Litres
    arrangement: Literal["series", "parallel"] = "series"


HEAT_QUANTITIES = ("heat_output", "space_heat", "hot_water_heat")
"""Quantities of heat meters."""
IN_HEAT_METERS = frozenset({"backup_heater", "other_heat"})
"""What a heat meter can count beside the heat pump (`includes`)."""
TIME_FORMS = ("iso", "unix", "unix_ms", "spreadsheet")
"""Times that need no pattern: ISO 8601, seconds or milliseconds since 1970, and days since 1899-12-30."""
_DIRECTIVE = re.compile(r"%(.?)", re.DOTALL)
_DIRECTIVES = frozenset("aAbBcdfHIjmMpSxXyYzZ%")
_TIME_FORM_WANTED = (
    f'must be {", ".join(TIME_FORMS)} or a pattern that tells year, month and day, such as "%d.%m.%Y %H:%M"'
)


class Csv(_Section):
    """`[csv]`: format of the site's exports."""

    time_column: FreeText = "time"
    date_column: FreeText | None = None
    timezone: TimeZone = "UTC"
    time_format: Key = "iso"
    delimiter: Annotated[str, Field(min_length=1, max_length=1)] = ","
    decimal: Literal[".", ","] = "."
    thousands: Literal["", ".", ",", " ", "'"] = ""
    encoding: Literal["utf-8", "utf-16", "windows-1252"] = "utf-8"

    @field_validator("delimiter")
    @classmethod
    def _separates(cls, value: str) -> str:
        if value != "\t" and (
            not value.isascii() or not value.isprintable() or value.isalnum() or value in '"+-.'
        ):
            raise ValueError(f"must be a sign such as , ; | or a tab, not {value!r}")
        return value

    @field_validator("time_format")
    @classmethod
    def _reads_a_day(cls, value: str) -> str:
        if value in TIME_FORMS:
            return value
        if set(_DIRECTIVE.findall(value)) - _DIRECTIVES:
            raise ValueError(f"{_TIME_FORM_WANTED}, not {value!r}")
        moment = datetime(2025, 11, 23, 14, 45, 36, tzinfo=UTC)
        try:
            parsed = datetime.strptime(moment.strftime(value), value)  # noqa: DTZ007
        except ValueError:
            parsed = None
        if parsed is None or parsed.date() != moment.date():
            raise ValueError(f"{_TIME_FORM_WANTED}, not {value!r}")
        return value

    @property
    def says_zone(self) -> bool:
        """Whether the file names the zone of times without an offset; UTC holds where it does not."""
        return "timezone" in self.model_fields_set

    @model_validator(mode="after")
    def _check_distinct(self) -> Csv:
        if self.delimiter == self.decimal:
            raise ValueError(f"delimiter and decimal can't both be {self.decimal!r}")
        if self.thousands == self.decimal:
            raise ValueError(f"thousands and decimal can't both be {self.decimal!r}")
        if self.date_column == self.time_column:
            raise ValueError(
                "date_column and time_column must differ; leave date_column out where one column has both"
            )
        return self


ON_ARRIVAL = "arrival"
"""`time_pointer` of a message whose own time does not count."""


class Point(_Section):
    """`[[point]]`: one measured value. heat_pump : number of the unit it belongs to; None: all of them"""

    id: Annotated[str, Field(pattern=r"^[A-Za-z0-9_][A-Za-z0-9_.:-]{0,79}$")]
    quantity: Key
    form: Annotated[Form, Field(alias="as")]
    unit: Key = ""
    column: FreeText | None = None
    topic: str | None = None
    pointer: FreeText | None = None
    time_pointer: FreeText | None = None
    includes: Annotated[tuple[Key, ...], Field(max_length=20)] = ()
    stamp: Literal["start", "end"] = "start"
    meter_class: Literal["A", "B", "C", "1", "2", "3"] | None = None
    zone: Key = "house"
    heat_pump: Annotated[WholeNumber, Field(ge=1, le=8)] | None = None
    antifreeze_corrected: bool = False
    values: Annotated[dict[FreeText, FreeText], Field(max_length=500)] = Field(default_factory=dict)

    @model_validator(mode="before")
    @classmethod
    def _words(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        data = dict(data)
        known = QUANTITIES.get(str(data.get("quantity")))
        if known and "as" not in data and len(known.forms) == 1:
            data["as"] = known.forms[0]
        if known and not data.get("unit") and data.get("as") in known.forms:
            data["unit"] = known.canonical(data["as"])
        if isinstance(data.get("meter_class"), int):
            data["meter_class"] = str(data["meter_class"])
        if isinstance(data.get("values"), dict):
            data["values"] = {
                k: str(v) if isinstance(v, (int, float)) else v for k, v in data["values"].items()
            }
        return data

    @field_validator("quantity")
    @classmethod
    def _known_quantity(cls, value: str) -> str:
        if value not in QUANTITIES:
            about = {name: kind.meaning for name, kind in QUANTITIES.items()}
            raise ValueError(f"unknown quantity {value!r}{did_you_mean(nearest(value, QUANTITIES, about))}")
        return value

    @model_validator(mode="after")
    def _consistent(self) -> Point:
        kind = QUANTITIES[self.quantity]
        if self.form not in kind.forms:
            raise ValueError(
                f"as = {self.form!r} does not fit {self.quantity}; use {' or '.join(kind.forms)}"
            )
        if self.form != "state":
            canonical = kind.canonical(self.form)
            try:
                conversion(self.unit, canonical)
            except ValueError as error:
                raise ValueError(f"unit: {error}; use {canonical} or a multiple of it") from error
        for word, ours in self.values.items():
            if self.form == "state" and kind.states and ours == UNSAID:
                raise ValueError(
                    f"values.{word}: say what {word!r} means: {', '.join(kind.states)}; or take the line"
                    " out, and readings with it are refused"
                )
            if self.form == "state" and kind.states and ours not in kind.states:
                raise ValueError(f"values.{word}: {ours!r} is not a state; use {', '.join(kind.states)}")
        if self.quantity in HEAT_QUANTITIES and (other := set(self.includes) - IN_HEAT_METERS):
            raise ValueError(
                'includes: a heat meter can include "backup_heater" (it sits behind the in-line heater) or'
                f' "other_heat" (it counts another source too), not {min(other)!r}'
            )
        for name in self.includes:
            if self.quantity not in HEAT_QUANTITIES and f"{name}_electricity" not in QUANTITIES:
                consumers = [q[: -len("_electricity")] for q in QUANTITIES if q.endswith("_electricity")]
                raise ValueError(f"includes: unknown consumer {name!r}; use {', '.join(consumers)}")
        if self.pointer and not self.pointer.startswith("/"):
            raise ValueError("pointer must start with / (RFC 6901)")
        if self.time_pointer is not None and self.time_pointer != ON_ARRIVAL:
            if not self.time_pointer.startswith("/"):
                raise ValueError(f'time_pointer must start with / (RFC 6901), or be "{ON_ARRIVAL}"')
            if not self.pointer:
                raise ValueError("time_pointer points into the message that pointer points into; give both")
        return self

    @property
    def kind(self) -> Quantity:
        return QUANTITIES[self.quantity]

    @property
    def to_canonical(self) -> Conversion:
        """Conversion of this point's numbers to the canonical unit."""
        if self.form == "state":
            return Conversion(1.0, 0.0)
        return conversion(self.unit, self.kind.canonical(self.form))

    @property
    def csv_column(self) -> str:
        return self.column or self.id


FaultWords = Annotated[str, Field(min_length=1, max_length=200)]
"""The firm's own text for a fault code of the unit."""


class Site(_Section):
    """One installation. Read with `fieldfare.analysis.plant.load`."""

    site: SiteSection
    contact: Contact | None = None
    building: Building = Building()
    design: Design = Design()
    heat_pump: HeatPump = HeatPump()
    heating_curve: HeatingCurve | None = None
    emitter: Annotated[tuple[Emitter, ...], Field(max_length=100)] = ()
    hot_water: HotWater | None = None
    buffer: Buffer | None = None
    other_heat: Annotated[tuple[OtherHeat, ...], Field(max_length=5)] = ()
    pv: Pv | None = None
    cost: Cost | None = None
    csv: Csv = Csv()
    weather: Weather | None = None
    point: Annotated[tuple[Point, ...], Field(max_length=1000)] = ()
    limits: Annotated[dict[Key, Factor], Field(max_length=1000)] = Field(default_factory=dict)
    fault_codes: Annotated[dict[Key, FaultWords], Field(max_length=1000)] = Field(default_factory=dict)

    @field_validator("fault_codes", mode="before")
    @classmethod
    def _code_as_text(cls, value: Any) -> Any:
        if isinstance(value, dict) and any(not str(code).strip() for code in value):
            raise ValueError(
                'an empty code is no fault; write it as the unit reports it, as in "E7" = "flow switch"'
            )
        return value

    @model_validator(mode="after")
    def _unique_points(self) -> Site:
        seen: set[str] = set()
        for p in self.point:
            if p.id in seen:
                raise ValueError(f"point: the id {p.id!r} stands twice; give each point its own")
            seen.add(p.id)
        return self

    @model_validator(mode="after")
    def _sources_fit(self) -> Site:
        for p in self.point:
            if p.heat_pump is not None and p.heat_pump > self.heat_pump.units:
                raise ValueError(
                    f"point {p.id}: heat_pump = {p.heat_pump}, but heat_pump.units = {self.heat_pump.units}"
                )
            if "other_heat" in p.includes and not self.other_heat:
                raise ValueError(f'point {p.id}: includes "other_heat", but there is no [[other_heat]]')
        if self.hot_water is None and any("hot_water" in s.serves for s in self.other_heat):
            raise ValueError('other_heat serves "hot_water", but there is no [hot_water]')
        return self

    @property
    def id(self) -> str:
        return self.site.id

    @property
    def name(self) -> str:
        return self.site.name

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.site.timezone)

    @property
    def handed_over(self) -> date | None:
        """First day in the householder's hands."""
        return self.site.handed_over

    @property
    def floor_area_m2(self) -> float | None:
        return self.site.floor_area_m2

    @property
    def timezone(self) -> str:
        """IANA name of the zone."""
        return self.site.timezone

    @property
    def latitude(self) -> float | None:
        """North of the equator [degrees]."""
        return self.site.latitude

    @property
    def longitude(self) -> float | None:
        """East of Greenwich [degrees]."""
        return self.site.longitude

    @property
    def weather_lender(self) -> str | None:
        """Id of the site that provides the outdoor sensor."""
        return self.site.outdoor_from or (self.weather.site if self.weather else None)

    @property
    def position(self) -> tuple[float, float] | None:
        """Latitude and longitude [degrees] of the door if given, else of the site; None without either."""
        for part in (self.contact, self.site):
            if part is not None and part.latitude is not None and part.longitude is not None:
                return part.latitude, part.longitude
        return None

    def other_heat_for(self, use: Served) -> tuple[OtherHeat, ...]:
        """Other heat sources that serve a use."""
        return tuple(s for s in self.other_heat if use in s.serves)

    def points_of(self, quantity: str) -> Iterator[Point]:
        return (p for p in self.point if p.quantity == quantity)

    def measures(self, quantity: str) -> bool:
        return any(p.quantity == quantity for p in self.point)

    def includes(self, quantity: str, part: str) -> bool:
        """Whether a meter of the quantity also measures a part of the plant, by the site file."""
        return any(part in p.includes for p in self.points_of(quantity))

    def find_point(self, point_id: str) -> Point | None:
        return next((p for p in self.point if p.id == point_id), None)
