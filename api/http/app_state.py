"""Application state: the services that routes use, made once."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from starlette.requests import HTTPConnection

from fieldfare.api.alerts.alerts import Alerts
from fieldfare.api.alerts.handling import Handlings
from fieldfare.api.alerts.notices import Notices
from fieldfare.api.checks.photos import Photos
from fieldfare.api.checks.sheets import Sheets
from fieldfare.api.core.cache import LastUsed
from fieldfare.api.core.outgoing import Outgoing
from fieldfare.api.core.service import Service
from fieldfare.api.core.settings import Settings
from fieldfare.api.jobs.leases import JobLeases
from fieldfare.api.people.accounts import Accounts
from fieldfare.api.people.audit import Audit
from fieldfare.api.people.device_tokens import DeviceTokens
from fieldfare.api.people.home_links import HomeLinks
from fieldfare.api.people.passkeys import PasskeySite
from fieldfare.api.people.provider import Provider
from fieldfare.api.people.saved_views import SavedViews
from fieldfare.api.people.second_factors import Factors
from fieldfare.api.people.secrets import Sealer, signing_key
from fieldfare.api.people.sessions import Sessions
from fieldfare.api.people.sign_in import SignIn
from fieldfare.api.records.maintenance_log import MaintenanceLog
from fieldfare.api.visits.bookings import Bookings
from fieldfare.api.visits.feed import Feeds

DRAWN_KEPT = 48
"""Of some 300 kB: homes that people look at in the same minutes."""


@dataclass
class AppState:
    """The service and everything that uses its state database."""

    service: Service
    stopping: threading.Event = field(default_factory=threading.Event)
    drawn: LastUsed[tuple[Any, ...], dict[str, Any]] = field(default_factory=lambda: LastUsed(DRAWN_KEPT))
    """What pages of single homes show of their results."""
    damage: list[str] = field(default_factory=list)
    """What the last look found damaged of what all homes share, one line each."""

    @property
    def settings(self) -> Settings:
        return self.service.settings

    @cached_property
    def _signing_key(self) -> str:
        return signing_key(self.settings.data)

    @property
    def owner_key(self) -> str:
        """Signer of the owner tokens of cached pages."""
        return self._signing_key

    @cached_property
    def accounts(self) -> Accounts:
        return Accounts(self.service.database)

    @cached_property
    def sign_in(self) -> SignIn:
        required = self.settings.second_factor == "required"
        return SignIn(self.service.database, self._signing_key, require_factor=required)

    @cached_property
    def sessions(self) -> Sessions:
        return Sessions(self.service.database)

    @cached_property
    def factors(self) -> Factors:
        site = PasskeySite(self.settings.address, self.settings.firm or "fieldfare")
        return Factors(self.service.database, Sealer(self._signing_key), site)

    @cached_property
    def provider(self) -> Provider | None:
        """The firm's OpenID Connect provider, or None."""
        given = self.settings
        if not given.provider_url:
            return None
        return Provider(
            given.provider_url,
            given.provider_client,
            given.provider_secret,
            given.address,
            self._signing_key,
            Outgoing.of(given.internal_hosts),
        )

    @cached_property
    def links(self) -> HomeLinks:
        return HomeLinks(self.service.database, self._signing_key)

    @cached_property
    def tokens(self) -> DeviceTokens:
        return DeviceTokens(self.service.database)

    @cached_property
    def audit(self) -> Audit:
        return Audit(self.service.database)

    @cached_property
    def alerts(self) -> Alerts:
        return Alerts(self.service.database)

    @cached_property
    def handlings(self) -> Handlings:
        return Handlings(self.service.database)

    @cached_property
    def saved_views(self) -> SavedViews:
        return SavedViews(self.service.database)

    @cached_property
    def notices(self) -> Notices:
        return Notices(self.service.database, self.settings)

    @cached_property
    def leases(self) -> JobLeases:
        return JobLeases(self.service.database)

    @cached_property
    def bookings(self) -> Bookings:
        return Bookings(self.service.database)

    @cached_property
    def feeds(self) -> Feeds:
        return Feeds(self.service.database)

    @cached_property
    def photos(self) -> Photos:
        return Photos(self.service.database, self.settings.data)

    @cached_property
    def sheets(self) -> Sheets:
        return Sheets(self.service, self.photos)

    @cached_property
    def works(self) -> MaintenanceLog:
        return MaintenanceLog(self.service)


def parts_of(request: HTTPConnection) -> AppState:
    """Dependency: the application state of a request."""
    return request.app.state.parts
