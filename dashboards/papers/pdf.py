"""Render a paper's HTML to PDF: deterministic, and without any network access."""

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
    """A library for PDF is missing on this machine."""


def print_pdf(page: str) -> bytes:
    """PDF of a self-contained HTML document, tagged for screen readers. Raises NoPdf.

    URLs other than `data:` are refused: their contents are left out, and logged.
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
    """Import WeasyPrint on first use, as it takes longer than a short command."""
    # It warns of each style property that does not apply to paper.
    logging.getLogger("weasyprint").setLevel(logging.ERROR)
    try:
        missing = [package for name, package in NEEDED.items() if not _is_there(name)]
        if missing:
            raise NoPdf(_lacking(missing))
        import weasyprint
    except OSError:  # a dependency of these
        raise NoPdf(_lacking(list(NEEDED.values()))) from None
    return weasyprint


def _is_there(library: str) -> bool:
    """Checked before the import, which prints lines if a library is missing. On other systems the names
    differ."""
    if sys.platform != "linux":
        return True
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


def _lacking(packages: list[str]) -> str:
    return f"A PDF needs Pango, which is not installed (Debian: apt install {' '.join(packages)})."
