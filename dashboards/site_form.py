"""A site file by form: its fields, and the file's text from what was filled in."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import NamedTuple

from fieldfare.analysis.plant.toml_text import quoted


class Field(NamedTuple):
    """A key of the site file as a form's field. kind : text, number, date or choice"""

    key: str
    label: str
    hint: str = ""
    kind: str = "text"
    choices: tuple[str, ...] = ()
    needed: bool = False


_RATINGS, _CURVE_POINTS = 3, 2
GROUPS: tuple[tuple[str, str, tuple[Field, ...]], ...] = (
    (
        "The home",
        "Name it as you speak of it.",
        (
            Field("site.name", "Name", needed=True),
            Field("site.id", "Short name", "a to z, 0 to 9 and hyphens; left empty it follows the name"),
            Field("site.timezone", "Time zone", "such as Europe/London", needed=True),
            Field("site.handed_over", "Handed over on", "first day in the householder's hands", "date"),
            Field("site.floor_area_m2", "Floor area", "m²", "number"),
            Field("site.latitude", "Latitude", "degrees north", "number"),
            Field(
                "building.kind",
                "Type of home",
                "for comparing homes; may stay empty",
                "choice",
                ("", "terraced", "semi_detached", "detached", "flat", "other"),
            ),
            Field("building.built", "Built in", "year, of the main part", "number"),
        ),
    ),
    (
        "The design",
        "Everything here may stay empty; each figure makes one more check possible.",
        (
            Field(
                "design.heat_loss_kw",
                "Heat loss",
                "kW at the two temperatures beside it (EN 12831-1)",
                "number",
            ),
            Field("design.indoor_c", "Indoors", "°C", "number"),
            Field("design.outdoor_c", "Outdoors", "°C, the design day's", "number"),
            Field("design.space_heat_kwh_per_year", "Heat to rooms", "kWh a year", "number"),
            Field("design.hot_water_kwh_per_year", "Heat to hot water", "kWh a year", "number"),
            Field("design.spf_space", "Efficiency, rooms", "heat over electricity, a year's", "number"),
            Field(
                "design.spf_hot_water", "Efficiency, hot water", "heat over electricity, a year's", "number"
            ),
            Field("design.bivalent_c", "Back-up heater helps below", "°C; empty: never", "number"),
        ),
    ),
    (
        "The heat pump",
        "From its data sheet.",
        (
            Field("heat_pump.source", "Source", "", "choice", ("air",)),
            Field("heat_pump.rated_output_kw", "Rated output", "kW", "number"),
            Field("heat_pump.min_output_kw", "Lowest continuous output", "kW", "number"),
            Field("heat_pump.max_flow_c", "Hottest flow", "°C", "number"),
            Field("heat_pump.flow_m3_per_h", "Nominal water flow", "m³/h", "number"),
            Field(
                "heat_pump.antifreeze",
                "Antifreeze",
                "",
                "choice",
                ("none", "propylene_glycol", "ethylene_glycol"),
            ),
            Field("heat_pump.antifreeze_percent", "Its share", "% by mass", "number"),
            Field("heat_pump.refrigerant", "Refrigerant", "such as R290; for the cautions"),
        ),
    ),
    (
        "Its rating",
        "EN 14511 test points, as many as you know.",
        tuple(
            Field(f"heat_pump.rating.{i}.{key}", f"Point {i + 1}: {label}", unit, "number")
            for i in range(_RATINGS)
            for key, label, unit in (
                ("outdoor_c", "outdoors", "°C"),
                ("flow_c", "flow", "°C"),
                ("output_kw", "output", "kW"),
                ("cop", "COP", ""),
            )
        ),
    ),
    (
        "The heating curve",
        "Flow temperature at two outdoor temperatures, as set.",
        tuple(
            Field(f"heating_curve.points.{i}.{n}", f"Point {i + 1}: {label}", "°C", "number")
            for i in range(_CURVE_POINTS)
            for n, label in ((0, "outdoors"), (1, "flow"))
        ),
    ),
    (
        "Hot water",
        "Leave empty where the system makes none.",
        (
            Field("hot_water.cylinder_litres", "Cylinder", "litres", "number"),
            Field("hot_water.setpoint_c", "Setpoint", "°C", "number"),
            Field("hot_water.reheat_below_c", "Reheat below", "°C", "number"),
            Field(
                "hot_water.pasteurise_c", "Thermal disinfection at", "°C; empty: none is scheduled", "number"
            ),
            Field("hot_water.pasteurise_every_days", "Every", "days", "number"),
            Field(
                "hot_water.standing_loss_kwh_per_day", "Standing loss", "kWh a day, from its label", "number"
            ),
            Field(
                "hot_water.stored",
                "Stored",
                "heating_water: drinking water is heated as it is drawn",
                "choice",
                choices=("", "drinking_water", "heating_water"),
            ),
        ),
    ),
    (
        "Prices",
        "For money beside kWh.",
        (
            Field("cost.currency", "Currency", "three letters, such as GBP"),
            Field("cost.country", "Country", "two letters, such as GB: for carbon"),
            Field("cost.electricity", "Electricity", "per kWh", "number"),
            Field("cost.standing_charge_per_day", "Standing charge", "per day", "number"),
            Field(
                "cost.previous_fuel",
                "Fuel before",
                "",
                "choice",
                ("none", "heating_oil", "natural_gas", "lpg", "electricity"),
            ),
            Field("cost.previous_fuel_price", "Its price", "per kWh of fuel (gross)", "number"),
            Field("cost.previous_efficiency", "The old boiler's efficiency", "such as 0.82", "number"),
        ),
    ),
)


