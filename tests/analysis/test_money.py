"""Cost and carbon: daily prices, equal units, factors by country."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from fieldfare.analysis.errors import SiteError
from fieldfare.analysis.facts.money import minute_prices
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.figures.money import Money, money
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site

HEAD = """
[site]
id = "alder-row"
name = "Alder Row"
timezone = "Europe/London"
[[point]]
id = "heat"
quantity = "heat_output"
as = "power"
"""
PLAIN = """[cost]
currency = "GBP"
electricity = 0.30
standing_charge_per_day = 0.5
previous_fuel = "natural_gas"
previous_fuel_price = 0.06
previous_efficiency = 0.8
"""


def site_of(cost: str) -> Site:
    return parse_site(HEAD + cost)


def ten_days(first: str = "2025-01-01", spent: float = 3.0) -> Table:
    """Ten days of 10 kWh of electricity and 30 kWh of heat."""
    ten = np.full(10, 10.0)
    return Table(
        {
            "day": np.arange(np.datetime64(first), np.datetime64(first) + 10),
            "electricity_total_kwh": ten,
            "money": np.full(10, spent),
            "heat_total_kwh": 3 * ten,
            "electricity_backup_kwh": 0 * ten,
            "electricity_immersion_kwh": 0 * ten,
        }
    )


def of(cost: str, days: Table | None = None) -> Money:
    return money(site_of(cost), days or ten_days())


def test_running_costs_are_units_on_both_sides() -> None:
    """300 kWh of heat at 0.8: 375 kWh of gas at 0.06; the home pays electricity's standing charge anyway."""
    told = of(PLAIN)
    assert told.total == pytest.approx(35.0)
    assert told.standing_charge == pytest.approx(5.0)
    assert told.running_cost == pytest.approx(30.0)
    assert told.previous_fuel_total == pytest.approx(375 * 0.06)
    assert "without its standing charge, which the home pays anyway" in told.compared
    assert "gas for the same heat without a standing charge" in told.compared


def test_a_standing_charge_that_is_no_longer_paid_counts_for_the_old_fuel() -> None:
    told = of(PLAIN + "previous_standing_charge_per_day = 0.3\n")
    assert told.previous_fuel_total == pytest.approx(375 * 0.06 + 3.0)
    assert "with its standing charge, which the home no longer pays" in told.compared


def test_dated_prices_count_from_their_day_on() -> None:
    cost = (
        PLAIN + "[[cost.price]]\nfrom = 2025-01-06\nelectricity = 0.20\nstanding_charge_per_day ="
        " 0.7\nprevious_fuel_price = 0.10\n"
    )
    told = of(cost)
    assert told.standing_charge == pytest.approx(5 * 0.5 + 5 * 0.7)
    assert told.previous_fuel_total == pytest.approx(375 / 2 * (0.06 + 0.10))


def test_each_minute_has_the_price_of_its_local_day() -> None:
    """1 April 2025 begins at 23:00 UTC the day before, by British Summer Time."""
    site = site_of(
        '[cost]\ncurrency = "GBP"\nelectricity = 0.30\n[[cost.price]]\nfrom = 2025-04-01\nelectricity ='
        " 0.20\n"
    )
    assert site.cost is not None
    start = int(np.datetime64("2025-03-31T22:00", "ms").astype(np.int64))
    prices = minute_prices(site, site.cost, start + np.arange(120, dtype=np.int64) * 60_000)
    assert set(prices[:60]) == {0.30}
    assert set(prices[60:]) == {0.20}


def test_bands_count_over_dated_prices() -> None:
    cost = (
        '[cost]\ncurrency = "GBP"\nelectricity = 0.30\n[[cost.price]]\nfrom = 2025-01-02\nelectricity ='
        ' 0.20\n[[cost.band]]\nfrom = "01:00"\nto = "02:00"\nprice = 0.05\n'
    )
    site = site_of(cost)
    assert site.cost is not None
    start = int(np.datetime64("2025-01-01T00:00", "ms").astype(np.int64))
    prices = minute_prices(site, site.cost, start + np.arange(2 * 1440, dtype=np.int64) * 60_000)
    assert prices[90] == prices[1440 + 90] == 0.05
    assert (prices[200], prices[1440 + 200]) == (0.30, 0.20)


@pytest.mark.parametrize(
    ("cost", "said"),
    [
        (
            (
                "[cost]\n[[cost.price]]\nfrom = 2025-02-01\nelectricity = 0.2\n[[cost.price]]\nfrom ="
                " 2025-01-01\nelectricity = 0.3\n"
            ),
            "order of their days",
        ),
        ("[cost]\n[[cost.price]]\nfrom = 2025-02-01\n", "needs a price beside"),
        (
            (
                '[cost]\n[[cost.band]]\nfrom = "00:00"\nto = "00:00"\nprice = 0.1\n[[cost.price]]\nfrom ='
                " 2025-02-01\nelectricity = 0.2\n"
            ),
            "would never count",
        ),
        ('[cost]\ncountry = "Britain"\n', "country"),
    ],
)
def test_prices_that_cannot_be_meant_are_refused(cost: str, said: str) -> None:
    with pytest.raises(SiteError, match=said):
        site_of(cost)


def test_carbon_is_by_country_and_year() -> None:
    """100 kWh in 2024 and 2025: the UK's factors of those years; Germany's newest from 2024 on."""
    over_new_year = ten_days("2024-12-27")
    told = of(PLAIN, over_new_year)
    assert told.co2_kg == pytest.approx(50 * 0.20705 + 50 * 0.177)
    assert told.country == "GB"
    assert any("United Kingdom 2024" in f for f in told.factors)
    assert any("United Kingdom 2025" in f for f in told.factors)
    german = of(PLAIN + 'country = "DE"\n', over_new_year)
    assert german.co2_kg == pytest.approx(100 * 0.343)


def test_an_unknown_country_has_no_carbon_figure_but_a_reason() -> None:
    told = of(PLAIN + 'country = "NZ"\n')
    assert told.co2_kg is None
    assert told.reasons["co2_kg"] == "no carbon factor of electricity is known for NZ"
    assert told.previous_fuel_co2_kg is not None, "fuels burn alike everywhere"
    assert any("still to be compared" in f for f in told.factors)


def test_prices_of_a_day() -> None:
    cost = site_of(PLAIN + "[[cost.price]]\nfrom = 2025-02-01\nelectricity = 0.2\n").cost
    assert cost is not None
    assert cost.on(date(2025, 3, 1)) == (0.2, 0.5, 0.06)
    assert cost.on(date(2025, 1, 31)).electricity == 0.30
    assert cost.newest.electricity == 0.2
