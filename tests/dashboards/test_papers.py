"""Papers: month, winter check and hand-over as self-contained HTML and as JSON."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import orjson
import pytest

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.result import Result, analyse
from fieldfare.dashboards.pages import home_page
from fieldfare.dashboards.papers import paper_html, write
from fieldfare.dashboards.papers.write import too_early
from fieldfare.dashboards.rows.design_vs_measured import Side, two_sides
from tests.dashboards.conftest import HOUSEHOLDER, LAST, NOW, Plant
from tests.dashboards.test_pages import month_of, text_of

KINDS = ("month", "winter_check", "hand_over")
MADE = date(2025, 2, 2)


def result_for(plant: Plant, kind: str) -> Result:
    first = {"month": date(2025, 1, 1), "winter_check": date(2024, 10, 1), "hand_over": date(2024, 10, 1)}[
        kind
    ]
    last = date(2024, 11, 25) if kind == "hand_over" else LAST
    made = analyse(plant.site, plant.facts, first, last)
    return Result(plant.site, first, last, made.facts, made.figures, plant.result.findings, made.not_assessed)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("plant", ["cycling", "basic"])
def test_a_paper_stands_alone_with_date_period_method_and_version(
    kind: str, plant: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    p: Plant = request.getfixturevalue(plant)
    out = tmp_path / "paper.html"
    write(kind, result_for(p, kind), out, made=MADE)  # type: ignore[arg-type]
    page = out.read_text(encoding="utf-8")
    told = text_of(page)
    for said in (p.site.name, "Made 2 Feb 2025", "method version", "fieldfare"):
        assert said in told
    assert "<link" not in page
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert "counter(page)" in page
    assert "nan" not in told.split()


def test_the_firm_s_name_and_contact_head_what_it_hands_out(full: Plant) -> None:
    contents = month_of(full)
    firm = {"name": "Example Heating", "contact": "01632 960 123"}
    told = text_of(paper_html("month", "2025-01", contents | {"firm": firm}, made=MADE))
    assert "Example Heating 01632 960 123 · 2 Feb 2025 Your heating in January 2025" in told
    told = text_of(home_page(full.row(), contents, [], HOUSEHOLDER, {}, NOW, firm))
    assert "Questions? Ask Example Heating: 01632 960 123" in told


def test_the_winter_check_has_verdicts_hand_checks_and_room_to_sign(cycling: Plant, tmp_path: Path) -> None:
    write("winter_check", result_for(cycling, "winter_check"), tmp_path / "w.html", made=MADE)
    page = (tmp_path / "w.html").read_text(encoding="utf-8")
    told = text_of(page)
    for said in (
        "Not in order",
        "Running at mild load",
        "Signature",
        "Expansion vessel",
        "The winter to come",
        "Take care. Hot water under pressure.",
    ):
        assert said in told
    assert "<svg" in page


def test_the_hand_over_says_what_to_adjust_and_what_is_too_early(cycling: Plant) -> None:
    result = result_for(cycling, "hand_over").as_dict()
    result["heat_loss"]["heat_loss_kw"] = {"value": 6.0, "low": 4.0, "high": 8.0}
    result["not_assessed"] = [
        {"code": "efficiency_fell", "reason": "needs at least 60 days, has 56", "reason_code": "too_few_days"}
    ]
    told = too_early(cycling.site, result)
    assert any("still wide" in reason for _, reason in told)
    assert ["Efficiency has fallen"] in [names for names, _ in told]
    contents = month_of(cycling) | {"result": result}
    assert "Open the room thermostats fully" in paper_html("hand-over", "first", contents, made=MADE)


def test_only_what_time_settles_needs_more_time_and_each_reason_stands_once(cycling: Plant) -> None:
    result = result_for(cycling, "hand_over").as_dict()
    days = "needs at least 14 whole heating days, has 4"
    result["heat_loss"] |= {"heat_loss_kw": None, "reason": days, "reason_code": "too_few_days"}
    result["capacity"] |= {"margin": None}
    result["heating_curve"] |= {"reason": None, "reason_code": None}
    result["not_assessed"] = [
        {"code": "heat_loss_above_design", "reason": days, "reason_code": "too_few_days"},
        {
            "code": "falling_flow",
            "reason": "needs flow_rate, read every day",
            "reason_code": "missing_quantity",
        },
        {"code": "high_standing_loss", "reason": "no days with one", "reason_code": "not_applicable"},
    ]
    ((names, reason),) = too_early(cycling.site, result)
    assert names == ["Heat loss", "house loses more heat than designed"]
    assert reason == f"{days}."


def sides_of(site: Site, result: dict[str, Any], rows: list[dict[str, Any]]) -> dict[str, Side]:
    return {
        s.what.split(" at ")[0]: Side(*(part.replace("\u00a0", " ") for part in s[:4]))
        for s in two_sides(site, result, rows)
    }


def test_under_measured_stands_only_what_was_measured(cycling: Plant) -> None:
    """A figure for colder weather than any measured day is said to be carried on, with the days' own."""
    contents = month_of(cycling)
    result = result_for(cycling, "hand_over").as_dict()
    result["heating_curve"] |= {"fitted": [[-10.0, 42.0], [15.0, 30.0]], "reason": None}
    estimate = {"value": 6.0, "low": 5.0, "high": 7.0}
    result["capacity"] |= {"basis": "rating", "output_at_design_kw": estimate, "margin": None}
    rows = [{"day": "2025-11-01", "outdoor": 5.0}, {"day": "2025-11-02", "outdoor": 9.0}]
    sides = sides_of(cycling.site, result, rows)
    assert sides["Flow temperature"].measured == "35 °C at 5 °C"
    assert "42 °C at −10 °C carried on from days of 5 °C and milder" in sides["Flow temperature"].remark
    assert sides["Heat pump's output"].measured == "–"
    assert "by its rating 6.0 kW" in sides["Heat pump's output"].remark
    cold = [{"day": "2025-11-01", "outdoor": -9.0}]
    sides = sides_of(cycling.site, result, cold)
    assert sides["Flow temperature"].measured == "42 °C at −10 °C"
    # A verdict of later days goes before "nothing to adjust".
    later = [{"says": "The strainer is clogged.", "severity": "act"}]
    result |= {"findings": [], "verdict": {"verdict": "act", "because": later, "missing": []}}
    page = text_of(paper_html("hand-over", "first", contents | {"result": result}, made=MADE))
    assert "Nothing in these weeks. Since then: The strainer is clogged." in " ".join(page.split())
    assert "Nothing to adjust so far" not in page


def test_the_services_page_of_a_paper_loads_its_styles_instead(full: Plant) -> None:
    links = {"pdf": "/p.pdf", "json": "/p.json"}
    page = paper_html("month", "2025-01", month_of(full), served=True, made=MADE, links=links)
    assert "<style" not in page
    assert '<link rel="stylesheet" href="/static/paper.css?v=' in page
    assert 'href="/p.pdf"' in page


def test_a_name_cannot_leave_the_printed_foot(full: Plant) -> None:
    contents = month_of(full)
    contents["site"]["site"]["name"] = 'x"; } </style><script>alert(1)</script>'
    page = paper_html("month", "2025-01", contents, made=MADE)
    assert "<script" not in page
    assert page.count("</style>") == 1


def test_json_holds_all_that_the_paper_is_made_from(full: Plant, tmp_path: Path) -> None:
    write("month", result_for(full, "month"), tmp_path / "m.json")
    document = orjson.loads((tmp_path / "m.json").read_bytes())
    assert document["kind"] == "month"
    assert document["result"]["site"] == full.site.id
    assert len(document["days"]) == 28


def test_another_ending_is_refused(full: Plant, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"must end in \.html"):
        write("month", result_for(full, "month"), tmp_path / "m.docx")
