"""Weather of a station for a site without an outdoor sensor, stored under a key of its own."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.site import Point, Site
from fieldfare.analysis.plant.weather import STATION_QUANTITIES, station_id

if TYPE_CHECKING:
    from fieldfare.api.core.service import Service


def station_key(site_id: str) -> str:
    """Store key of a site's station. Never a valid site id, as ids have no double hyphens."""
    return f"{site_id}--station"


def station_points(site: Site) -> dict[str, Point]:
    """Points measured by the station but not by the site, by id."""
    points = (
        Point.model_validate({"id": station_id(quantity), "quantity": quantity, "as": "gauge", "unit": unit})
        for quantity, unit in STATION_QUANTITIES.values()
        if not site.measures(quantity)
    )
    return {p.id: p for p in points}


def take_weather(service: Service, site_id: str, path: Path) -> dict[str, Any]:
    """Import a station's file for a site.

    Returns station, readings (stored), duplicates, from and to (local days). Raises InputError if the site
    is unknown or names no station, or the file can't be read; nothing is stored then.
    """
    from fieldfare.api.core.local_days import day_of
    from fieldfare.collector.weather_file import read_weather

    site = service.sites.get(site_id).site
    if site.weather is None or not site.weather.has_station:
        raise InputError(
            f'{site_id}: the site file names no station; give it [weather] with file = "{path.name}" '
            'or station = "NAME"'
        )
    found = read_weather(site, path)
    done = service.store.append(station_key(site_id), found)
    times = found[station_id("outdoor_temperature")].time
    return {
        "station": site.weather.station_name,
        "readings": done.stored + done.replaced,
        "duplicates": done.duplicates,
        "from": day_of(int(times[0]), site.zone).isoformat(),
        "to": day_of(int(times[-1]), site.zone).isoformat(),
        "used": sorted(p.quantity for p in station_points(site).values() if p.id in found),
    }
