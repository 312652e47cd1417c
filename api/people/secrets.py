"""Random secrets, and the hashes stored in their place, so that a leaked database gives no access."""

from __future__ import annotations

import base64
import hashlib
import os
import secrets
from pathlib import Path
from typing import TYPE_CHECKING

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


def signing_key(data: Path) -> str:
    """The key that signs links: created once, readable only by the service's user."""
    path = data / "signing.key"
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text(encoding="ascii").strip()
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(new_secret())
    return path.read_text(encoding="ascii").strip()


class Sealer:
    """Encrypts secrets that must be read again: a leaked state database alone doesn't open them."""

    def __init__(self, key: str) -> None:
        """key : text of the signing key, which lies beside the state database, not in it"""
        self._key = key

    def seal(self, text: str) -> str:
        return self._cipher().encrypt(text.encode()).decode()

    def open(self, sealed: str) -> str | None:
        """The text; None where it was sealed with another key or changed."""
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
