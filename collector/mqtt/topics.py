"""Which topics are listened to, and whose readings a message on one of them holds."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from analysis.plant.site import Point, Site

ROOT = "fieldfare"
OWN_FILTERS = (f"{ROOT}/+/readings", f"{ROOT}/+/readings/+", f"{ROOT}/+/status")
_KNOWN_TOPICS = 50_000  # topics remembered with their route, so that strangers can't fill the memory


@dataclass(slots=True)
class Lane:
    """The readings of one point that a batch holds so far. `source` is the message each came in."""

    site: str
    point: Point
    time: list[int] = field(default_factory=list)
    value: list[Any] = field(default_factory=list)
    source: list[int] = field(default_factory=list)


@dataclass(slots=True)
class Plant:
    """A site as the decoder needs it: a lane for each point, and what packs of it have named so far.

    plain : the lanes that take numbers as they come.
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

    plant: Plant


@dataclass(frozen=True, slots=True)
class Bare:
    """`fieldfare/{site}/readings/{point}`: one value."""

    lane: Lane


@dataclass(frozen=True, slots=True)
class Pointed:
    """A gateway's own topic: for each point that reads it, the parts of its JSON Pointer."""

    lanes: tuple[tuple[Lane, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class Status:
    """`fieldfare/{site}/status`: a gateway's birth or last will."""

    site: str


@dataclass(frozen=True, slots=True)
class Lost:
    """Nobody here reads this topic."""

    site: str
    reason: str


@dataclass(frozen=True, slots=True)
class Unasked:
    """On none of the topics we asked for: it came because two of our filters had to be widened into one."""


Route = Pack | Bare | Pointed | Status | Lost | Unasked


def matches(topic: str, pattern: str) -> bool:
    """Whether a topic is under a filter with `+` and `#` (MQTT 5, 4.7)."""
    levels, wanted = topic.split("/"), pattern.split("/")
    if topic.startswith("$") != pattern.startswith("$"):
        return False
    for i, part in enumerate(wanted):
        if part == "#":
            return True
        if i >= len(levels) or part not in ("+", levels[i]):
            return False
    return len(levels) == len(wanted)


def disjoint(filters: Iterable[str]) -> tuple[str, ...]:
    """Filters under which no topic falls twice, so that no message is delivered twice.

    Two that overlap become the one that covers both.
    """
    left: list[str] = []
    waiting = list(dict.fromkeys(filters))
    while waiting:
        new = waiting.pop(0)
        other = next((f for f in left if _overlap(f.split("/"), new.split("/"))), None)
        if other is None:
            left.append(new)
        else:
            left.remove(other)
            waiting.insert(0, _cover(other.split("/"), new.split("/")))
    return tuple(left)


def _overlap(a: Sequence[str], b: Sequence[str]) -> bool:
    for x, y in zip(a, b, strict=False):
        if "#" in (x, y):
            return True
        if x != y and "+" not in (x, y):
            return False
    return (
        len(a) == len(b) or (len(a) == len(b) + 1 and a[-1] == "#") or (len(b) == len(a) + 1 and b[-1] == "#")
    )


def _cover(a: Sequence[str], b: Sequence[str]) -> str:
    out: list[str] = []
    for x, y in zip(a, b, strict=False):
        if "#" in (x, y):
            return "/".join([*out, "#"])
        out.append(x if x == y else "+")
    return "/".join(out if len(a) == len(b) else [*out, "#"])


def pointer_parts(pointer: str | None) -> tuple[str, ...]:
    """The reference tokens of a JSON Pointer (RFC 6901); none: the whole document."""
    if not pointer:
        return ()
    return tuple(t.replace("~1", "/").replace("~0", "~") for t in pointer.split("/")[1:])


class Routes:
    """The topics of a set of sites."""

    def __init__(self, sites: Iterable[Site]) -> None:
        self.plants = {s.id: Plant(s, {p.id: Lane(s.id, p) for p in s.point}) for s in sites}
        own: dict[str, list[tuple[Lane, tuple[str, ...]]]] = {}
        for plant in self.plants.values():
            for lane in plant.lanes.values():
                if lane.point.topic:
                    own.setdefault(lane.point.topic, []).append((lane, pointer_parts(lane.point.pointer)))
        self._exact = {t: lanes for t, lanes in own.items() if not {"+", "#"} & set(t.split("/"))}
        self._wild = {t: lanes for t, lanes in own.items() if t not in self._exact}
        self.filters = disjoint((*OWN_FILTERS, *own))
        self._found: dict[str, Route] = {}

    def find(self, topic: str) -> Route:
        """Whose readings a message on this topic holds."""
        found = self._found.get(topic)
        if found is None:
            if len(self._found) >= _KNOWN_TOPICS:
                self._found.clear()
            found = self._found[topic] = self._look(topic)
        return found

    def _look(self, topic: str) -> Route:
        lanes = list(self._exact.get(topic, ()))
        for pattern, more in self._wild.items():
            if matches(topic, pattern):
                lanes += more
        if lanes:
            return Pointed(tuple(lanes))
        if not any(matches(topic, f) for f in OWN_FILTERS):
            return Unasked()
        _, site, kind, *rest = topic.split("/")
        plant = self.plants.get(site)
        if plant is None:
            return Lost(site[:40], f"unknown site {site[:40]!r}")
        if kind == "status":
            return Status(site)
        if not rest:
            return Pack(plant)
        lane = plant.lanes.get(rest[0])
        return Bare(lane) if lane else Lost(site, f"unknown point {rest[0][:80]!r} of {site}")
