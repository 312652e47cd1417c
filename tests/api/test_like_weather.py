"""Effect of jobs, what-if answers and fleet feedback: known changes must be recovered."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.errors import InputError, NotAssessed
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.before_after import FEWEST_DAYS, effect_of_work
from fieldfare.analysis.reports.fleet_feedback import FEWEST_SITES, design_feedback
from fieldfare.analysis.reports.what_if import FULL_YEAR_DAYS, answer
from fieldfare.api.records.maintenance_log import came_back
from fieldfare.dashboards.figures.before_after import water_flow_sentence
from tests.api.sites import site_text

FIRST = date(2025, 10, 1)


def winter(
    days: int, changed: int, share: float, flow_k: float = 0.0, *, noise: float = 0.06, seed: int = 1
) -> Table:
    """Days of a house at 8 kWh a degree-day over 3; from day `changed` on, electricity is `share` of what it
    was."""
    draw = np.random.default_rng(seed)
    outdoor = 6.0 + 4.0 * np.sin(np.arange(days) / 9.0) + draw.normal(0, 1.5, days)
    after = np.arange(days) > changed
    energy = (1.0 + 2.6 * np.maximum(15.5 - outdoor, 0.0)) * np.where(after, share, 1.0)
    flow = 44.0 - 0.8 * outdoor + np.where(after, flow_k, 0.0) + draw.normal(0, 0.4, days)
    return Table(
        {
            "day": np.arange(days).astype("timedelta64[D]") + np.datetime64(FIRST, "us"),
            "minutes_total": 1440,
            "minutes_electricity_known": 1440,
            "outdoor": outdoor,
            "outdoor_steady": outdoor,
            "outdoor_heating": outdoor,
            "electricity_total_kwh": energy * (1.0 + draw.normal(0, noise, days)),
            "flow_by_heat": flow,
            "flow": flow,
            "starts": 20.0 - 8.0 * after + draw.normal(0, 1.0, days),
            "room": 20.0,
        }
    )


def day_of(n: int) -> date:
    return FIRST + timedelta(days=n)


@pytest.mark.parametrize("share", [0.80, 0.89, 1.0, 1.12])
def test_a_known_change_is_found_within_its_interval(share: float) -> None:
    held, halves = 0, []
    for seed in range(40):
        effect = effect_of_work(winter(70, 40, share, seed=seed), day_of(40))
        low, high = effect.electricity_percent.low, effect.electricity_percent.high
        assert low is not None
        assert high is not None
        held += low <= 100.0 * (share - 1.0) <= high
        halves.append((high - low) / 2.0)
    # 95 % intervals: of 40, fewer than 33 would happen once in some thousand times.
    assert held >= 33
    assert 1.0 < float(np.median(halves)) < 6.0


def test_flow_and_starts_change_as_they_were_changed() -> None:
    effect = effect_of_work(winter(70, 40, 0.9, -6.0), day_of(40))
    assert effect.flow_k.value == pytest.approx(-6.0, abs=0.5)
    assert effect.starts_per_day.value == pytest.approx(-8.0, abs=1.0)
    assert effect.sentence.startswith("flow temperature 6 K lower; ")
    assert "less electricity at the same degree-days; 29 days" in effect.sentence


def test_colder_weather_alone_is_no_effect() -> None:
    days = winter(80, 40, 1.0)
    colder = days["outdoor"] - np.where(np.arange(80) > 40, 3.0, 0.0)
    energy = (1.0 + 2.6 * np.maximum(15.5 - colder, 0.0)) * np.random.default_rng(5).normal(1, 0.05, 80)
    days = days.with_columns(outdoor=colder, electricity_total_kwh=energy)
    effect = effect_of_work(days, day_of(40))
    low, high = effect.electricity_percent.low, effect.electricity_percent.high
    assert low is not None
    assert high is not None
    assert low <= 0.0 <= high
    assert days["electricity_total_kwh"][41:].mean() > 1.15 * days["electricity_total_kwh"][:40].mean()


def test_too_little_and_unlike_weather_are_told() -> None:
    few = effect_of_work(winter(60, 60 - FEWEST_DAYS, 0.9), day_of(60 - FEWEST_DAYS))
    assert few.reason == f"needs {FEWEST_DAYS} whole days after it, has {FEWEST_DAYS - 1}"
    assert not few.electricity_percent
    summer = winter(80, 40, 0.9)
    summer = summer.with_columns(outdoor=summer["outdoor"] + np.where(np.arange(80) > 40, 25.0, 0.0))
    assert effect_of_work(summer, day_of(40)).reason == "no comparable weather yet"


@pytest.mark.parametrize(("share", "charging"), [(1.36, True), (1.36, False), (1.0, False)])
def test_the_water_flow_before_and_after_is_told_whatever_the_weather(share: float, charging: bool) -> None:
    """A strainer cleaned: the flow at like heat, though it has got colder."""
    draw = np.random.default_rng(4)
    days = winter(60, 40, 1.0)
    after = np.arange(60) > 40
    heat = np.where(after, 4000.0, 3500.0) + draw.normal(0, 800.0, 60)
    slow = np.where(np.arange(60) < 20, 1.3, 1.0)  # long before it clogged
    flow = 0.72 * slow * np.where(after, share, 1.0) + draw.normal(0, 0.01, 60)
    given = {"flow_rate_hot_water": flow, "minutes_hot_water": 40.0} if charging else {}
    days = days.with_columns(
        outdoor=days["outdoor"] + np.where(after, 25.0, 0.0),
        flow_rate=np.full(60, np.nan) if charging else flow + 2e-5 * (heat - heat.mean()),
        minutes_steady=300.0,
        heat_power=heat,
        **given,
    )
    effect = effect_of_work(days, day_of(40))
    assert effect.reason == "no comparable weather yet"
    assert effect.water_flow_while == ("charging the cylinder" if charging else "heating")
    low, value, high = (getattr(effect.water_flow_percent, k) for k in ("low", "value", "high"))
    assert low - 1.0 <= 100.0 * (share - 1.0) <= high + 1.0
    assert value == pytest.approx(100.0 * (share - 1.0), abs=3.0)
    told = water_flow_sentence(
        {k: v.as_dict() if isinstance(v, Estimate) else v for k, v in vars(effect).items()}
    )
    assert told.startswith(f"Water flow while {effect.water_flow_while}: 0.")
    assert ("chance" in told) is (share == 1.0)
    if not charging:
        unlike = days.with_columns(heat_power=np.where(after, 9000.0, 2500.0) + draw.normal(0, 50.0, 60))
        assert not effect_of_work(unlike, day_of(40)).water_flow_percent


def test_days_with_gaps_do_not_count() -> None:
    days = winter(60, 30, 0.9)
    days = days.with_columns(
        minutes_electricity_known=np.where(np.isin(np.arange(60), range(31, 41)), 700, 1440)
    )
    assert effect_of_work(days, day_of(30)).days_after == 19


def plant(more: str = "") -> Site:
    water = (
        "[hot_water]\ncylinder_litres = 250\nsetpoint_c = 50.0\npasteurise_c = 60.0\n"
        "standing_loss_kwh_per_day = 1.6\n"
    )
    return parse_site(
        site_text().replace("[cost]", water + "[cost]").replace("[design]", "[design]\nindoor_c = 20.5")
        + more
    )


def facts(days: int = 365) -> Facts:
    day = winter(days, days, 1.0)
    day = day.with_columns(
        electricity_space_kwh=day["electricity_total_kwh"] * 0.8,
        electricity_backup_kwh=0.0,
        money=day["electricity_total_kwh"] * 0.27,
    )
    start = day["day"].astype("datetime64[ms]").astype(np.int64)
    runs = Table(
        {
            "day": day["day"],
            "start": start + 3_600_000,
            "minutes": 120,
            "use": 1,
            "electricity": day["electricity_space_kwh"],
            "outdoor": day["outdoor"],
        }
    )
    reheats = Table(
        {
            "day": day["day"],
            "start": start + 14 * 3_600_000,
            "minutes": 45,
            "electricity": 1.5,
            "heat": 4.2,
            "flow": 54.0,
            "outdoor": day["outdoor"] + 2.0,
        }
    )
    empty = Table({"day": np.empty(0, dtype="datetime64[us]")})
    return Facts(day, runs, empty, reheats, empty)


RESULT: dict[str, Any] = {
    "heat_loss": {"heat_loss_kw": {"value": 4.2, "low": 3.9, "high": 4.5}},
    "heating_curve": {"fitted": [[-3.0, 48.0], [15.0, 32.0]]},
    "hot_water": {"standing_loss_kwh_per_day": 1.6, "litres_at_40c_when_full": 330},
    "findings": [
        {
            "code": "short_cycling",
            "confidence": 0.8,
            "cost_per_year": {"electricity_kwh": 200.0, "money": 54.0},
        },
        {
            "code": "pressure_low",
            "confidence": 0.9,
            "cost_per_year": None,
            "caution": "hot water under pressure",
        },
    ],
}


def test_a_lower_curve_saves_between_one_and_a_half_and_three_per_cent_a_kelvin() -> None:
    given = facts()
    told = answer(plant(), given, RESULT, "lower_curve_k", 4.0)
    space = float(given.days["electricity_space_kwh"].sum())
    # Common practice: 1.5 to 3 % for each kelvin of flow temperature.
    assert 0.015 * 4 * space < told["saves_kwh"]["value"] < 0.03 * 4 * space
    assert told["saves_kwh"]["low"] < told["saves_kwh"]["value"] < told["saves_kwh"]["high"]
    assert told["saves_money"]["value"] == pytest.approx(told["saves_kwh"]["value"] * 0.27, rel=1e-6)
    assert told["of"] == "a year like the last"
    assert told["limits"][0]["holds"] is True


def test_a_curve_that_the_emitters_can_not_follow_is_told() -> None:
    told = answer(plant(), facts(), RESULT, "lower_curve_k", 14.0)
    limit, rooms = told["limits"]
    assert rooms["limit"] == "rooms hold their targets"
    assert limit["holds"] is False
    assert "kW needed" in limit["says"]


def test_part_of_a_year_is_not_blown_up() -> None:
    told = answer(plant(), facts(100), RESULT, "lower_curve_k", 4.0)
    assert told["of"] == "the 100 days seen"
    assert FULL_YEAR_DAYS > 100


def test_a_colder_cylinder_saves_and_keeps_disinfection() -> None:
    told = answer(plant(), facts(), RESULT, "hot_water_c", 45.0)
    used = 1.5 * 365
    assert 0.03 * used < told["saves_kwh"]["low"] < told["saves_kwh"]["high"] < 0.35 * used
    limits = {limit["limit"]: limit for limit in told["limits"]}
    assert limits["disinfection stays"]["holds"] is True
    assert "Legionella" in told["caution"]
    without = parse_site(site_text().replace("[cost]", "[hot_water]\nsetpoint_c = 50.0\n[cost]"))
    told = answer(without, facts(), RESULT, "hot_water_c", 45.0)
    assert {limit["limit"]: limit["holds"] for limit in told["limits"]}["disinfection stays"] is False


def test_a_hotter_cylinder_costs() -> None:
    assert answer(plant(), facts(), RESULT, "hot_water_c", 60.0)["saves_kwh"]["high"] < 0


def test_a_cheap_hour_saves_money_even_where_it_costs_electricity() -> None:
    site = parse_site(
        site_text()
        .replace(
            "electricity = 0.27",
            'electricity = 0.27\n[[cost.band]]\nfrom = "00:30"\nto = "05:30"\nprice = 0.09',
        )
        .replace("[cost]", "[hot_water]\nsetpoint_c = 50.0\n[cost]")
    )
    told = answer(site, facts(), RESULT, "hot_water_hour", 1)
    assert told["saves_kwh"]["value"] < 0  # the hour is colder than the afternoon
    assert told["saves_money"]["value"] == pytest.approx(1.5 * 365 * 0.18, rel=0.15)


def test_mending_saves_what_the_finding_costs() -> None:
    told = answer(plant(), facts(), RESULT, "mend", "short_cycling")
    assert told["saves_kwh"]["high"] == 200.0
    with pytest.raises(NotAssessed, match="no price"):
        answer(plant(), facts(), RESULT, "mend", "pressure_low")
    with pytest.raises(InputError, match="no finding"):
        answer(plant(), facts(), RESULT, "mend", "low_flow")


def test_a_band_moves_no_electricity() -> None:
    told = answer(plant(), facts(), RESULT, "band", (0.10, 0, 5))
    assert told["saves_kwh"]["value"] == 0.0
    inside = float(facts().runs["electricity"].sum())  # every run starts at one and lasts two hours
    assert told["saves_money"]["low"] == pytest.approx(inside * 0.17, rel=1e-6)


def test_an_unknown_question_is_refused() -> None:
    with pytest.raises(InputError, match="lower_curve_k"):
        answer(plant(), facts(), RESULT, "colour", 1)


def fleet(count: int, ratio: float, slope: float) -> list[tuple[Site, dict[str, Any]]]:
    draw = np.random.default_rng(3)
    out = []
    for n in range(count):
        site = parse_site(site_text(f"home-{n}"))
        flow = 32.0 + n
        out.append(
            (
                site,
                {
                    "period": {"from": "2025-01-01", "to": "2025-12-31"},
                    "heat_loss": {
                        "ratio": {"value": ratio + draw.normal(0, 0.03)},
                        "heat_loss_kw": {"value": 7.0 / (1.0 + n / 10)},
                    },
                    "heating_curve": {"fitted": [[-3.0, flow + 4.0], [5.0, flow], [15.0, flow - 5.0]]},
                    "performance": {"space_heating": {"value": 4.5 + slope * n + draw.normal(0, 0.02)}},
                    "cycling": {"starts_per_running_hour": 1.0 + 0.2 * n},
                },
            )
        )
    return out


def test_a_fleet_teaches_what_was_put_into_it() -> None:
    found = design_feedback(fleet(15, 0.78, -0.06))
    loss = found["heat_loss_against_design"]
    assert loss["median"]["low"] <= 0.78 <= loss["median"]["high"]
    assert "ask for more than the houses need" in loss["lesson"]
    flow = found["performance_against_flow_temperature"]
    assert flow["slope"]["low"] <= -0.06 <= flow["slope"]["high"] < 0
    assert len(flow["sites"]) == 15
    cycling = found["cycling_against_oversizing"]
    assert cycling["slope"]["value"] == pytest.approx(2.0, rel=0.05)  # 0.2 more for each tenth of oversizing


def test_of_a_large_fleet_some_spread_evenly_are_compared(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fieldfare.analysis.reports.fleet_feedback.MOST_COMPARED", 12)
    flow = design_feedback(fleet(40, 0.78, -0.06))["performance_against_flow_temperature"]
    assert "12 of 40 homes" in flow["lesson"]
    assert flow["slope"]["low"] <= -0.06 <= flow["slope"]["high"] < 0
    assert len(flow["sites"]) == 40


def test_homes_of_other_days_are_not_held_against_each_other() -> None:
    """An autumn is no year: the newcomers, with half the efficiency, change no slope."""
    known = fleet(15, 0.78, -0.06)
    for _, result in (new := fleet(6, 0.78, -0.06)):
        result["period"] = {"from": "2025-09-10", "to": "2025-12-31"}
        result["performance"]["space_heating"]["value"] /= 2.0
    found = design_feedback([*known, *new])["performance_against_flow_temperature"]
    alone = design_feedback(known)["performance_against_flow_temperature"]
    assert found["slope"] == alone["slope"]
    assert found["sites"] == alone["sites"]
    assert "6 with readings of other days are left out" in found["lesson"]
    late = fleet(15, 0.78, -0.06)
    late[0][1]["period"] = {"from": "2025-01-20", "to": "2025-12-31"}
    assert len(design_feedback(late)["performance_against_flow_temperature"]["sites"]) == 15


def test_a_flat_fleet_is_not_made_a_lesson() -> None:
    found = design_feedback(fleet(15, 1.0, 0.0))["performance_against_flow_temperature"]
    assert found["lesson"].endswith("; this may be chance")


def test_a_few_sites_are_no_fleet() -> None:
    found = design_feedback(fleet(FEWEST_SITES - 1, 0.8, -0.05))
    assert all(group["n"] >= 3 for group in found.pop("by_building")["groups"])
    assert "within 15 km" in found.pop("outdoor_beside_others")["reason"]
    for said in found.values():
        assert said["reason"].startswith(f"needs {FEWEST_SITES} sites")


@pytest.mark.parametrize("share", [0.8, 1.0, 1.15])
def test_the_energy_and_money_of_the_days_after_lie_in_their_intervals(share: float) -> None:
    """Against the energy that the made winter would have taken without the change, and a price of 0.25."""
    held = 0
    for seed in range(40):
        days = winter(70, 40, share, seed=seed)
        days = days.with_columns(money=days.floats("electricity_total_kwh") * 0.25)
        effect = effect_of_work(days, day_of(40))
        outdoor = days.floats("outdoor")[41:]
        true = float(((1.0 + 2.6 * np.maximum(15.5 - outdoor, 0.0)) * (share - 1.0)).sum())
        total, money = effect.electricity_kwh, effect.money
        assert total.low is not None
        assert total.high is not None
        held += total.low <= true <= total.high
        assert money.value == pytest.approx(0.25 * (total.value or 0.0))
    assert held >= 33  # as above: of 40 intervals of 95 %


def test_the_compared_days_and_lines_are_those_of_the_plot() -> None:
    effect = effect_of_work(winter(70, 40, 0.8, noise=0.0), day_of(40))
    assert len(effect.compared) == effect.days_before + effect.days_after == 69
    assert {d.is_after for d in effect.compared if d.day > day_of(40).isoformat()} == {True}
    assert day_of(40).isoformat() not in {d.day for d in effect.compared}
    for row in effect.compared:
        level, slope = effect.lines[row.is_after]
        assert row.electricity_kwh == pytest.approx(level + slope * row.degree_days, abs=0.05)
    assert effect.money.value is None, "no price is known"


@pytest.mark.parametrize(
    ("since", "until", "told"),
    [("2025-11-20", None, "2025-11-20"), ("2025-10-05", None, None), ("2025-11-20", "2025-11-25", None)],
)
def test_a_finding_came_back_where_it_began_again_after_the_job(
    since: str, until: str | None, told: str | None
) -> None:
    assert came_back({"since": since, "until": until}, date(2025, 11, 1)) == told
    assert came_back(None, date(2025, 11, 1)) is None
