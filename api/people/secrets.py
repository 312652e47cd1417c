"""Random secrets, and the marks under which they are kept: a leaked database gives no way in."""

from __future__ import annotations

import hashlib
import os
import secrets
from pathlib import Path


def new_secret() -> str:
    """A secret of 256 bits that may stand in an address."""
    return secrets.token_urlsafe(32)


def new_id() -> str:
    return secrets.token_hex(8)


def mark_of(secret: str) -> str:
    """What is kept instead of a random secret; these need no slow hash, they can't be guessed."""
    return hashlib.sha256(secret.encode()).hexdigest()


def signing_key(data: Path) -> str:
    """The key that signs links: made once, readable by the service's user alone."""
    path = data / "signing.key"
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text(encoding="ascii").strip()
    with os.fdopen(handle, "w", encoding="ascii") as file:
        file.write(new_secret())
    return path.read_text(encoding="ascii").strip()
