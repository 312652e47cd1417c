"""The Swiss unit's year through the command line gives exactly the findings explained in `swiss_unit.md`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.reference.swiss_unit import FILE, said

pytestmark = pytest.mark.skipif(
    not FILE.exists(), reason="the folder with open data is not beside the project"
)
PAGE = (Path(__file__).parent / "swiss_unit.md").read_text()


@pytest.fixture(scope="session")
def document_and_text() -> tuple[dict[str, Any], str]:
    return said()


def test_findings_are_those_of_the_page(document_and_text) -> None:
    document, _ = document_and_text
    found = {(f["severity"], f["code"], f["since"]) for f in document["findings"]}
    assert found == {("note", "data_gap", "2021-01-06"), ("note", "unit_stopped", "2021-10-04")}
    for _, code, _ in found:
        assert code in PAGE
    assert document["verdict"]["verdict"] == "not_known"
    assert document["coverage"]["share"] == pytest.approx(361 / 365, abs=0.001)


def test_signature_is_the_pages(document_and_text) -> None:
    told = document_and_text[0]["from_electricity"]
    s, year = told["signature"], told["weather_adjusted_year"]["electricity_kwh"]
    assert s["base_kwh_per_day"]["value"] == pytest.approx(5.5, abs=0.1)
    assert s["slope_kwh_per_day_k"]["value"] == pytest.approx(1.93, abs=0.02)
    assert s["base_temperature_c"]["value"] == pytest.approx(17.4, abs=0.2)
    assert s["cv_rmse"] == pytest.approx(0.19, abs=0.01)
    assert year["low"] < 7373 + 4 * 38 < year["high"]
    assert told["filled_days"] == 4
    assert told["change"]["first_day"] == "2021-04-02"
    assert told["change"]["kwh_per_day"]["value"] == pytest.approx(-3.4, abs=0.2)
    assert told["direct_heat"]["share"]["value"] == 0.0
    assert told["starts"]["per_day"]["value"] == pytest.approx(5.3, abs=0.1)
    assert told["starts"]["winter_per_day"]["value"] == pytest.approx(7.7, abs=0.1)
    assert told["degree_days"]["total"] == pytest.approx(2802, rel=0.02)


def test_what_needs_heat_stays_unknown_and_every_question_gives_a_reason(document_and_text) -> None:
    document, text = document_and_text
    assert all(
        document["performance"][b] is None for b in ("H1", "H2", "H3", "H4", "space_heating", "hot_water")
    )
    assert all(row["reason"] for row in document["not_assessed"])
    assert {"short_cycling", "efficiency_fell", "electricity_above_expected"} <= {
        r["code"] for r in document["not_assessed"]
    }
    assert "United Kingdom" in text or "GB" in text


def test_the_text_has_the_sections_of_the_page(document_and_text) -> None:
    _, text = document_and_text
    for sentence in (
        "a day without heating",
        "a year of usual weather",
        "change at comparable weather",
        "direct electric heat",
        "days left out",
    ):
        assert sentence in text
