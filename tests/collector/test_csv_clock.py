"""Local times through both clock changes, and one real meter's year."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import MS_PER_DAY
from fieldfare.collector.csv import Ingested, ingest_csv
from fieldfare.collector.csv import ingest as ingest_module
from fieldfare.collector.csv import source as source_module
from fieldfare.collector.csv.clock import Clock, Track
from fieldfare.collector.store.local import LocalStore

NOW = datetime(2026, 1, 10, 12, 0, tzinfo=UTC)
REAL = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "swiss-heat-pump-15min-2021.csv"


def plant(zone: str) -> Site:
    return parse_site(
        f'[site]\nid = "ash-lane"\nname = "Ash"\ntimezone = "{zone}"\n[csv]\ntimezone ='
        f' "{zone}"\n[[point]]\nid = "a"\nquantity = "flow_temperature"\n[[point]]\nid = "b"\nquantity ='
        ' "return_temperature"\n'
    )


@pytest.fixture
def store(tmp_path: Path) -> Iterator[LocalStore]:
    made = LocalStore(tmp_path / "store")
    yield made
    made.close()


Ingest = Callable[..., Ingested]


@pytest.fixture
def ingest(tmp_path: Path, store: LocalStore) -> Ingest:
    def run(lines: list[str], zone: str = "Europe/Berlin") -> Ingested:
        path = tmp_path / "export.csv"
        path.write_text("\n".join(lines) + "\n")
        return ingest_csv(plant(zone), path, store, rejects_dir=tmp_path / "rejects", now=NOW)

    return run


def local(start: datetime, end: datetime, step: timedelta, zone: str) -> tuple[list[str], list[int]]:
    """Wall times as an export writes them, and the UTC times [ms] they stand for."""
    wall, utc = [], []
    t = start
    while t < end:
        wall.append(t.astimezone(ZoneInfo(zone)).strftime("%Y-%m-%d %H:%M"))
        utc.append(int(t.timestamp() * 1000))
        t += step
    return wall, utc


AUTUMN = (datetime(2025, 10, 25, 12, tzinfo=UTC), datetime(2025, 10, 26, 12, tzinfo=UTC))
SPRING = (datetime(2025, 3, 29, 12, tzinfo=UTC), datetime(2025, 3, 30, 12, tzinfo=UTC))


@pytest.mark.parametrize("span", [AUTUMN, SPRING], ids=["autumn", "spring"])
@pytest.mark.parametrize("minutes", [1, 15, 60])
@pytest.mark.parametrize("form", ["wide", "long by time", "long by point"])
@pytest.mark.parametrize("block", [700, 8 << 20])
def test_a_day_with_a_clock_change_is_read_whole(
    ingest: Ingest,
    store: LocalStore,
    monkeypatch: pytest.MonkeyPatch,
    span: tuple[datetime, datetime],
    minutes: int,
    form: str,
    block: int,
) -> None:
    monkeypatch.setattr(source_module, "_BLOCK", block)
    wall, utc = local(*span, timedelta(minutes=minutes), "Europe/Berlin")
    if form == "wide":
        lines = ["time,a,b", *(f"{t},{k % 90},{k % 80}" for k, t in enumerate(wall))]
    else:
        rows = [(k, p, f"{t},{p},{k % (90 if p == 'a' else 80)}") for k, t in enumerate(wall) for p in "ab"]
        rows.sort(key=lambda r: (r[1], r[0]) if form == "long by point" else (r[0], r[1]))
        lines = ["time,point,value", *(r[2] for r in rows)]
    result = ingest(lines)
    assert result.rejected == 0
    got = store.read("ash-lane")
    for point, turn in (("a", 90), ("b", 80)):
        assert got[point].time.tolist() == utc
        assert got[point].value.tolist() == [k % turn for k in range(len(utc))]


def test_a_file_sorted_by_wall_time_gives_the_second_of_each_pair_to_standard_time(
    ingest: Ingest, store: LocalStore
) -> None:
    wall, utc = local(*AUTUMN, timedelta(minutes=15), "Europe/Berlin")
    order = sorted(range(len(wall)), key=lambda k: (wall[k], k))
    ingest(["time,a", *(f"{wall[k]},{k % 90}" for k in order)])
    assert store.read("ash-lane")["a"].time.tolist() == utc
    assert store.read("ash-lane")["a"].value.tolist() == [k % 90 for k in range(len(utc))]


@pytest.mark.parametrize("span", [AUTUMN, SPRING], ids=["autumn", "spring"])
def test_a_file_with_the_newest_first_is_read_alike(
    ingest: Ingest, store: LocalStore, span: tuple[datetime, datetime]
) -> None:
    wall, utc = local(*span, timedelta(minutes=15), "Europe/Berlin")
    ingest(["time,a", *(f"{wall[k]},{k % 90}" for k in reversed(range(len(wall))))])
    assert store.read("ash-lane")["a"].time.tolist() == utc
    assert store.read("ash-lane")["a"].value.tolist() == [k % 90 for k in range(len(utc))]


def test_the_day_of_the_change_written_twice_keeps_its_repeated_hour_once(
    ingest: Ingest, store: LocalStore
) -> None:
    wall, utc = local(*AUTUMN, timedelta(minutes=15), "Europe/Berlin")
    first = [f"{t},{k % 90}" for k, t in enumerate(wall)]
    second = [f"{t},{k % 90 + 1}" for k, t in enumerate(wall)]
    result = ingest(["time,a", *first, *second])
    got = store.read("ash-lane")["a"]
    assert got.time.tolist() == utc
    assert got.value.tolist() == [k % 90 for k in range(len(utc))]
    assert result.duplicates == len(utc)


def test_an_hour_written_once_is_the_first_pass_also_when_its_day_is_written_twice(
    ingest: Ingest, store: LocalStore
) -> None:
    lines = [f"2025-10-26 {h:02d}:{m:02d},{h}" for h in range(24) for m in (0, 30)]
    result = ingest(["time,a", *lines, *lines])
    got = store.read("ash-lane")["a"]
    assert len(got.time) == 48
    assert result.duplicates == 48
    assert datetime.fromtimestamp(got.time[4] / 1000, UTC) == datetime(2025, 10, 26, 0, 0, tzinfo=UTC)
    assert datetime.fromtimestamp(got.time[6] / 1000, UTC) == datetime(2025, 10, 26, 2, 0, tzinfo=UTC)


def test_a_gap_in_the_first_pass_does_not_take_rows_of_the_second(ingest: Ingest, store: LocalStore) -> None:
    first = ["01:45", "02:00", "02:30", "02:45"]
    second = ["02:00", "02:15", "02:30", "02:45", "03:00"]
    ingest(["time,a", *(f"2025-10-26 {t},{k}" for k, t in enumerate([*first, *second]))])
    got = store.read("ash-lane")["a"]
    assert got.value.tolist() == list(range(9))
    assert np.diff(got.time).tolist() == [m * 60_000 for m in (15, 30, 15, 15, 15, 15, 15, 15)]


def test_the_missing_hour_is_refused_with_its_reason(ingest: Ingest, store: LocalStore) -> None:
    result = ingest(["time,a", *(f"2025-03-30 {h:02d}:30,{h}" for h in range(5))])
    assert result.reasons == {"hour skipped by the clock change": 1}
    assert result.rejects_file is not None
    assert (
        '4,the time does not exist in Europe/Berlin: the clocks went forward over it,"2025-03-30 02:30,2"'
        in result.rejects_file.read_text()
    )
    assert store.read("ash-lane")["a"].value.tolist() == [0, 1, 3, 4]


def test_a_zone_that_shifts_by_half_an_hour(ingest: Ingest, store: LocalStore) -> None:
    span = (datetime(2025, 4, 5, 9, tzinfo=UTC), datetime(2025, 4, 5, 21, tzinfo=UTC))
    wall, utc = local(*span, timedelta(minutes=10), "Australia/Lord_Howe")
    ingest(["time,a", *(f"{t},{k % 90}" for k, t in enumerate(wall))], "Australia/Lord_Howe")
    assert store.read("ash-lane")["a"].time.tolist() == utc


ZONES = [
    "Europe/London",
    "Europe/Berlin",
    "America/New_York",
    "Australia/Lord_Howe",
    "Asia/Tokyo",
    "Africa/Casablanca",
    "UTC",
]


@settings(max_examples=120, deadline=None)
@given(
    zone=st.sampled_from(ZONES),
    start=st.integers(int(datetime(1995, 1, 1, tzinfo=UTC).timestamp()), int(NOW.timestamp())),
    minutes=st.sampled_from([5, 10, 15, 30]),
    days=st.integers(1, 200),
    cut=st.integers(0, 10_000),
    backwards=st.booleans(),
)
def test_wall_times_of_any_even_series_come_back_to_utc(
    zone: str, start: int, minutes: int, days: int, cut: int, backwards: bool
) -> None:
    """Also where the series is handed over in two parts, and newest first. The wall times are the library's
    own."""
    step = minutes * 60
    n = days * 86_400 // step
    utc = (start // step * step + np.arange(n) * step) * 1000
    tz = ZoneInfo(zone)
    offsets = {}
    for quarter in np.unique(utc // 900_000).tolist():
        moment = datetime.fromtimestamp(quarter * 900, tz)
        offsets[quarter] = round(moment.utcoffset().total_seconds() * 1000)  # type: ignore[union-attr]
    wall = utc + np.array([offsets[q] for q in (utc // 900_000).tolist()], np.int64)
    if backwards:
        utc, wall = utc[::-1], wall[::-1]
    clock, track = Clock(zone), Track()
    at = 10 + cut % n
    parts = [clock.utc(wall[:at].copy(), track), clock.utc(wall[at:].copy(), track)]
    assert np.concatenate([p[0] for p in parts]).tolist() == utc.tolist()
    assert all(p[1] is None for p in parts)


@pytest.mark.skipif(not REAL.exists(), reason=f"the open data file {REAL.name} is not here")
@pytest.mark.parametrize("block", [5_000, 8 << 20], ids=["small blocks", "whole"])
def test_a_real_year_with_clock_changes_and_a_day_written_twice(
    store: LocalStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, block: int
) -> None:
    """Brudermueller et al. 2023, Applied Energy 350, 121734: unit smd_hp, of which the file holds 2021.

    1 July stands twice (96 slots more), the hour of 31 October twice as it must, 28 March lacks one.
    """
    monkeypatch.setattr(source_module, "_BLOCK", block)
    monkeypatch.setattr(ingest_module, "_FLUSH", 3_000 if block < 10_000 else 4_000_000)
    zone = "Europe/Zurich"
    site = parse_site(
        f'[site]\nid = "real-one"\nname = "Real"\ntimezone = "{zone}"\n'
        f'[csv]\ntimezone = "{zone}"\ntime_column = "Timestamp"\n'
        '[[point]]\nid = "elec"\nquantity = "heat_pump_electricity"\nas = "interval"\nunit = "kWh"\n'
        'column = "Energy_kWh"\n'
        '[[point]]\nid = "out"\nquantity = "outdoor_temperature"\nas = "gauge"\ncolumn = "daily_avgTmp"\n'
    )
    result = ingest_csv(site, REAL, store, rejects_dir=tmp_path, now=NOW)
    raw = [line.split(",") for line in REAL.read_text().splitlines()[1:]]
    assert result.rows == len(raw) == 365 * 96 + 96
    assert (result.rejected, result.replaced) == (0, 0)
    elec = store.read("real-one")["elec"]
    assert len(elec.time) == 365 * 96
    assert np.diff(elec.time).tolist() == [900_000] * (365 * 96 - 1)  # no gap, nothing lost, nothing twice
    july = [(r[0], float(r[1])) for r in raw if r[0].startswith("2021-07-01")]
    assert len(july) == 2 * 96
    kept = dict(reversed(july))  # the first of each
    assert elec.value.sum() == pytest.approx(
        sum(float(r[1]) for r in raw) - sum(v for _, v in july) + sum(kept.values()), abs=1e-6
    )
    assert elec.value.max() == max(float(r[1]) for r in raw)
    written = [(r[0], float(r[1])) for r in raw if r[0].startswith("2021-10-31")]
    hour = [v for t, v in written if t.startswith("2021-10-31 02")]  # each slot's two passes side by side
    october = [
        *(v for t, v in written if t < "2021-10-31 02"),
        *hour[0::2],
        *hour[1::2],
        *(v for t, v in written if t >= "2021-10-31 03"),
    ]
    midnight = int(datetime(2021, 10, 31, tzinfo=ZoneInfo(zone)).timestamp() * 1000)
    assert len(october) == 100
    assert elec.between(midnight, midnight + MS_PER_DAY * 25 // 24).value.tolist() == october
    march = int(datetime(2021, 3, 28, tzinfo=ZoneInfo(zone)).timestamp() * 1000)
    assert elec.between(march, march + MS_PER_DAY * 23 // 24).value.tolist() == [
        float(r[1]) for r in raw if r[0].startswith("2021-03-28")
    ]
    again = ingest_csv(site, REAL, store, rejects_dir=tmp_path, now=NOW)
    assert (again.readings, again.duplicates) == (0, result.readings + result.duplicates)
