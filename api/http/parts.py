"""What the routes work with, made once for the application."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from starlette.requests import HTTPConnection

from api.alerts.alerts import Alerts
from api.alerts.handling import Handlings
from api.alerts.notices import Notices
from api.jobs.book import JobBook
from api.people.accounts import Accounts
from api.people.audit import Audit
from api.people.device_tokens import DeviceTokens
from api.people.home_links import HomeLinks
from api.people.secrets import signing_key
from api.people.sign_in import SignIn
from api.remembered import Remembered
from api.service import Service
from api.settings import Settings
from api.works import Works


@dataclass
class Parts:
    """The service and everything that stands on its state database."""

    service: Service
    stopping: threading.Event = field(default_factory=threading.Event)
    winter_entries: Remembered[dict[str, Any] | None] = field(default_factory=Remembered)
    """Each site's entry in the list before winter."""

    @property
    def settings(self) -> Settings:
        return self.service.settings

    @cached_property
    def _signing_key(self) -> str:
        return signing_key(self.settings.data)

    @cached_property
    def accounts(self) -> Accounts:
        return Accounts(self.service.database)

    @cached_property
    def sign_in(self) -> SignIn:
        return SignIn(self.service.database, self._signing_key)

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
    def notices(self) -> Notices:
        return Notices(self.service.database, self.settings)

    @cached_property
    def book(self) -> JobBook:
        return JobBook(self.service.database)

    @cached_property
    def works(self) -> Works:
        return Works(self.service)


def parts_of(request: HTTPConnection) -> Parts:
    """The application's parts, for a route."""
    return request.app.state.parts
