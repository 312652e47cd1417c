"""Messages about refused values are plain and never the library's."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from typing import Annotated, Any

import pytest
from pydantic import Field, TypeAdapter, ValidationError

from fieldfare.analysis.errors import SiteError
from fieldfare.analysis.plant.load import parse_kept_site, parse_site
from fieldfare.analysis.plant.quantities import QUANTITIES
from fieldfare.analysis.plant.refusals import PATTERNS, nearest, refusal
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.checklists import Item

OF_THE_LIBRARY = re.compile(
    r"Input should|valid (number|string|integer|date|time)|unable to|instance of|match(ing)? pattern|\^|\[a-z"
    r"|greater than|less than|pydantic|'type'|tuple|dictionary"
)
WRONG: tuple[Any, ...] = ("abc", "", "x" * 5000, -1e12, 1e12, float("nan"), 2.5, True, [], ["a", 3], {}, None)
SITE: dict[str, Any] = {"site": {"id": "alder-row", "name": "Alder Row", "timezone": "UTC"}}


def keys(
    schema: dict[str, Any], at: dict[str, Any], path: tuple[str | int, ...]
) -> Iterator[tuple[Any, ...]]:
    """Paths of every key of a model; of a list its first place."""
    for option in (at, *at.get("anyOf", ())):
        if "$ref" in option:
            option = schema["$defs"][option["$ref"].rpartition("/")[2]]
        for name, field in option.get("properties", {}).items():
            yield (*path, name)
            yield from keys(schema, field, (*path, name))
        if "items" in option:
            yield from keys(schema, option["items"], (*path, 0))


def placed(path: tuple[Any, ...], value: Any) -> Any:
    for part in reversed(path):
        value = [value] if part == 0 else {part: value}
    return value


@pytest.mark.parametrize("model", [Site, Item], ids=lambda m: m.__name__)
def test_no_message_about_any_key_is_the_librarys_own(model: type[Any]) -> None:
    schema = model.model_json_schema()
    seen = 0
    for path in keys(schema, schema, ()):
        for wrong in WRONG:
            try:
                model.model_validate(placed(path, wrong))
            except ValidationError as error:
                for each in error.errors():
                    said = refusal(each)
                    assert not OF_THE_LIBRARY.search(said), (path, wrong, each["type"], said)
                    assert "\n" not in said
                    seen += 1
    assert seen > 100


def test_every_pattern_of_a_model_has_its_words() -> None:
    used = set(
        re.findall(r"'pattern': '((?:[^'\\]|\\.)+)'", str([m.model_json_schema() for m in (Site, Item)]))
    )
    assert {p.replace("\\\\", "\\") for p in used} == set(PATTERNS)


def test_all_fields_that_are_wrong_are_named_at_once() -> None:
    text = '[site]\nid = "ab"\nname = "A"\ntimezone = "UTC"\nlanguage = "xx"\n[design]\nheat_loss_kw = -3\n'
    with pytest.raises(SiteError) as refused:
        parse_site(text)
    told = {p.key: p.message for p in refused.value.problems}
    assert told == {
        "site.language": "'xx' is no language of the pages; use en, de, fr",
        "design.heat_loss_kw": "-3 is too low; it must be at least 0.05",
    }
    kept = text.replace("-3", "6")
    assert parse_kept_site(kept).site.language == "xx", "a stored file is still read"
    assert parse_site(kept.replace("xx", "de-AT")).site.language == "de-AT"


@pytest.mark.parametrize(
    ("word", "near"),
    [
        ("water_flow", {"flow_rate"}),
        ("heatpump_electricity", {"heat_pump_electricity"}),
        ("outside_temperature", {"outdoor_temperature"}),
        ("qqq", set()),
    ],
)
def test_a_name_that_may_be_meant(word: str, near: set[str]) -> None:
    found = nearest(word, QUANTITIES, {name: kind.meaning for name, kind in QUANTITIES.items()})
    assert near <= set(found)
    assert "hot_water_heat" not in found
    assert bool(found) == bool(near)


@pytest.mark.parametrize(
    ("limits", "value", "said"),
    [
        ({"ge": date(1990, 1, 1)}, date(47, 1, 17), "too early; it must be 1990-01-01 or later"),
        ({"le": date(2199, 12, 31)}, date(2300, 1, 1), "too late; it must be 2199-12-31 or earlier"),
        ({"ge": 0.05}, -3.0, "-3 is too low; it must be at least 0.05"),
        ({"lt": 5}, 5, "5 is too high; it must be below 5"),
    ],
)
def test_a_limit_may_be_a_number_or_a_day(limits: dict[str, Any], value: Any, said: str) -> None:
    with pytest.raises(ValidationError) as caught:
        TypeAdapter(Annotated[type(value), Field(**limits)]).validate_python(value)
    assert said in refusal(caught.value.errors()[0])
