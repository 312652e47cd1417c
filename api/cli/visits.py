"""`fieldfare visits`: the visit list, as on the page."""

from __future__ import annotations

from typing import Any

import click

from fieldfare.api.cli.options import NO_SITES, format_option, print_json, say
from fieldfare.api.core.settings import Settings


@click.command("visits")
@format_option
@click.pass_obj
def visits(settings: Settings, form: str) -> None:
    """List the homes that need a visit: why, how long, what to bring; by area, in driving order."""
    from fieldfare.api.core.service import opened_existing
    from fieldfare.api.http.app_state import AppState
    from fieldfare.api.visits.rows import job_minutes, visit_rows
    from fieldfare.dashboards.fleet.visits import visit_list

    with opened_existing(settings) as service:
        parts = AppState(service)
        has_sites = bool(service.sites.ids())
        found = visit_list(
            visit_rows(parts), service.fleet.now(), service.firm.position, job_minutes(service.database)
        )
    if form == "json":
        print_json({"kinds": found})
        return
    if not found:
        say("no home needs work" if has_sites else NO_SITES)
    for kind in found:
        say(f"{kind['title']}: {kind['meaning']}")
        for area in kind["areas"]:
            _print_area(area)
        say()


def _print_area(area: dict[str, Any]) -> None:
    from fieldfare.dashboards.text import words

    if area["name"]:
        length = "" if area["km"] is None else f", {words.measure(area['km'], 'km', 0)}"
        say(f"  {area['name']} ({area['n']}{length})")
    for stop in area["stops"]:
        number = f"{stop['number']}. " if stop["number"] else ""
        km = "" if stop["km"] is None else f", {words.measure(stop['km'], 'km', 1)} further"
        minutes = words.measure(stop["minutes"], "min")
        line = f"    {number}{stop['name']} [{stop['id']}]: {stop['word']}, about {minutes}{km}"
        say(line)
        for line in _lines(stop):
            say(f"         {line}")


def _lines(stop: dict[str, Any]) -> list[str]:
    from fieldfare.dashboards.text import words

    contact = stop["contact"]
    reached = ", ".join(contact[k] for k in ("name", "phone", "address") if contact[k])
    return [
        *([reached] if reached else []),
        *([f"Access: {contact['access']}"] if contact["access"] else []),
        *(f"{words.finding_title(f['code'])}: {words.named(f['next_step'])}" for f in stop["findings"]),
        *([f"Bring: {words.listed(stop['bring'])}"] if stop["bring"] else []),
        *(f"Take care: {words.named(c)}" for c in stop["cautions"]),
        *([f"Booked: {stop['booked']['when']}, {stop['booked']['who']}"] if stop["booked"] else []),
    ]


COMMANDS = (visits,)
