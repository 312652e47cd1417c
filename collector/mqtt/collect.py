"""MQTT collector: receive messages, store readings durably, then acknowledge.

One thread does everything in turn, so the memory in use is bounded. A slow or full store slows the broker
down, because messages are not acknowledged. Order of a commit: dead letters and arrival times (the journal),
then readings (the store), then acknowledgements. A kill in between leads to a second delivery, which changes
nothing: readings have their key, and a message whose reading took its time from its arrival is recognised by
its packet id.
"""

from __future__ import annotations

import logging
import sqlite3
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from threading import Event

from fieldfare.analysis.errors import FieldfareError, InputError
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Readings
from fieldfare.collector.back_off import back_off
from fieldfare.collector.mqtt import dead_letters
from fieldfare.collector.mqtt.connection import Link, LinkDown, Packet
from fieldfare.collector.mqtt.decode import (
    Decoded,
    Message,
    MessageDecoder,
    RefusedMessage,
)
from fieldfare.collector.mqtt.journal import Journal, write_arrivals, write_filters
from fieldfare.collector.mqtt.settings import MqttSettings
from fieldfare.collector.mqtt.topics import Routes
from fieldfare.collector.store.protocol import Store

log = logging.getLogger("fieldfare.collect")

_CLOCK_JUMP_S = 30.0
_TURN_S = 0.2
_TOPICS_KEPT = 50_000


@dataclass
class Totals:
    """Counts of a collector run. `batches` counts commits, `unasked` messages on foreign topics."""

    messages: int = 0
    stored: int = 0
    replaced: int = 0
    duplicates: int = 0
    set_aside: int = 0
    unasked: int = 0
    batches: int = 0
    connects: int = 0
    clock_jumps: int = 0
    store_failures: int = 0


class StoreTrouble(FieldfareError):
    """The store can't take readings now; they are held and retried."""


def collect(
    settings: MqttSettings,
    sites_provider: Callable[[], Sequence[Site]],
    store: Store,
    stop_event: Event,
    *,
    clock: Callable[[], float] = time.time,
) -> Totals:
    """Run the collector until stopped; return its totals.

    sites_provider : returns the current sites; called every `settings.sites_seconds`
    stop_event : when set, held messages are committed and acknowledged before this returns
    clock : float [s since 1970], for arrival times
    """
    collector = Collector(settings, sites_provider, store, clock)
    try:
        return collector.run(stop_event)
    finally:
        collector.close()


