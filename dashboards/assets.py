"""Files that pages load: our own under /static, and plotly as its installed package brings it."""

from __future__ import annotations

import gzip
import hashlib
from functools import cache
from importlib.util import find_spec
from pathlib import Path

STATIC = Path(__file__).resolve().parent / "static"
_PLOTLY_NAME = "plotly.js"


def _plotly_file() -> Path:
    spec = find_spec("plotly")
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError("plotly is not installed")
    return Path(spec.origin).parent / "package_data" / "plotly.min.js"


PLOTLY = _plotly_file()
"""The script library of the installed plotly package."""


@cache
def address(name: str) -> str:
    """Where a static file is served; the address changes with its content, so it may be kept for ever."""
    path = PLOTLY if name == _PLOTLY_NAME else STATIC / name
    return f"/static/{name}?v={hashlib.blake2b(path.read_bytes(), digest_size=6).hexdigest()}"


@cache
def packed_plotly() -> bytes:
    """The script library gzipped once, a third of its size."""
    return gzip.compress(PLOTLY.read_bytes(), 6, mtime=0)


@cache
def text_of(name: str) -> str:
    """A static file's text, for papers that must stand alone."""
    return (STATIC / name).read_text(encoding="utf-8")
