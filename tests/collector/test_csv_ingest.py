"""Import of CSV exports: stored readings, counts, and reasons for refused rows."""

from __future__ import annotations

import csv
import gzip
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Samples
from fieldfare.collector.csv import Ingested, ingest_csv
from fieldfare.collector.csv import ingest as ingest_module
from fieldfare.collector.csv import source as source_module
from fieldfare.collector.csv.seen_times import SeenTimes
from fieldfare.collector.store.local import LocalStore

NOW = datetime(2026, 1, 10, 12, 0, tzinfo=UTC)
HEAD = '[site]\nid = "ash-lane"\nname = "Ash"\ntimezone = "Europe/London"\n'
POINTS = """
[[point]]
id = "elec"
quantity = "heat_pump_electricity"
as = "power"
column = "P_el"
[[point]]
id = "flow"
quantity = "flow_temperature"
[[point]]
id = "mode"
quantity = "operating_mode"
[point.values]
"1" = "heating"
"Warmwasser" = "hot_water"
[[point]]
id = "call"
quantity = "heat_call"
[[point]]
id = "heat"
quantity = "heat_output"
as = "register"
unit = "MWh"
[[point]]
id = "fault"
quantity = "fault_code"
"""


def site(csv_lines: str = "", points: str = POINTS) -> Site:
    return parse_site(f"{HEAD}[csv]\n{csv_lines}\n{points}")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[LocalStore]:
    made = LocalStore(tmp_path / "store")
    yield made
    made.close()


Ingest = Callable[..., Ingested]


@pytest.fixture
def ingest(tmp_path: Path, store: LocalStore) -> Ingest:
    def run(text: str | bytes, plant: Site | None = None, name: str = "export.csv") -> Ingested:
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return ingest_csv(plant or site(), path, store, rejects_dir=tmp_path / "rejects", now=NOW)

    return run


def ms(text: str) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


def held(store: LocalStore) -> dict[str, list[tuple[str, object]]]:
    return {
        p: [
            (datetime.fromtimestamp(t / 1000, UTC).strftime("%Y-%m-%d %H:%M:%S"), v)
            for t, v in zip(s.time.tolist(), s.value.tolist(), strict=True)
        ]
        for p, s in store.read("ash-lane").items()
    }


def rejects(result: Ingested) -> list[tuple[int, str, str]]:
    assert result.rejects_file is not None
    with result.rejects_file.open(newline="") as file:
        rows = list(csv.reader(file))
    assert rows[0] == ["line", "reason", "row"]
    return [(int(line), reason, raw) for line, reason, raw in rows[1:]]


def test_a_wide_file_gives_a_reading_a_field_and_a_summary(ingest: Ingest, store: LocalStore) -> None:
    result = ingest("time,P_el,flow,door\n2025-12-01T00:00:00Z,1200,35.5,x\n2025-12-01T00:01:00Z,,36,\n")
    assert result.as_dict() == {
        "rows": 2,
        "readings": 3,
        "replaced": 0,
        "duplicates": 0,
        "rejected": {"count": 0, "reasons": {}, "examples": {}, "file": None},
        "from": "2025-12-01T00:00:00Z",
        "to": "2025-12-01T00:01:00Z",
        "form": "wide",
        "ignored_columns": ["door"],
        "missing_points": ["mode", "call", "heat", "fault"],
        "rows_as_utc": 0,
    }
    assert held(store) == {
        "elec": [("2025-12-01 00:00:00", 1200.0)],
        "flow": [("2025-12-01 00:00:00", 35.5), ("2025-12-01 00:01:00", 36.0)],
    }


def test_the_same_file_again_stores_nothing_and_says_so(ingest: Ingest) -> None:
    text = "time,flow\n2025-12-01T00:00:00Z,35\n2025-12-01T00:01:00Z,36\n"
    ingest(text)
    again = ingest(text)
    assert (again.readings, again.duplicates, again.rejected) == (0, 2, 0)
    assert again.as_dict()["from"] == "2025-12-01T00:00:00Z"


