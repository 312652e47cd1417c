"""The id of an installation: `[site] id` of its file, its part of addresses, its name in the store."""

from __future__ import annotations

import re

SITE_ID_CHARACTERS = "[a-z0-9-]{2,40}"
SITE_ID = f"^{SITE_ID_CHARACTERS}$"


def is_site_id(text: str) -> bool:
    """True for a well-formed id, whether or not there is such a site."""
    return re.fullmatch(SITE_ID_CHARACTERS, text) is not None
