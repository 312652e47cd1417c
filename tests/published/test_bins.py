"""EN 14825's bin method against its reference seasons and its worked example."""

import numpy as np
import pytest

from fieldfare.analysis.physics import bins
from fieldfare.analysis.physics.heat_pump import RatedPerformance, part_load_cop

# EN 14825:2018 Annex H, fixed-speed air to water, low temperature, average climate; published SCOPon 3.61
OUTDOOR = [-10, -7, -6, 2, 7, 12]
CAPACITY = [7.8, 9.55, 9.7, 11.17, 12.66, 14.3]
COP = [2.60, 3.26, 3.30, 4.00, 4.91, 5.50]
DESIGN_KW = 11.46


def annex_h(**changed):
    settings = {"design_load_kw": DESIGN_KW, "operation_limit_c": -10} | changed
    return bins.seasonal_performance(
        bins.declared_curve(OUTDOOR, CAPACITY), bins.declared_curve(OUTDOOR, COP), **settings
    )


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
    assert season.total_hours == hours
    assert round(season.equivalent_hours) == equivalent
    assert season.equivalent_hours == pytest.approx(exact, abs=0.01)
    assert np.sum(np.array(season.hours) * (16 - season.temperatures_c)) == pytest.approx(kelvin_hours)


@pytest.mark.parametrize(
    ("outdoor", "share"), [(-7, 0.8846), (2, 0.5385), (7, 0.3462), (12, 0.1538), (16, 0), (20, 0)]
)
def test_part_load_ratios_of_the_average_season(outdoor, share):
    """EN 14825: 88, 54, 35 and 15 %."""
    assert bins.part_load_ratio(outdoor) == pytest.approx(share, abs=5e-5)


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
    assert result.heat_kwh == pytest.approx(23671.95, abs=0.5)
    assert result.backup_kwh == pytest.approx(120.73, abs=0.05)
    assert result.heat_pump_kwh == pytest.approx(6409.64, abs=1)
    assert result.heat_kwh == pytest.approx(DESIGN_KW * 2066, rel=3e-4)


def test_annex_h_without_degradation_is_far_off():
    """4.10 without cycling losses: a forgotten degradation shows."""
    assert annex_h(cd=0.0).scop_on < 3.0
    assert annex_h(cd=1.0).scop_on == pytest.approx(4.100, abs=0.003)


@pytest.mark.parametrize(
    ("outdoor", "load", "capacity", "cop", "heat", "electricity"),
    [
        (-7, 10.138, 9.550, 3.260, 243.3, 84.4),
        (2, 6.171, 11.170, 3.700, 1974.6, 533.7),
        (7, 3.967, 12.660, 4.027, 1293.2, 321.1),
        (12, 1.763, 14.300, 3.214, 298.0, 92.7),
    ],
)
def test_annex_h_bins(outdoor, load, capacity, cop, heat, electricity):
    """EN 14825:2018 Annex H, single bins."""
    assert DESIGN_KW * bins.part_load_ratio(outdoor) == pytest.approx(load, abs=0.001)
    assert bins.declared_curve(OUTDOOR, CAPACITY)(np.array([outdoor]))[0] == capacity
    declared = bins.declared_curve(OUTDOOR, COP)(np.array([outdoor]))[0]
    got = part_load_cop(declared, load / capacity)
    assert got == pytest.approx(cop, abs=0.001)
    hours = bins.AVERAGE.hours[outdoor - bins.AVERAGE.first_c]
    assert hours * load == pytest.approx(heat, abs=0.15)
    used = hours * (min(load, capacity) / got + max(load - capacity, 0))
    assert used == pytest.approx(electricity, abs=0.1)


def test_expected_performance_surface_gives_annex_h_too():
    """The surface built from Annex H's points, through the bin method: 3.61 within 2 %."""
    unit = RatedPerformance(zip(OUTDOOR, [35] * 6, CAPACITY, COP, strict=True))
    result = bins.seasonal_performance(
        lambda t: unit.capacity_kw(t, 35.0),
        lambda t: unit.cop(t, 35.0),
        design_load_kw=DESIGN_KW,
        operation_limit_c=-10,
    )
    assert result.scop_on == pytest.approx(3.61, rel=0.02)


@pytest.mark.parametrize(("scop", "percent"), [(4.56, 179), (3.45, 135), (2.825, 110), (3.20, 125)])
def test_label_efficiency(scop, percent):
    """Reg. (EU) 813/2013: SCOP / 2.5 less 3 points; minimum 110 and 125 % from 2017."""
    assert bins.seasonal_space_heating_efficiency(scop) * 100 == pytest.approx(percent, abs=0.5)
    ground = bins.seasonal_space_heating_efficiency(scop, ground_or_water_source=True)
    assert ground == pytest.approx(bins.seasonal_space_heating_efficiency(scop) - 0.05)


def test_off_modes_and_operation_limit():
    """EN 14825: off-mode hours 179, 0, 3851, 3672 of the average season."""
    with_off = annex_h(thermostat_off_w=100, standby_w=1000, crankcase_w=10, off_w=10)
    assert with_off.off_mode_kwh == pytest.approx((179 * 100 + 3851 * 10 + 3672 * 10) / 1000)
    assert with_off.scop < with_off.scop_on
    stopped = annex_h(operation_limit_c=-5)
    assert stopped.backup_kwh > annex_h().backup_kwh + 900
    with pytest.raises(ValueError, match="design_load_kw"):
        annex_h(design_load_kw=0)
    with pytest.raises(ValueError, match="one temperature each"):
        bins.declared_curve([1, 1], [2, 3])
