"""Causes of a cold room from measured facts."""

from __future__ import annotations

import pytest

from fieldfare.analysis.expectation.cold_room import ColdRoom, cause_weights


@pytest.mark.parametrize(
    ("measured", "cause"),
    [
        (
            ColdRoom(running=0.99, output_share=0.97, lacking=0.8, emission=0.95, below_curve=4.0),
            "capacity_short",
        ),
        (
            ColdRoom(running=0.65, output_share=0.45, lacking=0.0, emission=1.0, below_curve=5.0),
            "curve_too_low",
        ),
        (
            ColdRoom(running=0.6, output_share=0.4, lacking=0.0, emission=0.4, below_curve=0.0),
            "zone_not_opening",
        ),
        (ColdRoom(running=0.7, output_share=0.5, lacking=0.1, gap=3.0, below_curve=0.3), "zone_not_opening"),
        (
            ColdRoom(
                running=0.97,
                output_share=0.37,
                lacking=0.0,
                emission=0.9,
                below_curve=0.6,
                spread=1.6,
                gap=-0.1,
            ),
            "zone_not_opening",
        ),
        (
            ColdRoom(running=0.8, output_share=0.6, lacking=0.05, emission=1.05, below_curve=-0.5),
            "emitters_small",
        ),
    ],
    ids=[
        "flat out",
        "cool water",
        "valves shut",
        "one zone lags",
        "most valves shut",
        "emitters at their limit",
    ],
)
def test_each_cause_has_its_signature(measured: ColdRoom, cause: str) -> None:
    weights = cause_weights(measured)
    assert max(weights, key=lambda c: weights[c]) == cause
    assert sum(weights.values()) == pytest.approx(1.0)


def test_a_unit_with_most_of_its_output_in_reserve_is_not_short_of_capacity() -> None:
    weights = cause_weights(ColdRoom(running=0.9, output_share=0.36, lacking=0.1))
    assert weights["capacity_short"] < 0.05


def test_what_was_not_measured_decides_nothing() -> None:
    weights = cause_weights(ColdRoom())
    assert weights["capacity_short"] == pytest.approx(weights["curve_too_low"])


@pytest.mark.parametrize("below_curve", [None, -2.0, 0.0, 3.0, 5.0, 8.0])
@pytest.mark.parametrize("gap", [None, 0.0, 2.0])
@pytest.mark.parametrize("running", [None, 0.3, 0.6])
def test_shut_valves_are_never_taken_for_a_low_curve(
    running: float | None, gap: float | None, below_curve: float | None
) -> None:
    """EN 442: open emitters give what the excess of water over room makes them give, whatever the curve."""
    measured = ColdRoom(running=running, emission=0.35, gap=gap, below_curve=below_curve)
    weights = cause_weights(measured, shut_below=0.6)
    assert weights["curve_too_low"] == 0.0
    assert sum(weights.values()) == pytest.approx(1.0)
    assert max(weights, key=lambda c: weights[c]) == "zone_not_opening"


def test_without_the_emitters_a_low_curve_stands_for_small_ones() -> None:
    measured = ColdRoom(running=0.6, output_share=0.4, below_curve=4.0)
    both, one = cause_weights(measured), cause_weights(measured, emitters_known=False)
    assert one["curve_too_low"] == pytest.approx(both["curve_too_low"] + both["emitters_small"])
    assert "emitters_small" not in one
