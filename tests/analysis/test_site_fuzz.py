"""Generated site files: each is read or refused with its problems, quickly."""

from __future__ import annotations

import contextlib
import time
from typing import Any

import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldfare.analysis.errors import InputError, SiteError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from tests.api.sites import site_text

LONGEST_S = 5.0
_TABLES = (
    "site",
    "design",
    "heat_pump",
    "heating_curve",
    "hot_water",
    "buffer",
    "cost",
    "csv",
    "limits",
    "fault_codes",
)
_LISTS = ("point", "emitter")
_KEYS = st.sampled_from(
    [
        "id",
        "name",
        "timezone",
        "latitude",
        "handed_over",
        "quantity",
        "as",
        "unit",
        "column",
        "topic",
        "pointer",
        "includes",
        "values",
        "points",
        "rating",
        "zone",
        "kind",
        "delimiter",
        "time_format",
        "source",
        "band",
    ]
) | st.text(max_size=12)
_UNITS = st.sampled_from(
    ["W", "9**9**9*W", "W*" * 200, "k" * 500, "__import__('os')", "m3/h", "degC", "kW**99", "1e999 W"]
)
_LEAVES = (
    st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats()
    | st.text(max_size=40)
    | _UNITS
    | st.dates()
    | st.datetimes()
)
_VALUES = st.recursive(
    _LEAVES,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(_KEYS, inner, max_size=4),
    max_leaves=8,
)
_BODY = st.dictionaries(_KEYS, _VALUES, max_size=6)
_DOCUMENTS = st.fixed_dictionaries(
    {},
    optional={
        **dict.fromkeys(_TABLES, _BODY | _VALUES),
        **{name: st.lists(_BODY, max_size=4) | _VALUES for name in _LISTS},
    },
)


def parsed(text: str) -> Site | None:
    """The site, None where it is refused. Raises whatever is no refusal; AssertionError where it takes too
    long."""
    began, site = time.monotonic(), None
    with contextlib.suppress(SiteError, InputError):
        site = parse_site(text)
    assert time.monotonic() - began < LONGEST_S
    return site


@settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
@given(_DOCUMENTS)
def test_any_structure_is_read_or_refused(document: dict[str, Any]) -> None:
    try:
        text = tomlkit.dumps(document)
    except (ValueError, TypeError, AttributeError):  # what TOML has no form for
        return
    parsed(text)


@settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_a_site_file_with_one_wrong_value_is_read_or_refused(data: st.DataObject) -> None:
    document = tomlkit.parse(site_text("alder-row", "Alder Row")).unwrap()
    table = data.draw(st.sampled_from(sorted(document)))
    inner = document[table]
    target = data.draw(st.sampled_from(inner)) if isinstance(inner, list) and inner else inner
    value = data.draw(_VALUES)
    if isinstance(target, dict) and target:
        target[data.draw(st.sampled_from(sorted(target)) | _KEYS)] = value
    else:
        document[table] = value
    try:
        text = tomlkit.dumps(document)
    except (ValueError, TypeError, AttributeError):
        return
    parsed(text)


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=400), st.integers(0, 600))
def test_any_text_in_the_middle_is_read_or_refused(junk: str, at: int) -> None:
    text = site_text("alder-row", "Alder Row")
    parsed(text[:at] + junk + text[at:])
