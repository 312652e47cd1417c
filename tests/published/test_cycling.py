"""Starts and run lengths: the cycling law, and the field's distribution (reference 9.3)."""

from __future__ import annotations

import numpy as np
import pytest

from fieldfare.analysis.expectation.cycling import (
    FIELD_STARTS,
    cycle,
    field_rank,
    run_expected,
    starts_due,
)


def test_the_rate_follows_the_thermostats_law():
    """N = 4 Nmax x (1 - x); with Nmax 3 an hour runs last 10 minutes at half of the least output
    (textbook)."""
    litres = 1.0 / (4.0 * 3.0) / 0.00116 / 6.0  # so much water gives three starts an hour at most
    load = np.linspace(0.05, 0.95, 19)
    rate = cycle(load, litres, 6.0)
    assert rate.starts_per_hour == pytest.approx(4.0 * 3.0 * load * (1.0 - load))
    assert rate.run + rate.rest == pytest.approx(60.0 / rate.starts_per_hour)
    half = cycle(0.5, litres, 6.0)
    assert float(half.run) == pytest.approx(10.0)


def test_at_and_above_the_least_output_it_runs_through():
    through = cycle([0.0, 1.0, 1.4], 20.0, 6.0)
    assert list(through.starts_per_hour) == [0.0, 0.0, 0.0]
    assert np.isinf(through.run[1:]).all()


def test_a_usual_run_is_longer_than_makers_ask_for():
    """Makers ask for 6 to 10 minutes at least (reference 9.4, from memory)."""
    usual = run_expected(0.5)
    assert usual.low > 10.0


def test_a_winter_of_loads_gives_the_starts_and_runs_of_the_field():
    """127 air-source units: winter means of 4.1 to 12.8 starts a day in the middle half, nine in ten with a
    median run above 25 minutes (Applied Energy 350, 121734). Loads from a fifth of the least output to half
    as much again."""
    due = starts_due(np.linspace(0.5, 3.75, 60), 2.5)
    assert FIELD_STARTS[0.25] < due.middle < FIELD_STARTS[0.75]
    assert run_expected(0.5).middle > 25.0


@pytest.mark.parametrize(("starts", "share"), [(1.6, 0.10), (7.5, 0.50), (18.9, 0.95)])
def test_the_field_by_its_published_quantiles(starts, share):
    """127 air-source units, winter means (Applied Energy 350, 121734)."""
    assert field_rank(starts) == pytest.approx(share)
    assert FIELD_STARTS[share] == starts


def test_three_and_a_half_starts_a_day_are_few():
    assert field_rank(3.6) < 0.25
