"""Meter classes of 2014/32/EU (MI-003, MI-004) and EN 1434-1; uncertainty by GUM."""

import math
from typing import NamedTuple

import numpy as np
import pytest

from fieldfare.analysis.physics import metering


class Ratio(NamedTuple):
    value: float
    low: float
    high: float


def ratio_interval(heat, u_heat, electricity, u_electricity, *, coverage=1.959964):
    """Fieller (1954), exact for a ratio of two independent normal quantities of standard uncertainty u."""
    value = heat / electricity
    a = electricity**2 - (coverage * u_electricity) ** 2
    c = heat**2 - (coverage * u_heat) ** 2
    root = math.sqrt(max((heat * electricity) ** 2 - a * c, 0.0))
    return Ratio(value, (heat * electricity - root) / a, (heat * electricity + root) / a)


# Sum of the three parts' limits [%], smallest difference 3 K: difference, class 1 at qp/2, class 2 at qp/2
# and qp/50, class 3 likewise
EN_1434 = [
    (3, 6.02, 7.04, 8.00, 8.10, 10.00),
    (5, 4.42, 5.44, 6.40, 6.50, 8.40),
    (7, 3.73, 4.75, 5.71, 5.81, 7.71),
    (10, 3.22, 4.24, 5.20, 5.30, 7.20),
    (20, 2.62, 3.64, 4.60, 4.70, 6.60),
]


@pytest.mark.parametrize(("difference", "one", "two", "two_low", "three", "three_low"), EN_1434)
def test_heat_meter_limits_of_en_1434_1(difference, one, two, two_low, three, three_low):
    def total(flow_ratio, meter_class):
        return metering.heat_meter_mpe(difference, flow_ratio, meter_class).total * 100

    got = [total(0.5, "1"), total(0.5, "2"), total(0.02, "2"), total(0.5, "3"), total(0.02, "3")]
    # At qp/50 the flow sensor's part is 2 + 0.02 x 50 = 3 % in class 2; in class 3 it would be 5.5 and is
    # held at 5 %.
    assert got == pytest.approx([one, two, two_low, three, three_low], abs=0.006)


def test_flow_sensor_limit_never_exceeds_5_percent():
    """MI-004 point 7.1: class 2 at qp/1000 would be 22 %, at qp/100 it is 4 %."""
    assert metering.flow_sensor_mpe(np.array([1e-9, 0.001, 0.01]), "2") == pytest.approx([0.05, 0.05, 0.04])
    assert metering.flow_sensor_mpe(1e-9, "1") == 0.05


# 2014/32/EU Annex V (MI-003) Table 2 [%]: temperature, class, below and from the transitional current
MI_003 = [
    (20, "A", 3.5, 3.5),
    (20, "B", 2, 2),
    (20, "C", 1, 0.7),
    (0, "A", 5, 4.5),
    (35, "B", 2.5, 2.5),
    (-5, "C", 1.3, 1.0),
    (-20, "A", 7, 7),
    (50, "B", 3.5, 3.5),
    (45, "C", 1.7, 1.3),
    (-30, "A", 9, 9),
    (60, "B", 4, 4),
    (65, "C", 2, 1.5),
]


@pytest.mark.parametrize(("temperature", "meter_class", "below", "above"), MI_003)
def test_electricity_meter_limits_of_mi_003(temperature, meter_class, below, above):
    assert metering.electricity_meter_mpe(meter_class, temperature_c=temperature) * 100 == pytest.approx(
        above
    )
    got = metering.electricity_meter_mpe(
        meter_class, temperature_c=temperature, below_transitional_current=True
    )
    assert got * 100 == pytest.approx(below)


