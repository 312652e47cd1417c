"""Performance surfaces against published points and regressions."""

import itertools
from functools import cache

import numpy as np
import pytest

from fieldfare.analysis.physics.heat_pump import (
    RatedPerformance,
    RatingPoint,
    carnot_cop,
    generic_cop,
)

# EN 14825:2018 Annex H, fixed speed, air to water at 35 C: outdoor, flow, output kW, COP
ANNEX_H = [
    RatingPoint(-10, 35, 7.8, 2.60),
    RatingPoint(-7, 35, 9.55, 3.26),
    RatingPoint(-6, 35, 9.7, 3.30),
    RatingPoint(2, 35, 11.17, 4.00),
    RatingPoint(7, 35, 12.66, 4.91),
    RatingPoint(12, 35, 14.3, 5.50),
]
TYPICAL = [
    RatingPoint(7, 35, 8.5, 4.8),
    RatingPoint(2, 35, 7.0, 3.7),
    RatingPoint(-7, 35, 6.5, 2.9),
    RatingPoint(7, 55, 7.6, 3.0),
]
INVERTER = [
    (7, 35, 6.0, 5.0),
    (2, 35, 8.0, 3.6),
    (-7, 35, 7.5, 2.8),
    (7, 55, 6.0, 3.1),
]  # A7 at part speed, as catalogues give it
SETS = {
    "none": [],
    "one": TYPICAL[:1],
    "two": [TYPICAL[0], TYPICAL[3]],
    "two at one temperature": [TYPICAL[0], TYPICAL[0]._replace(cop=4.6)],
    "three": TYPICAL[:3],
    "four": TYPICAL,
    "six in a line": ANNEX_H,
    "inverter": INVERTER,
    "low lift": [(7, 35, 8, 4.8), (12, 24, 9, 6.9)],
    "cop only": [(7, 35, None, 4.8), (2, 45, None, 2.9)],
}
OUTDOOR, FLOW = np.arange(-25.0, 26.0), np.arange(20.0, 76.0)


@pytest.mark.parametrize("name", SETS)
@pytest.mark.parametrize("source", ["air", "brine", "water"])
def test_any_set_of_points_gives_a_monotone_plausible_surface(name, source):
    unit = RatedPerformance(SETS[name], source, nominal_kw=8.0)
    o, f = np.meshgrid(OUTDOOR, FLOW, indexing="ij")
    cop, output = unit.cop(o, f), unit.capacity_kw(o, f)
    for surface in (cop, output):
        assert np.all(np.isfinite(surface))
        assert np.all(np.diff(surface, axis=0) >= -1e-9)
        assert np.all(np.diff(surface, axis=1) <= 1e-9)
    lifted = f - o >= 5
    assert np.all(cop[lifted] <= 0.65 * carnot_cop(o, f)[lifted] + 0.02)
    assert np.all((cop >= 1.0) & (cop <= 9.0))
    assert np.all((output > 1.0) & (output < 40.0))


@pytest.mark.parametrize("name", ["one", "two", "three", "four", "low lift"])
def test_the_surface_passes_through_its_points(name):
    unit = RatedPerformance(SETS[name])
    for p in (RatingPoint(*p) for p in SETS[name]):
        assert unit.cop(p.outdoor_c, p.flow_c) == pytest.approx(p.cop, rel=0.01)
        assert unit.capacity_kw(p.outdoor_c, p.flow_c) == pytest.approx(p.output_kw, rel=0.01)
    assert "second-law" in unit.basis
    assert unit.basis.startswith(f"{len(SETS[name])} rating point")


@pytest.mark.parametrize("point", ANNEX_H)
def test_the_unit_of_en_14825_annex_h_at_its_own_points(point):
    unit = RatedPerformance(ANNEX_H)
    assert unit.cop(point.outdoor_c, 35) == pytest.approx(point.cop, rel=0.02)
    assert unit.capacity_kw(point.outdoor_c, 35) == pytest.approx(point.output_kw, rel=0.02)


@pytest.mark.parametrize("left_out", [-7, -6, 2, 7])
def test_a_point_of_annex_h_that_was_not_given_is_predicted_from_the_others(left_out):
    """EN 14825:2018 Annex H: any inner point from the other five, COP and output within 6 %."""
    unit = RatedPerformance([p for p in ANNEX_H if p.outdoor_c != left_out])
    truth = next(p for p in ANNEX_H if p.outdoor_c == left_out)
    assert unit.cop(left_out, 35) == pytest.approx(truth.cop, rel=0.06)
    assert unit.capacity_kw(left_out, 35) == pytest.approx(truth.output_kw, rel=0.06)


def test_flow_temperature_rule_of_2_to_2_5_percent_per_kelvin():
    """Staffell et al. (2012) confirm 2.2 to 2.5 % per K; a unit known at one point follows it within 0.5
    points."""
    unit = RatedPerformance(TYPICAL[:1])
    per_kelvin = np.log(unit.cop(7, 35) / unit.cop(7, 55)) / 20 * 100
    assert 1.9 < per_kelvin < 2.9


def test_full_speed_output_is_not_taken_from_a_point_at_part_speed():
    """Catalogue points at A7 below those at A2 are part speed (common practice, no source): full load at A7
    is no less than at A2."""
    unit = RatedPerformance(INVERTER)
    assert unit.capacity_kw(7, 35) >= 8.0
    assert unit.capacity_kw(-7, 35) == pytest.approx(7.5, rel=0.02)


