"""Implausible prices and sizes are refused by site file, form and answers."""

from __future__ import annotations

from itertools import pairwise

import pytest

from fieldfare.analysis.errors import SiteError
from fieldfare.analysis.plant.load import parse_kept_site, parse_site
from fieldfare.analysis.plant.plausible import (
    BAND,
    ELECTRICITY,
    FUEL,
    STANDING,
    UNITS_PER_EURO,
    Bounds,
    price_trouble,
)

HEAD = '[site]\nid = "ash"\nname = "Ash"\ntimezone = "Europe/Berlin"\nfloor_area_m2 = 120\n'
WHOLE = {
    "design": {"heat_loss_kw": 6.0, "space_heat_kwh_per_year": 12000, "hot_water_kwh_per_year": 2500},
    "heat_pump": {"rated_output_kw": 7.0, "flow_m3_per_h": 1.2},
    "hot_water": {"cylinder_litres": 250, "standing_loss_kwh_per_day": 1.6},
    "buffer": {"litres": 100},
    "cost": {
        "currency": '"EUR"',
        "electricity": 0.32,
        "standing_charge_per_day": 0.4,
        "previous_fuel_price": 0.09,
        "previous_standing_charge_per_day": 0.3,
    },
}
SLIPS = {
    ("cost", "electricity"): 32,
    ("cost", "standing_charge_per_day"): 40,
    ("cost", "previous_fuel_price"): 9,
    ("cost", "previous_standing_charge_per_day"): 30,
    ("design", "heat_loss_kw"): 60,
    ("design", "space_heat_kwh_per_year"): 120,
    ("design", "hot_water_kwh_per_year"): 250_000,
    ("heat_pump", "rated_output_kw"): 700,
    ("heat_pump", "flow_m3_per_h"): 20,
    ("hot_water", "cylinder_litres"): 2.5,
    ("hot_water", "standing_loss_kwh_per_day"): 67,
    ("buffer", "litres"): 1,
}
"""A unit or a decimal point wrong: cents, a month's charge, watts, litres a minute, cubic metres."""


def text(**changed: object) -> str:
    out = HEAD
    for section, keys in WHOLE.items():
        out += f"[{section}]\n"
        for key, value in keys.items():
            out += f"{key} = {changed.get(f'{section}__{key}', value)}\n"
    return out


def test_an_ordinary_home_is_taken() -> None:
    parse_site(text())


@pytest.mark.parametrize(("at", "value"), SLIPS.items())
def test_a_slip_is_refused_by_key_and_a_stored_file_is_still_read(at: tuple[str, str], value: float) -> None:
    wrong = text(**{"__".join(at): value})
    with pytest.raises(SiteError) as error:
        parse_site(wrong)
    assert ".".join(at) in [p.key for p in error.value.problems]
    parse_kept_site(wrong)


@pytest.mark.parametrize("currency", UNITS_PER_EURO)
@pytest.mark.parametrize("bounds", [ELECTRICITY, FUEL, BAND])
def test_hundredths_of_a_currency_are_refused_in_every_currency(currency: str, bounds: Bounds) -> None:
    usual = {ELECTRICITY: 0.3, FUEL: 0.09, BAND: 0.3}[bounds] * UNITS_PER_EURO[currency]
    assert price_trouble(usual, currency, bounds) is None
    assert price_trouble(100.0 * usual, currency, bounds) is not None


def test_nothing_is_a_price_and_an_unknown_currency_is_not_judged() -> None:
    assert all(price_trouble(0.0, "EUR", b) is None for b in (ELECTRICITY, FUEL, STANDING))
    assert price_trouble(5000.0, "XAU", ELECTRICITY) is None


def test_bands_and_dated_prices_are_held_to_the_same_rule() -> None:
    for more, key in (
        ('[[cost.band]]\nfrom = "00:30"\nto = "05:30"\nprice = 9\n', "cost.band[1].price"),
        ("[[cost.price]]\nfrom = 2026-04-01\nelectricity = 25\n", "cost.price[1].electricity"),
    ):
        with pytest.raises(SiteError) as error:
            parse_site(text() + more)
        assert [p.key for p in error.value.problems] == [key]


def test_the_bounds_are_wide_on_either_side_of_what_homes_have() -> None:
    for bounds in (ELECTRICITY, FUEL):
        assert all(b >= 10.0 * a for a, b in pairwise(bounds[:2]))
