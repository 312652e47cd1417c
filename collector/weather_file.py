"""Read a weather station's CSV: outdoor temperature, with optional humidity and solar irradiance.

    time,outdoor_c,humidity_percent,sun_w_m2        day,outdoor_c
    2026-01-05T00:00:00Z,3.1,88,0                   2026-01-05,2.4
    2026-01-05T01:00:00Z,2.9,89,0                   2026-01-06,0.8

`time` is ISO 8601, UTC without an offset. `day` is a local day of the site with its mean, applied to all
its hours.
"""

from __future__ import annotations

import csv
import gzip
import io
import math
import time
import zlib
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

from fieldfare.analysis.errors import InputError, readable_csv
from fieldfare.analysis.plant.quantities import QUANTITIES
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.plant.weather import STATION_QUANTITIES, station_id
from fieldfare.analysis.readings import Readings, ordered
from fieldfare.collector.validation import time_trouble

MS_PER_HOUR = 3_600_000
LARGEST_BYTES = 100_000_000
_FORM = "time,outdoor_c or day,outdoor_c (and humidity_percent, sun_w_m2)"


def read_weather(site: Site, path: Path) -> Readings:
    """Readings of a station's file, under the station's point ids.

    path : Path, CSV, plain or gzip. A daily mean becomes 24 hourly readings (23 or 25 where the clocks
        change)
    Returns Readings. Raises InputError with file and line for unreadable content; nothing is returned then.
    """
    with readable_csv(str(path)):
        return _readings(site, csv.reader(io.StringIO(_text(path))), path)


def _readings(site: Site, rows: Iterator[list[str]], path: Path) -> Readings:
    header = [name.strip() for name in next(rows, [])]
    when = next((name for name in ("time", "day") if name in header), None)
    unknown = [n for n in header if n not in ("time", "day", *STATION_QUANTITIES)]
    if when is None or "outdoor_c" not in header or unknown or len(set(header)) != len(header):
        odd = f"unknown column {unknown[0]!r}" if unknown else f"the header {','.join(header)[:80]!r}"
        raise InputError(f"{path}, line 1: {odd} is not a station's; give {_FORM}")
    now = round(time.time() * 1000)
    found: dict[str, list[tuple[int, float]]] = {n: [] for n in header if n in STATION_QUANTITIES}
    for number, row in enumerate(rows, start=2):
        if not any(cell.strip() for cell in row):
            continue
        place = f"{path}, line {number}"
        if len(row) != len(header):
            raise InputError(f"{place}: {len(row)} cells under {len(header)} columns")
        cells = dict(zip(header, row, strict=True))
        times = _day_times(site, cells[when], place) if when == "day" else [_time(cells[when], place)]
        if (refused := time_trouble(times[0], now)) is not None:
            raise InputError(f"{place}: {refused}")
        for name, kept in found.items():
            if (value := _value(name, cells[name], place)) is not None:
                kept.extend((t, value) for t in times)
    if not found["outdoor_c"]:
        raise InputError(f"{path}: no temperature under outdoor_c")
    return {
        station_id(STATION_QUANTITIES[name][0]): ordered(
            np.array([t for t, _ in kept], dtype=np.int64), np.array([v for _, v in kept])
        )
        for name, kept in found.items()
        if kept
    }


def _text(path: Path) -> str:
    try:
        raw = path.read_bytes()
        if len(raw) > LARGEST_BYTES:
            raise InputError(f"{path}: larger than {LARGEST_BYTES // 1_000_000} MB; split it by years")
        if raw[:2] == b"\x1f\x8b":
            with gzip.open(io.BytesIO(raw)) as packed:
                raw = packed.read(LARGEST_BYTES + 1)
            if len(raw) > LARGEST_BYTES:
                raise InputError(
                    f"{path}: larger than {LARGEST_BYTES // 1_000_000} MB unpacked; split it by years"
                )
        return raw.decode("utf-8-sig")
    except (EOFError, zlib.error, gzip.BadGzipFile):
        raise InputError(f"{path}: the gzip file is cut off or damaged; fetch it again") from None
    except OSError as error:
        raise InputError(f"{path}: can't be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise InputError(f"{path}: is not UTF-8 text") from None


def _time(text: str, place: str) -> int:
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise InputError(f"{place}: {text[:40]!r} is no time; write 2026-01-05T13:00:00Z") from None
    moment = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment
    return round(moment.timestamp() * 1000.0)


def _day_times(site: Site, text: str, place: str) -> list[int]:
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise InputError(f"{place}: {text[:40]!r} is no day; write 2026-01-05") from None
    if day == date.max:
        raise InputError(f"{place}: {day} lies in the future")
    begin, end = (
        int(datetime(d.year, d.month, d.day, tzinfo=site.zone).timestamp()) * 1000
        for d in (day, day + timedelta(days=1))
    )
    return list(range(begin, end, MS_PER_HOUR))


def _value(name: str, text: str, place: str) -> float | None:
    """A cell's number; None if empty."""
    if not text.strip():
        return None
    low, high = QUANTITIES[STATION_QUANTITIES[name][0]].likely
    try:
        value = float(text)
    except ValueError:
        raise InputError(f"{place}: {text[:40]!r} under {name} is no number") from None
    if not math.isfinite(value) or not low <= value <= high:
        raise InputError(f"{place}: {text[:40]} under {name} is outside {low:g} to {high:g}")
    return value
