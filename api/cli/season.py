"""A home's first season and the next design: `commissioned`, `tuning`, `design-feedback`."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import click

from fieldfare.api.cli.options import NO_SITES, Day, format_option, print_json, say
from fieldfare.api.core.settings import Settings


@click.command("commissioned")
@click.argument("site_id", metavar="SITE")
@format_option
@click.pass_obj
def commissioned(settings: Settings, site_id: str, form: str) -> None:
    """Compare the values kept at commissioning with what the readings say today."""
    from fieldfare.api.core.commissioned import commissioned as looked_at
    from fieldfare.api.core.service import opened_existing

    with opened_existing(settings) as service:
        record = service.sites.get(site_id)
        document = looked_at(service, record)
    if form == "json":
        print_json(document)
        return
    from fieldfare.dashboards.checks.commissioned import present_commissioned

    shown = present_commissioned(document, record.site)
    for r in shown["differs"]:
        change = f", {r['change']}" if r["change"] else ""
        say(f"Differs: {r['title']}, {r['name']}: {r['then']} then, {r['today']} today{change}")
        if r["tuned"]:
            say("  Changed on purpose: see the tuning diary.")
        elif r["means"]:
            named = "; ".join(f"{f['title']}{'' if f['open'] else ' (not found)'}" for f in r["findings"])
            say(f"  May mean: {r['means']}.{f' Findings: {named}' if named else ''}")
    if shown["caution"]:
        say(f"  Take care. {shown['caution']}")
    for r in shown["agrees"]:
        say(f"As commissioned: {r['title']}, {r['name']}: {r['then']} then, {r['today']} today")
    for r in shown["unknown"]:
        say(f"Not known: {r['title']}, {r['name']}: {r['then']}. {r['reason']}")
    if not document["values"]:
        say("No values were kept yet: fill in the commissioning sheet.")


@click.command("tuning")
@click.argument("site_id", metavar="SITE")
@click.option("--made", type=Day(), help="Log the step that the diary names, as made on this day.")
@format_option
@click.pass_obj
def tuning(settings: Settings, site_id: str, made: date | None, form: str) -> None:
    """Show which setting of a home to change next, by how much and why; or that tuning is done."""
    from fieldfare.api.core.service import opened_existing
    from fieldfare.api.core.tuning import tuning as kept

    with opened_existing(settings) as service:
        record = service.sites.get(site_id)
        document = kept(service, record)
        if made is not None:
            _log(service, record, document, made)
            document = kept(service, record)
    if form == "json":
        print_json(document)
        return
    from fieldfare.dashboards.advice.diary import present_diary

    shown = present_diary(document, record.site.cost.currency if record.site.cost is not None else None)
    if shown["first"]:
        _once(shown)
    say(f"{shown['headline']}.{' ' + shown['says'] + '.' if shown['says'] else ''}")
    step = shown["next"]
    if step is not None:
        say(f"  {step['change']}.")
        for line in (*step["lines"], f"Watch: {step['watch']}", *filter(None, [step["caution"]])):
            say(f"  {line}")
    if not shown["first"]:
        _once(shown)
    for e in shown["entries"]:
        say(f"{e['day']}: {e['change']}{' (warmth given back)' if e['back'] else ''}. {e['said']}")
    if shown["whole"]:
        say(f"In all: {shown['whole']}")
    for s in shown["settings"]:
        say(f"{s['name']}: {s['state']}{'. ' + s['reason'] if s['reason'] else ''}")


def _once(shown: dict[str, Any]) -> None:
    """The settings that are changed once, not by weekly steps."""
    when = "Set this first" if shown["first"] else "Also"
    for a in shown["once"]:
        say(f"{when}, once: {a['title']}. {a['saves'] or a['money']}")


def _log(service: Any, record: Any, document: dict[str, Any], made: date) -> None:
    from fieldfare.analysis.errors import InputError
    from fieldfare.api.core.tuning import log_step
    from fieldfare.api.people.access import COMMAND_LINE
    from fieldfare.api.records.maintenance_log import MaintenanceLog
    from fieldfare.api.records.tuning_log import checked_step

    step = document["next"]
    if step is None:
        raise InputError("the diary names no step to log now; leave out --made")
    log_step(
        MaintenanceLog(service),
        record.site,
        checked_step(made, step["code"], step["now"], step["to"]),
        COMMAND_LINE,
    )


@click.command("design-feedback")
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the table for a design calculation to FILE.csv.",
)
@format_option
@click.pass_obj
def design_feedback(settings: Settings, out: Path | None, form: str) -> None:
    """Compare what the firm's homes measured with their designs, by type and age of home."""
    from fieldfare.analysis.errors import InputError
    from fieldfare.api.core.fleet_rows import fleet_feedback
    from fieldfare.api.core.service import opened_existing

    if out is not None and out.suffix.lower() != ".csv":
        raise InputError(f"{out}: the name must end in .csv")
    if out is not None and not out.absolute().parent.is_dir():
        raise InputError(f"{out}: there is no folder {out.absolute().parent}")
    with opened_existing(settings) as service:
        has_sites = bool(service.sites.ids())
        document = fleet_feedback(service)["by_building"]
    if out is not None:
        from fieldfare.api.core.design_csv import design_csv

        out.write_bytes(design_csv(document))
        if form == "text":
            say(f"wrote {out}")
    if form == "json":
        print_json(document)
        return
    from fieldfare.dashboards.rows.design_ratios import present_design_ratios

    shown = present_design_ratios(document)
    if shown is None:
        say("No home has both a measured and a designed value yet." if has_sites else NO_SITES)
        return
    for table in shown["tables"]:
        say(f"{table['title']}, measured over designed")
        for r in table["rows"]:
            range_ = f"{r['ratio']}; next home {r['next']}" if r["ratio"] else "too few homes"
            say(f"  {r['group']}, {r['n']} homes: {range_}")
        if table["says"]:
            say(f"  {table['says']}")


COMMANDS = (commissioned, tuning, design_feedback)
