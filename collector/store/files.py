"""Files that survive a crash, and locks between processes."""

from __future__ import annotations

import fcntl
import os
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_LOCKS = 64  # a site takes the one its name falls on, so that a forgotten site leaves no file with its name


def sync_folder(folder: Path) -> None:
    """Make renames and removals in a folder durable."""
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


def make_folder(folder: Path) -> None:
    """Make a folder, durable in its parent."""
    if not folder.is_dir():
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        sync_folder(folder.parent)


def make_private(path: Path) -> None:
    """Make a file that its owner alone may read, where there is none. SQLite gives its side files the same
    rights."""
    os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600))


class Locks:
    """One writer for each site at a time, over threads and processes; the site "" is the store itself.

    A lock goes with its holder: a killed process leaves none behind.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        make_folder(folder)

    @contextmanager
    def hold(self, site: str) -> Iterator[None]:
        """Wait until no one else writes the site."""
        with self._open(site) as fd:
            fcntl.flock(fd, fcntl.LOCK_EX)
            yield

    @contextmanager
    def hold_if_free(self, site: str) -> Iterator[bool]:
        """Take the lock without waiting; gives whether it was free."""
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