def test_a_corrected_file_replaces_values(ingest: Ingest, store: LocalStore) -> None:
    ingest("time,flow\n2025-12-01T00:00:00Z,35\n2025-12-01T00:01:00Z,36\n")
    result = ingest("time,flow\n2025-12-01T00:00:00Z,35\n2025-12-01T00:01:00Z,38\n")
    assert (result.readings, result.replaced, result.duplicates) == (1, 1, 1)
    assert held(store)["flow"][1] == ("2025-12-01 00:01:00", 38.0)


def test_a_long_file_with_units_by_row(ingest: Ingest, store: LocalStore) -> None:
    result = ingest(
        "time,point,value,unit\n"
        "2025-12-01T00:00:00Z,elec,1.2,kW\n"
        "2025-12-01T00:01:00Z,elec,1300,W\n"
        "2025-12-01T00:00:00Z,flow,95,degF\n"
        "2025-12-01T00:00:00Z,heat,2500,kWh\n"
        "2025-12-01T00:01:00Z,heat,2.6,\n"
        "2025-12-01T00:00:00Z,mode,heating,\n"
        "2025-12-01T00:00:00Z,P_el,5,furlong\n"
        "2025-12-01T00:02:00Z,flow,30,bar\n"
        "2025-12-01T00:02:00Z,flwo,30,degC\n"
    )
    got = held(store)
    assert got["elec"] == [("2025-12-01 00:00:00", 1200.0), ("2025-12-01 00:01:00", 1300.0)]
    assert got["flow"][0][1] == pytest.approx(35.0)
    assert got["heat"] == [("2025-12-01 00:00:00", 2.5), ("2025-12-01 00:01:00", 2.6)]
    assert got["mode"] == [("2025-12-01 00:00:00", 1.0)]
    assert (result.rows, result.readings, result.rejected, result.form) == (9, 6, 3, "long")
    assert result.reasons == {"wrong unit": 2, "unknown point": 1}
    assert rejects(result) == [
        (
            8,
            "elec: 'furlong' does not measure what 'W' does; elec is in W",
            "2025-12-01T00:00:00Z,P_el,5,furlong",
        ),
        (
            9,
            "flow: 'bar' does not measure what 'degC' does; flow is in degC",
            "2025-12-01T00:02:00Z,flow,30,bar",
        ),
        (10, "ash-lane has no point 'flwo'; did you mean flow?", "2025-12-01T00:02:00Z,flwo,30,degC"),
    ]


@pytest.mark.parametrize("value", ["", "NaN", "null", "-", "n/a", " ", " NaN "])
def test_words_for_nothing_are_no_reading_and_no_reject(
    ingest: Ingest, store: LocalStore, value: str
) -> None:
    result = ingest(
        f"time,P_el,mode,fault\n2025-12-01T00:00:00Z,{value},{value},{value}\n2025-12-01T00:01:00Z,5,off,E1\n"
    )
    assert result.rejected == 0
    assert {p: len(v) for p, v in held(store).items()} == {"elec": 1, "mode": 1, "fault": 1}


