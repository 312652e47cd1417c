"""Random secrets, and the hashes stored in their place, so that a leaked database gives no access."""

from __future__ import annotations

import base64
import hashlib
import os
import re
import secrets
from pathlib import Path
from typing import TYPE_CHECKING

from fieldfare.analysis.errors import FieldfareError

if TYPE_CHECKING:
    from cryptography.fernet import Fernet


def new_secret() -> str:
    """A URL-safe secret of 256 bits."""
    return secrets.token_urlsafe(32)


def new_id() -> str:
    return secrets.token_hex(8)


def mark_of(secret: str) -> str:
    """Hash stored in place of a random secret; it needs no slow hash, as it can't be guessed."""
    return hashlib.sha256(secret.encode()).hexdigest()


KEY_FILE = "signing.key"
_KEY = re.compile(r"([A-Za-z0-9_-]{43})(?: ([0-9a-f]{8}))?\s*")
"""The key and the start of its SHA-256; files of an earlier release have the key alone."""


def signing_key(data: Path) -> str:
    """The key that signs links and encrypts authenticators' secrets: created once, owner-readable only.
    Raises FieldfareError if it is damaged: a new one would silently invalidate all links."""
    path = data / KEY_FILE
    if not path.exists():
        key, beside = new_secret(), data / f".{KEY_FILE}.{secrets.token_hex(4)}"
        handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(f"{key} {mark_of(key)[:8]}")
        try:
            os.link(beside, path)  # appears complete, and the first of two processes wins
        except FileExistsError:
            pass
        finally:
            beside.unlink()
    return _key_in(path)


def _key_in(path: Path) -> str:
    found = _KEY.fullmatch(path.read_text(encoding="ascii", errors="replace"))
    if found is None or found[2] not in (None, mark_of(found[1])[:8]):
        raise FieldfareError(
            f"{path}: is damaged; restore it from a backup, or delete it: links to homes then end, and"
            " authenticator apps must be set up again"
        )
    return found[1]


class Sealer:
    """Encrypts secrets that must be read again: a leaked state database alone doesn't open them."""

    def __init__(self, key: str) -> None:
        """key : text of the signing key, which lies beside the state database, not in it"""
        self._key = key

    def seal(self, text: str) -> str:
        return self._cipher().encrypt(text.encode()).decode()

    def open(self, sealed: str) -> str | None:
        """Decrypt a text; None if it was changed or sealed with another key."""
        from cryptography.fernet import InvalidToken

        try:
            return self._cipher().decrypt(sealed.encode()).decode()
        except InvalidToken:
            return None

    def _cipher(self) -> Fernet:
        from cryptography.fernet import Fernet
        from cryptography.hazmat.primitives.hashes import SHA256
        from cryptography.hazmat.primitives.kdf.hkdf import HKDF

        derived = HKDF(SHA256(), 32, salt=None, info=b"fieldfare authenticator secrets").derive(
            self._key.encode()
        )
        return Fernet(base64.urlsafe_b64encode(derived))
