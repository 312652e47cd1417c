"""Taking people in: the account, its entry in the audit trail, and the one-time address at which they set a
password."""

from __future__ import annotations

from collections.abc import Iterable

from fieldfare.api.people.access import Actor
from fieldfare.api.people.accounts import Accounts, PersonRow
from fieldfare.api.people.audit import Audit


def take_in(
    accounts: Accounts, audit: Audit, by: Actor, email: str, name: str, role: str, sites: Iterable[str] = ()
) -> PersonRow:
    """Add a person, who is invited next. Raises InputError."""
    row = accounts.add(email, name, role, sites)
    audit.note(by, "person added", person=row.id, role=row.role)
    return row


def welcome_address(accounts: Accounts, person: int, service: str) -> str:
    """A new one-time address; older ones end. service : the address at which the service is reached"""
    return f"{service.rstrip('/')}/welcome/{accounts.invite(person)}"
