"""Decode MQTT messages to readings; unreadable messages are returned with a reason, none is dropped."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np
import orjson

from fieldfare.analysis.plant.site import ON_ARRIVAL
from fieldfare.analysis.readings import Readings, Samples, ordered
from fieldfare.collector import validation
from fieldfare.collector.mqtt import senml
from fieldfare.collector.mqtt.payload import (
    NOTHING,
    gateways_instant,
    instant,
    is_status,
    milliseconds,
    own_time,
    pointed,
    unit_of,
)
from fieldfare.collector.mqtt.topics import (
    Bare,
    Lane,
    Lost,
    Pack,
    Pointed,
    Routes,
    Status,
    TopicSite,
    Unasked,
)

_DECIMAL = re.compile(rb"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\Z")
_REASONS_SHOWN = 5
_RETAINED = "a retained value without a time: nobody knows when it was true"
_NUMBERS = frozenset((float, int))
_NAMES_KEPT = 10_000  # names and units cached per site, so that a foreign sender can't exhaust memory


class Message(NamedTuple):
    """One received message. `arrived` [ms since 1970]."""

    topic: str
    payload: bytes
    arrived: int
    retained: bool = False


class RefusedMessage(NamedTuple):
    """A message that can't be read, wholly or partly. `site` is empty where the topic names none."""

    message: int
    site: str
    reason: str


class Decoded(NamedTuple):
    """Result of decoding a run of messages.

    readings : by site. refused : in message order. statuses : valid gateway statuses, which change nothing.
        arrival_timed : messages with a reading timed by arrival. unasked : messages outside our subscriptions
    """

    readings: dict[str, Readings]
    refused: list[RefusedMessage]
    statuses: list[int]
    arrival_timed: set[int]
    unasked: list[int]


class _Named(NamedTuple):
    """Meaning of a pack's name and unit: a lane with its conversion, or the reason for refusal."""

    lane: Lane | None
    scale: float
    offset: float
    plain: bool
    reason: str


