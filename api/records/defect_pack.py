"""A defect pack: one suspected defect as a paper and data files that a third party can check."""

from __future__ import annotations

import hashlib
import tempfile
import tomllib
import zipfile
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import orjson
import tomlkit

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.facts.tables import METHOD_VERSION, Facts
from fieldfare.analysis.findings.catalogue import catalogued
from fieldfare.analysis.minutes.midnight import local_midnight
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.defect import (
    alternatives,
    as_rows,
    evidence_rows,
    finding_of,
    limit_rows,
)
from fieldfare.analysis.reports.figure_rows import figure_rows
from fieldfare.api.core.service import Service
from fieldfare.api.core.sites import SiteRecord
from fieldfare.api.records.defect_readme import readme
from fieldfare.api.records.defect_recipe import NAME as RECIPE_FILE
from fieldfare.api.records.defect_recipe import Recipe, recipe_for, run_recipe
from fieldfare.api.records.defect_tables import (
    EVENTS,
    PointFiles,
    event_rows,
    point_rows,
    write_table,
)
from fieldfare.dashboards.paper_site import site_on_paper
from fieldfare.dashboards.software_version import software_version

SUMS = "SHA256SUMS"
ALWAYS = frozenset(
    {
        "heat_pump_electricity",
        "heat_output",
        "space_heat",
        "hot_water_heat",
        "flow_temperature",
        "return_temperature",
        "flow_rate",
        "outdoor_temperature",
        "operating_mode",
        "defrost_active",
        "fault_code",
    }
)
"""Quantities that any case needs: what went in and out, at which temperatures, and what the unit said."""


@dataclass(frozen=True)
class Case:
    """A suspected defect with its evidence.

    site : with borrowed weather. result, facts : of the days first..last. contents : of the paper
    """

    record: SiteRecord
    site: Site
    code: str
    first: date
    last: date
    result: dict[str, Any]
    facts: Facts
    contents: dict[str, Any]


@dataclass(frozen=True)
class DefectPack:
    """A written pack. files : names in it. note : missing parts and their reasons, or empty"""

    files: tuple[str, ...]
    note: str = ""


def case_of(
    service: Service, record: SiteRecord, code: str, first: date | None = None, last: date | None = None
) -> Case:
    """Collect the case for one finding. first, last : local days; default: those of the current verdict.

    Raises InputError if these days have no such finding, NoReadings.
    """
    from fieldfare.dashboards.handbook.entries import entry
    from fieldfare.dashboards.rows.days import day_rows

    if first is None and last is None:
        days = service.results.rolling(record, service.settings.rolling_days)
    else:
        days = service.results.period(record, first, last)
    result = service.results.result(record, *days)
    finding = finding_of(record.site, result, code)
    facts = service.facts_cache.stored(record.site.id, *days)
    known = catalogued(code)
    causes = [cause for cause, _ in entry(code).causes]
    contents = {
        "site": site_on_paper(record.site),
        "result": result,
        "days": day_rows(facts, record.site.zone),
        "firm": service.firm.signature,
        "defect": {
            "finding": finding,
            "evidence": evidence_rows(record.site, finding),
            "alternatives": as_rows(alternatives(result, finding, known.reads, causes)),
            "figures": figure_rows(result),
            "limits": limit_rows(record.site, known.limits),
            "events": _tally(facts),
        },
    }
    equipped = service.facts_cache.with_borrowed_weather(record.site)
    return Case(record, equipped, code, *days, result, facts, contents)


def _tally(facts: Facts) -> dict[str, int]:
    """Number of events of each kind."""
    kinds = ("runs", "defrosts", "reheats", "rests", "faults")
    return {kind: len(getattr(facts, kind)) for kind in kinds}


def write_pack(service: Service, case: Case, folder: Path, *, contact: bool = False) -> DefectPack:
    """Write a case into an empty folder. contact : with the home's contact data in its site file.

    If no PDF can be made, the paper is HTML and the note says so.
    """
    files = _readings(service, case, folder)
    defect = case.contents["defect"]
    points, events = point_rows(files, case.site), event_rows(case.site, case.facts)
    write_table(folder / "points.csv", tuple(points[0]) if points else ("file",), points)
    write_table(folder / "events.csv", EVENTS, events)
    for name, rows in (
        ("figures.csv", defect["figures"]),
        ("evidence.csv", defect["evidence"]),
        ("limits.csv", defect["limits"]),
        ("alternatives.csv", defect["alternatives"]),
    ):
        write_table(folder / name, tuple(rows[0]) if rows else ("none",), rows)
    _json(folder / "finding.json", {k: v for k, v in defect.items() if k != "events"})
    _json(folder / "result.json", case.result)
    (folder / "site.toml").write_text(_site_file(case.record.file, contact=contact), encoding="utf-8")
    recipe, got = _recipe(case, files, folder)
    shown = {"points": points, "recipe": _recipe_document(recipe, got), "recent": events}
    contents = {**case.contents, "defect": {**defect, **shown}}
    note = _paper(service, contents, folder)
    (folder / "README.txt").write_text(readme(case, recipe, got, points, note), encoding="utf-8")
    return DefectPack(_manifest(case, folder), note)


