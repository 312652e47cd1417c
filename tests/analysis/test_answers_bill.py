"""Bill answers: the split adds up, covers the truth of simulated homes, and reports unreliable meters
first."""

from __future__ import annotations

from datetime import date
from functools import cache

import numpy as np
import pytest

from fieldfare.analysis.answers.bill import bill
from fieldfare.analysis.answers.bill_parts import PaperBill, Span, costly
from fieldfare.analysis.answers.half_hours import Used, parse_prices, tariffs
from fieldfare.analysis.answers.shapley import shapley
from fieldfare.analysis.errors import InputError, NotAssessed
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import analyse
from tests.analysis.plain import FIRST, every_minute, facts_of, point, site_of
from tests.benchmarks.answer_bills import CASES, NOW, BillOutcome, outcome, plant, run, span_of

SEED = 1601
TOLD = {
    "rooms 1.8 K warmer": "rooms",
    "compressor worn": "efficiency",
    "tariff and standing charge rose": "tariff",
    "a room added": "house",
}


@cache
def told(name: str) -> BillOutcome:
    return outcome(next(c for c in CASES if c.name == name), SEED)


def test_the_shares_of_a_known_game() -> None:
    """The glove game (Shapley 1953, textbook example): one left and two right gloves share 1 as 2/3, 1/6,
    1/6."""
    values = np.zeros((2, 2, 2, 1))
    for left, one, other in np.ndindex(2, 2, 2):
        values[left, one, other, 0] = float(left and (one or other))
    assert shapley(values, 3)[:, 0] == pytest.approx([2 / 3, 1 / 6, 1 / 6])


def test_shares_add_up_for_any_game() -> None:
    values = np.random.default_rng(3).normal(size=(2, 2, 2, 2, 5))
    assert shapley(values, 4).sum(axis=0) == pytest.approx(values[1, 1, 1, 1] - values[0, 0, 0, 0])


@pytest.mark.parametrize("name", TOLD)
def test_the_part_that_changed_is_named_and_its_interval_holds_the_truth(name: str) -> None:
    found = told(name)
    assert found.named == TOLD[name]
    assert found.held[TOLD[name]]
    assert sum(found.held.values()) >= len(found.held) - 1


@pytest.mark.parametrize("name", TOLD)
def test_the_parts_add_up_to_the_metered_difference(name: str) -> None:
    document = told(name).document
    for unit in ("kwh", "money"):
        total = sum(p[unit]["value"] for p in document["parts"])
        assert total == pytest.approx(document["difference"][unit], abs=1e-6)
        efficiency = next(p["kwh"]["value"] for p in document["parts"] if p["code"] == "efficiency")
        assert sum(w["kwh"] for w in document["why"]) == pytest.approx(efficiency, abs=1e-6)
        assert sum(g[unit] for g in document["groups"]) == pytest.approx(total, abs=1e-6)


def test_what_one_finding_explains_of_another_costs_once() -> None:
    heater = {"code": "backup_heater_use", "cost_per_year": {"electricity_kwh": 459.0, "money": 133.0}}
    promise = {
        "code": "performance_below_promise",
        "cost_per_year": {"electricity_kwh": 500.0, "money": 120.0},
        "causes": [{"cause": "backup_heater_use", "weight": 1.0}],
    }
    standing = {"until": None, "severity": "act", "causes": []}
    (first, second) = costly({"findings": [standing | heater, standing | promise]})
    assert first == {"finding": "backup_heater_use", "electricity_kwh": 459.0, "money": 133.0}
    assert second == {"finding": "performance_below_promise", "electricity_kwh": 41.0, "money": None}


def test_a_higher_price_is_the_prices_and_costs_what_it_costs() -> None:
    """By hand: 8 cents more on a mean of both winters' electricity is between 8 cents of the one and of
    the other."""
    document = told("tariff and standing charge rose").document
    part = {p["code"]: p["money"]["value"] for p in document["parts"]}
    low, high = sorted(0.08 * document[side]["kwh"] for side in ("before", "now"))
    assert low <= part["tariff"] <= high
    assert part["standing_charge"] == pytest.approx(0.12 * document["days"])


def test_a_home_among_its_likes_differs_by_nothing_and_by_its_rooms() -> None:
    """Three homes like this one: no part is worth a word. Three whose rooms are 1.8 K cooler: the rooms
    are."""
    usual = plant(SEED, "thermostat")
    warm = next(c for c in CASES if c.part == "rooms").change(usual, NOW)
    spans = {}
    for name, spec in (("usual", usual), ("warm", warm)):
        made = run(spec, NOW)
        site = parse_site(made.site_toml)
        spans[name] = site, span_of(site, made.readings, NOW)
    likes = [spans["usual"]] * 3
    same = bill(*spans["usual"], None, "homes", homes=likes)
    assert [p["code"] for p in same["parts"] if p["told"]] == []
    more = bill(*spans["warm"], None, "homes", homes=likes)
    assert max(more["parts"], key=lambda p: p["kwh"]["value"])["code"] == "rooms"
    with pytest.raises(NotAssessed, match="at least 3 homes"):
        bill(*spans["usual"], None, "homes", homes=likes[:2])


