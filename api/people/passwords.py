"""Password rules and Argon2id hashes."""

from __future__ import annotations

from functools import lru_cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from fieldfare.analysis.errors import InputError

SHORTEST, LONGEST = 12, 128
"""Characters; length counts, not kinds of characters (NIST SP 800-63B)."""
_COMMON = (
    "password",
    "qwertyuiop",
    "123456789",
    "letmein",
    "iloveyou",
    "administrator",
    "welcome",
    "abcdefgh",
    "heatpump",
    "fieldfare",
)


@lru_cache(maxsize=1)
def _hasher() -> PasswordHasher:
    return PasswordHasher()  # the library's profile: Argon2id, RFC 9106's low-memory choice


def check_strength(password: str, email: str = "") -> None:
    """Raise InputError if a password is too short, too long, or easily guessed."""
    if not SHORTEST <= len(password) <= LONGEST:
        raise InputError(f"a password has {SHORTEST} to {LONGEST} characters")
    bare = "".join(c for c in password.lower() if c.isalnum())
    for word in (*_COMMON, *(part for part in email.lower().split("@") if len(part) > 3)):
        bare = bare.replace(word, "")
    if len(set(bare)) < 5:
        raise InputError("this password is easily guessed: join a few words that do not belong together")


def hash_password(password: str) -> str:
    return _hasher().hash(password)


def is_password(kept: str | None, given: str) -> bool:
    """Compare in constant time, whether or not there is an account."""
    try:
        return _hasher().verify(kept or _decoy(), given) and kept is not None
    except (VerificationError, InvalidHashError):
        return False


def needs_new_hash(kept: str) -> bool:
    return _hasher().check_needs_rehash(kept)


@lru_cache(maxsize=1)
def _decoy() -> str:
    return _hasher().hash("nobody has this password")