def test_bad_fields_are_listed_with_line_and_reason_and_the_rest_of_their_rows_is_kept(
    ingest: Ingest, store: LocalStore
) -> None:
    result = ingest(
        "time,P_el,flow,mode\n"
        "2025-12-01T00:00:00Z,1200,400,off\n"
        "\n"
        "2025-12-01T00:01:00Z,12x,35,dancing\n"
        "2025-12-01T00:02:00Z,inf,36,1.0\n"
        ",1,1,off\n"
        "yesterday,1,1,off\n"
        "2025-12-01T00:05:00Z,1,1\n"
        "2027-01-01T00:00:00Z,1,1,off\n"
        "1970-01-01T00:00:00Z,1,1,off\n"
        ",,,\n"
        "2025-12-01T00:06:00Z,7,,off,\n"
    )
    got = held(store)
    assert got["elec"] == [("2025-12-01 00:00:00", 1200.0), ("2025-12-01 00:06:00", 7.0)]
    assert got["flow"] == [("2025-12-01 00:01:00", 35.0), ("2025-12-01 00:02:00", 36.0)]
    assert [v for _, v in got["mode"]] == [0.0, 1.0, 0.0]
    assert result.rows == 9
    assert [(line, reason) for line, reason, _ in rejects(result)] == [
        (2, "flow: flow temperature of 400 degC is beyond what physics allows (-60 to 165 degC)"),
        (
            4,
            (
                "elec: unknown unit 'x'; elec is in W; mode: 'dancing' is not a state of mode; known are "
                "1, Warmwasser, off, heating, hot_water, defrost, cooling (add it to the point's values)"
            ),
        ),
        (5, "elec: heat pump electricity of inf is not a finite number"),
        (6, "no time in the column 'time'"),
        (7, "the time 'yesterday' is not an ISO 8601 time (2025-01-31T23:59)"),
        (8, "3 fields where the header has 4"),
        (9, "the time 2027-01-01T00:00:00Z lies in the future (it is 2026-01-10T12:00:00Z)"),
        (10, "the time 1970-01-01T00:00:00Z is before 1990: a clock that was not set?"),
    ]
    assert rejects(result)[1][2] == "2025-12-01T00:01:00Z,12x,35,dancing"
    assert result.rejected == 8
    assert result.reasons == {
        "beyond physics": 1,
        "wrong unit": 1,
        "unknown state": 1,
        "not a finite number": 1,
        "no time": 1,
        "unreadable time": 1,
        "wrong number of fields": 1,
        "in the future": 1,
        "before 1990": 1,
    }


def test_a_clock_ten_minutes_fast_is_let_in(ingest: Ingest) -> None:
    result = ingest("time,flow\n2026-01-10T12:10:00Z,35\n2026-01-10T12:10:01Z,35\n")
    assert (result.readings, result.reasons) == (1, {"in the future": 1})


def test_values_are_kept_in_the_points_unit_and_judged_in_the_canonical_one(
    ingest: Ingest, store: LocalStore
) -> None:
    fahrenheit = POINTS.replace(
        'quantity = "flow_temperature"', 'quantity = "flow_temperature"\nunit = "degF"'
    )
    result = ingest(
        "time,flow\n2025-12-01T00:00:00Z,165\n2025-12-01T00:01:00Z,400\n", site(points=fahrenheit)
    )
    assert held(store)["flow"] == [("2025-12-01 00:00:00", 165.0)]
    assert "flow temperature of 204.4444444 degC (400 degF) is beyond" in rejects(result)[0][1]


@pytest.mark.parametrize(
    ("word", "code"),
    [("off", 0), ("Warmwasser", 2), (" hot_water ", 2), ("1", 1), ("1.0", 1), ("Heating", 1), ("defrost", 3)],
)
def test_words_of_a_state(ingest: Ingest, store: LocalStore, word: str, code: int) -> None:
    ingest(f"time,mode\n2025-12-01T00:00:00Z,{word}\n")
    assert held(store)["mode"] == [("2025-12-01 00:00:00", float(code))]


@pytest.mark.parametrize(
    ("word", "code"),
    [("0", 0), ("1", 1), ("1.0", 1), ("on", 1), ("OFF", 0), ("true", 1), ("False", 0), ('"1"', 1)],
)
def test_words_of_a_switch(ingest: Ingest, store: LocalStore, word: str, code: int) -> None:
    ingest(f"time,call\n2025-12-01T00:00:00Z,{word}\n")
    assert held(store)["call"] == [("2025-12-01 00:00:00", float(code))]


def test_a_number_without_a_meaning_is_no_mode(ingest: Ingest) -> None:
    result = ingest("time,mode\n2025-12-01T00:00:00Z,3\n2025-12-01T00:01:00Z,off\n")
    assert result.reasons == {"unknown state": 1}


