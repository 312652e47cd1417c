"""A stop that has ended needs attention while it may recur, and is a note afterwards."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.model import Evidence, Recognised
from fieldfare.analysis.findings.stopped import coming_back, unit_stopped
from fieldfare.analysis.findings.stopped.heat_due import Reason, is_powerless, rooms_are_warm
from fieldfare.analysis.findings.stopped.rests import Rest
from fieldfare.analysis.findings.stopped.unit_stopped import (
    _may_return,
    _only_repeats,
    _severity,
    _sure,
)
from fieldfare.analysis.minutes.operating_state import HEATING
from fieldfare.analysis.plant.load import parse_kept_site
from tests.analysis.operation_tables import NO_EVENTS
from tests.analysis.site_text import WHOLE

FIRST = np.datetime64("2025-11-01", "D")
COLD = [Reason("power", 0.9, Evidence("without any power", 1.0))]


def may_return(
    hours: float, days_ago: int, *, outdoor: float = 2.0, recognised: Any = (), why: list[Reason] = COLD
) -> bool:
    day = (FIRST + np.arange(200)).astype("datetime64[us]")
    facts = Facts(Table({"day": day}), NO_EVENTS, NO_EVENTS, NO_EVENTS, NO_EVENTS)
    figures: Any = SimpleNamespace()
    context = Context(parse_kept_site(WHOLE), facts, facts, figures, recognised)
    end = (
        int((day[-1] - np.timedelta64(days_ago, "D")).astype("datetime64[ms]").astype(np.int64)) + 43_200_000
    )
    rest = Rest("unit", end - int(hours * 3_600_000), end, True, True, False, {"outdoor_mean_c": outdoor})
    return _may_return(context, rest, why)


@pytest.mark.parametrize(
    ("hours", "days_ago", "expected"),
    [(120.0, 77, True), (120.0, 160, False), (14.0, 77, False), (14.0, 3, True)],
    ids=["days, eleven weeks ago", "days, the season before", "a power cut", "hours, this week"],
)
def test_a_long_stop_is_asked_about_for_the_rest_of_its_season(
    hours: float, days_ago: int, expected: bool
) -> None:
    assert may_return(hours, days_ago) is expected


def test_rooms_a_little_cool_in_mild_air_tell_of_no_stop_that_may_come_again() -> None:
    cool = [Reason("room", 0.75, Evidence("room below its target", 1.5))]
    assert may_return(14.0, 3, why=cool)
    assert not may_return(14.0, 3, outdoor=13.0, why=cool)


def test_a_cylinder_drawn_cold_for_days_is_asked_about_too() -> None:
    cold = [Reason("cylinder", 0.85, Evidence("cylinder below its reheat temperature", 29.5))]
    assert may_return(194.0, 55, outdoor=8.0, why=cold)
    assert not may_return(14.0, 3, why=cold), "a reheat that came late"


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


def reason(kind: str, strength: float) -> Reason:
    return Reason(kind, strength, Evidence(kind, 1.0))


def a_rest(hours: float = 30.0, **values: float) -> Rest:
    end = int(FIRST.astype("datetime64[ms]").astype(np.int64)) + 40 * 86_400_000
    known = {"outdoor_lowest_c": 5.0, "outdoor_mean_c": 6.0, "room_short_last_k": np.nan}
    known |= {"room_first_c": 20.0, "room_last_c": 20.0}
    return Rest("unit", end - int(hours * 3_600_000), end, True, True, False, known | values)


@pytest.mark.parametrize(("hours", "powerless"), [(24.0, False), (48.0, True)])
def test_one_empty_row_of_daily_sums_shows_no_lost_supply(hours: float, powerless: bool) -> None:
    """The last row of an export may hold the beginning of its day only."""
    columns = {"day": (FIRST + np.arange(60)).astype("datetime64[us]")}
    columns["spacing.heat_pump_electricity"] = np.full(60, 1440.0)
    facts = Facts(Table(columns), *[NO_EVENTS] * 4)
    context = Context(parse_kept_site(WHOLE), facts, facts, SimpleNamespace())  # type: ignore[arg-type]
    minutes = hours * 60.0
    rest = a_rest(hours, minutes=minutes, minutes_powerless=minutes, minutes_power_known=minutes)
    assert is_powerless(context, rest) is powerless


@pytest.mark.parametrize(("stuck", "repeats"), [(["outdoor", "tank"], True), (["outdoor"], False)])
def test_where_several_sensors_stand_still_a_gateway_repeats_itself(
    monkeypatch: pytest.MonkeyPatch, stuck: list[str], repeats: bool
) -> None:
    days = (FIRST + np.arange(60)).astype("datetime64[us]")
    context = Context(parse_kept_site(WHOLE), *[Facts(Table({"day": days}), *[NO_EVENTS] * 4)] * 2, None)  # type: ignore[arg-type]
    still = (np.arange(60) >= 36) & (np.arange(60) <= 40)
    monkeypatch.setattr(unit_stopped, "still_days", lambda _: dict.fromkeys(stuck, still))
    assert _only_repeats(context, a_rest(90.0)) is repeats
    assert not _only_repeats(context, a_rest(200.0)), "it moved on some of the days"


def test_three_words_of_one_controller_are_one_reason() -> None:
    call = [reason("call", 0.85)]
    same = [*call, reason("flow", 0.85), reason("mode", 0.85)]
    apart = [*call, reason("room", 0.85)]
    assert _sure(a_rest(), same) == pytest.approx(_sure(a_rest(), call))
    assert _sure(a_rest(), apart) == pytest.approx(1.0 - 0.15**2, abs=0.01)


def test_the_length_of_a_rest_counts_once_however_it_is_read() -> None:
    by_length = [reason("weather", 0.7), reason("pause", 0.6), reason("habit", 0.55)]
    assert _sure(a_rest(), by_length) == pytest.approx(0.7, abs=0.01)


@pytest.mark.parametrize(
    ("found", "lowest", "severity"),
    [
        ([("pause", 0.62)], 5.0, "watch"),
        ([("pause", 0.62)], 8.0, "note"),
        ([("weather", 0.7)], 5.0, "watch"),
        ([("weather", 0.9)], 5.0, "act"),
        ([("weather", 0.7), ("cylinder", 0.85)], 5.0, "act"),
        ([("weather", 0.7)], -4.0, "urgent"),
    ],
    ids=[
        "an odd pause in the cold",
        "an odd pause in mild air",
        "not sure yet",
        "long enough",
        "a cold cylinder too",
        "in frost",
    ],
)
def test_a_rest_that_only_lasts_long_is_looked_at_before_it_is_acted_on(
    found: list[tuple[str, float]], lowest: float, severity: str
) -> None:
    facts = Facts(Table({"day": (FIRST + np.arange(60)).astype("datetime64[us]")}), *[NO_EVENTS] * 4)
    context = Context(parse_kept_site(WHOLE), facts, facts, SimpleNamespace())  # type: ignore[arg-type]
    rest = a_rest(outdoor_lowest_c=lowest, tank_last_c=45.0, tank_first_c=46.0)
    assert _severity(context, rest, [reason(*r) for r in found]) == severity


def stops(days_ago: list[int], *, hour: int = 7, scatter_h: int = 0, **columns: float) -> Any:
    """Context, and rests of 14 hours that began on these days, newest first."""
    day = (FIRST + np.arange(120)).astype("datetime64[us]")
    facts = Facts(Table({"day": day}), NO_EVENTS, NO_EVENTS, NO_EVENTS, NO_EVENTS)
    figures: Any = SimpleNamespace()
    context = Context(parse_kept_site(WHOLE), facts, facts, figures, ())
    cold = {
        "outdoor_mean_c": 1.0,
        "room_short_last_k": 4.0,
        "minutes_room_short": 700.0,
        "minutes_fault": 0.0,
    }
    blank = {"minutes_powerless": 0.0, "minutes_power_known": 800.0, "power_mean_w": 15.0}
    out = []
    for i, ago in enumerate(days_ago):
        start = int((day[-1] - np.timedelta64(ago, "D")).astype("datetime64[ms]").astype(np.int64))
        start += (hour + (i * 5) % (scatter_h + 1)) * 3_600_000
        row = cold | blank | columns
        out.append(Rest("unit", start, start + 14 * 3_600_000, True, True, False, row))
    return context, out


@pytest.mark.parametrize(
    ("scatter_h", "cause", "visit"), [(0, "switched_off", "setting"), (12, "locked_out", "drive")]
)
def test_stops_that_come_back_are_one_fault_that_goes_on(
    monkeypatch: pytest.MonkeyPatch, scatter_h: int, cause: str, visit: str
) -> None:
    """Half a day in the cold, again and again: at the same hours a clock's doing, at any hour a lock-out."""
    monkeypatch.setattr(coming_back, "reasons", lambda *_: COLD)
    found = coming_back.coming_back(*stops(list(range(1, 30, 2)), scatter_h=scatter_h))
    assert found is not None
    assert (found.severity, found.until, found.visit) == ("act", None, visit)
    assert found.since == str(FIRST + np.timedelta64(119 - 29, "D"))
    assert found.causes[0].cause == cause
    assert "15 times" in found.headline


@pytest.mark.parametrize(
    ("ago", "columns"),
    [
        ([1, 2, 3], {}),
        ([20, 21, 22, 23, 24], {}),
        ([1, 2, 3, 4, 5], {"room_short_last_k": 0.4}),
        ([1, 2, 3, 4, 5], {"outdoor_mean_c": 13.0}),
        ([1, 12, 23, 34, 45], {}),
    ],
    ids=["three", "three weeks ago", "warm rooms", "mild air", "far apart"],
)
def test_few_old_or_harmless_rests_do_not_come_back(
    monkeypatch: pytest.MonkeyPatch, ago: list[int], columns: dict[str, float]
) -> None:
    monkeypatch.setattr(coming_back, "reasons", lambda *_: COLD)
    assert coming_back.coming_back(*stops(ago, **columns)) is None
