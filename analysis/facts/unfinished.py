"""Handle an unfinished last day: its remaining hours are neither a gap nor zero."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from fieldfare.analysis.facts.tables import Facts

_A_MINUTE_MS = 60_000


def minutes_to_come(facts: Facts, zone: ZoneInfo) -> int:
    """Minutes of the last day after the last reading; 0 if some point was read to its end.

    zone : the site's, in which days are cut
    """
    days, notices = facts.days, facts.notices
    if not len(days) or days["minutes_any_known"][-1] == 0 or not len(notices):
        return 0
    last = days.day(-1)
    midnight = datetime.combine(last + timedelta(days=1), datetime.min.time(), zone)
    end = int(midnight.timestamp() * 1000)
    on_it = notices.where((notices["day"] == days["day"][-1]) & (notices["kind"] == "gap"))
    reaches = on_it["time"] + (on_it["amount"] * _A_MINUTE_MS).astype(np.int64) >= end - _A_MINUTE_MS
    trailing = on_it.where(reaches)
    read = {c.removeprefix("seen.") for c in days.names if c.startswith("seen.")}
    if read - set(trailing["point"]):
        return 0
    return int(min(trailing["amount"])) if len(trailing) else 0


def gap_minutes(facts: Facts, zone: ZoneInfo) -> np.ndarray:
    """Length [min] of each notice; gaps exclude the remaining hours, other kinds keep their amount."""
    amount = np.asarray(facts.notices["amount"], dtype=np.float64).copy()
    to_come = minutes_to_come(facts, zone)
    if to_come:
        notices = facts.notices
        midnight = datetime.combine(facts.days.day(-1) + timedelta(days=1), datetime.min.time(), zone)
        end = int(midnight.timestamp() * 1000) - to_come * _A_MINUTE_MS
        is_gap = (notices["kind"] == "gap") & (notices["day"] == facts.days["day"][-1])
        left = np.maximum(end - notices["time"], 0) / _A_MINUTE_MS
        amount = np.where(is_gap, np.minimum(amount, left), amount)
    return amount
