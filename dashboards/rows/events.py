"""Events of a home in the trace: for a finding, the next and previous one, and their URLs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.minutes.operating_state import HOT_WATER
from fieldfare.analysis.readings import MS_PER_DAY, MS_PER_MINUTE
from fieldfare.dashboards.text import words

Flags = NDArray[np.bool_]
NAMES = {"run": "run", "defrost": "defrost", "reheat": "hot-water reheat", "fault": "fault"}
"""Kinds of events that buttons and keys step through."""
DAY = "day"
"""The mark of a finding without an event of its own: the first day on which it was so."""
AROUND_MIN = {"run": 90, "defrost": 60, "reheat": 120, "fault": 180, DAY: 3 * 24 * 60}
"""Minutes shown before and after an event."""


@dataclass(frozen=True)
class Event:
    """kind : one of NAMES, or DAY. start : ms since 1970 UTC. place, count : its number among all of its
    kind"""

    kind: str
    start: int
    minutes: float
    words: str
    place: int = 0
    count: int = 0

    @property
    def mark(self) -> str:
        """The event as a URL parameter."""
        return f"{self.kind}.{self.start // 1000}"

    def view(self, zone: ZoneInfo) -> str:
        """Window around the event, as two local times."""
        around = AROUND_MIN[self.kind] * MS_PER_MINUTE
        ends = self.start - around, self.start + round(self.minutes * MS_PER_MINUTE) + around
        return "--".join(f"{_local(ms, zone):%Y-%m-%dT%H:%M}" for ms in ends)

    def address(self, zone: ZoneInfo, **more: str) -> str:
        """Query string that shows the event in the trace."""
        return f"?{urlencode({**more, 'view': self.view(zone), 'mark': self.mark})}#trace"


def events_of(facts: Facts, kind: str) -> Table:
    """Facts table of a kind of event; runs are heating runs."""
    if kind == "run":
        return facts.runs.where(facts.runs["use"] != HOT_WATER) if len(facts.runs) else facts.runs
    if kind == "fault":
        return facts.faults.where(facts.faults["begun"].astype(bool)) if len(facts.faults) else facts.faults
    return {"defrost": facts.defrosts, "reheat": facts.reheats}[kind]


def kinds_of(facts: Facts) -> list[str]:
    """Kinds with at least one event."""
    return [kind for kind in NAMES if len(events_of(facts, kind))]


def step_from(facts: Facts, zone: ZoneInfo, kind: str, at: int, step: int) -> Event | None:
    """The next event (step 1) after a moment [ms], or the last one before it (-1); None at either end."""
    table = events_of(facts, kind)
    if not len(table):
        return None
    start = table["start"].astype(np.int64)
    row = (
        int(np.searchsorted(start, at, "right")) if step > 0 else int(np.searchsorted(start, at, "left")) - 1
    )
    return _event(table, kind, row, zone) if 0 <= row < len(table) else None


def marked(facts: Facts, zone: ZoneInfo, mark: str) -> Event | None:
    """The event marked in the URL; None if there is none at that time."""
    kind, _, second = mark.partition(".")
    if not (second.isascii() and second.isdecimal() and len(second) < 12):
        return None
    at = int(second) * 1000
    if kind == DAY:
        return Event(DAY, at, 0.0, f"From {words.day(_local(at, zone).date())}")
    if kind not in NAMES:
        return None
    found = step_from(facts, zone, kind, at - 1, 1)
    return found if found is not None and found.start // 1000 == at // 1000 else None


def event_of_finding(facts: Facts, zone: ZoneInfo, finding: dict[str, Any]) -> Event:
    """The event to show for a finding: a typical or the worst one in its days, else its first day."""
    choice = _CHOICES.get(finding["code"])
    if choice is not None:
        kind, pick = choice
        table = events_of(facts, kind)
        within = _within(table, finding) if len(table) else np.zeros(0, bool)
        row = pick(table, within) if within.any() else None
        if row is not None:
            return _event(table, kind, row, zone)
    midnight = datetime.combine(date.fromisoformat(finding["since"]), datetime.min.time(), zone)
    return Event(DAY, round(midnight.timestamp() * 1000), 0.0, f"From {words.day(finding['since'])}")


def _within(table: Table, finding: dict[str, Any]) -> Flags:
    day = table["day"].astype("datetime64[D]")
    inside = day >= np.datetime64(finding["since"])
    return inside if not finding["until"] else inside & (day <= np.datetime64(finding["until"]))


def _newest(table: Table, within: Flags) -> int | None:
    return int(np.flatnonzero(within)[-1])


def _short_run(table: Table, within: Flags) -> int | None:
    """The newest run not longer than the median."""
    return _newest(table, within & (table["minutes"] <= np.median(table["minutes"][within])))


def _dry_defrost(table: Table, within: Flags) -> int | None:
    dry = within & table["frost_known"].astype(bool) & ~table["frosting"].astype(bool)
    return _newest(table, dry if dry.any() else within)


def _most(name: str, sign: float = 1.0) -> Callable[[Table, Flags], int | None]:
    """The event with the highest (or, by sign -1, the lowest) value of a column."""

    def pick(table: Table, within: Flags) -> int | None:
        values = np.where(within, sign * table.floats(name), np.nan)
        return int(np.nanargmax(values)) if np.isfinite(values).any() else _newest(table, within)

    return pick


_CHOICES: dict[str, tuple[str, Callable[[Table, Flags], int | None]]] = {
    "short_cycling": ("run", _short_run),
    "heating_out_of_season": ("run", _newest),
    "excessive_defrost": ("defrost", _newest),
    "defrost_without_frost": ("defrost", _dry_defrost),
    "slow_reheat": ("reheat", _most("minutes")),
    "reheat_incomplete": ("reheat", _most("to_c", -1.0)),
    "hot_water_shortfall": ("reheat", _most("from_c", -1.0)),
    "immersion_use": ("reheat", _most("immersion")),
    "water_too_hot": ("reheat", _most("to_c")),
    "fault_reported": ("fault", _newest),
    "unit_stopped": ("fault", _newest),
    "unit_trips": ("run", _short_run),
    "flow_temperature_above_curve": ("run", _most("flow_max")),
    "flow_temperature_below_curve": ("run", _newest),
    "buffer_mixing": ("run", _newest),
    "low_flow": ("run", _newest),
    "no_weather_compensation": ("run", _newest),
}


def _event(table: Table, kind: str, row: int, zone: ZoneInfo) -> Event:
    start = int(table["start"][row])
    minutes = (
        (int(table["end"][row]) - start) / MS_PER_MINUTE if kind == "fault" else float(table["minutes"][row])
    )
    parts = [words.duration(minutes)]
    if kind == "defrost":
        parts.append(f"{_degrees(table, 'outdoor', row)} outdoors")
    elif kind == "run":
        parts.append(f"flow {_degrees(table, 'flow', row)}")
    elif kind == "reheat":
        parts.append(f"{_degrees(table, 'from_c', row)} to {_degrees(table, 'to_c', row)}")
    else:
        parts.append(f"“{table['code'][row]}”")
    name = NAMES[kind]
    when = _local(start, zone)
    says = (
        f"{words.capital(name)} of {words.day(when.date())}, {when:%H:%M}:"
        f" {', '.join(t for t in parts if '–' not in t)}"
    )
    return Event(kind, start, minutes, says, row + 1, len(table))


def _degrees(table: Table, name: str, row: int) -> str:
    value = float(table.floats(name)[row])
    return words.measure(value if np.isfinite(value) else None, "°C", 0)


def _local(ms: int, zone: ZoneInfo) -> datetime:
    return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=ms)).astimezone(zone)


def document(event: Event | None, zone: ZoneInfo) -> dict[str, Any] | None:
    """An event for the trace's script."""
    if event is None:
        return None
    where = f" ({event.place} of {event.count})" if event.count else ""
    return {
        "start": event.start,
        "minutes": event.minutes,
        "words": f"{event.words}{where}.",
        "view": event.view(zone),
        "mark": event.mark,
    }


MOST_VIEW_MS = 3700 * MS_PER_DAY
"""Ten years: a longer stretch in an address is a mistake."""


def view_of(text: str) -> tuple[datetime, datetime] | None:
    """The requested window in local time; None if invalid."""
    first, _, last = text.partition("--")
    try:
        # Naive local time of the home.
        a, b = (datetime.strptime(t, "%Y-%m-%dT%H:%M") for t in (first, last))  # noqa: DTZ007
    except ValueError:
        return None
    return (a, b) if a < b and (b - a).total_seconds() * 1000 <= MOST_VIEW_MS else None
