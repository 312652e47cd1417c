"""Random secrets, and the hashes stored in their place, so that a leaked database gives no access."""

from __future__ import annotations

import hashlib
import os
import secrets
from pathlib import Path


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
