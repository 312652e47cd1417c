"""Texts of answers: every code has a text, and the household is given only actions that it may take."""

from __future__ import annotations

from string import Formatter
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis import cautions
from fieldfare.analysis.answers.bill_codes import ASKED, PART_FINDINGS, WHOSE
from fieldfare.analysis.findings.limits import LIMITS
from fieldfare.dashboards.answers import bill_texts, complaint_texts, plan_texts
from fieldfare.dashboards.answers.number_texts import NUMBERS, NUMBERS_BY_REASON, filled
from fieldfare.dashboards.answers.present_answer import present_answer
from fieldfare.dashboards.answers.present_complaint import value_words
from fieldfare.dashboards.text.language import speaking
from tests.contract_codes import CONTRACT_CODES


def part(code: str, value: float, whose: str = "", *, visit: str = "") -> dict[str, Any]:
    estimate = {"value": value, "low": value - 1.0, "high": value + 1.0}
    mend = (
        {"visit": visit, "finding": "low_flow", "bring": ["strainer kit"], "pays_back_days": 40.0}
        if visit
        else None
    )
    return {
        "code": code,
        "kwh": estimate,
        "money": estimate,
        "whose": whose or WHOSE[code],
        "told": abs(value) > 5.0,
        "findings": [],
        "mend": mend,
    }


def document(*parts: dict[str, Any]) -> dict[str, Any]:
    change = sum(p["kwh"]["value"] for p in parts)
    side = {"kwh": 100.0, "money": 100.0}
    return {
        "question": "bill",
        "against": "year",
        "days": 30,
        "currency": "GBP",
        "told_by": "heat",
        "before": side,
        "now": {"kwh": 100.0 + change, "money": 100.0 + change, "full_kwh": 100.0 + change},
        "difference": {"kwh": change, "money": change},
        "parts": list(parts),
        "groups": [],
        "why": [],
        "untold": [],
        "billed": None,
        "ask": ["paper_bill", "more_people", "other_loads"],
        "period": {"from": "2026-01-01", "to": "2026-01-30"},
    }


def test_every_code_has_its_words() -> None:
    for code, whose in WHOSE.items():
        assert code in bill_texts.PARTS
        assert code in bill_texts.MORE_SENTENCES
        assert code in bill_texts.LESS_SENTENCES
        assert whose in bill_texts.WHOSE
    assert set(ASKED.values()) <= set(bill_texts.ASK)
    assert {code for codes in PART_FINDINGS.values() for code in codes} <= set(CONTRACT_CODES)


def test_the_lead_names_the_difference_and_its_weightiest_parts() -> None:
    shown = present_answer(
        document(part("weather", 30.0), part("hot_water", 12.0), part("standby", 1.0)), "Alder Row"
    )
    assert "£43" in shown["lead"][0]
    assert "43" in shown["lead"][0]
    assert shown["lead"][1].startswith("It was colder (+£30")
    assert "at rest" not in shown["lead"][1]


def test_the_headline_names_the_parts_that_explain_most_and_no_more() -> None:
    made = document(part("weather", 46.0), part("efficiency", 37.0), part("meter", -9.9), part("rooms", 6.0))
    (_, reasons) = present_answer(made, "Alder Row")["lead"]
    assert (
        reasons == "It was colder (+£46) and the heat pump needed more electricity for the same heat (+£37)."
    )
    assert len(present_answer(made, "Alder Row")["rows"]) == 4, "the rest is in the table"
    even = document(*(part(c, 20.0) for c in ("weather", "efficiency", "hot_water", "rooms", "standby")))
    assert present_answer(even, "Alder Row")["lead"][1].count("+£20") == 3
    alone = document(part("weather", 90.0), part("efficiency", 8.0), part("hot_water", 7.0))
    assert present_answer(alone, "Alder Row")["lead"][1] == "It was colder (+£90)."


def test_what_somebody_can_act_upon_is_named_beside_a_weather_that_explains_most() -> None:
    made = document(part("weather", 90.0), part("direct_heat", 15.0), part("hot_water", 7.0))
    (_, reasons) = present_answer(made, "Alder Row")["lead"]
    assert reasons == "It was colder (+£90) and the electric heaters ran more (+£15)."
    led = document(part("house", 60.0), part("weather", 20.0))
    (_, reasons) = present_answer(led, "Alder Row")["lead"]
    assert reasons == "The house took more heat for the same warmth (+£60) and it was colder (+£20)."


