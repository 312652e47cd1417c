"""Papers as PDF: text, pages, drawings with text alternatives, reproducible bytes, no network access."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from datetime import date
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader
from pypdf.generic import DictionaryObject

from fieldfare.dashboards.papers import NoPdf, paper_html, write
from fieldfare.dashboards.papers import pdf as pdf_of
from fieldfare.dashboards.papers.pdf import print_pdf
from tests.dashboards.conftest import Plant
from tests.dashboards.test_pages import month_of
from tests.dashboards.test_papers import MADE, result_for

DOT = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
"""A picture of one point (PNG)."""


STATIC = Path(pdf_of.__file__).parents[1] / "static"


def read(pdf: bytes) -> PdfReader:
    return PdfReader(io.BytesIO(pdf))


def parts(reader: PdfReader) -> list[DictionaryObject]:
    """Elements of the structure tree (ISO 32000-1, 14.7)."""
    found: list[DictionaryObject] = []
    waiting: list[Any] = [reader.trailer["/Root"]["/StructTreeRoot"]]  # type: ignore[index]
    while waiting:
        node = waiting.pop().get_object()
        if isinstance(node, DictionaryObject):
            found.append(node)
            waiting.append(node.get("/K", []))
        elif isinstance(node, list):
            waiting += node[::-1]
    return found


@pytest.fixture(scope="module")
def winter(cycling: Plant, tmp_path_factory: pytest.TempPathFactory) -> PdfReader:
    out = tmp_path_factory.mktemp("printed") / "w.pdf"
    write("winter_check", result_for(cycling, "winter_check"), out, made=MADE)
    return read(out.read_bytes())


@pytest.fixture(scope="module")
def month(full: Plant) -> str:
    return paper_html("month", "2025-01", month_of(full), made=MADE, language="de")


@pytest.fixture(scope="module")
def printed(month: str) -> bytes:
    return print_pdf(month)


def test_the_pdf_is_a4_with_numbered_pages_and_its_text(cycling: Plant, winter: PdfReader) -> None:
    width, height = (float(v) for v in winter.pages[0].mediabox[2:])
    assert (width, height) == (pytest.approx(595, abs=2), pytest.approx(842, abs=2))
    n = len(winter.pages)
    assert 2 <= n <= 5
    for i, page in enumerate(winter.pages, 1):
        text = page.extract_text()
        assert f"page {i} of {n}" in text
        assert cycling.site.name in text
    told = " ".join(" ".join(page.extract_text() for page in winter.pages).split())
    for said in ("Running at mild load", "The winter to come", "Expansion vessel", "Signature"):
        assert said in told
    assert all(not page.images for page in winter.pages), "figures are vectors"


def test_every_drawing_is_there_in_its_colours_with_a_text_alternative(month: str, printed: bytes) -> None:
    """Tones of paper.css: `--t-heat` is #b4552d. A drawing's title becomes its alternative."""
    reader = read(printed)
    alternatives = [str(p["/Alt"]) for p in parts(reader) if p.get("/S") == "/Figure"]
    told = [a for a in alternatives if a.strip()]
    assert len(told) == month.count('role="img"') >= 3
    assert all(len(t) > 20 for t in told)
    drawn = b"".join(page["/Contents"].get_object().get_data() for page in reader.pages)
    heat = b" ".join(b"%.6g" % (v / 255) for v in bytes.fromhex("b4552d"))
    assert heat + b" RG" in drawn, "lines"
    assert heat + b" rg" in drawn, "areas"


def test_it_tells_title_language_and_day(printed: bytes) -> None:
    reader = read(printed)
    root = reader.trailer["/Root"]
    assert reader.metadata is not None
    assert reader.metadata.title is not None
    assert reader.metadata.title.startswith("Ihre Heizung im Januar 2025 · ")
    assert reader.metadata.creation_date is not None
    assert reader.metadata.creation_date.date() == MADE
    assert root["/Lang"] == "de"  # type: ignore[index]
    assert root["/MarkInfo"]["/Marked"]  # type: ignore[index]
    kinds = {p.get("/S") for p in parts(reader)}
    assert {"/H1", "/H2", "/P", "/Figure"} <= kinds
    assert "Seite 1 von " in reader.pages[0].extract_text()


