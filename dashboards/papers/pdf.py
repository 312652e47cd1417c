"""Printing a paper's HTML to PDF with a headless browser of the Chromium family."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from tempfile import TemporaryDirectory

from fieldfare.analysis.errors import InputError

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome", "microsoft-edge")
"""Commands under which such a browser may be installed; the first found is used."""
_OPTIONS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-extensions",
    "--no-pdf-header-footer",
)
PATIENCE_S = 60


class NoBrowser(InputError):
    """No browser is there that could print a PDF."""


def find_browser() -> str:
    """Path of an installed browser. Raises NoBrowser."""
    for name in BROWSERS:
        if (found := shutil.which(name)) is not None:
            return found
    raise NoBrowser("A PDF needs Chromium (Debian: apt install chromium), and none is installed.")


def print_pdf(page: str) -> bytes:
    """The PDF of an HTML document that stands alone. Raises NoBrowser."""
    browser = find_browser()
    with TemporaryDirectory(prefix="fieldfare-print-") as folder:
        source, target = Path(folder) / "paper.html", Path(folder) / "paper.pdf"
        source.write_text(page, encoding="utf-8")
        command = [
            browser,
            *_OPTIONS,
            f"--user-data-dir={folder}/profile",
            f"--print-to-pdf={target}",
            source.as_uri(),
        ]
        try:
            done = subprocess.run(command, capture_output=True, timeout=PATIENCE_S, check=False)
        except subprocess.TimeoutExpired:
            raise NoBrowser(f"{browser} did not print within {PATIENCE_S} seconds.") from None
        if not target.exists():
            last = done.stderr.decode(errors="replace").strip().splitlines()[-1:] or ["no message"]
            raise NoBrowser(f"{browser} printed nothing: {last[0]}")
        return target.read_bytes()
