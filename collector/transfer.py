"""Move a fleet between stores with verified counts, and import a Parquet export."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.typing import NDArray

from fieldfare.analysis.errors import FieldfareError, InputError
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.plant.units import Conversion
from fieldfare.analysis.readings import MS_PER_DAY, Readings, Samples
from fieldfare.collector import validation
from fieldfare.collector.error_text import first_line
from fieldfare.collector.store.merge import concatenated, is_among
from fieldfare.collector.store.protocol import PointSpan, Store
from fieldfare.collector.store.sealed import ends

_IMPORT_ROWS = 250_000
_GATHERED = 1_000_000
"""Readings of an import gathered before a store write: 16 MB, and few rewrites of a month."""
_MOST_ROWS = 500_000_000
_LARGEST_PART = 64_000_000
"""Bytes of one column in one row group, unpacked: eight million times. An export has a million rows in
each."""
_LONGEST_ROW = 1_000
"""Bytes of one row in one column, on average; a text of a reading has some 200 characters at most."""
_WORDS = ["point", "text", "unit"]
_STEP_MS = 31 * MS_PER_DAY
"""Readings per read: a month has a few hundred thousand per site."""


class Moved(NamedTuple):
    """Result of copying one site.

    readings : read from the source. stored, replaced, duplicates : result of the append to the target
    more : readings of the target at times that the source does not have: taken in there since, or undone here
        since an earlier move. removed : of these, those that were deleted
    different : points that differ afterwards, each with the difference; empty when all is well
    """

    site: str
    readings: int
    stored: int
    replaced: int
    duplicates: int
    more: int
    removed: int
    different: tuple[str, ...]

    @property
    def agrees(self) -> bool:
        return not self.different


def move(
    source: Store,
    target: Store,
    sites: Iterable[str],
    *,
    exact: bool = False,
    settle: Callable[[], None] = lambda: None,
    progress: Callable[[Moved], None] = lambda _: None,
) -> list[Moved]:
    """Copy sites' readings, then compare both stores reading by reading. The source is unchanged.

    exact : delete what the target has at times that the source does not have
    settle : called before the comparison; for a server store its `flush`
    progress : called with each site's result
    Safe to repeat: what is there already is not stored twice.
    """
    out: list[Moved] = []
    for site in sites:
        given = stored = replaced = duplicates = 0
        for readings in _steps(source, site):
            done = target.append(site, readings)
            given += sum(len(s.time) for s in readings.values())
            stored, replaced = stored + done.stored, replaced + done.replaced
            duplicates += done.duplicates
        settle()
        more = removed = 0
        for extra in _more(source, target, site):
            more += sum(len(s.time) for s in extra.values())
            removed += target.revert(site, extra, {}).removed if exact else 0
        moved = Moved(
            site,
            given,
            stored,
            replaced,
            duplicates,
            more,
            removed,
            tuple(_differences(source, target, site)),
        )
        out.append(moved)
        progress(moved)
    return out


def checked(moved: Iterable[Moved]) -> list[Moved]:
    """Return the results if every site agrees. Raises FieldfareError naming the differences."""
    out = list(moved)
    bad = [f"{m.site}: {'; '.join(m.different[:3])}" for m in out if not m.agrees]
    if bad:
        raise FieldfareError(f"not copied completely: {' | '.join(bad)}")
    return out


def _steps(source: Store, site: str) -> Iterable[Readings]:
    span = source.span(site)
    if span is None:
        return
    for start in range(span[0], span[1] + 1, _STEP_MS):
        readings = source.read(site, None, start, min(start + _STEP_MS, span[1] + 1))
        if readings:
            yield readings


def _more(source: Store, target: Store, site: str) -> Iterator[Readings]:
    """Readings of the target at times that the source does not have."""
    for there in _steps(target, site):
        first, last = ends(there)
        here = source.read(site, list(there), first, last + 1)
        extra: Readings = {}
        for point, (time, value) in there.items():
            new = ~is_among(time, here[point].time) if point in here else np.ones(len(time), bool)
            if new.any():
                extra[point] = Samples(time[new], value[new])
        if extra:
            yield extra


def _differences(source: Store, target: Store, site: str) -> Iterable[str]:
    """Points that the target does not hold like the source; a target may hold more."""
    expected, held = source.points(site), target.points(site)
    for point, span in expected.items():
        there = held.get(point)
        if there is None:
            yield f"{point} is missing"
        elif there.count < span.count or there.first > span.first or there.last < span.last:
            yield f"{point} has {_shown(there)}, not {_shown(span)}"
    for readings in _steps(source, site):
        first, last = ends(readings)
        other = target.read(site, list(readings), first, last + 1)
        for point, (times, values) in readings.items():
            copy = other.get(point)
            if copy is None:
                continue
            at = np.minimum(np.searchsorted(copy.time, times), len(copy.time) - 1)
            wrong = int(((copy.time[at] != times) | (copy.value[at] != values)).sum())
            if wrong:
                yield f"{point}: {wrong} readings differ"


def _shown(span: PointSpan) -> str:
    return f"{span.count} readings from {span.first} to {span.last} ms"


class Imported(NamedTuple):
    """Result of a Parquet import. `rejected` : reason -> refused readings."""

    readings: int
    stored: int
    replaced: int
    duplicates: int
    rejected: dict[str, int]


def import_parquet(site: Site, store: Store, file: Path, *, now: int) -> Imported:
    """Import a file of `export_readings` into a store, validated like any reading.

    site : must have the file's points, in compatible units. now : int [ms]
    Raises InputError, with nothing stored, for a file of another format or unknown points.
    """
    if not file.is_file():
        raise InputError(
            f"{file}: {'is a folder; name the file in it' if file.is_dir() else 'there is no such file'}"
        )
    try:
        have = set(pq.read_schema(file).names)
        words = [name for name in _WORDS if name in have]
        # in parts, and words as numbers: a few bytes of a file may stand for gigabytes
        source = pq.ParquetFile(file, buffer_size=1 << 20, read_dictionary=words)
    except (OSError, pa.ArrowException, ValueError, KeyError) as error:
        raise InputError(f"{file}: no Parquet file that can be read: {first_line(error)}") from None
    with source, _one_line(file):
        if source.metadata.num_rows > _MOST_ROWS:
            raise InputError(
                f"{file}: holds {source.metadata.num_rows} rows; divide it into files of {_MOST_ROWS}"
            )
        if missing := {"time", "point", "value", "text", "unit"} - have:
            raise InputError(
                f"{file}: no column {', '.join(sorted(missing))}; it must be an export of readings"
            )
        if wrong := _other_types(source.schema_arrow):
            raise InputError(f"{file}: column {wrong} has another type than in an export of readings")
        if huge := _too_large(source):
            raise InputError(f"{file}: {huge}")
        conversions = _conversions(site, file, source)
        rejected: Counter[str] = Counter()
        waiting: defaultdict[str, list[Samples]] = defaultdict(list)
        counts, gathered = [0, 0, 0, 0], 0

        def store_waiting() -> None:
            nonlocal counts, gathered
            readings = concatenated(waiting)
            waiting.clear()
            done = store.append(site.id, readings) if readings else (0, 0, 0)
            counts = [counts[0], *(a + b for a, b in zip(counts[1:], done, strict=True))]
            gathered = 0

        for batch in _batches(source, ["time", "point", "value", "text", "unit"]):
            counts[0] += batch.num_rows
            for point, samples in _let_in(site, batch, conversions, now, rejected):
                waiting[point].append(samples)
                gathered += len(samples.time)
            if gathered >= _GATHERED:
                store_waiting()
        store_waiting()
    return Imported(counts[0], counts[1], counts[2], counts[3], dict(rejected))


def _batches(source: pq.ParquetFile, columns: list[str]) -> Iterator[Any]:
    """Rows in batches, by one thread and a row group after the other: else Arrow holds on to 70 MB more."""
    for group in range(source.metadata.num_row_groups):
        yield from source.iter_batches(_IMPORT_ROWS, [group], columns, use_threads=False)


def _too_large(source: pq.ParquetFile) -> str:
    """What is too large in the file's own account of its parts; empty if nothing."""
    meta = source.metadata
    for n in range(meta.num_row_groups):
        group = meta.row_group(n)
        for column in (group.column(i) for i in range(group.num_columns)):
            size, name = column.total_uncompressed_size, column.path_in_schema
            if size > _LARGEST_PART:
                return (
                    f"column {name} has {size} bytes in one row group; write it with at most a million rows"
                    " in each"
                )
            if size > 1_000_000 and size > _LONGEST_ROW * group.num_rows:
                return f"column {name} has {size} bytes for {group.num_rows} rows; no reading is so long"
    return ""


