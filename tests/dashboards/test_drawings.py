"""Style sheets are applied to the elements of inline drawings."""

from __future__ import annotations

from xml.etree import ElementTree

from weasyprint import HTML

from fieldfare.dashboards.papers.drawings import SVG, style_drawings

SHEET = """
:root { --ink: #123; --deep: var(--ink); --sans: "A B", "C", sans-serif }
.warm { color: red }
svg text { fill: var(--deep); font-family: var(--sans); font-size: 12px }
svg text.big { font-size: 20px }
svg .heat { --tone: #b45 }
svg .line { stroke: var(--tone); fill: none }
svg .line::before { stroke: blue }
.pair svg:not(.wide) text { font-size: 9px }
@media print { svg .near { display: none } }
@media screen { svg .line { stroke: yellow } }
@media (max-width: 32rem) { svg .line { stroke-width: 9 } }
@page { margin: 1cm }
"""


def drawn(body: str) -> ElementTree.Element:
    page: ElementTree.Element = HTML(string=f"<html><body>{body}").etree_element
    style_drawings(page, [SHEET])
    return next(page.iter(f"{SVG}svg"))


def test_variables_go_down_and_the_closest_counts() -> None:
    svg = drawn('<svg><g class="heat"><path class="line" fill="red"/></g><path class="line"/></svg>')
    first, second = svg.iter(f"{SVG}path")
    assert (first.get("stroke"), first.get("fill")) == ("#b45", "none")
    assert second.get("stroke") == "", "an unknown variable is no paint"


def test_rules_reach_in_from_the_page_and_the_stronger_wins() -> None:
    texts = '<svg class="{}"><text>a</text><text class="big">b</text></svg>'
    alone, big = drawn(texts.format("")).iter(f"{SVG}text")
    assert alone.attrib == {
        "color": "black",
        "fill": "#123",
        "font-family": '"A B","C",sans-serif',
        "font-size": "12px",
    }
    assert big.get("font-size") == "20px"
    pair = drawn(f'<div class="pair">{texts.format("")}</div>')
    assert [t.get("font-size") for t in pair.iter(f"{SVG}text")] == ["9px", "9px"]
    wide = drawn(f'<div class="pair">{texts.format("wide")}</div>')
    assert [t.get("font-size") for t in wide.iter(f"{SVG}text")] == ["12px", "20px"]


def test_the_colour_of_the_text_around_reaches_a_mark() -> None:
    assert drawn('<p class="warm"><svg><path stroke="currentColor"/></svg>').get("color") == "red"


def test_rules_of_screens_are_left_out_and_those_of_paper_hold() -> None:
    near, line = drawn('<svg><path class="near"/><path class="line heat"/></svg>').iter(f"{SVG}path")
    assert near.get("display") == "none"
    assert (line.get("stroke"), line.get("stroke-width")) == ("#b45", None)


def test_a_label_becomes_the_title() -> None:
    svg = drawn('<svg aria-label="Heat by day."><path/></svg>')
    assert svg[0].tag == f"{SVG}title"
    assert svg[0].text == "Heat by day."
    assert drawn('<svg aria-hidden="true"><path/></svg>')[0].text == " ", "a mark with its word beside it"
    assert drawn("<svg><path/></svg>")[0].tag == f"{SVG}path"
