"""Translate cautions sentence by sentence; untranslated ones stay English."""

from __future__ import annotations

import re

from fieldfare.analysis import cautions
from fieldfare.dashboards.text.language import gettext as _
from fieldfare.dashboards.text.language import is_english

PARTS = (
    cautions.LEGIONELLA,
    cautions.SCALD,
    cautions.NEVER_TRADE,
    cautions.LICENSED,
    cautions.PAUSED,
    cautions.ICE,
    cautions.MAINS,
    cautions.FUEL,
)
"""Sentences that cautions of answers are made of, but for the one with a temperature."""
_GROWS = re.compile(
    re.escape(cautions.LEGIONELLA_GROWS_AT).replace(re.escape("{temperature:g}"), r"(\d+(?:\.\d+)?)")
)


def caution_words(caution: str) -> str:
    """Translate a caution of an answer."""
    if is_english():
        return caution
    for part in PARTS:
        caution = caution.replace(part, _(part))
    return _GROWS.sub(lambda found: _(cautions.LEGIONELLA_GROWS_AT, temperature=float(found[1])), caution)
