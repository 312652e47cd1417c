"""Readings of every form and spacing on the minute grid: energy is conserved, unmeasured minutes are
unknown."""

from __future__ import annotations

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.tables import join
from fieldfare.analysis.minutes.grid import build_grid, local_midnight
from fieldfare.analysis.minutes.resampling import interval_of_changes
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Samples
from fieldfare.collector.simulated.plant import random_plant, simulate
from tests.analysis.plain import FIRST, every_minute, facts_of, point, site_of

MINUTE = 60_000
DAY = 1440


def stamps(site, first: date, days: int, every_s: float) -> np.ndarray:
    begin, end = local_midnight(site, first), local_midnight(site, first + timedelta(days))
    return np.arange(begin, end + 1, int(every_s * 1000), dtype=np.int64)


# ---- gauges


def test_readings_of_ten_seconds_become_means_of_the_minute():
    site = site_of([point("flow_temperature", "gauge")])
    time = stamps(site, FIRST, 1, 10)
    value = 30.0 + (time // 10_000 % 6)  # 30 to 35 within each minute
    grid = build_grid(site, {"flow_temperature": Samples(time, value)}, FIRST, FIRST)
    assert grid.spacing["flow_temperature"] == pytest.approx(1 / 6)
    assert grid.gauge("flow_temperature") == pytest.approx(np.full(DAY, 32.5))


@pytest.mark.parametrize("every_min", [1, 15, 60])
def test_a_gauge_runs_straight_between_its_readings(every_min):
    site = site_of([point("outdoor_temperature", "gauge")])
    time = stamps(site, FIRST, 1, 60 * every_min)
    slope = (time - time[0]) / MINUTE / 100.0
    grid = build_grid(site, {"outdoor_temperature": Samples(time, slope)}, FIRST, FIRST)
    assert grid.gauge("outdoor_temperature") == pytest.approx(np.arange(DAY) / 100.0)
    assert grid.seen["outdoor_temperature"].all()


def pulses() -> np.ndarray:
    """Flow of a pump that runs a quarter of an hour some times a day, by minute."""
    flow = np.zeros(DAY)
    for begin in range(100, DAY - 100, 137):
        flow[begin : begin + 15] = 1.2
    return flow


def sent_on_change(time: np.ndarray, value: np.ndarray) -> Samples:
    """Only what changed, and a sign of life on every hour."""
    new = np.diff(value, prepend=np.nan) != 0.0
    keep = new | (time // MINUTE % 60 == 0)
    return Samples(time[keep], value[keep])


@pytest.mark.parametrize("quantity", ["flow_rate", "compressor_speed"])
def test_what_is_sent_only_on_change_holds_until_its_next_reading(quantity):
    site = site_of([point(quantity, "gauge")])
    time, value = stamps(site, FIRST, 1, 60)[:DAY], pulses()
    grid = build_grid(site, {quantity: sent_on_change(time, value)}, FIRST, FIRST)
    assert grid.gauge(quantity)[: DAY - 60] == pytest.approx(value[: DAY - 60])
    assert grid.spacing[quantity] <= 15.0


def test_a_pump_that_rests_nearly_all_day_is_sent_on_change() -> None:
    """Signs of life ten minutes after the last reading, whatever that was; each charge begins in between."""
    site = site_of([point("flow_rate", "gauge")])
    time, value = stamps(site, FIRST, 1, 60)[:DAY], np.zeros(DAY)
    for begin in (203, 497, 788, 1091):
        value[begin : begin + 28] = 0.73
        value[begin + 28 : begin + 34] = np.linspace(0.6, 0.1, 6)
    kept = [0]
    for i in range(1, DAY):
        if value[i] != value[kept[-1]] or i - kept[-1] >= 10:
            kept.append(i)
    grid = build_grid(site, {"flow_rate": Samples(time[kept], value[kept])}, FIRST, FIRST)
    assert grid.gauge("flow_rate")[: DAY - 10] == pytest.approx(value[: DAY - 10])


def test_a_gauge_read_every_ten_minutes_is_not_taken_for_one_sent_on_change() -> None:
    site = site_of([point("flow_rate", "gauge")])
    time = stamps(site, FIRST, 1, 600)
    value = np.where(np.arange(len(time)) % 30 < 3, 0.7 + 0.01 * np.arange(len(time)), 0.0)
    grid = build_grid(site, {"flow_rate": Samples(time, value)}, FIRST, FIRST)
    assert grid.spacing["flow_rate"] == pytest.approx(10.0)


def test_a_sampled_gauge_that_stands_still_is_not_taken_for_one_sent_on_change():
    site = site_of([point("flow_rate", "gauge")])
    time, value = stamps(site, FIRST, 1, 60)[:DAY], pulses()
    lost = (np.arange(DAY) % 137 > 60) & (np.arange(DAY) % 137 < 90)
    grid = build_grid(site, {"flow_rate": Samples(time[~lost], value[~lost])}, FIRST, FIRST)
    assert np.isnan(grid.gauge("flow_rate")[lost]).mean() > 0.5


def test_a_silence_longer_than_the_points_own_rhythm_is_unknown():
    site = site_of([point("outdoor_temperature", "gauge")])
    time = stamps(site, FIRST, 1, 60)
    lost = (time >= time[0] + 600 * MINUTE) & (time < time[0] + 700 * MINUTE)
    grid = build_grid(
        site, {"outdoor_temperature": Samples(time[~lost], np.full((~lost).sum(), 5.0))}, FIRST, FIRST
    )
    known = np.isfinite(grid.gauge("outdoor_temperature"))
    assert (~known).sum() == pytest.approx(100, abs=5)
    assert not known[610:690].any()
    assert known[:590].all()
    assert known[705:].all()


def test_two_sensors_of_one_zone_are_averaged_and_zones_stay_apart():
    sensors = [
        point("room_temperature", "gauge", name=n, extra=f'zone = "{z}"')
        for n, z in (("a", "up"), ("b", "up"), ("c", "down"))
    ]
    site = site_of(sensors)
    grid = build_grid(site, every_minute(site, {"a": 20.0, "b": 22.0, "c": 18.0}, days=1), FIRST, FIRST)
    assert grid.zones["room_temperature"]["up"][100] == pytest.approx(21.0)
    assert grid.zones["room_temperature"]["down"][100] == pytest.approx(18.0)


def test_a_state_keeps_its_last_word_until_the_next():
    site = site_of([point("operating_mode", "state")])
    time = stamps(site, FIRST, 1, 600)
    word = np.where(np.arange(len(time)) < 72, 1.0, 2.0)
    mode = build_grid(site, {"operating_mode": Samples(time, word)}, FIRST, FIRST).gauge("operating_mode")
    assert set(np.unique(mode)) == {1.0, 2.0}
    assert (mode == 1.0).sum() == 720


def test_fahrenheit_and_kilopascal_are_turned_into_our_units():
    site = site_of([point("flow_temperature", "gauge", "degF"), point("system_pressure", "gauge", "kPa")])
    grid = build_grid(
        site, every_minute(site, {"flow_temperature": 95.0, "system_pressure": 150.0}, days=1), FIRST, FIRST
    )
    assert grid.gauge("flow_temperature")[0] == pytest.approx(35.0)
    assert grid.gauge("system_pressure")[0] == pytest.approx(1.5)


def test_what_no_such_sensor_shows_is_left_out_and_told_once_a_day():
    site = site_of([point("flow_temperature", "gauge")])
    readings = every_minute(site, {"flow_temperature": 35.0}, days=2)
    readings["flow_temperature"].value[[100, 200, DAY + 300]] = 140.0
    grid = build_grid(site, readings, FIRST, FIRST + timedelta(1))
    assert np.nanmax(grid.gauge("flow_temperature")) == pytest.approx(35.0)
    told = [(o.kind, round(o.amount * DAY)) for o in grid.anomalies]
    assert told == [("unlikely", 2), ("unlikely", 1)]


# ---- powers, intervals, registers


@pytest.mark.parametrize("every_min", [0.5, 1, 5, 15, 60])
def test_a_power_read_at_any_spacing_gives_its_energy(every_min):
    site = site_of([point("heat_pump_electricity", unit="kW")])
    time = stamps(site, FIRST, 1, 60 * every_min)
    grid = build_grid(site, {"heat_pump_electricity": Samples(time, np.full(len(time), 2.0))}, FIRST, FIRST)
    assert grid.energy["heat_pump_electricity"].sum() == pytest.approx(48_000.0)
    assert grid.power("heat_pump_electricity")[7] == pytest.approx(2000.0)


@pytest.mark.parametrize("stamp", ["start", "end"])
def test_an_interval_lies_after_its_start_or_before_its_end(stamp):
    site = site_of([point("heat_pump_electricity", "interval", "kWh", extra=f'stamp = "{stamp}"')])
    time = stamps(site, FIRST, 1, 900)
    time = time[:-1] if stamp == "start" else time[1:]
    energy = np.zeros(96)
    energy[40] = 0.5  # from 10:00 to 10:15
    wh = build_grid(site, {"heat_pump_electricity": Samples(time, energy)}, FIRST, FIRST).energy[
        "heat_pump_electricity"
    ]
    assert np.nansum(wh) == pytest.approx(500.0)
    assert np.flatnonzero(wh > 1e-6).tolist() == list(range(600, 615))


@pytest.mark.parametrize("stamp", ["start", "end"])
def test_a_logger_set_from_quarter_hours_to_hours_loses_nothing(stamp):
    site = site_of([point("heat_pump_electricity", "interval", "kWh", extra=f'stamp = "{stamp}"')])
    quarters, hours = stamps(site, FIRST, 1, 900), stamps(site, FIRST + timedelta(1), 1, 3600)
    cut = slice(None, -1) if stamp == "start" else slice(1, None)
    quarters, hours = quarters[cut], hours[cut]
    energy = np.concatenate((np.full(len(quarters), 0.25), np.full(len(hours), 1.0)))
    readings = {"heat_pump_electricity": Samples(np.concatenate((quarters, hours)), energy)}
    grid = build_grid(site, readings, FIRST, FIRST + timedelta(1))
    assert np.nansum(grid.energy["heat_pump_electricity"]) == pytest.approx(48_000.0)
    assert grid.seen["heat_pump_electricity"].mean() > 0.99


def test_an_interval_before_a_gap_keeps_its_own_length():
    site = site_of([point("heat_output", "interval", "kWh")])
    time = stamps(site, FIRST, 1, 900)[:-1]
    keep = np.ones(96, dtype=bool)
    keep[41:60] = False
    grid = build_grid(site, {"heat_output": Samples(time[keep], np.full(keep.sum(), 0.25))}, FIRST, FIRST)
    wh = grid.energy["heat_output"]
    assert np.nansum(wh) == pytest.approx(keep.sum() * 250.0, rel=0.01)
    assert np.isnan(wh[640:890]).all()


@pytest.mark.parametrize(("every_min", "digit"), [(1, 0.01), (1, 0.1), (15, 0.1), (60, 1.0)])
def test_a_registers_energy_is_exact_whatever_its_last_digit(every_min, digit):
    site = site_of([point("heat_output", "register", "kWh")])
    time = stamps(site, FIRST - timedelta(1), 3, 60 * every_min)
    total = 4000.0 + (time - time[0]) / 3_600_000 * 4.0
    shown = np.floor(total / digit + 1e-9) * digit
    grid = build_grid(site, {"heat_output": Samples(time, shown)}, FIRST, FIRST)
    assert grid.energy["heat_output"].sum() == pytest.approx(96_000.0, abs=1000.0 * digit + 1e-6)
    assert "heat_output" in grid.from_register


def test_a_registers_gap_is_known_in_all_and_unseen():
    site = site_of([point("heat_output", "register", "kWh")])
    time = stamps(site, FIRST, 2, 60)
    total = (time - time[0]) / 3_600_000 * 3.0
    keep = (time < time[0] + 600 * MINUTE) | (time > time[0] + 1800 * MINUTE)
    grid = build_grid(site, {"heat_output": Samples(time[keep], total[keep])}, FIRST, FIRST + timedelta(1))
    assert grid.energy["heat_output"].sum() == pytest.approx(3000.0 * 48)
    assert not grid.seen["heat_output"][700:1700].any()


def test_a_power_beside_a_register_gives_the_shape_and_the_register_the_total():
    site = site_of(
        [
            point("heat_pump_electricity", "power", "W", "p"),
            point("heat_pump_electricity", "register", "kWh", "r"),
        ]
    )
    time = stamps(site, FIRST, 1, 60)
    on = (np.arange(len(time)) // 30) % 2 == 0
    watts = np.where(on, 2000.0, 0.0)
    total = (
        np.concatenate(([0.0], np.cumsum(watts[:-1] / 60.0 / 1000.0))) * 1.05
    )  # the power reads 5 % too little
    grid = build_grid(site, {"p": Samples(time, watts), "r": Samples(time, 100.0 + total)}, FIRST, FIRST)
    wh = grid.energy["heat_pump_electricity"]
    assert wh.sum() == pytest.approx(24_000.0 * 1.05, rel=1e-3)
    assert wh[~on[:-1]].max() == pytest.approx(0.0, abs=1e-6)
    assert wh[on[:-1]].mean() * 60 == pytest.approx(2100.0, rel=0.01)


def test_a_heat_register_that_counts_only_forward_still_loses_what_defrosts_draw_back():
    site = site_of([point("heat_output", "power", "W", "p"), point("heat_output", "register", "kWh", "r")])
    time = stamps(site, FIRST, 1, 60)
    watts = np.full(len(time), 6000.0)
    minute = np.arange(len(time)) % 90
    watts[minute < 5] = -4000.0
    forward = np.concatenate(([0.0], np.cumsum(np.maximum(watts[:-1], 0.0) / 60_000.0)))
    grid = build_grid(site, {"p": Samples(time, watts), "r": Samples(time, forward)}, FIRST, FIRST)
    assert grid.energy["heat_output"].sum() == pytest.approx(watts[:-1].sum() / 60.0, rel=0.005)


def test_two_meters_of_one_quantity_add_up():
    site = site_of([point("immersion_electricity", "power", "W", n) for n in ("lower", "upper")])
    grid = build_grid(site, every_minute(site, {"lower": 1000.0, "upper": 500.0}, days=1), FIRST, FIRST)
    assert grid.power("immersion_electricity")[10] == pytest.approx(1500.0)


def test_counters_are_counted_by_day():
    site = site_of([point("heat_pump_electricity"), point("compressor_starts", "register", "count")])
    readings = every_minute(site, {"heat_pump_electricity": 500.0, "compressor_starts": 0.0}, days=2)
    n = len(readings["compressor_starts"].time)
    readings["compressor_starts"].value[:] = 2000 + np.arange(n) // 360  # one each six hours
    days = facts_of(site, readings, 2).days
    assert days["compressor_starts_counted"].sum() == pytest.approx(7.0, abs=1.01)


def test_a_register_read_by_hand_each_month_tells_the_energy_of_every_day_between():
    site = site_of(
        [point("heat_pump_electricity", "register", "kWh"), point("heat_output", "register", "kWh")]
    )
    firsts = [date(2025, m, 1) for m in (9, 10, 11, 12)] + [date(2026, m, 1) for m in (1, 2, 3, 4)]
    time = np.array([local_midnight(site, d) for d in firsts], dtype=np.int64)
    hours = (time - time[0]) / 3_600_000
    readings = {
        "heat_pump_electricity": Samples(time, 700.0 + 0.5 * hours),
        "heat_output": Samples(time, 90.0 + 1.5 * hours),
    }
    facts = build_facts(site, readings, date(2025, 9, 1), date(2026, 3, 31))
    assert facts.days["electricity_total_kwh"].sum() == pytest.approx(0.5 * hours[-1], rel=1e-6)
    assert facts.days["heat_total_kwh"].sum() == pytest.approx(1.5 * hours[-1], rel=1e-6)
    assert facts.days["electricity_total_kwh"].min() > 0


# ---- days and spans


@pytest.mark.parametrize(
    ("day", "minutes"), [(date(2025, 3, 30), 23 * 60), (date(2025, 10, 26), 25 * 60), (date(2025, 6, 1), DAY)]
)
def test_local_days_have_their_own_length(day, minutes):
    site = site_of([point("heat_pump_electricity", unit="W")])
    readings = every_minute(site, {"heat_pump_electricity": 1000.0}, days=3, first=day - timedelta(1))
    days = build_facts(site, readings, day, day).days
    assert int(days["minutes_total"][0]) == minutes
    assert days["electricity_total_kwh"][0] == pytest.approx(minutes / 60.0)


def test_a_day_begins_at_local_midnight():
    site = site_of([point("outdoor_temperature", "gauge")])
    begin = local_midnight(site, date(2025, 7, 1))
    assert pd.Timestamp(begin, unit="ms", tz="UTC").tz_convert(ZoneInfo("Europe/London")).hour == 0
    assert pd.Timestamp(begin, unit="ms", tz="UTC").hour == 23


# Coarse registers show a run's edges to their last digit only: which minute it falls in depends on its
# neighbours.
_EDGES = {"basic": 0.35}


@pytest.mark.parametrize("meters", ["rich", "interval_15min", "basic"])
def test_days_made_one_by_one_equal_the_season_made_at_once(meters):
    """Across the change of the clocks, with a season's spans of their own."""
    first, count = date(2024, 3, 22), 16
    sim = simulate(random_plant(7, meter_set=meters), first, count)
    site = parse_site(sim.site_toml)
    whole = build_facts(site, sim.readings, first, first + timedelta(count - 1)).days
    single = join(
        build_facts(site, sim.readings, first + timedelta(n), first + timedelta(n)) for n in range(count)
    ).days
    assert list(whole["day"]) == list(single["day"])
    for name in (
        "electricity_total_kwh",
        "heat_total_kwh",
        "paired_heat_kwh",
        "outdoor",
        "minutes_any_known",
        "raw.outdoor",
        "moves.outdoor",
        "air_noon",
    ):
        assert whole[name] == pytest.approx(single[name], rel=1e-6, abs=0.06, nan_ok=True), name
    for name in ("carnot_heat_kwh", "carnot_least_kwh", "electricity_idle_kwh"):
        assert whole[name] == pytest.approx(single[name], rel=0.01, abs=0.1, nan_ok=True), name
    loose = _EDGES.get(meters, 1e-6)
    for name in ("minutes_running", "minutes_heating", "idle_power"):
        assert whole[name] == pytest.approx(single[name], rel=loose, abs=5, nan_ok=True), name


def test_notices_of_a_gap_and_a_stuck_sensor_are_the_same_made_day_by_day():
    site = site_of(
        [
            point("heat_pump_electricity"),
            point("flow_temperature", "gauge"),
            point("outdoor_temperature", "gauge"),
        ]
    )
    days = 6
    readings = every_minute(
        site, {"heat_pump_electricity": 1500.0, "flow_temperature": 35.0, "outdoor_temperature": 4.0}, days
    )
    n = len(readings["flow_temperature"].time)
    readings["flow_temperature"].value[:] = 35.0 + np.arange(n) % 7
    readings["outdoor_temperature"].value[:] = 4.0 + np.arange(n) % 5
    readings["flow_temperature"].value[DAY + 600 : 3 * DAY + 600] = 33.3
    keep = np.ones(n, dtype=bool)
    keep[4 * DAY : 4 * DAY + 900] = False
    readings = {p: Samples(s.time[keep], s.value[keep]) for p, s in readings.items()}
    whole = facts_of(site, readings, days).notices
    single = join(
        build_facts(site, readings, FIRST + timedelta(k), FIRST + timedelta(k)) for k in range(days)
    ).notices
    pd.testing.assert_frame_equal(whole.frame(), single.frame())
    assert (whole["kind"] == "stuck").sum() == 3
    assert whole.where(whole["kind"] == "stuck").total("amount") == pytest.approx(48.0, abs=0.1)
    assert (whole["amount"][whole["kind"] == "gap"] > 880).all()


WORDS_FOR_NOTHING = [65535.0, -32768.0, 32767.0, 6553.5, -999.0]


@pytest.mark.parametrize("word", WORDS_FOR_NOTHING)
@pytest.mark.parametrize("count", [1, 600])
def test_a_gateways_word_for_no_value_is_no_heat(word, count):
    site = site_of([point("heat_output")])
    readings = every_minute(site, {"heat_output": 0.0}, 2)
    watts = readings["heat_output"].value
    watts[:] = 2000.0 + np.arange(len(watts)) % 50
    watts[700 : 700 + count] = word
    grid = build_grid(site, readings, FIRST, FIRST + timedelta(1))
    wh = grid.energy["heat_output"]
    assert float(np.nanmax(wh)) <= 2050.0 / 60.0
    assert float(np.nanmin(wh)) >= 2000.0 / 60.0
    assert [a.kind for a in grid.anomalies] == ["unlikely"]


def test_a_number_that_equals_such_a_word_beside_its_like_is_kept():
    site = site_of([point("heat_output")])
    readings = every_minute(site, {"heat_output": 0.0}, 1)
    watts = readings["heat_output"].value
    watts[:] = np.round(6500.0 + 0.5 * (np.arange(len(watts)) % 200), 1)
    grid = build_grid(site, readings, FIRST, FIRST)
    assert 6553.5 in watts
    assert not grid.anomalies


def on_change(value, step):
    """Minutes and values that a gateway sends when they change by a step, without signs of life."""
    kept = np.round(value / step) * step
    new = np.append(True, kept[1:] != kept[:-1])
    return np.flatnonzero(new), kept[new]


def test_power_and_flow_sent_on_change_without_any_repeat_hold_until_the_next():
    flow, el, air = "flow_rate", "heat_pump_electricity", "outdoor_temperature"
    site = site_of([point(el), point(flow, "gauge"), point(air, "gauge")])
    days = 5
    minute = np.arange(days * DAY)
    runs = (minute % 240 < 90) & (minute % DAY > 300)  # and five hours' rest a night
    watts = np.where(runs, 1500.0 + 100.0 * (minute // 7 % 5), 10.0)
    outdoor = 5.0 + 3.0 * np.sin(minute / 229.0)
    start = every_minute(site, {air: 0.0}, 1)[air].time[0]
    readings = {}
    for name, value, step in ((el, watts, 10.0), (flow, np.where(runs, 1.2, 0.0), 0.1), (air, outdoor, 0.1)):
        at, kept = on_change(value, step)
        readings[name] = Samples(start + at * MINUTE, kept)
    grid = build_grid(site, readings, FIRST, FIRST + timedelta(days - 1))
    known = slice(0, int(minute[-1]) - 300)
    assert float(np.nansum(grid.energy[el][known])) == pytest.approx(
        float(watts[known].sum()) / 60.0, rel=0.005
    )
    assert float(np.nanmean(np.abs(grid.sample(flow)[known] - np.where(runs, 1.2, 0.0)[known]))) < 0.02
    # Six hours in which nothing at all is heard are a gap, not a value that stays.
    gone = (2 * DAY + 310, 2 * DAY + 670)
    first, last = (start + minutes * MINUTE for minutes in gone)
    keep = {p: (s.time <= first) | (s.time >= last) for p, s in readings.items()}
    cut = {p: Samples(s.time[keep[p]], s.value[keep[p]]) for p, s in readings.items()}
    silent = build_grid(site, cut, FIRST, FIRST + timedelta(days - 1))
    assert float(np.isnan(silent.energy[el][gone[0] + 5 : gone[1] - 5]).mean()) > 0.8


def test_fine_readings_with_nightly_gaps_are_not_sent_on_change():
    el = "heat_pump_electricity"
    site = site_of([point(el)])
    time = every_minute(site, {el: 0.0}, 12)[el].time
    n = len(time)
    value = 1500.0 + np.random.default_rng(3).normal(0.0, 200.0, n)
    keep = np.arange(n) % DAY > 400
    grid = build_grid(site, {el: Samples(time[keep], value[keep])}, FIRST, FIRST + timedelta(11))
    assert float(np.isnan(grid.energy[el]).mean()) > 0.25


def by_dead_band(value, band):
    """Minutes and values that a gateway sends as soon as the value has moved by a dead band."""
    at = [0]
    for i, now in enumerate(value):
        if abs(now - value[at[-1]]) >= band:
            at.append(i)
    return np.array(at), value[at]


@pytest.mark.parametrize("band", [5.0, 30.0, 100.0])
@pytest.mark.parametrize("noise", [0.0, 0.2])
def test_fine_values_sent_past_a_dead_band_hold_until_the_next(band, noise):
    """Sampling by send-on-delta, the usual way of gateways (common practice)."""
    el, days = "heat_pump_electricity", 12
    site = site_of([point(el)])
    minute = np.arange(days * DAY)
    runs = (minute % 240 < 90) & (minute % DAY > 300)
    watts = np.where(runs, 1300.0 + 300.0 * np.sin(minute / 229.0) + 2.0 * (minute % 240), 12.0)
    watts += np.random.default_rng(1).normal(0.0, 1.0, len(watts)) * noise * band
    at, sent = by_dead_band(watts, band)
    start = every_minute(site, {el: 0.0}, 1)[el].time[0]
    grid = build_grid(site, {el: Samples(start + at * MINUTE, sent)}, FIRST, FIRST + timedelta(days - 1))
    until = at[-1]
    # A value that is held may be off by the band, on average by half of it.
    assert float(np.nansum(grid.energy[el][:until])) == pytest.approx(
        float(watts[:until].sum()) / 60.0, abs=0.5 * band * until / 60.0
    )
    assert float(np.isfinite(grid.energy[el][:until]).mean()) > 0.99


@pytest.mark.parametrize("every", [2, 5, 15])
@pytest.mark.parametrize("lost", [0.0, 0.1])
def test_a_smooth_value_sampled_unevenly_keeps_no_dead_band(every, lost):
    rng = np.random.default_rng(2)
    minute = np.arange(0, 20 * DAY, every)
    at = minute * MINUTE + rng.integers(-every * 15_000, every * 15_000, len(minute))
    value = 35.0 + 8.0 * np.sin(minute / 311.0) + 0.5 * np.sin(minute / 17.0)
    keep = rng.random(len(at)) >= lost
    assert interval_of_changes(Samples(at[keep], value[keep])) is None


def test_a_total_declared_as_the_energy_of_intervals_is_left_out_and_told():
    """A total of 12 MWh is no energy of a quarter of an hour."""
    heat = "heat_output"
    site = site_of([point(heat, "interval", unit="MWh")])
    time = every_minute(site, {heat: 0.0}, 3)[heat].time[::15]
    grid = build_grid(site, {heat: Samples(time, 12.0 + 0.001 * np.arange(len(time)))}, FIRST, FIRST)
    assert np.isnan(grid.energy[heat]).all()
    assert {a.kind for a in grid.anomalies} == {"unlikely"}
