"""Answers to complaints: the known cause of simulated homes is named, with plan and cautions."""

from __future__ import annotations

from datetime import timedelta
from functools import cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.answers import noise
from fieldfare.analysis.answers.actions import ALL_HOURS, BY_REASON, PLANS
from fieldfare.analysis.answers.cold import ORDER as COLD
from fieldfare.analysis.answers.cold import _one_binds
from fieldfare.analysis.answers.complaint import AGAINST, complaint
from fieldfare.analysis.answers.hot_water import KWH_PER_LITRE_40, emptied_by_charge, standing_watts_per_k
from fieldfare.analysis.answers.hot_water import ORDER as HOT_WATER
from fieldfare.analysis.answers.hours import OF_FINE, Question, Step, Value, hours_of
from fieldfare.analysis.answers.ice import ORDER as ICE
from fieldfare.analysis.answers.noise import ORDER as NOISE
from fieldfare.analysis.errors import InputError, NotAssessed
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.catalogue import codes
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.dashboards.answers import complaint_texts, plan_texts
from fieldfare.dashboards.answers.present_complaint import present_complaint
from tests.analysis.plain import FIRST, every_minute, facts_of, point, site_of
from tests.benchmarks import answer_plants_c
from tests.benchmarks.answer_complaints import COMPLAINTS, answer_of

SEED = 1601
SEED_C = 3
FAST = (
    "target turned down",
    "set-back too deep",
    "curve too low",
    "valve of a zone does not open",
    "unit too small",
    "reheat only at night",
    "coil scaled up",
    "guests for a week",
    "defrosts all night",
    "coil without air",
)


@cache
def told(name: str) -> dict[str, Any]:
    return answer_of(next(c for c in COMPLAINTS if c.name == name), SEED)


@pytest.mark.parametrize("name", FAST)
def test_the_known_cause_binds(name: str) -> None:
    case = next(c for c in COMPLAINTS if c.name == name)
    document = told(name)
    assert document["binding"] == case.cause
    assert [s["code"] for s in document["steps"] if s["state"] == "binds"] == [case.cause]
    assert document["do"]


@pytest.mark.parametrize("case", answer_plants_c.CASES, ids=lambda c: c.name)
def test_the_cause_binds_at_homes_of_another_simulator(case: answer_plants_c.ColdCase) -> None:
    """The unit's output is not blamed for a set-back or for windows, and is where it is short."""
    assert answer_plants_c.answer_of(case, SEED_C)["binding"] == case.cause


def test_steps_are_looked_at_in_the_stated_order() -> None:
    codes = [s["code"] for s in told("target turned down")["steps"]]
    assert codes == sorted(codes, key=COLD.index)


def test_v40_is_what_was_drawn_and_not_the_whole_volume() -> None:
    """A layered cylinder gives less than its whole volume: EN 16147 counts what was drawn before the
    outlet fell below 40 °C."""
    values = {v["code"]: v for s in told("guests for a week")["steps"] for v in s["values"]}
    drawn = values.get("v40_drawn") or values["v40_at_least"]
    assert drawn["low"] < drawn["value"] < drawn["high"]
    assert drawn["value"] < values["v40_whole_volume"]["value"]
    assert values["loss_w_per_k"]["low"] < values["loss_w_per_k"]["value"] < values["loss_w_per_k"]["high"]
    assert pytest.approx(0.0349, abs=1e-4) == KWH_PER_LITRE_40  # 30 K x 1.163 Wh/(l K)


def test_hot_water_and_ice_carry_their_cautions() -> None:
    assert any("Legionella" in c and "scalds" in c for c in told("reheat only at night")["cautions"])
    assert any("Never chip ice" in c for c in told("coil without air")["cautions"])
    assert not any("refrigerant" in a["code"] for a in told("coil without air")["do"])


def test_readings_too_far_apart_for_a_defrost_blame_nothing_on_the_unit() -> None:
    """A defrost takes 2 to 10 minutes (common practice, no source): readings 5 minutes apart miss it."""
    case = next(c for c in COMPLAINTS if c.name == "coil without air")
    sparse = answer_of(case, SEED, every_min=5)
    assert sparse["binding"] is None
    assert {s["code"]: s["state"] for s in sparse["steps"]} == dict.fromkeys(ICE[1:-1], "unknown")
    assert {s["reason"] for s in sparse["steps"]} == {"no_defrost_signal"}


