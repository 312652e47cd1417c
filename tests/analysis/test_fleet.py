"""Worst first: harm, then certainty times cost times age."""

from __future__ import annotations

from typing import Any

import pytest

from fieldfare.analysis.reports.fleet import (
    fleet_summary,
    home_urgency,
    open_findings,
    urgency,
    worst_findings_first,
)
from fieldfare.analysis.reports.verdict import given_verdict

LAST = "2026-11-29"


def finding(code: str, severity: str, kwh: float = 0.0, sure: float = 0.9, **more: Any) -> dict[str, Any]:
    return {
        "code": code,
        "severity": severity,
        "since": "2026-08-09",
        "until": None,
        "confidence": sure,
        "headline": code,
        "evidence": [],
        "cost_per_year": {"electricity_kwh": kwh, "money": kwh * 0.27} if kwh else None,
        **more,
    }


def falling(now: float, loss: float) -> dict[str, Any]:
    evidence = [
        {
            "label": "fall",
            "value": loss,
            "unit": "bar/week",
            "limit": 0.05,
            "limit_name": "pressure_fall_watch",
            "side": "above",
        },
    ]
    days = (now - 0.5) / loss * 7.0
    if days < 30.0:
        evidence.append(
            {
                "label": "left",
                "value": days,
                "unit": "days",
                "limit": 30.0,
                "limit_name": "pressure_days_left",
                "side": "below",
            }
        )
    return finding("pressure_falling", "watch", sure=0.99, evidence=evidence)


def result(*found: dict[str, Any], verdict: str = "act") -> dict[str, Any]:
    return {
        "findings": list(found),
        "period": {"from": "2025-11-30", "to": LAST},
        "performance": {},
        "verdict": {"verdict": verdict, "because": [], "missing": []},
    }


def order(*found: dict[str, Any]) -> list[str]:
    return [f["code"] for f in sorted(found, key=lambda f: urgency(f, LAST))]


def test_a_certain_loss_comes_before_a_likely_small_one() -> None:
    """Seen: 27 a year at 71 % that asked to act stood above 277 a year at 99 % that was only to be
    watched."""
    small = finding("short_cycling", "act", 100.0, 0.71)
    large = finding("efficiency_fell", "watch", 1026.0, 0.99)
    assert order(small, large) == ["efficiency_fell", "short_cycling"]


def test_harm_within_a_month_comes_before_what_only_costs() -> None:
    """Seen: a circuit that reaches 0.5 bar within two weeks was seventh in the list."""
    costs = [
        finding(c, "act", 500.0)
        for c in ("short_cycling", "backup_heater_use", "high_standing_loss", "immersion_use", "low_flow")
    ]
    assert order(*costs, falling(now=0.7, loss=0.1))[0] == "pressure_falling"
    far = order(falling(now=1.5, loss=0.02), finding("room_below_target", "act"))
    assert far == ["room_below_target", "pressure_falling"]


def test_urgent_first_then_danger_then_cold_rooms_then_cost() -> None:
    found = (
        finding("short_cycling", "act", 900.0),
        finding("room_below_target", "act"),
        finding("water_too_hot", "act"),
        finding("unit_stopped", "urgent"),
        finding("capacity_short", "watch"),
        finding("low_flow", "note"),
    )
    assert order(*found) == [
        "unit_stopped",
        "water_too_hot",
        "room_below_target",
        "capacity_short",
        "short_cycling",
        "low_flow",
    ]


def test_age_counts_and_what_ended_comes_last() -> None:
    old = finding("short_cycling", "act", 300.0, since="2026-01-01")
    new = finding("low_flow", "act", 300.0, since="2026-11-20")
    ended = finding("backup_heater_use", "act", 3000.0, until="2026-10-01")
    assert order(new, ended, old) == ["short_cycling", "low_flow", "backup_heater_use"]
    assert [f["code"] for f in open_findings(result(new, ended, old))] == ["short_cycling", "low_flow"]


def test_homes_in_order_come_after_unknown_ones_and_those_after_findings() -> None:
    homes = {
        "fine": result(verdict="in_order"),
        "noted": result(finding("low_flow", "note"), verdict="in_order"),
        "unknown": result(verdict="not_known"),
        "watched": result(finding("low_flow", "watch"), verdict="watch"),
        "urgent": result(finding("frost_risk", "urgent"), verdict="urgent"),
        "empty": None,
    }
    ranked = sorted(homes, key=lambda n: (home_urgency(homes[n], given_verdict(homes[n])), n))
    assert ranked == ["urgent", "watched", "empty", "unknown", "fine", "noted"]


@pytest.mark.parametrize("found", [[], [finding("short_cycling", "act", until="2026-01-01")]])
def test_a_summary_counts_only_what_goes_on(found: list[dict[str, Any]]) -> None:
    told = fleet_summary(result(*found, verdict="in_order"))
    assert told["severity"] is None
    assert told["money_per_year"] == 0.0
    assert told["verdict"] == "in_order"


def test_a_home_without_data_has_a_row() -> None:
    told = fleet_summary(None)
    assert told["verdict"] == "not_known"
    assert told["missing"]
    assert told["money_per_year"] is None


def test_what_stands_as_designed_does_not_hide_the_fault_of_the_day() -> None:
    """A store that the site file keeps lukewarm has stood so since hand-over; the same water is a danger that
    comes first where the site file asks for a disinfection."""
    fault = finding("efficiency_fell", "watch", 400.0, since="2026-11-01")
    standing = finding("disinfection_lacking", "act", as_designed=True)
    assert order(standing, fault, finding("low_flow", "note")) == [
        "efficiency_fell",
        "disinfection_lacking",
        "low_flow",
    ]
    assert order(finding("disinfection_lacking", "act", as_designed=False), fault)[0] == (
        "disinfection_lacking"
    )


def test_what_explains_a_finding_comes_just_before_it() -> None:
    """Clogged since autumn, the unit fails its first cold spell: the strainer is the cause to look at."""
    clogged = finding("falling_flow", "act", since="2026-10-01")
    short = finding("capacity_short", "watch", since="2026-11-20")
    dear = finding("short_cycling", "act", 900.0)
    codes = [f["code"] for f in worst_findings_first([short, dear, clogged], LAST)]
    assert codes == ["falling_flow", "capacity_short", "short_cycling"]


@pytest.mark.parametrize(
    "root",
    [
        {"since": "2026-11-28"},
        {"severity": "watch"},
        {"until": "2026-11-10"},
        {"code": "high_standby"},
    ],
    ids=["began later", "less grave", "is over", "of another kind"],
)
def test_nothing_else_comes_before_harm(root: dict[str, Any]) -> None:
    cold = finding("room_below_target", "act", since="2026-11-15")
    other = finding("low_flow", "act", 400.0, since="2026-11-01") | root
    assert worst_findings_first([cold, other], LAST)[0]["code"] == "room_below_target"


def test_a_home_is_as_urgent_as_its_gravest_finding_wherever_it_stands() -> None:
    cold = finding("room_below_target", "act", since="2026-11-15")
    leaky = finding("heat_loss_above_design", "act", 400.0, since="2026-11-01")
    homes = {"cold": result(cold, leaky), "dear": result(finding("low_flow", "act", 900.0))}
    ranked = sorted(homes, key=lambda n: home_urgency(homes[n], given_verdict(homes[n])))
    assert ranked == ["cold", "dear"]