def write_to(service: Service, case: Case, out: Path, *, contact: bool = False) -> DefectPack:
    """Write a case into a new or empty folder, all of it or nothing. Raises InputError."""
    out = out.absolute()
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise InputError(f"{out}: must be a new or an empty folder")
    if not out.parent.is_dir():
        raise InputError(f"{out}: there is no folder {out.parent}")
    with tempfile.TemporaryDirectory(prefix=f".{out.name}-", dir=out.parent) as beside:
        made = Path(beside) / "pack"
        made.mkdir()
        pack = write_pack(service, case, made, contact=contact)
        if out.exists():
            out.rmdir()
        made.rename(out)
    return pack


def zipped(service: Service, case: Case, *, contact: bool = False) -> Path:
    """A case as an archive. The caller deletes the file."""
    name = f"{case.site.id}-{case.code}"
    with tempfile.TemporaryDirectory(prefix="fieldfare-pack-") as folder:
        pack = write_pack(service, case, Path(folder), contact=contact)
        handle = tempfile.NamedTemporaryFile(prefix="pack-", suffix=".zip", delete=False)  # noqa: SIM115
        try:
            with handle, zipfile.ZipFile(handle, "w", zipfile.ZIP_DEFLATED) as archive:
                for file in pack.files:
                    archive.write(Path(folder) / file, f"{name}/{file}")
        except OSError:
            Path(handle.name).unlink(missing_ok=True)
            raise
    return Path(handle.name)


def _readings(service: Service, case: Case, folder: Path) -> PointFiles:
    """Points whose raw readings the pack needs: those of the finding, and those of every case."""
    known = catalogued(case.code)
    quantities = ALWAYS | known.reads | {q for need in known.needs for q in need.any_of}
    about_data = not known.reads and not known.needs  # such a finding may use any point
    files = PointFiles()
    for point in case.record.site.point:
        if about_data or point.quantity in quantities:
            files.add(point, case.site.id, point.id)
    lent = service.facts_cache.lent(case.record.site)
    for there, point in (lent.points if lent is not None else {}).items():
        if lent is not None and point.quantity in quantities:
            files.add(point, lent.key, there)
    start = local_midnight(case.site, case.first)
    files.write(folder, service.store, start, local_midnight(case.site, case.last + timedelta(days=1)))
    return files


def _recipe(case: Case, files: PointFiles, folder: Path) -> tuple[Recipe, float]:
    names = {point: f.name for point, f in files.files.items()}
    counts = {point: f.count for point, f in files.files.items()}
    recipe = recipe_for(case.site, case.result, case.facts, case.code, names, counts)
    (folder / RECIPE_FILE).write_text(recipe.text, encoding="utf-8")
    return recipe, run_recipe(folder)


def _recipe_document(recipe: Recipe, got: float) -> dict[str, Any]:
    return {"title": recipe.title, "unit": recipe.unit, "gives": got, "own": recipe.own, "file": RECIPE_FILE}


def _site_file(text: str, *, contact: bool) -> str:
    """The site file without comments, which may name people, and without contact data unless requested."""
    content = tomllib.loads(text)
    if not contact:
        content.pop("contact", None)
    return tomlkit.dumps(content)


def _paper(service: Service, contents: dict[str, Any], folder: Path) -> str:
    """The paper as PDF; as HTML with a note where no PDF can be made."""
    from fieldfare.dashboards.papers import NoPdf, paper_html
    from fieldfare.dashboards.papers.pdf import print_pdf

    page = paper_html("defect", "", contents, logo=service.firm.logo_address)
    try:
        (folder / "paper.pdf").write_bytes(print_pdf(page))
    except NoPdf as error:
        (folder / "paper.html").write_text(page, encoding="utf-8")
        return f"{error} The paper is paper.html instead; any browser prints it."
    return ""


def _manifest(case: Case, folder: Path) -> tuple[str, ...]:
    """Write manifest.json and the SHA-256 of every file, in the form that `sha256sum -c` reads."""
    files = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())
    listed = [
        {"file": name, "bytes": (folder / name).stat().st_size, "sha256": _hash(folder / name)}
        for name in files
    ]
    about = {
        "site": case.site.id,
        "finding": case.code,
        "from": case.first.isoformat(),
        "to": case.last.isoformat(),
        "timezone": case.site.timezone,
        "made": datetime.now(UTC).isoformat(timespec="seconds"),
        "software": f"fieldfare {software_version()}",
        "method": METHOD_VERSION,
        "files": listed,
    }
    _json(folder / "manifest.json", about)
    names = [*files, "manifest.json"]
    sums = "".join(f"{_hash(folder / name)}  {name}\n" for name in sorted(names))
    (folder / SUMS).write_text(sums, encoding="utf-8")
    return (*sorted(names), SUMS)


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _json(path: Path, document: Any) -> None:
    path.write_bytes(orjson.dumps(document, option=orjson.OPT_INDENT_2 | orjson.OPT_SERIALIZE_NUMPY))
