"""Local times equal those of pandas, on both sides of clock changes."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from fieldfare.analysis.minutes.local_clock import local_clock


@pytest.mark.parametrize("zone", ["Europe/Berlin", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC"])
def test_local_times_are_those_of_pandas(zone: str) -> None:
    rng = np.random.default_rng(4)
    begin = 1_700_000_000_000
    moments = np.sort(rng.integers(begin, begin + 400 * 86_400_000, 2000))
    local = pd.to_datetime(moments, unit="ms", utc=True).tz_convert(zone).tz_localize(None)
    expected = (local - pd.Timestamp(0)) // pd.Timedelta("1ms")
    np.testing.assert_array_equal(local_clock(ZoneInfo(zone), moments), expected)


def test_the_hour_told_twice() -> None:
    """Europe/Berlin put its clock back on 27 October 2024 at 01:00 UTC."""
    back = 1_729_990_800_000
    shown = local_clock(ZoneInfo("Europe/Berlin"), np.array([back - 60_000, back]))
    assert (shown // 60_000 % 1440).tolist() == [2 * 60 + 59, 2 * 60]