def row_of(fields: tuple[Field, ...]) -> int:
    """How many fields of a group belong side by side, as those of one test point; 0 where any number may."""
    return sum(bool(re.search(r"\.0\.\w+$", f.key)) for f in fields)


FIELDS = {f.key: f for _, _, fields in GROUPS for f in fields}


def short_name(name: str) -> str:
    """A site id from a name: Alder Row is alder-row."""
    return re.sub(r"-+", "-", re.sub(r"[^a-z0-9]+", "-", name.lower())).strip("-")[:40]


def site_toml(form: Mapping[str, str]) -> str:
    """The site file's text from a form; what is empty is left out, and what is not a number is kept for the
    reader to see."""
    given = {k: v.strip() for k, v in form.items() if k in FIELDS and v.strip()}
    if "site.id" not in given and "site.name" in given:
        given["site.id"] = short_name(given["site.name"])
    if given.get("cost.previous_fuel") == "none":
        del given["cost.previous_fuel"]
    lines: list[str] = []
    for section in ("site", "building", "design", "heat_pump"):
        lines += _section(section, given)
    for i in range(_RATINGS):
        lines += _section(f"heat_pump.rating.{i}", given, "[[heat_pump.rating]]")
    lines += _curve(given)
    for section in ("hot_water", "cost"):
        lines += _section(section, given)
    return "\n".join(lines) + "\n"


def _section(section: str, given: Mapping[str, str], heading: str = "") -> list[str]:
    keys = [k for k in given if k.rpartition(".")[0] == section]
    if not keys and section not in ("site",):
        return []
    return [
        heading or f"[{section}]",
        *(f"{k.rpartition('.')[2]} = {toml_value(FIELDS[k], given[k])}" for k in keys),
        "",
    ]


def _curve(given: Mapping[str, str]) -> list[str]:
    points = []
    for i in range(_CURVE_POINTS):
        pair = [given.get(f"heating_curve.points.{i}.{n}") for n in (0, 1)]
        if any(pair):
            values = [
                toml_value(FIELDS[f"heating_curve.points.{i}.{n}"], v or "") for n, v in enumerate(pair)
            ]
            points.append(f"[{', '.join(values)}]")
    return ["[heating_curve]", f"points = [{', '.join(points)}]", ""] if points else []


def toml_value(field: Field, text: str) -> str:
    """What was typed into a field as TOML writes it; what is no number, day or time stays text, which the
    file's check refuses by name."""
    if field.kind == "number":
        plain = text.replace(",", ".").replace("−", "-")
        try:
            value = float(plain)
        except ValueError:
            return quoted(text)
        return str(int(value)) if value.is_integer() and "." not in plain else repr(value)
    if field.kind == "date" and re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
        return text
    return quoted(text)