def test_the_same_paper_gives_the_same_bytes(full: Plant, month: str, printed: bytes, tmp_path: Path) -> None:
    """In another process, whose sets and dictionaries of texts have another order."""
    (tmp_path / "paper.html").write_text(month, encoding="utf-8")
    code = (
        "import sys; from fieldfare.dashboards.papers.pdf import print_pdf\n"
        "sys.stdout.buffer.write(print_pdf(open(sys.argv[1], encoding='utf-8').read()))"
    )
    again = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "paper.html")],
        capture_output=True,
        env=os.environ | {"PYTHONHASHSEED": "7"},
        check=True,
    ).stdout
    assert printed == again
    later = paper_html("month", "2025-01", month_of(full), made=date(2025, 2, 3), language="de")
    assert read(print_pdf(later)).trailer["/ID"] != read(again).trailer["/ID"]


@pytest.fixture
def asked() -> Iterator[tuple[str, list[str]]]:
    """Address of a server, and the paths that it was asked for."""
    paths: list[str] = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            paths.append(self.path)
            self.send_error(404)

    server = HTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}", paths
    server.shutdown()
    server.server_close()


def test_nothing_is_fetched(
    asked: tuple[str, list[str]], tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    address, paths = asked
    (tmp_path / "secret.txt").write_text("never on paper")
    file = (tmp_path / "secret.txt").as_uri()
    inner = f'<svg viewBox="0 0 9 9"><image href="{address}/inner.png" width="9" height="9"/></svg>'
    page = (
        f'<html lang="en"><head><title>t</title><link rel="stylesheet" href="{address}/a.css">'
        f'<link rel="attachment" href="{file}"><style>@import "{address}/b.css";'
        f'@font-face {{ font-family: f; src: url("{address}/f.woff") }}'
        f'p {{ font-family: f; background: url("{address}/c.png") }}</style></head>'
        f'<body><p>there</p><img src="{address}/d.png" alt="d"><img src="{file}" alt="e">'
        f'<img src="data:image/png;base64,{DOT}" alt="dot">{inner}</body></html>'
    )
    made = read(print_pdf(page))
    assert paths == []
    assert "there" in made.pages[0].extract_text()
    assert len(made.pages[0].images) == 1, "what stands in the page itself is printed"
    assert not made.attachments
    assert f"{address}/d.png" in caplog.text


def test_without_pango_the_html_is_written_and_the_package_is_named(
    full: Plant, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pdf_of, "NEEDED", pdf_of.NEEDED | {"libnone-1.so.0": "libnone-1-0"})
    with pytest.raises(NoPdf) as caught:
        write("month", result_for(full, "month"), tmp_path / "m.pdf")
    assert str(caught.value) == (
        "A PDF needs Pango, which is not installed (Debian: apt install libnone-1-0). "
        f"Wrote {tmp_path / 'm.html'} instead; any browser prints it."
    )
    assert (tmp_path / "m.html").stat().st_size > 5000
    assert not (tmp_path / "m.pdf").exists()


def test_a_line_that_fits_without_the_space_after_it_is_not_broken() -> None:
    """A table cell is as wide as its text, so the space before its end never fits."""
    page = (
        '<html lang="en"><title>t</title><body><table><tr><td>8 are expected </td></tr></table></body></html>'
    )
    assert "8 are expected" in read(print_pdf(page)).pages[0].extract_text()


@pytest.mark.parametrize("rows", [31, 32, 33, 34, 35, 36])
def test_no_page_has_a_single_row_or_a_signature_alone(rows: int) -> None:
    """Whatever the length of the table, three of its rows stand together, and some above a signature."""
    style = (STATIC / "paper.css").read_text(encoding="utf-8")
    lines = "".join(f"<tr><td>row-{n}</td><th>Pressure read</th><td>1.5 bar</td></tr>" for n in range(rows))
    page = (
        f'<html lang="en"><head><title>x</title><style>{style}</style></head><body><h1>Sheet</h1>'
        f'<table class="checks by-hand"><thead><tr><th>Result</th></tr></thead><tbody>{lines}</tbody></table>'
        '<p class="small soft">Local codes come first.</p>'
        '<div class="sign"><div>Date</div><div>Name</div><div>Signature</div></div></body></html>'
    )
    texts = [p.extract_text() for p in read(print_pdf(page)).pages]
    counts = [text.count("row-") for text in texts]
    assert sum(counts) == rows
    assert all(n == 0 or n >= 3 for n in counts), counts
    (signed,) = (n for n, text in zip(counts, texts, strict=True) if "Signature" in text)
    assert signed >= 3, counts
