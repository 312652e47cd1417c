"""Electricity against weather: statsmodels on the same days, known truth in drawn days, the published starts
rule."""

from __future__ import annotations

import csv

import numpy as np
import pytest

from fieldfare.analysis.facts.slots import LEVEL_W
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.figures.electricity_days import ElectricityDays, electricity_days, filled_with_zeros
from fieldfare.analysis.figures.electricity_runs import direct_heat, few_starts
from fieldfare.analysis.figures.electricity_signature import electricity_signature
from fieldfare.analysis.plant.load import parse_site
from tests.reference.swiss_unit import FILE, facts

FIRST = int(np.datetime64("2021-01-01").astype(int))
BASE, SLOPE, FROM_C = 6.0, 1.8, 15.5
SITE = parse_site('[site]\nid = "plain"\nname = "Plain"\ntimezone = "Europe/Zurich"\n')


def weather(rng: np.random.Generator, days: int = 365) -> np.ndarray:
    """Daily means of a year in central Europe: a yearly wave of 9 K about 9.5 °C and spells of some days."""
    spell = np.zeros(days)
    for n in range(1, days):
        spell[n] = 0.75 * spell[n - 1] + rng.normal(0.0, 2.3)
    return 9.5 - 9.0 * np.cos(2.0 * np.pi * (np.arange(days) - 15.0) / 365.0) + spell


def used(kwh: np.ndarray, outdoor: np.ndarray) -> ElectricityDays:
    n = len(kwh)
    return ElectricityDays(kwh, outdoor, FIRST + np.arange(n), "a meter", np.zeros(n, dtype=bool))


def drawn(rng: np.random.Generator, outdoor: np.ndarray, sd: float = 2.0, rho: float = 0.4) -> np.ndarray:
    """Electricity of the true line with days that resemble the day before."""
    noise = np.zeros(len(outdoor))
    for n in range(len(noise)):
        noise[n] = (rho * noise[n - 1] if n else 0.0) + rng.normal(0.0, sd * np.sqrt(1.0 - rho**2))
    return BASE + SLOPE * np.maximum(FROM_C - outdoor, 0.0) + noise


def test_line_and_statistics_are_those_of_statsmodels() -> None:
    """statsmodels' OLS on degrees below the same base temperature; CV(RMSE) and NMBE by ASHRAE Guideline 14
    with three parameters."""
    import statsmodels.api as sm  # slow, and of this test alone

    rng = np.random.default_rng(1)
    outdoor = weather(rng)
    kwh = drawn(rng, outdoor)
    found = electricity_signature(used(kwh, outdoor), None)
    assert found.base_temperature_c.value is not None
    below = np.maximum(found.base_temperature_c.value - outdoor, 0.0)
    ols = sm.OLS(kwh, sm.add_constant(below)).fit()
    assert found.base_kwh_per_day.value == pytest.approx(ols.params[0], rel=1e-6)
    assert found.slope_kwh_per_day_k.value == pytest.approx(ols.params[1], rel=1e-6)
    assert found.r_squared == pytest.approx(ols.rsquared, abs=1e-6)
    rmse = np.sqrt(np.sum(ols.resid**2) / (len(kwh) - 3))
    assert found.cv_rmse == pytest.approx(rmse / kwh.mean(), rel=1e-6)
    assert found.nmbe == pytest.approx(0.0, abs=1e-9)


def test_year_of_usual_weather_lies_in_its_interval() -> None:
    """60 homes seen for a year: the next year in the same weather, drawn anew, lies in the 95 % interval of
    90 to 100 %."""
    inside = 0
    for seed in range(60):
        rng = np.random.default_rng(100 + seed)
        outdoor = weather(rng)
        found = electricity_signature(used(drawn(rng, outdoor), outdoor), None).year_kwh
        again = float(drawn(rng, outdoor).sum())
        assert found.low is not None
        assert found.high is not None
        inside += found.low <= again <= found.high
    assert inside >= 54


def test_year_by_the_design_weather_is_that_of_the_bins() -> None:
    """EN 14825 season by hand: each bin's days times the line, the rest of the year at the base load."""
    from fieldfare.analysis.expectation.reference_weather import reference_weather

    rng = np.random.default_rng(3)
    outdoor = weather(rng)
    found = electricity_signature(used(drawn(rng, outdoor, sd=0.05), outdoor), -10.0)
    bins = reference_weather(-10.0)
    by_hand = 365.0 * BASE + float(np.sum(bins.days * SLOPE * np.maximum(FROM_C - bins.outdoor_c, 0.0)))
    assert found.year_kwh.value == pytest.approx(by_hand, rel=0.005)
    assert "average" in found.year_weather.lower()


@pytest.mark.parametrize("at", [45, 100, 300])
def test_steps_are_found_with_day_and_size(at: int) -> None:
    """A fifth more electricity from one day on, in 12 homes: all are found, day and size within their
    intervals in 10."""
    found = inside = 0
    for seed in range(12):
        rng = np.random.default_rng(seed)
        outdoor = weather(rng)
        kwh = drawn(rng, outdoor)
        step = 0.2 * float(kwh.mean())
        kwh[at:] += step
        change = electricity_signature(used(kwh, outdoor), None).change
        if change is None:
            continue
        found += 1
        size = change.kwh_per_day
        assert size.low is not None
        assert size.high is not None
        inside += change.low - FIRST <= at <= change.high - FIRST and size.low <= step <= size.high
    assert found == 12
    assert inside >= 10


