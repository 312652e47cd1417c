"""Emitters against EN 442's exponent law and EN 1264's floor."""

import numpy as np
import pytest

from fieldfare.analysis.physics.emitters import (
    HeatEmitter,
    excess_temperature,
    output_kw,
    rated_logarithmic_excess,
)

RADIATOR = HeatEmitter(1.0)
EXCESS = [5, 10, 15, 20, 25, 30, 35, 40, 45, 50, 60, 70]
AT_1_3 = [0.0501, 0.1234, 0.2091, 0.3039, 0.4061, 0.5148, 0.6290, 0.7482, 0.8720, 1, 1.2675, 1.5487]
AT_1_1 = [0.0794, 0.1703, 0.2660, 0.3650, 0.4665, 0.5701, 0.6755, 0.7823, 0.8906, 1, 1.2221, 1.4479]


@pytest.mark.parametrize(("exponent", "factors"), [(1.3, AT_1_3), (1.1, AT_1_1)])
def test_exponent_table_of_en_442(exponent, factors):
    """EN 442: (excess / 50)^n; 1.267 at 60 K is also printed by radiator sellers."""
    t = 20.0 + np.array(EXCESS)
    assert output_kw(HeatEmitter(1.0, exponent=exponent), t, t, 20.0) == pytest.approx(factors, abs=6e-5)


# flow, return, room: arithmetic and logarithmic excess, output factors by each (EN 442, nominal excess 50 and
# 49.83 K, n = 1.3)
MEANS = [
    (55, 45, 20, 30.00, 29.720, 0.5148, 0.5107),
    (50, 45, 21, 26.50, 26.421, 0.4381, 0.4383),
    (45, 40, 20, 22.50, 22.407, 0.3541, 0.3538),
    (45, 35, 20, 20.00, 19.576, 0.3039, 0.2968),
    (40, 35, 20, 17.50, 17.380, 0.2554, 0.2543),
    (35, 30, 20, 12.50, 12.332, 0.1649, 0.1628),
    (70, 50, 20, 40.00, 39.152, 0.7482, 0.7308),
]


@pytest.mark.parametrize(
    ("flow", "cool", "room", "arithmetic", "logarithmic", "by_arithmetic", "by_logarithmic"), MEANS
)
def test_arithmetic_and_logarithmic_means(
    flow, cool, room, arithmetic, logarithmic, by_arithmetic, by_logarithmic
):
    assert excess_temperature(flow, cool, room, mean="arithmetic") == pytest.approx(arithmetic, abs=1e-3)
    assert excess_temperature(flow, cool, room, mean="logarithmic") == pytest.approx(logarithmic, abs=1e-3)
    assert output_kw(RADIATOR, flow, cool, room, mean="arithmetic") == pytest.approx(by_arithmetic, abs=6e-5)
    assert output_kw(RADIATOR, flow, cool, room, mean="logarithmic") == pytest.approx(
        by_logarithmic, abs=6e-5
    )


@pytest.mark.parametrize(
    ("flow", "cool", "used"), [(45, 35, 19.576), (45, 40, 22.5), (70, 50, 39.152), (35, 30, 12.332)]
)
def test_the_logarithmic_mean_is_taken_below_a_ratio_of_0_7(flow, cool, used):
    """EN 442-2 and common rule (from memory)."""
    assert excess_temperature(flow, cool, 20) == pytest.approx(used, abs=1e-3)


def test_the_rating_at_75_65_20():
    """EN 442: 50 K arithmetic, 49.833 K logarithmic, factor 1 either way."""
    assert rated_logarithmic_excess(50) == pytest.approx(49.833, abs=5e-4)
    for mean in ("arithmetic", "logarithmic", "auto"):
        assert output_kw(RADIATOR, 75, 65, 20, mean=mean) == pytest.approx(1.0)


def test_radiators_sized_for_70_c_at_a_heat_pump_temperature():
    """EN 442: at 45/35/20 a radiator gives 30 % of its rating, so 8.4 kW needs about 28 kW rated."""
    assert output_kw(HeatEmitter(8.4 / 0.2968), 45, 35, 20) == pytest.approx(8.4, rel=1e-3)


def test_cold_water_gives_nothing_and_wrong_input_is_refused():
    assert output_kw(RADIATOR, [18.0, 30.0], [17.0, 19.0], 20.0).tolist() == [0.0, 0.0]
    assert np.isnan(excess_temperature(np.nan, 30, 20))
    with pytest.raises(ValueError, match="kind"):
        HeatEmitter(1.0, kind="stove")
    with pytest.raises(ValueError, match="mean"):
        excess_temperature(50, 40, 20, mean="harmonic")
