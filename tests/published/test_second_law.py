"""Thermodynamic limits: Carnot and Lorenz."""

import numpy as np
import pytest

from fieldfare.analysis.physics.heat_pump import carnot_cop, lorenz_cop, second_law_efficiency

# Encyclopedia table "Coefficient of performance" (heating): source, then flow 35, 45, 55, 65, 75, 85 C,
# printed to one decimal
CARNOT_TABLE = {
    -20: (5.6, 4.9, 4.4, 4.0, 3.7, 3.4),
    0: (8.8, 7.1, 6.0, 5.2, 4.6, 4.2),
    10: (12.3, 9.1, 7.3, 6.1, 5.4, 4.8),
}


@pytest.mark.parametrize("source", CARNOT_TABLE)
def test_printed_carnot_table(source):
    assert carnot_cop(source, np.arange(35, 86, 10)) == pytest.approx(CARNOT_TABLE[source], abs=0.06)


@pytest.mark.parametrize(
    ("source", "flow", "cop"),
    [(7, 35, 11.005), (2, 35, 9.338), (-7, 35, 7.337), (7, 55, 6.836), (-7, 55, 5.293)],
)
def test_carnot_at_rating_temperatures(source, flow, cop):
    """Second law, Th / (Th - Tc)."""
    assert carnot_cop(source, flow) == pytest.approx(cop, abs=0.001)


@pytest.mark.parametrize(
    ("source_in", "source_out", "cool", "warm", "cop"),
    [(7, 2, 30, 35, 10.916), (7, 2, 47, 55, 6.972), (2, -3, 40, 45, 7.340)],
)
def test_lorenz_with_logarithmic_means(source_in, source_out, cool, warm, cop):
    assert lorenz_cop(source_in, source_out, cool, warm) == pytest.approx(cop, abs=0.001)


@pytest.mark.parametrize(
    ("source", "cop", "share"),
    [(-10, 2.60, 0.380), (-7, 3.26, 0.444), (2, 4.00, 0.428), (7, 4.91, 0.446), (12, 5.50, 0.411)],
)
def test_second_law_efficiency_of_the_unit_in_en_14825_annex_h(source, cop, share):
    assert second_law_efficiency(cop, source, 35) == pytest.approx(share, abs=0.001)


def test_no_lift_has_no_limit_and_a_gap_stays_a_gap():
    assert np.isinf(carnot_cop(20, 20))
    assert np.isinf(lorenz_cop(30, 30, 25, 25))
    assert np.isnan(carnot_cop(np.nan, 35))
    assert lorenz_cop(7, 7, 35, 35) == pytest.approx(carnot_cop(7, 35))
