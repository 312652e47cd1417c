"""Homes with one electricity meter, at a quarter hour, an hour or a day, and the weather."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from fieldfare.analysis.figures.like_weather import LikeWeather, like_weather
from fieldfare.analysis.readings import Readings, Samples
from fieldfare.analysis.reports.result import Result
from fieldfare.dashboards.rows.electricity import electricity_rows
from tests.analysis.plain import every_minute, point, result_of, site_of

DAYS, FIRST = 60, date(2026, 1, 5)
OUTDOOR = point("outdoor_temperature", "gauge", "degC")
DESIGN = "[design]\nheat_loss_kw = 6.0\noutdoor_c = -5.0\nspf_space = 3.2\n"


def kwh(day: np.ndarray) -> np.ndarray:
    """Electricity of a day: 6 kWh, and 2 kWh for each kelvin below 15 °C."""
    return np.asarray(6.0 + 2.0 * np.maximum(15.0 - outdoor(day), 0.0))


def outdoor(day: np.ndarray) -> np.ndarray:
    return np.asarray(9.0 + 9.0 * np.sin(2.1 * day))


def intervals(minutes: int, quantity: str = "heat_pump_electricity", sections: str = DESIGN) -> Result:
    """A home whose meter tells energies of so many minutes, in two thirds of which the unit runs."""
    site = site_of([point(quantity, "interval", "kWh"), OUTDOOR], sections)
    steps = DAYS * 1440 // minutes
    day = np.arange(steps) * minutes // 1440
    shape = np.where(np.arange(steps) % 3 < 2, 1.5, 0.0) if minutes < 1440 else np.ones(steps)
    return result_of(
        site, _with_weather(site, quantity, kwh(day) * minutes / 1440.0 * shape, minutes), DAYS, FIRST
    )


def _with_weather(site, quantity: str, values: np.ndarray, minutes: int) -> Readings:
    read = every_minute(site, {"outdoor_temperature": 0.0}, DAYS, FIRST, 60)
    time = read["outdoor_temperature"].time[: DAYS * 24]
    begin = int(time[0]) + np.arange(len(values), dtype=np.int64) * minutes * 60_000
    return {
        "outdoor_temperature": Samples(time, outdoor(np.arange(len(time)) // 24)),
        quantity: Samples(begin, values),
    }


@pytest.mark.parametrize("minutes", [15, 60, 1440])
def test_signature_is_known_from_a_quarter_hour_to_a_day(minutes: int) -> None:
    told = intervals(minutes).as_dict()["from_electricity"]
    signature = told["signature"]
    assert signature["days_used"] >= DAYS - 2
    assert signature["base_kwh_per_day"]["value"] == pytest.approx(6.0, abs=0.3)
    assert signature["slope_kwh_per_day_k"]["value"] == pytest.approx(2.0, abs=0.05)
    assert signature["base_temperature_c"]["value"] == pytest.approx(15.0, abs=0.1)
    year = told["weather_adjusted_year"]["electricity_kwh"]
    assert year["low"] <= year["value"] <= year["high"]


@pytest.mark.parametrize("minutes", [15, 60])
def test_starts_are_one_in_three_intervals(minutes: int) -> None:
    """Two intervals on, one off: a third of a day's intervals are starts, on days with more than 0.1 kWh in
    a quarter hour (0.2 kWh in an hour)."""
    least = {15: 0.1, 60: 0.2}[minutes]
    on = kwh(np.arange(DAYS)) * minutes / 1440.0 * 1.5 > least
    starts = intervals(minutes).as_dict()["from_electricity"]["starts"]
    assert starts["per_day"]["value"] == pytest.approx(1440 / minutes / 3 * on.mean(), rel=0.02)
    assert starts["per_day"]["high"] is None
    assert starts["interval_minutes"] == minutes
    assert (starts["rank_in_field"] is not None) is (minutes == 15 and starts["winter_days"] >= 60)


def test_a_meter_read_daily_tells_no_starts_and_says_why() -> None:
    told = intervals(1440).as_dict()["from_electricity"]
    assert told["starts"]["per_day"] is None
    assert "every hour or closer" in told["starts"]["reason"]
    assert told["direct_heat"]["share"] is None


def test_a_house_meter_alone_gives_its_signature() -> None:
    told = intervals(60, "house_electricity").as_dict()["from_electricity"]
    assert told["meter"] == "the house's meter"
    assert told["signature"]["slope_kwh_per_day_k"]["value"] == pytest.approx(2.0, abs=0.05)


def test_where_heat_is_measured_it_stands_aside() -> None:
    points = [point("heat_pump_electricity", unit="W"), point("heat_output", unit="W"), OUTDOOR]
    site = site_of(points)
    read = every_minute(
        site, {"heat_pump_electricity": 900.0, "heat_output": 3000.0, "outdoor_temperature": 4.0}
    )
    document = result_of(site, read).as_dict()
    assert document["from_electricity"] is None
    assert electricity_rows(document) == []


def test_rows_name_every_figure_with_its_interval() -> None:
    rows = dict(electricity_rows(intervals(15).as_dict()))
    assert "to" in rows["a day without heating"]
    assert rows["change at comparable weather"] == "no certain change"
    assert rows["compressor starts"].startswith("at least 21.3 a day")
    assert "EN 14825" in rows["a year of usual weather"]


def test_too_few_days_are_told() -> None:
    site = site_of([point("heat_pump_electricity", unit="W"), OUTDOOR])
    read = every_minute(site, {"heat_pump_electricity": 900.0, "outdoor_temperature": 4.0})
    rows = dict(electricity_rows(result_of(site, read).as_dict()))
    assert "needs 28 whole days" in rows["electricity against weather"].lower()


def _of_days(used: np.ndarray, degrees: np.ndarray, sections: str = DESIGN) -> Result:
    """A home whose meter is read daily, with the mean outdoor temperature of each day."""
    days = len(used)
    site = site_of([point("heat_pump_electricity", "interval", "kWh"), OUTDOOR], sections)
    read = every_minute(site, {"outdoor_temperature": 0.0}, days, FIRST, 60)
    time = read["outdoor_temperature"].time[: days * 24]
    readings = {
        "outdoor_temperature": Samples(time, np.repeat(degrees, 24)),
        "heat_pump_electricity": Samples(int(time[0]) + np.arange(days, dtype=np.int64) * 86_400_000, used),
    }
    return result_of(site, readings, days, FIRST)


def test_a_winter_line_that_bends_shows_no_base() -> None:
    """A house heated below 15 °C whose efficiency falls by 2.25 % a kelvin of cold; no day is warmer."""
    days = 140
    rng = np.random.default_rng(4)
    degrees = rng.uniform(-6.5, 13.5, days)
    noise = 1.5 * rng.standard_normal(days)
    used = 6.0 + 2.0 * (15.0 - degrees) * (1.0 + 0.0225 * (13.5 - degrees)) + noise
    result = _of_days(used, degrees).as_dict()
    told = result["from_electricity"]
    assert told["signature"]["base_kwh_per_day"] is None
    assert told["weather_adjusted_year"]["electricity_kwh"] is None
    assert told["change"] is None
    rows = dict(electricity_rows(result))
    assert "too warm to heat" in rows["a day without heating"]
    assert rows["heats below"].endswith("from heating")


def test_a_unit_that_modulates_is_no_heater() -> None:
    """It heats with 0.9 kW and charges the cylinder with its rated 3.6 kW; with a rating of 1.1 kW the rest
    is a heater's."""
    steps = DAYS * 96
    quarter = np.arange(steps) % 96
    power = np.where(quarter % 4 < 3, 0.9, 0.02)
    power = np.where(np.isin(quarter, (20, 21, 22, 70, 71, 72)), 3.9, power)
    shares = []
    for output in (9.7, 3.0):
        rating = f"[[heat_pump.rating]]\noutdoor_c = -7.0\nflow_c = 55.0\noutput_kw = {output}\ncop = 2.7\n"
        site = site_of([point("heat_pump_electricity", "interval", "kWh"), OUTDOOR], DESIGN + rating)
        readings = _with_weather(site, "heat_pump_electricity", power / 4.0, 15)
        told = result_of(site, readings, DAYS, FIRST).as_dict()["from_electricity"]["direct_heat"]
        shares.append(told["share"]["value"])
        assert (told["step_kw"] is None) is (output == 9.7)
    assert shares[0] == 0.0
    assert shares[1] > 0.1


def test_months_of_one_meter_are_compared_as_a_whole() -> None:
    """The second month takes a fifth more at any temperature."""
    days = 60
    degrees = np.random.default_rng(5).uniform(-1.0, 9.0, days)
    used = (6.0 + 2.0 * (15.0 - degrees)) * np.where(np.arange(days) < 30, 1.0, 1.2)
    result = _of_days(used, degrees, "[hot_water]\ncylinder_litres = 200\nsetpoint_c = 50.0\n" + DESIGN)
    table = result.facts.days
    told = like_weather(result.site, table.where(slice(0, 30)), table.where(slice(30, 60)))
    assert told.space_percent.value is None
    assert told.total_percent.value == pytest.approx(20.0, abs=2.0)
    assert LikeWeather.is_distinct(told.total_percent)
