"""EN 14825's bin method against its reference seasons and its worked example."""

import numpy as np
import pytest

from fieldfare.analysis.physics import bins
from fieldfare.analysis.physics.heat_pump import RatedPerformance
from tests.published.bin_method import declared_curve, part_load_ratio, seasonal_performance

# EN 14825:2018 Annex H, fixed-speed air to water, low temperature, average climate; published SCOPon 3.61
OUTDOOR = [-10, -7, -6, 2, 7, 12]
CAPACITY = [7.8, 9.55, 9.7, 11.17, 12.66, 14.3]
COP = [2.60, 3.26, 3.30, 4.00, 4.91, 5.50]
DESIGN_KW = 11.46


def annex_h(**changed):
    settings = {"design_load_kw": DESIGN_KW, "operation_limit_c": -10} | changed
    return seasonal_performance(declared_curve(OUTDOOR, CAPACITY), declared_curve(OUTDOOR, COP), **settings)


@pytest.mark.parametrize(
    ("season", "hours", "equivalent", "exact", "kelvin_hours"),
    [
        (bins.AVERAGE, 4910, 2066, 2065.62, 53706),
        (bins.WARMER, 3590, 1336, 1335.79, 18701),
        (bins.COLDER, 6446, 2465, 2464.76, 93661),
    ],
)
def test_reference_seasons(season, hours, equivalent, exact, kelvin_hours):
    """Reg. (EU) 813/2013 Annex III Table 5; equivalent hours of Reg. (EU) 811/2013 Annex VII."""
    full_load = np.array(season.hours) @ part_load_ratio(season.temperatures_c, design_c=season.design_c)
    assert sum(season.hours) == hours
    assert round(full_load) == equivalent
    assert full_load == pytest.approx(exact, abs=0.01)
    assert np.sum(np.array(season.hours) * (16 - season.temperatures_c)) == pytest.approx(kelvin_hours)


@pytest.mark.parametrize(
    ("outdoor", "share"), [(-7, 0.8846), (2, 0.5385), (7, 0.3462), (12, 0.1538), (16, 0), (20, 0)]
)
def test_part_load_ratios_of_the_average_season(outdoor, share):
    """EN 14825: 88, 54, 35 and 15 %."""
    assert part_load_ratio(outdoor) == pytest.approx(share, abs=5e-5)


def test_annex_h_seasonal_performance():
    """EN 14825:2018 Annex H: SCOPon 3.61."""
    result = annex_h()
    assert result.scop_on == pytest.approx(3.61, abs=0.02)
    assert result.scop_on == pytest.approx(
        3.625, abs=0.001
    )  # degraded in each bin; interpolating degraded points gives 3.598
    assert result.scop_net == pytest.approx(3.674, abs=0.001)


def test_annex_h_energies():
    """EN 14825:2018 Annex H inputs: heat 23 671.95 kWh, back-up 120.73, heat pump 6 409.64; 0.02 % from
    Pdesignh x 2066 h."""
    result = annex_h()
    assert result.heat == pytest.approx(23671.95, abs=0.5)
    assert result.backup == pytest.approx(120.73, abs=0.05)
    assert result.heat_pump == pytest.approx(6409.64, abs=1)
    assert result.heat == pytest.approx(DESIGN_KW * 2066, rel=3e-4)


def test_expected_performance_surface_gives_annex_h_too():
    """The surface built from Annex H's points, through the bin method: 3.61 within 2 %."""
    unit = RatedPerformance(zip(OUTDOOR, [35] * 6, CAPACITY, COP, strict=True))
    result = seasonal_performance(
        lambda t: unit.capacity_kw(t, 35.0),
        lambda t: unit.cop(t, 35.0),
        design_load_kw=DESIGN_KW,
        operation_limit_c=-10,
    )
    assert result.scop_on == pytest.approx(3.61, rel=0.02)