def test_settings_seen_on_both_sides_and_an_absence_are_said() -> None:
    seen = [
        {"code": "room_c", "before": 19.0, "now": 21.0},
        {"code": "hot_water_c", "before": 48.0, "now": 58.0},
    ]
    made = document(part("rooms", 30.0)) | {"seen": seen, "away": {"before": 14, "now": 0}}
    shown = present_answer(made, "Alder Row")
    told = " ".join(shown["lead"]).replace("\N{NO-BREAK SPACE}", " ")
    assert "On heated days the rooms were at 21.0 °C, a year ago at 19.0 °C." in told
    assert "cylinder" not in told, "no part that it explains"
    assert "Nobody was at home for 2 weeks a year ago." in told


def test_without_a_split_there_is_still_something_to_say_on_the_phone() -> None:
    made = document() | {"parts": [], "before": None, "now": None, "culprits": ["meter_misplaced"]}
    say = present_answer(made | {"untold": [{"part": "meter", "reason": "distrusted"}]}, "Alder Row")["say"]
    assert "read the meter to me" in say


def test_days_asked_about_that_nobody_read_are_said() -> None:
    asked = complaint("hot-water", "small", [])
    assert "nothing was read" not in repr(present_answer(asked, "Alder Row"))
    told = repr(present_answer(asked | {"unread_after": "2026-01-07"}, "Alder Row"))
    assert "nothing was read after 7\\xa0Jan\\xa02026" in told


def test_what_is_said_on_the_phone_has_no_ranges_and_no_symbols() -> None:
    values = [
        {"code": "v40_drawn", "value": 170.0, "unit": "l", "low": 139.0, "high": 201.0},
        {"code": "largest_draw", "value": 215.0, "unit": "l", "low": 177.0, "high": 253.0},
    ]
    shown = present_answer(complaint("hot-water", "small", values), "Alder Row")
    assert "170\N{NO-BREAK SPACE}l (139 to 201)" in shown["lead"][1]
    assert shown["say"].endswith(
        "The cylinder gives 170\N{NO-BREAK SPACE}litres at 40 °C; the largest draw took"
        " 215\N{NO-BREAK SPACE}litres.”"
    )
    loss = [
        {"code": "loss_w_per_k", "value": 6.0, "unit": "W/K"},
        {"code": "usual_loss_w_per_k", "value": 2.0, "unit": "W/K"},
    ]
    assert "W/K" not in present_answer(complaint("hot-water", "loss", loss), "Alder Row")["say"]


def complaint(question: str, binding: str, values: list[dict[str, Any]]) -> dict[str, Any]:
    step = {"code": binding, "state": "binds", "reason": None, "finding": None, "values": values}
    return {
        "question": question,
        "period": {"from": "2026-01-01", "to": "2026-01-07", "timezone": "UTC"},
        "asked": {"zone": None, "from_hour": 0, "to_hour": 0, "since": None, "minutes": 1, "outdoor_c": 3.0},
        "steps": [step],
        "binding": binding,
        "weight": 0.9,
        "findings": [],
        "do": [],
        "tomorrow": {"code": "tank_stays_warm"},
        "cautions": [],
    }


def test_what_is_the_installers_is_not_asked_of_the_household() -> None:
    made = document(part("efficiency", 20.0, visit="drive"), part("hot_water", 12.0), part("standby", 1.0))
    firm, home = present_answer(made, "Alder Row"), present_answer(made, "Alder Row", home=True)
    assert any("Bring".lower() in line.lower() and "pays back" in line for line in firm["mend"])
    assert not any("strainer" in line for line in home["mend"])
    assert any("your installer" in line for line in home["mend"])
    assert any("Legionella" in line for line in home["mend"])
    assert [r["code"] for r in home["rows"]] == ["efficiency", "hot_water"]


