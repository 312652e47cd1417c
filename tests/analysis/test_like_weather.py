"""Comparison at comparable weather: an unchanged home shows no difference, a changed one its change."""

from __future__ import annotations

from datetime import date
from functools import cache

import numpy as np
import pytest

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.figures.like_weather import (
    LEAST_PERCENT,
    WIDEST_PERCENT,
    LikeWeather,
    like_weather,
)
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.collector.simulated.plant import random_plant, simulate

NOVEMBER, DECEMBER = (date(2024, 11, 1), date(2024, 11, 30)), (date(2024, 12, 1), date(2024, 12, 31))


@cache
def unchanged(seed: int) -> tuple[Site, Facts]:
    """A simulated home with nothing changed between two months of different weather."""
    made = simulate(random_plant(seed, "continental", "full", emitter="radiator"), NOVEMBER[0], 61)
    site = parse_site(made.site_toml)
    return site, build_facts(site, made.readings, NOVEMBER[0], DECEMBER[1])


def with_space(days: Table, factor: float) -> Table:
    """The same days with so much more electricity for the rooms."""
    columns = {name: days[name] for name in days.names}
    return Table(columns | {"electricity_space_kwh": days.floats("electricity_space_kwh") * factor})


@pytest.mark.parametrize("seed", [100201, 100202, 100205])
def test_an_unchanged_home_shows_no_difference_between_months(seed: int) -> None:
    site, facts = unchanged(seed)
    before, after = facts.between(*NOVEMBER).days, facts.between(*DECEMBER).days
    told = like_weather(site, before, after)
    assert told.outdoor_before is not None
    assert told.outdoor_after is not None
    assert abs(told.outdoor_before - told.outdoor_after) > 1.0, "the weather differs"
    plain = after.total("electricity_total_kwh") / before.total("electricity_total_kwh") - 1.0
    assert abs(plain) > 0.04, "the plain amounts differ"
    assert not LikeWeather.is_distinct(told.space_percent)
    if told.space_percent:
        assert told.space_percent.low is not None
        assert told.space_percent.high is not None
        assert told.space_percent.low < LEAST_PERCENT
        assert told.space_percent.high > -LEAST_PERCENT


@pytest.mark.parametrize("change", [-20.0, 25.0])
def test_a_change_is_told_at_its_size(change: float) -> None:
    site, facts = unchanged(100201)
    before, after = facts.between(*NOVEMBER).days, facts.between(*DECEMBER).days
    told = like_weather(site, before, with_space(after, 1.0 + change / 100.0)).space_percent
    assert told.value is not None
    assert told.low is not None
    assert told.high is not None
    assert LikeWeather.is_distinct(told)
    assert told.low < change < told.high
    assert (told.high - told.low) / 2.0 <= WIDEST_PERCENT


def test_months_without_like_days_are_not_compared() -> None:
    site, facts = unchanged(100201)
    before, after = facts.between(*NOVEMBER).days, facts.between(*DECEMBER).days
    columns = {name: after[name] for name in after.names}
    colder = Table(columns | {"outdoor": after.floats("outdoor") - 30.0})
    told = like_weather(site, before, colder)
    assert told.space_percent.value is None
    assert told.space_percent.reason
    assert told.as_dict()["space_percent"]["is_told"] is False


def test_a_span_without_days_has_its_reason() -> None:
    site, facts = unchanged(100201)
    none = facts.days.where(np.zeros(len(facts.days), dtype=bool))
    assert like_weather(site, none, facts.days).space_percent.reason == "no readings of one of the spans"


def test_only_an_interval_clear_of_habits_is_told() -> None:
    assert not LikeWeather.is_distinct(Estimate(-3.0, -7.0, -0.5))
    assert LikeWeather.is_distinct(Estimate(-6.0, -9.0, -3.0))
    assert not LikeWeather.is_distinct(Estimate.none("unknown"))