def test_every_code_has_its_words_and_its_plan() -> None:
    for question, order in (("cold", COLD), ("hot-water", HOT_WATER), ("noise", NOISE), ("ice", ICE)):
        for code in order:
            assert code in complaint_texts.STEPS
            assert code in complaint_texts.SAID
            assert code in PLANS[question]
        for plan in (*PLANS[question].values(), *BY_REASON.values()):
            assert {plan.tomorrow, ALL_HOURS.get(plan.tomorrow, plan.tomorrow)} <= set(plan_texts.TOMORROW)
            for act in plan.do:
                assert act.code in plan_texts.DO
                assert not act.home or act.code in plan_texts.HOME_DO


def small_hours(question: Question, days: int = 3) -> Any:
    site = site_of(
        [
            point("heat_pump_electricity"),
            point("room_temperature", "gauge", "degC", extra='zone = "upstairs"'),
        ]
    )
    readings = every_minute(site, {"heat_pump_electricity": 500.0, "room_temperature": 17.0}, days)
    facts = facts_of(site, readings, days)
    return hours_of(site, readings, facts, facts, {}, question, FIRST, FIRST)


def test_hours_over_midnight_and_the_whole_day() -> None:
    assert small_hours(Question(from_hour=22, to_hour=6)).in_question.sum() == 8 * 60
    assert small_hours(Question()).in_question.sum() == 24 * 60
    assert small_hours(Question(from_hour=6, to_hour=24)).in_question.sum() == 18 * 60


@pytest.mark.parametrize(("outdoor", "binding"), [(10.0, "no_frost"), (2.0, None)])
def test_air_too_warm_for_frost_is_told_as_that(outdoor: float, binding: str | None) -> None:
    """Coils frost below 6 to 7 °C outdoors (common practice)."""
    site = site_of([point("heat_pump_electricity"), point("outdoor_temperature", "gauge", "degC")])
    readings = every_minute(site, {"heat_pump_electricity": 500.0, "outdoor_temperature": outdoor}, 3)
    facts = facts_of(site, readings, 3)
    hours = hours_of(site, readings, facts, facts, {}, Question(), FIRST, FIRST)
    assert complaint("ice", hours)["binding"] == binding


def test_a_zone_that_is_not_there_and_hours_that_are_none_are_refused() -> None:
    with pytest.raises(InputError, match="it has: upstairs"):
        small_hours(Question(zone="cellar"))
    with pytest.raises(InputError, match="from_hour must be a local hour"):
        Question(from_hour=25)


def test_days_that_nobody_read_are_refused() -> None:
    site = site_of([point("heat_pump_electricity")])
    readings = every_minute(site, {"heat_pump_electricity": 500.0}, 3)
    facts = facts_of(site, readings, 3)
    with pytest.raises(NotAssessed, match="nothing was read"):
        hours_of(
            site, readings, facts, facts, {}, Question(), FIRST.replace(year=2020), FIRST.replace(year=2020)
        )


ROOMS = (
    point("heat_pump_electricity"),
    point("room_temperature", "gauge", "degC", extra='zone = "upstairs"'),
    point("target_room_temperature", "gauge", "degC", extra='zone = "upstairs"'),
)


def cold_answer(room: Any, target: Any, question: Question, result: dict[str, Any] | None = None) -> Any:
    site = site_of(ROOMS)
    values = {"heat_pump_electricity": 500.0, "room_temperature": room, "target_room_temperature": target}
    readings = every_minute(site, values, 3)
    facts = facts_of(site, readings, 3)
    middle = FIRST.replace(day=FIRST.day + 1)
    return complaint("cold", hours_of(site, readings, facts, facts, result or {}, question, middle, middle))


def test_rooms_over_their_set_temperature_are_not_set_higher() -> None:
    """A room 1.8 K over its set temperature does not follow a higher one: the cold place is another."""
    document = cold_answer(22.3, 20.5, Question())
    assert document["binding"] == "as_set"
    assert document["do"][0]["code"] == "which_room"
    assert not {"raise_target", "raise_curve"} & {a["code"] for a in document["do"]}
    lead = " ".join(present_complaint({**document, "period": PERIOD}, "Plain", home=False)["lead"])
    assert "1.8\N{NO-BREAK SPACE}K above its set temperature" in lead


PERIOD = {"from": "2026-01-13", "to": "2026-01-13"}
CLOCK_H = np.arange(3 * 1440 + 1) / 60.0 % 24.0  # London keeps UTC in January
BY_DAY = (CLOCK_H >= 6.0) & (CLOCK_H < 22.0)
SLOW_TARGET = np.where(BY_DAY, 20.0, 18.5)
# 1.4 K up from 6:00 to 22:00 and down again by night: it never reaches its 20 °C
SLOW_ROOM = np.where(BY_DAY, 18.0 + (CLOCK_H - 6.0) * 1.4 / 16.0, 19.4 - (CLOCK_H - 22.0) % 24.0 * 1.4 / 8.0)


