"""Apply style sheets to inline drawings: WeasyPrint applies them to the page, but draws SVG by the attributes
of its elements only."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

if TYPE_CHECKING:
    from cssselect2 import ElementWrapper, Matcher

SVG = "{http://www.w3.org/2000/svg}"
PRESENTED = (
    "color",
    "display",
    "fill",
    "fill-opacity",
    "font-family",
    "font-size",
    "opacity",
    "stroke",
    "stroke-dasharray",
    "stroke-linecap",
    "stroke-linejoin",
    "stroke-width",
)
"""Properties that a drawing takes from a style sheet (SVG 2, chapter 6.6: presentation attributes)."""
_VARIABLE = re.compile(r"var\(\s*(--[\w-]+)\s*\)")


def style_drawings(page: ElementTree.Element, sheets: list[str]) -> None:
    """Set the attributes of each drawing's elements from the style sheets, and its label as title, which
    becomes the text alternative. sheets : texts of style sheets"""
    from cssselect2 import ElementWrapper

    _style(ElementWrapper.from_html_root(page), _matcher(sheets), {}, "black")
    for drawing in list(page.iter(f"{SVG}svg")):
        # A mark hidden from screen readers has its word beside it, so its text is a space.
        if label := drawing.get("aria-label") or (drawing.get("aria-hidden") and " "):
            title = ElementTree.Element(f"{SVG}title")
            title.text = label
            drawing.insert(0, title)


def _style(element: ElementWrapper, matcher: Matcher, variables: dict[str, str], colour: str) -> None:
    """Style an element and its children. variables, colour : inherited from the parent"""
    own: dict[str, str] = {}
    for _specificity, _order, pseudo, declarations in matcher.match(element):
        if pseudo is None:
            own |= declarations
    variables = variables | {name: value for name, value in own.items() if name.startswith("--")}
    own = {name: _resolved(own[name], variables) for name in PRESENTED if name in own}
    colour = own.get("color", colour)
    node = element.etree_element
    if node.tag.startswith(SVG):
        for name, value in {"color": colour, **own}.items():
            node.set(name, value)
    for child in element.iter_children():
        _style(child, matcher, variables, colour)


def _resolved(value: str, variables: dict[str, str]) -> str:
    """A value with variables resolved; font families without spaces between them."""
    while found := _VARIABLE.search(value):
        value = value.replace(found[0], variables.get(found[1], ""))
    return re.sub(r"\s*,\s*", ",", value)


def _matcher(sheets: list[str]) -> Matcher:
    from cssselect2 import Matcher, compile_selector_list
    from tinycss2 import parse_stylesheet

    matcher = Matcher()
    for sheet in sheets:
        for rule in _printed(parse_stylesheet(sheet, skip_comments=True, skip_whitespace=True)):
            declarations = _declarations(rule.content)
            for selector in compile_selector_list(rule.prelude):
                matcher.add_selector(selector, declarations)
    return matcher


def _printed(rules: list[Any]) -> Iterator[Any]:
    """Rules that apply to paper of any width."""
    from tinycss2 import parse_rule_list, serialize

    for rule in rules:
        at = f"@{rule.lower_at_keyword} {serialize(rule.prelude).strip()}" if rule.type == "at-rule" else ""
        if rule.type == "qualified-rule":
            yield rule
        elif at == "@media print":
            yield from _printed(parse_rule_list(rule.content, skip_comments=True, skip_whitespace=True))


def _declarations(content: list[Any]) -> dict[str, str]:
    from tinycss2 import parse_blocks_contents, serialize

    found = parse_blocks_contents(content, skip_comments=True, skip_whitespace=True)
    return {d.name: serialize(d.value).strip() for d in found if d.type == "declaration"}
