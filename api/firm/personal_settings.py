"""Personal settings: notice channel, quiet hours, units and language."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import NamedTuple
from urllib.parse import urlsplit

from sqlalchemy import select
from sqlalchemy.orm import Session

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.fields import LANGUAGES
from fieldfare.api.core.settings import Settings
from fieldfare.api.state.database import Database
from fieldfare.api.state.people_tables import Person
from fieldfare.api.state.visit_tables import PersonSettings

SEVERITIES = ("urgent", "act", "watch")
"""What may be sent at once, or stand in the digest; a note never is."""
MOST_CHANNEL = 500
"""Characters of a channel's address."""
USUAL_UNITS: Mapping[str, str] = MappingProxyType({"energy": "kWh", "flow": "m3/h", "pressure": "bar"})
UNITS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {"energy": ("kWh", "MJ"), "flow": ("m3/h", "l/min"), "pressure": ("bar", "kPa")}
)


@dataclass(frozen=True)
class PersonalSettings:
    """A person's settings for notices, units and language.

    channel : address of a channel, empty for e-mail. at_once, digest : severities sent that way
    quiet_from, quiet_to : local hours, None for the firm's. units : energy, flow, pressure
    language : of the household's pages and papers, empty for the browser's
    """

    channel: str = ""
    at_once: tuple[str, ...] = ("urgent",)
    digest: tuple[str, ...] = SEVERITIES
    quiet_from: int | None = None
    quiet_to: int | None = None
    units: Mapping[str, str] = field(default_factory=lambda: USUAL_UNITS)
    language: str = ""

    @property
    def shown_channel(self) -> str:
        """The channel's address without secrets."""
        return f"{urlsplit(self.channel).scheme}://…" if self.channel else ""


class Reading(NamedTuple):
    """What a person reads in: units, and a language or nothing."""

    units: Mapping[str, str] = USUAL_UNITS
    language: str = ""


def personal_settings(database: Database, person: int) -> PersonalSettings:
    with database.read() as session:
        return settings_in(session, person)


def settings_in(session: Session, person: int) -> PersonalSettings:
    """A person's settings, or the defaults; within a transaction."""
    row = session.get(PersonSettings, person)
    if row is None:
        return PersonalSettings()
    return PersonalSettings(
        row.channel,
        tuple(row.at_once),
        tuple(row.digest),
        row.quiet_from,
        row.quiet_to,
        {**USUAL_UNITS, **row.units},
        row.language,
    )


def keep_settings(database: Database, person: int, settings: PersonalSettings, service: Settings) -> None:
    """Save a person's settings. Raises InputError with the problem and what is allowed."""
    settings = _checked(settings, service)
    with database.write() as session:
        row = session.get(PersonSettings, person) or PersonSettings(person=person)
        row.channel, row.at_once, row.digest = settings.channel, list(settings.at_once), list(settings.digest)
        row.quiet_from, row.quiet_to, row.units = settings.quiet_from, settings.quiet_to, dict(settings.units)
        row.language = settings.language
        session.add(row)


def reading_of(database: Database, person: int) -> Reading:
    """Units and language chosen by a person."""
    chosen = select(PersonSettings.units, PersonSettings.language).where(PersonSettings.person == person)
    with database.reading() as db:
        found = db.execute(chosen).first()
    return Reading({**USUAL_UNITS, **found.units}, found.language) if found else Reading()


def settings_of_people(session: Session) -> dict[str, tuple[Person, PersonalSettings]]:
    """E-mail -> person and settings, for all active people with notices enabled."""
    people = session.scalars(select(Person).where(Person.active, Person.notices).order_by(Person.email)).all()
    return {p.email: (p, settings_in(session, p.id)) for p in people}


def _checked(settings: PersonalSettings, service: Settings) -> PersonalSettings:
    for name, chosen in (("at once", settings.at_once), ("in the digest", settings.digest)):
        if bad := set(chosen) - set(SEVERITIES):
            raise InputError(f"told {name}: unknown severity {min(bad)!r}; use {', '.join(SEVERITIES)}")
    for hour in (settings.quiet_from, settings.quiet_to):
        if hour is not None and not 0 <= hour <= 23:
            raise InputError(f"quiet hours are full hours from 0 to 23, not {hour}")
    if (settings.quiet_from is None) != (settings.quiet_to is None):
        raise InputError("quiet hours have a beginning and an end; give both, or neither for the firm's")
    for name, unit in settings.units.items():
        if unit not in UNITS.get(name, ()):
            raise InputError(
                f"{name} is read in {' or '.join(UNITS.get(name, ('no unit here',)))}, not {unit[:20]!r}"
            )
    if settings.language and settings.language not in LANGUAGES:
        raise InputError(f"language {settings.language[:20]!r} is not one of {', '.join(LANGUAGES)}")
    if settings.channel:
        _check_channel(settings.channel, service)
    order = {s: n for n, s in enumerate(SEVERITIES)}
    return replace(
        settings,
        at_once=tuple(sorted(set(settings.at_once), key=order.__getitem__)),
        digest=tuple(sorted(set(settings.digest), key=order.__getitem__)),
    )


def _check_channel(address: str, service: Settings) -> None:
    """Whether a notice may be sent to an address: only for channel kinds that the installation allows, as the
    service itself connects to it."""
    allowed = service.person_channels.lower().split()
    kind = urlsplit(address).scheme.lower()
    if kind not in allowed:
        hint = f"use {', '.join(f'{a}://' for a in allowed)}" if allowed else "only e-mail is set up here"
        raise InputError(f"channels of the kind {kind[:20] or address[:20]!r} are not set up; {hint}")
    if len(address) > MOST_CHANNEL or not address.isprintable() or " " in address:
        raise InputError(f"a channel's address has up to {MOST_CHANNEL} characters and no spaces")
    import apprise

    if not apprise.Apprise().add(address):
        raise InputError("the channel's address can't be read; copy it from the channel's own page")