def test_fault_codes_are_kept_as_text(ingest: Ingest, store: LocalStore) -> None:
    ingest(
        'time,fault\n2025-12-01T00:00:00Z,007\n2025-12-01T00:01:00Z,"E4, water"\n2025-12-01T00:02:00Z,1.0\n'
    )
    assert [v for _, v in held(store)["fault"]] == ["007", "E4, water", "1.0"]


def test_one_column_may_hold_two_points(ingest: Ingest, store: LocalStore) -> None:
    points = """
[[point]]
id = "mode"
quantity = "operating_mode"
column = "S"
values = { "1" = "heating", "2" = "defrost" }
[[point]]
id = "defrost"
quantity = "defrost_active"
column = "S"
values = { "1" = "0", "2" = "1" }
"""
    ingest("time,S\n2025-12-01T00:00:00Z,1\n2025-12-01T00:01:00Z,2\n", site(points=points))
    got = held(store)
    assert [v for _, v in got["mode"]] == [1.0, 3.0]
    assert [v for _, v in got["defrost"]] == [0.0, 1.0]


FORMS = {
    "gzip": lambda t: gzip.compress(t),
    "bom": lambda t: b"\xef\xbb\xbf" + t,
    "crlf": lambda t: t.replace(b"\n", b"\r\n"),
    "no newline at the end": lambda t: t.rstrip(b"\n"),
    "quoted": lambda t: b"\n".join(
        b",".join(b'"' + f + b'"' for f in line.split(b",")) for line in t.splitlines()
    ),
    "spaces": lambda t: t.replace(b",", b" , "),
    "blank lines": lambda t: b"\n\n" + t.replace(b"\n", b"\n\n"),
    "a delimiter at each line's end": lambda t: t.replace(b"\n", b",\n"),
    "a delimiter at each row's end only": lambda t: t.replace(b"\n", b",\n").replace(b",\n", b"\n", 1),
}


@pytest.mark.parametrize("form", FORMS)
def test_ways_of_writing_the_same_file(ingest: Ingest, store: LocalStore, form: str) -> None:
    text = b"time,P_el,mode\n2025-12-01T00:00:00Z,1200.5,off\n2025-12-01T00:01:00Z,-3,Warmwasser\n"
    result = ingest(FORMS[form](text))
    assert (result.rows, result.readings, result.rejected) == (2, 4, 0)
    assert held(store) == {
        "elec": [("2025-12-01 00:00:00", 1200.5), ("2025-12-01 00:01:00", -3.0)],
        "mode": [("2025-12-01 00:00:00", 0.0), ("2025-12-01 00:01:00", 2.0)],
    }


@pytest.mark.parametrize("delimiter", [";", "\t", "|"])
def test_any_delimiter_with_decimal_commas(ingest: Ingest, store: LocalStore, delimiter: str) -> None:
    toml = '"\\t"' if delimiter == "\t" else f'"{delimiter}"'
    plant = site(f'delimiter = {toml}\ndecimal = ","')
    rows = ["time,P_el", "2025-12-01T00:00:00Z,+1200;5", "2025-12-01T00:01:00Z,12.5"]
    text = "\n".join(r.replace(",", delimiter).replace(";5", ",5") for r in rows)
    result = ingest(text + "\n", plant)
    assert held(store)["elec"] == [("2025-12-01 00:00:00", 1200.5)]
    assert "'12.5' is not a number (the site's [csv] has decimal = ',')" in rejects(result)[0][1]


