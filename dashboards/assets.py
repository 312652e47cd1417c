"""Static files of the pages: our own, and plotly's from its package."""

from __future__ import annotations

import gzip
import hashlib
import re
from functools import cache
from importlib.util import find_spec
from pathlib import Path

STATIC = Path(__file__).resolve().parent / "static"
_PLOTLY_NAME = "plotly.js"
_STYLE_ID = re.compile(r'getElementById\("([0-9a-f]{64})"\)')
"""A style sheet in the bundle has the digest of its text as its id."""
_STYLE_OF_ALL = "plotly.js-style-global"


def _plotly_file() -> Path:
    spec = find_spec("plotly")
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError("plotly is not installed")
    return Path(spec.origin).parent / "package_data" / "plotly.min.js"


PLOTLY = _plotly_file()
"""The script library of the installed plotly package."""


@cache
def address(name: str) -> str:
    """URL of a static file, with a hash of its content, so that it may be cached for ever."""
    path = PLOTLY if name == _PLOTLY_NAME else STATIC / name
    return f"/static/{name}?v={hashlib.blake2b(path.read_bytes(), digest_size=6).hexdigest()}"


@cache
def plotly_styles() -> str:
    """Ids, separated by spaces, of the style elements that plotly adds to a page unless an element with that
    id (and the class `no-inline-styles`) exists. The content security policy refuses them; our style sheet
    styles the plots."""
    text = PLOTLY.read_text(encoding="utf-8")
    return " ".join([_STYLE_OF_ALL, *sorted(set(_STYLE_ID.findall(text)))])


@cache
def packed_plotly() -> bytes:
    """The plotly script, gzipped once to a third of its size."""
    return gzip.compress(PLOTLY.read_bytes(), 6, mtime=0)


@cache
def text_of(name: str) -> str:
    """Text of a static file, for self-contained papers."""
    return (STATIC / name).read_text(encoding="utf-8")
