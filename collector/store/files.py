"""Crash-safe files, and locks between processes."""

from __future__ import annotations

import fcntl
import os
import zlib
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
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


@contextmanager
def file_lock(path: Path, *, wait: bool) -> Iterator[bool]:
    """Hold an exclusive lock between processes; yield whether it was taken, always True with `wait`.

    path : of the lock's file, created if missing
    """
    fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    try:
        try:
            fcntl.flock(fd, fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB)
            taken = True
        except BlockingIOError:
            taken = False
        yield taken
    finally:
        os.close(fd)


class Locks:
    """One writer per site at a time, across threads and processes; the site "" is the store itself.

    A lock ends with its holder: a killed process leaves none behind.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        make_folder(folder)

    def hold(self, site: str) -> AbstractContextManager[bool]:
        """Wait for the site's write lock and hold it."""
        return file_lock(self._path(site), wait=True)

    def hold_if_free(self, site: str) -> AbstractContextManager[bool]:
        """Take the lock without waiting; yield whether it was free."""
        return file_lock(self._path(site), wait=False)

    def _path(self, site: str) -> Path:
        return self._folder / (f"{zlib.crc32(site.encode()) % _LOCKS:02d}" if site else "store")
