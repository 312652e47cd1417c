"""`fieldfare serve`, `collect` and `demo`: long-running commands."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from fieldfare.api.cli.garbage import search_as_usual
from fieldfare.api.core.settings import Settings


@click.command("serve")
@click.option("--host", help="Address to listen on. Default: 127.0.0.1.")
@click.option(
    "--port", type=click.IntRange(0, 65535), help="Port to listen on, 0 for any free one. Default: 8080."
)
@click.pass_obj
def serve(settings: Settings, host: str | None, port: int | None) -> None:
    """Run the API, the pages and the nightly work in one process, and the collector if a broker is set."""
    from fieldfare.api.running.serve import serve as run

    chosen = replace(settings, host=host or settings.host, port=settings.port if port is None else port)
    search_as_usual()
    run(chosen, announce=click.echo)


@click.command("collect")
@click.option("--broker", metavar="URL", help="Such as mqtts://host:8883. Default: $FIELDFARE_BROKER_URL.")
@click.pass_obj
def collect(settings: Settings, broker: str | None) -> None:
    """Store readings from an MQTT broker until stopped."""
    if not (broker or settings.broker_url):
        raise click.UsageError("No broker is configured: give --broker or set FIELDFARE_BROKER_URL.")
    from fieldfare.api.running.collect import collect_until_stopped

    search_as_usual()
    collect_until_stopped(replace(settings, broker_url=broker or settings.broker_url), announce=click.echo)


@click.command("demo")
@click.option(
    "--port", type=click.IntRange(0, 65535), default=None, help="Port to listen on. Default: any free one."
)
@click.option("--once", is_flag=True, help="Make and analyse the fleet, then stop instead of serving.")
@click.option("--sites", "count", type=click.IntRange(1), help="Make only this many sites.")
@click.pass_context
def demo(context: click.Context, port: int | None, once: bool, count: int | None) -> None:
    """Make a small fleet with invented data, analyse it, serve it, print the address."""
    from fieldfare.api.running.demo import run_demo

    settings: Settings = context.obj
    given = context.find_root().params.get("data") or settings.data != Settings.data
    chosen = replace(
        settings, data=settings.data if given else Path("demo-data"), demo=True, host="127.0.0.1"
    )
    search_as_usual()
    run_demo(replace(chosen, port=port or 0), announce=click.echo, once=once, count=count)


COMMANDS = (serve, collect, demo)
