"""Advice of one result never moves a setting both ways, and a limit stands beside a number that passes it."""

from __future__ import annotations

from fieldfare.analysis.findings.consistency import with_passed_limits, without_conflicts
from fieldfare.analysis.findings.model import Evidence, Finding


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
