"""Texts of the site file's form: sections, labels and hints.

Keys, kinds and choices come from the site file's schema.
"""

from __future__ import annotations

from typing import NamedTuple

from fieldfare.analysis.plant.fields import LANGUAGES


class Words(NamedTuple):
    """A key's label and hint. later : left out of the form of a new home. only : the choices offered"""

    label: str
    hint: str = ""
    later: bool = False
    only: tuple[str, ...] = ()


class Part(NamedTuple):
    """A section of the form. keys : dotted key -> words; `#` stands for a list position
    rows : list shown in the section; new_rows : number of rows in the form of a new home
    later : left out of the form of a new home"""

    title: str
    hint: str
    keys: dict[str, Words]
    rows: str = ""
    new_rows: int = 0
    later: bool = False


PARTS: tuple[Part, ...] = (
    Part(
        "The home",
        "Name it as you speak of it.",
        {
            "site.name": Words("Name"),
            "site.id": Words("Short name", "a to z, 0 to 9 and hyphens; left empty it follows the name"),
            "site.timezone": Words("Time zone", "such as Europe/London"),
            "site.handed_over": Words("Handed over on", "first day in the householder's hands"),
            "site.floor_area_m2": Words("Floor area", "m²"),
            "site.latitude": Words("Latitude", "degrees north"),
            "site.longitude": Words("Longitude", "degrees east", later=True),
            "site.outdoor_from": Words(
                "Outdoor sensor of", "the short name of a nearby home that lends it", later=True
            ),
            "site.language": Words("The household's language", only=("", *LANGUAGES)),
            "building.kind": Words("Type of home", "for comparing homes; may stay empty"),
            "building.built": Words("Built in", "year, of the main part"),
        },
    ),
    Part(
        "Contact",
        "For visits: the firm's people see it, householders their own. It stands on no paper.",
        {
            "contact.name": Words("Name"),
            "contact.phone": Words("Telephone", "such as +44 1632 960123"),
            "contact.address": Words("Address"),
            "contact.area": Words("Area", "your own name for a part of the round"),
            "contact.latitude": Words("Latitude of the door", "degrees north", later=True),
            "contact.longitude": Words("Longitude of the door", "degrees east", later=True),
            "contact.access_notes": Words("Access notes", "keys, parking, dogs"),
        },
    ),
    Part(
        "The design",
        "Everything here may stay empty; each figure makes one more check possible.",
        {
            "design.heat_loss_kw": Words("Heat loss", "kW at the two temperatures beside it (EN 12831-1)"),
            "design.indoor_c": Words("Indoors", "°C"),
            "design.outdoor_c": Words("Outdoors", "°C, the design day's"),
            "design.space_heat_kwh_per_year": Words("Heat to rooms", "kWh a year"),
            "design.hot_water_kwh_per_year": Words("Heat to hot water", "kWh a year"),
            "design.spf_space": Words("Efficiency, rooms", "heat over electricity, a year's"),
            "design.spf_hot_water": Words("Efficiency, hot water", "heat over electricity, a year's"),
            "design.bivalent_c": Words("Back-up heater helps below", "°C; empty: never"),
        },
    ),
    Part(
        "The heat pump",
        "From its data sheet.",
        {
            "heat_pump.source": Words("Source", only=("air",)),
            "heat_pump.units": Words(
                "Heat pumps", "of a cascade; outputs and flow are of all together, empty: one"
            ),
            "heat_pump.rated_output_kw": Words("Rated output", "kW"),
            "heat_pump.min_output_kw": Words("Lowest continuous output", "kW; of a cascade: one unit's"),
            "heat_pump.max_flow_c": Words("Hottest flow", "°C"),
            "heat_pump.flow_m3_per_h": Words("Nominal water flow", "m³/h"),
            "heat_pump.antifreeze": Words("Antifreeze"),
            "heat_pump.antifreeze_percent": Words("Its share", "% by mass"),
            "heat_pump.refrigerant": Words("Refrigerant", "such as R290; for the cautions"),
            "heat_pump.cooling": Words("Also cools in summer"),
        },
    ),
    Part(
        "Rating",
        "EN 14511 test points, as many as you know.",
        {
            "heat_pump.rating.#.outdoor_c": Words("outdoors", "°C"),
            "heat_pump.rating.#.flow_c": Words("flow", "°C"),
            "heat_pump.rating.#.output_kw": Words("output", "kW"),
            "heat_pump.rating.#.cop": Words("COP"),
        },
        rows="heat_pump.rating",
        new_rows=3,
    ),
    Part(
        "Heating curve",
        "Flow temperature at outdoor temperatures, as designed: readings are held against it. Not what the"
        " controller is set to now.",
        {
            "heating_curve.points.#.0": Words("outdoors", "°C"),
            "heating_curve.points.#.1": Words("flow", "°C"),
        },
        rows="heating_curve.points",
        new_rows=2,
    ),
    Part(
        "Radiators and floors",
        "One row for each kind or zone; 50 K for radiators (EN 442).",
        {
            "emitter.#.zone": Words("zone"),
            "emitter.#.kind": Words("kind"),
            "emitter.#.output_kw": Words("output", "kW"),
            "emitter.#.output_excess_k": Words("at an excess of", "K"),
        },
        rows="emitter",
        new_rows=2,
    ),
    Part(
        "Hot water",
        "Leave empty where the system makes none.",
        {
            "hot_water.cylinder_litres": Words("Cylinder", "litres"),
            "hot_water.setpoint_c": Words("Setpoint", "°C"),
            "hot_water.reheat_below_c": Words("Reheat below", "°C"),
            "hot_water.pasteurise_c": Words("Thermal disinfection at", "°C; empty: none is scheduled"),
            "hot_water.pasteurise_every_days": Words("Every", "days"),
            "hot_water.standing_loss_kwh_per_day": Words("Standing loss", "kWh a day, from its label"),
            "hot_water.stored": Words("Stored", "heating_water: drinking water is heated as it is drawn"),
        },
    ),
    Part(
        "Buffer",
        "Leave empty where there is none.",
        {"buffer.litres": Words("Buffer", "litres"), "buffer.arrangement": Words("Arrangement")},
    ),
    Part(
        "Other heat sources",
        "What heats beside the heat pump. Leave empty where nothing does.",
        {
            "other_heat.#.kind": Words("kind"),
            "other_heat.#.serves": Words("heats"),
            "other_heat.#.below_c": Words("works below", "°C outdoors; a boiler's, empty: at any time"),
            "other_heat.#.alone": Words("alone", "a boiler's: the heat pump rests meanwhile"),
        },
        rows="other_heat",
        new_rows=1,
    ),
    Part(
        "Solar electricity",
        "What the controls raise while the home has a surplus. Leave empty where they do nothing.",
        {
            "pv.raises_flow_k": Words("Flow above the curve by", "K"),
            "pv.raises_room_k": Words("Rooms above their target by", "K"),
            "pv.raises_hot_water_to_c": Words("Cylinder up to", "°C instead of the setpoint, 65 at most"),
            "pv.immersion": Words("Surplus goes into the immersion heater"),
        },
    ),
    Part(
        "Prices",
        "For money beside kWh.",
        {
            "cost.currency": Words("Currency", "three letters, such as GBP"),
            "cost.country": Words("Country", "two letters, such as GB: for carbon"),
            "cost.electricity": Words("Electricity", "per kWh"),
            "cost.standing_charge_per_day": Words("Standing charge", "per day"),
            "cost.previous_fuel": Words("Fuel before"),
            "cost.previous_fuel_price": Words("Its price", "per kWh of fuel (gross)"),
            "cost.previous_efficiency": Words("The old boiler's efficiency", "such as 0.82"),
            "cost.previous_standing_charge_per_day": Words(
                "Standing charge of the old fuel", "per day, if no longer paid", later=True
            ),
        },
    ),
    Part(
        "Bands of the day",
        "Prices between two times of the day.",
        {
            "cost.band.#.from": Words("from", "such as 00:30"),
            "cost.band.#.to": Words("to"),
            "cost.band.#.price": Words("price", "per kWh"),
        },
        rows="cost.band",
        later=True,
    ),
    Part(
        "Prices that changed",
        "From a day on, until the next row; what stays empty keeps its value.",
        {
            "cost.price.#.from": Words("from"),
            "cost.price.#.electricity": Words("electricity", "per kWh"),
            "cost.price.#.standing_charge_per_day": Words("standing charge", "per day"),
            "cost.price.#.previous_fuel_price": Words("fuel before", "per kWh of fuel"),
        },
        rows="cost.price",
        later=True,
    ),
    Part(
        "Weather",
        "For a home without an outdoor sensor of its own.",
        {
            "weather.site": Words("Outdoor sensor of", "the short name of a nearby home"),
            "weather.file": Words("Station's file", "its name, as given to fieldfare weather"),
            "weather.station": Words("Station", "its name, as shown"),
            "weather.base_c": Words("Base of degree-days", "°C; empty: the home's own"),
        },
        later=True,
    ),
    Part(
        "Exports",
        "How this home's CSV exports are written.",
        {
            "csv.time_column": Words("Column of the time"),
            "csv.date_column": Words("Column of the date", "where it stands apart from the time"),
            "csv.timezone": Words("Their time zone", "for times without an offset"),
            "csv.time_format": Words(
                "Form of the time", "iso, unix, unix_ms, spreadsheet or a pattern such as %d.%m.%Y %H:%M"
            ),
            "csv.delimiter": Words("Delimiter"),
            "csv.decimal": Words("Decimal sign"),
            "csv.thousands": Words("Sign between thousands", "as in 1,234.5; empty: none"),
            "csv.encoding": Words("Encoding"),
        },
        later=True,
    ),
    Part(
        "Meters and sensors",
        "Points are added with their readings, or in the file itself.",
        {
            "point.#.unit": Words("unit"),
            "point.#.column": Words("CSV column", "empty: the point's id"),
            "point.#.topic": Words("MQTT topic", "of a gateway's own"),
            "point.#.pointer": Words("pointer", "to the value in the topic's message (RFC 6901)"),
            "point.#.time_pointer": Words(
                "pointer to the time", "in that message; arrival: it does not count"
            ),
            "point.#.includes": Words("also counts", "such as circulation_pump, backup_heater or other_heat"),
            "point.#.stamp": Words("time is the interval's"),
            "point.#.meter_class": Words(
                "meter class", "electricity A to C (EN 50470), heat 1 to 3 (EN 1434)"
            ),
            "point.#.antifreeze_corrected": Words("allows for antifreeze"),
            "point.#.zone": Words("zone"),
            "point.#.heat_pump": Words("belongs to heat pump", "number of the unit; empty: all"),
        },
        rows="point",
        later=True,
    ),
)
WITHOUT_FIELD: dict[str, str] = {
    "point.#.id": "a point's readings hang on it",
    "point.#.quantity": "a point's readings hang on it",
    "point.#.as": "a point's readings hang on it",
    "point.#.values": "a table of the gateway's own words",
    "limits": "a table of names",
    "fault_codes": "a table of the unit's own codes",
}
"""Keys that are changed in the file's text alone, each with the reason."""
ONLY_NEW = frozenset({"site.id"})
"""Keys that an existing home keeps; a new one gets them from its name where they are left empty."""
