"""A limit: default, unit, source, meaning and side."""

from __future__ import annotations

from typing import Literal, NamedTuple

Side = Literal["above", "below"]


class Limit(NamedTuple):
    """A threshold: its default, unit, and a source or the words "common practice" with the reason.

    meaning : what happens when it is passed, in a few words
    side : on which side of the limit the trouble lies
    """

    default: float
    unit: str
    source: str
    meaning: str
    side: Side = "above"
