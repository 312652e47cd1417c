"""Owner of cached pages: an opaque token for a person in a role, sent in a header."""

from __future__ import annotations

import hashlib
import hmac

HEADER = "Fieldfare-Owner"
"""A service worker keeps no page of one word while another is signed in."""


def owner_word(key: str, name: str, role: str) -> str:
    """An opaque token, equal on every device, for a person in a role. Empty without a person."""
    if role == "nobody":
        return ""
    return hmac.new(key.encode(), f"owner\n{name}\n{role}".encode(), hashlib.sha256).hexdigest()[:24]
