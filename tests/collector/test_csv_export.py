"""Exports are read back unchanged."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import MS_PER_DAY, Readings, Samples
from fieldfare.collector.csv import ingest_csv
from fieldfare.collector.export import export_readings
from fieldfare.collector.store.local import LocalStore

NOW = datetime(2026, 1, 10, tzinfo=UTC)
T = 1_758_000_000_000 // MS_PER_DAY * MS_PER_DAY
SITE = parse_site("""
[site]
id = "ash-lane"
name = "Ash"
timezone = "Europe/Zurich"
[csv]
time_column = "Zeit"
timezone = "Europe/Zurich"
time_format = "%d.%m.%Y %H:%M"
delimiter = ";"
decimal = ","
[[point]]
id = "flow"
quantity = "flow_temperature"
unit = "degF"
[[point]]
id = "mode"
quantity = "operating_mode"
values = { "heating" = "defrost", "3" = "off" }
[[point]]
id = "call"
quantity = "heat_call"
[[point]]
id = "fault"
quantity = "fault_code"
values = { "E1" = "E2" }
""")

TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=8)
TIMES = st.integers(T, T + 70 * MS_PER_DAY)
READINGS = st.fixed_dictionaries(
    {},
    optional={
        "flow": st.dictionaries(TIMES, st.floats(-70, 320, allow_nan=False), min_size=1, max_size=8),
        "mode": st.dictionaries(TIMES, st.sampled_from([0.0, 1.0, 2.0, 3.0, 4.0]), min_size=1, max_size=8),
        "call": st.dictionaries(TIMES, st.sampled_from([0.0, 1.0]), min_size=1, max_size=8),
        "fault": st.dictionaries(
            TIMES,
            TEXT | st.sampled_from(["-", "NaN", "none", "a,b", 'say "x"', "E1", "007"]),
            min_size=1,
            max_size=8,
        ),
    },
)


def readings(given_values: dict[str, dict[int, float | str]]) -> Readings:
    out = {}
    for point, pairs in given_values.items():
        times = sorted(pairs)
        kind = object if point == "fault" else float
        out[point] = Samples(np.array(times, np.int64), np.array([pairs[t] for t in times], dtype=kind))
    return out


@settings(max_examples=25, deadline=None)
@given(values=READINGS, ending=st.sampled_from([".csv", ".csv.gz"]))
def test_csv_round_trip(
    tmp_path_factory: pytest.TempPathFactory, values: dict[str, dict[int, float | str]], ending: str
) -> None:
    folder = tmp_path_factory.mktemp("x")
    one, two = LocalStore(folder / "one"), LocalStore(folder / "two")
    one.append("ash-lane", readings(values))
    out = folder / f"out{ending}"
    count = sum(len(v) for v in values.values())
    assert export_readings(SITE, one, out) == count
    if count:
        result = ingest_csv(SITE, out, two, rejects_dir=folder, now=NOW)
        assert (result.readings, result.rejected, result.duplicates) == (count, 0, 0)
    a, b = one.read("ash-lane"), two.read("ash-lane")
    assert a.keys() == b.keys()
    for point in a:
        assert a[point].time.tolist() == b[point].time.tolist()
        assert a[point].value.tolist() == b[point].value.tolist()
    one.close()
    two.close()


@pytest.fixture
def store(tmp_path: Path) -> LocalStore:
    made = LocalStore(tmp_path / "store")
    time = T + np.arange(20_000) * 300_000
    made.append(
        "ash-lane", {"flow": Samples(time, np.arange(20_000) % 100 / 2), "mode": Samples(time, time % 5.0)}
    )
    made.append("ash-lane", {"fault": Samples(time[:1], np.array(["E7"], dtype=object))})
    return made


def test_parquet_has_time_value_word_unit_and_quantity(store: LocalStore, tmp_path: Path) -> None:
    count = export_readings(SITE, store, tmp_path / "out.parquet")
    table = pq.read_table(tmp_path / "out.parquet")
    assert count == table.num_rows == 40_001
    assert table.column_names == ["time", "point", "value", "text", "unit", "quantity"]
    assert str(table.schema.field("time").type) == "timestamp[ms, tz=UTC]"
    rows = table.slice(0, 3).to_pylist()
    start = datetime.fromtimestamp(T / 1000, UTC)
    assert rows == [
        {"time": start, "point": "fault", "value": None, "text": "E7", "unit": "", "quantity": "fault_code"},
        {
            "time": start,
            "point": "flow",
            "value": 0.0,
            "text": None,
            "unit": "degF",
            "quantity": "flow_temperature",
        },
        {
            "time": start,
            "point": "mode",
            "value": 0.0,
            "text": "off",
            "unit": "",
            "quantity": "operating_mode",
        },
    ]
    times = table.column("time").to_numpy()
    assert (times[1:] >= times[:-1]).all()


def test_a_span_is_cut_at_its_start_and_before_its_end(store: LocalStore, tmp_path: Path) -> None:
    out = tmp_path / "out.csv"
    assert export_readings(SITE, store, out, T + 300_000, T + 900_000) == 4
    assert out.read_text().splitlines()[:2] == [
        "time,point,value,text,unit,quantity",
        f"{datetime.fromtimestamp(T / 1000 + 300, UTC):%Y-%m-%dT%H:%M:%SZ},flow,0.5,,degF,flow_temperature",
    ]


def test_a_site_without_readings_gives_a_header(store: LocalStore, tmp_path: Path) -> None:
    other = SITE.model_copy(update={"site": SITE.site.model_copy(update={"id": "elm-lane"})})
    assert export_readings(other, store, tmp_path / "out.csv") == 0
    assert (tmp_path / "out.csv").read_text() == "time,point,value,text,unit,quantity\n"
    assert export_readings(other, store, tmp_path / "out.parquet") == 0
    assert pq.read_table(tmp_path / "out.parquet").num_rows == 0


def test_another_ending_or_a_missing_folder_is_refused(store: LocalStore, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"must end in \.parquet, \.csv, \.csv\.gz"):
        export_readings(SITE, store, tmp_path / "out.xls")
    with pytest.raises(InputError, match="there is no folder"):
        export_readings(SITE, store, tmp_path / "none" / "out.csv")


def test_an_export_that_fails_leaves_the_old_file(
    store: LocalStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "out.csv"
    out.write_text("old")
    read = store.read
    calls = []

    def failing(*args: object) -> Readings:
        calls.append(args)
        if len(calls) > 1:
            raise OSError("disk gone")
        return read(*args)  # type: ignore[arg-type]

    monkeypatch.setattr(store, "read", failing)
    with pytest.raises(OSError, match="disk gone"):
        export_readings(SITE, store, out)
    assert out.read_text() == "old"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["out.csv", "store"]
