"""A file of another home with the same columns is refused; a home's own files are taken in any order."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.collector.csv import ingest_csv
from fieldfare.collector.csv import undo as undo_module
from fieldfare.collector.csv.other_home import AnotherHomesFile
from fieldfare.collector.csv.undo import Undo
from fieldfare.collector.store import local_write
from fieldfare.collector.store.local import LocalStore
from fieldfare.collector.store.merge import is_among
from fieldfare.collector.store.sealed_file import Piece

START = datetime(2026, 1, 5, tzinfo=UTC)
NOW = datetime(2026, 6, 1, tzinfo=UTC)
SITE = """
[site]
id = "ash-lane"
name = "Ash"
timezone = "Europe/London"
[[point]]
id = "heat"
quantity = "heat_output"
as = "register"
unit = "kWh"
[[point]]
id = "elec"
quantity = "heat_pump_electricity"
as = "register"
unit = "kWh"
[[point]]
id = "flow"
quantity = "flow_temperature"
[[point]]
id = "power"
quantity = "heat_pump_electricity"
as = "power"
unit = "W"
"""
GAUGES = SITE.split("[[point]]")[0] + "".join(f"[[point]]{part}" for part in SITE.split("[[point]]")[3:])


def site(text: str = SITE) -> Site:
    return parse_site(text)


class Home:
    """A house that uses heat by a daily pattern. heat, elec : its totals on 5 January [kWh]"""

    def __init__(self, seed: int, heat: float, elec: float) -> None:
        rng = np.random.default_rng(seed)
        n = 200 * 96
        self.hours = np.arange(n) / 4
        self.power = np.clip(rng.normal(900, 700, n), 0, None)
        self.flow = 33 + 5 * np.sin(self.hours / 24 * 2 * np.pi + seed) + rng.normal(0, 0.8, n)
        self.elec = elec + np.cumsum(self.power) / 4000
        self.heat = heat + 3.2 * np.cumsum(self.power) / 4000

    def export(
        self, path: Path, first: int, last: int, *, every: int = 1, digits: int = 2, serial: str = ""
    ) -> Path:
        """Days `first` to `last` after the start as a file."""
        head = "time,heat,elec,flow,power" + (",Serial number" if serial else "")
        rows = [head]
        for i in range(first * 96, last * 96, every):
            time = (START + timedelta(hours=float(self.hours[i]))).strftime("%Y-%m-%dT%H:%M:%SZ")
            values = (self.heat[i], self.elec[i], self.flow[i], self.power[i])
            row = [time, *(f"{v:.{digits}f}" for v in values)]
            rows.append(",".join([*row, serial] if serial else row))
        path.write_text("\n".join(rows) + "\n")
        return path


ASH, ELM = Home(1, 8200, 2600), Home(2, 8450, 2710)


def take(store: LocalStore, path: Path, text: str = SITE, **more: object) -> int:
    serials = more.pop("serials", {})
    done = ingest_csv(
        site(text),
        path,
        store,
        rejects_dir=path.parent / "rejects",
        now=NOW,
        known_serials=serials,  # type: ignore[arg-type]
        **more,  # type: ignore[arg-type]
    )
    return done.readings


@pytest.fixture
def store(tmp_path: Path) -> LocalStore:
    return LocalStore(tmp_path / "store")


def held(store: LocalStore) -> dict[str, list[tuple[int, float]]]:
    return {p: list(zip(*(a.tolist() for a in s), strict=True)) for p, s in store.read("ash-lane").items()}


@pytest.mark.parametrize(
    ("first", "last"), [(30, 40), (10, 20), (25, 35), (60, 70)], ids=["after", "within", "across", "later"]
)
def test_a_file_of_another_home_is_refused_and_nothing_is_stored(
    store: LocalStore, tmp_path: Path, first: int, last: int
) -> None:
    far = Home(3, 1300, 400)
    take(store, ASH.export(tmp_path / "ash.csv", 0, 30))
    before = held(store)
    with pytest.raises(AnotherHomesFile) as refused:
        take(store, far.export(tmp_path / "elm.csv", first, last))
    assert held(store) == before
    assert "elm.csv: looks like the file of another home: heat" in str(refused.value)
    assert "\n" not in str(refused.value)
    assert not list((tmp_path / "rejects").glob("*")) if (tmp_path / "rejects").exists() else True


def test_totals_that_are_close_are_told_apart_where_the_files_meet(store: LocalStore, tmp_path: Path) -> None:
    take(store, ASH.export(tmp_path / "ash.csv", 0, 30))
    with pytest.raises(
        AnotherHomesFile, match=r"heat goes from \d+.* on 2026-02-03 to \d+.* on 2026-02-04, in kWh"
    ):
        take(store, Home(2, 8900, 2900).export(tmp_path / "elm.csv", 30, 40))


def test_other_values_at_the_same_times_are_taken_as_a_correction(store: LocalStore, tmp_path: Path) -> None:
    take(store, ASH.export(tmp_path / "ash.csv", 0, 5), GAUGES)
    assert take(store, ELM.export(tmp_path / "elm.csv", 2, 7), GAUGES) > 0


def test_a_serial_number_that_no_earlier_file_had_is_a_sign(store: LocalStore, tmp_path: Path) -> None:
    path = ELM.export(tmp_path / "elm.csv", 0, 2, serial="4711")
    with pytest.raises(
        AnotherHomesFile, match="'Serial number' says 4711, earlier files of this home say 0815"
    ):
        take(store, path, serials={"Serial number": {"0815"}})
    assert take(store, path, serials={"Serial number": {"0815", "4711"}}) > 0


def test_without_the_check_it_is_taken(store: LocalStore, tmp_path: Path) -> None:
    take(store, ASH.export(tmp_path / "ash.csv", 0, 30))
    assert take(store, Home(3, 1300, 400).export(tmp_path / "elm.csv", 30, 40), serials=None) > 0


@settings(max_examples=12, deadline=None)
@given(
    spans=st.lists(st.tuples(st.integers(0, 60), st.integers(1, 40)), min_size=2, max_size=5),
    every=st.sampled_from([1, 4]),
    digits=st.sampled_from([0, 2]),
)
def test_a_homes_own_files_are_taken_in_any_order_and_rounding(
    tmp_path_factory: pytest.TempPathFactory, spans: list[tuple[int, int]], every: int, digits: int
) -> None:
    folder = tmp_path_factory.mktemp("own")
    store = LocalStore(folder / "store")
    for n, (first, length) in enumerate(spans):
        path, last = folder / f"{n}.csv", first + length
        own = (
            ASH.export(path, first, last, every=every, digits=digits)
            if n % 2
            else ASH.export(path, first, last)
        )
        take(store, own)


def test_a_meter_that_starts_again_at_zero_is_taken(store: LocalStore, tmp_path: Path) -> None:
    take(store, ASH.export(tmp_path / "ash.csv", 0, 30))
    again = Home(1, 8200, 2600)
    again.heat, again.elec = again.heat - again.heat[30 * 96], again.elec - again.elec[30 * 96]
    assert take(store, again.export(tmp_path / "new.csv", 30, 40)) > 0


def test_an_undo_leaves_the_readings_as_they_were(store: LocalStore, tmp_path: Path) -> None:
    take(store, ASH.export(tmp_path / "a.csv", 0, 10))
    states = [held(store)]
    undos = []
    for n, (first, last) in enumerate(((5, 15), (12, 30), (0, 3))):
        undo = Undo(tmp_path / "undo" / str(n))
        other = Home(7 + n, 100, 50)
        take(store, other.export(tmp_path / f"{n}.csv", first, last), undo=undo, serials=None)
        undos.append(undo)
        states.append(held(store))
    assert states[-1] != states[0]
    for undo, before in zip(reversed(undos), reversed(states[:-1]), strict=True):
        undo.run(store, "ash-lane")
        assert held(store) == before


@pytest.mark.parametrize("at_once", [1, 1_000_000])
def test_each_month_is_noted_and_undone_by_itself(
    store: LocalStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at_once: int
) -> None:
    """So that an undo holds a month at most, however long the file."""
    monkeypatch.setattr(local_write, "ROWS_AT_ONCE", at_once)
    take(store, ASH.export(tmp_path / "a.csv", 0, 100))
    before, undo = held(store), Undo(tmp_path / "undo")
    take(store, Home(7, 100, 50).export(tmp_path / "b.csv", 0, 100), undo=undo, serials=None)
    assert [path.name for path in sorted(undo.folder.glob("*.written.parquet"))] == [
        f"{n:04d}.written.parquet"
        for n in range(4)  # 5 January to 14 April
    ]
    done = undo.run(store, "ash-lane")
    assert (done.removed, done.kept) == (0, 0)
    assert done.restored > 0
    assert held(store) == before
    assert store.check("ash-lane") == []


@pytest.mark.parametrize("kind", ["written", "replaced"])
def test_a_kill_while_a_note_is_written_keeps_nothing_from_being_undone(
    store: LocalStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    """Of a note cut off nothing is stored yet; the notes before it are whole."""
    take(store, ASH.export(tmp_path / "a.csv", 0, 100))
    before, undo, real = held(store), Undo(tmp_path / "undo"), undo_module.write_file

    def cut_off(path: Path, pieces: Iterator[Piece]) -> None:
        real(path, pieces)
        if path.name.startswith(f"0002.{kind}"):
            path.write_bytes(path.read_bytes()[:100])
            raise KeyboardInterrupt

    monkeypatch.setattr(undo_module, "write_file", cut_off)
    with pytest.raises(KeyboardInterrupt):
        take(store, Home(7, 100, 50).export(tmp_path / "b.csv", 0, 100), undo=undo, serials=None)
    undo.run(store, "ash-lane")
    assert held(store) == before


_TIMES = st.lists(st.integers(-(2**53), 2**53) | st.integers(0, 20), max_size=30, unique=True).map(sorted)


@given(_TIMES, _TIMES)
def test_times_are_found_among_others(time: list[int], others: list[int]) -> None:
    a, b = np.array(time, np.int64), np.array(others, np.int64)
    assert is_among(a, b).tolist() == [t in set(others) for t in time]


def test_an_undo_noted_by_an_earlier_version_is_refused(store: LocalStore, tmp_path: Path) -> None:
    """That version wrote one file for each write; to find none of ours is not to have undone it."""
    undo = Undo(tmp_path / "undo")
    take(store, ASH.export(tmp_path / "a.csv", 0, 10), undo=undo)
    kept = held(store)
    for path in undo.folder.glob("*.parquet"):
        path.rename(undo.folder / f"{path.name.split('.')[0]}.parquet")
    with pytest.raises(InputError, match="an earlier version of fieldfare noted"):
        undo.run(store, "ash-lane")
    assert held(store) == kept
    assert list(undo.folder.iterdir())