def test_other_loads_are_never_assumed() -> None:
    made = document(part("weather", 30.0)) | {
        "billed": {"kwh": 300.0, "money": None, "other_kwh": 170.0, "other_money": None}
    }
    assert "Ask which things" in present_answer(made, "Alder Row")["billed"]
    less = made | {"billed": {"kwh": 90.0, "money": None, "other_kwh": -40.0, "other_money": None}}
    assert "an estimate" in present_answer(less, "Alder Row")["billed"]


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ({"code": "room", "value": 17.34, "unit": "°C"}, "room 17.3"),
        ({"code": "call_share", "value": 0.12, "unit": "-"}, "12"),
        ({"code": "below_curve", "value": -6.5, "unit": "K"}, "above the designed curve 6.5"),
        ({"code": "run_minutes", "value": 1020.0, "unit": "min"}, "usual run 17\xa0h"),
        ({"code": "run_minutes", "value": 25.0, "unit": "min"}, "usual run 25"),
        ({"code": "need_kw", "value": 3.3, "unit": "kW", "low": 2.9, "high": 4.1}, "(2.9 to 4.1)"),
    ],
)
def test_numbers_carry_their_names_units_and_intervals(value: dict[str, Any], says: str) -> None:
    assert says in value_words(value)


def test_every_limit_of_the_answers_has_a_unit_and_a_source() -> None:
    mine = {name: limit for name, limit in LIMITS.items() if name.startswith("answer_")}
    assert len(mine) > 30
    assert all(limit.source and limit.meaning for limit in mine.values())
    assert all(state in complaint_texts.STATES for state in ("binds", "adds", "fine", "unknown"))


def test_what_is_said_on_the_phone_is_sure_and_adds_up() -> None:
    unsure = part("house", 4.0)
    made = document(part("weather", 30.0), part("efficiency", 12.0), part("rooms", -9.0), unsure)
    say = present_answer(made, "Alder Row")["say"]
    assert say == (
        "“Your heating cost £37 more than the same days a year ago. £30 is the colder weather; how the home"
        " was used saved £9; £12 comes from the heating system, and that is for us to put right;"
        " £4 more has no sure cause.”"
    )
    assert made["difference"]["money"] == 30.0 - 9.0 + 12.0 + 4.0


def test_amounts_are_rounded_one_way_and_what_is_left_is_said_however_small() -> None:
    made = document(part("direct_heat", 41.6), part("rooms", -17.42), part("standby", 1.4))
    shown = present_answer(made, "Alder Row")
    assert "£26 more" in shown["say"]
    assert "saved £17; £42 comes" in shown["say"]
    assert "£1 more has no sure cause" in shown["say"]
    assert [(g["whose"], g["money"]) for g in shown["groups"]] == [
        ("The household", "−£17"),
        ("The system", "£42"),
        ("No sure cause", "£1"),
    ]
    assert not any(f".{pence:02d}" in f"{shown['rows']}{shown['lead']}" for pence in range(100))


def test_against_the_design_no_earlier_bill_is_judged_and_open_findings_are_named() -> None:
    cost = {"finding": "high_standing_loss", "electricity_kwh": 569.0, "money": 154.0}
    made = document(part("efficiency", -30.0)) | {"against": "design", "no_earlier": True, "costly": [cost]}
    shown = present_answer(made, "Alder Row")
    assert shown["lead"][0].startswith("The heating,")
    assert "only the design can be compared" in shown["lead"][1]
    assert "cylinder cools too fast, about £154 a year" in shown["say"]
    assert "£154" not in " ".join(present_answer(made, "Alder Row", home=True)["lead"])


def test_without_a_sure_part_the_likeliest_is_said_and_never_that_all_is_as_before() -> None:
    unsure = [part("efficiency", 35.0) | {"told": False}, part("rooms", 6.0) | {"told": False}]
    say = present_answer(document(*unsure), "Alder Row")["say"]
    assert say == (
        "“Your heating cost £41 more than the same days a year ago. No cause is sure; the likeliest is that"
        " the heat pump needed more electricity for the same heat.”"
    )
    spread = [part(c, 10.0) | {"told": False} for c in ("efficiency", "rooms", "hot_water")]
    assert "No single cause stands out" in present_answer(document(*spread), "Alder Row")["say"]
    alike = present_answer(document(part("weather", 1.0)), "Alder Row")["say"]
    assert alike == "“Your heating cost about as much as the same days a year ago.”"


def test_a_heating_that_cost_less_is_not_called_the_reason() -> None:
    lead = present_answer(document(part("weather", -30.0)), "Alder Row")["lead"][0]
    assert lead.startswith("It is not the heating that made the bill higher: the heating,")
    assert "£30 (30\N{NO-BREAK SPACE}kWh, 30" in lead


