"""`[cost]` of the site file: prices by day and time of day, and the replaced fuel."""

from __future__ import annotations

from datetime import date, time
from typing import Annotated, Literal, NamedTuple

from pydantic import Field, model_validator

from fieldfare.analysis.plant.fields import Day, Number, Price
from fieldfare.analysis.plant.section import Section


class TariffBand(Section):
    """`[[cost.band]]`: an electricity price between two times of the local day."""

    start: Annotated[time, Field(alias="from")]
    end: Annotated[time, Field(alias="to")]
    price: Annotated[Number, Field(ge=-5, le=1000)]


class DatedPrice(Section):
    """`[[cost.price]]`: prices from a local day on, until the next entry; omitted keys keep their value."""

    start: Annotated[Day, Field(alias="from")]
    electricity: Price | None = None
    standing_charge_per_day: Price | None = None
    previous_fuel_price: Price | None = None

    @model_validator(mode="after")
    def _says_something(self) -> DatedPrice:
        if self.electricity is self.standing_charge_per_day is self.previous_fuel_price is None:
            raise ValueError(
                "needs a price beside `from`: electricity, standing_charge_per_day or previous_fuel_price"
            )
        return self


class DayPrices(NamedTuple):
    """Prices of a day: electricity outside bands and fuel [money/kWh], standing charge [money/day]."""

    electricity: float | None
    standing_charge_per_day: float
    previous_fuel_price: float | None


class Cost(Section):
    """`[cost]`: prices, and the fuel that was replaced.

    country : ISO 3166-1 alpha-2, for the carbon factors. price : prices from a day on, in the order of their
        days
    previous_standing_charge_per_day : of the old fuel, given only if the home no longer pays it
    """

    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")] = "EUR"
    country: Annotated[str, Field(pattern=r"^[A-Z]{2}$")] | None = None
    electricity: Price | None = None
    band: Annotated[tuple[TariffBand, ...], Field(max_length=96)] = ()
    price: Annotated[tuple[DatedPrice, ...], Field(max_length=1000)] = ()
    standing_charge_per_day: Price = 0.0
    previous_fuel: Literal["heating_oil", "natural_gas", "lpg", "electricity", "none"] = "none"
    previous_fuel_price: Price | None = None
    previous_standing_charge_per_day: Price = 0.0
    previous_efficiency: Annotated[Number, Field(ge=0.05, le=5)] | None = None

    @model_validator(mode="after")
    def _consistent(self) -> Cost:
        is_covered = bool(self.band) and _covers_day(self.band)
        dated = any(p.electricity is not None for p in self.price)
        if self.band and self.electricity is None and not dated and not is_covered:
            raise ValueError("the bands leave part of the day without a price: add electricity, or a band")
        if is_covered and dated:
            raise ValueError(
                "the bands price the whole day, so price.electricity would never count: leave one of them out"
            )
        days = [p.start for p in self.price]
        if days != sorted(set(days)):
            raise ValueError("price: give the entries in the order of their days, each day once")
        return self

    def on(self, day: date) -> DayPrices:
        """The prices of a local day."""
        prices: dict[str, float | None] = {name: getattr(self, name) for name in DayPrices._fields}
        for entry in self.price:
            if entry.start <= day:
                prices |= {n: v for n in DayPrices._fields if (v := getattr(entry, n)) is not None}
        return DayPrices(**prices)  # type: ignore[arg-type]

    @property
    def newest(self) -> DayPrices:
        """The prices of the last entry."""
        return self.on(date.max)


def _covers_day(bands: tuple[TariffBand, ...]) -> bool:
    priced: set[int] = set()
    for band in bands:
        a, b = (t.hour * 60 + t.minute for t in (band.start, band.end))
        priced.update(range(a, b) if a < b else [*range(a, 1440), *range(b)])
    return len(priced) == 1440
