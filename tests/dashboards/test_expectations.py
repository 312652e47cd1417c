"""Every expectation model as a figure: measured beside expected with its band."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fieldfare.analysis.expectation.charge_balance import TAKEN_UP
from fieldfare.analysis.findings.limits import LIMITS
from fieldfare.analysis.plant.load import parse_site
from fieldfare.api.cli.entry import run
from fieldfare.dashboards.figures.chart import Band, Line, Points
from fieldfare.dashboards.figures.expectations.compared import ComparedSeries, compared_chart
from fieldfare.dashboards.figures.expectations.index import MODELS, OF_FINDING, expectation_chart
from fieldfare.dashboards.figures.expectations.unit import day_numbers
from fieldfare.dashboards.figures.plot import plotly_figure
from fieldfare.dashboards.figures.svg import svg
from fieldfare.dashboards.pages.expectations import expectations_page
from tests.api.sites import readings, site_text, write_csv
from tests.contract_codes import CONTRACT_CODES
from tests.dashboards.conftest import Plant

DRAWN = {
    "expected-cycling",
    "expected-part-load",
    "expected-reheat",
    "expected-charge-balance",
    "expected-cylinder-cooling",
    "expected-pressure",
    "expected-mixed",
    "expected-signature",
    "expected-defrost",
    "expected-frost",
}


@pytest.mark.parametrize("name", MODELS)
@pytest.mark.parametrize("plant", ["full", "basic"])
def test_a_model_is_drawn_with_band_line_and_points_or_says_why_not(
    name: str, plant: str, request: pytest.FixtureRequest
) -> None:
    p: Plant = request.getfixturevalue(plant)
    made = expectation_chart(name, p.site, p.facts)
    assert made.key == name
    if made.is_empty:
        assert made.empty
        return
    assert any(isinstance(layer, Points) for layer in made.layers)
    assert any(isinstance(layer, Band) for layer in made.layers)
    assert "nan" not in svg(made)
    assert made.rows
    assert all(len(row) == len(made.columns) for row in made.rows)
    assert plotly_figure(made)["data"]


def test_the_full_plant_shows_most_models(full: Plant) -> None:
    drawn = {n for n in MODELS if not expectation_chart(n, full.site, full.facts).is_empty}
    assert drawn >= DRAWN


def test_line_and_band_are_the_models_own(full: Plant) -> None:
    made = expectation_chart("expected-charge-balance", full.site, full.facts)
    band, line = made.layers[0], made.layers[1]
    assert isinstance(band, Band)
    assert isinstance(line, Line)
    assert set(line.y) == {TAKEN_UP.value}
    assert band.high[0] == pytest.approx(TAKEN_UP.value + 1.96 * TAKEN_UP.uncertainty)


def test_cold_rooms_are_set_beside_each_cause(full: Plant) -> None:
    days = full.facts.days
    n = len(days)
    cold = days.with_columns(
        **{"minutes_asked.house": np.full(n, 1000.0), "minutes_below.house": np.full(n, 900.0)}
    )
    made = expectation_chart("expected-cold-room", full.site, replace(full.facts, days=cold))
    assert {layer.name for layer in made.layers} >= {"capacity short", "curve too low", "zone not opening"}
    assert "best" in made.says


def test_water_flow_and_design_electricity_are_drawn_where_measured(full: Plant) -> None:
    runs = full.facts.runs
    long = runs.with_columns(
        minutes=np.full(len(runs), 60.0),
        heat=np.full(len(runs), 0.9 * (full.site.heat_pump.rated_output_kw or 8.0)),
        lift=np.full(len(runs), 5.0),
    )
    assert not expectation_chart("expected-water-flow", full.site, replace(full.facts, runs=long)).is_empty
    site = parse_site(
        '[site]\nid = "elm"\nname = "Elm"\ntimezone = "Europe/London"\n[design]\nheat_loss_kw = 6.0\n'
        "outdoor_c = -3.0\nspf_space = 3.5\n"
        '[[point]]\nid = "unit"\nquantity = "heat_pump_electricity"\nas = "power"\nunit = "W"\n'
    )
    made = expectation_chart("expected-electricity", site, full.facts)
    assert not made.is_empty
    assert len(made.layers[2].x) == len(day_numbers(full.facts))  # type: ignore[union-attr]


def test_share_inside_the_band_is_told_by_hand() -> None:
    from fieldfare.dashboards.figures.chart import Axis

    x, one = np.arange(4.0), np.ones(4)
    told = compared_chart(
        ComparedSeries(
            "k",
            "T",
            Axis("x"),
            Axis("y"),
            x,
            np.array([1.0, 1.1, 3.0, -1.0]),
            one,
            one - 0.5,
            one + 0.5,
            "days",
        ),
        "-",
    )
    assert told.says == (
        "4 days: 50\u00a0% within the expected 95 % band, 25\u00a0% above it and 25\u00a0% below."
    )


def test_findings_point_at_known_models() -> None:
    assert set(OF_FINDING) <= set(CONTRACT_CODES)
    assert set(OF_FINDING.values()) <= set(MODELS)
    assert LIMITS


def test_page_shows_figures_and_reasons(full: Plant) -> None:
    page = expectations_page(
        {"id": "full", "name": "Full"}, full.site, full.facts, {}, {"from": "2026-01-01"}
    )
    assert 'id="expected-reheat"' in page
    assert 'href="/sites/full?from=2026-01-01"' in page
    assert "Not drawn" in page


def test_command_writes_figures(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "a.toml").write_text(site_text("alder-row"))
    write_csv(tmp_path / "a.csv", readings(4))
    data = ["--data", str(tmp_path / "data")]
    assert run([*data, "site", "add", str(tmp_path / "a.toml")]) == 0
    assert run([*data, "ingest", "alder-row", str(tmp_path / "a.csv")]) == 0
    capsys.readouterr()
    assert run([*data, "expectations", "alder-row", "--out", str(tmp_path / "all.json")]) == 0
    assert "figures to" in capsys.readouterr().out
    assert set(json.loads((tmp_path / "all.json").read_text())) <= set(MODELS)
    assert (
        run([*data, "expectations", "alder-row", "--model", "nothing", "--out", str(tmp_path / "a.json")])
        == 2
    )
    assert "there are: expected-defrost" in capsys.readouterr().err
    assert run([*data, "expectations", "alder-row", "--out", str(tmp_path / "a.png")]) == 2
    assert run([*data, "expectations", "alder-row", "--out", str(tmp_path / "all.html")]) == 0
    assert "Measured and expected" in (tmp_path / "all.html").read_text()


def test_site_page_shows_what_electricity_alone_tells_and_links_the_expectation(cycling: Plant) -> None:
    from fieldfare.dashboards import pages
    from tests.analysis.test_little_metering import intervals
    from tests.dashboards.conftest import INSTALLER, NOW

    page = pages.site_page(cycling.row(), cycling.facts, [], INSTALLER, {}, NOW)
    assert 'href="/sites/' in page
    assert "/expectations#expected-cycling" in page
    assert "From electricity and weather alone" not in page
    thin = intervals(15)
    row = cycling.row(id="plain", name="Plain", site=thin.site, result=thin.as_dict())
    page = pages.site_page(row, thin.facts, [], INSTALLER, {}, NOW)
    assert "From electricity and weather alone" in page
    assert "A day without heating" in page