def _other_types(schema: pa.Schema) -> str:
    """First column whose type differs from an export's; empty if none."""
    for name in ("point", "text", "unit"):
        kind = schema.field(name).type
        kind = kind.value_type if pa.types.is_dictionary(kind) else kind
        if not (pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_null(kind)):
            return name
    if not pa.types.is_timestamp(schema.field("time").type):
        return "time"
    return "" if pa.types.is_floating(schema.field("value").type) else "value"


@contextmanager
def _one_line(file: Path) -> Iterator[None]:
    """Name the file if its content is damaged or has other types than an export."""
    try:
        yield
    except (pa.ArrowException, OSError, TypeError, ValueError, OverflowError) as error:
        if isinstance(error, OSError) and error.errno is not None:
            raise
        raise InputError(f"{file}: no export of readings that can be read: {first_line(error)}") from None


class _Words(NamedTuple):
    """A column of texts. codes : int64 (n,), which of the words each row has; null has the last, None."""

    codes: NDArray[np.int64]
    words: list[str | None]


def _words(column: Any) -> _Words:
    if not isinstance(column, pa.DictionaryArray):
        column = column.cast(pa.string()).dictionary_encode()
    words = column.dictionary.to_pylist()
    codes = column.indices.cast(pa.int64()).fill_null(len(words)).to_numpy(zero_copy_only=False)
    return _Words(codes, [*words, None])