@pytest.mark.parametrize(
    ("hours", "reason", "begins", "tomorrow"),
    [
        ((0, 0), "not_back", "The rooms are not back", "room_after_set_back"),
        ((17, 21), "not_back", "The rooms are not back", "room_at_hour"),
        ((21, 0), "lowered", "Most of these hours lie in the night set-back", "room_at_hour"),
    ],
)
def test_the_set_back_is_judged_by_the_hours_named(
    hours: tuple[int, int], reason: str, begins: str, tomorrow: str
) -> None:
    """In the evening no room still comes back from the night; one that is never back is told as that."""
    document = cold_answer(SLOW_ROOM, SLOW_TARGET, Question(from_hour=hours[0], to_hour=hours[1]))
    step = next(s for s in document["steps"] if s["code"] == "set_back")
    assert (document["binding"], step["reason"]) == ("set_back", reason)
    assert document["tomorrow"]["code"] == tomorrow
    assert present_complaint({**document, "period": PERIOD}, "Plain", home=False)["lead"][0].startswith(
        begins
    )


@pytest.mark.parametrize(
    ("cause", "step"),
    [("deep_set_back", "set_back"), ("emitters_small", "emitters"), ("capacity_short", "output")],
)
def test_the_cause_of_the_finding_leads_in_the_answer(cause: str, step: str) -> None:
    """The finding rests on weeks; a caller's week alone would say set-back."""
    causes = [
        {"cause": cause, "weight": 0.9, "because": ""},
        {"cause": "curve_too_low", "weight": 0.1, "because": ""},
    ]
    found = {"code": "room_below_target", "until": None, "severity": "note", "causes": causes}
    document = cold_answer(SLOW_ROOM, SLOW_TARGET, Question(), {"findings": [found]})
    assert (document["binding"], document["weight"]) == (step, 0.9)


def test_a_step_is_not_in_order_while_a_finding_about_it_is_open() -> None:
    open_ = {"findings": [{"code": "room_below_target", "until": None, "severity": "watch"}]}
    document = cold_answer(20.6, 20.5, Question(), open_)
    shown = present_complaint({**document, "period": PERIOD}, "Plain", home=False)["steps"][0]
    assert shown["state_words"] == "not the cause"
    assert "finding: room" in shown["proof"]


def test_findings_against_a_step_are_known_codes() -> None:
    assert {code for about in AGAINST.values() for code in about} <= set(codes())
    assert set(AGAINST) <= set(complaint_texts.STEPS)


COUNTED = "[hot_water]\ncylinder_litres = 250\nsetpoint_c = 50.0\n"


