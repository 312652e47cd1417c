"""Cold-snap outlook: values calculated by hand, and invalid files."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.cold_snap import (
    by_hour,
    day_means,
    outlook,
    parse_forecast,
)
from fieldfare.analysis.reports.cold_snap_home import OUTPUT_SLOPE, course, snap_home
from fieldfare.collector.simulated.plant import random_plant
from fieldfare.collector.simulated.site import site_toml

RESULT: dict[str, Any] = {
    "findings": [],
    "heat_loss": {
        "coefficient_w_per_k": {"value": 250.0, "low": 240.0, "high": 260.0},
        "free_gains_w": 500.0,
    },
    "capacity": {"output_at_design_kw": {"value": 7.0, "low": 6.7, "high": 7.3}},
    "heating_curve": {"fitted": None},
}


def home() -> Site:
    return parse_site(site_toml(random_plant(2201, "continental", "rich")))


def daily(*outdoor: float) -> str:
    return "time,outdoor_c\n" + "".join(
        f"2026-01-{n:02d}T00:00:00+00:00,{value}\n" for n, value in enumerate(outdoor, 10)
    )


def long_one() -> str:
    first = date(2026, 1, 1)
    return "time,outdoor_c\n" + "".join(f"{first + timedelta(n)}T00:00:00Z,1\n" for n in range(95))


def test_a_home_falls_short_by_load_less_output() -> None:
    site = home()
    cold, indoor = site.design.outdoor_c, site.design.indoor_c
    assert cold is not None
    told = outlook(site, RESULT, parse_forecast(daily(2.0, cold - 5.0, cold - 5.0, 2.0), "f.csv"))
    # By hand: load 0.25 kW/K over the difference less 0.5 kW of gains; output falls 1.5 % a kelvin.
    short = 0.25 * (indoor - cold + 5.0) - 0.5 - 7.0 * (1.0 - 5.0 * OUTPUT_SLOPE)
    assert told.coldest_c == pytest.approx(cold - 5.0)
    assert told.short_kw is not None
    assert told.short_kw["value"] == pytest.approx(short, abs=1e-6)
    assert told.short_kw["low"] < short < told.short_kw["high"]
    assert told.binds == ("output" if told.state != "holds" else None)


def test_rooms_fall_as_one_heat_store_does() -> None:
    """A unit that gives nothing: the room's distance to the outdoors less gains decays with stored heat over
    loss, and ends there (first-order response, any textbook)."""
    site = home()
    nothing = {**RESULT, "capacity": {"output_at_design_kw": {"value": 0.101, "low": 0.1, "high": 0.102}}}
    hot_water = {"hot_water": {"heat_kwh_per_day": 24.0 * 0.1}}
    one = snap_home(site, {**nothing, **hot_water})
    assert one.unit == pytest.approx(0.1)
    one = replace(one, unit=0.0)
    hours, outside = 96, -5.0
    rooms = course(one, np.full(hours, outside)).room[0]
    ends = outside + 0.5 / 0.25  # where the gains alone keep it
    time_constant = one.stored / 0.25
    by_hand = ends + (site.design.indoor_c - ends) * np.exp(-np.arange(1, hours + 1) / time_constant)
    assert rooms == pytest.approx(by_hand, abs=0.3)  # steps of an hour
    assert rooms[-1] < rooms[0]


def test_a_back_up_heater_of_unknown_power_leaves_it_open() -> None:
    site = home()
    cold = site.design.outdoor_c
    assert cold is not None
    alone = site.model_copy(update={"design": site.design.model_copy(update={"bivalent_c": None})})
    helped = site.model_copy(update={"design": site.design.model_copy(update={"bivalent_c": cold})})
    forecast = parse_forecast(daily(*[cold - 10.0] * 6), "f.csv")
    assert outlook(alone, RESULT, forecast).state == "short"
    told = outlook(helped, RESULT, forecast)
    assert (told.state, told.backup) == ("may_be_short", True)


def test_a_unit_that_lacks_something_widens_the_interval() -> None:
    site = home()
    cold = site.design.outdoor_c
    assert cold is not None
    lacks = {**RESULT, "findings": [{"code": "excessive_defrost", "severity": "watch"}]}
    forecast = parse_forecast(daily(*[cold] * 5), "f.csv")
    sound, doubted = (outlook(site, result, forecast).short_kw for result in (RESULT, lacks))
    assert sound is not None
    assert doubted is not None
    assert doubted["high"] > sound["high"] + 1.0
    assert doubted["value"] == sound["value"]


def test_mild_weather_holds_and_urgent_findings_are_named() -> None:
    result = {**RESULT, "findings": [{"code": "pressure_low", "severity": "act"}]}
    told = outlook(home(), result, parse_forecast(daily(8.0, 9.0), "f.csv"))
    assert told.state == "holds"
    assert told.since is None
    assert told.findings == ("pressure_low",)


def test_what_is_not_known_is_said() -> None:
    told = outlook(home(), {**RESULT, "capacity": {}}, parse_forecast(daily(-5.0), "f.csv"))
    assert told.state == "not_known"
    assert "needs" in told.reason
    assert outlook(home(), None, parse_forecast(daily(-5.0), "f.csv")).reason == "no readings yet"


def test_a_cold_night_counts_by_the_mean_of_its_day() -> None:
    rows = [
        {
            "time": f"2026-01-{10 + h // 24}T{h % 24:02d}:00:00+00:00",
            "outdoor_c": -10.0 if h % 24 < 6 else 2.0,
        }
        for h in range(48)
    ]
    start, hourly = by_hour(parse_forecast(json.dumps(rows), "f.json"))
    assert (start.isoformat(), len(hourly)) == ("2026-01-10T00:00:00+00:00", 48)
    means = day_means(hourly)
    assert means[0] == -10.0
    assert means[-1] == pytest.approx(-1.0)
    assert np.min(means[23:]) == pytest.approx(-1.0)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("when,cold\n", "time and outdoor_c"),
        ("time,outdoor_c\n", "1 to 2000 rows"),
        ("time,outdoor_c\n2026-01-10T00:00:00,1\n", "row 1: time needs an offset"),
        ("time,outdoor_c\n2026-01-10T00:00:00+00:00,cold\n", "row 1: outdoor_c must be a number"),
        ("time,outdoor_c\n2026-01-10T00:00:00+00:00,nan\n", "row 1: outdoor_c must be a number"),
        (daily(1.0) + "2026-01-09T00:00:00+00:00,1\n", "row 2: time must be later"),
        ("time,outdoor_c\n2026-01-10T00:00:00+00:00,1\n2026-01-13T00:00:00+00:00,1\n", "row 2: comes 72 h"),
        (long_one(), "more than 90 days"),
        ("[1]", "each row must have time"),
        ("[{", "is not valid JSON"),
    ],
)
def test_a_forecast_that_cant_be_read_names_file_and_row(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says) as refused:
        parse_forecast(text, "f.csv")
    assert str(refused.value).startswith("f.csv")
