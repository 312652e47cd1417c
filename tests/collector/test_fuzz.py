"""Generated input, valid and invalid: readings, refusals with reasons, or an InputError."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.readings import Samples
from fieldfare.collector.csv.cells import harmless, original
from fieldfare.collector.csv.column_mapping import propose
from fieldfare.collector.csv.ingest import ingest_csv
from fieldfare.collector.export import export_readings
from fieldfare.collector.mqtt.decode import Message, MessageDecoder
from fieldfare.collector.mqtt.topics import Routes
from fieldfare.collector.store.local import LocalStore
from fieldfare.collector.transfer import import_parquet
from tests.services import make_site

NOW = datetime(2026, 1, 12, tzinfo=UTC)
NOW_MS = int(NOW.timestamp() * 1000)
SITE = make_site(
    points={
        "flow": 'quantity = "flow_temperature"',
        "mode": 'quantity = "operating_mode"',
        "fault": 'quantity = "fault_code"',
        "own": 'quantity = "return_temperature"\ntopic = "gw/1"\npointer = "/a/0"',
    }
)
FUZZ = settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)

NUMBERS = st.sampled_from(
    [
        "0",
        "-0.0",
        "41.5",
        "1e308",
        "-1e308",
        "1e400",
        "9" * 400,
        str(2**63),
        str(2**64),
        str(-(2**64)),
        "1767222000",
        "1e-400",
        "NaN",
        "Infinity",
        "01",
        "+1",
        "0x10",
        "1e",
        "--1",
        "true",
        "null",
    ]
)
TEXTS = st.sampled_from(
    [
        '"flow"',
        '"mode"',
        '"fault"',
        '"x/y"',
        '"Cel"',
        '"9**9**9*W"',
        '"heating"',
        '"\\u0000"',
        '"\\ud800"',
        '""',
        f'"{"x" * 9000}"',
    ]
)
JSON = st.recursive(
    NUMBERS | TEXTS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda parts: f"[{','.join(parts)}]"),
        st.lists(st.tuples(TEXTS, inner), max_size=3).map(
            lambda pairs: "{" + ",".join(f"{k}:{v}" for k, v in pairs) + "}"
        ),
    ),
    max_leaves=6,
)
LABELS = st.sampled_from(
    ["bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut", "x_"]
)
RECORD = st.lists(st.tuples(LABELS, JSON), min_size=1, max_size=6).map(
    lambda pairs: "{" + ",".join(f'"{k}":{v}' for k, v in pairs) + "}"
)
PACK = st.lists(RECORD, max_size=5).map(lambda records: f"[{','.join(records)}]")
DEEP = st.sampled_from(
    ["[" * 3000 + "]" * 3000, '{"a":' * 3000 + "1" + "}" * 3000, '[{"n":"flow","v":' + "[" * 3000]
)
TOPICS = st.sampled_from(
    [
        "fieldfare/alder-row/readings",
        "fieldfare/alder-row/readings/flow",
        "fieldfare/alder-row/readings/mode",
        "fieldfare/alder-row/readings/fault",
        "fieldfare/alder-row/status",
        "gw/1",
        "fieldfare/x/readings",
        "a",
    ]
)


@FUZZ
@given(
    st.lists(
        st.tuples(TOPICS, st.one_of(PACK, JSON, DEEP).map(str.encode) | st.binary(max_size=40)), max_size=4
    )
)
def test_messages_are_read_or_refused_with_a_reason(sent: list[tuple[str, bytes]]) -> None:
    messages = [Message(topic, payload, NOW_MS + n) for n, (topic, payload) in enumerate(sent)]
    found = MessageDecoder(Routes([SITE])).decode(messages, NOW_MS)
    assert all(r.reason for r in found.refused)
    for samples in found.readings.get("alder-row", {}).values():
        assert samples.value.dtype == object or np.isfinite(samples.value).all()


@FUZZ
@given(payload=st.one_of(PACK, DEEP))
def test_a_pack_by_http_is_stored_or_refused(payload: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    from fieldfare.api.running.intake import take_senml

    class Upload:
        store = LocalStore(tmp_path_factory.mktemp("x"))

    try:
        pack = json.loads(payload)
    except (ValueError, RecursionError):
        return
    with suppress(InputError):
        take_senml(Upload, SITE, pack)  # type: ignore[arg-type]
    Upload.store.close()


@pytest.mark.parametrize("number", [2**63, 2**64, 10**400, -(10**30)])
def test_a_number_beyond_64_bits_is_refused_with_its_record(number: int, tmp_path: Path) -> None:
    from fieldfare.api.running.intake import take_senml

    class Upload:
        store = LocalStore(tmp_path)

    pack: list[dict[str, Any]] = [{"n": "flow", "v": 38.5}, {"n": "flow", "v": number}]
    with pytest.raises(InputError) as refused:
        take_senml(Upload, SITE, pack)  # type: ignore[arg-type]
    assert "64 bits" in str(refused.value) or "physics" in str(refused.value)
    Upload.store.close()


CELLS = st.one_of(
    st.sampled_from(
        [
            "2026-01-05T00:00:00Z",
            "1767222000",
            "41.5",
            "",
            '"',
            '""',
            '"a',
            'a"',
            '5" pipe',
            '"a\nb"',
            "n.a.x",
            "=1+1",
            "-5",
            "\0",
            "é",
            "heating",
            "flow",
            "9" * 400,
            "W",
            "9**9**9*W",
            "x" * 30_000,
            "\r",
            "nan",
            "inf",
        ]
    ),
    st.text(max_size=6),
)
ROWS = st.lists(st.lists(CELLS, max_size=6).map(",".join), max_size=12).map("\n".join)
HEADERS = st.sampled_from(
    [
        "time,flow,mode,fault",
        "time,point,value",
        "time,point,value,unit",
        "time,point,value,text,unit,quantity",
        "time,flow,note",
    ]
)


def read(folder: Path, data: bytes, name: str = "export.csv") -> Any:
    path, store = folder / name, LocalStore(folder / "store")
    path.write_bytes(data)
    try:
        return ingest_csv(SITE, path, store, rejects_dir=folder / "rejects", now=NOW)
    finally:
        store.close()


@settings(FUZZ, max_examples=80)
@given(HEADERS, ROWS, st.binary(max_size=12))
def test_csv_is_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, header: str, rows: str, junk: bytes
) -> None:
    folder = tmp_path_factory.mktemp("x")
    with suppress(InputError):
        read(folder, f"{header}\n{rows}\n".encode("utf-8", "surrogatepass") + junk)


def stamp(n: int) -> str:
    return f"2026-01-{5 + n // 1440:02d}T{n // 60 % 24:02d}:{n % 60:02d}:00Z"


@pytest.mark.timeout(30)
@pytest.mark.parametrize("count", [1000, 5000])
def test_an_inch_mark_and_a_bad_cell_cost_their_row(tmp_path: Path, count: int) -> None:
    rows = [f"{stamp(n)},41.5,ok" for n in range(count)]
    rows[100] = f'{stamp(100)},41.5,5" pipe'
    rows[200] = f"{stamp(200)},n.a.x,ok"
    done = read(tmp_path, ("time,flow,note\n" + "\n".join(rows)).encode())
    assert (done.rows, done.readings, done.rejected) == (count, count - 1, 1)


@pytest.mark.timeout(30)
def test_a_refused_line_of_many_bytes_costs_itself(tmp_path: Path) -> None:
    rows = [f"{stamp(n)},41.5,ok" for n in range(300)]
    rows[100] = f"{stamp(100)},x,{'long ' * 20_000}"
    done = read(tmp_path, ("time,flow,note\n" + "\n".join(rows)).encode())
    assert (done.rows, done.readings, done.rejected) == (300, 299, 1)


@pytest.mark.parametrize("name", ["a" * 200_000, '"' + "a" * 200_000 + '"'], ids=["plain", "quoted"])
def test_a_column_name_without_end_is_refused_in_one_line(tmp_path: Path, name: str) -> None:
    text = f"time,flow,{name}\n{stamp(0)},41.5,ok\n"
    with pytest.raises(InputError, match="can't be read as CSV"):
        read(tmp_path, text.encode())
    assert "can't be read as CSV" in propose(text).problem


@pytest.mark.timeout(30)
@pytest.mark.parametrize("at", [[100], [100, 149], [10, 11, 12], list(range(0, 1000, 7))])
def test_an_open_quote_costs_its_own_row(tmp_path: Path, at: list[int]) -> None:
    rows = [f"{stamp(n)},41.5,ok" for n in range(1000)]
    for n in at:
        rows[n] = f'{stamp(n)},41.5,"open'
    done = read(tmp_path, ("time,flow,note\n" + "\n".join(rows)).encode())
    assert (done.rows, done.readings, done.rejected) == (1000, 1000 - len(at), len(at))
    assert done.reasons == {"unreadable row": len(at)}


@pytest.mark.parametrize(
    ("bad", "kind"), [(b"\xff\xfe", "not UTF-8"), (b"caf\xe9", "not UTF-8"), (b"a\0b", "null byte")]
)
def test_what_is_no_text_is_refused_row_by_row(tmp_path: Path, bad: bytes, kind: str) -> None:
    rows = [f"{stamp(n)},41.5,ok".encode() for n in range(100)]
    rows[50] = f"{stamp(50)},41.5,".encode() + bad
    done = read(tmp_path, b"time,flow,note\n" + b"\n".join(rows))
    assert (done.rows, done.readings, done.reasons) == (100, 99, {kind: 1})


SPECIAL = st.sampled_from(
    [
        "=1+1",
        "+1",
        "-1",
        "@x",
        "'",
        "''",
        "'=",
        "",
        " ",
        " a ",
        "\ta",
        "a\nb",
        "a\r\nb",
        '"',
        'say "x"',
        ",",
        "x,1\ny,2,3,4,5,6",
    ]
)


@FUZZ
@given(SPECIAL | st.text(max_size=8))
def test_a_cell_comes_back_as_it_was_and_starts_no_formula(text: str) -> None:
    cell = harmless(text)
    assert original(cell) == text
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))


@settings(FUZZ, max_examples=40)
@given(
    st.lists(
        SPECIAL | st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=8),
        min_size=1,
        max_size=8,
    )
)
def test_texts_survive_export_and_import(tmp_path_factory: pytest.TempPathFactory, texts: list[str]) -> None:
    folder = tmp_path_factory.mktemp("x")
    one, two = LocalStore(folder / "one"), LocalStore(folder / "two")
    time = NOW_MS - 1_000_000 + np.arange(len(texts), dtype=np.int64) * 1000
    one.append(
        "alder-row",
        {"fault": Samples(time, np.array(texts, dtype=object)), "flow": Samples(time, -time % 50.0)},
    )
    out = folder / "out.csv"
    export_readings(SITE, one, out)
    assert b",=" not in out.read_bytes()
    done = ingest_csv(SITE, out, two, rejects_dir=folder, now=NOW)
    assert done.rejected == 0, done.reasons
    assert two.read("alder-row")["fault"].value.tolist() == texts
    assert two.read("alder-row")["flow"].value.tolist() == one.read("alder-row")["flow"].value.tolist()
    one.close()
    two.close()


COLUMN = st.sampled_from(
    [
        pa.array([1, 2]),
        pa.array([1.5, None]),
        pa.array(["flow", None]),
        pa.array(["flow", "mode"]),
        pa.array([b"x", b"y"]),
        pa.array([NOW_MS - 5, None], pa.timestamp("ms", "UTC")),
        pa.array([-(2**62), 2**62], pa.timestamp("us")),
        pa.array([[1], [2]]),
        pa.array([True, False]),
        pa.nulls(2),
        pa.array([float("nan"), float("inf")]),
        pa.array(["9**9*W", ""]),
    ]
)
TABLE = st.fixed_dictionaries(dict.fromkeys(("time", "point", "value", "text", "unit", "quantity"), COLUMN))


@FUZZ
@given(TABLE, st.binary(max_size=60) | st.none(), st.integers(0, 4000))
def test_parquet_is_imported_or_refused(
    tmp_path_factory: pytest.TempPathFactory, table: dict[str, Any], junk: bytes | None, at: int
) -> None:
    folder = tmp_path_factory.mktemp("x")
    path, store = folder / "x.parquet", LocalStore(folder / "store")
    pq.write_table(pa.table(table), path)
    if junk is not None:
        raw = path.read_bytes()
        path.write_bytes(raw[: at % len(raw)] + junk + raw[at % len(raw) + len(junk) :])
    try:
        with suppress(InputError):
            import_parquet(SITE, store, path, now=NOW_MS)
    finally:
        store.close()


def test_a_parquet_file_that_unpacks_to_very_much_is_refused_unread(tmp_path: Path) -> None:
    rows = 400
    words = pa.DictionaryArray.from_arrays(pa.array([0] * rows, pa.int32()), pa.array(["x" * 1_000_000]))
    time = pa.array(range(rows), pa.timestamp("ms", "UTC"))
    table = {"time": time, "point": ["flow"] * rows, "value": [1.0] * rows, "text": words}
    path, store = tmp_path / "x.parquet", LocalStore(tmp_path / "store")
    table["unit"] = pa.nulls(rows, pa.string())
    pq.write_table(pa.table(table), path, compression="zstd", store_schema=False)
    assert path.stat().st_size < 5_000  # for 400 MB
    with pytest.raises(InputError, match="column text has 1000053 bytes for 400 rows"):
        import_parquet(SITE, store, path, now=NOW_MS)
    store.close()


@pytest.mark.parametrize("missing", ["unit", "point", "time"])
def test_a_parquet_file_without_a_column_is_told_which(tmp_path: Path, missing: str) -> None:
    table = {
        "time": pa.array([0], pa.timestamp("ms", "UTC")),
        "point": ["flow"],
        "value": [1.0],
        "text": pa.nulls(1, pa.string()),
        "unit": ["degC"],
    }
    path, store = tmp_path / "x.parquet", LocalStore(tmp_path / "store")
    pq.write_table(pa.table({k: v for k, v in table.items() if k != missing}), path)
    with pytest.raises(InputError, match=f"no column {missing}"):
        import_parquet(SITE, store, path, now=NOW_MS)
    store.close()


MEMORY_MB = 300
MEASURE = """
import sys
from pathlib import Path
from fieldfare.api.cli.entry import run
run(sys.argv[1:])
status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
print(int(status["VmHWM"].split()[0]) // 1024)
"""
HOME = """
[site]
id = "alder-row"
name = "Alder Row"
timezone = "Europe/London"

[[point]]
id = "flow"
quantity = "flow_temperature"

[[point]]
id = "back"
quantity = "return_temperature"
"""


def peak(folder: Path, *arguments: str) -> tuple[int, str]:
    """Largest resident size of a command for the home of a data folder [MB], and what it said.

    Not `ru_maxrss`, which begins with what the parent held.
    """
    (folder / "alder-row.toml").write_text(HOME)
    for words in ("site", "add", str(folder / "alder-row.toml")), arguments:
        done = subprocess.run(
            [sys.executable, "-c", MEASURE, "--data", str(folder / "data"), *words],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            timeout=250,
            cwd=Path(__file__).parents[2],
        )
    told, _, megabytes = done.stdout.strip().rpartition("\n")
    assert megabytes.isdigit(), done.stdout[-500:]
    return int(megabytes), " ".join(told.split())


def ingested(file: Path) -> tuple[int, str]:
    """`peak` of reading a file."""
    return peak(file.parent, "ingest", "alder-row", str(file))


def bomb(path: Path) -> None:
    import gzip

    with gzip.open(path, "wb", 6) as file:
        file.write(b"time,flow,back\n")
        for _ in range(100):
            file.write(b"0" * 4_000_000)


def repeated(path: Path) -> None:
    import gzip

    with gzip.open(path, "wb", 6) as file:
        file.write(b"time,flow,back\n")
        for _ in range(100):
            file.write(b"2026-01-05T00:00:00Z,1,1\n" * 160_000)


def long_line(path: Path) -> None:
    with path.open("wb") as file:
        file.write(b"time,flow,back\n2026-01-05T00:00:00Z,41.5,")
        for _ in range(40):
            file.write(b"9" * 4_000_000)


def quotes(path: Path) -> None:
    path.write_bytes(b"time,flow,back\n" + b'"a\n' * 200_000)


def refused(path: Path) -> None:
    path.write_bytes(b"time,flow,back\n" + b"2026-01-05T00:00:00Z,x,y\n" * 200_000)


def many_rows(path: Path, warmer: int = 0) -> None:
    """Two million rows of half a minute."""
    start = np.datetime64("2024-01-01T00:00:00")
    with path.open("w") as file:
        file.write("time,flow,back\n")
        for day in range(700):
            times = (start + np.timedelta64(day, "D") + np.arange(0, 86_400, 30)).astype(str).tolist()
            file.write("".join(f"{t}Z,{n % 60 + warmer},{n % 50 + warmer}\n" for n, t in enumerate(times)))


HEAVY: dict[str, tuple[Callable[[Path], None], str, str]] = {
    "gzip bomb of one line": (bomb, "x.csv.gz", "a line of more than 1,000,000 bytes"),
    "gzip bomb of rows": (repeated, "x.csv.gz", "its size"),
    "one line of 160 MB": (long_line, "x.csv", "a line of more than 1,000,000 bytes"),
    "open quotes": (quotes, "x.csv", "200 000 rows"),
    "refused rows": (refused, "x.csv", "200 000 rows"),
    "two million rows": (many_rows, "x.csv", "2 016 000 rows"),
}

# Sound rows by the million and a bomb of them: refused rows take the same way and more memory.
SEEN_BY_OTHERS = ("gzip bomb of rows", "two million rows")


@pytest.mark.timeout(280)
@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=pytest.mark.slow if n in SEEN_BY_OTHERS else ()) for n in HEAVY]
)
def test_reading_a_file_stays_in_bounded_memory(tmp_path: Path, name: str) -> None:
    make, file, expected = HEAVY[name]
    make(tmp_path / file)
    megabytes, told = ingested(tmp_path / file)
    assert expected in told
    assert megabytes < MEMORY_MB, told


@pytest.mark.slow
@pytest.mark.timeout(280)
def test_replacing_and_undoing_stay_in_bounded_memory(tmp_path: Path) -> None:
    many_rows(tmp_path / "x.csv")
    many_rows(tmp_path / "y.csv", warmer=1)
    assert "4 032 000 readings stored" in ingested(tmp_path / "x.csv")[1]
    megabytes, told = ingested(tmp_path / "y.csv")
    assert "4 032 000 readings stored" in told
    assert megabytes < MEMORY_MB
    megabytes, told = peak(tmp_path, "ingest", "--undo", "alder-row")
    assert "4 032 000 set back" in told
    assert megabytes < MEMORY_MB
