"""What to set, and a cold snap ahead: `advice`, `cold-snap`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fieldfare.analysis.errors import InputError
from fieldfare.api.cli.options import NO_SITES, format_option, print_json, say
from fieldfare.api.core.settings import Settings

if TYPE_CHECKING:
    from fieldfare.api.core.service import Service


@click.command("advice")
@click.argument("site_id", metavar="SITE")
@format_option
@click.pass_obj
def advice(settings: Settings, site_id: str, form: str) -> None:
    """List the settings of a home worth changing, with the saving of each and its effect on the rooms."""
    from fieldfare.api.core.advice import advice as advised
    from fieldfare.api.core.service import opened_existing

    with opened_existing(settings) as service:
        document = advised(service, service.sites.get(site_id))
    if form == "json":
        print_json(document)
        return
    from fieldfare.dashboards.advice.present_advice import present_advice

    shown = present_advice(document)
    for a in shown["advice"]:
        say(" ".join(filter(None, [f"{a['title']}.", a["saves"], a["money"]])))
        for line in (*a["lines"], *a["steps"], f"Watch: {a['stop']}", *filter(None, [a["caution"]])):
            say(f"  {line}")
    if not shown["advice"]:
        say("No setting here is worth changing by what the readings show.")
    for x in shown["left_out"]:
        say(f"Not advised: {x['title']}: {x['reason']}")


@click.command("cold-snap")
@click.argument(
    "forecast", required=False, type=click.Path(exists=True, dir_okay=False, path_type=Path), metavar="[FILE]"
)
@format_option
@click.pass_obj
def cold_snap(settings: Settings, forecast: Path | None, form: str) -> None:
    """List the homes that will not keep their rooms warm in a forecast.

    FILE: a CSV with the columns time (ISO 8601 with offset) and outdoor_c (°C), or JSON rows of the same.
    Without it the forecast is fetched from the address in FIELDFARE_FORECAST_URL; where that fails, the last
    one that still holds is used.
    """
    from fieldfare.api.core.service import opened_existing

    with opened_existing(settings) as service:
        if forecast is None:
            document = _by_address(service)
        else:
            from fieldfare.api.core.cold_snap import cold_snap as looked_at

            text = forecast.read_text(encoding="utf-8-sig", errors="replace")
            document = looked_at(service, text, str(forecast))
    if form == "json":
        print_json(document)
        return
    from fieldfare.dashboards.advice.cold_snap import cold_snap_rows, forecast_sentence

    if not document["homes"]:
        say(NO_SITES)
    if forecast is None:
        say(forecast_sentence(document))
    for row in cold_snap_rows(document):
        say(f"{row['state']}: {row['name']} ({row['site']}). {row['says']}")
        if row["do"]:
            say(f"  {row['do']}")


def _by_address(service: Service) -> dict[str, Any]:
    """Every home in the forecast by address. Raises InputError where there is none, new or kept."""
    from fieldfare.api.core.forecast import NoForecast, fetch_forecast, forecast_document, kept_forecast

    try:
        return forecast_document(fetch_forecast(service))
    except NoForecast as error:
        forecast = kept_forecast(service)
        if forecast is None or forecast.outlook is None:
            raise InputError(str(error)) from None
        say(f"note: {error}; this is the forecast fetched before", err=True)
        return forecast_document(forecast)


COMMANDS = (advice, cold_snap)
