"""A file that is written otherwise than its site file says is refused as a whole, with the key to set.

Else half of it would be stored, or all of it wrong.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.collector.csv import Ingested, ingest_csv
from fieldfare.collector.csv.written_otherwise import grouped_number
from fieldfare.collector.store.local import LocalStore

NOW = datetime(2026, 1, 10, 12, 0, tzinfo=UTC)
HEAD = '[site]\nid = "ash-lane"\nname = "Ash"\ntimezone = "Europe/Berlin"\n'
POWER = '[[point]]\nid = "el"\nquantity = "heat_pump_electricity"\nas = "power"\nunit = "W"\ncolumn = "P"\n'


def taken(tmp_path: Path, csv: str, text: str, points: str = POWER) -> tuple[Ingested, LocalStore]:
    path, store = tmp_path / "export.csv", LocalStore(tmp_path / "store")
    path.write_text(text, encoding="utf-8")
    site = parse_site(f"{HEAD}[csv]\n{csv}\n{points}")
    return ingest_csv(site, path, store, rejects_dir=tmp_path / "rejects", now=NOW), store


def refused(tmp_path: Path, csv: str, text: str, points: str = POWER) -> str:
    with pytest.raises(InputError) as told:
        taken(tmp_path, csv, text, points)
    assert LocalStore(tmp_path / "store").read("ash-lane") == {}
    assert list((tmp_path / "rejects").glob("*.csv")) == []
    assert "\n" not in str(told.value)
    return str(told.value)


def rows(cells: list[str], form: str = "%Y-%m-%dT%H:%M:%SZ", minutes: int = 1) -> str:
    start = datetime(2025, 12, 1, 9, 0)  # noqa: DTZ001 (wall time)
    lines = [f"{start + timedelta(minutes=minutes * n):{form}};{cell}" for n, cell in enumerate(cells)]
    return "\n".join(["time;P", *lines]) + "\n"


@pytest.mark.parametrize(
    ("decimal", "cells", "key"),
    [
        (".", ["950.5", "1,234.5", "2,345.6", "1,111.0"], "thousands = ','"),
        (",", ["950,5", "1.234,5", "2.345,6", "1.111,0"], "thousands = '.'"),
        (".", ["950.5", "1\u202f234.5", "2\u202f345.6", "1\u00a0111.0"], "thousands = ' '"),
        (",", ["950", "1.234", "2.345", "1.111"], "thousands = '.', or decimal = '.'"),
        (".", ["950,5", "1234,5", "2345,6", "1111,0"], "decimal = '.'"),
    ],
)
def test_numbers_of_another_form_refuse_the_file(
    tmp_path: Path, decimal: str, cells: list[str], key: str
) -> None:
    told = refused(tmp_path, f'delimiter = ";"\ndecimal = "{decimal}"', rows(cells))
    assert key in told
    assert "el: " in told
    assert "line " in told


def test_one_number_of_another_form_costs_its_row(tmp_path: Path) -> None:
    told, store = taken(tmp_path, 'delimiter = ";"', rows(["950.5"] * 300 + ["1,234.5"] * 2))
    assert (told.rejected, len(store.read("ash-lane")["el"].time)) == (2, 300)


def test_thousands_that_would_be_read_as_decimals_refuse_the_file(tmp_path: Path) -> None:
    watts = [int(w) for w in np.random.default_rng(1).integers(300, 2500, 400)]
    told = refused(tmp_path, 'delimiter = ";"', rows([f"{w:,}".replace(",", ".") for w in watts]))
    assert "set thousands = '.' and decimal = ','" in told


def test_numbers_that_are_no_groups_of_thousands() -> None:
    rng = np.random.default_rng(2)
    kilowatts = np.round(rng.uniform(0.2, 9.0, 2000), 3)
    assert grouped_number(kilowatts) is None
    assert grouped_number(np.where(rng.random(2000) < 0.4, 0.0, kilowatts + 1.0)) is None  # rests are whole
    assert grouped_number(np.round(rng.uniform(-20.0, 30.0, 2000), 1)) is None
    assert grouped_number(12_000.0 + np.arange(2000) / 1000.0) is None
    assert grouped_number(np.array([])) is None
    grouped = np.array([w / 1000.0 if w > 999 else w for w in rng.integers(200, 3000, 500).astype(float)])
    assert grouped_number(grouped) is not None


@pytest.mark.parametrize(
    ("said", "written"),
    [("%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M"), ("%m.%d.%y %H:%M", "%d.%m.%y %H:%M")],
)
@pytest.mark.parametrize("hours", [6 * 24, 25 * 24])
def test_day_and_month_the_other_way_round_refuse_the_file(
    tmp_path: Path, said: str, written: str, hours: int
) -> None:
    told = refused(
        tmp_path, f'delimiter = ";"\ntime_format = "{said}"', rows(["1"] * hours, written, minutes=60)
    )
    assert f'set time_format = "{written}"' in told


def test_days_in_order_are_taken_with_a_gap_and_a_row_of_totals(tmp_path: Path) -> None:
    form = "%d/%m/%Y %H:%M"
    early, late = rows(["1"] * 200, form, minutes=60), rows(["1"] * 60, form, minutes=1)
    late = late.replace("/12/2025", "/01/2026").partition("\n")[2]
    told, _ = taken(tmp_path, f'delimiter = ";"\ntime_format = "{form}"', f"{early}{late}Total;9\n")
    assert (told.readings, told.rejected) == (260, 1)


def test_rows_a_month_apart_are_left_as_they_are_said(tmp_path: Path) -> None:
    text = "time;P\n" + "".join(f"01/{month:02}/2025 00:00;5\n" for month in range(1, 13))
    told, store = taken(tmp_path, 'delimiter = ";"\ntime_format = "%d/%m/%Y %H:%M"', text)
    assert told.readings == 12
    assert int(np.diff(store.read("ash-lane")["el"].time).min()) >= 28 * 86_400_000


@pytest.mark.parametrize(
    ("written", "form"),
    [
        ("{:%Y/%m/%d %H:%M:%S}", "%Y/%m/%d %H:%M:%S"),
        ("{:%d %b %Y %H:%M}", "%d %b %Y %H:%M"),
        ("{:%Y%m%d%H%M%S}", "%Y%m%d%H%M%S"),
        ("{:%m/%d/%Y %I:%M %p}", "%m/%d/%Y %I:%M %p"),
    ],
)
def test_times_of_another_form_are_refused_with_that_form(tmp_path: Path, written: str, form: str) -> None:
    start = datetime(2025, 12, 13, 9, 0)  # noqa: DTZ001 (wall time)
    cells = [written.format(start + timedelta(minutes=n)) for n in range(30)]
    text = "time;P\n" + "".join(f"{c};5\n" for c in cells)
    assert f'set time_format = "{form}" in' in refused(tmp_path, 'delimiter = ";"', text)
    told, _ = taken(tmp_path, f'delimiter = ";"\ntime_format = "{form}"', text)
    assert told.readings == 30


def test_seconds_and_milliseconds_that_are_taken_for_each_other(tmp_path: Path) -> None:
    seconds = "time,P\n" + "".join(f"{1_764_500_000 + 60 * n},5\n" for n in range(5))
    assert 'set time_format = "unix"' in refused(tmp_path, 'time_format = "unix_ms"', seconds)
    thousandths = seconds.replace(",5", "000,5")
    assert 'set time_format = "unix_ms"' in refused(tmp_path, 'time_format = "unix"', thousandths)


def test_a_column_cannot_be_a_power_and_a_temperature(tmp_path: Path) -> None:
    points = POWER.replace('"P"', '"value"')
    points += '[[point]]\nid = "flow"\nquantity = "flow_temperature"\ncolumn = "value"\n'
    told = refused(tmp_path, "", "time,value\n2025-12-01T00:00:00Z,35\n", points)
    assert "'value' can't be both el (heat_pump_electricity) and flow (flow_temperature)" in told
    assert "--point" in told
