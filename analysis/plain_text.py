"""Untrusted text made safe to show: without control, bidirectional and hiding characters.

Markup is escaped where it is written (autoescape in pages and papers); this is about characters that no
escaping covers.
Sources: Unicode Standard Annex 9 (bidirectional controls) and 31 (default ignorables); Unicode TR 36, 2.10.2.
"""

from __future__ import annotations

import re

_LINE = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
_BODY = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f]")
_HIDDEN = re.compile(
    "[\u061c\u200b\u200e\u200f\u202a-\u202e\u2060-\u2064\u2066-\u2069\ufeff\ufff9-\ufffb\ud800-\udfff]"
)


def plain_line(text: str) -> str:
    """One line: each run of control characters and line breaks becomes a space; bidirectional and hidden ones
    go."""
    return _HIDDEN.sub("", _LINE.sub(" ", text))


def plain_text(text: str) -> str:
    """As plain_line, but tabs and line breaks stay."""
    lines = text.replace("\r\n", "\n").replace("\u2028", "\n").replace("\u2029", "\n")
    return _HIDDEN.sub("", _BODY.sub("", lines))
