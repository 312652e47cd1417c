"""Sizes that a home's prices and equipment can have: what lies outside is a slip of the decimal point or the
unit.

The bounds of `fieldfare.analysis.plant.fields` say what can be read at all; these say what is believed of a
new entry. All are common practice without a source, an order of magnitude wide on either side of what homes
have.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from fieldfare.analysis.plant.site import Site

Path = tuple[str | int, ...]

UNITS_PER_EURO = {
    **dict.fromkeys(("EUR", "GBP", "USD", "CHF", "CAD", "AUD", "NZD", "BGN", "BAM", "GEL"), 1.0),
    **dict.fromkeys(("DKK", "NOK", "SEK", "CNY", "HKD", "MDL", "MKD", "ZAR"), 10.0),
    **dict.fromkeys(("PLN", "RON", "ILS"), 4.5),
    **dict.fromkeys(("CZK", "TRY", "UAH"), 30.0),
    **dict.fromkeys(("ISK", "JPY", "RSD", "ALL"), 130.0),
    **dict.fromkeys(("HUF", "AMD"), 400.0),
    "KRW": 1500.0,
}
"""How many units of a currency are about one euro, within a factor of two (from memory)."""


class Bounds(NamedTuple):
    """Lowest and highest of a number, and its unit."""

    low: float
    high: float
    unit: str


ELECTRICITY = Bounds(0.02, 2.0, "per kWh")
"""Euros. Households of Europe paid 0.1 to 0.5 in 2021 to 2025 (Eurostat nrg_pc_204, from memory)."""
BAND = Bounds(-1.0, 3.0, "per kWh")
"""Euros. Prices that follow the market go below nothing and have peaks."""
FUEL = Bounds(0.005, 1.0, "per kWh")
"""Euros, gross heat of the fuel. A price of a litre of oil is ten times that of its kWh."""
STANDING = Bounds(0.0, 10.0, "a day")
"""Euros. A charge of a month is thirty times that of a day."""
CYLINDER = Bounds(30.0, 5000.0, "litres")
BUFFER = Bounds(10.0, 10_000.0, "litres")
STANDING_LOSS = Bounds(0.1, 30.0, "kWh a day")
UNIT_OUTPUT = Bounds(0.5, 200.0, "kW for each unit")
LOSS_OF_AREA = Bounds(5.0, 400.0, "W/m² of the floor area")
OUTPUT_OF_LOSS = Bounds(0.15, 8.0, "times the heat loss")
FULL_LOAD_HOURS = Bounds(300.0, 6000.0, "hours at the heat loss")
FLOW_DIFFERENCE = Bounds(1.5, 30.0, "K between flow and return at the rated output")
HOT_WATER_OF_AREA = Bounds(1.0, 300.0, "kWh/m² of the floor area")
DESIGN_OUTDOOR = Bounds(-60.0, 10.0, "C outdoors on the design day")
"""Coldest days of inhabited places. Above 10 C few homes have a heating (common practice)."""
CURVE_OUTDOOR = Bounds(-60.0, 30.0, "C outdoors")
CURVE_FLOW = Bounds(15.0, 90.0, "C of the flow")
"""Water cooler than a room heats nothing (common practice)."""

_KWH_PER_M3_K = 1.163


def price_trouble(value: float, currency: str, bounds: Bounds) -> str | None:
    """Return why a price is not believed, or None. Currencies that are not listed are not checked."""
    rate = UNITS_PER_EURO.get(currency)
    if rate is None or value == 0.0 or bounds.low * rate <= value <= bounds.high * rate:
        return None
    return (
        f"{value:g} {currency} {bounds.unit} is not a price of a home ({bounds.low * rate:g} to"
        f" {bounds.high * rate:g}); give it in {currency}, not in hundredths of it, and {bounds.unit}"
    )


def size_trouble(value: float, bounds: Bounds) -> str | None:
    """Return why a size is not believed, or None."""
    if bounds.low <= value <= bounds.high:
        return None
    return f"{value:.3g} {bounds.unit} is not believed ({bounds.low:g} to {bounds.high:g}); check the unit"


def implausible(site: Site) -> Iterator[tuple[Path, str]]:
    """Path and message of every number of a site file that no home has."""
    yield from _prices(site)
    yield from _sizes(site)
    yield from _temperatures(site)


def _prices(site: Site) -> Iterator[tuple[Path, str]]:
    cost = site.cost
    if cost is None:
        return
    named: list[tuple[Path, float | None, Bounds]] = [
        (("cost", "electricity"), cost.electricity, ELECTRICITY),
        (("cost", "standing_charge_per_day"), cost.standing_charge_per_day, STANDING),
        (("cost", "previous_fuel_price"), cost.previous_fuel_price, FUEL),
        (("cost", "previous_standing_charge_per_day"), cost.previous_standing_charge_per_day, STANDING),
        *((("cost", "band", n, "price"), band.price, BAND) for n, band in enumerate(cost.band)),
    ]
    for n, dated in enumerate(cost.price):
        at = ("cost", "price", n)
        named += [
            ((*at, "electricity"), dated.electricity, ELECTRICITY),
            ((*at, "standing_charge_per_day"), dated.standing_charge_per_day, STANDING),
            ((*at, "previous_fuel_price"), dated.previous_fuel_price, FUEL),
        ]
    for path, value, bounds in named:
        if value is not None and (trouble := price_trouble(value, cost.currency, bounds)):
            yield path, trouble


def _temperatures(site: Site) -> Iterator[tuple[Path, str]]:
    cold = site.design.outdoor_c
    if cold is not None and not DESIGN_OUTDOOR.low <= cold <= DESIGN_OUTDOOR.high:
        yield (
            ("design", "outdoor_c"),
            f"{cold:g} {DESIGN_OUTDOOR.unit} is not believed ({DESIGN_OUTDOOR.low:g} to"
            f" {DESIGN_OUTDOOR.high:g}); check the sign",
        )
    for outdoor, flow in site.heating_curve.points if site.heating_curve else ():
        if not (
            CURVE_OUTDOOR.low <= outdoor <= CURVE_OUTDOOR.high and CURVE_FLOW.low <= flow <= CURVE_FLOW.high
        ):
            yield (
                ("heating_curve", "points"),
                f"a flow of {flow:g} C at {outdoor:g} C outdoors is not believed; give pairs of"
                " [outdoor, flow], such as [-3.0, 46.0]",
            )
            return


def _sizes(site: Site) -> Iterator[tuple[Path, str]]:
    design, unit, area = site.design, site.heat_pump, site.floor_area_m2
    loss, output = design.heat_loss_kw, unit.rated_output_kw
    water = site.hot_water
    named: list[tuple[Path, float | None, Bounds]] = [
        (("hot_water", "cylinder_litres"), water.cylinder_litres if water else None, CYLINDER),
        (
            ("hot_water", "standing_loss_kwh_per_day"),
            water.standing_loss_kwh_per_day if water else None,
            STANDING_LOSS,
        ),
        (("buffer", "litres"), site.buffer.litres if site.buffer else None, BUFFER),
        (("heat_pump", "rated_output_kw"), _ratio(output, unit.units), UNIT_OUTPUT),
        (("design", "heat_loss_kw"), _ratio(loss and 1000.0 * loss, area), LOSS_OF_AREA),
        (("heat_pump", "rated_output_kw"), _ratio(output, loss), OUTPUT_OF_LOSS),
        (
            ("design", "space_heat_kwh_per_year"),
            _ratio(design.space_heat_kwh_per_year, loss),
            FULL_LOAD_HOURS,
        ),
        (
            ("design", "hot_water_kwh_per_year"),
            _ratio(design.hot_water_kwh_per_year, area),
            HOT_WATER_OF_AREA,
        ),
        (
            ("heat_pump", "flow_m3_per_h"),
            _ratio(output, unit.flow_m3_per_h and unit.flow_m3_per_h * _KWH_PER_M3_K),
            FLOW_DIFFERENCE,
        ),
    ]
    for path, value, bounds in named:
        if value is not None and (trouble := size_trouble(value, bounds)):
            yield path, trouble


def _ratio(part: float | None, whole: float | None) -> float | None:
    return part / whole if part and whole else None
