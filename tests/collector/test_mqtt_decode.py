"""Decoding of payloads: every form, and dead letters with their reasons."""

import json

import numpy as np
import orjson
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldfare.collector.mqtt.decode import Message, MessageDecoder
from fieldfare.collector.mqtt.payload import instant, pointed
from fieldfare.collector.mqtt.topics import Routes
from tests.services import make_site

NOW = 1_767_225_600_000  # 2026-01-01T00:00:00Z
T = 1_767_222_000  # an hour before [s]
TOPIC = "fieldfare/alder-row/readings"
GATEWAY = {
    "power": (
        'quantity = "heat_pump_electricity"\nas = "power"\nunit = "kW"\ntopic = "gateway7/em/1"\npointer ='
        ' "/power/total"'
    ),
    "flow": 'quantity = "flow_temperature"\ntopic = "gateway7/em/1"\npointer = "/t/0"',
    "whole": 'quantity = "return_temperature"\ntopic = "gateway7/return"',
}


def decode(*messages, site=None, retained=False):
    decoder = MessageDecoder(Routes([site or make_site()]))
    given = [
        Message(t, p.encode() if isinstance(p, str) else p, NOW + i, retained)
        for i, (t, p) in enumerate(messages)
    ]
    return decoder.decode(given, NOW)


def values(decoded, point, site="alder-row"):
    samples = decoded.readings.get(site, {}).get(point)
    return [] if samples is None else list(zip(samples.time.tolist(), samples.value.tolist(), strict=True))


@pytest.mark.parametrize(
    ("payload", "expected"),
    [
        ("21.5", (NOW, 21.5)),
        (" 21.5\n", (NOW, 21.5)),
        ("+21.5", (NOW, 21.5)),
        ('"21.5"', (NOW, 21.5)),
        (f'{{"t":{T},"v":21.5}}', (T * 1000, 21.5)),
        (f'{{"t":{T}.25,"v":21.5}}', (T * 1000 + 250, 21.5)),
        ('{"t":"2025-12-31T23:00:00Z","v":21.5}', (T * 1000, 21.5)),
        ('{"t":"2025-12-31T23:00:00","v":21.5}', (T * 1000, 21.5)),
        ('{"t":"2026-01-01T00:00:00+01:00","v":21.5}', (T * 1000, 21.5)),
        ('{"v":21.5}', (NOW, 21.5)),
        ('{"v":21.5,"seq":9}', (NOW, 21.5)),
    ],
)
def test_a_bare_value(payload, expected):
    decoded = decode((f"{TOPIC}/flow", payload))
    assert values(decoded, "flow") == [expected]
    assert decoded.refused == []


@pytest.mark.parametrize(
    ("point", "payload", "expected"),
    [
        ("mode", "heating", 1.0),
        ("mode", '"hot_water"', 2.0),
        ("mode", "7", 1.0),
        ("mode", '{"v":"defrost"}', 3.0),
        ("fault", "E12", "E12"),
        ("fault", "12", "12"),
        ("fault", '"low flow"', "low flow"),
    ],
)
def test_states_come_as_words_or_numbers(point, payload, expected):
    decoded = decode((f"{TOPIC}/{point}", payload))
    assert [v for _, v in values(decoded, point)] == [expected]