def test_other_loads_are_asked_about_and_not_assumed() -> None:
    document = told("rooms 1.8 K warmer").document
    assert document["billed"] is None
    assert {"paper_bill", "other_loads", "warmer_on_purpose"} <= set(document["ask"])


def plain_span(site_text: str = "") -> tuple[Span, object]:
    site = site_of([point("heat_pump_electricity"), point("outdoor_temperature", "gauge", "degC")], site_text)
    readings = every_minute(site, {"heat_pump_electricity": 500.0, "outdoor_temperature": 5.0}, days=12)
    facts = facts_of(site, readings, 12)
    result = analyse(site, facts, FIRST, date(2026, 1, 23)).as_dict()
    return Span(facts, result), site


def test_without_a_heat_meter_the_total_still_adds_up_and_says_what_is_missing() -> None:
    span, site = plain_span()
    paper = PaperBill(billed_kwh=500.0)
    document = bill(site, span, span, "year", paper_bill=paper)  # type: ignore[arg-type]
    assert document["difference"]["kwh"] == pytest.approx(0.0, abs=1e-9)
    assert {"part": "efficiency", "reason": "no_heat_meter"} in document["untold"]
    assert {"part": "tariff", "reason": "no_prices"} in document["untold"]
    assert document["billed"]["other_kwh"] == pytest.approx(500.0 - 12 * 12.0, rel=1e-3)
    assert document["ask"][0] == "other_loads"


def test_no_year_before_and_no_design_are_refused_with_what_is_missing() -> None:
    span, site = plain_span()
    with pytest.raises(NotAssessed, match="a year ago"):
        bill(site, span, None, "year")  # type: ignore[arg-type]
    with pytest.raises(NotAssessed, match="heat meter"):
        bill(site, span, None, "design")  # type: ignore[arg-type]


def test_electricity_that_can_not_be_trusted_is_not_split() -> None:
    span, site = plain_span()
    energy = {**span.result["energy"], "electricity_kwh": {"total": None}}
    spoiled = Span(span.facts, {**span.result, "energy": energy})
    document = bill(site, spoiled, span, "year")  # type: ignore[arg-type]
    assert document["parts"] == []
    assert document["untold"] == [{"part": "meter", "reason": "distrusted"}]
    assert document["ask"][0] == "meter_reading"


PRICES = """time,price
2026-01-12T00:00:00+00:00,0.10
2026-01-12T00:30:00+00:00,0.30
2026-01-12T01:00:00+00:00,-0.02
"""


def test_half_hourly_prices_hold_until_the_next_and_an_hour_at_most() -> None:
    steps = parse_prices(PRICES, "prices.csv")
    minute = 60_000
    at = steps.time[0] + np.array([0, 29, 30, 59, 60, 119, 120]) * minute
    assert steps.at(at)[:6].tolist() == [0.10, 0.10, 0.30, 0.30, -0.02, -0.02]
    assert np.isnan(steps.at(at)[6])
    assert np.isnan(steps.at(at[:1] - minute)[0])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("when,price\n", "line 1: needs the columns time and price"),
        ("time,price\n2026-01-12T00:00:00,0.1\n", "line 2: time .* needs its offset"),
        ("time,price\nyesterday,0.1\n", "line 2: time 'yesterday' is not ISO 8601"),
        ("time,price\n2026-01-12T00:00:00+00:00,cheap\n", "line 2: price 'cheap' is not a number"),
        ("time,price\n2026-01-12T00:00:00Z,0.1\n2026-01-12T00:00:00Z,0.2\n", "line 3: .* two prices"),
        ("time,price\n2026-01-12T00:00:00Z,nan\n", "line 2: price must lie between"),
        ("time,price\n", "holds no price"),
        ("time,price\n" + "9" * 200_000, "can't be read as CSV"),
    ],
)
def test_a_file_of_prices_that_is_wrong_says_where(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        parse_prices(text, "prices.csv")


def test_dear_and_cheap_hours_are_told_apart_from_the_tariff() -> None:
    """By hand: the same bands both years; before all was used at night at 0.10, now all by day at 0.30."""
    bands = (
        '[cost]\n[[cost.band]]\nfrom = "00:00"\nto = "06:00"\nprice = 0.10\n[[cost.band]]\nfrom = "06:00"\nto'
        ' = "00:00"\nprice = 0.30\n'
    )
    site = parse_site('[site]\nid = "plain"\nname = "Plain"\ntimezone = "UTC"\n' + bands)
    hour = 3_600_000
    then, now = (
        np.datetime64("2025-01-13", "ms").astype(np.int64),
        np.datetime64("2026-01-12", "ms").astype(np.int64),
    )
    assert site.cost is not None
    found = tariffs(
        site,
        site.cost,
        Used(np.array([then + 2 * hour]), np.ones(1)),
        Used(np.array([now + 12 * hour]), np.ones(1)),
        None,
    )
    assert found is not None
    assert (found.before_then, found.before_now, found.now_then, found.now_now) == (0.10, 0.10, 0.30, 0.30)
