"""`fieldfare ingest`, `export`, `import`, `move` and `set-aside`: readings in and out."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

import click

from fieldfare.api.cli.options import format_option, from_option, print_json, say, to_option
from fieldfare.api.core.settings import Settings


@click.command("ingest")
@click.argument("site_id", metavar="SITE")
@click.argument("files", metavar="FILE...", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "--point", metavar="ID", help="The only point in these files, such as one file for each sensor."
)
@click.option("--anyway", is_flag=True, help="Take a file that looks like another home's.")
@click.option("--undo", is_flag=True, help="Undo the newest file of this home; again, the one before it.")
@format_option
@click.pass_obj
def ingest(
    settings: Settings,
    site_id: str,
    files: tuple[Path, ...],
    point: str | None,
    anyway: bool,
    undo: bool,
    form: str,
) -> int:
    """Read CSV files (plain or gzip) into the store, or undo the newest file.

    Reading a file again, or one that overlaps, stores nothing twice. Rows that can't be read go to a rejects
    file with line and reason; the exit code is then 3. A file whose readings do not fit those of the home is
    refused. After an undo the readings are as they were before that file.
    """
    from fieldfare.api.core.service import opened_existing
    from fieldfare.api.running.intake import ingest_files
    from fieldfare.collector.csv.other_home import AnotherHomesFile

    if undo:
        return _undo(settings, site_id, files, form)
    if not files:
        raise click.UsageError("missing argument 'FILE...'")
    try:
        with opened_existing(settings) as service, _bar(files) as progress:
            summary = ingest_files(service, site_id, files, progress, point, anyway=anyway)
    except AnotherHomesFile as error:
        raise AnotherHomesFile(
            f"{error}; add --anyway if it is this home's, after a new meter for one"
        ) from None
    if form == "json":
        print_json(summary)
    else:
        say(_summary_text(summary))
    if summary["rejected"]["count"]:
        from fieldfare.api.cli.entry import SOME_REJECTED

        if form == "text":
            say(_rejects_text(summary["rejected"]), err=True)
        return SOME_REJECTED
    return 0


def _undo(settings: Settings, site_id: str, files: tuple[Path, ...], form: str) -> int:
    from fieldfare.api.core.service import opened_existing
    from fieldfare.api.records.file_imports import undone_text
    from fieldfare.api.running.intake import undo_file

    if files:
        raise click.UsageError("--undo takes no file: it undoes the newest one")
    with opened_existing(settings) as service:
        zone = service.sites.get(site_id).site.timezone
        undone = undo_file(service, site_id)
    if form == "json":
        print_json(undone)
    else:
        say(undone_text(undone, zone))
    return 0


@click.command("export")
@click.argument("site_id", metavar="SITE")
@click.option(
    "--out", required=True, type=click.Path(dir_okay=False, path_type=Path), help="FILE.parquet or FILE.csv"
)
@from_option
@to_option
@click.pass_obj
def export(settings: Settings, site_id: str, out: Path, first: date | None, last: date | None) -> None:
    """Write a site's raw readings as Parquet or CSV, by the file's ending."""
    from fieldfare.api.core.service import opened_existing
    from fieldfare.api.running.intake import export_site
    from fieldfare.dashboards.text.words import count

    with opened_existing(settings) as service:
        written = export_site(service, site_id, out, first, last)
    say(f"{count(written, 'reading')} in {out}")


@click.command("import")
@click.argument("site_id", metavar="SITE")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.pass_obj
def import_(settings: Settings, site_id: str, files: tuple[Path, ...]) -> int:
    """Read exports of a site (Parquet or CSV) back into the store.

    Importing a file again stores nothing twice. Rejected readings are counted by reason; the exit code is
    then 3.
    """
    from fieldfare.api.core.service import opened_existing
    from fieldfare.api.running.intake import import_site
    from fieldfare.dashboards.text.words import count, number

    with opened_existing(settings) as service:
        done = import_site(service, site_id, files)
    read = (
        f"{count(done['readings'], 'reading')} read: {number(done['stored'])} stored,"
        f" {number(done['duplicates'])} were already stored"
    )
    say(read)
    if done["rejected"]:
        from fieldfare.api.cli.entry import SOME_REJECTED

        rejected = count(sum(done["rejected"].values()), "reading")
        text = f"fieldfare: {rejected} rejected ({_by_reason(done['rejected'])})"
        say(text, err=True)
        return SOME_REJECTED
    return 0


@click.command("move")
@click.argument("sites", metavar="[SITE]...", nargs=-1)
@click.option("--to", "target", required=True, metavar="ADDRESS", help="A server's address, or `local`.")
@click.option("--database", metavar="NAME", help="Its database or bucket. Default: the one configured.")
@click.option("--token", metavar="TOKEN", help="Access token. Default: $FIELDFARE_STORE_TOKEN.")
@click.option(
    "--exact",
    is_flag=True,
    help="Delete readings that are only there, such as those of a file undone here since an earlier move. Not"
    " once the other store is in use.",
)
@click.pass_obj
def move(
    settings: Settings,
    sites: tuple[str, ...],
    target: str,
    database: str | None,
    token: str | None,
    exact: bool,
) -> None:
    """Copy readings of all sites, or those named, into another store, and compare both reading for reading.

    The store in use is left as it is. When all agree, point FIELDFARE_STORE_URL at the new one. Safe to
    repeat.
    """
    from fieldfare.api.core.service import opened_existing
    from fieldfare.api.running.intake import move_fleet

    there = replace(
        settings,
        store_url="" if target == "local" else target,
        store_database=database or settings.store_database,
        store_token=token or settings.store_token,
    )
    with opened_existing(settings) as service:
        move_fleet(service, there, sites, say, exact=exact)


@click.group("set-aside")
def set_aside() -> None:
    """Manage dead letters: messages from the broker that could not be read."""


@set_aside.command("list")
@click.option("--site", "site_id", metavar="SITE", help="Only those of one site.")
@click.option(
    "--last", "count", default=50, show_default=True, type=click.IntRange(1), help="How many of the newest."
)
@format_option
@click.pass_obj
def list_aside(settings: Settings, site_id: str | None, count: int, form: str) -> None:
    """List dead letters: when they came, their topic, and why they could not be read."""
    from fieldfare.api.core.service import check_holds_data
    from fieldfare.api.records.dead_letters import list_dead_letters
    from fieldfare.dashboards.text.words import moment, number

    check_holds_data(settings)
    listed = list_dead_letters(settings, site_id, count)
    if form == "json":
        print_json(listed)
        return
    for row in listed["messages"]:
        arrived = moment(datetime.fromisoformat(row["arrived"]), "UTC")
        say(f"{row['id']:>6}  {arrived} UTC  {row['topic']}  {row['reason']}")
    held, dropped = number(listed["held"]), number(listed["dropped"])
    say(f"{held} held, {dropped} older ones were dropped")


@set_aside.command("retry")
@click.option("--site", "site_id", metavar="SITE", help="Only those of one site.")
@click.pass_obj
def retry(settings: Settings, site_id: str | None) -> None:
    """Read dead letters again after a site file was corrected; those that can be read now are stored."""
    from fieldfare.api.core.service import opened_existing
    from fieldfare.api.records.dead_letters import retry_dead_letters
    from fieldfare.dashboards.text.words import count, number

    with opened_existing(settings) as service:
        counts = retry_dead_letters(service, site_id)
    read, readings = count(counts["read"], "message"), count(counts["readings"], "reading")
    say(f"{read} read ({readings}), {number(counts['refused'])} still can't be read")


@set_aside.command("clear")
@click.option("--site", "site_id", metavar="SITE", help="Only those of one site.")
@click.pass_obj
def clear(settings: Settings, site_id: str | None) -> None:
    """Delete dead letters."""
    from fieldfare.api.core.service import check_holds_data
    from fieldfare.api.records.dead_letters import clear_dead_letters
    from fieldfare.dashboards.text.words import count

    check_holds_data(settings)
    say(f"{count(clear_dead_letters(settings, site_id), 'dead letter')} deleted")


_MOST_FILES = 12
"""Files that a summary names one by one."""


def _summary_text(summary: dict[str, Any]) -> str:
    from fieldfare.api.running.intake import odd_registers_text, rows_as_utc_text
    from fieldfare.dashboards.text.words import count, moment, number

    first, last = (summary[k] and moment(datetime.fromisoformat(summary[k]), "UTC") for k in ("from", "to"))
    span = f", {first} to {last} UTC" if first else ""
    lines = [
        f"{count(summary['rows'], 'row')}: {count(summary['readings'], 'reading')} stored,"
        f" {number(summary['duplicates'])} were already stored{span}"
    ]
    if replaced := summary.get("replaced"):
        lines.append(
            f"{number(replaced)} of these had other values before; if the file is from another site, undo it"
            " with --undo"
        )
    if said := rows_as_utc_text(summary):
        lines.append(said)
    lines += odd_registers_text(summary, "UTC")
    if missing := summary.get("missing_points"):
        unused = ", ".join(summary["ignored_columns"]) or "none"
        lines.append(f"no column for {', '.join(missing)}; columns not used: {unused}")
    lines += _columns_of_one_file(summary)
    return "\n".join(lines)


def _columns_of_one_file(summary: dict[str, Any]) -> list[str]:
    """A line for each of several files that lacks a point the others have and has columns of its own: the
    column may have another name there."""
    lines = []
    for one in summary.get("files", ()):
        lacks, own = (
            [name for name in one[key] if name not in summary[key]]
            for key in ("missing_points", "ignored_columns")
        )
        if lacks and own:
            lines.append(
                f"{one['name']}: no column for {', '.join(lacks)}, unlike the other files; columns not used:"
                f" {', '.join(own)}"
            )
    shown = lines[:_MOST_FILES]
    return [*shown, f"and so in {len(lines) - len(shown)} more files"] if len(lines) > len(shown) else shown


def _rejects_text(rejected: dict[str, Any]) -> str:
    from fieldfare.dashboards.text.words import count

    rows, reasons = count(rejected["count"], "row"), _by_reason(rejected["reasons"])
    said = f"fieldfare: {rows} rejected ({reasons}); see {rejected['file']}"
    first = next(iter(rejected.get("examples", {}).values()), "")
    return f"{said}; {first[:200]}" if first else said


def _by_reason(counts: dict[str, int]) -> str:
    from fieldfare.dashboards.text.words import number

    return "; ".join(f"{reason}: {number(n)}" for reason, n in counts.items())


@contextmanager
def _bar(files: tuple[Path, ...]) -> Iterator[Callable[[int], None] | None]:
    """A progress bar over the bytes of the files on a terminal, nothing in a pipe."""
    if not sys.stderr.isatty():
        yield None
        return
    from tqdm import tqdm

    total = sum(f.stat().st_size for f in files if f.is_file())
    with tqdm(total=total, unit="B", unit_scale=True, leave=False, disable=None) as bar:

        def step(size: int) -> None:
            bar.update(size)

        yield step


COMMANDS = (ingest, export, import_, move, set_aside)
