"""Validation: single readings and batches give the same result."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldfare.analysis.plant.load import parse_site
from fieldfare.collector.validation import (
    AHEAD_MS,
    EARLIEST,
    RefusedValue,
    decoded,
    known_point,
    time_trouble,
    times_in_trouble,
    trouble,
    value_trouble,
    values_in_trouble,
)

NOW = int(datetime(2026, 1, 10, tzinfo=UTC).timestamp() * 1000)
SITE = parse_site("""
[site]
id = "ash-lane"
name = "Ash"
timezone = "Europe/London"
[[point]]
id = "flow"
quantity = "flow_temperature"
[[point]]
id = "cylinder"
quantity = "cylinder_temperature"
unit = "degF"
[[point]]
id = "elec"
quantity = "heat_pump_electricity"
as = "power"
unit = "kW"
[[point]]
id = "mode"
quantity = "operating_mode"
values = { "3" = "heating", "0" = "off" }
[[point]]
id = "call"
quantity = "heat_call"
[[point]]
id = "fault"
quantity = "fault_code"
values = { "0" = "none" }
""")
POINT = {p.id: p for p in SITE.point}


def test_a_water_temperature_beyond_physics_is_told_in_plain_words() -> None:
    found = value_trouble(POINT["flow"], 400.0)
    assert str(found) == "flow temperature of 400 degC is beyond what physics allows (-60 to 165 degC)"
    assert value_trouble(POINT["flow"], 164.9) is None


@pytest.mark.parametrize(("value", "good"), [(329.0, True), (329.1, False), (-76.0, True), (-76.1, False)])
def test_limits_hold_in_the_canonical_unit(value: float, good: bool) -> None:
    """165 degC is 329 degF, -60 degC is -76 degF."""
    assert (value_trouble(POINT["cylinder"], value) is None) == good


@given(st.lists(st.floats(-1e6, 1e6) | st.sampled_from([np.inf, -np.inf, 165.0, -60.0, 329.0]), max_size=20))
def test_many_values_are_judged_as_each_alone(values: list[float]) -> None:
    for name in ("flow", "cylinder", "elec"):
        mask = values_in_trouble(POINT[name], np.array(values, float))
        alone = [value_trouble(POINT[name], v) is not None for v in values]
        assert (mask.tolist() if mask is not None else [False] * len(values)) == alone


@given(
    st.lists(
        st.integers(-(10**15), 10**15)
        | st.sampled_from([EARLIEST, EARLIEST - 1, NOW + AHEAD_MS, NOW + AHEAD_MS + 1])
    )
)
def test_many_times_are_judged_as_each_alone(times: list[int]) -> None:
    mask = times_in_trouble(np.array(times, np.int64), NOW)
    alone = [time_trouble(t, NOW) is not None for t in times]
    assert (mask.tolist() if mask is not None else [False] * len(times)) == alone


def test_times_at_the_edges() -> None:
    assert trouble(POINT["flow"], NOW + AHEAD_MS, 20.0, NOW) is None
    late = trouble(POINT["flow"], NOW + AHEAD_MS + 1000, 20.0, NOW)
    assert late is not None
    assert (late.kind, late.reason) == (
        "in the future",
        "the time 2026-01-10T00:10:01Z lies in the future (it is 2026-01-10T00:00:00Z)",
    )
    early = trouble(POINT["flow"], EARLIEST - 1, 20.0, NOW)
    assert early is not None
    assert early.kind == "before 1990"
    assert time_trouble(10**18, NOW) is not None


@pytest.mark.parametrize(
    ("point", "raw", "value"),
    [
        ("flow", "35.5", 35.5),
        ("flow", 35, 35.0),
        ("mode", 3, 1.0),
        ("mode", 3.0, 1.0),
        ("mode", "hot_water", 2.0),
        ("call", True, 1.0),
        ("call", "off", 0.0),
        ("call", 1.0, 1.0),
        ("fault", 7, "7"),
        ("fault", "0", "none"),
        ("fault", " E7 ", "E7"),
    ],
)
def test_decoding(point: str, raw: object, value: float | str) -> None:
    got = decoded(POINT[point], raw)
    assert got == value
    assert type(got) is type(value)


@pytest.mark.parametrize(
    ("point", "raw", "kind", "part"),
    [
        ("flow", "warm", "not a number", "'warm' is not a number"),
        ("flow", None, "not a number", "'None' is not a number"),
        ("flow", True, "not a number", "True is not a number, and flow is no state"),
        ("mode", "1", "unknown state", "'1' is not a state of mode; known are 3, 0, off, heating"),
        ("call", "2", "unknown state", "'2' is not a state of call"),
        ("fault", "x" * 201, "text too long", "text of 201 characters"),
    ],
)
def test_what_does_not_decode(point: str, raw: object, kind: str, part: str) -> None:
    with pytest.raises(RefusedValue) as refused:
        decoded(POINT[point], raw)
    assert refused.value.refusal.kind == kind
    assert part in str(refused.value)


def test_units_of_a_message_become_the_points_own() -> None:
    assert decoded(POINT["elec"], 1500, "W") == pytest.approx(1.5)
    assert decoded(POINT["cylinder"], 50, "degC") == pytest.approx(122.0)
    assert decoded(POINT["cylinder"], 50, "Cel") == pytest.approx(122.0)
    with pytest.raises(RefusedValue, match="'bar' does not measure what 'kW' does; elec is in kW"):
        decoded(POINT["elec"], 1, "bar")


def test_unknown_sites_and_points_are_named_with_the_nearest_known() -> None:
    sites = {"ash-lane": SITE}
    assert known_point(sites, "ash-lane", "flow").id == "flow"
    with pytest.raises(RefusedValue, match=r"unknown site 'ash-lan'; did you mean ash-lane\?"):
        known_point(sites, "ash-lan", "flow")
    with pytest.raises(RefusedValue, match=r"ash-lane has no point 'flw'; did you mean flow\?"):
        known_point(sites, "ash-lane", "flw")


METERS = """
[site]
id = "ash-lane"
name = "Ash"
timezone = "Europe/London"
[[point]]
id = "rate"
quantity = "flow_rate"
unit = "l/min"
[[point]]
id = "elec"
quantity = "heat_pump_electricity"
as = "register"
[[point]]
id = "starts"
quantity = "compressor_starts"
[[point]]
id = "house"
quantity = "house_electricity"
as = "register"
[[point]]
id = "heat"
quantity = "heat_output"
as = "register"
[[point]]
id = "each"
quantity = "heat_output"
as = "interval"
"""


@pytest.mark.parametrize(
    ("point", "value", "told"),
    [
        ("rate", -12.0, "flow rate of -0.72 m3/h (-12 l/min) is beyond what physics allows"),
        (
            "elec",
            -0.4,
            "heat pump electricity of -0.4 kWh is below zero, which a running total",
        ),
        ("starts", -3.0, "compressor starts of -3 count is beyond what physics allows"),
    ],
)
def test_what_cannot_be_below_zero_is_refused(point: str, value: float, told: str) -> None:
    measured = {p.id: p for p in parse_site(METERS).point}[point]
    found = value_trouble(measured, value)
    assert found is not None
    assert told in found.reason
    assert values_in_trouble(measured, np.array([1.0, value, 2.0])).tolist() == [False, True, False]


@pytest.mark.parametrize(
    ("point", "value"), [("rate", -1.0), ("house", -40.0), ("heat", -5.0), ("each", -0.3), ("elec", 0.0)]
)
def test_noise_balances_and_heat_drawn_back_are_taken(point: str, value: float) -> None:
    """A flow meter's noise about zero, a meter that counts exports back, heat of a defrost or of swapped
    sensors, which the analysis finds (common practice, no source)."""
    measured = {p.id: p for p in parse_site(METERS).point}[point]
    assert value_trouble(measured, value) is None
    assert values_in_trouble(measured, np.array([value])) is None
