"""Import and export readings of a site by its id."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import orjson

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.minutes.midnight import local_midnight
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import MS_PER_DAY
from fieldfare.api.core.local_days import now_ms
from fieldfare.api.core.service import Service, open_store
from fieldfare.api.core.settings import Settings
from fieldfare.api.core.weather import station_key
from fieldfare.api.people.access import COMMAND_LINE, Actor


def ingest_files(
    service: Service,
    site_id: str,
    files: Sequence[Path],
    progress: Callable[[int], None] | None = None,
    point: str | None = None,
    *,
    actor: Actor = COMMAND_LINE,
    name: str | None = None,
    anyway: bool = False,
) -> dict[str, Any]:
    """Import CSV files. point : the only one that they have readings of; None where their columns tell

    actor : for the audit trail. name : display name of the file; default its own
    anyway : accept files that look like another home's
    Returns the summary; with several files their sum, with each file's own in `files`. Raises InputError if
        the site is unknown or a file is unusable, AnotherHomesFile if one looks like another home's: of that
        file and those after it nothing is stored.
    """
    from fieldfare.api.records.file_imports import FileImports
    from fieldfare.collector.csv import ingest_csv

    site = service.sites.get(site_id).site
    _check(site, files, point)
    imports, summaries = FileImports(service, site_id), []
    for path in files:
        known = None if anyway else imports.known_serials()
        number, undo = imports.begin(name or path.name, actor.name)
        try:
            done = ingest_csv(
                site,
                path,
                service.store,
                rejects_dir=service.settings.rejects_dir / site_id,
                now=datetime.now(UTC),
                progress=_steps(progress) if progress else None,
                point=point,
                undo=undo,
                known_serials=known,
            )
        except InputError:
            if undo.is_empty:
                imports.drop(number)
            raise
        if done.first is None:
            imports.drop(number)
        else:
            imports.finish(number, done)
        odd = odd_registers(service, site, done.first, done.last)
        summaries.append({**done.as_dict(), "odd_registers": odd})
    return summaries[0] if len(summaries) == 1 else _sum(files, summaries)


CHECKED_MS = 10 * MS_PER_DAY
"""Registers are looked at in stretches of so many days, so that a long file needs little memory."""
MOST_ODD = 20
"""Odd steps that an import lists; the data quality of the home's page shows all that count."""
_WORDS = {
    "jumped": "jumped by {amount}",
    "reset": "began again after {amount}",
    "stepped_back": "stepped back by {amount}",
    "dropped_out": "showed another value for a while",
    "spike": "read {amount} once, far from its neighbours",
}
"""What an odd step of a register is, with its amount; a rollover is none."""


def odd_registers(service: Service, site: Site, first: int | None, last: int | None) -> list[dict[str, Any]]:
    """Steps of running totals between two times [ms] that no plant makes, oldest first: point, kind, time,
    amount, unit. None of them counts as energy."""
    from fieldfare.analysis.minutes.grid import register_limits
    from fieldfare.analysis.minutes.registers import odd_steps
    from fieldfare.analysis.minutes.resampling import canonical

    if first is None or last is None:
        return []
    found: dict[tuple[int, str], dict[str, Any]] = {}
    for point in (p for p in site.point if p.form == "register"):
        most, fall = register_limits(point)
        for start in range(first, last + 1, CHECKED_MS):
            # A day before and after: a spike is one by what stands on its both sides.
            wide = (start - MS_PER_DAY, min(start + CHECKED_MS, last + 1) + MS_PER_DAY)
            readings = service.store.read(site.id, [point.id], *wide).get(point.id)
            if readings is None:
                continue
            for e in odd_steps(canonical(point, readings), most_per_hour=most, may_fall=fall):
                if e.kind in _WORDS and first <= e.time <= last:
                    found[e.time, point.id] = {
                        "point": point.id,
                        "kind": e.kind,
                        "time": datetime.fromtimestamp(e.time / 1000, UTC).isoformat(),
                        "amount": e.amount,
                        "unit": point.kind.canonical(point.form),
                    }
    return [found[key] for key in sorted(found)][:MOST_ODD]


