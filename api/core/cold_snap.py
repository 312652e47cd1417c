"""Check every home of the firm against a forecast."""

from __future__ import annotations

from datetime import date
from functools import partial
from typing import TYPE_CHECKING, Any

from fieldfare.api.core.rolling_period import rolling_result
from fieldfare.api.core.service import Service
from fieldfare.api.core.site_guard import Failure, attempt

if TYPE_CHECKING:
    from fieldfare.analysis.reports.cold_snap import WeatherForecast

ORDER = ("short", "may_be_short", "not_known", "holds")


def cold_snap(service: Service, text: str, name: str) -> dict[str, Any]:
    """Check every home against the forecast in a CSV or JSON text; form: analysis.reports.cold_snap.FORM.

    name : of the file, for messages. Raises InputError where the forecast can't be read
    """
    from fieldfare.analysis.reports.cold_snap import parse_forecast

    return homes_in(service, parse_forecast(text, name))


def homes_in(service: Service, forecast: WeatherForecast) -> dict[str, Any]:
    """Outlook of each home in a forecast, JSON-ready; homes that will fall short first."""
    homes = []
    for site_id in service.sites.ids():
        found = attempt(site_id, "look at the forecast", partial(_home, service, site_id, forecast))
        if isinstance(found, Failure):
            found = {"site": site_id, "name": site_id, "state": "not_known", "reason": found.reason}
        homes.append(found)
    homes.sort(key=lambda h: (ORDER.index(h["state"]), -((h.get("short_kw") or {}).get("value") or 0.0)))
    return {
        "from": forecast.time[0].isoformat(),
        "to": forecast.time[-1].isoformat(),
        "coldest_c": float(forecast.outdoor_c.min()),
        "homes": homes,
    }


def _home(service: Service, site_id: str, forecast: WeatherForecast) -> dict[str, Any]:
    from fieldfare.analysis.reports.cold_snap import outlook

    record = service.sites.get(site_id)
    result = rolling_result(service, record, None)
    site = service.facts_cache.with_borrowed_weather(record.site)
    facts = None
    if result is not None:
        days = (date.fromisoformat(result["period"][name]) for name in ("from", "to"))
        facts = service.facts_cache.stored(site_id, *days)
    return {"name": record.site.name, **outlook(site, result, forecast, facts).as_dict()}
