"""SenML packs: the RFC's own examples, base fields, units, and what must be refused."""

import orjson
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldfare.collector.mqtt import senml
from fieldfare.collector.mqtt.payload import unit_of
from fieldfare.collector.mqtt.senml import PackRefused, Unreadable, resolve
from tests.services import make_site

# RFC 8428, 5.1.1 to 5.1.3
SINGLE = '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'
TWO = (
    '[{"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},{"n":"current","u":"A","v":1.2}]'
)
MANY = (
    '[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,'
    '"n":"voltage","u":"V","v":120.1},{"n":"current","t":-5,"v":1.2},{"n":"current","t":-4,"v":1.3},'
    '{"n":"current","t":-3,"v":1.4},{"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},'
    '{"n":"current","v":1.7}]'
)
HUMIDITY = (
    '[{"bn":"urn:dev:ow:10e2073a01080063","bt":1320067464,"bu":"%RH","v":21.2},'
    '{"t":10,"v":21.3},{"t":20,"v":21.4},{"t":92,"v":21.5}]'
)


def records(text):
    return list(resolve(orjson.loads(text)))


def test_a_single_record_of_the_rfc():
    assert records(SINGLE) == [("urn:dev:ow:10e2073a01080063", "Cel", 23.1, None)]


def test_a_base_name_of_the_rfc_comes_before_each_name():
    assert [(n, u, v) for n, u, v, _ in records(TWO)] == [
        ("urn:dev:ow:10e2073a01080063:voltage", "V", 120.1),
        ("urn:dev:ow:10e2073a01080063:current", "A", 1.2),
    ]


def test_the_rfc_pack_with_base_time_and_unit_resolves_as_the_rfc_resolves_it():
    # RFC 8428, 5.1.3 resolved in 5.1.4: currents from ...71.001 to ...76.001; an own unit beats the base unit
    got = records(MANY)
    assert got[0] == ("urn:dev:ow:10e2073a0108006:voltage", "V", 120.1, 1276020076.001)
    assert [v for _, _, v, _ in got[1:]] == [1.2, 1.3, 1.4, 1.5, 1.6, 1.7]
    assert [u for _, u, _, _ in got[1:]] == ["A"] * 6
    assert [round(t, 3) for *_, t in got[1:]] == [1276020071.001 + i for i in range(6)]


def test_the_rfc_pack_with_the_name_in_the_base_alone():
    got = records(HUMIDITY)
    assert [(n, u, v, t - 1320067464) for n, u, v, t in got] == [
        ("urn:dev:ow:10e2073a01080063", "%RH", 21.2, 0),
        ("urn:dev:ow:10e2073a01080063", "%RH", 21.3, 10),
        ("urn:dev:ow:10e2073a01080063", "%RH", 21.4, 20),
        ("urn:dev:ow:10e2073a01080063", "%RH", 21.5, 92),
    ]


@pytest.mark.parametrize(
    ("time", "expected"),
    [
        (None, 1000.0),
        (0, 1000.0),
        (-5, 995.0),
        (2**28 - 1, 1000.0 + 2**28 - 1),
        (2**28, 2**28),
        (1.7e9, 1.7e9),
    ],
)
def test_times_below_2_to_the_28_are_relative_to_now(time, expected):
    assert senml.absolute(time, 1000.0) == expected  # RFC 8428, 4.5.3


def test_a_base_value_is_added_and_stands_for_a_missing_one():
    got = records('[{"bn":"a","bv":20,"v":1.5},{"v":-0.5},{"n":"b"}]')
    assert [(n, v) for n, _, v, _ in got] == [("a", 21.5), ("a", 19.5), ("ab", 20.0)]


def test_a_record_of_base_fields_alone_is_no_reading():
    assert records('[{"bn":"x-","bt":1700000000,"bu":"W"},{"n":"p","v":5}]') == [("x-p", "W", 5, 1700000000)]


