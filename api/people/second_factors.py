"""Second factors: authenticator apps (TOTP, RFC 6238), passkeys (WebAuthn), and recovery codes."""

from __future__ import annotations

import secrets
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import pyotp
from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session

from fieldfare.analysis.errors import InputError
from fieldfare.api.people.accounts import AccountRefused
from fieldfare.api.people.names import clean_name
from fieldfare.api.people.passkeys import PasskeySite
from fieldfare.api.people.secrets import Sealer, mark_of, new_id
from fieldfare.api.state.database import Database
from fieldfare.api.state.people_tables import RecoveryCode, SecondFactor

RECOVERY_CODES = 10
MOST_FACTORS = 10
STEP_S, STEPS_AROUND = 30, 1
"""A code is good for its own half minute and one step to each side (RFC 6238, 5.2)."""
_LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"  # without letters and digits that look alike
_CODE_LENGTH, _PART_LENGTH = 24, 6  # 24 letters of 31: 118 bits, so that a fast hash may keep them
_WRONG = "this code is wrong or was used before"


@dataclass(frozen=True)
class FactorRow:
    """A second factor, as shown to its owner. kind : totp or passkey"""

    id: str
    kind: str
    name: str
    created: datetime
    used: datetime | None


class Factors:
    """People's second factors in the state database."""

    def __init__(self, database: Database, sealer: Sealer, site: PasskeySite) -> None:
        self._database, self._sealer = database, sealer
        self.site: PasskeySite = site

    def of_person(self, person: int) -> list[FactorRow]:
        """Oldest first."""
        with self._database.read() as session:
            return [_row(r) for r in _of(session, person)]

    def codes_left(self, person: int) -> int:
        chosen = select(func.count()).select_from(RecoveryCode).where(RecoveryCode.person == person)
        with self._database.read() as session:
            return session.scalar(chosen) or 0

    def sealed_offer(self) -> str:
        """Create an encrypted authenticator secret, stored until the person confirms it."""
        return self._sealer.seal(pyotp.random_base32())

    def offered(self, sealed: str | None, email: str) -> tuple[str, str]:
        """Secret and otpauth address of the pending offer. Raises InputError without one."""
        secret = self._sealer.open(sealed) if sealed else None
        if secret is None:
            raise InputError("this page is too old; begin again")
        return secret, pyotp.TOTP(secret).provisioning_uri(name=email, issuer_name=self.site.name)

    def add_authenticator(self, person: int, sealed: str | None, code: str, name: str) -> list[str]:
        """Add an authenticator after verifying a code.

        Returns recovery codes if this is the person's first factor. Raises InputError.
        """
        secret = self._sealer.open(sealed) if sealed else None
        if secret is None:
            raise InputError("this page is too old; begin again")
        step = _step_of(secret, code, after=-1)
        if step is None:
            raise InputError("this code is wrong: is the clock of the device right?")
        row = SecondFactor(id=new_id(), person=person, kind="totp", name=_named(name, "authenticator app"))
        row.secret, row.counter, row.created = self._sealer.seal(secret), step, datetime.now(UTC)
        return self._add(row)

    def passkey_options(self, person: int, email: str, challenge: str) -> str:
        """Options for creating a passkey, as JSON."""
        return self.site.creation(person, email, challenge, self._credentials(person))

    def add_passkey(self, person: int, credential: str, challenge: str, name: str) -> list[str]:
        """Add a passkey created by a browser. Returns recovery codes for a first factor. Raises
        InputError."""
        made = self.site.made(credential, challenge)
        row = SecondFactor(id=new_id(), person=person, kind="passkey", name=_named(name, "passkey"))
        row.credential, row.secret, row.counter = made.credential, made.public_key, made.counter
        row.created = datetime.now(UTC)
        return self._add(row)

    def request_options(self, person: int, challenge: str) -> str:
        """Options for using one of the person's passkeys, as JSON."""
        return self.site.request(challenge, self._credentials(person))

    def check_code(self, person: int, code: str) -> str:
        """Verify and consume an authenticator code or a recovery code.

        Returns "totp" or "recovery". Raises AccountRefused.
        """
        code = "".join(c for c in code.upper() if c.isalnum())[:64]
        if len(code) == 6 and code.isdecimal():
            return self._check_totp(person, code)
        with self._database.write() as session:
            spent = delete(RecoveryCode).where(
                RecoveryCode.hash == _code_mark(person, code), RecoveryCode.person == person
            )
            if not session.execute(spent).rowcount:  # type: ignore[attr-defined]
                raise AccountRefused(_WRONG)
        return "recovery"

    def check_passkey(self, person: int, credential: str, challenge: str) -> str:
        """Verify a passkey signature. Returns "passkey". Raises AccountRefused."""
        chosen = self.site.credential_of(credential)
        with self._database.write() as session:
            found = select(SecondFactor).where(
                SecondFactor.person == person, SecondFactor.credential == chosen
            )
            row = session.scalars(found.with_for_update()).first()
            if row is None:
                raise AccountRefused("this passkey is not of this account")
            row.counter = self.site.signed(credential, challenge, row.secret, row.counter)
            row.used = datetime.now(UTC)
        return "passkey"

    def new_codes(self, person: int) -> list[str]:
        """Create recovery codes, shown once; revokes older ones. Raises InputError without a factor."""
        with self._database.write() as session:
            if not _of(session, person):
                raise InputError("recovery codes come with a second factor; add one first")
            return _make_codes(session, person)

    def remove(self, person: int, factor: str, *, keep_one: bool = False) -> FactorRow:
        """Remove a factor; with the last one also the recovery codes.

        keep_one : refuse to remove the last. Raises InputError.
        """
        with self._database.write() as session:
            rows = _of(session, person)
            row = next((r for r in rows if r.id == factor), None)
            if row is None:
                raise InputError("this second factor was removed already")
            if keep_one and len(rows) == 1:
                raise InputError("the firm asks for a second factor; add another before you remove this one")
            session.delete(row)
            if len(rows) == 1:
                session.execute(delete(RecoveryCode).where(RecoveryCode.person == person))
            return _row(row)

    def reset(self, person: int) -> int:
        """Remove all of a person's factors and recovery codes. Returns how many factors there were."""
        with self._database.write() as session:
            session.execute(delete(RecoveryCode).where(RecoveryCode.person == person))
            gone = session.execute(delete(SecondFactor).where(SecondFactor.person == person))
            return int(gone.rowcount)  # type: ignore[attr-defined]

    def _add(self, row: SecondFactor) -> list[str]:
        with self._database.write() as session:
            have = len(_of(session, row.person))
            if have >= MOST_FACTORS:
                raise InputError(f"an account has at most {MOST_FACTORS} second factors; remove one first")
            known = select(SecondFactor.id).where(SecondFactor.credential == row.credential)
            if row.credential and session.scalars(known).first() is not None:
                raise InputError("this passkey is registered already")
            session.add(row)
            session.flush()
            return [] if have else _make_codes(session, row.person)

    def _credentials(self, person: int) -> Sequence[str]:
        with self._database.read() as session:
            return [r.credential for r in _of(session, person) if r.credential]

    def _check_totp(self, person: int, code: str) -> str:
        with self._database.write() as session:
            for row in _of(session, person):
                secret = self._sealer.open(row.secret) if row.kind == "totp" else None
                step = _step_of(secret, code, row.counter) if secret else None
                if step is None:
                    continue
                values = {"counter": step, "used": datetime.now(UTC)}
                newer = (
                    update(SecondFactor)
                    .where(SecondFactor.id == row.id, SecondFactor.counter < step)
                    .values(values)
                )
                if session.execute(newer).rowcount:  # type: ignore[attr-defined]
                    return "totp"
        raise AccountRefused(_WRONG)


