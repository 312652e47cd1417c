"""Remove white space at line ends before layout.

Such space is not displayed (CSS Text 3, 4.1.2), but WeasyPrint 70.0 measures it, and breaks a text after its
first word if it fits only without the space.
"""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree import ElementTree

WHITE = " \t\r\n\f"
_PARTS = {"body", "main", "header", "footer", "section", "article", "div", "figure", "figcaption", "hr"}
_TEXTS = {"p", "h1", "h2", "h3", "h4", "h5", "h6", "ul", "ol", "li", "dl", "dt", "dd", "blockquote", "br"}
_TABLES = {"table", "caption", "thead", "tbody", "tfoot", "tr", "th", "td"}
LINE_ENDS = _PARTS | _TEXTS | _TABLES
"""Elements before and after which a line ends."""
DRAWN = frozenset({"img", "{http://www.w3.org/2000/svg}svg"})
"""Elements that stand in a line like a word."""


def trim_line_ends(body: ElementTree.Element) -> None:
    """Remove white space at line ends, and before white space in the next element."""
    dropped = True
    for where in _backwards(body):
        if isinstance(where, bool):
            dropped = where
            continue
        node, slot = where
        text = getattr(node, slot) or ""
        if dropped:
            text = text.rstrip(WHITE)
            setattr(node, slot, text)
        if text:
            dropped = text[0] in WHITE


def _backwards(node: ElementTree.Element) -> Iterator[tuple[ElementTree.Element, str] | bool]:
    """Yield texts from last to first; between them True for a line end, False for inline elements without
    text."""
    ends_line = node.tag in LINE_ENDS
    if ends_line:
        yield True
    elif node.tag in DRAWN or not (len(node) or node.text):
        yield False
        return
    for child in reversed(node):
        yield child, "tail"
        yield from _backwards(child)
    yield node, "text"
    if ends_line:
        yield True