def test_money_that_rose_while_electricity_fell_is_told_as_that() -> None:
    """A dearer price in a milder winter: the electricity is not said to have risen with the money."""
    made = document(part("tariff", 90.0), part("weather", -30.0))
    made["difference"] = {"kwh": -30.0, "money": 60.0}
    shown = present_answer(made, "Alder Row")
    lead = shown["lead"][0].replace("\N{NO-BREAK SPACE}", " ")
    assert "cost £60 (60 %) more than the same days a year ago, although it used 30 kWh less." in lead
    assert "contract" in shown["next"]


def test_a_difference_that_is_not_worth_a_word_is_told_the_same_way_everywhere() -> None:
    shown = present_answer(document(part("weather", -1.0)), "Alder Row")
    assert "about as much as the same days a year ago" in shown["lead"][0]
    assert "about as much" in shown["say"]
    assert "It is not the heating" not in shown["lead"][0]


def cold(*steps: dict[str, Any]) -> dict[str, Any]:
    return {
        "question": "cold",
        "binding": None,
        "weight": 0.0,
        "steps": list(steps),
        "asked": {"from_hour": 0, "to_hour": 0, "zone": None, "outdoor_c": 2.0},
        "period": {"from": "2026-01-01", "to": "2026-01-07"},
        "do": [],
        "tomorrow": {"code": "ask_again"},
        "cautions": [],
        "findings": [],
    }


def test_without_a_cause_the_answer_says_what_was_seen_and_what_is_not_measured() -> None:
    values = [{"code": c, "value": v, "unit": "°C"} for c, v in (("room", 18.6), ("target", 19.6))]
    target = {"code": "target", "state": "fine", "reason": None, "values": values}
    valve = {"code": "valve", "state": "unknown", "reason": None, "values": []}
    lead = " ".join(present_answer(cold(target, valve), "Alder Row")["lead"]).replace(
        "\N{NO-BREAK SPACE}", " "
    )
    assert "at 18.6 °C, 1.0 K below its set temperature" in lead
    assert "Not known from these readings: valves of the zone." in lead
    without = {**target, "values": values[:1]}
    lead = " ".join(present_answer(cold(without), "Alder Row")["lead"])
    assert "no set temperature is read" in lead


MADE = {"raise_k", "outdoor", "defrosts_each_night"}
"""Numbers that the words make from others."""


def test_sentences_name_known_numbers_and_tomorrow_never_lacks_its_sentence() -> None:
    named = [*NUMBERS.values(), *NUMBERS_BY_REASON.values(), *plan_texts.TOMORROW.values()]
    named.append(tuple(plan_texts.DO_WITH.values()))
    fields = {f for s in named for text in s for _, f, _, _ in Formatter().parse(text) if f is not None}
    assert fields <= {*complaint_texts.VALUES, *MADE}
    assert all(filled(sentences, {}) for sentences in plan_texts.TOMORROW.values())
    assert filled(NUMBERS["flow_temperature"], {"flow": "31 °C"}) == "", "half of the numbers is no sentence"


def test_a_curve_that_is_too_low_is_raised_to_the_designed_one_with_its_numbers() -> None:
    values = [
        {"code": c, "value": v, "unit": u}
        for c, v, u in (("flow", 32.5, "°C"), ("designed_flow", 41.7, "°C"), ("below_curve", 9.2, "K"))
    ]
    step = {"code": "flow_temperature", "state": "binds", "reason": None, "values": values}
    made = cold(step) | {"binding": "flow_temperature", "weight": 0.95}
    made |= {
        "do": [{"kind": "setting", "code": "raise_curve", "home": False, "bring": []}],
        "tomorrow": {"code": "flow_on_curve", "raise_k": 9.0},
    }
    shown = present_answer(made, "Alder Row")
    told = repr(shown).replace("\\xa0", " ")
    assert "The flow was at 32.5 °C; the design says 41.7 °C for this weather." in told
    assert "Raise the heating curve by 9 K, to the designed one" in told
    assert "about 9 K hotter" in shown["tomorrow"].replace("\N{NO-BREAK SPACE}", " ")
    assert "32.5" in shown["say"]


