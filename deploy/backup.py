#!/usr/bin/env python3
"""Back up the data folder while the service runs, and restore it.

    backup.py backup DATA FOLDER [--keep N]    a dated archive in FOLDER; all but the newest N are removed
    backup.py verify ARCHIVE                   every file whole, every database and sealed month sound
    backup.py restore ARCHIVE DATA             into a folder that is missing or empty, with the service
        stopped

A backup of data that are damaged is kept, as what is whole in it may be needed, but it is named `-damaged`,
says what is
damaged, and takes the place of no earlier one: `--keep` counts whole archives alone. All files are the
    owner's alone.

Databases are copied first, by SQLite's own backup, then all other files: a reading that is sealed in between
is then in both, and counts once. Only Python's standard library is needed. Readings on a time-series server
are not in the data
folder: back that up with its own means (`influxd backup -portable`); the spool of what it has not got yet is.
"""

from __future__ import annotations

import argparse
import fcntl
import hashlib
import io
import json
import os
import shutil
import sqlite3
import struct
import sys
import tarfile
import tempfile
import time
import zlib
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any, NamedTuple

MANIFEST = "manifest.json"
_HEADER = b"SQLite format 3\x00"
DAMAGED = "-damaged"
ERASED_WITHIN_S = 35 * 86_400
"""What was erased is gone from all archives within this time, so an archive of damaged data doesn't stay
longer."""
_TAIL, _GROUP, _MARK = struct.Struct("<II8s"), struct.Struct("<QI"), b"ffcheck1"
_SIDE = ("-wal", "-shm", "-journal")
_SCRATCH = ".fieldfare-scratch-"


class BackupError(Exception):
    """Said in one line."""


class DamagedData(BackupError):
    """The archive is as the data were, and those are damaged."""

    def __init__(self, archive: Path, damage: list[str]) -> None:
        more = f" (and {len(damage) - 1} more)" if len(damage) > 1 else ""
        super().__init__(
            f"{archive}: the data are damaged: {damage[0]}{more}; no earlier archive was removed"
        )
        self.archive, self.damage = archive, damage


class Verified(NamedTuple):
    """An archive that is as it was written. files : how many. damage : what of the data was damaged before"""

    files: int
    damage: list[str]


def backup(data: Path, folder: Path, keep: int | None = None) -> Path:
    """Write an archive of `data`, verified. Returns its path.

    Raises BackupError where none can be written, and DamagedData, with the archive written, where the data
    are damaged.
    """
    if not data.is_dir():
        raise BackupError(f"{data}: no such folder")
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    target = folder / time.strftime("fieldfare-%Y%m%dT%H%M%S.tar.gz", time.gmtime())
    if target.exists():
        raise BackupError(f"{target} already exists")
    digests: dict[str, str] = {}
    with _scratch(folder) as scratch:
        beside = scratch / target.name
        with tarfile.open(beside, "w:gz", compresslevel=3) as archive:
            databases = list(_databases(data))
            for path in databases:
                copy = scratch / "copy"
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
        damage = verify(beside).damage
        if damage:
            target = target.with_name(target.name.replace(".tar.gz", f"{DAMAGED}.tar.gz"))
        beside.rename(target)
        _sync(folder)
    if keep is not None:
        _remove_older(folder, keep, anew=not damage)
    if damage:
        raise DamagedData(target, damage)
    return target


@contextmanager
def _scratch(folder: Path) -> Iterator[Path]:
    """A folder within, removed afterwards. Those that killed runs left are removed first: they hold the data
    of households. A run holds a lock on its own, so that another one leaves it alone."""
    for old in folder.glob(f"{_SCRATCH}*"):
        with suppress(OSError), _locked(old, fcntl.LOCK_NB):  # else in use, or another user's
            shutil.rmtree(old)
    while True:
        made = Path(tempfile.mkdtemp(dir=folder, prefix=_SCRATCH))
        with _locked(made):
            if not made.exists():  # another run took it for one that was left
                continue
            try:
                yield made
            finally:
                shutil.rmtree(made)
            return


@contextmanager
def _locked(folder: Path, flag: int = 0) -> Iterator[None]:
    fd = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | flag)
        yield
    finally:
        os.close(fd)


def _remove_older(folder: Path, keep: int, *, anew: bool) -> None:
    """Remove whole archives but the newest, once there is a new one; of archives of damaged data the newest
    is kept."""
    found = sorted(folder.glob("fieldfare-*.tar.gz"))
    damaged = [path for path in found if DAMAGED in path.name]
    whole = [path for path in found if path not in damaged]
    late = [path for path in damaged[-1:] if anew and time.time() - path.stat().st_mtime > ERASED_WITHIN_S]
    for old in [*damaged[:-1], *late, *(whole[: -max(keep, 1)] if anew else ())]:
        old.unlink()


def _sync(folder: Path) -> None:
    """Make a rename durable before older archives are removed."""
    fd = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


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
    """Copy by SQLite's own backup; a database that it can't copy as bytes, so that what is whole in it is
    kept."""
    try:
        _copy_sound_database(path, copy)
    except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
        if isinstance(error, sqlite3.OperationalError):
            raise BackupError(f"{path}: {error}") from None
        shutil.copyfile(path, copy)


def _copy_sound_database(path: Path, copy: Path) -> None:
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


def verify(archive: Path) -> Verified:
    """Unpack beside, compare every file with the manifest, check every database and every sealed month.

    Raises BackupError where the archive is not as it was written.
    """
    with _scratch(archive.parent) as scratch:
        digests = _unpacked(archive, scratch)
        return Verified(len(digests), list(_damage(scratch / "data", digests)))