class Collector:
    """State of one collector."""

    def __init__(
        self,
        settings: MqttSettings,
        sites_provider: Callable[[], Sequence[Site]],
        store: Store,
        clock: Callable[[], float],
    ) -> None:
        self._settings, self._provider, self._store, self._clock = settings, sites_provider, store, clock
        self.totals: Totals = Totals()
        self._link = Link(settings, self._take)
        self._journal = Journal(settings.folder)
        self._sites: list[Site] = []
        self._loaded = False
        self._routes = Routes(())
        self._decoder = MessageDecoder(self._routes)
        self._messages: list[Message] = []
        self._mids: list[tuple[int, int]] = []
        self._bytes = 0
        self._live = False  # whether the held messages came on the current connection
        self._began = self._last_came = self._asked_at = time.monotonic()
        self._drift = clock() - time.monotonic()
        self._known_by_id = self._journal.arrivals(settings.client_id)
        self._arrivals: dict[str, int] = {}
        self._arrived_floor = max((arrived for _, arrived in self._known_by_id.values()), default=0)
        self._written_filters = self._journal.filters(settings.client_id)

    def run(self, stop: Event) -> Totals:
        """The main loop."""
        failures = trouble = 0
        while not stop.is_set():
            self._watch_clock()
            self._refresh_sites()
            if not self._loaded:  # without sites every message would become a dead letter
                stop.wait(self._settings.sites_seconds)
                continue
            try:
                if self._due() or (self._messages and (trouble or not self._link.connected)):
                    self._commit()
                    trouble = 0
                if not self._link.connected:
                    self._connect()
                    failures = 0
                self._link.ask_for(self._routes.filters)
                self._link.pump(self._patience(), self._budget())
                if self._link.filters | self._link.older != self._written_filters:
                    self._note_filters()
            except StoreTrouble as error:
                trouble += 1
                self.totals.store_failures += 1
                if trouble == 1:
                    log.error("the store can't take readings; messages wait at the broker: %s", error)
                self._hold(stop, trouble)
            except LinkDown as error:
                self._live = False
                failures += 1
                log.log(logging.WARNING if failures == 1 else logging.DEBUG, "%s", error)
                stop.wait(back_off(failures, self._settings.back_off_seconds))
        self._finish()
        return self.totals

    def close(self) -> None:
        self._link.close(seconds=1.0)
        self._journal.close()

    def _take(self, packet: Packet) -> None:
        """Add a delivered message to the batch."""
        # Two messages of a topic delivered in the same millisecond (a backlog) must not get the same
        # arrival time.
        arrived = max(int(self._clock() * 1000), self._arrivals.get(packet.topic, self._arrived_floor) + 1)
        message = Message(packet.topic, packet.payload, arrived, packet.retained)
        if (
            packet.dup
            and (known := self._known_by_id.get(packet.mid))
            and known[0] == dead_letters.digest(message)
        ):
            message = message._replace(arrived=known[1])
        else:
            self._arrived(packet.topic, arrived)
        self._last_came = time.monotonic()
        if not self._messages:
            self._began = self._last_came
        self._messages.append(message)
        self._mids.append((packet.mid, packet.qos))
        self._bytes += len(packet.payload)

    def _arrived(self, topic: str, arrived: int) -> None:
        if len(self._arrivals) >= _TOPICS_KEPT:
            self._arrived_floor = max(self._arrivals.values())
            self._arrivals.clear()
        self._arrivals[topic] = arrived

    def _budget(self) -> int:
        if self._bytes >= self._settings.batch_bytes:
            return 0
        return max(0, min(500, self._settings.max_in_flight - len(self._messages)))

    def _due(self) -> bool:
        if not self._messages:
            return False
        now, s = time.monotonic(), self._settings
        return (
            len(self._messages) >= s.max_in_flight
            or self._bytes >= s.batch_bytes
            or now - self._began >= s.batch_seconds
            or now - self._last_came >= s.idle_seconds
        )

    def _patience(self) -> float:
        """Longest wait for the broker in the next turn [s]."""
        if not self._messages:
            return _TURN_S
        now = time.monotonic()
        left = (
            min(self._began + self._settings.batch_seconds, self._last_came + self._settings.idle_seconds)
            - now
        )
        return max(0.0, min(_TURN_S, left))

    def _hold(self, stop: Event, trouble: int) -> None:
        """Wait until the store works again; keep the connection alive and bound what still arrives."""
        until = time.monotonic() + min(5.0, back_off(trouble, self._settings.back_off_seconds))
        while time.monotonic() < until and not stop.is_set():
            if not self._link.connected:
                stop.wait(0.1)
                continue
            try:
                # The broker can't exceed the in-flight limit, so what comes now are answers to our
                # pings.
                spare = len(self._messages) < 2 * self._settings.max_in_flight
                spare = spare and self._bytes < 2 * self._settings.batch_bytes
                self._link.pump(0.1, max(self._budget(), int(spare)))
            except LinkDown:
                self._live = False

    def _connect(self) -> None:
        self._link.older |= self._written_filters
        self._link.connect()
        self.totals.connects += 1
        self._live = True
        if not self._link.session_present:
            self._known_by_id.clear()  # packet ids restart
        log.info("connected to %s with MQTT %s", self._settings.url, self._link.version)

    def _commit(self) -> None:
        """Write the batch to disk, then acknowledge it. Raises StoreTrouble with the batch still held."""
        messages, now = self._messages, int(self._clock() * 1000)
        decoded = self._decoder.decode(messages, now)
        try:
            new_aside = self._note(decoded)
            for site, readings in decoded.readings.items():
                new_aside += self._append(site, readings, now)
        except Exception as error:
            raise StoreTrouble(f"{type(error).__name__}: {error}") from error
        self.totals.messages += len(messages)
        self.totals.set_aside += new_aside
        self.totals.unasked += len(decoded.unasked)
        self.totals.batches += 1
        mids = self._mids
        self._messages, self._mids, self._bytes = [], [], 0
        if self._live and mids:
            self._link.acknowledge((mid, qos) for mid, qos in mids if qos)

    def _append(self, site: str, readings: Readings, now: int) -> int:
        """Write readings to the store.

        If one site's readings are invalid, its messages become dead letters. If the store itself fails (full
        disk, lock, damaged database), raise, which holds the broker back.
        """
        try:
            done = self._store.append(site, readings)
        except Exception as error:
            if isinstance(error, (OSError, MemoryError, sqlite3.Error)):
                raise
            if isinstance(error, FieldfareError) and not isinstance(error, InputError):
                raise
            log.exception("the store refuses readings of %s", site)
            reason = f"the store refused it: {error}"
            mine = [
                n for n, m in enumerate(self._messages) if site in self._decoder.decode([m], now).readings
            ]
            with self._journal.writing() as db:
                return self._keep(db, [RefusedMessage(n, site, reason) for n in mine])
        self.totals.stored += done.stored
        self.totals.replaced += done.replaced
        self.totals.duplicates += done.duplicates
        return 0

    def _note(self, decoded: Decoded) -> int:
        """Write dead letters and arrival times in one transaction. Return the count of new dead letters."""
        arrivals = sorted(decoded.arrival_timed | {r.message for r in decoded.refused})
        if not arrivals:
            return 0
        with self._journal.writing() as db:
            new = self._keep(db, decoded.refused)
            self._remember(db, arrivals)
        return new

    def _keep(self, db: sqlite3.Connection, refused: list[RefusedMessage]) -> int:
        s = self._settings
        return dead_letters.keep(db, self._messages, refused, s.set_aside_messages, s.set_aside_bytes)

    def _remember(self, db: sqlite3.Connection, numbers: list[int]) -> None:
        """Record arrival times by packet id, so that a second delivery counts as the first.

        Keep only the last `max_in_flight`: older messages are acknowledged.
        """
        rows = []
        for number in numbers:
            message, (mid, qos) = self._messages[number], self._mids[number]
            if not qos:
                continue
            found = dead_letters.digest(message), message.arrived
            self._known_by_id[mid] = found
            rows.append((mid, *found))
        write_arrivals(db, self._settings.client_id, rows, self._settings.max_in_flight)

    def _write_filters(self, db: sqlite3.Connection) -> None:
        now = self._link.filters | self._link.older
        write_filters(db, self._settings.client_id, now)
        self._written_filters = now

    def _note_filters(self) -> None:
        try:
            with self._journal.writing() as db:
                self._write_filters(db)
        except sqlite3.Error as error:
            raise StoreTrouble(str(error)) from error

    def _refresh_sites(self) -> None:
        """Reload changed site files."""
        now = time.monotonic()
        if self._loaded and now < self._asked_at:
            return
        self._asked_at = now + self._settings.sites_seconds
        try:
            sites = list(self._provider())
        except Exception:
            log.exception("the sites can't be read; the known ones stay in use")
            return
        self._loaded = True
        if len(sites) == len(self._sites) and all(
            a is b or a == b for a, b in zip(sites, self._sites, strict=True)
        ):
            self._sites = sites
            return
        self._sites = sites
        self._routes = Routes(sites)
        self._decoder = MessageDecoder(self._routes)
        for site, point, reason in self._routes.left_out:
            log.error("%s: the point %s is not collected: %s", site, point, reason)

    def _watch_clock(self) -> None:
        """Notice a jump of the clock: arrival times before and after it can't be compared."""
        drift = self._clock() - time.monotonic()
        if abs(jump := drift - self._drift) >= _CLOCK_JUMP_S:
            self._arrivals.clear()
            self._arrived_floor = 0
            self.totals.clock_jumps += 1
            log.warning("this machine's clock jumped by %+.0f s", jump)
        self._drift = drift

    def _finish(self) -> None:
        """Stop cleanly: commit and acknowledge held messages; leave the rest to the broker."""
        try:
            if self._messages:
                self._commit()
            with self._journal.writing() as db:
                self._write_filters(db)
        except (StoreTrouble, LinkDown, sqlite3.Error, OSError) as error:
            log.error("stopped with %d messages left to the broker: %s", len(self._messages), error)
        self._link.close()
