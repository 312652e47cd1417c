"""Lists of manual checks, as data: their items, the homes they apply to, and the values to enter.

A list is TOML. fieldfare brings one; a firm adds items of its own in a second file of the same form:

    [[item]]
    id = "filter_spare"                # letters, digits and _
    lists = ["winter", "service"]      # winter, service, commissioning
    title = "Spare strainer left with the household"
    where = "air"                      # optional: the homes it is for
    take_care = ["pressure"]           # optional: cautions by name; `caution` is a text of your own
    [[item.found]]                     # optional: what is found, a number with its unit or a word
    id = "mesh"
    name = "Mesh width"
    unit = "mm"
    low = 0.1
    high = 2.0
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable
from typing import Annotated, ClassVar, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from fieldfare.analysis import cautions
from fieldfare.analysis.errors import Problem, SiteError
from fieldfare.analysis.plant.refusals import refusal
from fieldfare.analysis.plant.site import Point, Site

Kind = Literal["winter", "service", "commissioning"]
KINDS: tuple[Kind, ...] = get_args(Kind)
TITLES: dict[Kind, str] = {
    "winter": "Check before winter",
    "service": "Annual service",
    "commissioning": "Commissioning",
}
MOST_ITEMS = 60
"""Items of a firm's own."""
LARGEST_FILE = 60_000
"""Characters of a file of items."""
Where = Literal["air", "not_air", "antifreeze", "no_antifreeze", "hot_water", "backup_heater"]
WHERE: dict[Where, Callable[[Site], bool]] = {
    "air": lambda site: site.heat_pump.source == "air",
    "not_air": lambda site: site.heat_pump.source != "air",
    "antifreeze": lambda site: site.heat_pump.antifreeze != "none",
    "no_antifreeze": lambda site: site.heat_pump.antifreeze == "none",
    "hot_water": lambda site: site.hot_water is not None,
    "backup_heater": lambda site: site.measures("backup_heater_electricity"),
}
DESIGNED: dict[str, Callable[[Site], float | None]] = {
    "flow": lambda site: site.heat_pump.flow_m3_per_h,
    "antifreeze": lambda site: site.heat_pump.antifreeze_percent or None,
    "hot_water": lambda site: site.hot_water.setpoint_c if site.hot_water else None,
    "reheat": lambda site: site.hot_water.reheat_below_c if site.hot_water else None,
    "disinfection": lambda site: site.hot_water.pasteurise_c if site.hot_water else None,
    "disinfection_days": lambda site: (
        float(site.hot_water.pasteurise_every_days)
        if site.hot_water and site.hot_water.pasteurise_c
        else None
    ),
    "curve_cold": lambda site: site.heating_curve.points[0][1] if site.heating_curve else None,
    "curve_mild": lambda site: site.heating_curve.points[-1][1] if site.heating_curve else None,
    "curve_cold_outdoor": lambda site: site.heating_curve.points[0][0] if site.heating_curve else None,
    "curve_mild_outdoor": lambda site: site.heating_curve.points[-1][0] if site.heating_curve else None,
    "bivalent": lambda site: site.design.bivalent_c,
}
"""Values of the site file that a found value is read beside."""
METER = "m_"
"""Begins the id of an item that stands for the meters of one quantity."""
METER_LISTS: tuple[Kind, ...] = ("commissioning", "service")
"""Lists on which every meter's serial number and reading stand."""
MOST_METERS = 3
"""Of one quantity, whose serial numbers and readings a sheet has room for."""
_Id = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,30}$")]
_Line = Annotated[str, Field(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f]*\S[^\x00-\x1f\x7f]*$")]


class _Table(BaseModel):
    model_config: ClassVar[ConfigDict] = ConfigDict(extra="forbid", frozen=True, strict=False)


class Found(_Table):
    """What is found: a number with its unit, one of a few words, or a text such as a serial number.
    low, high : what can be true at all"""

    id: _Id
    name: _Line
    unit: Annotated[str, Field(max_length=12)] = ""
    low: float | None = None
    high: float | None = None
    choices: Annotated[tuple[_Line, ...], Field(max_length=12)] = ()
    text: bool = False
    designed: str = ""

    @model_validator(mode="after")
    def _one_form(self) -> Found:
        if self.designed and self.designed not in DESIGNED:
            raise ValueError(f"designed: {self.designed[:30]!r} is unknown; use {', '.join(DESIGNED)}")
        if self.text and (self.choices or self.unit or self.low is not None or self.high is not None):
            raise ValueError("text = true stands alone, without choices, unit, low and high")
        if self.choices and (self.unit or self.low is not None or self.high is not None):
            raise ValueError("give choices, or a unit with low and high, not both")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError(f"low must be below high, got {self.low:g} and {self.high:g}")
        return self

    def trouble(self, text: str) -> str:
        """What is wrong with a typed value; empty if nothing is."""
        if not text.strip() or self.text:
            return ""
        if self.choices:
            return "" if text in self.choices else f"choose one of {', '.join(self.choices)}"
        value = number_of(text, self.unit)
        if value is None:
            return f"{text.strip()[:20]!r} is no number; write one such as 1.5"
        if (self.low is not None and value < self.low) or (self.high is not None and value > self.high):
            unit = f" {self.unit}" if self.unit else ""
            ends = [
                f"at least {self.low:g}" if self.low is not None else "",
                f"at most {self.high:g}" if self.high is not None else "",
            ]
            return f"{value:g}{unit} can't be right; expected {' and '.join(e for e in ends if e)}{unit}"
        return ""


class Item(_Table):
    """Something to check. where : the homes it is for, None for all"""

    id: _Id
    lists: Annotated[tuple[Kind, ...], Field(min_length=1, max_length=3)]
    title: _Line
    where: Where | None = None
    take_care: Annotated[tuple[str, ...], Field(max_length=4)] = ()
    caution: Annotated[str, Field(max_length=400)] = ""
    found: Annotated[tuple[Found, ...], Field(max_length=6)] = ()

    @model_validator(mode="after")
    def _known_cautions(self) -> Item:
        for name in self.take_care:
            if name not in cautions.BY_HAND:
                raise ValueError(f"take_care: no caution {name!r}; choose from {', '.join(cautions.BY_HAND)}")
        if len({f.id for f in self.found}) < len(self.found):
            raise ValueError("two found values have the same id")
        return self

    def cautions(self, site: Site) -> str:
        """Everything to take care of, for one home."""
        named = [cautions.by_hand(name, site.heat_pump.refrigerant) for name in self.take_care]
        return " ".join(text for text in (*named, self.caution.strip()) if text)


class _File(_Table):
    item: Annotated[tuple[Item, ...], Field(max_length=MOST_ITEMS)] = ()


def parse_items(text: str, file: str, taken: Iterable[str] = ()) -> tuple[Item, ...]:
    """Items of a file. taken : ids that are in use. Raises SiteError with every problem, one line each."""
    if len(text) > LARGEST_FILE:
        raise SiteError(
            file, [Problem("TOML", f"the file has {len(text)} characters; at most {LARGEST_FILE} are read")]
        )
    try:
        data = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise SiteError(file, [Problem("TOML", str(error)[:200])]) from None
    try:
        items = _File.model_validate(data).item
    except ValidationError as error:
        errors = error.errors()
        inner = [e["loc"][:-1] for e in errors]  # a list whose items are wrong is not also too short
        errors = [e for e in errors if e["type"] != "too_short" or e["loc"] not in inner]
        raise SiteError(file, [_problem(e, data) for e in errors[:30]]) from None
    taken_ids, problems = set(taken), []
    for n, item in enumerate(items, 1):
        if item.id in taken_ids:
            problems.append(Problem(f"item {n}, id", f"{item.id!r} is used already; choose another"))
        taken_ids.add(item.id)
    if problems:
        raise SiteError(file, problems)
    return items


def items_for(items: Iterable[Item], kind: Kind, site: Site) -> list[Item]:
    """The items of a list that a home needs, in the list's order; at commissioning and at a service its
    meters at the end: a serial number that changed is an exchanged meter."""
    listed = [i for i in items if kind in i.lists and (i.where is None or WHERE[i.where](site))]
    return [*listed, *meter_items(site)] if kind in METER_LISTS else listed


def meter_items(site: Site) -> list[Item]:
    """One item for each metered quantity: serial number and reading of each of its meters."""
    metered = dict.fromkeys(p.quantity for p in site.point if p.kind.energy)
    return [_meter_item(site, quantity) for quantity in metered]


def meters_of(site: Site, quantity: str) -> list[Point]:
    """Points that stand for the meters of a quantity: its running totals; else one point of any form."""
    points = list(site.points_of(quantity))
    totals = [p for p in points if p.form == "register"]
    return (totals or points[:1])[:MOST_METERS]


def _meter_item(site: Site, quantity: str) -> Item:
    found: list[Found] = []
    for n, point in enumerate(meters_of(site, quantity), 1):
        end, suffix = ("", "") if n == 1 else (f"_{n}", f" {n}")
        unit = point.unit if point.form == "register" else "kWh"
        found += [
            Found(id=f"serial{end}", name=f"Serial number{suffix}", text=True),
            Found(id=f"reading{end}", name=f"Reading{suffix}", unit=unit, low=0),
        ]
    title = f"Meter read: {quantity.replace('_', ' ')}"
    return Item(id=f"{METER}{quantity}", lists=METER_LISTS, title=title, found=tuple(found))


def number_of(text: str, unit: str = "") -> float | None:
    """A number as people type it, with a decimal point or comma; None where it is none.

    unit : of the field, which may stand behind the number
    """
    tidy = _without_unit(text, unit).replace("\u2212", "-").replace(",", ".")
    try:
        value = float(tidy)
    except ValueError:
        return None
    return value if abs(value) < 1e9 else None


def as_read(text: str, unit: str = "") -> str:
    """A value as papers show it: a number with a decimal point and without its unit, other words as they
    are."""
    tidy = _without_unit(text, unit)
    return tidy.replace(",", ".") if number_of(tidy) is not None else text.strip()


def _without_unit(text: str, unit: str) -> str:
    tidy = text.strip()
    if unit and tidy.lower().endswith(unit.lower()):
        tidy = tidy[: -len(unit)].strip()
    return tidy


def _problem(error: object, data: object) -> Problem:
    """One line: which item by number and id, which key, what is wrong."""
    details = dict(error)  # type: ignore[call-overload]
    path = list(details["loc"])
    where: list[str] = []
    at = data
    for part in path:
        if isinstance(part, int):
            at = at[part] if isinstance(at, list) and part < len(at) else None
            name = at.get("id") if isinstance(at, dict) else None
            where[-1:] = [f"{where[-1]} {part + 1}{f' ({str(name)[:30]})' if name else ''}"]
        else:
            where.append(str(part))
            at = at.get(part) if isinstance(at, dict) else None
    return Problem(", ".join(where) or "file", refusal(details))
