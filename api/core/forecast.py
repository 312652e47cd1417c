"""The configured weather forecast: fetched at night, kept until it ends."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import urlsplit

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from fieldfare.analysis.errors import FieldfareError, InputError
from fieldfare.api.core.cold_snap import homes_in
from fieldfare.api.core.outgoing import Outgoing, Unreachable
from fieldfare.api.core.service import Service
from fieldfare.api.core.settings import Settings
from fieldfare.api.state.work_tables import ForecastRow

ACCEPT = "text/csv, application/json"
LEAST_PAUSE = timedelta(minutes=1)
"""Between two tries by hand: the address belongs to somebody else."""

NOT_TRIED = "no forecast by address is set up, or none was fetched yet"


class NoForecast(FieldfareError):
    """No forecast from the configured address; the message names source and problem."""


@dataclass(frozen=True)
class KeptForecast:
    """A stored forecast. fetched, until, outlook : None without a current forecast. problem : of the last
    fetch, empty on success"""

    source: str
    tried: datetime
    problem: str = ""
    fetched: datetime | None = None
    until: datetime | None = None
    outlook: dict[str, Any] | None = None

    @property
    def summary(self) -> str:
        """Summary in one line."""
        homes = (self.outlook or {}).get("homes", [])
        short = sum(home["state"] in ("short", "may_be_short") for home in homes)
        until = f"{self.until:%Y-%m-%d %H:%M} UTC" if self.until else "-"
        return f"{self.source}: until {until}; {short} of {len(homes)} homes may fall short"


def fetch_forecast(service: Service, now: datetime | None = None) -> KeptForecast:
    """Fetch the configured forecast, compute every home's outlook, and store both.

    Raises InputError if no valid address is set; NoForecast if the fetch fails, which leaves the stored
    forecast unchanged.
    """
    from fieldfare.analysis.reports.cold_snap import by_hour, parse_forecast

    now = now or datetime.now(UTC)
    source = source_of(service.settings)
    try:
        outgoing = Outgoing.of(service.settings.internal_hosts)
        text = outgoing.text(service.settings.forecast_url, ACCEPT)
        forecast = parse_forecast(text, source)
        start, outdoor = by_hour(forecast)
        until = start + timedelta(hours=len(outdoor))
        if until <= now:
            raise InputError(f"{source}: the forecast ended on {until:%Y-%m-%d %H:%M} UTC")
        outlook = homes_in(service, forecast)
    except (Unreachable, InputError) as error:
        problem = f"{source}: {error}" if isinstance(error, Unreachable) else str(error)
        _keep(service, source, now, problem=problem)
        raise NoForecast(problem) from None
    _keep(service, source, now, fetched=now, until=until, text=text, outlook=outlook)
    return KeptForecast(source, now, "", now, until, outlook)


def kept_forecast(service: Service, now: datetime | None = None) -> KeptForecast | None:
    """The stored forecast of the configured address; None without an address or before the first fetch."""
    if not service.settings.forecast_url:
        return None
    now = now or datetime.now(UTC)
    with service.database.read() as session:
        row = session.get(ForecastRow, _owner(service.settings))
        if row is None:
            return None
        if row.until is None or row.until <= now:
            return KeptForecast(row.source, row.tried, row.problem)
        return KeptForecast(row.source, row.tried, row.problem, row.fetched, row.until, row.outlook)


def forget_home(session: Session, site_id: str) -> None:
    """Remove an erased home from the stored outlooks."""
    for row in session.scalars(select(ForecastRow)):
        if row.outlook is not None:
            homes = [home for home in row.outlook["homes"] if home["site"] != site_id]
            row.outlook = {**row.outlook, "homes": homes}


def forecast_document(forecast: KeptForecast) -> dict[str, Any]:
    """The outlook with the forecast's source and times, JSON-ready; `homes` is None where no forecast holds
    now, and `problem` says why."""
    ended = "" if forecast.outlook is not None else "the forecast that was fetched last has ended"
    return {
        "source": forecast.source or None,
        "fetched": forecast.fetched.isoformat() if forecast.fetched else None,
        "until": forecast.until.isoformat() if forecast.until else None,
        "problem": forecast.problem or ended or None,
        "homes": None,
        **(forecast.outlook or {}),
    }


def source_of(settings: Settings) -> str:
    """Name of the forecast's source: as configured, else the address's host; never the address, which may
    contain a key. Raises InputError."""
    if not settings.forecast_url:
        raise InputError("no forecast is set up; FIELDFARE_FORECAST_URL names its address")
    try:
        parts = urlsplit(settings.forecast_url)
        host = parts.hostname
    except ValueError:
        host = None
    if not host or parts.scheme not in ("http", "https"):
        raise InputError(
            "FIELDFARE_FORECAST_URL: must be an http:// or https:// address, such as"
            " https://weather.example/forecast.csv"
        )
    return settings.forecast_name or host


def _owner(settings: Settings) -> str:
    return hashlib.blake2b(settings.forecast_url.encode(), digest_size=16).hexdigest()


def _keep(service: Service, source: str, tried: datetime, *, problem: str = "", **found: Any) -> None:
    """Store the outcome of a fetch; delete forecasts of former addresses."""
    owner = _owner(service.settings)
    with service.database.write() as session:
        session.execute(delete(ForecastRow).where(ForecastRow.owner != owner))
        row = session.get(ForecastRow, owner) or ForecastRow(owner=owner, text="")
        row.source, row.tried, row.problem = source, tried, problem
        for name, value in found.items():
            setattr(row, name, value)
        session.add(row)
