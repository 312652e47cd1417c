"""Add people: the account, its audit entry, and the one-time address to set a password."""

from __future__ import annotations

from collections.abc import Iterable

from fieldfare.api.people.access import Actor
from fieldfare.api.people.accounts import Accounts, PersonRow
from fieldfare.api.people.audit import Audit


def take_in(
    accounts: Accounts, audit: Audit, by: Actor, email: str, name: str, role: str, sites: Iterable[str] = ()
) -> PersonRow:
    """Add a person, to be invited next. Raises InputError."""
    row = accounts.add(email, name, role, sites)
    audit.note(by, "person added", person=row.id, role=row.role)
    return row


def welcome_address(accounts: Accounts, person: int, service: str) -> str:
    """Return a new one-time address; older ones expire. service : public address of the service"""
    return f"{service.rstrip('/')}/welcome/{accounts.invite(person)}"
