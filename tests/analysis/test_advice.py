"""Advice of one result never moves a setting both ways."""

from __future__ import annotations

from analysis.findings.advice import without_conflicts
from analysis.findings.model import Finding


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
