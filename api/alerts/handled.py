"""Decisions about a site's findings, prepared for lists and pages."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from fieldfare.api.alerts.decisions import (
    HandlingRow,
    lasts,
    open_severities,
    weight,
)


def handled_of(
    rows: Mapping[str, HandlingRow],
    result: dict[str, Any] | None,
    zone: ZoneInfo,
    names: Mapping[str, str],
    now: datetime,
) -> dict[str, dict[str, Any]]:
    """Finding code -> decision for pages: state, names, local days, and whether it is still in force.

    result : the current result, which gives the severities. names : e-mail -> name
    """
    severities = open_severities(result)
    out = {}
    for code, row in rows.items():
        worse = weight(severities.get(code)) > weight(row.severity)
        last = (row.ends - timedelta(seconds=1)).astimezone(zone).date() if row.ends else None
        out[code] = {
            "state": row.state,
            "who": names.get(row.who, row.who),
            "by": names.get(row.decided_by, row.decided_by),
            "until": last.isoformat() if last else None,
            "decided": row.decided.astimezone(zone).date().isoformat(),
            "reason": row.reason,
            "worse": worse,
            "holds": lasts(row, severities.get(code), now),
        }
    return out