class MessageDecoder:
    """Decodes messages of a set of sites. Not thread-safe."""

    def __init__(self, routes: Routes) -> None:
        self._routes = routes
        self._active: list[Lane] = []
        self._refused: list[RefusedMessage] = []
        self._statuses: list[int] = []
        self._timed: set[int] = set()
        self._now = 0

    def decode(self, messages: Sequence[Message], now: int) -> Decoded:
        """Read messages in order; for repeated keys the later value wins.

        now : int [ms since 1970], to detect times in the future
        """
        self._active, self._refused, self._statuses, self._timed, self._now = [], [], [], set(), now
        unasked: list[int] = []
        find = self._routes.find
        for number, message in enumerate(messages):
            route = find(message.topic)
            kind = type(route)
            try:
                if kind is Pack:
                    self._pack(route.topic_site, message, number)  # type: ignore[union-attr]
                elif kind is Bare:
                    self._bare(route.lane, message, number)  # type: ignore[union-attr]
                elif kind is Pointed:
                    self._pointed(route.lanes, message, number)  # type: ignore[union-attr]
                elif kind is Unasked:
                    unasked.append(number)
                else:
                    self._other(route, message, number)  # type: ignore[arg-type]
            except senml.PackRefused as refusal:
                self._refuse(number, _site_of(route), str(refusal))
        readings: dict[str, Readings] = {}
        for lane in self._active:
            samples = self._drained(lane)
            if len(samples.time):
                readings.setdefault(lane.site, {})[lane.point.id] = samples
        return Decoded(readings, _merged(self._refused), self._statuses, self._timed, unasked)

    def _refuse(self, number: int, site: str, reason: str) -> None:
        self._refused.append(RefusedMessage(number, site, reason))

    def _other(self, route: Lost | Status, message: Message, number: int) -> None:
        if isinstance(route, Lost):
            self._refuse(number, route.site, route.reason)
            return
        if is_status(message.payload):
            self._statuses.append(number)
        else:
            self._refuse(number, route.site, "a status is online or offline")

    def _pack(self, site: TopicSite, message: Message, number: int) -> None:
        try:
            pack = orjson.loads(message.payload)
        except orjson.JSONDecodeError as error:
            raise senml.PackRefused(f"bad JSON: {error}") from None
        if not self._plain_pack(site, pack, number):
            self._any_pack(site, pack, message, number)

    def _plain_pack(self, site: TopicSite, pack: Any, number: int) -> bool:
        """Fast path for common packs; return False, with nothing read, for any other.

        A common pack has known names, plain numbers and one absolute base time in the first record.
        """
        plain = site.plain
        try:
            first = pack[0]
            seconds = first["bt"]
            if not (type(seconds) is float or type(seconds) is int) or seconds < senml.ABSOLUTE_FROM:
                return False
            if len(first) == 1:  # base time alone
                records = pack[1:]
            elif len(first) == 3 and "u" not in first:
                records = pack
            else:
                return False
            if not records:
                return False
            lanes = [plain[r["n"]] for r in records]
            values = [r["v"] for r in records]
        except (KeyError, TypeError, IndexError):
            return False
        extra = len(records[0]) - 2 if records is pack else 0  # the first record's own bt
        if sum(map(len, records)) != 2 * len(records) + extra or not set(map(type, values)) <= _NUMBERS:
            return False
        ms = milliseconds(seconds)
        active = self._active
        for lane, value in zip(lanes, values, strict=True):
            if not lane.time:
                active.append(lane)
            lane.time.append(ms)
            lane.value.append(value)
            lane.source.append(number)
        return True

    def _any_pack(self, site: TopicSite, pack: Any, message: Message, number: int) -> None:
        named, arrived, now_s = site.named, message.arrived, message.arrived / 1000.0
        active = self._active
        empty = True
        for name, unit, value, time in senml.resolve(pack):
            empty = False
            known = named.get((name, unit))
            if known is None:
                known = self._named(site, name, unit)
            lane = known.lane
            if lane is None:
                self._refuse(number, site.site.id, known.reason)
                continue
            if time is None:
                ms = arrived
            else:
                ms = milliseconds(senml.absolute(time, now_s))
            if known.plain and (type(value) is float or type(value) is int):
                if known.scale != 1.0 or known.offset != 0.0:
                    value = value * known.scale + known.offset
            elif isinstance(value, senml.Unreadable):
                self._refuse(number, site.site.id, f"{name}: {value}")
                continue
            else:
                value = self._word(lane, value, number)
                if value is None:
                    continue
            if time is None or time < senml.ABSOLUTE_FROM:
                if message.retained:
                    self._refuse(number, lane.site, f"{name}: {_RETAINED}")
                    continue
                self._timed.add(number)
            if not lane.time:
                active.append(lane)
            lane.time.append(ms)
            lane.value.append(value)
            lane.source.append(number)
        if empty:
            raise senml.PackRefused("a pack without a reading")

    def _named(self, site: TopicSite, name: str, unit: str | None) -> _Named:
        lane = site.lanes.get(name)
        if lane is None:
            found = _Named(None, 1.0, 0.0, False, f"unknown point {name[:80]!r} of {site.site.id}")
        else:
            try:
                scale, offset = unit_of(lane.point, unit)
                found = _Named(lane, scale, offset, lane.point.form != "state", "")
            except ValueError as error:
                found = _Named(None, 1.0, 0.0, False, f"{name}: {error}")
        if len(site.named) >= _NAMES_KEPT:
            site.named.clear()
        site.named[name, unit] = found
        return found

    def _bare(self, lane: Lane, message: Message, number: int) -> None:
        self._one(lane, self._parsed(message.payload, lane), message, number)

    def _pointed(
        self,
        lanes: Iterable[tuple[Lane, tuple[str, ...], tuple[str, ...]]],
        message: Message,
        number: int,
    ) -> None:
        whole: Any = NOTHING
        for lane, parts, time_parts in lanes:
            if not parts:
                self._one(lane, self._parsed(message.payload, lane), message, number)
                continue
            if whole is NOTHING:
                try:
                    whole = orjson.loads(message.payload)
                except orjson.JSONDecodeError as error:
                    whole = senml.Unreadable(f"bad JSON: {error}")
            if isinstance(whole, senml.Unreadable):
                self._refuse(number, lane.site, whole)
                continue
            got = pointed(whole, parts)
            if got is NOTHING:
                self._refuse(
                    number, lane.site, f"{lane.point.id}: {lane.point.pointer} points at nothing in it"
                )
            elif time_parts:
                self._one_of_its_time(lane, got, pointed(whole, time_parts), message, number)
            elif lane.point.time_pointer is None and (late := _late(whole, got, message)):
                self._refuse(number, lane.site, f"{lane.point.id}: {late}")
            else:
                self._one(lane, got, message, number)

    def _one_of_its_time(self, lane: Lane, got: Any, given: Any, message: Message, number: int) -> None:
        """Decode one value whose time stands elsewhere in its message."""
        point = lane.point
        if given is NOTHING:
            self._refuse(number, lane.site, f"{point.id}: {point.time_pointer} points at nothing in it")
            return
        try:
            seconds = gateways_instant(given) / 1000.0
        except ValueError as error:
            self._refuse(number, lane.site, f"{point.id}: {point.time_pointer}: {error}")
            return
        self._one(lane, {"t": seconds, "v": got}, message, number)

    def _parsed(self, payload: bytes, lane: Lane) -> Any:
        """Parse a bare payload: JSON, a number in another notation, or a state's word."""
        try:
            return orjson.loads(payload)
        except orjson.JSONDecodeError as error:
            text = payload.strip()
            if _DECIMAL.match(text):
                return float(text)
            if lane.point.form == "state" and text:
                try:
                    return text.decode()
                except UnicodeDecodeError:
                    pass
            if text and not text.startswith((b"{", b"[", b'"')):
                return senml.Unreadable(f"{text[:40].decode(errors='replace')!r} is not a number")
            return senml.Unreadable(f"bad JSON: {error}" if text else "an empty message")

    def _one(self, lane: Lane, got: Any, message: Message, number: int) -> None:
        """Decode one value, bare or as {"t", "v"}."""
        time = message.arrived
        timed = False
        if type(got) is dict:
            if "v" not in got:
                wanted = 'an object without v; {"v": 21.5, "t": "2026-01-31T23:59:00Z"} is wanted'
                self._refuse(number, lane.site, f"{lane.point.id}: {wanted}")
                return
            if got.get("t") is not None:
                try:
                    time, timed = instant(got["t"]), True
                except ValueError as error:
                    self._refuse(number, lane.site, f"{lane.point.id}: {error}")
                    return
            got = got["v"]
        if not timed and message.retained:
            self._refuse(
                number,
                lane.site,
                f"{lane.point.id}: {_RETAINED}",
            )
            return
        if isinstance(got, senml.Unreadable):
            self._refuse(number, lane.site, f"{lane.point.id}: {got}")
            return
        if lane.point.form == "state" or type(got) not in (float, int):
            got = self._word(lane, got, number)
            if got is None:
                return
        if not timed:
            self._timed.add(number)
        if not lane.time:
            self._active.append(lane)
        lane.time.append(time)
        lane.value.append(got)
        lane.source.append(number)

    def _word(self, lane: Lane, got: Any, number: int) -> float | str | None:
        """Decode a value that is no plain number: a state's word, a switch, a quoted number."""
        try:
            if type(got) not in (str, bool, int, float):
                raise ValueError("an object, an array or null is no value")
            return validation.decoded(lane.point, got)
        except ValueError as error:
            self._refuse(number, lane.site, f"{lane.point.id}: {error}")
            return None

    def _drained(self, lane: Lane) -> Samples:
        """Return the lane's samples in order without implausible ones, and empty the lane."""
        point = lane.point
        time = np.array(lane.time, dtype=np.int64)
        value = np.array(lane.value, dtype=object if point.kind.is_text else np.float64)
        source = lane.source
        lane.time, lane.value, lane.source = [], [], []
        bad = validation.in_trouble(point, time, value, self._now)
        if bad is not None:
            for i in np.flatnonzero(bad).tolist():
                why = validation.trouble(point, int(time[i]), value[i], self._now)
                self._refuse(source[i], lane.site, f"{point.id}: {why}")
            time, value = time[~bad], value[~bad]
        if len(time) > 1 and not bool(np.all(time[1:] > time[:-1])):
            return ordered(time[::-1], value[::-1])  # the last value counts
        return Samples(time, value)


