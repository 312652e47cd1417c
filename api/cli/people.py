"""`fieldfare user ...`: manage users."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from fieldfare.api.cli.options import format_option, print_json, say
from fieldfare.api.core.settings import Settings

if TYPE_CHECKING:
    from fieldfare.api.people.accounts import Accounts
    from fieldfare.api.people.audit import Audit

ROLES = click.Choice(["installer", "engineer", "householder"])


@click.group("user")
def user() -> None:
    """Manage the people who may sign in: installers, engineers, householders."""


@user.command("list")
@format_option
@click.pass_obj
def list_people(settings: Settings, form: str) -> None:
    """List people with role, homes and last sign-in."""
    with _accounts(settings) as (accounts, _):
        rows = accounts.all()
    if form == "json":
        from dataclasses import asdict

        print_json({"people": [asdict(row) for row in rows]})
        return
    from fieldfare.dashboards.text.words import day

    for row in rows:
        last = f"last signed in {day(row.last_in.date())}" if row.last_in else "never signed in"
        state = "" if row.active else "  stopped"
        say(f"{row.email}  {row.role}  {', '.join(row.sites) or '-'}  {last}{state}")
    if not rows:
        say("nobody yet; fieldfare serve prints the address where the first user registers")


@user.command("add")
@click.argument("email")
@click.option("--name", required=True, help="Name of the person.")
@click.option("--role", required=True, type=ROLES, help="Role, which sets the permissions.")
@click.option(
    "--site", "sites", multiple=True, metavar="SITE", help="A householder's home; may be given again."
)
@click.pass_obj
def add(settings: Settings, email: str, name: str, role: str, sites: tuple[str, ...]) -> None:
    """Add a person and print the one-time address at which they set a password."""
    from fieldfare.api.people.access import COMMAND_LINE
    from fieldfare.api.people.invitations import take_in

    with _accounts(settings, make=True) as (accounts, audit):
        row = take_in(accounts, audit, COMMAND_LINE, email, name, role, sites)
        _print_invitation(settings, accounts, row.id, row.email)


@user.command("invite")
@click.argument("email")
@click.pass_obj
def invite(settings: Settings, email: str) -> None:
    """Print a new one-time address at which a person sets a password."""
    from fieldfare.api.people.access import COMMAND_LINE

    with _accounts(settings) as (accounts, audit):
        row = accounts.find(email)
        audit.note(COMMAND_LINE, "person invited", person=row.id)
        _print_invitation(settings, accounts, row.id, row.email)


@user.command("change")
@click.argument("email")
@click.option("--name", help="Name of the person.")
@click.option("--role", type=ROLES, help="Role, which sets the permissions.")
@click.option("--site", "sites", multiple=True, metavar="SITE", help="The householder's homes from now on.")
@click.option("--stop/--let-in", "stopped", default=None, help="Keep the person out, or let them in again.")
@click.pass_obj
def change(
    settings: Settings,
    email: str,
    name: str | None,
    role: str | None,
    sites: tuple[str, ...],
    stopped: bool | None,
) -> None:
    """Change the given values. A person whose role or homes change must sign in again."""
    from fieldfare.api.people.access import COMMAND_LINE

    with _accounts(settings) as (accounts, audit):
        person = accounts.find(email).id
        active = None if stopped is None else not stopped
        row = accounts.change(person, name=name, role=role, sites=sites or None, active=active)
        audit.note(COMMAND_LINE, "person changed", person=row.id, role=row.role, active=row.active)
    say(f"changed {row.email}: {row.role}, {', '.join(row.sites) or 'every site'}")


@user.command("remove")
@click.argument("email")
@click.pass_obj
def remove(settings: Settings, email: str) -> None:
    """Remove a person."""
    from fieldfare.api.people.access import COMMAND_LINE

    with _accounts(settings) as (accounts, audit):
        row = accounts.find(email)
        accounts.remove(row.id)
        audit.note(COMMAND_LINE, "person removed", person=row.id)
    say(f"removed {row.email}")


@user.command("reset-factors")
@click.argument("email")
@click.pass_obj
def reset_factors(settings: Settings, email: str) -> None:
    """Remove a person's second factors and recovery codes, and end their sessions; for a lost device."""
    from fieldfare.api.people.access import COMMAND_LINE
    from fieldfare.api.people.passkeys import PasskeySite
    from fieldfare.api.people.second_factors import Factors
    from fieldfare.api.people.secrets import Sealer, signing_key
    from fieldfare.api.people.sessions import Sessions

    with _accounts(settings) as (accounts, audit):
        row = accounts.find(email)
        sealer = Sealer(signing_key(settings.data))
        gone = Factors(accounts.database, sealer, PasskeySite(settings.address)).reset(row.id)
        Sessions(accounts.database).end_others(row.id, "")
        audit.note(COMMAND_LINE, "second factors reset", person=row.id)
    say(f"removed {gone} second factor{'' if gone == 1 else 's'} of {row.email}; all sessions have ended")


def _print_invitation(settings: Settings, accounts: Accounts, person: int, email: str) -> None:
    from fieldfare.api.people.accounts import INVITED_FOR
    from fieldfare.api.people.invitations import welcome_address

    address = welcome_address(accounts, person, settings.address)
    say(f"{email} sets a password within {INVITED_FOR.days} days at {address}")


@contextmanager
def _accounts(settings: Settings, *, make: bool = False) -> Iterator[tuple[Accounts, Audit]]:
    """Accounts of a data folder. make : make it where there is none"""
    from fieldfare.api.core.service import opened, opened_existing
    from fieldfare.api.people.accounts import Accounts
    from fieldfare.api.people.audit import Audit

    with (opened if make else opened_existing)(settings) as service:
        yield Accounts(service.database), Audit(service.database)


COMMANDS = (user,)