def test_nothing_is_said_of_what_is_nothing_and_never_that_cold_water_is_in_order() -> None:
    depth = {"code": "set_back_depth", "value": 0.0, "unit": "K"}
    share = {"code": "share_in_set_back", "value": 0.0, "unit": "-"}
    steps = (
        {"code": "set_back", "state": "fine", "reason": None, "values": [depth, share]},
        {
            "code": "stopped",
            "state": "fine",
            "reason": None,
            "values": [{"code": "faults", "value": 0.0, "unit": ""}],
        },
        {"code": "not_cold", "state": "fine", "reason": None, "values": []},
    )
    rows = present_answer(cold(*steps), "Alder Row")["steps"]
    assert [r["proof"] for r in rows[:2]] == ["no set-back", "no faults reported"]
    assert rows[2]["state_words"] == "it was cold"
    assert not any("in order" in r["state_words"] for r in rows)


@pytest.mark.parametrize(
    ("code", "cause", "sum_up"),
    [
        ("de", "Das Wasser ist kühler als für dieses Wetter geplant", "Die Heizung kostete"),
        ("fr", "L’eau est moins chaude que prévu par ce temps", "Le chauffage a coûté"),
    ],
)
def test_the_household_reads_answers_in_its_language(code: str, cause: str, sum_up: str) -> None:
    values = [{"code": c, "value": v, "unit": "°C"} for c, v in (("flow", 32.5), ("designed_flow", 41.7))]
    step = {"code": "flow_temperature", "state": "binds", "reason": None, "values": values}
    made = cold(step) | {"binding": "flow_temperature", "weight": 0.95}
    made |= {
        "do": [{"kind": "phone", "code": "leave_valves_open", "home": True, "bring": []}],
        "cautions": [cautions.HOT_WATER, cautions.of_setpoint(45.0)],
    }
    bill = document(part("weather", 30.0), part("rooms", 12.0))
    bill |= {"billed": {"kwh": 300.0, "money": 90.0, "other_kwh": 170.0, "other_money": 5.0}}
    english = {**present_answer(made, "A", home=True), **present_answer(bill, "A", home=True)}
    with speaking(code):
        answer, split = present_answer(made, "A", home=True), present_answer(bill, "A", home=True)
    assert cause in answer["lead"][0]
    assert "32,5" in answer["lead"][1]
    assert "Legionella" not in " ".join(answer["cautions"])
    assert "45" in answer["cautions"][1]
    assert split["lead"][0].startswith(sum_up)
    told = {**answer, **split}
    keys = ("title", "lead", "hours", "do", "tomorrow", "cautions", "ask", "mend", "next", "billed")
    same = [key for key in keys if told.get(key) and told[key] == english.get(key)]
    assert same == [], "nothing that the household reads stays English"


@pytest.mark.parametrize("seed", range(40))
def test_the_rows_marked_with_an_owner_add_up_to_what_is_said_to_be_theirs(seed: int) -> None:
    rng = np.random.default_rng(seed)
    codes = [c for c in WHOSE if c not in ("tariff", "timing", "standing_charge")]
    parts = [part(c, float(v)) for c, v in zip(codes, rng.uniform(-60.0, 60.0, len(codes)), strict=True)]
    for p in parts:
        p["told"] = bool(rng.random() < 0.6)
    shown = present_answer(document(*parts), "Alder Row")
    owned: dict[str, float] = {}
    for row in shown["rows"]:
        owner = row["whose"]
        owned[owner] = owned.get(owner, 0.0) + money_of(row["money"].split(" (")[0])
    said = {g["whose"]: money_of(g["money"]) for g in shown["groups"]}
    for owner, total in said.items():
        if owner != "No sure cause":
            assert owned[owner[:1].lower() + owner[1:]] == total
    assert {o for o in owned if o != "no sure cause"} == {
        o[:1].lower() + o[1:] for o in said if o != "No sure cause"
    }


def money_of(text: str) -> float:
    return float(text.replace("£", "").replace("−", "-").replace(",", ""))


def test_hot_water_that_another_source_makes_too_is_no_habit_of_the_household() -> None:
    asked = document(part("hot_water", -40.0))
    less = present_answer(asked | {"untold": [{"part": "hot_water", "reason": "other_hot_water"}]}, "Elm")
    told = repr((less["lead"], less["rows"]))
    assert "the heat pump made less hot water" in told.lower()
    assert "Hot water from the heat pump" in told
    assert "drawn" not in told