def odd_registers_text(summary: dict[str, Any], zone: str) -> list[str]:
    """A line for each running total with odd steps. zone : of the times"""
    from fieldfare.dashboards.text.words import moment

    by_point: dict[str, list[dict[str, Any]]] = {}
    for odd in summary.get("odd_registers", ()):
        by_point.setdefault(odd["point"], []).append(odd)
    lines = []
    for point, steps in by_point.items():
        one = steps[0]
        what = _WORDS[one["kind"]].format(amount=f"{one['amount']:.10g} {one['unit']}")
        more = f", and {len(steps) - 1} more" if len(steps) > 1 else ""
        when = f"{moment(datetime.fromisoformat(one['time']), zone)}{' UTC' if zone == 'UTC' else ''}{more}"
        lines.append(
            f"the running total {point} {what} on {when}: not counted; if the file is wrong, undo it"
        )
    return lines


def undo_file(service: Service, site_id: str, actor: Actor = COMMAND_LINE) -> dict[str, Any]:
    """Undo the newest imported file of a site: see `FileImports.undo_last`. Raises InputError."""
    from fieldfare.api.records.file_imports import FileImports

    return FileImports(service, service.sites.get(site_id).site.id).undo_last(actor)


def take_senml(service: Service, site: Site, pack: list[dict[str, Any]]) -> dict[str, int]:
    """Store a SenML pack, validated like the broker's messages; all of it, or nothing.

    Raises InputError with the reason where a record can't be read
    """
    from fieldfare.collector.mqtt.decode import Message, MessageDecoder
    from fieldfare.collector.mqtt.topics import Routes

    now = now_ms()
    message = Message(f"fieldfare/{site.id}/readings", _as_json(pack), now)
    decoded = MessageDecoder(Routes([site])).decode([message], now)
    if decoded.refused:
        raise InputError(decoded.refused[0].reason)
    done = service.store.append(site.id, decoded.readings.get(site.id, {}))
    return {"readings": done.stored + done.replaced, "duplicates": done.duplicates}


def _as_json(pack: list[dict[str, Any]]) -> bytes:
    """The pack as JSON. Raises InputError for numbers beyond 64 bits and too deeply nested values."""
    try:
        return orjson.dumps(pack)
    except TypeError:
        for number, record in enumerate(pack, start=1):
            try:
                orjson.dumps(record)
            except TypeError as error:
                what = (
                    "a whole number of more than 64 bits"
                    if "64-bit" in str(error)
                    else "a value nested too deeply"
                )
                raise InputError(f"record {number} holds {what}, which is no reading") from None
        raise InputError("the pack holds a value that is no reading") from None


def export_site(service: Service, site_id: str, out: Path, first: date | None, last: date | None) -> int:
    """Write a site's raw readings to a .parquet or .csv file. Return how many. Raises InputError."""
    from fieldfare.collector.export import export_readings

    site = service.sites.get(site_id).site
    start = local_midnight(site, first) if first else None
    end = local_midnight(site, last + timedelta(days=1)) if last else None
    return export_readings(site, service.store, out, start, end)


def import_site(service: Service, site_id: str, files: Sequence[Path]) -> dict[str, Any]:
    """Import exports of a site: Parquet or CSV as `export` wrote it.

    Returns readings (in the files), stored, duplicates and rejected (reason -> count), over all files.
    Raises InputError if the site is unknown or a file is of another form.
    """
    from fieldfare.collector.transfer import import_parquet

    site = service.sites.get(site_id).site
    parquet = [path for path in files if path.suffix.lower() == ".parquet"]
    csv = [path for path in files if path not in parquet]
    readings = stored = duplicates = 0
    rejected: Counter[str] = Counter()
    if csv:
        summary = ingest_files(service, site_id, csv)
        stored, duplicates = summary["readings"], summary["duplicates"]
        rejected.update(summary["rejected"]["reasons"])
        readings = stored + duplicates + summary["rejected"]["count"]
    for path in parquet:
        done = import_parquet(site, service.store, path, now=now_ms())
        readings += done.readings
        stored += done.stored + done.replaced
        duplicates += done.duplicates
        rejected.update(done.rejected)
    return {"readings": readings, "stored": stored, "duplicates": duplicates, "rejected": dict(rejected)}


