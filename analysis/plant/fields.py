"""Field types of a site file: bounds of numbers, lengths of texts and lists."""

from __future__ import annotations

from datetime import date
from functools import cache
from importlib.resources import files
from typing import Annotated, Any
from zoneinfo import available_timezones

from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo

from fieldfare.analysis.plant.site_id import SITE_ID

EARLIEST_DAY, LATEST_DAY = date(1990, 1, 1), date(2100, 12, 31)
"""Valid range of dates in a site file."""
LANGUAGES = ("en", "de", "fr")
"""Languages of a household's pages and papers; the first where none is named."""
IS_NEW = {"is_new": True}
"""Context of validating a new file: values that a stored one may hold are refused too."""


def _no_truth(value: Any) -> Any:
    """Reject `true` where a number is expected, and integers too large for a float."""
    if isinstance(value, bool):
        raise ValueError(f"must be a number, got {str(value).lower()}")
    if isinstance(value, int) and abs(value) > 1 << 62:
        raise ValueError("must be a number of a size that can be measured")
    return value


def _printable(value: str) -> str:
    """Reject control characters, which could end a text early or start a new line in a message."""
    if bad := next((c for c in value if ord(c) < 32 or 127 <= ord(c) < 160 or c in "\u2028\u2029"), None):
        raise ValueError(f"must be plain text, without the control character {bad!r}")
    return value


def _in_range(value: date) -> date:
    if not EARLIEST_DAY <= value <= LATEST_DAY:
        raise ValueError(f"must be a day from {EARLIEST_DAY} to {LATEST_DAY}, got {value}")
    return value


@cache
def _packed_zones() -> frozenset[str]:
    """The zone names of the tzdata package, from one file."""
    return frozenset(files("tzdata").joinpath("zones").read_text(encoding="utf-8").split())


@cache
def _all_zones() -> frozenset[str]:
    """Like `_packed_zones`, plus the machine's, whose folders are slow to list."""
    return frozenset(available_timezones())


UNSAID = "?"
"""Placeholder for what a proposal can't know, such as an export's time zone, until a person says it."""


def _known_zone(value: str) -> str:
    if value == UNSAID:
        raise ValueError("say in which zone the times without an offset are, such as Europe/London")
    if value not in _packed_zones() and value not in _all_zones():
        raise ValueError(f"unknown time zone {value!r}; use an IANA name such as Europe/London")
    return value


def _spoken(value: str, info: ValidationInfo) -> str:
    """A stored file's unknown language is read, and its pages are in English."""
    if (info.context or {}).get("is_new") and value.split("-")[0] not in LANGUAGES:
        raise ValueError(f"{value!r} is no language of the pages; use {', '.join(LANGUAGES)}")
    return value


Number = Annotated[float, BeforeValidator(_no_truth)]
WholeNumber = Annotated[int, BeforeValidator(_no_truth)]
Word = Annotated[str, AfterValidator(_printable)]
Key = Annotated[Word, Field(max_length=80)]
"""A name, a unit or another short word."""
SiteId = Annotated[str, Field(pattern=SITE_ID)]
TimeZone = Annotated[Key, AfterValidator(_known_zone)]
Language = Annotated[str, Field(pattern=r"^[a-z]{2,3}(-[A-Z]{2})?$"), AfterValidator(_spoken)]
FreeText = Annotated[Word, Field(max_length=200)]
Day = Annotated[date, AfterValidator(_in_range), BeforeValidator(_no_truth)]

WaterTemperature = Annotated[Number, Field(ge=-20, le=95)]
AirTemperature = Annotated[Number, Field(ge=-50, le=50)]
RoomTemperature = Annotated[Number, Field(ge=5, le=35)]
Output = Annotated[Number, Field(ge=0.05, le=2000)]
"""Heat outputs and losses [kW], from a small room's radiator to a block of flats."""
Energy = Annotated[Number, Field(ge=1, le=20_000_000)]
"""Heat of a year [kWh]."""
Litres = Annotated[Number, Field(ge=1, le=100_000)]
Price = Annotated[Number, Field(ge=0, le=1000)]
Factor = Annotated[Number, Field(ge=-1e6, le=1e6)]
"""A site's own threshold, in the unit of the limit."""
