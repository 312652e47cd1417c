"""Password rules and Argon2id hashes."""

from __future__ import annotations

import os
from functools import lru_cache
from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from fieldfare.analysis.errors import InputError

SHORTEST, LONGEST = 12, 128
"""Characters; length counts, not kinds of characters (NIST SP 800-63B)."""
WEAKEST_SCORE = 3
"""Of zxcvbn's 0 to 4: more than 10^8 guesses, "safely unguessable: moderate protection from offline
attack"."""
_AT_ONCE = BoundedSemaphore(max(2, os.cpu_count() or 1))
"""Hashes worked out at once: each takes 64 MB, so a crowd at the door must not take all of the memory."""
_JUDGED = 72  # characters; the library's time grows with the length
_OWN_WORDS = ("fieldfare", "heatpump", "heating", "installer", "engineer", "householder")


@lru_cache(maxsize=1)
def _hasher() -> PasswordHasher:
    return PasswordHasher()  # the library's profile: Argon2id, RFC 9106's low-memory choice


def check_strength(password: str, email: str = "") -> None:
    """Raises InputError if a password is too short, too long, leaked, or easily guessed.

    The lists of leaked and common passwords are part of zxcvbn (30,000 of each kind), so no external service
    is used.
    Source: D. L. Wheeler, zxcvbn: Low-Budget Password Strength Estimation, USENIX Security 2016.
    """
    if not SHORTEST <= len(password) <= LONGEST:
        raise InputError(f"a password has {SHORTEST} to {LONGEST} characters")
    if password.lower() in _leaked():
        raise InputError(
            "this password is on a list of leaked passwords; choose one that is used nowhere else"
        )
    from zxcvbn import zxcvbn  # type: ignore[import-untyped]

    own = [*_OWN_WORDS, email.lower(), *(part for part in email.lower().split("@") if len(part) > 3)]
    if zxcvbn(password[:_JUDGED], user_inputs=own)["score"] < WEAKEST_SCORE:
        raise InputError("this password is easily guessed: join a few words that do not belong together")


@lru_cache(maxsize=1)
def _leaked() -> frozenset[str]:
    from zxcvbn.frequency_lists import FREQUENCY_LISTS  # type: ignore[import-untyped]

    return frozenset(FREQUENCY_LISTS["passwords"])


def hash_password(password: str) -> str:
    with _AT_ONCE:
        return _hasher().hash(password)


def is_password(stored_hash: str | None, given: str) -> bool:
    """Verify a password in constant time, whether or not the account exists."""
    decoy = _decoy()  # always computed: the first call takes longer
    try:
        with _AT_ONCE:
            return _hasher().verify(stored_hash or decoy, given) and stored_hash is not None
    except (VerificationError, InvalidHashError):
        return False


def needs_new_hash(stored_hash: str) -> bool:
    return _hasher().check_needs_rehash(stored_hash)


@lru_cache(maxsize=1)
def _decoy() -> str:
    return _hasher().hash("nobody has this password")
