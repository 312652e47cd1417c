"""Damage found in sealed files, stored beside them so that all processes and restarts know of it."""

from __future__ import annotations

import logging
import os
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

import orjson

from fieldfare.collector.store.sealed_index import Signature, signature_of

log = logging.getLogger(__name__)
_LARGEST = 10_000_000
"""Maximum size of the notes [bytes]."""


class DamageNote(NamedTuple):
    """Damage of a file with this signature: of the whole file (`what`), or of the lost points."""

    signature: Signature
    what: str
    lost: frozenset[str]

    @property
    def summary(self) -> str:
        return self.what or f"damaged; readings of {', '.join(sorted(self.lost))} are left out"


class DamageNotes:
    """Notes by site and file name, in an append-only JSON lines file; the last line of a file counts."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._read_at: Signature | None = None
        self._held: dict[tuple[str, str], DamageNote] = {}

    def of(self, path: Path) -> DamageNote | None:
        """The note of a file; None if it has none or was replaced since."""
        self._refresh()
        noted = self._held.get(_key(path))
        try:
            return noted if noted is not None and noted.signature == signature_of(path) else None
        except FileNotFoundError:
            return None

    def add(self, path: Path, signature: Signature, what: str = "", lost: Iterable[str] = ()) -> None:
        """Record damage of a file, in addition to earlier notes of it."""
        self._refresh()
        before = self._held.get(_key(path))
        if before is not None and before.signature == signature:
            noted = DamageNote(signature, what or before.what, before.lost | frozenset(lost))
        else:
            noted = DamageNote(signature, what, frozenset(lost))
        if noted == before:
            return
        self._held[_key(path)] = noted
        log.error("%s: %s", path, noted.summary)
        try:
            fd = os.open(self._path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, 0o600)
            try:
                os.write(fd, _line(_key(path), noted))
            finally:
                os.close(fd)
        except OSError as error:  # full disk: this process still knows of it
            log.warning("%s can't be written: %s", self._path, error.strerror)

    def forget(self, site: str) -> None:
        """Delete the notes of a site's files."""
        self._refresh()
        self._held = {key: noted for key, noted in self._held.items() if key[0] != site}
        if self._path.exists():
            beside = self._path.with_suffix(".new")
            beside.write_bytes(b"".join(_line(key, noted) for key, noted in self._held.items()))
            os.replace(beside, self._path)

    def _refresh(self) -> None:
        try:
            now = signature_of(self._path)
        except FileNotFoundError:
            return
        if now == self._read_at:
            return
        with self._path.open("rb") as file:
            lines = file.read(_LARGEST).splitlines()
        for line in lines:
            try:
                site, name, signature, what, lost = orjson.loads(line)
                self._held[site, name] = DamageNote(tuple(signature), what, frozenset(lost))
            except (ValueError, TypeError):  # a truncated line
                continue
        self._read_at = now


def _key(path: Path) -> tuple[str, str]:
    return path.parent.name, path.name


def _line(key: tuple[str, str], noted: DamageNote) -> bytes:
    return orjson.dumps([*key, list(noted.signature), noted.what, sorted(noted.lost)]) + b"\n"
