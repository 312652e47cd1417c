"""`fieldfare check` and `repair`: check all stored data, and restore damaged data from a backup."""

from __future__ import annotations

from pathlib import Path

import click

from fieldfare.api.cli.options import NO_SITES, format_option, print_json, say
from fieldfare.api.core.settings import Settings


@click.command("check")
@format_option
@click.pass_obj
def check(settings: Settings, form: str) -> int:
    """Read all stored data of all sites and list damaged or missing items; the exit code is then 1.

    Changes nothing. Restore damaged data from a backup, or read the exports of those days again.
    """
    from fieldfare.analysis.errors import FieldfareError
    from fieldfare.api.core.service import check_holds_data, opened_existing
    from fieldfare.api.records.check import Damage, check_databases, check_key, check_rows, check_sites
    from fieldfare.dashboards.text.words import count

    check_holds_data(settings)
    found = check_databases(settings)
    sites = 0
    try:
        with opened_existing(settings) as service:
            sites = len(service.sites.ids())
            found += check_key(service)
            found += check_rows(service)
            found += check_sites(service)
    except FieldfareError as error:
        if not found:
            found.append(Damage("", str(error)))
    if form == "json":
        print_json({"sites": sites, "damage": [{"site": d.site or None, "what": d.what} for d in found]})
    else:
        for damage in found:
            say(str(damage))
        summary = f"{count(len(found), 'item')} damaged or missing" if found else "no damage"
        say(f"{count(sites, 'site')}: {summary}" if sites or found else NO_SITES)
    return 1 if found else 0


@click.command("repair")
@click.argument("folder", metavar="[FOLDER]", required=False, type=click.Path(path_type=Path))
@click.option("--accept-rows", is_flag=True, help="Accept damaged rows of the state database as they are.")
@click.pass_obj
def repair(settings: Settings, folder: Path | None, accept_rows: bool) -> int:
    """Delete damaged facts and results, which are recomputed from the readings, and short-lived rows such
    as sessions. With FOLDER, a restored backup, also restore damaged or missing months of readings, and
    damaged rows of people, jobs and decisions.

    Readable readings are never replaced. The exit code is 1 if something is still damaged.
    """
    from fieldfare.api.core.service import opened_existing
    from fieldfare.api.records.repair import damaged_readings, repair_derived
    from fieldfare.api.records.repair import repair as run
    from fieldfare.api.records.repair_rows import repair_rows
    from fieldfare.dashboards.text.words import count

    with opened_existing(settings) as service:
        rows = repair_rows(service, folder, accept=accept_rows)
        for line in rows.lines:
            say(line)
        done = [*repair_derived(service), *(run(service, folder) if folder is not None else ())]
        unread = [] if folder is not None else damaged_readings(service)
    for site in done:
        if site.derived:
            say(f"{site.site}: {count(site.derived, 'table')} will be recomputed from the readings")
        else:
            say(f"{site.site}: {count(site.readings, 'reading')} restored")
        for what in site.left:
            say(f"{site.site}: still damaged: {what}")
    if not done and not unread and not rows.lines:
        say("no readings are damaged")
    for unreadable in unread:
        say(f"{unreadable}; name the folder of a restored backup to bring it back")
    return 1 if unread or rows.left or any(site.left for site in done) else 0


COMMANDS = (check, repair)
