"""What a limit is."""

from __future__ import annotations

from typing import NamedTuple


class Limit(NamedTuple):
    """A threshold: its default, unit, and a source or the words "common practice" with the reason.

    meaning : what happens when it is passed, in a few words
    """

    default: float
    unit: str
    source: str
    meaning: str