TIMES = [
    ("iso", "2025-12-01T00:00:00+01:00", "2025-11-30 23:00:00"),
    ("iso", "2025-12-01 00:00:00+0100", "2025-11-30 23:00:00"),
    ("iso", "2025-12-01 00:00", "2025-11-30 23:00:00"),
    ("iso", "2025-12-01", "2025-11-30 23:00:00"),
    ("iso", "20251201T0000", "2025-11-30 23:00:00"),
    ("iso", "2025-11-30T24:00", "2025-11-30 23:00:00"),
    ("iso", "2025-12-01T00:00:00.500Z", "2025-12-01 00:00:00"),
    ("%d.%m.%Y %H:%M", "01.12.2025 00:00", "2025-11-30 23:00:00"),
    ("%d.%m.%Y %H:%M", "1.12.2025 0:00", "2025-11-30 23:00:00"),
    ("%d.%m.%Y %H:%M", "30.11.2025 24:00", "2025-11-30 23:00:00"),
    ("%m/%d/%Y %I:%M %p", "12/01/2025 01:00 PM", "2025-12-01 12:00:00"),
    ("%d %b %Y %H:%M:%S", "01 Dec 2025 00:00:07", "2025-11-30 23:00:07"),
    ("%Y-%m-%d %H:%M:%S%z", "2025-12-01 00:00:00+0200", "2025-11-30 22:00:00"),
    ("%Y-%m-%dT%H:%M:%SZ", "2025-12-01T00:00:00Z", "2025-12-01 00:00:00"),
    ("unix", "1764547200", "2025-12-01 00:00:00"),
    ("unix", "1764547200.9", "2025-12-01 00:00:00"),
    ("unix_ms", "1764547200000", "2025-12-01 00:00:00"),
]


@pytest.mark.parametrize(("form", "written", "utc"), TIMES)
def test_forms_of_time(ingest: Ingest, store: LocalStore, form: str, written: str, utc: str) -> None:
    plant = site(f'timezone = "Europe/Berlin"\ntime_format = "{form}"')
    result = ingest(f"time,flow\n{written},35\n", plant)
    assert result.rejected == 0
    assert held(store)["flow"] == [(utc, 35.0)]


def test_times_with_and_without_offset_may_be_mixed(ingest: Ingest, store: LocalStore) -> None:
    plant = site('timezone = "Europe/Berlin"')
    ingest("time,flow\n2025-12-01T00:00:00,1\n2025-12-01T00:00:00Z,2\n2025-12-01T00:00:00-01:00,3\n", plant)
    assert held(store)["flow"] == [
        ("2025-11-30 23:00:00", 1.0),
        ("2025-12-01 00:00:00", 2.0),
        ("2025-12-01 01:00:00", 3.0),
    ]


@pytest.mark.parametrize(
    ("form", "good", "bad"),
    [
        ("%d.%m.%Y %H:%M", "28.02.2025 00:00", "31.02.2025 00:00"),
        ("%d.%m.%Y %H:%M", "28.02.2025 00:00", "28.02.2025 24:01"),
        ("iso", "2025-02-28 00:00", "2025-02-30 00:00"),
        ("iso", "2025-02-28 00:00", "28.02.2025 00:00"),
        ("iso", "2025-02-28 00:00", "2025"),
        ("unix", "1764547200", "2025-02-28 00:00"),
    ],
)
def test_days_and_times_that_do_not_exist_are_refused(
    ingest: Ingest, store: LocalStore, form: str, good: str, bad: str
) -> None:
    result = ingest(f"time,flow\n{good},35\n{bad},36\n", site(f'time_format = "{form}"'))
    assert len(held(store)["flow"]) == 1
    assert result.reasons == {"unreadable time": 1}


def test_the_export_of_the_stamp_is_kept_as_it_came(ingest: Ingest, store: LocalStore) -> None:
    points = (
        '[[point]]\nid = "e"\nquantity = "heat_pump_electricity"\nas = "interval"\nunit = "Wh"\nstamp ='
        ' "end"\n'
    )
    ingest("time,e\n2025-12-01T00:15:00Z,300\n", site(points=points))
    assert held(store)["e"] == [("2025-12-01 00:15:00", 300.0)]