def test_slide_is_found_as_one() -> None:
    rng = np.random.default_rng(8)
    outdoor = weather(rng)
    kwh = drawn(rng, outdoor, sd=1.0) + 8.0 * np.clip((np.arange(365) - 200.0) / 90.0, 0.0, 1.0)
    change = electricity_signature(used(kwh, outdoor), None).change
    assert change is not None
    assert change.kind == "slide"
    assert change.kwh_per_day.value == pytest.approx(8.0, rel=0.2)


def test_unchanged_homes_have_no_change() -> None:
    """Sun of spring included: 4 kWh a day less at midsummer's sun than in midwinter, where it heats. At most
    2 of 40."""
    told = 0
    for seed in range(40):
        rng = np.random.default_rng(500 + seed)
        outdoor = weather(rng)
        heating = np.minimum(np.maximum(FROM_C - outdoor, 0.0) / 3.0, 1.0)
        sun = 2.0 * (1.0 - np.cos(2.0 * np.pi * (np.arange(365) + 10.0) / 365.0)) * heating
        told += electricity_signature(used(drawn(rng, outdoor) - sun, outdoor), None).change is not None
    assert told <= 2


def test_without_warm_days_there_is_no_year_and_the_reason_is_said() -> None:
    rng = np.random.default_rng(11)
    outdoor = np.clip(weather(rng)[:60], -12.0, 10.0)
    found = electricity_signature(used(drawn(rng, outdoor, sd=0.5), outdoor), -10.0)
    assert found.slope_kwh_per_day_k.value == pytest.approx(SLOPE, rel=0.1)
    assert found.year_kwh.value is None
    assert "too warm to heat" in found.year_reason


def slots_table(zero_days: tuple[int, ...], partly: tuple[int, ...] = ()) -> Table:
    n = 40
    zero = np.zeros(n)
    zero[list(zero_days)] = 96
    zero[list(partly)] = 30
    return Table(
        {
            "day": (
                np.datetime64("2021-01-01", "us")
                + np.arange(n) * np.timedelta64(1, "D").astype("timedelta64[us]")
            ),
            "slots_known": np.full(n, 96.0),
            "slots_zero": zero,
            "minutes_total": np.full(n, 1440.0),
            "minutes_electricity_known": np.full(n, 1440.0),
            "electricity_total_kwh": np.where(zero == 96, 0.0, 20.0),
            "outdoor": np.full(n, 3.0),
        }
    )


def test_whole_days_of_zeros_are_lost_readings_and_a_cut_by_day_is_none() -> None:
    assert list(np.flatnonzero(filled_with_zeros(slots_table((13, 14))))) == [13, 14]
    assert not filled_with_zeros(slots_table((13, 14), partly=(12,))).any()
    assert not filled_with_zeros(slots_table((38, 39))).any(), "what goes on may be a supply that fails now"
    assert electricity_days(slots_table((13, 14))).known.sum() == 38


def levels(minutes: dict[float, float]) -> Table:
    """One day's row with minutes at powers [W]."""
    columns = {f"level.{n:02d}": np.zeros(1) for n in range(64)}
    for watts, n in minutes.items():
        columns[f"level.{int(watts // LEVEL_W):02d}"] += n
    return Table(
        {"day": np.array(["2021-01-01"], dtype="datetime64[us]"), "slot_minutes": np.full(1, 15.0), **columns}
    )


def test_heater_on_top_of_the_compressor_shows_as_a_step() -> None:
    """10,000 min at 2.6 kW and 1,000 min with a heater of 6 kW more: by hand 6 x 1,000 of 2.6 x 11,000 + 6 x
    1,000."""
    found = direct_heat(SITE, levels({50.0: 30_000, 2600.0: 9_000, 2400.0: 1_000, 8600.0: 1_000}))
    whole = 0.05 * 30_000 + 2.6 * 9_000 + 2.4 * 1_000 + 8.6 * 1_000
    assert found.step_kw == pytest.approx(6.0, abs=0.3)
    assert found.share.value == pytest.approx(6.0 * 1_000 / whole, rel=0.06)
    assert found.share.low is not None
    assert found.share.low <= found.share.value <= found.share.high  # type: ignore[operator]


def test_compressor_alone_shows_no_step() -> None:
    found = direct_heat(SITE, levels({50.0: 30_000} | {float(w): 1_500 for w in range(1000, 3100, 250)}))
    assert found.step_kw is None
    assert found.share.value == 0.0


@pytest.mark.skipif(not FILE.exists(), reason="the folder with open data is not beside the project")
def test_starts_of_a_real_unit_are_those_of_the_published_rule() -> None:
    """Brudermueller et al. (2023): on above 0.1 kWh a quarter hour. The count by the file's own rows is the
    truth."""
    with FILE.open() as file:
        rows = {r["Timestamp"]: float(r["Energy_kWh"]) for r in csv.DictReader(file)}
    on = [v > 0.1 for _, v in sorted(rows.items())]
    starts = sum(b and not a for a, b in zip([False, *on], on, strict=False))
    days = facts().days
    assert days.total("slot_starts") == pytest.approx(starts, abs=3)
    told = few_starts(days)
    assert told.interval_min == 15.0
    assert told.rank == pytest.approx(0.5, abs=0.05)
