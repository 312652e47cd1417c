"""Every file of a data folder, damaged in every way, one at a time: it is reported, no wrong value is read,
and the other home is unaffected."""

from __future__ import annotations

import contextlib
import io
import random
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from fieldfare.analysis.errors import FieldfareError
from fieldfare.analysis.readings import Readings
from fieldfare.api.cli.entry import run
from fieldfare.api.people.home_links import HomeLinks
from fieldfare.api.people.secrets import signing_key
from fieldfare.collector.store.local import LocalStore
from tests.deploy.test_kept import filled

SITES = ("alder-row", "beech-end")
CHANGES: dict[str, Callable[[bytes], bytes | None]] = {
    "cut off": lambda raw: raw[: len(raw) // 2],
    "empty": lambda raw: b"",
    "zeros": lambda raw: bytes(len(raw)),
    "text": lambda raw: b"hello " * (len(raw) // 6 + 1),
    "gone": lambda raw: None,
}
FLIPS = 6
"""Bits that the test flips in each file; the benchmark flips more."""


@dataclass(frozen=True)
class Outcome:
    """told : what `fieldfare check` says. wrong : readings that differ from what was stored. lost : readings
    of (alder-row, beech-end) that are not read any more"""

    told: str
    code: int
    wrong: int
    lost: tuple[int, int]

    @property
    def is_silent(self) -> bool:
        """Something is lost or wrong, and nobody is told."""
        return self.code == 0 and (self.wrong > 0 or any(self.lost))


def flipped(raw: bytes, bit: int) -> bytes:
    out = bytearray(raw)
    out[bit // 8] ^= 1 << bit % 8
    return bytes(out)


def whole_folder(folder: Path) -> Path:
    """A data folder with two homes, with sealed months and recent readings, results, people and a key."""
    data = folder / "data"
    service = filled(data)
    HomeLinks(service.database, signing_key(data)).make(SITES[0], 30, "kim@heating.example")
    last = max(span[1] for site in SITES if (span := service.store.span(site)))
    service.store.seal(last)  # the days before the last one
    service.close()
    for path in data.rglob("*.sqlite-*"):  # a folder at rest
        assert path.stat().st_size == 0 or path.name.endswith("-shm")
    return data


def files_of(data: Path) -> list[Path]:
    """The files that hold something, relative to the folder."""
    found = (p for p in data.rglob("*") if p.is_file() and p.stat().st_size > 0)
    return sorted(p.relative_to(data) for p in found if p.suffix not in (".log",) and "-shm" not in p.name)


def stored(data: Path) -> dict[str, Readings]:
    store = LocalStore(data / "readings")
    try:
        return {site: store.read(site) for site in SITES}
    finally:
        store.close()


def damaged(
    data: Path, good: dict[str, Readings], path: Path, changed: bytes | None, scratch: Path
) -> Outcome:
    """What comes of one changed file, None for a removed one, in a copy of the folder."""
    shutil.copytree(data, scratch)
    try:
        if changed is None:
            (scratch / path).unlink()
        else:
            (scratch / path).write_bytes(changed)
        said = io.StringIO()
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
            code = run(["--data", str(scratch), "check"])
        return Outcome(said.getvalue(), code, *_compared(scratch, good))
    finally:
        shutil.rmtree(scratch)


def _compared(data: Path, good: dict[str, Readings]) -> tuple[int, tuple[int, int]]:
    try:
        store = LocalStore(data / "readings")
    except FieldfareError:
        return 0, (_count(good[SITES[0]]), _count(good[SITES[1]]))
    wrong, lost = 0, []
    for site in SITES:
        try:
            found = store.read(site)
        except FieldfareError:
            found = {}
        right = 0
        for point, samples in found.items():
            here = good[site].get(point)
            at = np.isin(samples.time, here.time) if here is not None else np.zeros(len(samples.time), bool)
            same = 0
            if here is not None and at.any():
                where = np.searchsorted(here.time, samples.time[at])
                same = int((here.value[where] == samples.value[at]).sum())
            right += same
            wrong += len(samples.time) - same
        lost.append(_count(good[site]) - right)
    store.close()
    return wrong, (lost[0], lost[1])


def _count(readings: Readings) -> int:
    return sum(len(s.time) for s in readings.values())


def trials(data: Path, flips: int, seed: int = 7) -> Iterator[tuple[Path, str, bytes | None]]:
    """File, what is done to it, and what it holds then."""
    draw = random.Random(seed)
    for path in files_of(data):
        raw = (data / path).read_bytes()
        for name, change in CHANGES.items():
            yield path, name, change(raw)
        for bit in draw.sample(range(len(raw) * 8), min(flips, len(raw) * 8)):
            yield path, "a flipped bit", flipped(raw, bit)


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return whole_folder(tmp_path_factory.mktemp("each"))


def test_no_damage_of_any_file_passes_in_silence(data: Path, tmp_path: Path) -> None:
    good, tried = stored(data), 0
    for path, what, changed in trials(data, FLIPS):
        outcome = damaged(data, good, path, changed, tmp_path / "copy")
        assert outcome.wrong == 0, (path, what)
        assert not outcome.is_silent, (path, what, outcome)
        assert "Traceback" not in outcome.told, (path, what)
        if what != "a flipped bit":
            assert outcome.code == 1, (path, what)
            assert path.name in outcome.told, (path, what, outcome.told)
        if "sealed" in path.parts:
            other = SITES.index(next(site for site in SITES if site not in path.parts))
            assert outcome.lost[other] == 0, (path, what)
        tried += 1
    assert tried > 5 * len(CHANGES)
