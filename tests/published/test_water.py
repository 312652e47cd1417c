"""Water and antifreeze against IAPWS-IF97 and the Melinder (2010) mixtures; heat coefficients of EN
1434-1."""

import iapws
import numpy as np
import pytest

from fieldfare.analysis.physics import water

PRESSURE_MPA = 1.6  # EN 1434-1 states its heat coefficients at 16 bar


def if97(temperature_c):
    return iapws.IAPWS97(P=PRESSURE_MPA, T=temperature_c + 273.15)


def k_of_if97(flow_c, return_c, meter_c):
    return (if97(flow_c).h - if97(return_c).h) / (if97(meter_c).v * (flow_c - return_c)) / 3600


# Heat coefficient of EN 1434-1 from IAPWS-IF97 at 16 bar: return, flow, k with the meter in the return, in
# the flow [kWh/(m3 K)]
HEAT_COEFFICIENTS = [
    (20, 35, 1.15899, 1.15412),
    (25, 30, 1.15756, 1.15593),
    (30, 35, 1.15559, 1.15371),
    (30, 40, 1.15551, 1.15152),
    (30, 45, 1.15549, 1.14918),
    (30, 55, 1.15561, 1.14405),
    (35, 40, 1.15356, 1.15145),
    (40, 45, 1.15146, 1.14914),
    (45, 55, 1.14947, 1.14423),
    (50, 60, 1.14733, 1.14172),
    (60, 70, 1.14291, 1.13661),
]


@pytest.mark.parametrize(("return_c", "flow_c", "in_return", "in_flow"), HEAT_COEFFICIENTS)
def test_heat_coefficient_of_en_1434_1(return_c, flow_c, in_return, in_flow):
    assert water.heat_coefficient(flow_c, return_c) == pytest.approx(in_return, rel=5e-5)
    assert water.heat_coefficient(flow_c, return_c, meter_in="flow") == pytest.approx(in_flow, rel=5e-5)


@pytest.mark.parametrize("pipe", ["return", "flow"])
@pytest.mark.parametrize("difference", [0.5, 3, 5, 10, 20, -6])
def test_heat_coefficient_within_half_a_thousandth_of_if97_from_5_to_80_c(pipe, difference):
    for cool in np.arange(11.0, 80.0 - max(difference, 0), 6.0):
        warm = cool + difference
        expected = k_of_if97(warm, cool, warm if pipe == "flow" else cool)
        assert water.heat_coefficient(warm, cool, meter_in=pipe) == pytest.approx(expected, rel=5e-4)
    assert water.heat_coefficient(5.0 + abs(difference), 5.0) == pytest.approx(
        k_of_if97(5.0 + abs(difference), 5.0, 5.0), rel=5e-4
    )


def test_properties_within_a_ten_thousandth_of_if97_from_0_to_120_c():
    t = np.linspace(0.05, 119.95, 61)
    exact = [if97(x) for x in t]
    assert water.density(t) == pytest.approx([e.rho for e in exact], rel=1e-5)
    same = water.heat_coefficient(t, t)  # at no difference it is density times specific heat
    assert same * 3600 == pytest.approx([e.rho * e.cp for e in exact], rel=1e-4)


def test_table_5_of_iapws_r7_97_300_k_3_mpa():
    """Density only mildly depends on pressure (here 1.4 MPa away): 1/0.00100215168 kg/m3."""
    assert 1 / water.density(26.85) == pytest.approx(0.00100215168, rel=8e-4)


def test_worked_power_of_12_litres_a_minute_from_30_to_35_c():
    """0.72 m3/h x 5 K x 1.15559 kWh/(m3 K) = 4.160 kW."""
    assert water.heat_from_flow(0.72, 35, 30) == pytest.approx(4160, abs=1)


@pytest.mark.parametrize(
    ("return_c", "flow_c", "over"),
    [(30, 35, 0.64), (35, 40, 0.82), (40, 45, 1.00), (45, 55, 1.18), (50, 60, 1.37)],
)
def test_the_round_coefficient_1_163_reads_too_much(return_c, flow_c, over):
    """IAPWS-IF97, meter in the return: by so many per cent."""
    assert (1.163 / water.heat_coefficient(flow_c, return_c) - 1) * 100 == pytest.approx(over, abs=0.01)


@pytest.mark.parametrize(("flow_c", "return_c", "percent"), [(55, 45, 0.46), (55, 30, 1.01)])
def test_a_meter_set_for_the_wrong_pipe(flow_c, return_c, percent):
    """IAPWS-IF97: sensor in the flow, coefficient of the return."""
    ratio = water.heat_coefficient(flow_c, return_c) / water.heat_coefficient(
        flow_c, return_c, meter_in="flow"
    )
    assert (ratio - 1) * 100 == pytest.approx(percent, abs=0.01)


FLUIDS = {"propylene_glycol": "MPG", "ethylene_glycol": "MEG"}


