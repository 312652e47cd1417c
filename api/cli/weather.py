"""`fieldfare weather`: import a station's weather for a site without an outdoor sensor."""

from __future__ import annotations

from pathlib import Path

import click

from fieldfare.api.cli.options import format_option, print_json, say
from fieldfare.api.core.settings import Settings


@click.command("weather")
@click.argument("site_id", metavar="SITE")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@format_option
@click.pass_obj
def weather(settings: Settings, site_id: str, file: Path, form: str) -> None:
    """Read a weather station's CSV for a site whose site file has [weather].

    Columns: time (ISO 8601, UTC without an offset) or day (local day, daily means), outdoor_c, and where
    known humidity_percent and sun_w_m2. One wrong line refuses the file: nothing is stored.
    """
    from fieldfare.api.core.service import opened_existing
    from fieldfare.api.core.weather import take_weather

    with opened_existing(settings) as service:
        done = take_weather(service, site_id, file)
    if form == "json":
        print_json(done)
        return
    from fieldfare.dashboards.text.words import count, days_between

    days, stored = days_between(done["from"], done["to"]), count(done["readings"], "reading")
    say(f"{done['station']}: {days}, {stored} stored")
    if not done["used"]:
        say(
            f"note: {site_id} has its own sensors for all of it; the station's readings are not used",
            err=True,
        )


COMMANDS = (weather,)
