"""Pack a home's row for the fleet table when its result is computed, and read it for lists."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

import orjson

from fieldfare.analysis.reports.verdict import GONE_AFTER, SILENT_AFTER, FileFeed
from fieldfare.api.alerts.decisions import HandlingRow
from fieldfare.api.alerts.handled import handled_of
from fieldfare.api.core.site_guard import Failure, attempt
from fieldfare.api.core.sites import Card
from fieldfare.dashboards.fleet.choice import list_keys
from fieldfare.dashboards.fleet.entries import SETTLING_DAYS, entry_of

if TYPE_CHECKING:
    from fieldfare.analysis.plant.site import Site

FAR = datetime(9999, 1, 1, tzinfo=UTC)
_JUST_AFTER = timedelta(microseconds=1)  # silent: no reading for longer than the limit
_SHOWN = ("site", "period", "verdict", "cost", "coverage", "data_notices")
"""Parts of a result that lists show whole; of findings they show those that go on."""


@dataclass(frozen=True)
class PackedResult:
    """Parts of a rolling result for lists, packed; None without a result. failed : why there is none"""

    brief: bytes | None = None
    winter: bytes | None = None
    failed: str | None = None

    def columns(self) -> dict[str, Any]:
        return {"brief": self.brief, "winter": self.winter, "failed": self.failed, "waiting": not self.brief}


def pack_result(site: Site, result: dict[str, Any]) -> PackedResult:
    """Pack a rolling result document."""
    from fieldfare.dashboards.fleet.winter import winter_entry  # imports the checks, which lists don't need

    about = {"id": site.id, "name": site.name, "site": site, "result": result}
    line = attempt(site.id, "write its line before winter", partial(winter_entry, about))
    return PackedResult(_packed(_brief(result)), None if isinstance(line, Failure) else _packed(line))


def _brief(result: Mapping[str, Any]) -> dict[str, Any]:
    performance = result.get("performance") or {}
    return {
        **{name: result[name] for name in _SHOWN if name in result},
        "findings": [f for f in result["findings"] if not f["until"]],
        "performance": {k: v for k, v in performance.items() if k in ("H1", "H2", "H3", "H4")},
        "heat_loss": {"ratio": (result.get("heat_loss") or {}).get("ratio")},
    }


def home_row(
    card: Card,
    cached: PackedResult,
    heard: datetime | None,
    decisions: Mapping[str, HandlingRow],
    names: Mapping[str, str],
    feed: FileFeed | None = None,
) -> dict[str, Any]:
    """A home for pages.

    feed : where it is fed by files alone. winter : its line before winter, packed. reason : why it has no
    result. handled : the decisions that hold
    """
    failed = card.trouble or cached.failed
    result = None if failed or cached.brief is None else unpacked(cached.brief)
    why = failed or ("no readings yet" if heard is None else "not analysed yet")
    return {
        "id": card.id,
        "name": card.name,
        "card": card,
        "handed_over": card.handed_over,
        "area": area_of(card),
        "place": _place_of(card),
        "heard": heard,
        "feed": feed,
        "result": result,
        "winter": cached.winter,
        "failed": failed is not None,
        "reason": None if result else why,
        "handled": handled_of(decisions, result, card.zone, names, datetime.now(UTC)),
    }


def columns_of(row: dict[str, Any], decisions: Mapping[str, HandlingRow], now: datetime) -> dict[str, Any]:
    """Columns by which the table sorts, filters and counts homes."""
    entry = entry_of(row, now)
    return {
        **list_keys(entry),
        "currency": entry["currency"],
        "money": float(entry["money"]),
        "good_until": _good_until(row, decisions, now),
    }


def _good_until(row: dict[str, Any], decisions: Mapping[str, HandlingRow], now: datetime) -> datetime:
    """Next time at which a silence, a decision or the first weeks start or stop to count."""
    changes = [d.ends for d in decisions.values() if d.ends is not None]
    if row["feed"] is not None:
        changes.append(row["feed"].due + _JUST_AFTER)
    elif row["heard"] is not None:
        changes += [row["heard"] + limit + _JUST_AFTER for limit in (SILENT_AFTER, GONE_AFTER)]
    if row["handed_over"] is not None:
        begins = datetime.combine(row["handed_over"], time(), UTC)
        changes += [begins, begins + timedelta(days=SETTLING_DAYS)]
    return min((c for c in changes if c > now), default=FAR)


def area_of(card: Card) -> str:
    """Area of a home from its site file; empty without one."""
    return getattr(card.contact, "area", None) or ""


def _place_of(card: Card) -> str:
    """Contact data that the search covers: name and address of the household."""
    return " ".join(t for name in ("name", "address") if (t := getattr(card.contact, name, None)))


def unpacked(payload: bytes) -> Any:
    """Unpack the output of `pack_result`."""
    return orjson.loads(zlib.decompress(payload))


def _packed(contents: Any) -> bytes:
    return zlib.compress(orjson.dumps(contents, option=orjson.OPT_SERIALIZE_NUMPY, default=str), 1)