@pytest.mark.parametrize("fluid", FLUIDS)
@pytest.mark.parametrize("percent", [5, 10, 15, 20, 25, 30, 35, 40, 45, 50])
def test_mixture_properties_within_1_percent_of_coolprop(fluid, percent):
    """Melinder (2010) as CoolProp's incompressible MPG and MEG, -10 to 80 C within each mixture's liquid
    range."""
    from CoolProp.CoolProp import PropsSI  # slow, and of two tests alone

    name = f"INCOMP::{FLUIDS[fluid]}[{percent / 100}]"
    freezing = PropsSI("T_freeze", "T", 300, "P", 2e5, name) - 273.15
    assert water.freezing_point(fluid, percent) == pytest.approx(freezing, abs=0.1)
    t = np.array([x for x in np.arange(-10.0, 80.1, 2.5) if x > freezing + 0.1])
    rho = [PropsSI("D", "T", x + 273.15, "P", 2e5, name) for x in t]
    heat = [PropsSI("C", "T", x + 273.15, "P", 2e5, name) / 1000 for x in t]
    assert water.density(t, fluid=fluid, percent=percent) == pytest.approx(rho, rel=1e-3)
    carried = water.heat_coefficient(t, t, fluid=fluid, percent=percent) * 3600
    assert carried == pytest.approx(np.multiply(rho, heat), rel=2e-3)


@pytest.mark.parametrize("fluid", FLUIDS)
@pytest.mark.parametrize("percent", [10, 25, 40])
@pytest.mark.parametrize(("return_c", "flow_c"), [(30, 35), (45, 55), (5, 12), (70, 80)])
def test_mixture_heat_coefficient_within_1_percent_of_coolprop(fluid, percent, return_c, flow_c):
    from CoolProp.CoolProp import PropsSI  # slow, and of two tests alone

    name = f"INCOMP::{FLUIDS[fluid]}[{percent / 100}]"
    enthalpy = [PropsSI("H", "T", x + 273.15, "P", 2e5, name) for x in (flow_c, return_c)]
    rho = PropsSI("D", "T", return_c + 273.15, "P", 2e5, name)
    expected = rho * (enthalpy[0] - enthalpy[1]) / (flow_c - return_c) / 3.6e6
    got = water.heat_coefficient(flow_c, return_c, fluid=fluid, percent=percent)
    assert got == pytest.approx(expected, rel=0.01)


# Over-reading [%] of a water meter in the return, both published property sets where both hold (they differ
# by 0.6 to 1.1 points)
OVER_READING = [
    ("propylene_glycol", 20, 30, 35, 2.81, 2.22),
    ("propylene_glycol", 25, 30, 35, 3.77, 2.89),
    ("propylene_glycol", 30, 30, 40, 4.77, 3.81),
    ("propylene_glycol", 40, 45, 55, 7.04, None),
    ("ethylene_glycol", 20, 30, 35, 4.02, 3.03),
    ("ethylene_glycol", 25, 30, 40, 5.32, 4.41),
    ("ethylene_glycol", 30, 45, 55, 6.06, None),
]


@pytest.mark.parametrize(("fluid", "percent", "return_c", "flow_c", "melinder", "other"), OVER_READING)
def test_over_reading_with_antifreeze(fluid, percent, return_c, flow_c, melinder, other):
    """Melinder (2010) through CoolProp; the second published set lies within 1.5 points of it."""
    got = water.antifreeze_over_reading(flow_c, return_c, fluid=fluid, percent=percent) * 100
    assert got == pytest.approx(melinder, abs=0.1)
    assert other is None or abs(got - other) < 1.5


@pytest.mark.parametrize(
    ("fluid", "percent", "freezing"),
    [
        ("propylene_glycol", 20, -7.2),
        ("propylene_glycol", 25, -9.8),
        ("propylene_glycol", 30, -12.8),
        ("propylene_glycol", 40, -20.6),
        ("ethylene_glycol", 20, -7.9),
        ("ethylene_glycol", 25, -11.0),
        ("ethylene_glycol", 30, -14.6),
    ],
)
def test_freezing_points_of_melinder_2010(fluid, percent, freezing):
    assert water.freezing_point(fluid, percent) == pytest.approx(freezing, abs=0.06)


def test_shapes_gaps_signs_and_refusals():
    flow, cool = np.array([[35.0, np.nan, 28.0]]), np.array([[30.0, 30.0, 34.0]])
    heat = water.heat_from_flow(1.0, flow, cool)
    assert heat.shape == (1, 3)
    assert heat[0, 0] > 0
    assert np.isnan(heat[0, 1])
    assert heat[0, 2] < 0  # a defrost takes heat
    assert water.freezing_point("none", np.array([0.0, 0.0])).tolist() == [0.0, 0.0]
    assert water.antifreeze_over_reading(35, 30, fluid="none", percent=0) == 0
    for wrong in ({"fluid": "salt"}, {"percent": 60, "fluid": "ethylene_glycol"}, {"meter_in": "bypass"}):
        with pytest.raises(ValueError, match="must be"):
            water.heat_coefficient(35, 30, **wrong)
