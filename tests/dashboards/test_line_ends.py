"""Invisible white space is removed; spaces between words are kept."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from fieldfare.dashboards.papers.line_ends import trim_line_ends


@pytest.mark.parametrize(
    ("written", "left"),
    [
        ("<p> one </p> <p>two\n</p> ", "<p> one</p><p>two</p>"),
        ("<td>one <b>two </b> </td>", "<td>one <b>two</b></td>"),
        ("<p>one <br/>two</p>", "<p>one<br />two</p>"),
        ("<p><b>one </b>two</p>", "<p><b>one </b>two</p>"),
        ("<p><b>one </b> two</p>", "<p><b>one</b> two</p>"),
        ("<p><b>one</b> <i>two</i></p>", "<p><b>one</b> <i>two</i></p>"),
        ("<p>one <img/> two</p>", "<p>one <img /> two</p>"),
        ('<p>one <span class="fill"/> </p>', '<p>one <span class="fill" /></p>'),
        ("<p>one\u00a0</p>", "<p>one\u00a0</p>"),
        ("<div>one <p>two</p> three </div>", "<div>one<p>two</p> three</div>"),
    ],
)
def test_line_ends(written: str, left: str) -> None:
    body = ElementTree.fromstring(f"<body>{written}</body>")
    trim_line_ends(body)
    assert ElementTree.tostring(body, encoding="unicode") == f"<body>{left}</body>"