WHOLE = {
    "": "is empty; a header line and rows are wanted",
    "\n \n": "is empty; a header line and rows are wanted",
    "time,P_el\n": "has a header but no rows",
    "time,P_el\n\n  \n": "has a header but no rows",
    "Date,P_el\n2025-12-01,1\n": (
        "has no time column 'time'; its columns are Date, P_el; "
        'set time_column = "Date" in the site\'s [csv]'
    ),
    "time,p_EL\n2025-12-01,1\n": (
        "has no column of ash-lane: 'P_el' is wanted and 'p_EL' is there; names must agree in capitals too"
    ),
    "time,T1,T2\n2025-12-01,1,2\n": (
        "has no column of ash-lane; it looks like the file of another site: "
        "wanted are P_el, flow, mode, call, heat, fault, there are T1, T2"
    ),
    "time;P_el;flow\n2025-12-01;1;2\n": (
        "its header seems to be separated by a semicolon, not by a comma; "
        'set delimiter = ";" in the site\'s [csv]'
    ),
    "time,point,value\n2025-12-01,T1,1\n2025-12-01,T2,x\n": (
        "names no point of ash-lane; it looks like the file of "
        "another site: wanted are elec, flow, mode, call, heat, fault"
    ),
    "time,P_el\r2025-12-01,1\r": "its lines end in CR alone; save it with LF or CRLF",
    "time,P_el,P_el\n2025-12-01,1,2\n": "the column 'P_el' occurs 2 times; each may occur once",
    "time,P_el\n01/12/2025,1\n02/12/2025,2\n": (
        "its times can't be read; '01/12/2025' is not an ISO 8601 time "
        '(2025-01-31T23:59); set time_format = "%d/%m/%Y" in the site\'s [csv]'
    ),
    "time,P_el\n1764547200,1\n": (
        "its times can't be read; '1764547200' is not an ISO 8601 time (2025-01-31T23:59); "
        'set time_format = "unix" in the site\'s [csv]'
    ),
    "time,P_el\n1764547200000,1\n" + "1764547200001,1\n" * 9000: (
        "its times can't be read; '1764547200000' is not an "
        'ISO 8601 time (2025-01-31T23:59); set time_format = "unix_ms" in the site\'s [csv]'
    ),
    b"time,P_\xe9l\n2025-12-01,1\n": (
        "line 1 is not UTF-8 text (byte 0xe9 at position 8); save the file as UTF-8, or set encoding in "
        "the site's [csv]"
    ),
    "Date,Time,P_el\n2025-12-01,00:00,1\n": (
        "has no time column 'time'; its columns are Date, Time, P_el; "
        'set date_column = "Date" and time_column = "Time" in the site\'s [csv]'
    ),
    b"PK\x03\x04rest": "is a spreadsheet or an archive, not a CSV file; export it as that",
    gzip.compress(b"time,P_el\n" + b"2025-12-01T00:00:00Z,1\n" * 999)[
        :-9
    ]: "the gzip file is cut off or damaged; fetch it again",
}


@pytest.mark.parametrize("text", WHOLE, ids=[v[:40] for v in WHOLE.values()])
def test_a_file_that_is_wrong_as_a_whole_is_refused_in_one_line(
    ingest: Ingest, store: LocalStore, tmp_path: Path, text: str | bytes
) -> None:
    with pytest.raises(InputError) as refused:
        ingest(text)
    assert str(refused.value) == f"{tmp_path / 'export.csv'}: {WHOLE[text]}"
    assert store.points("ash-lane") == {}
    assert list(tmp_path.glob("rejects/*")) == []