@pytest.mark.parametrize(
    ("topic", "payload", "word"),
    [
        ("fieldfare/elm-court/readings", '[{"n":"flow","v":1}]', "unknown site"),
        ("fieldfare/elm-court/readings/flow", "1", "unknown site"),
        (f"{TOPIC}/floww", "1", "unknown point"),
        (TOPIC, f'[{{"n":"floww","t":{T},"v":1}}]', "unknown point"),
        (TOPIC, "[{", "bad JSON"),
        (TOPIC, b"\xff\xfe", "bad JSON"),
        (TOPIC, "", "bad JSON"),
        (TOPIC, '[{"bn":"flow"}]', "without a reading"),
        (TOPIC, '[{"bt":1767222000}]', "without a reading"),
        (f"{TOPIC}/flow", "warm", "is not a number"),
        (f"{TOPIC}/flow", "NaN", "is not a number"),
        (f"{TOPIC}/flow", "null", "is no value"),
        (f"{TOPIC}/flow", "[1]", "is no value"),
        (f"{TOPIC}/flow", "true", "not a number"),
        (f"{TOPIC}/flow", "{}", "without v"),
        (f"{TOPIC}/flow", '{"v":{}}', "is no value"),
        (f"{TOPIC}/flow", "1e9", "beyond what physics allows"),
        (f"{TOPIC}/flow", '{"t":"yesterday","v":1}', "ISO 8601"),
        (f"{TOPIC}/flow", f'{{"t":{T + 7200},"v":1}}', "in the future"),
        (f"{TOPIC}/flow", f'{{"t":{T}000,"v":1}}', "in the future"),
        (f"{TOPIC}/flow", '{"t":5,"v":1}', "before 1990"),
        (f"{TOPIC}/mode", "boiling", "not a state"),
        (f"{TOPIC}/fault", "{}", "without v"),
        (f"{TOPIC}/fault", "[1]", "is no value"),
        (TOPIC, f'[{{"n":"flow","u":"W","t":{T},"v":1}}]', "does not measure"),
        (TOPIC, f'[{{"n":"flow","u":"furlong","t":{T},"v":1}}]', "no SenML unit"),
        (TOPIC, f'[{{"n":"flow","t":{T},"vs":"x"}}]', "not a number"),
        ("fieldfare/alder-row/status", "asleep", "online or offline"),
    ],
)
def test_what_cannot_be_read_is_told_with_its_reason(topic, payload, word):
    decoded = decode((topic, payload))
    assert decoded.readings == {}
    assert [r.message for r in decoded.refused] == [0]
    assert word in decoded.refused[0].reason


def test_the_good_part_of_a_pack_is_kept_and_the_bad_part_told():
    pack = (
        f'[{{"bt":{T},"n":"flow","v":40}},{{"n":"floww","v":1}},'
        '{"n":"hp_elec","u":"kW","v":1.5},{"n":"mode","vs":"?"}]'
    )
    decoded = decode((TOPIC, pack))
    assert values(decoded, "flow") == [(T * 1000, 40.0)]
    assert values(decoded, "hp_elec") == [(T * 1000, 1500.0)]
    assert len(decoded.refused) == 1
    assert "floww" in decoded.refused[0].reason
    assert "mode" in decoded.refused[0].reason


def test_times_of_a_pack_may_be_relative_to_its_arrival():
    decoded = decode((TOPIC, '[{"bn":"","n":"flow","t":-60,"v":40},{"n":"flow","v":41}]'))
    assert values(decoded, "flow") == [(NOW - 60_000, 40.0), (NOW, 41.0)]
    assert decoded.arrival_timed == {0}


@pytest.mark.parametrize(
    "pack",
    [
        [{"bt": T, "n": "flow", "v": 40.5}, {"n": "rate", "v": 12}],
        [{"bt": T}, {"n": "flow", "v": 40.5}, {"v": 12, "n": "rate"}],
        [{"bt": T, "n": "flow", "u": "Cel", "v": 40.5}, {"n": "rate", "u": "m3/s", "v": 2.0e-4}],
        [{"n": "flow", "t": T, "v": 40.5}, {"n": "rate", "t": T, "v": 12}],
        [{"bn": "fl", "bt": T, "n": "ow", "v": 40.5}, {"bn": "ra", "n": "te", "v": 12}],
    ],
)
def test_a_pack_reads_the_same_however_it_is_written(pack):
    decoded = decode((TOPIC, json.dumps(pack)))
    assert values(decoded, "flow") == [(T * 1000, 40.5)]
    assert values(decoded, "rate") == [(T * 1000, pytest.approx(12.0))]
    assert decoded.refused == []


PLAIN_ROUTES = Routes([make_site()])
FIELD = st.sampled_from(["flow", "rate", "mode", "none"])
NUMBER = st.one_of(st.integers(-5, 60), st.floats(-5, 60), st.booleans(), st.just("x"), st.none())
RECORD = st.fixed_dictionaries(
    {"n": FIELD, "v": NUMBER}, optional={"u": st.sampled_from(["Cel", "W"]), "t": st.integers(-9, 0)}
)
PACKS = st.tuples(
    st.sampled_from([T, float(T), 5, "x", None]), st.booleans(), st.lists(RECORD, min_size=1, max_size=4)
)


