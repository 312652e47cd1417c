"""Pages of the whole firm's homes: the check before winter with its signature, and the lessons for the next
design."""

from __future__ import annotations

from fieldfare.dashboards import pages
from fieldfare.dashboards.papers import paper_html
from tests.dashboards.conftest import HOUSEHOLDER, INSTALLER, NOW, Plant
from tests.dashboards.test_pages import month_of, sound, text_of


def test_winter_sheet_and_list(cycling: Plant, full: Plant) -> None:
    contents = month_of(cycling) | {"result": cycling.document}
    told = text_of(sound(pages.winter_page(cycling.row(), contents, INSTALLER, {}, NOW)))
    assert "Running at mild load Not in order" in told.replace("  ", " ")
    assert "The winter to come" in told
    assert "Strainer and magnetic filter" in told
    rows = [
        full.row(id="fine-row", name="Fine Row"),
        cycling.row(id="busy-end", name="Busy End"),
        full.row(id="no-1", name="None Yet", result=None),
    ]
    entries = [pages.winter_entry(row) | {"signed": None} for row in rows]
    page = sound(pages.winter_list_page(entries, INSTALLER))
    assert page.index("Busy End") < page.index("Fine Row")
    assert "None Yet" in page
    assert "Signed by" not in page


def test_the_list_tells_watched_unknown_and_sound_homes_apart(full: Plant) -> None:
    """A home to be watched for what no check of the season names says why, not that all is well."""
    cold = {"matter": "rooms", "code": "room_below_target", "severity": "watch", "says": "Zone hall is cold."}
    base = pages.winter_entry(full.row(id="a-row")) | {"signed": None, "lines": [], "unknown": []}
    said = {}
    for verdict, because in (("watch", [cold]), ("not_known", []), ("in_order", [])):
        given = base["given"] | {"verdict": verdict, "because": because}
        page = sound(pages.winter_list_page([base | {"given": given}], INSTALLER))
        said[verdict] = text_of(page.split('class="said"')[1].split("</p>")[0].split(">", 1)[1])
    assert "Zone hall is cold." in said["watch"]
    assert "not all that matters" in said["not_known"]
    assert said["in_order"].strip() == "No concerns in the data."


def test_a_signature_stands_on_sheet_list_and_paper(cycling: Plant, full: Plant) -> None:
    signed = {"who": "Kim & Co", "day": "2025-01-20", "what": "Winter check 2025 signed: all gone through"}
    contents = month_of(cycling) | {"result": cycling.document, "signed": signed}
    told = "Signed by Kim &amp; Co on 20\u00a0Jan\u00a02025."
    page = sound(pages.winter_page(cycling.row(), contents, INSTALLER, {}, NOW))
    assert told in page
    assert told in paper_html("winter", "2025", contents)
    assert f'href="/sites/{cycling.site.id}/checks/winter/2025"' in page
    theirs = pages.winter_page(cycling.row(), contents, HOUSEHOLDER, {}, NOW)
    assert told in theirs
    assert "/checks/winter" not in theirs, "the sheet is the firm's to fill in"
    theirs_too = pages.winter_entry(cycling.row())
    assert theirs_too["season"] == "2025"
    entries = [
        theirs_too | {"signed": signed},
        pages.winter_entry(full.row(id="other-row")) | {"signed": None},
    ]
    assert pages.winter_list_page(entries, INSTALLER).count(told) == 1


def test_lessons_show_the_homes_behind_each_number() -> None:
    sites = [{"site": f"home-{i}", "value": 0.8 + 0.1 * i, "low": 0.7, "high": 1.3} for i in range(5)]
    learning = {
        "heat_loss_against_design": {
            "median": {"value": 1.0},
            "lesson": "measured heat loss is 1.00 of the designed",
            "sites": sites,
        },
        "performance_against_flow_temperature": {
            "reason": "needs 5 sites on which it is known, has 0",
            "sites": [],
        },
        "cycling_against_oversizing": {
            "slope": {"value": 0.2, "low": 0.1, "high": 0.3},
            "at": {"x": 1.0, "y": 1.0},
            "lesson": "+0.20 starts an hour",
            "sites": [{"site": "home-1", "x": 1.0, "y": 0.9}, {"site": "home-2", "x": 1.4, "y": 1.1}],
        },
        "outdoor_beside_others": {
            "compared": 7,
            "sites": [{"site": "home-1", "apart_k": -4.1, "neighbours": 6, "days": 60, "probability": 0.91}],
        },
        "left_out": 1,
    }
    page = sound(pages.design_feedback_page(learning, INSTALLER, {"home-1": "Kiln & Row"}))
    assert "home-4" in page
    assert "1 home did not agree" in page
    assert "Kiln &amp; Row reads 4.1 K colder than 6 homes near it" in page.replace("\N{NO-BREAK SPACE}", " ")
    assert "<title>Kiln &amp; Row: 0.90 (0.70 to 1.30)</title>" in page, "a dot has its home's name"
    assert '<th scope="row">Kiln &amp; Row</th><td>2</td>' in page
    assert page.count(">Starts against oversizing<") == 2, "as a heading and as its table's caption"