def move_fleet(
    service: Service,
    target: Settings,
    sites: Sequence[str],
    announce: Callable[[str], None],
    *,
    exact: bool = False,
) -> None:
    """Copy readings of all or the given sites into the store `target`, and compare.

    exact : delete what is only there
    The source is unchanged. Raises InputError for an unknown site or if both are the same store,
    FieldfareError naming the differences.
    """
    from fieldfare.collector.transfer import Moved, checked, move
    from fieldfare.dashboards.text.words import count, number

    mine = service.settings
    if target.store_url == mine.store_url and (
        not mine.store_url or target.store_database == mine.store_database
    ):
        raise InputError("--to: the store in use and the one to move to are the same; name another")
    chosen = [service.sites.get(s).site.id for s in sites] or service.sites.ids()
    stations = [station_key(s) for s in chosen]
    chosen = [*chosen, *(key for key in stations if service.store.span(key) is not None)]

    def said(moved: Moved) -> str:
        more = ""
        if moved.removed:
            more = f", {number(moved.removed)} deleted that were only there"
        elif moved.more:
            more = f", {number(moved.more)} are only there: new there, or undone here since (--exact)"
        return (
            f"{moved.site}: {count(moved.readings, 'reading')},"
            f" {number(moved.stored + moved.replaced)} stored,"
            f" {number(moved.duplicates)} were already stored,"
            f" {'equal' if moved.agrees else 'NOT EQUAL'}{more}"
        )

    there = open_store(target)
    try:
        checked(
            move(
                service.store,
                there,
                chosen,
                exact=exact,
                settle=there.flush,
                progress=lambda moved: announce(said(moved)),
            )
        )
    finally:
        there.close()


def _check(site: Site, files: Sequence[Path], point: str | None) -> None:
    """Read every file's header before anything is stored, so that one invalid file stores nothing."""
    from fieldfare.collector.csv.layout import find_layout, of_one_point
    from fieldfare.collector.csv.source import Source

    for path in files:
        source = Source(path, site.csv)
        try:
            header = source.header
            mapped = site if point is None else of_one_point(site, point, path, header)
            find_layout(mapped, path, header, source.first_row)
        finally:
            source.close()


def _steps(progress: Callable[[int], None]) -> Callable[[int, int], None]:
    """Convert `done of total` to increments."""
    before = 0

    def step(done: int, total: int) -> None:
        nonlocal before
        progress(done - before)
        before = done

    return step


_SUMMED = ("rows", "readings", "replaced", "duplicates", "rows_as_utc")


def rows_as_utc_text(summary: dict[str, Any]) -> str | None:
    """A note about rows read as UTC because neither they nor the site file give a zone; None without any."""
    from fieldfare.dashboards.text.words import count

    rows = summary.get("rows_as_utc")
    if not rows:
        return None
    have, are = ("has", "was") if rows == 1 else ("have", "were")
    return (
        f"{count(rows, 'row')} {have} no offset and {are} read as UTC; if the times are local, undo the file,"
        " set `timezone` in the site's [csv], and read the file again"
    )


def _sum(files: Sequence[Path], summaries: list[dict[str, Any]]) -> dict[str, Any]:
    reasons: Counter[str] = Counter()
    for one in summaries:
        reasons.update(one["rejected"]["reasons"])
    rejected = [one["rejected"]["file"] for one in summaries if one["rejected"]["file"]]
    in_none = {
        name: [v for v in summaries[0][name] if all(v in one[name] for one in summaries)]
        for name in ("missing_points", "ignored_columns")
    }
    return {
        **{key: sum(one[key] for one in summaries) for key in _SUMMED},
        "rejected": {
            "count": sum(one["rejected"]["count"] for one in summaries),
            "reasons": dict(reasons),
            "examples": {
                k: said for one in summaries[::-1] for k, said in one["rejected"]["examples"].items()
            },
            "file": str(Path(rejected[0]).parent) if len(rejected) > 1 else next(iter(rejected), None),
        },
        "from": min((one["from"] for one in summaries if one["from"]), default=None),
        "to": max((one["to"] for one in summaries if one["to"]), default=None),
        **in_none,
        "odd_registers": [odd for one in summaries for odd in one["odd_registers"]][:MOST_ODD],
        "files": [{"name": str(path), **one} for path, one in zip(files, summaries, strict=True)],
    }