@settings(max_examples=300, deadline=None)
@given(PACKS)
def test_the_short_way_for_common_packs_gives_what_the_long_way_gives(drawn):
    base, alone, rows = drawn
    pack = [{"bt": base}, *rows] if alone else [{"bt": base, **rows[0]}, *rows[1:]]
    short, long = MessageDecoder(PLAIN_ROUTES), MessageDecoder(PLAIN_ROUTES)
    long._plain_pack = lambda *_: False
    message = [Message(TOPIC, orjson.dumps(pack), NOW)]
    a, b = short.decode(message, NOW), long.decode(message, NOW)
    assert a.refused == b.refused
    assert {p: (s.time.tolist(), s.value.tolist()) for r in a.readings.values() for p, s in r.items()} == {
        p: (s.time.tolist(), s.value.tolist()) for r in b.readings.values() for p, s in r.items()
    }


def test_a_later_message_corrects_an_earlier_one_and_times_come_out_in_order():
    decoded = decode(
        *((f"{TOPIC}/flow", f'{{"t":{T + t},"v":{v}}}') for t, v in [(60, 1), (0, 2), (60, 3), (30, 4)])
    )
    assert values(decoded, "flow") == [(T * 1000, 2.0), (T * 1000 + 30_000, 4.0), (T * 1000 + 60_000, 3.0)]


def test_a_gateways_own_payload_is_read_by_pointer():
    site = make_site(points=GATEWAY)
    decoded = decode(
        ("gateway7/em/1", '{"power":{"total":1.25},"t":[45.5]}'),
        ("gateway7/em/1", '{"power":{"total":"2.5"},"t":[46]}'),
        ("gateway7/return", "38"),
        site=site,
    )
    assert [v for _, v in values(decoded, "power")] == [1.25, 2.5]
    assert [v for _, v in values(decoded, "flow")] == [45.5, 46.0]
    assert [v for _, v in values(decoded, "whole")] == [38.0]
    assert decoded.refused == []


TIMED = {
    "total": 'quantity = "heat_pump_electricity"\nas = "power"\nunit = "W"\ntopic = "gw/1"\npointer = "/p"\n'
    'time_pointer = "{}"'
}


@pytest.mark.parametrize("given", [T, T * 1000, '"2025-12-31T23:00:00Z"', '"2026-01-01 00:00:00+01:00"'])
def test_a_gateways_own_time_is_read_by_pointer(given):
    site = make_site(points={"total": TIMED["total"].format("/when/at")})
    decoded = decode(("gw/1", f'{{"p": 812.5, "when": {{"at": {given}}}}}'), site=site, retained=True)
    assert values(decoded, "total") == [(T * 1000, 812.5)]


@pytest.mark.parametrize(
    ("pointer", "payload", "told"),
    [
        ("/at", '{"p": 1, "time": 1767222000}', "total: /at points at nothing in it"),
        ("/at", '{"p": 1, "at": "noon"}', "total: /at: t 'noon' is no ISO 8601 time"),
        ("/at", '{"p": 1, "at": null}', "total: /at: t must be Unix seconds or ISO 8601 text"),
    ],
)
def test_a_time_that_cannot_be_read_is_told(pointer, payload, told):
    decoded = decode(("gw/1", payload), site=make_site(points={"total": TIMED["total"].format(pointer)}))
    assert not decoded.readings
    assert [r.reason for r in decoded.refused] == [told]


@pytest.mark.parametrize(
    "own", ['"time": "2025-12-31T23:00:00Z"', '"ts": 1767222000', '"timestamp": 1767222000123']
)
def test_a_burst_after_an_outage_is_not_stored_at_its_arrival(own):
    payload = f'{{"power": {{"total": 1.25}}, {own}}}'
    decoded = decode(("gateway7/em/1", payload), site=make_site(points={"power": GATEWAY["power"]}))
    assert not decoded.readings
    assert "lies 60 min before its arrival; set time_pointer = " in decoded.refused[0].reason
    without = GATEWAY["power"] + '\ntime_pointer = "arrival"'
    decoded = decode(("gateway7/em/1", payload), site=make_site(points={"power": without}))
    assert values(decoded, "power") == [(NOW, 1.25)]


