"""Which messages belong to whom."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.mqtt.topics import (
    OWN_FILTERS,
    Bare,
    Lost,
    Pack,
    Pointed,
    Routes,
    Status,
    Unasked,
    disjoint,
    matches,
    pointer_parts,
)
from tests.services import make_site

GATEWAY = {
    "a": 'quantity = "flow_temperature"\ntopic = "gateway7/em/1"\npointer = "/power/total"',
    "b": 'quantity = "return_temperature"\ntopic = "gateway7/+/1"\npointer = "/list/0/a~1b"',
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


LEVEL = st.sampled_from(["a", "b", "+"])
FILTER = st.tuples(st.lists(LEVEL, min_size=1, max_size=4), st.booleans()).map(
    lambda p: "/".join(p[0] + ["#"] * p[1])
)


@given(st.lists(FILTER, max_size=6), st.lists(st.sampled_from("ab"), min_size=1, max_size=5).map("/".join))
def test_disjoint_filters_deliver_each_topic_once_and_miss_none(filters, topic):
    found = sum(matches(topic, f) for f in disjoint(filters))
    assert found <= 1
    if any(matches(topic, f) for f in filters):
        assert found == 1


def test_filters_that_do_not_overlap_stay_as_they_are():
    assert set(disjoint([*OWN_FILTERS, "gateway7/em/1"])) == {*OWN_FILTERS, "gateway7/em/1"}


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
    assert {(lane.point.id, parts) for lane, parts in found.lanes} == {
        ("a", ("power", "total")),
        ("b", ("list", "0", "a/b")),
    }


def test_pointer_tokens_are_unescaped_in_the_standards_order():
    # RFC 6901, 4: ~01 stands for ~1, not for /
    assert pointer_parts("/m~01n/~1/") == ("m~1n", "/", "")
