"""Emission factors and fuel contents, each with year, scope and source."""

import pytest

from fieldfare.analysis.physics.emission_factors import (
    COUNTRIES,
    FACTORS,
    emission_factor,
    energy_content,
)


@pytest.mark.parametrize(("year", "value", "kg_per_100_mwh"), [(2024, 0.20705, 20705), (2025, 0.177, 17700)])
def test_uk_grid_generation(year, value, kg_per_100_mwh):
    """UK government conversion factors 2024 and 2025: 100 000 kWh are 20 705 and 17 700 kg; never the 0.233
    seen elsewhere."""
    factor = emission_factor("electricity", year=year)
    assert (factor.value, factor.year) == (value, year)
    assert factor.value * 100_000 == pytest.approx(kg_per_100_mwh)
    assert "generation" in factor.scope


def test_the_set_of_the_year_or_the_last_before_it():
    assert emission_factor("electricity", year=2031).year == 2025
    assert emission_factor("electricity", year=2019).year == 2024
    assert emission_factor("natural_gas", year=2024).value == 0.18293
    with pytest.raises(KeyError, match="there are"):
        emission_factor("none")


def test_burning_oil_per_litre_and_per_kwh_agree():
    """2.540 kg/l over 0.2468 kg/kWh is 10.29 kWh/l; 46.2 MJ/kg and 1245.7 l/t give 10.30 (inputs from
    memory)."""
    litre = next(f for f in FACTORS if f.carrier == "heating_oil" and f.kind == "emission_litre")
    assert litre.value / emission_factor("heating_oil").value == pytest.approx(10.29, abs=0.005)
    assert energy_content("heating_oil").value == pytest.approx(46.2 / 3.6 * 1000 / 1245.7, abs=0.005)
    assert energy_content("heating_oil", net=True).value == pytest.approx(
        43.9 / 3.6 * 1000 / 1245.7, abs=0.005
    )


def test_worked_counterfactual():
    """12 000 kWh of heat: oil at 84 % 14 285.7 kWh, 1 387 l, 3 523 kg; heat pump at 2.80 4 285.7 kWh, 887
    (2024) or 759 kg (2025)."""
    fuel = 12000 / 0.84
    assert fuel / energy_content("heating_oil").value == pytest.approx(1387, abs=0.5)
    assert fuel / energy_content("heating_oil").value * 2.540 == pytest.approx(3523, abs=1)
    assert 12000 / 2.80 * emission_factor("electricity", year=2024).value == pytest.approx(887, abs=0.5)
    assert 12000 / 2.80 * emission_factor("electricity", year=2025).value == pytest.approx(759, abs=0.5)


def test_every_factor_says_where_it_comes_from():
    for factor in FACTORS:
        assert factor.unit
        assert factor.scope
        assert factor.source
        assert factor.checked == ("from memory" not in factor.source)


def test_other_countries_factors():
    """German mix 2022 to 2024: 439, 381 and 343 g/kWh (IINAS for HEA, October 2025). Ireland 2015: 467.5
    g/kWh, natural gas 56.9 and kerosene 71.4 t/TJ net, which are 204.7 and 257.0 g/kWh (Sustainable Energy
    Authority of Ireland).
    """
    assert [emission_factor("electricity", year=y, country="DE").value for y in (2022, 2023, 2024)] == [
        0.439,
        0.381,
        0.343,
    ]
    assert emission_factor("electricity", year=2016, country="IE").value == 0.4675
    assert pytest.approx(0.2047, abs=0.0002) == 56.9 * 3.6 / 1000
    assert emission_factor("natural_gas", country="IE").value == pytest.approx(0.2047 * 0.9017, abs=1e-4)
    assert emission_factor("heating_oil", country="IE").value == pytest.approx(0.2570 * 43.9 / 46.2, abs=2e-4)


def test_fuels_of_any_country_are_the_ipccs():
    """IPCC 2006 defaults (from memory): 56.1, 74.1 and 63.1 t/TJ net; a twentieth below the UK's, which count
    methane too."""
    for carrier, net in (("natural_gas", 56.1), ("heating_oil", 74.1), ("lpg", 63.1)):
        factor = emission_factor(carrier, country="NZ")
        assert 0.88 < factor.value / (net * 3.6 / 1000) < 0.96
        assert factor.value == pytest.approx(emission_factor(carrier).value, rel=0.06)
        assert not factor.checked
    with pytest.raises(KeyError, match="in NZ"):
        emission_factor("electricity", country="NZ")


def test_every_factor_is_of_a_named_country():
    assert {f.country for f in FACTORS} <= set(COUNTRIES)
