"""What to set: `advice`."""

from __future__ import annotations

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


COMMANDS = (advice,)