def _by_point(batch: Any) -> Iterator[tuple[str, str, NDArray[np.bool_]]]:
    """Point and unit ("" for none) of a batch's rows, and which rows have them."""
    point, unit = _words(batch.column("point")), _words(batch.column("unit"))
    pairs = point.codes * len(unit.words) + unit.codes
    for pair in np.unique(pairs).tolist():
        which, what = divmod(pair, len(unit.words))
        yield str(point.words[which]), unit.words[what] or "", pairs == pair


def _conversions(site: Site, file: Path, source: Any) -> dict[tuple[str, str], Conversion]:
    """Conversion of each point's values to the site's units; raises InputError for incompatible ones."""
    out: dict[tuple[str, str], Conversion] = {}
    for batch in _batches(source, ["point", "unit"]):
        for name, unit, _ in _by_point(batch):
            if (name, unit) in out:
                continue
            try:
                point = validation.known_point({site.id: site}, site.id, name)
                out[name, unit] = validation.unit_change(point, unit) if unit else Conversion(1.0, 0.0)
            except validation.RefusedValue as error:
                raise InputError(f"{file}: {error}") from None
    return out


def _let_in(
    site: Site, batch: Any, conversions: dict[tuple[str, str], Conversion], now: int, rejected: Counter[str]
) -> Iterator[tuple[str, Samples]]:
    """The batch's good readings, as point and samples; the others are counted by reason in `rejected`."""
    time = (
        batch.column("time")
        .cast(pa.timestamp("ms", "UTC"), safe=False)
        .cast(pa.int64())
        .fill_null(0)  # null becomes 1970, which is refused as before 1990
        .to_numpy(zero_copy_only=False)
    )
    value = batch.column("value").cast(pa.float64()).to_numpy(zero_copy_only=False)
    text = _words(batch.column("text"))
    texts = np.array(text.words, dtype=object)
    for name, unit, mine in _by_point(batch):
        scale, offset = conversions[name, unit]
        point = site.find_point(name)
        if point is None:
            continue
        times = time[mine]
        values = texts[text.codes[mine]] if point.kind.is_text else value[mine] * scale + offset
        bad = validation.in_trouble(point, times, values, now)
        if bad is not None:
            for i in np.flatnonzero(bad).tolist():
                why = validation.trouble(point, int(times[i]), values[i], now)
                rejected[why.kind if why else "not a reading"] += 1
            times, values = times[~bad], values[~bad]
        if len(times):
            yield name, Samples(times, values)