# Staffell et al. (2012), Energy Environ. Sci. 5, 9291, air source: 6.81 - 0.121 dT + 0.000630 dT^2
STAFFELL_AIR = [
    (7, 35, 3.916),
    (2, 35, 3.503),
    (-7, 35, 2.839),
    (7, 45, 3.122),
    (7, 55, 2.454),
    (2, 55, 2.167),
]


@pytest.mark.parametrize(("outdoor", "flow", "cop"), STAFFELL_AIR)
def test_generic_curve_is_staffell_2012(outdoor, flow, cop):
    assert generic_cop(outdoor, flow) == pytest.approx(cop, abs=0.001)
    unit = RatedPerformance()
    assert unit.cop(outdoor, flow) == pytest.approx(cop, abs=0.001)
    assert "generic" in unit.basis
    assert np.isnan(unit.capacity_kw(outdoor, flow))


@pytest.mark.parametrize(("flow", "cop"), [(35, 4.419), (45, 3.506)])
def test_generic_ground_source_curve_is_staffell_2012(flow, cop):
    assert generic_cop(0, flow, source="brine") == pytest.approx(cop, abs=0.001)


def test_generic_curve_beyond_its_range():
    """Range 15 to 60 K. At A-7/W55 (62 K) the bare regression gives 1.730; below 15 K it would go on rising,
    above 96 K it would turn up."""
    assert generic_cop(-7, 55) == pytest.approx(1.730, abs=0.06)
    assert generic_cop(18, 25) == generic_cop(10, 25)
    assert generic_cop(-25, 75) < generic_cop(-15, 75) < generic_cop(-7, 75)


@cache
def hplib_unit(group):
    """A generic unit: its parameters are fitted anew by each call of the library."""
    import hplib.hplib as hplib  # slow, and of two tests alone

    return hplib.HeatPump(hplib.get_parameters("Generic", group_id=group, t_in=-7, t_out=52, p_th=10000))


@cache
def hplib_cop(group, outdoor, flow):
    result = hplib_unit(group).simulate(t_in_primary=outdoor, t_in_secondary=flow - 5, t_amb=outdoor, mode=1)
    return float(np.asarray(result["COP"]).ravel()[0])


@pytest.mark.parametrize(("group", "printed"), [(1, (5.059, 4.289, 4.183)), (4, (4.252, 3.776, 3.649))])
def test_hplib_generic_units_between_their_rating_points(group, printed):
    """hplib 1.9 generic inverter (1) and on/off (4) units over A2..A7 and W35..W45, where its fit holds: its
    corners give the inside to 2 %, three of them the fourth to 7 %."""
    corners = [(7, 35), (2, 35), (7, 45), (2, 45)]
    points = [RatingPoint(o, f, None, hplib_cop(group, o, f)) for o, f in corners]
    assert [p.cop for p in points[:3]] == pytest.approx(printed, abs=0.002)
    four, three = RatedPerformance(points), RatedPerformance(points[:3])
    for o, f in itertools.product((2, 3.5, 5, 7), (35, 38, 42, 45)):
        assert four.cop(o, f) == pytest.approx(hplib_cop(group, o, f), rel=0.02)
        assert three.cop(o, f) == pytest.approx(hplib_cop(group, o, f), rel=0.07)


def test_one_point_of_an_hplib_unit_stays_within_the_spread_of_the_generic_units():
    """hplib 1.9: from A7/W35 alone, each generic unit elsewhere in A2..A7, W35..W45 within the 19 % by which
    the two differ at A7/W35."""
    spread = hplib_cop(1, 7, 35) / hplib_cop(4, 7, 35) - 1
    assert spread == pytest.approx(0.19, abs=0.005)
    for group in (1, 4):
        unit = RatedPerformance([RatingPoint(7, 35, None, hplib_cop(group, 7, 35))])
        for o, f in itertools.product((2, 5, 7), (35, 40, 45)):
            assert unit.cop(o, f) == pytest.approx(hplib_cop(group, o, f), rel=spread / 2)


def test_gaps_shapes_and_refusals():
    unit = RatedPerformance(TYPICAL)
    got = unit.cop(np.array([[7.0, np.nan], [2.0, -7.0]]), 35.0)
    assert got.shape == (2, 2)
    assert np.isnan(got).tolist() == [[False, True], [False, False]]
    assert RatedPerformance([], nominal_kw=8.5).capacity_kw(7, 35) == pytest.approx(8.5, rel=1e-3)
    for wrong in ((7, 35, 8, 12.0), (7, 35, -1, 4.0), (np.nan, 35, 8, 4.0), (35, 35, 8, 4.0)):
        with pytest.raises(ValueError, match=r"rating point|limit"):
            RatedPerformance([wrong])
    with pytest.raises(ValueError, match="source"):
        RatedPerformance([], "sun")


def test_a_point_at_part_speed_is_brought_to_full_speed() -> None:
    """A7 at six tenths of what A-7 shows is possible: its COP holds the gain of part load, the surface does
    not (common practice, no source)."""
    full = RatedPerformance([(7.0, 35.0, 10.0, 4.6), (-7.0, 35.0, 7.0, 2.9)])
    part = RatedPerformance([(7.0, 35.0, 6.0, 4.6), (-7.0, 35.0, 7.0, 2.9)])
    assert full.cop(7.0, 35.0) == pytest.approx(4.6, rel=0.01)
    assert 0.80 < part.cop(7.0, 35.0) / 4.6 < 0.95
    assert part.cop(-7.0, 35.0) == pytest.approx(full.cop(-7.0, 35.0), rel=0.02)