def test_a_folder_or_nothing_at_all_is_refused(store: LocalStore, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is a folder; name the CSV file in it"):
        ingest_csv(site(), tmp_path, store, rejects_dir=tmp_path, now=NOW)
    with pytest.raises(InputError, match="there is no such file"):
        ingest_csv(site(), tmp_path / "none.csv", store, rejects_dir=tmp_path, now=NOW)


def test_rejects_of_two_readings_within_a_second_have_a_file_each(ingest: Ingest) -> None:
    text = "time,flow\n2025-12-01T00:00:00Z,x\n2025-12-01T00:01:00Z,1\n"
    first, second = ingest(text), ingest(text)
    assert first.rejects_file != second.rejects_file
    assert rejects(first) == rejects(second)


@pytest.fixture
def small_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(source_module, "_BLOCK", 3000)
    monkeypatch.setattr(ingest_module, "_SMALLEST", 300)
    monkeypatch.setattr(ingest_module, "_FLUSH", 100)


def wide_rows(n: int) -> list[str]:
    return [
        f"{datetime.fromtimestamp(1764547200 + 60 * k, UTC):%Y-%m-%dT%H:%M:%SZ},{k},{k % 90 / 2},"
        f"{'off' if k % 7 else '1'}"
        for k in range(n)
    ]


@pytest.mark.usefixtures("small_blocks")
def test_lines_keep_their_numbers_over_blocks(ingest: Ingest, store: LocalStore) -> None:
    rows = wide_rows(1000)
    for k in range(0, 1000, 37):
        rows[k] = rows[k].replace(",", ",oops", 1)
    rows[500] += ",1,2"
    rows.insert(600, "")
    result = ingest("time,P_el,flow,mode\n" + "\n".join(rows) + "\n")
    listed = rejects(result)
    lines = ("time,P_el,flow,mode\n" + "\n".join(rows) + "\n").splitlines()
    assert [lines[line - 1] for line, _, _ in listed] == [raw for _, _, raw in listed]
    assert len(listed) == result.rejected == 28 + 1
    assert result.rows == 1000
    assert len(held(store)["elec"]) == 1000 - 28 - 1
    assert len(held(store)["flow"]) == 999


@pytest.mark.usefixtures("small_blocks")
def test_quoted_line_ends_do_not_break_rows(ingest: Ingest, store: LocalStore) -> None:
    rows = [f'{r},"note {k}\nsecond, line"' for k, r in enumerate(wide_rows(300))]
    rows[111] = rows[111].replace(",", ",x", 1)
    result = ingest("time,P_el,flow,mode,note\n" + "\n".join(rows) + "\n")
    assert (result.rows, result.rejected) == (300, 1)
    assert rejects(result)[0][0] == 2 + 2 * 111
    assert rejects(result)[0][2] == rows[111]
    assert len(held(store)["flow"]) == 300


def test_quoted_line_ends_inside_a_large_block(ingest: Ingest, store: LocalStore) -> None:
    rows = [f'{r},"note {k}\nsecond, line {"-" * 300}"' for k, r in enumerate(wide_rows(9000))]  # 3 MB
    result = ingest("time,P_el,flow,mode,note\n" + "\n".join(rows) + "\n")
    assert (result.rows, result.rejected) == (9000, 0)
    assert [v for _, v in held(store)["elec"]] == list(range(9000))


@pytest.mark.usefixtures("small_blocks")
def test_of_a_time_that_stands_twice_the_first_counts_however_far_apart(
    ingest: Ingest, store: LocalStore
) -> None:
    rows = wide_rows(600)
    again = [r.replace(",", ",9", 1) for r in wide_rows(600)[100:200]]
    result = ingest("time,P_el,flow,mode\n" + "\n".join([*rows, *again]) + "\n")
    assert (result.rows, result.readings, result.replaced, result.duplicates) == (700, 1800, 0, 300)
    assert [v for _, v in held(store)["elec"]] == list(range(600))


@pytest.mark.usefixtures("small_blocks")
def test_an_empty_field_the_first_time_leaves_room_for_the_second(ingest: Ingest, store: LocalStore) -> None:
    rows = wide_rows(600)
    empty = [r.split(",")[0] + ",,1,off" for r in rows[:50]]
    ingest("time,P_el,flow,mode\n" + "\n".join([*empty, *rows]) + "\n")
    assert [v for _, v in held(store)["elec"]] == list(range(600))
    assert [v for _, v in held(store)["flow"]][:50] == [1.0] * 50


def test_progress_goes_from_part_to_whole(
    tmp_path: Path, store: LocalStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(source_module, "_BLOCK", 4000)
    path = tmp_path / "a.csv"
    path.write_text("time,P_el,flow,mode\n" + "\n".join(wide_rows(1000)) + "\n")
    seen: list[tuple[int, int]] = []
    ingest_csv(site(), path, store, rejects_dir=tmp_path, now=NOW, progress=lambda d, t: seen.append((d, t)))
    size = path.stat().st_size
    assert {t for _, t in seen} == {size}
    assert [d for d, _ in seen] == sorted(d for d, _ in seen)
    assert len(seen) > 5
    assert seen[-1][0] == size


@pytest.mark.usefixtures("small_blocks")
def test_stopped_half_way_what_is_stored_is_whole_and_the_rest_can_follow(
    tmp_path: Path, store: LocalStore
) -> None:
    path = tmp_path / "a.csv"
    path.write_text("time,P_el,flow,mode\n" + "\n".join(wide_rows(1000)) + "\n")

    def stop(done: int, total: int) -> None:
        if done > total / 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        ingest_csv(site(), path, store, rejects_dir=tmp_path, now=NOW, progress=stop)
    half = store.read("ash-lane")
    n = len(half["elec"].time)
    assert 300 < n < 1000
    assert half["elec"].value.tolist() == list(range(n))
    result = ingest_csv(site(), path, store, rejects_dir=tmp_path, now=NOW)
    assert (result.readings, result.duplicates) == (3000 - 3 * n, 3 * n)


def test_long_rows_of_one_point_stay_in_the_order_of_the_file(ingest: Ingest, store: LocalStore) -> None:
    rng = np.random.default_rng(3)
    lines = []
    first: dict[tuple[str, int], float] = {}
    for k in range(3000):
        point, minute, value = ("elec", "flow")[rng.integers(2)], int(rng.integers(200)), float(k % 150)
        first.setdefault((point, minute), value)
        lines.append(f"2025-12-01T{minute // 60:02d}:{minute % 60:02d}:00Z,{point},{value}")
    result = ingest("time,point,value\n" + "\n".join(lines) + "\n")
    got = store.read("ash-lane")
    start = ms("2025-12-01")
    assert {
        (p, (t - start) // 60_000): v
        for p, s in got.items()
        for t, v in zip(s.time.tolist(), s.value.tolist(), strict=True)
    } == first
    assert result.readings + result.duplicates == 3000


def test_a_file_of_torn_rows_only_is_all_rejects(ingest: Ingest) -> None:
    result = ingest("time,flow\n2025-12-01T00:00:00Z,21,5\n2025-12-01T00:01:00Z\n")
    assert (result.rows, result.readings, result.reasons) == (2, 0, {"wrong number of fields": 2})
    assert result.as_dict()["from"] is None


@given(
    parts=st.lists(
        st.lists(st.integers(0, 40) | st.integers(0, 8).map(lambda k: 60 * k), min_size=1, max_size=30),
        min_size=1,
        max_size=4,
    ),
    asked=st.lists(st.integers(0, 500), min_size=1, max_size=30),
)
def test_times_given_before_are_known_again(parts: list[list[int]], asked: list[int]) -> None:
    seen = SeenTimes()
    for part in parts:
        seen.add("a", np.array(part, np.int64))
    known = {t for part in parts for t in part}
    samples = Samples(np.array(asked, np.int64), np.arange(len(asked), dtype=float))
    fresh = seen.unseen("a", samples)
    assert list(zip(fresh.time.tolist(), fresh.value.tolist(), strict=True)) == [
        (t, float(k)) for k, t in enumerate(asked) if t not in known
    ]
    assert seen.unseen("b", samples) is samples
