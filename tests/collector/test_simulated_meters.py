"""Meters of the simulated plant: exact integrals, errors within their class, readings by the contract."""

from datetime import date

import numpy as np
import pytest

from fieldfare.analysis.plant.load import parse_site
from fieldfare.collector.simulated.design.schedule import span_of
from fieldfare.collector.simulated.metering import meters
from fieldfare.collector.simulated.metering.meter_sets import SETS
from fieldfare.collector.simulated.plant import random_plant, simulate, with_meters
from fieldfare.collector.simulated.step.engine import run_plant

START, DAYS = date(2025, 1, 6), 12


@pytest.fixture(scope="module")
def perfect():
    return simulate(random_plant(4, "mild", "full", meter_errors=False), START, DAYS)


def span(samples):
    return float(samples.value[-1] - samples.value[0])


def test_perfect_registers_equal_the_truth(perfect):
    spec, truth = perfect.spec, perfect.truth
    for meter in spec.meters:
        if meter.kind != "register" or meter.quantity not in {"heat_pump_electricity", "heat_output"}:
            continue
        # the first reading stands a minute in, so the truth of that minute is missing
        first = {"heat_pump_electricity": "comp", "heat_output": "heat"}[meter.quantity]
        expected = truth.kwh["heat_pump"] if meter.quantity == "heat_pump_electricity" else truth.kwh["heat"]
        if "circulation_pump" in meter.includes:
            expected += truth.kwh["pump"]
        slack = meter.resolution + abs(float(truth.minutes[first][0])) / 6e4 + 0.002
        assert span(perfect.readings[meter.id]) == pytest.approx(expected, abs=slack)


@pytest.mark.parametrize("seed", [4, 5, 11])
def test_register_power_and_interval_of_one_meter_agree(seed):
    spec = random_plant(seed, "mild", "rich")
    trace = run_plant(spec, span_of(START, DAYS, spec.climate.timezone))
    for number, meter in enumerate(spec.meters):
        if meter.kind != "register":
            continue
        power = meters.metered_power(spec, trace, meter)
        register = meters.read(spec, trace, meter, number)
        total = np.cumsum(power) / 6e4 + meter.start_value
        assert np.all(register.value <= total + 1e-6)
        assert np.all(total - register.value < meter.resolution + 1e-6)
        every = meter.every_s
        interval = meters.read(
            spec, trace, meters.replace(meter, kind="interval", resolution=0.0, every_s=900), number
        )
        assert interval.value.sum() == pytest.approx(power.sum() / 6e4, rel=1e-9)
        assert every == 60


def test_start_and_end_stamps_differ_by_the_interval():
    spec = random_plant(4, "mild", "electricity_15min", meter_errors=False)
    trace = run_plant(spec, span_of(START, 2, spec.climate.timezone))
    start = meters.read(spec, trace, spec.meters[0], 0)
    end = meters.read(spec, trace, meters.replace(spec.meters[0], stamp="end"), 0)
    assert np.array_equal(start.value, end.value)
    assert np.all(end.time - start.time == 900_000)
    assert start.time[0] == int(span_of(START, 2, spec.climate.timezone).start.timestamp() * 1000)


@pytest.mark.parametrize("seed", range(40, 60))
def test_heat_meter_errors_lie_inside_en_1434(seed):
    spec = random_plant(seed, "mild", "rich")
    heat = next(m for m in spec.meters if m.id == "heat")
    flow = {"1": 0.0102, "2": 0.0204, "3": 0.031}[heat.meter_class]
    # flow sensor at half of qp, pair and calculator at 3 K least difference, summed as EN 1434-1 does
    assert abs(heat.gain - 1.0) <= flow + 0.005 + 0.005 + 1e-3
    assert abs(heat.offset) <= 0.12
    elec = next(m for m in spec.meters if m.id == "hp_elec")
    assert abs(elec.gain - 1.0) <= {"A": 0.02, "B": 0.01, "C": 0.005}[elec.meter_class]
    # the register and the power are one meter
    assert next(m for m in spec.meters if m.id == "heat_kwh").gain == heat.gain


def test_heat_power_is_flow_times_difference_of_its_own_readings():
    s = simulate(random_plant(21, "mild", "rich"), START, 3)
    r = {k: dict(zip(v.time.tolist(), v.value.tolist(), strict=True)) for k, v in s.readings.items()}
    common = sorted(set(r["heat"]) & set(r["flow_temp"]) & set(r["return_temp"]) & set(r["flow_rate"]))
    pairs = [
        (r["heat"][t], r["flow_rate"][t] * 1154.0 * (r["flow_temp"][t] - r["return_temp"][t])) for t in common
    ]
    steady = [(h, q) for h, q in pairs if h > 2500.0]
    assert len(steady) > 300
    assert np.median([q / h for h, q in steady]) == pytest.approx(1.0, abs=0.03)


@pytest.mark.parametrize("name", SETS)
def test_every_set_reads_and_declares_itself(name):
    spec = with_meters(random_plant(2, "continental", hot_water=True), name)
    s = simulate(spec, date(2025, 1, 20), 16)
    site = parse_site(s.site_toml)
    assert {p.id for p in site.point} == set(s.readings) == {m.id for m in spec.meters}
    for meter in spec.meters:
        samples = s.readings[meter.id]
        assert samples.time.dtype == np.int64
        assert np.all(np.diff(samples.time) > 0)
        assert len(samples.time) >= 2
        if meter.quantity != "fault_code":
            assert samples.value.dtype == np.float64
            assert np.all(np.isfinite(samples.value))


def test_readings_are_lost_at_random_and_in_outages():
    spec = random_plant(6, "mild", "rich")
    kept = [len(samples.time) for samples in simulate(spec, START, 40).readings.values()]
    assert all(0.97 < n / (40 * 1440) <= 1.0 for n in kept)
    assert any(n < 40 * 1440 for n in kept)


def test_ten_second_readings():
    s = simulate(random_plant(6, "mild", "rich", every_s=10), START, 2)
    assert 0.97 * 2 * 8640 < len(s.readings["hp_elec"].time) <= 2 * 8640
    assert np.median(np.diff(s.readings["hp_elec"].time)) == 10_000


def test_monthly_registers_are_read_on_the_first():
    s = simulate(random_plant(6, "mild", "monthly", meter_errors=False), date(2024, 11, 1), 100)
    days = [str(t.astype("datetime64[ms]").astype("datetime64[D]")) for t in s.readings["heat_kwh"].time]
    assert days == ["2024-11-01", "2024-12-01", "2025-01-01", "2025-02-01"]


def test_unknown_set_and_climate_are_refused():
    with pytest.raises(ValueError, match="meter_set"):
        random_plant(1, "mild", "everything")
    with pytest.raises(ValueError, match="climate"):
        random_plant(1, "tropical")
