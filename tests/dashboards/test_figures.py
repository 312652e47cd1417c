"""Figures: correct drawings, a table behind each, and a text if they can't be drawn."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from datetime import date

import numpy as np
import pytest

from fieldfare.dashboards.figures.bridge import bridge, bridge_rows
from fieldfare.dashboards.figures.chart import (
    DATES,
    Axis,
    Bars,
    Chart,
    Line,
    Points,
    Spans,
)
from fieldfare.dashboards.figures.index import BY_EVENT, NAMES, chart
from fieldfare.dashboards.figures.path import Path
from fieldfare.dashboards.figures.plot import plotly_figure
from fieldfare.dashboards.figures.scale import LEAST_SPAN, day_number, ends, ticks
from fieldfare.dashboards.figures.svg import WIDTH, frame_of, svg
from fieldfare.dashboards.figures.table import table
from fieldfare.dashboards.figures.trace import trace_document, uses_document
from fieldfare.dashboards.rows.days import day_rows, rows_of_result
from tests.dashboards.conftest import Plant
from tests.dashboards.drawn_paths import ends_of

NS = "{http://www.w3.org/2000/svg}"


def test_a_path_in_few_letters_leads_where_it_should() -> None:
    rng = np.random.default_rng(5)
    at = [(float(x), float(y)) for x, y in rng.uniform(-30, 340, (300, 2)).round(int(rng.integers(0, 3)))]
    path = Path()
    for n, (x, y) in enumerate(at):
        (path.line if n % 7 else path.move)(x, y)
    assert np.abs(np.array(ends_of(str(path))) - np.array(at)).max() <= 0.051, "steps never add up to a drift"
    crosses = Path()
    for x, y in at[:3]:
        crosses.move(x, y, "l6 6m0-6l-6 6", (0.0, 6.0))
    begins = ends_of(str(crosses))[::4]
    assert np.abs(np.array(begins) - np.array(at[:3])).max() <= 0.051
    path.upright(12.0)
    assert ends_of(str(path))[-1][1] == pytest.approx(12.0)
    assert len(str(path)) < 11 * len(at)


def parsed(markup: str) -> ET.Element:
    return ET.fromstring(str(markup).replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("plant", ["full", "basic"])
def test_every_figure_is_drawn_with_words_and_a_table_or_says_why_not(
    name: str, plant: str, request: pytest.FixtureRequest
) -> None:
    p: Plant = request.getfixturevalue(plant)
    made = chart(name, p.site, p.document, p.facts)
    if made.is_empty:
        assert made.empty
        assert "no-figure" in svg(made)
        return
    drawing = parsed(svg(made))
    assert made.title in drawing.attrib["aria-label"]
    assert drawing.attrib["role"] == "img"
    assert "nan" not in svg(made)
    assert made.rows, "a table stands behind every figure"
    assert all(len(row) == len(made.columns) for row in made.rows)
    assert f"<caption>{made.title}</caption>" in table(made)
    assert plotly_figure(made)["data"]


def test_the_full_plant_has_every_daily_and_event_figure(full: Plant) -> None:
    drawn = {n for n in NAMES if not chart(n, full.site, full.document, full.facts).is_empty}
    assert {
        "heat",
        "curve",
        "efficiency",
        "months",
        "runs",
        "defrosts",
        "reheats",
        "water",
        "rooms",
        "cylinder",
        "coverage",
    } <= drawn


def test_drawings_carry_no_inline_style_or_script(full: Plant) -> None:
    for name in NAMES:
        made = svg(chart(name, full.site, full.document, full.facts))
        assert "style=" not in made
        assert "<script" not in made


def test_points_lie_where_their_axes_say() -> None:
    made = Chart(
        "k",
        "T",
        "",
        Axis("x", low=0.0, high=10.0),
        Axis("y", low=0.0, high=100.0),
        (Points("p", [5.0], [50.0], "faint"),),
    )
    drawing, at = parsed(svg(made)), frame_of(made)
    path = next(p for p in drawing.iter(f"{NS}path") if p.attrib["class"] == "pts dot faint")
    x, y = ends_of(path.attrib["d"])[0]
    assert x == pytest.approx((at.left + WIDTH - 12) / 2, abs=0.1)
    assert y == pytest.approx((at.floor + at.ys.b) / 2, abs=0.1)
    top = [e for e in drawing.iter(f"{NS}text") if e.text == "100"]
    assert float(top[0].attrib["y"]) == pytest.approx(at.ys.b + 4, abs=0.1), (
        "the axis' end is written where it is"
    )


def test_a_line_breaks_at_a_gap() -> None:
    made = Chart("k", "T", "", Axis("x"), Axis("y"), (Line("l", [0, 1, 2, 3], [1.0, None, 2.0, 3.0]),))
    path = next(
        p
        for p in parsed(svg(made)).iter(f"{NS}path")
        if p.attrib["class"] == "line design solid" and "l" in p.attrib["d"]
    )
    assert path.attrib["d"].count("m") == 2


def test_a_run_past_midnight_goes_on_at_the_next_days_foot(full: Plant) -> None:
    spans = [
        layer
        for layer in chart("runs", full.site, full.document, full.facts).layers
        if isinstance(layer, Spans)
    ]
    assert spans
    for layer in spans:
        assert all(0.0 <= a < 24.0 and a <= b <= 24.0 for a, b in zip(layer.low, layer.high, strict=True))
    hours = sum(b - a for s in spans for a, b in zip(s.low, s.high, strict=True))
    assert hours == pytest.approx(full.facts.runs["minutes"].sum() / 60.0, rel=0.02)


def test_the_bridge_leads_exactly_from_expected_to_measured(full: Plant) -> None:
    rows = bridge_rows(full.document)
    measured = full.document["energy"]["electricity_kwh"]["total"]
    assert rows[-1]["to"] == pytest.approx(measured)
    steps = sum(r["to"] - r["from"] for r in rows[:-1])
    assert steps == pytest.approx(measured, abs=0.5 * len(full.document["losses"]))
    assert parsed(bridge(full.document)).attrib["role"] == "img"


def test_day_rows_agree_with_the_facts_and_fall_back_on_the_result(full: Plant) -> None:
    rows = day_rows(full.facts)
    assert len(rows) == len(full.facts.days)
    assert sum(r["electricity_total_kwh"] for r in rows) == pytest.approx(
        full.facts.days["electricity_total_kwh"].sum(), rel=1e-4
    )
    assert sum(r["reheats"] for r in rows) == len(full.facts.reheats)
    few = rows_of_result(full.document)
    assert chart("heat", full.site, full.document, None, few).is_empty is False
    assert chart("runs", full.site, full.document, None).is_empty


def test_the_trace_knows_every_point_of_its_panels_and_the_clock_changes(full: Plant) -> None:
    document = trace_document(full.site, full.document, day_rows(full.facts))
    assert {"heat", "hp_elec", "flow_temp", "outdoor"} <= document["points"].keys()
    assert [minutes for _, minutes in document["shifts"]] == [120, 60], "Vienna's summer and winter time"
    assert sum(trace["name"] in ("heating", "hot water", "defrost") for trace in document["data"]) == 3


def test_the_trace_has_the_circuit_s_pressure_where_it_is_read(full: Plant) -> None:
    rows = day_rows(full.facts)
    bar = [r | {"pressure": 1.4} for r in rows]
    (point,) = full.site.points_of("system_pressure")
    document = trace_document(full.site, full.document, bar)
    (line,) = (t for t in document["data"] if t["name"] == "pressure of the circuit")
    assert line["yaxis"] == document["points"][point.id]["axis"] == "y5"
    assert document["layout"]["yaxis5"]["overlaying"] == "y3"
    without = trace_document(full.site, full.document, [r | {"pressure": None} for r in rows])
    assert "yaxis5" not in without["layout"]


def test_uses_of_a_stretch_hold_runs_that_began_before_it(full: Plant) -> None:
    runs = full.facts.runs
    longest = {name: runs[name][np.argmax(runs["minutes"])] for name in ("start", "minutes", "use")}
    start = int(longest["start"]) + 60_000
    end = start + int(longest["minutes"]) * 60_000 + 3_600_000
    uses = uses_document(full.facts, start, end)
    kind = "heating" if longest["use"] == 1 else "hot water"
    assert uses[kind][0] == [start, (int(longest["minutes"]) - 1) * 60_000]
    assert all(a >= start and a + length <= end for name in uses for a, length in uses[name])
    assert uses_document(full.facts, 0, 1000) == {"heating": [], "hot water": [], "defrost": [], "start": []}


def test_date_ticks_name_months_and_days() -> None:
    low, high = day_number(date(2024, 10, 1)), day_number(date(2025, 9, 30))
    assert [w for _, w in ticks(Axis("", dates=True), low, high)][:3] == ["Oct 2024", "Dec", "Feb"]
    assert ticks(Axis("", dates=True), low, low + 6)[0][1] == "1\u00a0Oct"


def test_bars_stand_on_their_base() -> None:
    made = Chart(
        "k",
        "T",
        "",
        Axis("x"),
        Axis("y", low=0.0, high=4.0),
        (Bars("b", [1.0, 2.0], [1.0, 2.0], base=[1.0, 2.0]),),
    )
    path = next(
        p
        for p in parsed(svg(made)).iter(f"{NS}path")
        if p.attrib["class"] == "rod power" and p.attrib["d"].count("m") == 2
    )
    (_, low), (_, high), (_, base), (_, top) = ends_of(path.attrib["d"])
    assert low - high == pytest.approx((base - top) / 2, abs=0.2)
    assert base == pytest.approx(high, abs=0.1), "the second begins at 2, where the first ends"


def test_every_figure_that_draws_events_needs_the_facts(full: Plant) -> None:
    for name in BY_EVENT:
        assert chart(name, full.site, full.document, None).empty


@pytest.mark.parametrize(("unit", "least"), sorted(LEAST_SPAN.items()))
@pytest.mark.parametrize("value", [0.0, 0.003, 20.5, 880.0])
def test_a_flat_series_is_drawn_flat(unit: str, least: float, value: float) -> None:
    low, high = ends(Axis("Anything", unit), [value, value + least / 100])
    assert high - low >= least
    assert low >= -0.06 * least, "what is never negative gets no negative axis"
    assert low <= value <= high


def test_an_axis_of_dates_marks_no_day_without_data() -> None:
    first = day_number("2026-09-01")
    for pad in (0.02, 0.06):
        low, high = ends(DATES, [float(first), float(first + 90)], pad=pad)
        marks = [at for at, _ in ticks(DATES, low, high)]
        assert first <= min(marks)
        assert max(marks) <= first + 90


def test_every_zoomed_date_axis_has_the_form_of_the_texts(full: Plant) -> None:
    document = trace_document(full.site, full.document, day_rows(full.facts))
    axes = [document["layout"]["xaxis"]]
    for name in NAMES:
        drawn = chart(name, full.site, full.document, full.facts)
        if drawn.x.dates:
            axes.append(plotly_figure(drawn)["layout"]["xaxis"])
    assert len(axes) > 5
    for axis in axes:
        forms = [stop["value"] for stop in axis["tickformatstops"]]
        assert all("%b %-d" not in form for form in forms)
        assert any("%-d %b" in form for form in forms)


def test_no_sentence_of_a_figure_has_a_gap_where_a_number_is_not_known(full: Plant) -> None:
    unknown = json.loads(json.dumps(full.document))
    for part in ("cycling", "defrost", "hot_water"):
        unknown[part] = {k: v if k == "reason" else None for k, v in (unknown[part] or {}).items()}
    for name in NAMES:
        says = chart(name, full.site, unknown, full.facts).says
        assert not re.search(r"None|nan|–", says), (name, says)
