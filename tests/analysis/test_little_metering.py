"""Homes with one electricity meter, at a quarter hour, an hour or a day, and the weather."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

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
    assert rows["change at like weather"] == "none that is sure"
    assert rows["compressor starts"].startswith("at least 21.3 a day")
    assert "EN 14825" in rows["a year of usual weather"]


def test_too_few_days_are_told() -> None:
    site = site_of([point("heat_pump_electricity", unit="W"), OUTDOOR])
    read = every_minute(site, {"heat_pump_electricity": 900.0, "outdoor_temperature": 4.0})
    rows = dict(electricity_rows(result_of(site, read).as_dict()))
    assert "needs 28 whole days" in rows["electricity against weather"].lower()
