"""Files into the store and readings out of it, for a site by its id."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import orjson

from analysis.errors import InputError
from analysis.plant.load import parse_site
from analysis.plant.site import Site
from api.local_days import start_of
from api.service import Service


def ingest_files(
    service: Service, site_id: str, files: Sequence[Path], progress: Callable[[int], None] | None = None
) -> dict[str, Any]:
    """Read CSV files into the store.

    Returns the contract's summary; with several files it is their sum, and `files` holds each one's own.
    Raises InputError if the site is unknown or a file is of no use.
    """
    from collector.csv import ingest_csv

    site = service.plants.get(site_id).site
    _check(site, files)
    summaries = []
    for path in files:
        done = ingest_csv(
            site,
            path,
            service.store,
            rejects_dir=service.settings.rejects_dir / site_id,
            now=datetime.now(UTC),
            progress=_steps(progress) if progress else None,
        )
        summaries.append(done.as_dict())
    return summaries[0] if len(summaries) == 1 else _sum(files, summaries)


def check_site_text(text: str) -> Site:
    """A site file that came as text. Raises SiteError, InputError."""
    site = parse_site(text)
    if site.site.outdoor_from == site.id:
        raise InputError(f"site.outdoor_from: must name another site, not {site.id!r} itself")
    return site


def take_senml(service: Service, site: Site, pack: list[dict[str, Any]]) -> dict[str, int]:
    """Store a SenML pack by the same rules as the broker's messages; all of it, or nothing.

    Raises InputError with the reason where a record can't be read
    """
    from collector.mqtt.decode import Decoder, Message
    from collector.mqtt.topics import Routes

    now = int(datetime.now(UTC).timestamp() * 1000)
    message = Message(f"fieldfare/{site.id}/readings", orjson.dumps(pack), now)
    decoded = Decoder(Routes([site])).decode([message], now)
    if decoded.refused:
        raise InputError(decoded.refused[0].reason)
    done = service.store.append(site.id, decoded.readings.get(site.id, {}))
    return {"readings": done.stored + done.replaced, "duplicates": done.duplicates}


def export_site(service: Service, site_id: str, out: Path, first: date | None, last: date | None) -> int:
    """Write raw readings of a site to a .parquet or .csv file. Returns how many. Raises InputError."""
    from collector.export import export_readings

    site = service.plants.get(site_id).site
    start = start_of(first, site.zone) if first else None
    end = start_of(last + timedelta(days=1), site.zone) if last else None
    return export_readings(site, service.store, out, start, end)


def _check(site: Site, files: Sequence[Path]) -> None:
    """Read every file's header before any is stored, so that a wrong one among several stores nothing."""
    from collector.csv.layout import find_layout
    from collector.csv.source import Source

    for path in files:
        source = Source(path)
        try:
            find_layout(site, path, source.header)
        finally:
            source.close()


def _steps(progress: Callable[[int], None]) -> Callable[[int, int], None]:
    """Turns `done of total` into steps."""
    before = 0

    def step(done: int, total: int) -> None:
        nonlocal before
        progress(done - before)
        before = done

    return step


def _sum(files: Sequence[Path], summaries: list[dict[str, Any]]) -> dict[str, Any]:
    reasons: Counter[str] = Counter()
    for one in summaries:
        reasons.update(one["rejected"]["reasons"])
    kept = [one["rejected"]["file"] for one in summaries if one["rejected"]["file"]]
    return {
        **{key: sum(one[key] for one in summaries) for key in ("rows", "readings", "duplicates")},
        "rejected": {
            "count": sum(one["rejected"]["count"] for one in summaries),
            "reasons": dict(reasons),
            "file": str(Path(kept[0]).parent) if len(kept) > 1 else next(iter(kept), None),
        },
        "from": min((one["from"] for one in summaries if one["from"]), default=None),
        "to": max((one["to"] for one in summaries if one["to"]), default=None),
        "files": [{"name": str(path), **one} for path, one in zip(files, summaries, strict=True)],
    }
