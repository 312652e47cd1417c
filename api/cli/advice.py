"""What to set, and a cold snap ahead: `advice`, `cold-snap`."""

from __future__ import annotations

from pathlib import Path

import click

from fieldfare.api.cli.options import format_option, print_json
from fieldfare.api.core.settings import Settings


@click.command("advice")
@click.argument("site_id", metavar="SITE")
@format_option
@click.pass_obj
def advice(settings: Settings, site_id: str, form: str) -> None:
    """Say which settings of a home are worth changing, what each saves and what rooms do."""
    from fieldfare.api.core.advice import advice as advised
    from fieldfare.api.core.service import opened

    with opened(settings) as service:
        document = advised(service, service.sites.get(site_id))
    if form == "json":
        print_json(document)
        return
    from fieldfare.dashboards.advice.told import advice_told

    told = advice_told(document)
    for a in told["advice"]:
        click.echo(f"{a['title']}. {a['saves']}")
        for line in (*a["lines"], *a["steps"], f"Watch: {a['stop']}", *filter(None, [a["caution"]])):
            click.echo(f"  {line}")
    if not told["advice"]:
        click.echo("No setting here is worth changing by what the readings show.")
    for x in told["left_out"]:
        click.echo(f"Not advised: {x['title']}: {x['reason']}")


@click.command("cold-snap")
@click.argument("forecast", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@format_option
@click.pass_obj
def cold_snap(settings: Settings, forecast: Path, form: str) -> None:
    """Say which homes will not hold their rooms in a forecast: a CSV with the columns time (ISO 8601 with
    offset) and outdoor_c (°C), or JSON rows of the same."""
    from fieldfare.api.core.cold_snap import cold_snap as looked_at
    from fieldfare.api.core.service import opened

    text = forecast.read_text(encoding="utf-8-sig", errors="replace")
    with opened(settings) as service:
        document = looked_at(service, text, str(forecast))
    if form == "json":
        print_json(document)
        return
    from fieldfare.dashboards.advice.snap import snap_told

    for row in snap_told(document):
        click.echo(f"{row['state']}: {row['name']} ({row['site']}). {row['says']}")
        if row["do"]:
            click.echo(f"  {row['do']}")


COMMANDS = (advice, cold_snap)