def _late(whole: Any, got: Any, message: Message) -> str:
    """Why a value should not take the time of its arrival; empty where it may.

    A message that says that it was made long before, as after an outage, would change the course of the
    readings. One that is ahead has a wrong clock, or no offset.
    """
    found = None if type(got) is dict and "t" in got else own_time(whole)
    if found is None or message.arrived - found[1] <= validation.AHEAD_MS:
        return ""
    name, ms = found
    minutes = (message.arrived - ms) / 60_000.0
    return (
        f"the message's own {name!r} lies {minutes:.0f} min before its arrival; set time_pointer = "
        f'"/{name}" at this point, or "{ON_ARRIVAL}" if that time does not count'
    )


def _site_of(route: Any) -> str:
    return route.topic_site.site.id if type(route) is Pack else ""


def _merged(refused: list[RefusedMessage]) -> list[RefusedMessage]:
    """Merge refusals to one per message, reasons joined, in message order."""
    if not refused:
        return refused
    sites: dict[int, str] = {}
    reasons: dict[int, list[str]] = {}
    for number, site, reason in refused:
        sites[number] = sites.get(number) or site
        found = reasons.setdefault(number, [])
        if reason not in found:
            found.append(reason)
    out = []
    for number in sorted(reasons):
        found = reasons[number]
        more = f"; and {len(found) - _REASONS_SHOWN} more" if len(found) > _REASONS_SHOWN else ""
        out.append(RefusedMessage(number, sites[number], "; ".join(found[:_REASONS_SHOWN]) + more))
    return out