def test_worked_band_of_a_performance_factor():
    """Class 2 heat at 5 K and qp/2 with class B electricity: root sum square 5.80 %, so 3.00 +- 0.17; worst
    case 7.44 %."""
    heat = float(metering.heat_meter_mpe(5, 0.5, "2").total)
    electricity = metering.electricity_meter_mpe("B")
    assert metering.combine(heat, electricity) == pytest.approx(0.0580, abs=5e-5)
    assert heat + electricity == pytest.approx(0.0744, abs=5e-5)
    result = ratio_interval(3000, 3000 * heat, 1000, 1000 * electricity, coverage=1.0)
    assert result.value == 3.0
    assert (result.high - result.low) / 2 == pytest.approx(0.17, abs=0.005)


@pytest.mark.parametrize(
    ("shape", "divisor"),
    [
        ("rectangular", math.sqrt(3)),
        ("triangular", math.sqrt(6)),
        ("arcsine", math.sqrt(2)),
        ("normal", 1.96),
    ],
)
def test_standard_uncertainty_of_gum(shape, divisor):
    """JCGM 100:2008, 4.3."""
    assert metering.standard_uncertainty(0.06, shape) == pytest.approx(0.06 / divisor, rel=1e-4)


def test_gum_4_3_7_worked_example():
    """JCGM 100:2008, 4.3.7: half-width 0.40e-6 gives a variance of 53.3e-15."""
    assert metering.standard_uncertainty(0.40e-6) ** 2 == pytest.approx(53.3e-15, rel=1e-3)


def test_coverage_of_few_rectangular_parts():
    """JCGM 101:2008: one rectangular 0.95 x sqrt 3, two equal (triangular) (1 - sqrt 0.05) x sqrt 6; normal
    1.960."""
    assert metering.coverage_factor([1.0]) == pytest.approx(0.95 * math.sqrt(3), abs=0.01)
    assert metering.coverage_factor([2.0, 2.0]) == pytest.approx(
        (1 - math.sqrt(0.05)) * math.sqrt(6), abs=0.01
    )
    assert metering.coverage_factor([], normal=3.0) == pytest.approx(1.960, abs=0.01)
    assert metering.coverage_factor([1.0] * 8, normal=1.0) == pytest.approx(1.95, abs=0.02)
    assert metering.coverage_factor([0.0]) == pytest.approx(1.960, abs=0.01)


def test_coverage_holds_the_truth_95_times_in_100():
    """Parts drawn within their class limits (class 2 heat at 6 K, class B electricity): the interval of the
    ratio holds the truth."""
    rng = np.random.default_rng(7)
    parts = [float(p) for p in metering.heat_meter_mpe(6, 0.6, "2")]
    electricity = metering.electricity_meter_mpe("B")
    n = 4000
    heat = 3000 * (1 + sum(rng.uniform(-p, p, n) for p in parts))
    used = 1000 * (1 + rng.uniform(-electricity, electricity, n))
    u_heat, u_used = (
        float(metering.heat_meter_mpe(6, 0.6, "2").standard),
        float(metering.standard_uncertainty(electricity)),
    )
    factor = metering.coverage_factor([*parts, electricity])
    held = [
        i.low <= 3.0 <= i.high
        for i in (
            ratio_interval(h, u_heat * h, e, u_used * e, coverage=factor)
            for h, e in zip(heat, used, strict=True)
        )
    ]
    assert np.mean(held) == pytest.approx(0.95, abs=0.012)


def test_unknown_classes_and_temperatures_are_refused():
    for call in (lambda: metering.flow_sensor_mpe(1, "4"), lambda: metering.electricity_meter_mpe("D")):
        with pytest.raises(ValueError, match="class must be"):
            call()
    with pytest.raises(ValueError, match="-40 to 70"):
        metering.electricity_meter_mpe("A", temperature_c=90)


@pytest.mark.parametrize(
    ("temperature", "tolerance"), [(0.0, 0.30), (-40.0, 0.50), (60.0, 0.60), (100.0, 0.80)]
)
def test_tolerance_of_class_b_of_iec_60751(temperature, tolerance):
    """IEC 60751: 0.3 + 0.005 |t| (values from memory)."""
    assert metering.resistance_sensor_mpe(temperature) == pytest.approx(tolerance)
