"""`fieldfare site ...`: manage site files."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fieldfare.api.cli.options import NO_SITES, format_option, print_json, say
from fieldfare.api.core.settings import Settings

if TYPE_CHECKING:
    from fieldfare.analysis.plant.site import Site
    from fieldfare.api.core.service import Service


@click.group("site")
def site_group() -> None:
    """Manage site files: one for each installation."""


@site_group.command("add")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.pass_obj
def add(settings: Settings, files: tuple[Path, ...]) -> None:
    """Check site files and store them; a file with a known id replaces the older one.

    One wrong file refuses them all: nothing is stored.
    """
    from fieldfare.api.core.sites import read_site_files

    read = read_site_files(files)
    stations = _stations([site for _, site in read], files)
    from fieldfare.api.core.service import opened

    with opened(settings) as service:
        for done in service.sites.add(read):
            if done.site.id in stations:
                _keep_station(service, done.site.id, stations[done.site.id])
            say(f"{'added' if done.is_new else 'updated'} {done.site.id} ({len(done.site.point)} points)")
            lender = done.site.weather_lender
            if lender and service.sites.find(lender) is None:
                key = "outdoor_from" if done.site.site.outdoor_from else "weather.site"
                say(f"note: {key} names {lender}, which is not a site here yet", err=True)


def _stations(sites: list[Site], files: tuple[Path, ...]) -> dict[str, Path]:
    """Site id -> its station's file, located beside the site file.

    Reads each file once, so that an invalid one rejects all.
    """
    out: dict[str, Path] = {}
    for site, path in zip(sites, files, strict=True):
        if site.weather is not None and site.weather.file is not None:
            from fieldfare.collector.weather_file import read_weather

            out[site.id] = path.parent / site.weather.file
            read_weather(site, out[site.id])
    return out


def _keep_station(service: Service, site_id: str, path: Path) -> None:
    from fieldfare.api.core.weather import take_weather
    from fieldfare.dashboards.text.words import days_between

    done = take_weather(service, site_id, path)
    say(f"weather {done['station']}: {days_between(done['from'], done['to'])}")


@site_group.command("list")
@format_option
@click.pass_obj
def list_sites(settings: Settings, form: str) -> None:
    """List every site: how many points, and the first and last day of its readings."""
    from fieldfare.api.core.service import opened_existing
    from fieldfare.api.core.site_rows import site_rows
    from fieldfare.dashboards.text.words import days_between

    with opened_existing(settings) as service:
        rows = site_rows(service)
    if form == "json":
        print_json({"sites": rows})
        return
    if not rows:
        say(NO_SITES)
        return
    width = max(len(row["id"]) for row in rows)
    for row in rows:
        if row["reason"]:
            say(f"{row['id']:<{width}}  failed: {row['reason']}")
            continue
        span = days_between(row["from"], row["to"]) if row["from"] else "no readings"
        line = f"{row['id']:<{width}}  {row['points']:>3} points  {span:<26}  {row['name']}"
        say(line)
        for notice in row["data_notices"]:
            say(f"{'':<{width}}  data: {notice}")


@site_group.command("show")
@click.argument("site_id", metavar="ID")
@click.pass_obj
def show(settings: Settings, site_id: str) -> None:
    """Print a stored site file."""
    from fieldfare.api.core.service import opened_existing

    with opened_existing(settings) as service:
        click.echo(service.sites.file(site_id), nl=False)


@site_group.command("remove")
@click.argument("site_id", metavar="ID")
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.pass_obj
def remove(settings: Settings, site_id: str, yes: bool) -> None:
    """Delete a site: its file, readings, facts, alerts, jobs and papers."""
    from fieldfare.api.core.service import opened_existing
    from fieldfare.api.records.erasure import erase_site

    with opened_existing(settings) as service:
        service.sites.file(site_id)
        if not yes and sys.stdin.isatty():
            click.confirm(f"Delete {site_id} and all its readings?", abort=True, err=True)
        erase_site(service, site_id)
    say(f"removed {site_id}")


@site_group.command("template")
def template() -> None:
    """Print an example site file that explains every key."""
    from importlib.resources import files

    click.echo(files("fieldfare.api").joinpath("site_template.toml").read_text(encoding="utf-8"), nl=False)


@site_group.command("columns")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option("--site", "site_id", metavar="SITE", help="The file's site; its time zone is proposed.")
@click.pass_obj
def columns(settings: Settings, file: Path, site_id: str | None) -> None:
    """Recognise the columns of a CSV export and print them as sections for a site file.

    Check every quantity and unit, and the time zone. Without --site, enter the zone of times without an
    offset yourself.
    """
    from fieldfare.analysis.errors import InputError
    from fieldfare.analysis.plant.fields import UNSAID
    from fieldfare.collector.csv.column_mapping import proposal_toml, propose
    from fieldfare.collector.csv.source import head_of

    zone = UNSAID if site_id is None else _zone_of(settings, site_id)
    try:
        proposal = propose(*head_of(file), zone)
        if proposal.problem:
            raise InputError(proposal.problem)
    except InputError as error:
        raise InputError(f"{file}: {error}") from None
    click.echo(f"# From {file.name}. Check each quantity and unit.")
    if proposal.timezone == UNSAID:
        say(f'# The times have no offset: replace "{UNSAID}" by their zone, such as "Europe/London".')
    click.echo(proposal_toml(proposal), nl=False)
    if unsaid := sum(state == UNSAID for c in proposal.columns for _, state in c.values):
        say(
            f'# {unsaid} words of states are not known: replace "{UNSAID}" by the meaning of each, or delete'
            " its line."
        )


def _zone_of(settings: Settings, site_id: str) -> str:
    from fieldfare.api.core.service import opened_existing

    with opened_existing(settings) as service:
        return service.sites.get(site_id).site.timezone


COMMANDS = (site_group,)
