"""Which topics to subscribe to, and which points a message on each of them carries."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from fieldfare.analysis.plant.admission import OWN_TREE as ROOT
from fieldfare.analysis.plant.admission import topic_trouble
from fieldfare.analysis.plant.site import ON_ARRIVAL, Point, Site

OWN_FILTERS = (f"{ROOT}/+/readings", f"{ROOT}/+/readings/+", f"{ROOT}/+/status")
_KNOWN_TOPICS = 50_000  # routes cached per topic, limited so that foreign senders can't exhaust memory


@dataclass(slots=True)
class Lane:
    """Readings of one point in the current batch. `source` is the message of each."""

    site: str
    point: Point
    time: list[int] = field(default_factory=list)
    value: list[Any] = field(default_factory=list)
    source: list[int] = field(default_factory=list)


@dataclass(slots=True)
class TopicSite:
    """A site for the decoder: a lane per point, and the names its packs have used so far.

    plain : the lanes that take plain numbers.
    """

    site: Site
    lanes: dict[str, Lane]
    named: dict[tuple[str, str | None], Any] = field(default_factory=dict)
    plain: dict[str, Lane] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.plain = {name: lane for name, lane in self.lanes.items() if lane.point.form != "state"}


@dataclass(frozen=True, slots=True)
class Pack:
    """`fieldfare/{site}/readings`: a SenML pack."""

    topic_site: TopicSite


@dataclass(frozen=True, slots=True)
class Bare:
    """`fieldfare/{site}/readings/{point}`: one value."""

    lane: Lane


@dataclass(frozen=True, slots=True)
class Pointed:
    """A gateway's own topic: for each point that reads it, the JSON Pointer tokens of its value and of its
    time, which has none where the site file names no place."""

    lanes: tuple[tuple[Lane, tuple[str, ...], tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class Status:
    """`fieldfare/{site}/status`: a gateway's birth or last will. Accepted, not stored: silence shows in the
    readings."""

    site: str


@dataclass(frozen=True, slots=True)
class Lost:
    """A topic that no site reads."""

    site: str
    reason: str


@dataclass(frozen=True, slots=True)
class Unasked:
    """A topic outside our filters: a subscription left by an earlier run."""


Route = Pack | Bare | Pointed | Status | Lost | Unasked


def matches(topic: str, pattern: str) -> bool:
    """Whether a topic is under a filter with `+` and `#` (MQTT 5, 4.7)."""
    levels, parts = topic.split("/"), pattern.split("/")
    if topic.startswith("$") != pattern.startswith("$"):
        return False
    for i, part in enumerate(parts):
        if part == "#":
            return True
        if i >= len(levels) or part not in ("+", levels[i]):
            return False
    return len(levels) == len(parts)


def pointer_parts(pointer: str | None) -> tuple[str, ...]:
    """The reference tokens of a JSON Pointer (RFC 6901); none: the whole document."""
    if not pointer:
        return ()
    return tuple(t.replace("~1", "/").replace("~0", "~") for t in pointer.split("/")[1:])


class SkippedPoint(NamedTuple):
    """A point whose own topic can't be subscribed to; the site's other points are collected."""

    site: str
    point: str
    reason: str


class Routes:
    """The topics of a set of sites.

    filters : subscriptions, without overlap. left_out : points that are not collected, with the reason
    """

    def __init__(self, sites: Iterable[Site]) -> None:
        self.sites: dict[str, TopicSite] = {
            s.id: TopicSite(s, {p.id: Lane(s.id, p) for p in s.point}) for s in sites
        }
        self.left_out: list[SkippedPoint] = []
        self._exact: dict[str, list[tuple[Lane, tuple[str, ...], tuple[str, ...]]]] = {}
        for topic_site in self.sites.values():
            for lane in topic_site.lanes.values():
                topic = lane.point.topic
                if topic is None:
                    continue
                if trouble := topic_trouble(topic):
                    self.left_out.append(
                        SkippedPoint(topic_site.site.id, lane.point.id, f"topic {topic[:60]!r} {trouble}")
                    )
                    continue
                time = lane.point.time_pointer
                self._exact.setdefault(topic, []).append(
                    (
                        lane,
                        pointer_parts(lane.point.pointer),
                        () if time == ON_ARRIVAL else pointer_parts(time),
                    )
                )
        self.filters: tuple[str, ...] = (*OWN_FILTERS, *self._exact)
        self._found: dict[str, Route] = {}

    def find(self, topic: str) -> Route:
        """Return the route of a topic."""
        found = self._found.get(topic)
        if found is None:
            if len(self._found) >= _KNOWN_TOPICS:
                self._found.clear()
            found = self._found[topic] = self._look(topic)
        return found

    def _look(self, topic: str) -> Route:
        if lanes := self._exact.get(topic):
            return Pointed(tuple(lanes))
        if not any(matches(topic, f) for f in OWN_FILTERS):
            return Unasked()
        _, site, kind, *rest = topic.split("/")
        topic_site = self.sites.get(site)
        if topic_site is None:
            return Lost(site[:40], f"unknown site {site[:40]!r}")
        if kind == "status":
            return Status(site)
        if not rest:
            return Pack(topic_site)
        lane = topic_site.lanes.get(rest[0])
        return Bare(lane) if lane else Lost(site, f"unknown point {rest[0][:80]!r} of {site}")