@pytest.mark.parametrize(
    "text",
    [
        "{}",
        "[]",
        "[1]",
        '[{"n":"p","v":1},"x"]',
        '[{"bn":5,"n":"p","v":1}]',
        '[{"bt":"now","n":"p","v":1}]',
        '[{"bver":11,"n":"p","v":1}]',
        '[{"bver":"10","n":"p","v":1}]',
        '[{"n":"p","v":1,"must_":1}]',
        '[{"bn":"sp ace","n":"p","v":1}]',
    ],
)
def test_a_pack_that_must_not_be_read_is_refused_whole(text):
    with pytest.raises(PackRefused):
        records(text)


@pytest.mark.parametrize("version", [5, 10, 26])
def test_known_versions_are_read(version):
    # 26 is version 10 with RFC 9193's bit for secondary units
    assert records(f'[{{"bver":{version},"n":"p","u":"kWh","v":1}}]') == [("p", "kWh", 1, None)]


@pytest.mark.parametrize(
    "record",
    [
        '{"n":"p","v":"1"}',
        '{"n":"p","v":true}',
        '{"n":"p","v":null}',
        '{"n":"p","vs":1}',
        '{"n":"p","vb":1}',
        '{"n":"p","vd":"aGk"}',
        '{"n":"p","s":4}',
        '{"n":"p"}',
        '{"n":"p","v":1,"vs":"x"}',
        '{"n":"p","v":1,"t":"noon"}',
        '{"n":"p","v":1,"u":5}',
        '{"v":1}',
    ],
)
def test_a_bad_record_is_refused_alone(record):
    got = records(f'[{record},{{"n":"q","v":2}}]')
    assert isinstance(got[0][2], Unreadable)
    assert got[1] == ("q", None, 2, None)


def test_words_and_truths_come_through():
    assert [v for _, _, v, _ in records('[{"n":"m","vs":"heating"},{"n":"d","vb":false}]')] == [
        "heating",
        False,
    ]


@pytest.mark.parametrize(
    ("point", "unit", "given", "expected"),
    [
        ("flow", "Cel", 45.0, 45.0),
        ("flow", "K", 318.15, 45.0),
        ("hp_elec", "kW", 1.5, 1500.0),
        ("energy", "J", 3.6e6, 1.0),
        ("energy", "kWh", 12.5, 12.5),  # RFC 8798
        ("energy", "Wh", 12500.0, 12.5),
        ("rate", "m3/s", 2.0e-4, 12.0),
        ("rate", "l/s", 0.2, 12.0),
        ("humidity", "%RH", 80.0, 80.0),
        ("humidity", "/", 0.8, 80.0),
        ("humidity", "%", 0.8, 80.0),  # RFC 8428: a ratio of one, not recommended
        ("humidity", "/100", 80.0, 80.0),
        ("rate", "l/min", 12.0, 12.0),  # in no registry, but the point's own
        ("mode", "/", 1.0, 1.0),
        ("flow", None, 45.0, 45.0),
    ],
)
def test_units_of_the_registries_become_the_points_own(point, unit, given, expected):
    found = next(p for p in make_site().point if p.id == point)
    scale, offset = unit_of(found, unit)
    assert given * scale + offset == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("point", "unit"), [("flow", "W"), ("flow", "degC?"), ("energy", "MWh"), ("mode", "W"), ("rate", "kg")]
)
def test_a_unit_of_another_kind_or_none_known_is_refused(point, unit):
    found = next(p for p in make_site().point if p.id == point)
    with pytest.raises(ValueError, match=r"."):
        unit_of(found, unit)


def test_every_unit_listed_is_one_that_can_be_read():
    from fieldfare.analysis.plant.units import conversion

    for unit in senml.UNITS.values():
        assert conversion(unit + " ", unit) == pytest.approx((1.0, 0.0))


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(
                ["bn", "bt", "bu", "bv", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "x_"]
            ),
            inner,
            max_size=6,
        )
    ),
    max_leaves=12,
)


@settings(max_examples=400, deadline=None)
@given(JSON)
def test_any_json_is_resolved_or_refused(pack):
    try:
        for name, unit, value, time in resolve(pack):
            assert isinstance(name, str)
            assert unit is None or isinstance(unit, str)
            assert isinstance(value, (int, float, str, bool))
            assert time is None or isinstance(time, (int, float))
    except PackRefused:
        pass
