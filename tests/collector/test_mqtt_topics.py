"""Routing of topics to sites and points."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldfare.collector.mqtt.topics import (
    OWN_FILTERS,
    Bare,
    Lost,
    Pack,
    Pointed,
    Routes,
    Status,
    Unasked,
    matches,
    pointer_parts,
)
from tests.services import make_site

GATEWAY = {
    "a": 'quantity = "flow_temperature"\ntopic = "gateway7/em/1"\npointer = "/power/total"',
    "b": 'quantity = "return_temperature"\ntopic = "gateway7/em/1"\npointer = "/list/0/a~1b"',
    "c": 'quantity = "outdoor_temperature"',
}


@pytest.mark.parametrize(
    ("topic", "pattern", "expected"),
    [  # MQTT 5, 4.7.1
        ("sport/tennis/player1", "sport/tennis/player1/#", True),
        ("sport/tennis/player1/ranking", "sport/tennis/player1/#", True),
        ("sport", "sport/#", True),
        ("sport/tennis", "sport/+", True),
        ("sport", "sport/+", False),
        ("sport/", "sport/+", True),
        ("/finance", "+/+", True),
        ("/finance", "+", False),
        ("$SYS/monitor", "#", False),
        ("$SYS/monitor", "$SYS/#", True),
    ],
)
def test_filters_match_as_the_standard_says(topic, pattern, expected):
    assert matches(topic, pattern) is expected


def test_no_topic_falls_under_two_filters():
    filters = Routes([make_site("alder-row", GATEWAY)]).filters
    assert set(filters) == {*OWN_FILTERS, "gateway7/em/1"}
    assert len(filters) == len(set(filters))


BAD_TOPICS = [
    "gw/+/1",
    "gw/#",
    "#",
    "$SYS/x",
    "fieldfare/beech-end/readings",
    "fieldfare/#",
    "",
    "a/" * 40_000,
    "a\0b",
]


@pytest.mark.parametrize("topic", BAD_TOPICS, ids=[t[:12] for t in BAD_TOPICS])
def test_a_kept_site_with_a_bad_topic_loses_that_point_alone(topic):
    site = make_site("alder-row", GATEWAY)
    bad = [p.model_copy(update={"topic": topic}) if p.id == "b" else p for p in site.point]
    routes = Routes([site.model_copy(update={"point": tuple(bad)}), make_site("beech-end")])
    ((of, point, reason),) = routes.left_out
    assert (of, point) == ("alder-row", "b")
    assert len(reason) < 300
    assert set(routes.filters) == {*OWN_FILTERS, "gateway7/em/1"}
    assert [lane.point.id for lane, *_ in routes.find("gateway7/em/1").lanes] == ["a"]
    assert routes.find("fieldfare/beech-end/readings").topic_site.site.id == "beech-end"
    assert routes.find("fieldfare/alder-row/readings/b").lane.point.id == "b"


@given(st.text("abc/+#$-.", min_size=1, max_size=12))
def test_what_is_named_in_a_topic_or_a_pack_reaches_its_own_site_alone(name):
    routes = Routes([make_site("alder-row", GATEWAY), make_site("beech-end", GATEWAY)])
    for topic in (f"fieldfare/alder-row/readings/{name}", f"fieldfare/alder-row/{name}"):
        route = routes.find(topic)
        reached = getattr(route, "site", "") or (route.lane.site if isinstance(route, Bare) else "")
        assert reached in ("", "alder-row")


def test_the_forms_of_topics():
    routes = Routes([make_site("alder-row", GATEWAY)])
    assert isinstance(routes.find("fieldfare/alder-row/readings"), Pack)
    assert routes.find("fieldfare/alder-row/readings/c").lane.point.id == "c"
    assert isinstance(routes.find("fieldfare/alder-row/readings/c"), Bare)
    assert routes.find("fieldfare/alder-row/status") == Status("alder-row")
    assert "elm-court" in routes.find("fieldfare/elm-court/readings").reason
    assert isinstance(routes.find("fieldfare/alder-row/readings/z"), Lost)
    assert isinstance(routes.find("other/topic"), Unasked)


def test_a_gateways_own_topic_reaches_every_point_that_reads_it():
    found = Routes([make_site("alder-row", GATEWAY)]).find("gateway7/em/1")
    assert isinstance(found, Pointed)
    assert {(lane.point.id, parts) for lane, parts, _ in found.lanes} == {
        ("a", ("power", "total")),
        ("b", ("list", "0", "a/b")),
    }


def test_pointer_tokens_are_unescaped_in_the_standards_order():
    # RFC 6901, 4: ~01 stands for ~1, not for /
    assert pointer_parts("/m~01n/~1/") == ("m~1n", "/", "")
