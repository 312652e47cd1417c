"""Printing a paper's HTML to PDF: the same HTML gives the same bytes, and nothing is fetched."""

from __future__ import annotations

import ctypes
import hashlib
import logging
import sys
from threading import Lock
from typing import TYPE_CHECKING

from fieldfare.analysis.errors import InputError
from fieldfare.dashboards.papers.drawings import style_drawings
from fieldfare.dashboards.papers.line_ends import trim_line_ends

if TYPE_CHECKING:
    from types import ModuleType

NEEDED = {
    "libpango-1.0.so.0": "libpango-1.0-0",
    "libpangoft2-1.0.so.0": "libpangoft2-1.0-0",
    "libharfbuzz-subset.so.0": "libharfbuzz-subset0",
}
"""Libraries of the system that lay out text and cut typefaces down, with their Debian packages."""
_ONE_AT_A_TIME = Lock()
"""A paper takes a processor for up to a second: several at once would hold up the pages,
and none ends sooner."""


class NoPdf(InputError):
    """This machine lacks what prints a PDF."""


def print_pdf(page: str) -> bytes:
    """The PDF of an HTML document that stands alone, tagged for screen readers. Raises NoPdf.

    Addresses other than `data:` are refused: what they name is left out, and the log says so.
    """
    weasyprint = _library()
    from weasyprint.urls import URLFetcher

    with _ONE_AT_A_TIME:
        document = weasyprint.HTML(string=page, url_fetcher=URLFetcher(allowed_protocols={"data"}))
        tree = document.etree_element
        style_drawings(tree, [style.text or "" for style in tree.iter("style")])
        for body in tree.iter("body"):
            trim_line_ends(body)
        identifier = hashlib.blake2b(page.encode(), digest_size=16).hexdigest()
        made: bytes = document.write_pdf(pdf_tags=True, pdf_identifier=identifier.encode())
    return made


def _library() -> ModuleType:
    """The PDF library; imported on first use, as it takes longer than a short command."""
    # Its warnings name each property of the style sheets that paper has no use for.
    logging.getLogger("weasyprint").setLevel(logging.ERROR)
    try:
        missing = [package for name, package in NEEDED.items() if not _is_there(name)]
        if missing:
            raise NoPdf(_lacking(missing))
        import weasyprint
    except OSError:  # a library that these need
        raise NoPdf(_lacking(list(NEEDED.values()))) from None
    return weasyprint


def _is_there(library: str) -> bool:
    """Asked before the import, which prints lines of its own. Elsewhere than on Linux the names differ."""
    if sys.platform != "linux":
        return True
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


def _lacking(packages: list[str]) -> str:
    return f"A PDF needs Pango, which is not installed (Debian: apt install {' '.join(packages)})."
