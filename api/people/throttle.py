"""Throttle sign-in attempts: failures are counted for an account, an address or a device."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from ipaddress import IPv6Address, ip_address, ip_network

from sqlalchemy import delete, func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from fieldfare.analysis.errors import InputError
from fieldfare.api.people.secrets import mark_of
from fieldfare.api.state.people_tables import FailedSignIn

FREE_TRIES, FREE_TRIES_OF_ADDRESS = 5, 30
"""Failed attempts before a wait is asked for: on one account, and from one address."""
FIRST_WAIT, LONGEST_WAIT = timedelta(seconds=15), timedelta(minutes=15)
FORGOTTEN_AFTER = timedelta(hours=24)
MOST_COUNTS = 50_000


class TooManyTries(InputError):
    """Too many attempts; `.wait` is the time to wait."""

    def __init__(self, wait: timedelta) -> None:
        self.wait = wait
        super().__init__(
            f"too many failed attempts; try again in {max(1, round(wait.total_seconds()))} seconds"
        )


def wait_after(failures: int, free: int) -> timedelta:
    """Waiting time by number of failures: none for the first few, then doubling."""
    if failures < free:
        return timedelta()
    return min(FIRST_WAIT * 2 ** min(failures - free, 10), LONGEST_WAIT)


def count_key(kind: str, value: str) -> str:
    return mark_of(f"{kind}:{value}")


def address_key(address: str) -> str:
    """Throttle key of an address: the IPv4 address, or the /64 network of an IPv6 address, which one
    household holds."""
    try:
        parsed = ip_address(address)
    except ValueError:
        return count_key("address", address)
    if isinstance(parsed, IPv6Address):
        return count_key("address", str(ip_network((parsed, 64), strict=False)))
    return count_key("address", str(parsed))


def count_tries(session: Session, keys: Mapping[str, int]) -> None:
    """Count an attempt under each key. keys : key -> free attempts

    Raises TooManyTries, without counting, while a wait lasts.
    """
    now = datetime.now(UTC)
    for key, free in keys.items():
        _count_try(session, key, free, now)


def forgive_tries(session: Session, keys: Iterable[str], address: str) -> None:
    """Undo the counts of a successful attempt: all of its account or device, one of its address."""
    for key in keys:
        _forgive_try(session, key, entirely=key != address_key(address))


def _count_try(session: Session, key: str, free: int, now: datetime) -> None:
    row = session.get(FailedSignIn, key, with_for_update=True)
    if row is None:
        _make_room(session)
        row = FailedSignIn(key=key, count=0, last=now)
        try:
            with session.begin_nested():
                session.add(row)
        except IntegrityError:  # inserted by a concurrent attempt
            row = session.get_one(FailedSignIn, key, with_for_update=True, populate_existing=True)
    if row.last + FORGOTTEN_AFTER < now:
        row.count = 0
    wait = row.last + wait_after(row.count, free) - now
    if wait > timedelta():
        raise TooManyTries(wait)
    row.count, row.last = row.count + 1, now


def _make_room(session: Session) -> None:
    """Remove the oldest counts above the limit."""
    many = session.scalar(select(func.count()).select_from(FailedSignIn)) or 0
    if many >= MOST_COUNTS:
        oldest = select(FailedSignIn.key).order_by(FailedSignIn.last).limit(MOST_COUNTS // 10)
        session.execute(delete(FailedSignIn).where(FailedSignIn.key.in_(oldest)))


def _forgive_try(session: Session, key: str, *, entirely: bool) -> None:
    row = session.get(FailedSignIn, key, with_for_update=True)
    if row is None:
        return
    if entirely or row.count <= 1:
        session.delete(row)
    else:
        row.count -= 1