def without_cylinder_sensor(step_min: int = 5) -> Any:
    """Each hour 40 min of heating; at 5 and 17 h hot water; meters of electricity and heat, no cylinder."""
    site = site_of(
        [
            point("heat_pump_electricity"),
            point("heat_output"),
            point("operating_mode", "state"),
            point("outdoor_temperature", "gauge", "degC"),
        ],
        COUNTED,
    )
    days = 3
    minute = np.arange(0, days * 1440 + 1, step_min)
    runs, water = minute % 60 < 40, np.isin(minute // 60 % 24, (5, 17))
    readings = every_minute(
        site,
        {
            "heat_pump_electricity": np.where(runs, 1800.0, 12.0),
            "heat_output": np.where(runs, 5500.0, 0.0),
            "operating_mode": np.where(runs, np.where(water, 2.0, 1.0), 0.0),
            "outdoor_temperature": np.full(len(minute), 2.0),
        },
        days,
        step_min=step_min,
    )
    facts = facts_of(site, readings, days)
    return hours_of(site, readings, facts, facts, {}, Question(), FIRST, FIRST + timedelta(days - 1))


def test_without_a_cylinder_sensor_no_line_says_more_than_was_measured() -> None:
    document = complaint("hot-water", without_cylinder_sensor())
    steps = {s["code"]: s for s in document["steps"]}
    assert document["binding"] is None
    assert {c for c, s in steps.items() if s["state"] == "fine"} == {"stopped"}
    values = {v["code"]: v["value"] for v in steps["stopped"]["values"]}
    assert values["longest_stop"] == pytest.approx(20 / 60, abs=0.1)
    assert "faults" not in values  # no fault code is read
    reasons = {s["reason"] for c, s in steps.items() if c not in ("stopped", "setpoint")}
    assert reasons == {"no_cylinder_sensor"}
    assert {v["code"]: v["value"] for v in steps["schedule"]["values"]}["charges_a_day"] == 2.0
    lead = present_complaint(
        {**document, "period": {"from": "2026-01-12", "to": "2026-01-12"}}, "X", home=False
    )
    assert "is not known" in lead["lead"][0]


def test_defrosts_that_readings_cannot_show_are_not_in_order_in_the_night() -> None:
    """A defrost takes 2 to 10 minutes (common practice, no source): readings 5 minutes apart miss it."""
    step = next(s for s in complaint("noise", without_cylinder_sensor())["steps"] if s["code"] == "defrosts")
    assert (step["state"], step["reason"], step["values"]) == ("unknown", "no_defrost_signal", [])
    fine = complaint("noise", without_cylinder_sensor(step_min=1))["steps"]
    assert next(s for s in fine if s["code"] == "defrosts")["state"] == "fine"


def test_more_heat_than_radiators_can_give_is_a_wrong_figure_and_not_in_order() -> None:
    """EN 442: 2 kW at an excess of 50 K give 0.4 kW at 36 °C water; 5.5 kW cannot pass them."""
    heads = (
        "[design]\nheat_loss_kw = 6.0\nindoor_c = 20.0\noutdoor_c = -10.0\n"
        '[[emitter]]\nzone = "house"\nkind = "radiator"\noutput_kw = 2.0\noutput_excess_k = 50.0\n'
    )
    gauges = {"outdoor_temperature": 2.0, "flow_temperature": 36.0, "return_temperature": 31.0}
    points = [point(name, "gauge", "degC") for name in gauges]
    room = point("room_temperature", "gauge", "degC", extra='zone = "house"')
    site = site_of([point("heat_pump_electricity"), point("heat_output"), room, *points], heads)
    values = {"heat_pump_electricity": 1500.0, "heat_output": 5500.0, "room_temperature": 17.0, **gauges}
    readings = every_minute(site, values, 3)
    facts = facts_of(site, readings, 3)
    document = complaint("cold", hours_of(site, readings, facts, facts, {}, Question(), FIRST, FIRST))
    steps = {s["code"]: s for s in document["steps"]}
    for code in ("valve", "emitters"):
        assert (steps[code]["state"], steps[code]["reason"]) == ("unknown", "emission_impossible")


def test_too_little_water_goes_before_a_set_back_that_rooms_come_back_from_too_late() -> None:
    def bound(reason: str) -> str:
        steps = [Step("set_back", "binds", (), reason), Step("water_flow", "binds", ())]
        return next(s.code for s in _one_binds(steps, {})[0] if s.state == "binds")

    assert bound("not_back") == "water_flow"
    assert bound("lowered") == "set_back", "rooms that are set lower in these hours are as cold as set"


def test_a_zone_that_lags_alone_points_to_its_valves_where_nothing_else_is_found() -> None:
    steps = [Step(code, "fine", ()) for code in ("target", "set_back", "valve", "output")]
    found, weight = _one_binds(steps, {}, lags_alone=True)
    assert [s.code for s in found if s.state == "binds"] == ["valve"]
    assert 0.0 < weight < 0.9
    assert not [s for s in _one_binds(steps, {}, lags_alone=False)[0] if s.state == "binds"]


@pytest.mark.parametrize(
    ("asked", "bound"), [(True, "short_runs"), (False, "defrosts")], ids=["as the frost asks", "too many"]
)
def test_defrosts_that_the_frost_asks_for_come_after_other_noises(
    monkeypatch: pytest.MonkeyPatch, asked: bool, bound: str
) -> None:
    reason = "by_frost" if asked else ""
    made = {
        "_defrosts": Step(
            "defrosts", "binds", (Value("a", 9.0, "1/night", limit="answer_defrosts_a_night"),), reason
        ),
        "_short_runs": Step("short_runs", "binds", (Value("b", 20.0, "min", limit="answer_short_run_min"),)),
    }
    for name in ("_air", "_defrosts", "_hot_water", "_short_runs", "_high_speed", "_water"):
        step = made.get(name, Step("quiet", "fine", ()))
        monkeypatch.setattr(noise, name, lambda hours, step=step: step)
    hours = small_hours(Question())
    assert next(s.code for s in noise.noise_steps(hours)[0] if s.state == "binds") == bound


def test_no_caution_is_said_twice() -> None:
    told_ = told("coil scaled up")["cautions"]
    assert any("Legionella" in c for c in told_)
    assert not [c for c in told_ for other in told_ if c is not other and c in other]


@pytest.mark.parametrize(("over_k", "is_told"), [(32.0, True), (20.0, False)])
def test_only_a_warm_cylinder_tells_its_standing_loss(over_k: float, is_told: bool) -> None:
    """In one that is half empty layers of different temperature mix, and the sensor cools by that too."""
    keys = "cylinder_litres = 200\nsetpoint_c = 55.0"
    site = site_of(ROOMS, f"[hot_water]\n{keys}\n")
    n = 7
    days = Table({"standing_k_per_h": np.full(n, 0.25), "standing_over_k": np.full(n, over_k)})
    found = standing_watts_per_k(site, SimpleNamespace(days=days))  # type: ignore[arg-type]
    assert (found is not None) == is_told
    # 0.25 K/h x 200 l x 1.163 Wh/(l K) over the difference to the room
    assert found is None or found[0] == pytest.approx(58.15 / over_k, rel=1e-3)


FEW_METERS = {
    "heat_pump_electricity": ("power", "W", 1500.0),
    "heat_output": ("power", "W", 5000.0),
    "operating_mode": ("state", "", 1.0),
    "outdoor_temperature": ("gauge", "degC", 3.0),
    "room_temperature": ("gauge", "degC", 20.0),
    "target_room_temperature": ("gauge", "degC", 20.0),
    "flow_temperature": ("gauge", "degC", 36.0),
    "return_temperature": ("gauge", "degC", 31.0),
}


@pytest.mark.parametrize("question", ["cold", "hot-water", "noise", "ice"])
@pytest.mark.parametrize("step_min", [1, 15])
@pytest.mark.parametrize("first", range(len(FEW_METERS)))
def test_no_row_is_in_order_for_want_of_readings(question: str, step_min: int, first: int) -> None:
    """Homes with one to four meters: in order needs a number, or a reason that says why; nothing is
    promised or cautioned about a cylinder that is not there."""
    names = [list(FEW_METERS)[(first + k) % len(FEW_METERS)] for k in range(1 + first % 4)]
    site = site_of([point(n, *FEW_METERS[n][:2]) for n in names])
    readings = every_minute(site, {n: FEW_METERS[n][2] for n in names}, 3, step_min=step_min)
    facts = facts_of(site, readings, 3)
    document = complaint(question, hours_of(site, readings, facts, facts, {}, Question(), FIRST, FIRST))
    for step in document["steps"]:
        if step["state"] in ("fine", "unknown", "not_here"):
            assert (step["state"] == "fine") == bool(
                step["reason"] in OF_FINE or (step["values"] and not step["reason"])
            )
        assert complaint_texts.STATES[step["state"]]
    unread = [s for s in document["steps"] if s["state"] == "unknown"]
    assert document["binding"] != "quiet" or 2 * len(unread) <= len(document["steps"])
    assert not (question == "hot-water" and document["cautions"])
    shown = [
        present_complaint({**document, "period": {"from": "2026-01-12", "to": "2026-01-12"}}, "X", home=home)
        for home in (False, True)
    ]
    for said in (*(s["tomorrow"] for s in shown), *(d["text"] for s in shown for d in s["do"])):
        assert "above" not in said.split() or "°C" in said
        assert question != "hot-water" or "cylinder" not in said
    assert not shown[1]["tomorrow"].startswith("Ask")


def test_a_cold_sensor_alone_says_nothing_of_the_water_above_it() -> None:
    """EN 16147's V40 ends where two thirds to nine tenths of a full cylinder's heat are drawn; a sensor low
    in the cylinder is cold long before."""
    site = site_of([point("heat_pump_electricity")])
    cylinder = SimpleNamespace(hot_water=SimpleNamespace(cylinder_litres=200.0, setpoint_c=50.0))
    hours: Any = SimpleNamespace(site=cylinder, limit=lambda name: limit_of(site, name))
    charges = Table({"from_c": np.array([30.0, 30.0, 44.0]), "cut": np.zeros(3, np.bool_)})
    full = 200.0 * 1.163e-3 * 40.0
    chance = emptied_by_charge(hours, charges, full * np.array([0.45, 0.95, 0.95]))
    assert chance[0] < 0.1
    assert chance[1] > 0.85
    assert chance[2] == 0.0
