#!/usr/bin/env python3
"""Back up the data folder while the service runs, and restore it.

    backup.py backup DATA FOLDER [--keep N]    a dated archive in FOLDER; all but the newest N are removed
    backup.py verify ARCHIVE                   every file whole, every database sound
    backup.py restore ARCHIVE DATA             into a folder that is missing or empty, with the service stopped

Databases are copied first, by SQLite's own backup, then all other files: a reading that is sealed in between is then in
both, and counts once. Only Python's standard library is needed. Readings on a time-series server are not in the data
folder: back that up with its own means (`influxd backup -portable`); the spool of what it has not got yet is.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import json
import os
import shutil
import sqlite3
import sys
import tarfile
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

MANIFEST = "manifest.json"
_HEADER = b"SQLite format 3\x00"
_SIDE = ("-wal", "-shm", "-journal")


class BackupError(Exception):
    """Said in one line."""


def backup(data: Path, folder: Path, keep: int | None = None) -> Path:
    """Write an archive of `data`, verified. Returns its path. Raises BackupError."""
    if not data.is_dir():
        raise BackupError(f"{data}: no such folder")
    folder.mkdir(parents=True, exist_ok=True)
    target = folder / time.strftime("fieldfare-%Y%m%dT%H%M%S.tar.gz", time.gmtime())
    if target.exists():
        raise BackupError(f"{target} is there already")
    beside = target.with_name(f".{target.name}.part")
    digests: dict[str, str] = {}
    try:
        with (
            tempfile.TemporaryDirectory(dir=folder) as scratch,
            tarfile.open(beside, "w:gz", compresslevel=3) as archive,
        ):
            databases = list(_databases(data))
            for path in databases:
                copy = Path(scratch) / "copy"
                _copy_database(path, copy)
                _add(archive, copy, str(path.relative_to(data)), digests)
                copy.unlink()
            for path in _others(data, set(databases)):
                try:
                    _add(archive, path, str(path.relative_to(data)), digests)
                except FileNotFoundError:  # replaced by a newer one between the listing and now
                    continue
            text = json.dumps({"files": digests}, indent=1).encode()
            entry = tarfile.TarInfo(MANIFEST)
            entry.size = len(text)
            archive.addfile(entry, io.BytesIO(text))
        with beside.open("rb") as file:
            os.fsync(file.fileno())
        verify(beside)
        beside.rename(target)
    finally:
        beside.unlink(missing_ok=True)
    if keep is not None:
        for old in sorted(folder.glob("fieldfare-*.tar.gz"))[: -max(keep, 1)]:
            old.unlink()
    return target


def _databases(data: Path) -> Iterator[Path]:
    for path in sorted(data.rglob("*")):
        if path.is_file() and not path.is_symlink() and not path.name.endswith(_SIDE):
            with path.open("rb") as file:
                if file.read(len(_HEADER)) == _HEADER:
                    yield path


def _others(data: Path, databases: set[Path]) -> Iterator[Path]:
    for path in sorted(data.rglob("*")):
        if path in databases or not path.is_file() or path.is_symlink():
            continue
        if any(
            path.name.endswith(side) and path.with_name(path.name.removesuffix(side)) in databases
            for side in _SIDE
        ):
            continue
        yield path


def _copy_database(path: Path, copy: Path) -> None:
    with (
        closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=60)) as source,
        closing(sqlite3.connect(copy)) as target,
    ):
        source.backup(target, pages=4096, sleep=0.01)
        target.execute("PRAGMA journal_mode = DELETE")


def _add(archive: tarfile.TarFile, path: Path, name: str, digests: dict[str, str]) -> None:
    with path.open("rb") as file:  # held open: what is read is one version of it, whatever is renamed over it
        entry = archive.gettarinfo(fileobj=file, arcname=f"data/{name}")
        digest = hashlib.sha256()
        archive.addfile(entry, _Hashing(file, digest))  # type: ignore[arg-type]
    digests[name] = digest.hexdigest()


class _Hashing:
    def __init__(self, file: io.BufferedReader, digest: hashlib._Hash) -> None:
        self._file, self._digest = file, digest

    def read(self, size: int = -1) -> bytes:
        got = self._file.read(size)
        self._digest.update(got)
        return got


def verify(archive: Path) -> int:
    """Unpack beside, compare every file with the manifest, check every database. Returns the number of files."""
    with tempfile.TemporaryDirectory(dir=archive.parent) as scratch:
        return len(_unpacked(archive, Path(scratch)))


def _unpacked(archive: Path, into: Path) -> dict[str, str]:
    try:
        with tarfile.open(archive) as tar:
            tar.extractall(into, filter="data")
        digests: dict[str, str] = json.loads((into / MANIFEST).read_bytes())["files"]
    except (OSError, EOFError, tarfile.TarError, ValueError, KeyError) as error:
        raise BackupError(f"{archive}: not a whole backup: {error}") from None
    for name, expected in digests.items():
        path = into / "data" / name
        if not path.is_file() or hashlib.sha256(path.read_bytes()).hexdigest() != expected:
            raise BackupError(f"{archive}: {name} is damaged or missing")
        with path.open("rb") as file:
            is_database = file.read(len(_HEADER)) == _HEADER
        if is_database:
            with closing(sqlite3.connect(path)) as db:
                if (found := db.execute("PRAGMA integrity_check").fetchone()[0]) != "ok":
                    raise BackupError(f"{archive}: {name}: {found}")
    return digests


def restore(archive: Path, data: Path) -> int:
    """Put an archive's files in place. Returns their number. Raises BackupError if `data` holds anything."""
    if data.exists() and any(data.iterdir()):
        raise BackupError(f"{data} is not empty: move it away first")
    data.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=data.parent) as scratch:
        digests = _unpacked(archive, Path(scratch))
        unpacked = Path(scratch) / "data"
        unpacked.mkdir(exist_ok=True)
        if data.exists():
            data.rmdir()
        shutil.move(unpacked, data)
    return len(digests)


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    commands = parser.add_subparsers(dest="command", required=True)
    one = commands.add_parser("backup", help="write a dated archive")
    one.add_argument("data", type=Path)
    one.add_argument("folder", type=Path)
    one.add_argument("--keep", type=int, help="remove all but the newest N archives")
    two = commands.add_parser("verify", help="check an archive")
    two.add_argument("archive", type=Path)
    three = commands.add_parser("restore", help="put an archive in place")
    three.add_argument("archive", type=Path)
    three.add_argument("data", type=Path)
    given = parser.parse_args(argv)
    try:
        if given.command == "backup":
            print(backup(given.data, given.folder, given.keep))
        elif given.command == "verify":
            print(f"{verify(given.archive)} files, all whole")
        else:
            print(f"{restore(given.archive, given.data)} files restored to {given.data}")
    except (BackupError, OSError, sqlite3.Error) as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