@pytest.mark.parametrize(
    "own",
    ['"time": "2026-01-01T00:55:00+01:00"', '"time": "2025-12-31T20:00:00"', '"t": 21.5', '"ts": 1767229200'],
)
def test_a_time_that_tells_nothing_leaves_the_arrival(own):
    payload = f'{{"power": {{"total": 1.25}}, {own}}}'
    decoded = decode(("gateway7/em/1", payload), site=make_site(points={"power": GATEWAY["power"]}))
    assert values(decoded, "power") == [(NOW, 1.25)]


def test_a_pointer_that_finds_nothing_is_told():
    decoded = decode(("gateway7/em/1", '{"power":{},"t":[1]}'), site=make_site(points=GATEWAY))
    assert [v for _, v in values(decoded, "flow")] == [1.0]
    assert "/power/total" in decoded.refused[0].reason


# RFC 6901, 5
RFC6901 = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}


@pytest.mark.parametrize(
    ("parts", "expected"),
    [(("foo", "0"), "bar"), (("",), 0), (("a/b",), 1), ((" ",), 7), (("m~n",), 8), ((), RFC6901)],
)
def test_pointers_of_the_rfc(parts, expected):
    assert pointed(RFC6901, parts) == expected


@pytest.mark.parametrize(
    "parts", [("foo", "2"), ("foo", "01"), ("foo", "-"), ("foo", "-1"), ("nope",), ("", "x")]
)
def test_pointers_to_nothing(parts):
    assert not isinstance(pointed(RFC6901, parts), (str, int, list, dict))


def test_a_retained_value_without_a_time_is_no_reading_but_one_with_a_time_is():
    assert "retained" in decode((f"{TOPIC}/flow", "40"), retained=True).refused[0].reason
    assert "retained" in decode((TOPIC, '[{"n":"flow","v":40}]'), retained=True).refused[0].reason
    assert values(decode((f"{TOPIC}/flow", f'{{"t":{T},"v":40}}'), retained=True), "flow") == [
        (T * 1000, 40.0)
    ]


@pytest.mark.parametrize("payload", ["online", '"online"', '{"status":"online"}', "ONLINE"])
def test_births(payload):
    assert decode(("fieldfare/alder-row/status", payload)).statuses == [0]


def test_only_values_timed_by_arrival_depend_on_it():
    decoded = decode((f"{TOPIC}/flow", "1"), (f"{TOPIC}/flow", f'{{"t":{T},"v":1}}'))
    assert decoded.arrival_timed == {0}


def test_an_instant_beyond_any_calendar_is_held_not_raised():
    assert instant(1e300) == 9_200_000_000_000_000


TOPICS = st.sampled_from(
    [
        TOPIC,
        f"{TOPIC}/flow",
        f"{TOPIC}/mode",
        f"{TOPIC}/fault",
        "fieldfare/alder-row/status",
        "fieldfare/x/readings",
        "gateway7/em/1",
    ]
)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=6),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(st.sampled_from(["t", "v", "n", "bt", "power", "u"]), inner, max_size=4)
    ),
    max_leaves=8,
)


def _dumped(value):
    try:
        return orjson.dumps(value)
    except TypeError:  # an integer beyond 64 bits
        return json.dumps(value).encode()


PAYLOADS = st.binary(max_size=30) | JSON.map(_dumped) | JSON.map(_dumped).map(lambda b: b[: len(b) // 2])


FUZZED = make_site(
    points={**GATEWAY, "mode": 'quantity = "operating_mode"', "fault": 'quantity = "fault_code"'}
)
FUZZED_ROUTES = Routes([FUZZED])


@settings(max_examples=500, deadline=None)
@given(st.lists(st.tuples(TOPICS, PAYLOADS), min_size=4, max_size=8))
def test_no_payload_crashes_and_each_is_accounted_for(drawn):
    decoder = MessageDecoder(FUZZED_ROUTES)
    messages = [Message(topic, payload, NOW) for topic, payload in drawn]
    decoded = decoder.decode(messages, NOW)
    told = {r.message for r in decoded.refused} | set(decoded.unasked)
    for readings in decoded.readings.values():
        for samples in readings.values():
            assert (np.diff(samples.time) > 0).all()
    for number, message in enumerate(messages):
        if number not in told:
            alone = decoder.decode([message], NOW)
            assert alone.readings or alone.statuses
