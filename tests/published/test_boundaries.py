"""SEPEMO-Build boundaries and the renewable share of Decision 2013/114/EU."""

import pytest

from fieldfare.analysis.physics.boundaries import PeriodEnergies, renewable_heat_kwh, spf

# Worked balance on SEPEMO-Build D4.2's definitions [kWh]: heat 9000 + 2500, back-up 300; compressor 3600,
# source 150, pumps 180
METERED_APART = PeriodEnergies(
    heat_kwh=11500,
    heat_pump_kwh=3600,
    fan_kwh=150,
    backup_heater_kwh=300,
    immersion_kwh=0,
    circulation_pump_kwh=180,
    meter_includes=frozenset(),
)
RATIOS = {"H1": 3.19444, "H2": 3.06667, "H3": 2.91358, "H4": 2.78960}


def values(balance):
    return {name: ratio.value for name, ratio in spf(balance).items()}


def reasons(balance):
    return {name: ratio.reason for name, ratio in spf(balance).items()}


def test_worked_balance_with_every_consumer_metered():
    assert values(METERED_APART) == pytest.approx(RATIOS, abs=1e-5)


def test_same_balance_with_the_fan_in_the_heat_pumps_meter():
    together = PeriodEnergies(11500, 3750, 150, 300, 0.0, 180)
    assert values(together) == pytest.approx(RATIOS, abs=1e-5)


def test_same_balance_with_everything_in_one_meter():
    everything = frozenset({"fan", "backup_heater", "circulation_pump"})
    together = PeriodEnergies(11500, 4230, 150, 300, 0.0, 180, meter_includes=everything)
    assert values(together) == pytest.approx(RATIOS, abs=1e-5)


def test_same_balance_with_the_backup_heater_upstream_of_the_heat_meter():
    seen = PeriodEnergies(11800, 3750, 150, 300, 0.0, 180, heat_includes=frozenset({"backup_heater"}))
    assert values(seen) == pytest.approx(RATIOS, abs=1e-5)


def test_monovalent_h3_is_h2():
    """SEPEMO-Build: without direct heaters H3 = H2; H1 >= H2 >= H3 >= H4."""
    got = values(PeriodEnergies(11500, 3750, 150, 0.0, 0.0, 180))
    assert got["H3"] == got["H2"]
    assert got["H1"] > got["H2"] > got["H4"]


def test_an_immersion_heater_gives_heat_equal_to_its_electricity():
    got = values(PeriodEnergies(11500, 3750, 150, 0.0, 300, 180))
    assert got == pytest.approx(RATIOS, abs=1e-5)


def test_what_the_meters_cannot_separate_is_not_given_and_says_why():
    one_meter = PeriodEnergies(11500, 3750)
    got, why = values(one_meter), reasons(one_meter)
    assert got["H2"] == pytest.approx(3.06667, abs=1e-5)
    assert (got["H1"], got["H3"], got["H4"]) == (None, None, None)
    assert why["H1"].startswith("needs fan_electricity")
    assert why["H3"] == "needs backup_heater_electricity"

    with_pump = reasons(
        PeriodEnergies(
            11500, 3930, 150, 0.0, 0.0, None, meter_includes=frozenset({"fan", "circulation_pump"})
        )
    )
    assert with_pump["H2"].startswith("needs circulation_pump_electricity")
    assert with_pump["H4"] is None

    assert set(reasons(PeriodEnergies(None, 3750)).values()) == {"needs heat_output"}
    assert set(reasons(PeriodEnergies(11500, None)).values()) == {"needs heat_pump_electricity"}
    assert reasons(PeriodEnergies(0.0, 0.0, 0.0, 0.0, 0.0, 0.0))["H4"] == "no electricity was used"
    with pytest.raises(ValueError, match="meter_includes"):
        PeriodEnergies(1, 1, meter_includes=frozenset({"kettle"}))
    with pytest.raises(ValueError, match="heat_includes"):
        PeriodEnergies(1, 1, heat_includes=frozenset({"fan"}))


@pytest.mark.parametrize(
    ("factor", "share"), [(2.5, 0.6), (2.8, 0.6429), (3.0, 0.6667), (3.5, 0.7143), (4.0, 0.75)]
)
def test_renewable_share_of_decision_2013_114_eu(factor, share):
    assert renewable_heat_kwh(1.0, factor) == pytest.approx(share, abs=5e-5)


def test_renewable_heat_of_the_worked_balance():
    """Decision 2013/114/EU: 11 500 (1 - 1/3.06667) = 7 750 kWh; nothing below 2.5 (1.15 / 0.455 = 2.527,
    stated as 2.5)."""
    assert renewable_heat_kwh(11500, 11500 / 3750) == pytest.approx(7750, abs=0.5)
    assert renewable_heat_kwh(11500, 2.49) == 0.0
    with pytest.raises(ValueError, match="above 0"):
        renewable_heat_kwh(1, 0)
