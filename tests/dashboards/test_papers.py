"""Papers: month, winter check and hand-over as HTML that stands alone and as JSON."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import orjson
import pytest

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.reports.result import Result, analyse
from fieldfare.dashboards.pages import home_page
from fieldfare.dashboards.papers import paper_html, write
from fieldfare.dashboards.papers.write import too_early
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
    result["not_assessed"] = [{"code": "efficiency_fell", "reason": "needs at least 60 days, has 56"}]
    told = too_early(result)
    assert any("still wide" in t for t in told)
    assert any(t.startswith("Efficiency has fallen") for t in told)
    contents = month_of(cycling) | {"result": result}
    assert "Open the room thermostats fully" in paper_html("hand-over", "first", contents, made=MADE)


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
