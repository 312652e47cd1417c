"""Access control: one table of permissions, and the actor of a request or command."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Role = Literal["installer", "engineer", "householder", "device", "nobody"]
PEOPLE_ROLES = ("installer", "engineer", "householder")
OF_THE_FIRM = frozenset({"installer", "engineer"})
"""Roles that see every site; others see only their own sites."""

_FIRM = OF_THE_FIRM
_INSTALLER = frozenset({"installer"})
_HOME = frozenset({"installer", "engineer", "householder"})
PERMISSIONS: dict[str, frozenset[str]] = {
    "site.read": _HOME,
    "site.write": _INSTALLER,
    "contact.read": _HOME,
    "visits.read": _FIRM,
    "visits.write": _FIRM,
    "site.delete": _INSTALLER,
    "readings.read": _HOME,
    "readings.write": frozenset({"installer", "device"}),
    "fleet.read": _FIRM,
    "alerts.read": _FIRM,
    "alerts.handle": _FIRM,
    "works.read": _HOME,
    "works.write": _FIRM,
    "papers.read": _HOME,
    "what_if.read": _HOME,
    "defects.read": _FIRM,
    "jobs.read": _FIRM,
    "jobs.run": _INSTALLER,
    "metrics.read": frozenset({"installer", "device"}),
    "people.read": _INSTALLER,
    "people.write": _INSTALLER,
    "firm.write": _INSTALLER,
    "own.settings": _HOME,
    "links.write": _INSTALLER,
    "devices.write": _INSTALLER,
    "audit.read": _INSTALLER,
    "home.consent": frozenset({"installer", "householder"}),
    "home.export": frozenset({"installer", "householder"}),
    "home.erase": frozenset({"installer", "householder"}),
}
DEVICE_PURPOSES = {"readings": "readings.write", "metrics": "metrics.read"}
"""Purposes of device tokens, and the permission of each."""
LINK_MAY_NOT = frozenset({"home.erase", "home.consent", "home.export", "contact.read", "own.settings"})
"""A link can be passed on, so what binds the householder, or tells who lives there, needs an account."""
CONFIRM_FIRST = frozenset({"people.write", "links.write", "devices.write", "site.delete", "home.erase"})
"""What can't be taken back or lets others in: people show again who they are, unless they did so a short time
ago."""


@dataclass(frozen=True)
class Actor:
    """An actor. `sites` is None for every site of the firm; `is_fresh` is True shortly after a sign-in or
    confirmation."""

    name: str
    role: Role
    sites: frozenset[str] | None = field(default=frozenset())
    person: int | None = None
    purpose: str = ""
    by_link: bool = False
    is_fresh: bool = True

    def may(self, permission: str, site: str | None = None) -> bool:
        """Whether the role has the permission and, if a site is given, access to that site."""
        if self.role not in PERMISSIONS[permission] or (site is not None and not self.sees(site)):
            return False
        if self.role == "device":
            return DEVICE_PURPOSES.get(self.purpose) == permission
        return not (self.by_link and permission in LINK_MAY_NOT)

    def sees(self, site: str) -> bool:
        return self.sites is None or site in self.sites


NOBODY = Actor("", "nobody")
COMMAND_LINE = Actor("command line", "installer", None)
"""The command line has full access, as it can read the data folder."""
SCHEDULER = Actor("scheduler", "installer", None)
DEMO_VISITOR = Actor("demo visitor", "installer", None)
