"""Crash-safe files, and locks between processes."""

from __future__ import annotations

import fcntl
import os
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

_LOCKS = 64  # sites hash to these, so that a deleted site leaves no file with its name


def sync_folder(folder: Path) -> None:
    """Make renames and removals in a folder durable."""
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


def make_folder(folder: Path) -> None:
    """Create a folder, durably in its parent."""
    if not folder.is_dir():
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        sync_folder(folder.parent)


def make_private(path: Path) -> None:
    """Create a file that only its owner can read, if missing. SQLite gives its side files the same mode.

    A file that exists is not opened: closing it would drop SQLite's locks on it in this process.
    """
    with suppress(FileExistsError):
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600))


class Locks:
    """One writer per site at a time, across threads and processes; the site "" is the store itself.

    A lock ends with its holder: a killed process leaves none behind.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        make_folder(folder)

    @contextmanager
    def hold(self, site: str) -> Iterator[None]:
        """Wait for the site's write lock and hold it."""
        with self._open(site) as fd:
            fcntl.flock(fd, fcntl.LOCK_EX)
            yield

    @contextmanager
    def hold_if_free(self, site: str) -> Iterator[bool]:
        """Take the lock without waiting; yield whether it was free."""
        with self._open(site) as fd:
            try:
                fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                yield False
            else:
                yield True

    @contextmanager
    def _open(self, site: str) -> Iterator[int]:
        name = f"{zlib.crc32(site.encode()) % _LOCKS:02d}" if site else "store"
        fd = os.open(self._folder / name, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        try:
            yield fd
        finally:
            os.close(fd)
