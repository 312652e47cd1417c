"""Heat, flow and difference of the heating water."""

from __future__ import annotations

import pytest

from fieldfare.analysis.expectation.water_flow import nominal_difference, water_difference
from fieldfare.analysis.statistics.distributions import normal_probability


def test_twelve_litres_a_minute_over_5_k():
    """0.72 m3/h from 30 to 35 °C carry 4.160 kW (EN 1434-1, reference 1.1)."""
    assert water_difference(4.160, 0.72) == pytest.approx(5.0, rel=0.002)


def test_half_the_flow_at_rated_output_is_told_from_what_sensors_may_be_off():
    """EN 14511 rates at 5 K."""
    nominal = nominal_difference(8.37, 1.45)
    assert nominal.middle == pytest.approx(5.0, rel=0.01)
    assert normal_probability(nominal.score(10.0)) > 0.99
    assert normal_probability(nominal.score(4.8)) < 0.5