def _step_of(secret: str, code: str, after: int) -> int | None:
    """Time step of a valid code newer than the last used one; None for an invalid code."""
    code = "".join(c for c in code if c.isdecimal())
    now, totp = int(time.time()) // STEP_S, pyotp.TOTP(secret, interval=STEP_S)
    steps = range(now - STEPS_AROUND, now + STEPS_AROUND + 1)
    right = [
        s for s in steps if secrets.compare_digest(totp.generate_otp(s).encode(), code.encode()) and s > after
    ]
    return right[-1] if right else None


def _make_codes(session: Session, person: int) -> list[str]:
    session.execute(delete(RecoveryCode).where(RecoveryCode.person == person))
    codes = ["".join(secrets.choice(_LETTERS) for _ in range(_CODE_LENGTH)) for _ in range(RECOVERY_CODES)]
    session.add_all([RecoveryCode(hash=_code_mark(person, code), person=person) for code in codes])
    return ["-".join(c[i : i + _PART_LENGTH] for i in range(0, _CODE_LENGTH, _PART_LENGTH)) for c in codes]


def _code_mark(person: int, code: str) -> str:
    return mark_of(f"recovery:{person}:{code}")


def _of(session: Session, person: int) -> list[SecondFactor]:
    chosen = (
        select(SecondFactor)
        .where(SecondFactor.person == person)
        .order_by(SecondFactor.created, SecondFactor.id)
    )
    return list(session.scalars(chosen))


def _named(name: str, otherwise: str) -> str:
    return clean_name(name)[:80] or otherwise


def _row(row: SecondFactor) -> FactorRow:
    return FactorRow(row.id, row.kind, row.name, row.created, row.used)
