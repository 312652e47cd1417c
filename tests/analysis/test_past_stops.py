"""A stop that has ended is asked about while it may come again, and is a note afterwards."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.model import Evidence, Recognised
from fieldfare.analysis.findings.stopped.heat_due import Reason, rooms_are_warm
from fieldfare.analysis.findings.stopped.rests import Rest
from fieldfare.analysis.findings.stopped.unit_stopped import _may_return
from fieldfare.analysis.minutes.operating_state import HEATING
from fieldfare.analysis.plant.load import parse_kept_site
from tests.analysis.operation_tables import NO_EVENTS
from tests.analysis.site_text import WHOLE

FIRST = np.datetime64("2025-11-01", "D")
COLD = [Reason("power", 0.9, Evidence("without any power", 1.0))]


def may_return(hours: float, days_ago: int, *, outdoor: float = 2.0, recognised: Any = ()) -> bool:
    day = (FIRST + np.arange(200)).astype("datetime64[us]")
    facts = Facts(Table({"day": day}), NO_EVENTS, NO_EVENTS, NO_EVENTS, NO_EVENTS)
    context = Context(parse_kept_site(WHOLE), facts, facts, SimpleNamespace(), recognised)  # type: ignore[arg-type]
    end = (
        int((day[-1] - np.timedelta64(days_ago, "D")).astype("datetime64[ms]").astype(np.int64)) + 43_200_000
    )
    rest = Rest("unit", end - int(hours * 3_600_000), end, True, True, False, {"outdoor_mean_c": outdoor})
    return _may_return(context, rest, COLD)


@pytest.mark.parametrize(
    ("hours", "days_ago", "expected"),
    [(120.0, 77, True), (120.0, 160, False), (14.0, 77, False), (14.0, 3, True)],
    ids=["days, eleven weeks ago", "days, the season before", "a power cut", "hours, this week"],
)
def test_a_long_stop_is_asked_about_for_the_rest_of_its_season(
    hours: float, days_ago: int, expected: bool
) -> None:
    assert may_return(hours, days_ago) is expected


def test_in_mild_weather_or_after_work_on_the_unit_it_is_a_note() -> None:
    work = Recognised("serviced", "2026-04-01", "2026-04-01", "off for work")
    assert not may_return(120.0, 77, outdoor=18.0)
    assert not may_return(120.0, 77, recognised=(work,))
    before = Recognised("serviced", "2025-11-10", "2025-11-10", "off for work")
    assert may_return(120.0, 77, recognised=(before,))


def warm(room_c: float, starts_at: float, runs: int = 40) -> bool:
    """Rooms 0.8 K below their target in a rest; the unit began by itself before at a room of `starts_at`."""
    day = (FIRST + np.arange(20)).astype("datetime64[us]")
    first = int(day[0].astype("datetime64[ms]").astype(np.int64))
    table = Table(
        {
            "day": np.repeat(day[0], runs),
            "start": first + 60_000 * np.arange(runs),
            "use": np.full(runs, HEATING),
            "room_start": np.full(runs, starts_at),
        }
    )
    facts = Facts(Table({"day": day}), table, NO_EVENTS, NO_EVENTS, NO_EVENTS)
    context = Context(parse_kept_site(WHOLE), facts, facts, SimpleNamespace())  # type: ignore[arg-type]
    end = first + 15 * 86_400_000
    values = {"room_short_last_k": 0.8, "room_last_c": room_c, "room_first_c": 20.5}
    return rooms_are_warm(context, Rest("unit", end - 6 * 3_600_000, end, True, True, False, values))


def test_a_sensor_on_a_cool_upper_floor_starts_no_unit_that_its_thermostat_does_not() -> None:
    """The thermostat hangs elsewhere: rooms are warm down to where the unit usually begins by itself."""
    assert warm(19.5, starts_at=19.3)
    assert not warm(19.5, starts_at=20.2)
    assert not warm(19.5, starts_at=19.3, runs=8), "a few runs show no habit"