def _damage(data: Path, names: Iterable[str]) -> Iterator[str]:
    """What is wrong with the data themselves."""
    for name in names:
        path = data / name
        if (
            (name.endswith(".parquet") and (told := _month_trouble(path.read_bytes())))
            or (name.endswith(".sqlite") and (told := _database_trouble(path)))
            or (name.endswith(".jpg") and (told := _picture_trouble(path.read_bytes())))
        ):
            yield f"{name}: {told}"
    if any(name.startswith("readings/sealed/") for name in names) and "readings/hot.sqlite" not in names:
        yield "readings/hot.sqlite is missing"


def _database_trouble(path: Path) -> str:
    try:
        with path.open("rb") as file:
            start = file.read(len(_HEADER))
        if start != _HEADER:
            return "no database: its beginning was written over" if start else ""
        with closing(sqlite3.connect(path)) as db:
            found = str(db.execute("PRAGMA integrity_check(1)").fetchone()[0])
        return "" if found == "ok" else " ".join(found.split())
    except (sqlite3.Error, UnicodeDecodeError) as error:
        return str(error)


def _picture_trouble(data: bytes) -> str:
    return "" if data[:2] == b"\xff\xd8" and data[-2:] == b"\xff\xd9" else "cut off or written over"


def _month_trouble(data: bytes) -> str:
    """What is wrong with a sealed month, by its own checksums (see collector/store/checksums.py); one without
    is only looked at from both ends."""
    if len(data) < 16 or data[:4] != b"PAR1" or data[-4:] != b"PAR1":
        return "cut off or written over"
    footer = len(data) - 8 - struct.unpack("<I", data[-8:-4])[0]
    if footer < 4:
        return "cut off or written over"
    tail = footer - _TAIL.size
    if tail < 4 or data[footer - len(_MARK) : footer] != _MARK:
        return ""
    count, rest, _ = _TAIL.unpack(data[tail:footer])
    first = tail - count * _GROUP.size
    if first < 4 or zlib.crc32(data[footer:], zlib.crc32(data[first:tail])) != rest:
        return "its index does not match its checksum"
    start = 4
    for end, crc in _GROUP.iter_unpack(data[first:tail]):
        if zlib.crc32(data[start:end]) != crc:
            return "readings do not match their checksum"
        start = end
    return ""


def _unpacked(archive: Path, into: Path) -> dict[str, str]:
    try:
        with tarfile.open(archive) as tar:
            found = set(_extract(tar, into))
        digests: dict[str, str] = dict(json.loads((into / MANIFEST).read_bytes())["files"])
    except (OSError, EOFError, tarfile.TarError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise BackupError(f"{archive}: not a complete backup: {error}") from None
    for name, expected in digests.items():
        path = into / "data" / name
        if f"data/{name}" not in found or hashlib.sha256(path.read_bytes()).hexdigest() != expected:
            raise BackupError(f"{archive}: {name} is damaged or missing")
    if unlisted := found - {MANIFEST, *(f"data/{name}" for name in digests)}:
        raise BackupError(f"{archive}: {min(unlisted)} is in it, but not in its {MANIFEST}")
    return digests


def _extract(tar: tarfile.TarFile, into: Path) -> Iterator[str]:
    """Unpack plain files that stay inside, and no link: once in place it would lead elsewhere. Python before
    3.11.4, as in Debian 12, has no filters. Returns their names."""
    safely: dict[str, Any] = {"filter": "data"} if hasattr(tarfile, "data_filter") else {}
    for member in tar:
        if member.isdir():  # of an archive packed by hand; files bring their folders
            continue
        inside = (into / member.name).resolve().is_relative_to(into.resolve())
        if not (member.isfile() and inside):
            raise tarfile.TarError(f"{member.name} is no plain file inside the archive")
        member.mode = 0o600
        tar.extract(member, into, set_attrs=False, **safely)
        yield os.path.normpath(member.name)


def restore(archive: Path, data: Path) -> int:
    """Put an archive's files in place. Returns their number. Raises BackupError if `data` holds anything, or
    is in use."""
    if _is_in_use(data):
        raise BackupError(
            f"{data} is in use: stop the service, its collectors and every other command of fieldfare first"
        )
    if data.exists() and any(data.iterdir()):
        raise BackupError(f"{data} is not empty: move it away first")
    data.parent.mkdir(parents=True, exist_ok=True)
    with _scratch(data.parent) as scratch:
        digests = _unpacked(archive, scratch)
        unpacked = scratch / "data"
        unpacked.mkdir(exist_ok=True)
        if data.exists():
            data.rmdir()
        shutil.move(unpacked, data)
    return len(digests)


def _is_in_use(data: Path) -> bool:
    """Whether a process of fieldfare has opened a data folder of this path, moved away since or not (see
    `_in_use` in api/core/service.py). Processes in a container of their own aren't seen."""
    folder = hashlib.sha256(os.path.realpath(data).encode()).hexdigest()[:16]
    try:
        return f"@fieldfare-{folder}-" in Path("/proc/net/unix").read_text(errors="replace")
    except OSError:
        return False


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
    os.umask(0o077)  # archives and what is restored are the owner's alone
    try:
        if given.command == "backup":
            print(backup(given.data, given.folder, given.keep))
        elif given.command == "verify":
            found = verify(given.archive)
            if found.damage:
                raise DamagedData(given.archive, found.damage)
            print(f"{found.files} files, no damage")
        else:
            print(f"{restore(given.archive, given.data)} files restored to {given.data}")
    except (BackupError, OSError, sqlite3.Error) as error:
        print(error, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
