"""Dead letters: unreadable messages, kept with their reason and replayed once the site file is fixed."""

from __future__ import annotations

import hashlib
import sqlite3
import time
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from fieldfare.analysis.plant.site import Site
from fieldfare.collector.mqtt.decode import Message, MessageDecoder, RefusedMessage
from fieldfare.collector.mqtt.journal import Journal
from fieldfare.collector.mqtt.topics import Routes
from fieldfare.collector.store.protocol import Store

_REPLAY_ROWS = 500


class DeadLetter(NamedTuple):
    """One dead letter. `arrived` [ms]."""

    id: int
    site: str
    topic: str
    payload: bytes
    arrived: int
    retained: bool
    reason: str


class Tally(NamedTuple):
    """Counts of dead letters.

    messages, bytes : held now. kept : total ever kept. dropped : of those, dropped to make room for newer
        ones
    """

    messages: int
    bytes: int
    kept: int
    dropped: int


class Replayed(NamedTuple):
    """Result of a replay.

    messages : processed. readings : newly stored. read : messages fully read and removed. refused : still
        held
    """

    messages: int
    readings: int
    read: int
    refused: int


def digest(message: Message) -> bytes:
    """Hash that identifies a message when it is delivered again."""
    return hashlib.blake2b(message.topic.encode() + b"\0" + message.payload, digest_size=16).digest()


def keep(
    db: sqlite3.Connection,
    messages: Sequence[Message],
    refused: Iterable[RefusedMessage],
    most: int,
    most_bytes: int,
) -> int:
    """Store dead letters inside a transaction, skipping duplicates (same arrival, or retained).

    most, most_bytes : limits; beyond them the oldest are dropped and counted. Returns how many were new.
    """
    new = size = 0
    for number, site, reason in refused:
        message = messages[number]
        known = digest(message)
        if message.retained and _is_stored(db, known):  # redelivered with every subscription
            continue
        row = (
            site,
            message.topic,
            message.payload,
            message.arrived,
            message.retained,
            reason,
            known,
        )
        done = db.execute(
            "INSERT OR IGNORE INTO aside (site, topic, payload, arrived, retained, reason, digest)"
            " VALUES (?, ?, ?, ?, ?, ?, ?)",
            row,
        ).rowcount
        new += done
        size += done * (len(message.payload) + len(message.topic))
    if new:
        db.execute(
            "UPDATE aside_tally SET kept = kept + ?, messages = messages + ?, bytes = bytes + ?",
            (new, new, size),
        )
        _make_room(db, most, most_bytes)
    return new


def _is_stored(db: sqlite3.Connection, known: bytes) -> bool:
    return bool(db.execute("SELECT 1 FROM aside WHERE digest = ? AND retained", (known,)).fetchone())


def _make_room(db: sqlite3.Connection, most: int, most_bytes: int) -> None:
    held, size = db.execute("SELECT messages, bytes FROM aside_tally").fetchone()
    rows = db.execute("SELECT id, length(payload) + length(CAST(topic AS BLOB)) FROM aside ORDER BY id")
    going: list[tuple[int]] = []
    while (held > most or size > most_bytes) and (row := rows.fetchone()):
        going.append((row[0],))
        held, size = held - 1, size - row[1]
    rows.close()
    if going:
        db.executemany("DELETE FROM aside WHERE id = ?", going)
        db.execute(
            "UPDATE aside_tally SET dropped = dropped + ?, messages = ?, bytes = ?", (len(going), held, size)
        )


def tally(journal: Journal) -> Tally:
    """Count the dead letters held now and in total."""
    held, size, kept, dropped = journal.db.execute(
        "SELECT messages, bytes, kept, dropped FROM aside_tally"
    ).fetchone()
    return Tally(held, size, kept, dropped)


def reasons(journal: Journal, site: str | None = None) -> dict[str, int]:
    """Reason -> number of dead letters, most first."""
    rows = journal.db.execute(
        "SELECT reason, count(*) FROM aside WHERE ?1 IS NULL OR site = ?1 GROUP BY reason ORDER BY count(*)"
        " DESC, reason",
        (site,),
    )
    return dict(rows)


def held(
    journal: Journal, site: str | None = None, *, after: int = 0, most: int = 100, newest: bool = False
) -> list[DeadLetter]:
    """Dead letters, oldest first.

    site : only this site's. after : only ids beyond this, for paging. newest : the last `most` instead of the
        first
    """
    rows = journal.db.execute(
        "SELECT * FROM (SELECT id, site, topic, payload, arrived, retained, reason FROM aside"
        " WHERE (?1 IS NULL OR site = ?1) AND id > ?2 ORDER BY id * ?4 LIMIT ?3) ORDER BY id",
        (site, after, most, -1 if newest else 1),
    )
    return [DeadLetter(i, s, t, p, a, bool(r), why) for i, s, t, p, a, r, why in rows]


def clear(journal: Journal, site: str | None = None, ids: Iterable[int] | None = None) -> int:
    """Delete dead letters: all, one site's, or those with the given ids. Return how many."""
    wanted = None if ids is None else set(ids)
    with journal.writing() as db:
        found = db.execute("SELECT id FROM aside WHERE ?1 IS NULL OR site = ?1", (site,)).fetchall()
        return _remove(db, [i for (i,) in found if wanted is None or i in wanted])


def forget(journal: Journal, site: str) -> None:
    """Delete a site's dead letters, and overwrite them in the file."""
    clear(journal, site)
    journal.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _remove(db: sqlite3.Connection, ids: Sequence[int]) -> int:
    gone = size = 0
    for i in ids:
        row = db.execute(
            "SELECT length(payload) + length(CAST(topic AS BLOB)) FROM aside WHERE id = ?", (i,)
        ).fetchone()
        if row:
            db.execute("DELETE FROM aside WHERE id = ?", (i,))
            gone, size = gone + 1, size + row[0]
    db.execute("UPDATE aside_tally SET messages = messages - ?, bytes = bytes - ?", (gone, size))
    return gone


def replay(
    journal: Journal, sites: Iterable[Site], store: Store, *, site: str | None = None, now: int | None = None
) -> Replayed:
    """Read the dead letters again with the current sites; each keeps its arrival time.

    Readings go to the store first, then the message is deleted; the rest stays with its new reason.
    site : only this site's. now : int [ms], default the clock's; a time then in the future may be past now
    """
    decoder = MessageDecoder(Routes(sites))
    processed = readings = read = refused = 0
    for rows in _pages(journal, site):
        messages = [Message(r.topic, r.payload, r.arrived, r.retained) for r in rows]
        decoded = decoder.decode(messages, int(time.time() * 1000) if now is None else now)
        for name, found in decoded.readings.items():
            done = store.append(name, found)
            readings += done.stored + done.replaced
        why = {r.message: r for r in decoded.refused}
        for number in decoded.unasked:
            why[number] = RefusedMessage(number, rows[number].site, "no point reads this topic any more")
        gone = [row.id for number, row in enumerate(rows) if number not in why]
        with journal.writing() as db:
            _remove(db, gone)
            db.executemany(
                "UPDATE aside SET reason = ?, site = ? WHERE id = ?",
                [(why[n].reason, why[n].site, row.id) for n, row in enumerate(rows) if n in why],
            )
        processed, read, refused = processed + len(rows), read + len(gone), refused + len(why)
    return Replayed(processed, readings, read, refused)


def _pages(journal: Journal, site: str | None) -> Iterator[list[DeadLetter]]:
    after = 0
    while rows := held(journal, site, after=after, most=_REPLAY_ROWS):
        after = rows[-1].id
        yield rows
