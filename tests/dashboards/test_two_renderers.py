"""The drawing and the plot that can be zoomed show the same chart: the same data at the same places on the
same axes."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from datetime import datetime
from typing import Any

import numpy as np
import pytest

from fieldfare.dashboards.figures.before_after import before_after_chart
from fieldfare.dashboards.figures.chart import (
    Axis,
    Band,
    Bars,
    Cells,
    Chart,
    Layer,
    Level,
    Line,
    Points,
    Spans,
)
from fieldfare.dashboards.figures.index import NAMES, chart
from fieldfare.dashboards.figures.plot import plotly_figure
from fieldfare.dashboards.figures.scale import EPOCH, extent, ticks
from fieldfare.dashboards.figures.svg import Frame, frame_of, svg
from fieldfare.dashboards.figures.trace import trace_charts
from fieldfare.dashboards.rows.days import day_rows
from tests.dashboards.conftest import Plant
from tests.dashboards.drawn_paths import STEPS, ends_of

NS = "{http://www.w3.org/2000/svg}"
EFFECT = {
    "compared": [
        ["2025-01-02", 10.0, 30.0, False],
        ["2025-01-03", 12.0, 35.0, False],
        ["2025-02-02", 9.0, 22.0, True],
        ["2025-02-03", 13.0, 30.0, True],
    ],
    "lines": [[5.0, 2.5], [4.0, 2.0]],
    "base_c": 15.5,
    "days_after": 2,
    "flow_k": None,
    "money": None,
    "electricity_kwh": {"value": -13.0, "low": -20.0, "high": -6.0},
    "electricity_percent": None,
}
EVERY_LAYER = Chart(
    "k",
    "Every layer",
    "",
    Axis("x", "K"),
    Axis("y", "kW"),
    (
        Points("points", [1.0, 2.0], [3.0, 4.5]),
        Line("line", [0.0, 1.0, 2.0], [1.0, None, 2.0]),
        Band("band", [0.0, 4.0], [1.0, 1.0], [2.0, 3.0]),
        Bars("bars", [1.0, 2.0], [2.0, 3.0], base=[0.5, 0.0], place=1, of=2, hatched=True),
        Spans("spans", [1.0], [2.0], [4.0]),
        Level("level", 2.5),
        Level("upright", 1.5, upright=True),
        Cells("cells", [1.0, 3.0], [1.0, 3.0], [2.0, 5.0], ("2", "5"), 2.0, 2.0),
    ),
)


def charts_of(plant: Plant) -> list[Chart]:
    """Every figure of a home's page that has data, the trace's days, a job's effect, and one with every kind
    of layer."""
    made = [chart(n, plant.site, plant.document, plant.facts) for n in NAMES]
    made += [
        *trace_charts(day_rows(plant.facts)),
        before_after_chart(EFFECT, "", "2025-01-15", "EUR"),
        EVERY_LAYER,
    ]
    return [c for c in made if not c.is_empty]


@pytest.fixture(scope="module", params=["full", "basic"])
def drawn(request: pytest.FixtureRequest) -> list[Chart]:
    return charts_of(request.getfixturevalue(request.param))


def test_both_renderers_have_the_same_layers_axes_and_ends(drawn: list[Chart]) -> None:
    for made in drawn:
        figure, (xs, ys) = plotly_figure(made), extent(made)
        assert len(figure["data"]) == len(made.layers), made.key
        texts = [t.text for t in parsed(made).iter(f"{NS}text") if t.attrib["class"] == "key"]
        shown = [t["name"] for t in figure["data"] if t["name"] and t.get("showlegend", True)]
        assert sorted(texts) == sorted(shown) == sorted(layer.name for layer in made.layers if layer.name)
        layout = figure["layout"]
        assert numbers(layout["xaxis"]["range"]) == pytest.approx(xs, abs=1e-3), made.key
        assert layout["yaxis"]["range"] == pytest.approx(ys), made.key
        assert layout["yaxis"]["title"]["text"] == made.y.title
        if not made.x.dates:
            assert layout["xaxis"]["title"]["text"] == made.x.title
        if made.y.clock:
            assert layout["yaxis"]["ticktext"] == [word for _, word in ticks(made.y, *ys)]


def test_both_renderers_put_every_value_at_the_same_place(drawn: list[Chart]) -> None:
    compared = 0
    for made in drawn:
        at = frame_of(made)
        room = next(e for e in parsed(made) if e.tag == f"{NS}svg")
        for layer, group, trace in zip(made.layers, list(room), plotly_figure(made)["data"], strict=True):
            of_svg, of_plot = svg_places(layer, group, at), plot_places(layer, trace)
            assert of_svg.shape == of_plot.shape, (made.key, layer.name)
            # A drawing has tenths of its units.
            near = np.array([at.xs.high - at.xs.low, at.ys.high - at.ys.low]) / 200.0 * 0.12 + 1e-3
            if isinstance(layer, Spans):  # a stroke of a minute is drawn 0.8 high, else it could not be seen
                near[1] *= 9.0
            off = np.abs(of_svg - of_plot)
            assert (off <= near).all(), (made.key, layer.name, off.max(axis=0))
            compared += len(of_svg)
    assert compared > 300


def parsed(made: Chart) -> ET.Element:
    return ET.fromstring(str(svg(made)).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))


def numbers(values: Any) -> list[float]:
    """Values of an axis as numbers: days since 1970 for dates."""
    start = datetime.combine(EPOCH, datetime.min.time())
    return [
        (datetime.fromisoformat(v) - start).total_seconds() / 86400 if isinstance(v, str) else float(v)
        for v in values
    ]


def svg_places(layer: Layer, group: ET.Element, at: Frame) -> np.ndarray:
    """Where the drawing has a layer's values, read back from its paths: (n, 2) in the chart's own units."""
    found = []
    for path in group.iter(f"{NS}path"):
        if path.attrib["class"] in ("near", "framed"):
            continue
        d = path.attrib["d"]
        if path.attrib["class"].startswith("rod"):
            found += ends_of(d)
        elif isinstance(layer, Bars | Spans):
            for left, low, high, wide in re.findall(r"M(-?[\d.]+) (-?[\d.]+)V(-?[\d.]+)h([\d.]+)", d):
                part = 0.92 if isinstance(layer, Bars) else 1.0
                found += [(float(left) + float(wide) / part / 2, float(y)) for y in (low, high)]
        elif isinstance(layer, Cells):
            left, top, right, bottom = map(
                float, re.findall(r"M([\d.-]+) ([\d.-]+)H([\d.-]+)V([\d.-]+)", d)[0]
            )
            found.append(((left + right) / 2, (top + bottom) / 2))
        elif isinstance(layer, Level):
            x, y, end = re.findall(r"M(-?[\d.]+) (-?[\d.]+)[HV](-?[\d.]+)", d)[0]
            found += [
                (float(x), float(y)),
                (float(x), float(end)) if layer.upright else (float(end), float(y)),
            ]
        elif isinstance(layer, Points):
            shift = 0 if layer.shape == "dot" else 3
            down = 0 if layer.shape == "ring" else shift
            found += [(x + shift, y + down) for x, y in ends_of(d)[:: STEPS[layer.shape]]]
        elif isinstance(layer, Line):
            found += ends_of(d)
        else:
            found += [(float(x), float(y)) for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", d)]
    inverse = [
        (s.low + (v - s.a) / (s.b - s.a) * (s.high - s.low))
        for p in found
        for s, v in zip((at.xs, at.ys), p, strict=True)
    ]
    return np.array(inverse).reshape(-1, 2)


def plot_places(layer: Layer, trace: dict[str, Any]) -> np.ndarray:
    """The same of a plotly trace."""
    x = numbers(trace["x"])
    if isinstance(layer, Bars | Spans):
        day = 86_400_000.0 if isinstance(trace["x"][0], str) else 1.0
        middle = [v + (trace["offset"] + trace["width"] / 2) / day for v in x]
        rows = zip(middle, trace["base"], trace["y"], strict=True)
        return np.array([(m, v) for m, b, y in rows if y is not None for v in (b, b + y)]).reshape(-1, 2)
    if isinstance(layer, Cells):
        cells = [
            (a, b)
            for b, row in zip(trace["y"], trace["z"], strict=True)
            for a, z in zip(x, row, strict=True)
            if z is not None
        ]
        order = {(a, b): i for i, (a, b) in enumerate(zip(layer.x, layer.y, strict=True))}
        return np.array(sorted(cells, key=lambda c: order[c]))
    return np.array([(a, b) for a, b in zip(x, trace["y"], strict=True) if b is not None]).reshape(-1, 2)
