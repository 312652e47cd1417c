"""Facts tables."""

from __future__ import annotations

from datetime import date
from typing import Literal

import numpy as np
import pandas as pd
import pytest

from fieldfare.analysis.facts.table import (
    Table,
    day_of_year,
    fill_nan,
    group_by_day,
    joined,
)

NAN = np.nan
DAY = np.datetime64("2025-02-27", "us") + np.arange(4).astype("timedelta64[D]")


def small() -> Table:
    return Table({"day": DAY, "heat": [1.0, NAN, 3.0, 5.0], "starts": [1, 2, 3, 4], "site": 7})


def test_a_single_value_stands_for_every_row() -> None:
    assert small()["site"].tolist() == [7, 7, 7, 7]
    assert len(small()) == 4


def test_columns_of_other_lengths_are_refused() -> None:
    with pytest.raises(ValueError, match="'b' has 2 rows, not 3"):
        Table({"a": [1, 2, 3], "b": [1, 2]})


def test_what_is_unknown_does_not_count() -> None:
    """As pandas, which is the reference here, leaves it out."""
    table, frame = small(), small().frame()
    assert table.total("heat") == frame["heat"].sum()
    assert table.mean("heat") == frame["heat"].mean()
    assert table.median("heat") == frame["heat"].median()
    assert table.total("starts") == 10.0


def test_nothing_known_is_nothing_and_not_an_error() -> None:
    empty = small().where(slice(1, 2))
    assert empty.total("heat") == 0.0
    assert np.isnan(empty.mean("heat"))
    assert np.isnan(empty.median("heat"))
    assert not empty.knows("heat")
    assert not empty.knows("flow")
    assert small().knows("heat")


def test_a_column_that_is_absent_is_unknown_as_numbers_and_an_error_by_name() -> None:
    assert np.isnan(small().floats("flow")).all()
    assert small().floats("starts").dtype == np.float64
    with pytest.raises(KeyError):
        small().total("flwo")
    with pytest.raises(KeyError):
        small().total("tank_mean")  # its absence says that there is no sensor


def test_a_column_that_a_site_does_not_carry_has_its_absent_value() -> None:
    assert np.isnan(small()["flow"]).all()
    assert small()["minutes_full_speed"].tolist() == [0] * len(small())
    assert small().total("flow") == 0.0
    assert "flow" not in small()


def test_rows_are_chosen_by_flag_number_and_slice() -> None:
    table = small()
    assert table.where(table["starts"] > 2)["starts"].tolist() == [3, 4]
    assert table.where(np.array([3, 0]))["starts"].tolist() == [4, 1]
    assert table.where(slice(1, 3))["starts"].tolist() == [2, 3]
    assert len(table.where(slice(3, 9))) == 1


def test_days_are_cut_with_both_ends() -> None:
    cut = small().between(date(2025, 2, 28), date(2025, 3, 1))
    assert [cut.day(0), cut.day(-1)] == [date(2025, 2, 28), date(2025, 3, 1)]
    assert len(small().between(date(2026, 1, 1), date(2026, 2, 1))) == 0


def test_tables_are_joined_and_what_one_lacks_is_unknown() -> None:
    whole = joined([small().where(slice(0, 0)), small(), Table({"day": DAY[:1], "flow": [30.0]})])
    assert len(whole) == 5
    assert whole["heat"][:1] == [1.0]
    assert np.isnan(whole["heat"][4])
    assert np.isnan(whole["flow"][:4]).all()


@pytest.mark.parametrize(("take", "reference"), [("sum", "sum"), ("greatest", "max"), ("median", "median")])
def test_events_are_taken_together_by_day(take: Literal["sum", "greatest", "median"], reference: str) -> None:
    """As pandas, which is the reference here, groups them; an event of a day that is not asked for counts
    nowhere."""
    rng = np.random.default_rng(5)
    day = DAY[0] + np.arange(40).astype("timedelta64[D]")
    of_event = day[np.sort(rng.integers(0, 40, 90))]
    minutes = np.where(rng.random(90) < 0.3, NAN, rng.random(90).round(1))
    asked = day[5:38]
    found = group_by_day(asked, of_event, minutes, take)
    grouped = pd.Series(minutes).dropna().groupby(of_event[~np.isnan(minutes)])
    wanted = grouped.agg(reference).reindex(pd.DatetimeIndex(asked)).to_numpy()
    assert found == pytest.approx(wanted, nan_ok=True)
    assert np.isnan(group_by_day(asked, of_event, np.full(90, NAN), take)).all()


def test_the_day_of_the_year_counts_leap_days() -> None:
    days = np.array(["2024-01-01", "2024-12-31", "2025-12-31"], dtype="datetime64[us]")
    assert day_of_year(days).tolist() == [1.0, 366.0, 365.0]


def test_the_first_known_value_is_taken() -> None:
    assert fill_nan(np.array([1.0, NAN]), np.array([5.0, 6.0])).tolist() == [1.0, 6.0]
