"""Advice in one result never moves a setting both ways; evidence shows only limits that are exceeded."""

from __future__ import annotations

from dataclasses import replace

from fieldfare.analysis.findings.consistency import (
    with_passed_limits,
    without_conflicts,
    without_consequences,
)
from fieldfare.analysis.findings.model import Cause, Evidence, Finding


def finding(code: str, direction: str | None) -> Finding:
    changes: tuple = (("flow_temperature", direction),) if direction else ()
    return Finding(
        code, "watch", "2026-01-01", 0.9, "…", next_step=f"{direction} it", visit="setting", changes=changes
    )


def test_comfort_keeps_its_advice_and_the_saving_waits() -> None:
    found = without_conflicts(
        [finding("heat_loss_below_design", "lower"), finding("room_below_target", "raise")]
    )
    assert [f.code for f in found] == ["heat_loss_below_design", "room_below_target"]
    assert found[1].next_step == "raise it"
    assert "room_below_target" in found[0].next_step
    assert found[0].changes == ()
    assert found[0].visit == "none"


def test_advice_of_one_direction_stays() -> None:
    given = [finding("heat_loss_below_design", "lower"), finding("flow_temperature_above_curve", "lower")]
    assert without_conflicts(given) == tuple(given)


def test_a_finding_without_a_setting_is_left_alone() -> None:
    given = [finding("short_cycling", None), finding("room_below_target", "raise")]
    assert without_conflicts(given) == tuple(given)


def stop(since: str) -> Finding:
    return Finding("unit_stopped", "act", since, 0.9, "…", next_step="ring")


def test_what_follows_from_a_stop_has_no_advice_of_its_own() -> None:
    cold = replace(
        finding("room_below_target", "raise"), since="2026-01-03", causes=(Cause("curve_too_low", 1.0, "…"),)
    )
    found = without_consequences([stop("2026-01-03"), cold])
    assert "unit_stopped" in found[1].next_step
    assert (found[1].causes, found[1].changes, found[1].visit) == ((), (), "none")


def test_what_was_so_before_the_stop_keeps_its_advice() -> None:
    before = finding("room_below_target", "raise")
    assert without_consequences([stop("2026-01-08"), before]) == (stop("2026-01-08"), before)
    over = replace(stop("2026-01-01"), until="2026-01-04")
    assert without_consequences([over, before]) == (over, before)


def test_only_a_charge_that_goes_astray_explains_a_cold_cylinder() -> None:
    short = finding("hot_water_shortfall", None)
    charge = Finding(
        "reheat_incomplete", "act", "2026-01-01", 0.9, "…", causes=(Cause("diverter_stuck", 1.0, "…"),)
    )
    assert "reheat_incomplete" in without_consequences([short, charge])[0].next_step
    reach = replace(charge, causes=(Cause("setpoint_above_reach", 1.0, "…"),))
    assert without_consequences([short, reach]) == (short, reach)


def test_a_limit_that_is_not_passed_is_not_shown() -> None:
    passed = Evidence("starts an hour", 4.0, "1/h", 3.0, "starts_per_hour", "above")
    missed = Evidence("median run", 14.0, "min", 12.0, "short_run_minutes", "below")
    bare = Evidence("runs", 12, "runs")
    finding = Finding("short_cycling", "act", "2026-01-01", 0.9, "…", evidence=(passed, missed, bare))
    shown = with_passed_limits(finding).evidence
    assert shown == (passed, Evidence("median run", 14.0, "min"), bare)


def test_a_note_may_stand_before_its_limit() -> None:
    missed = Evidence("median run", 14.0, "min", 12.0, "short_run_minutes", "below")
    finding = Finding("short_cycling", "note", "2026-01-01", 0.9, "…", evidence=(missed,))
    assert with_passed_limits(finding) == finding
