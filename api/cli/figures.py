"""`fieldfare analyse`, `report` and `fleet`: show results."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from fieldfare.api.cli.options import format_option, from_option, print_json, say, to_option
from fieldfare.api.core.settings import Settings


@click.command("analyse")
@click.argument("site_id", metavar="SITE")
@from_option
@to_option
@format_option
@click.pass_obj
def analyse(settings: Settings, site_id: str, first: date | None, last: date | None, form: str) -> None:
    """Show how a site performs: energy, performance, heat loss against the design, cycling, hot water,
    findings."""
    from fieldfare.api.core.rolling_period import under_standing_verdict
    from fieldfare.api.core.service import opened_existing

    with opened_existing(settings) as service:
        record = service.sites.get(site_id)
        result = service.results.result(record, *service.results.period(record, first, last))
        result = under_standing_verdict(service, record, result)
    if form == "json":
        print_json(result)
        return
    from fieldfare.api.cli.plain_result import plain_result

    say(plain_result(result, record.site.name))


@click.command("report")
@click.argument("site_id", metavar="SITE")
@click.option("--month", metavar="YYYY-MM", help="The householder's month.")
@click.option("--winter-check", is_flag=True, help="The health check before winter.")
@click.option("--hand-over", is_flag=True, help="The first weeks against the design.")
@click.option(
    "--season", type=int, metavar="YYYY", help="Year in which the winter begins; with --winter-check."
)
@click.option(
    "--out",
    required=True,
    type=click.Path(dir_okay=False, path_type=Path),
    help="FILE.html, FILE.pdf or FILE.json",
)
@click.pass_obj
def report(
    settings: Settings,
    site_id: str,
    month: str | None,
    winter_check: bool,
    hand_over: bool,
    season: int | None,
    out: Path,
) -> None:
    """Write a paper: the householder's month, the winter check, or the hand-over."""
    if sum((month is not None, winter_check, hand_over)) != 1:
        raise click.UsageError("Give one of --month, --winter-check, --hand-over.")
    if season is not None and not winter_check:
        raise click.UsageError("--season goes with --winter-check.")
    from fieldfare.api.core.service import opened_existing
    from fieldfare.api.records.papers import (
        hand_over_paper,
        month_paper,
        winter_paper,
        write_paper,
    )

    with opened_existing(settings) as service:
        record = service.sites.get(site_id)
        if month is not None:
            paper = month_paper(service, record, month)
        elif winter_check:
            paper = winter_paper(service, record, season, pictures=True)
        else:
            paper = hand_over_paper(service, record)
        write_paper(paper, out)
    say(f"wrote {out}")


@click.command("fleet")
@format_option
@click.pass_obj
def fleet(settings: Settings, form: str) -> None:
    """List every site, worst first: its verdict, the finding to deal with first, its performance."""
    from fieldfare.api.cli.plain_result import plain_fleet
    from fieldfare.api.core.fleet_rows import fleet_rows
    from fieldfare.api.core.service import opened_existing

    with opened_existing(settings) as service:
        rows = fleet_rows(service, fresh=True)
    if form == "json":
        print_json({"sites": rows})
    else:
        say(plain_fleet(rows))


COMMANDS = (analyse, report, fleet)
