"""Yearly cost of open findings; a cost that two findings share counts once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

Found = Mapping[str, Any]


def costs_once(findings: Sequence[Found], key: str = "electricity_kwh") -> list[tuple[Found, float]]:
    """Each finding with a price, and what it adds to the sum of all.

    findings : of one home, as in a result document. key : electricity_kwh or money
    A finding whose causes name others of the list, such as a performance below the promise, adds what those
    do not account for. One that adds nothing is left out.
    """
    price = {id(f): float((f["cost_per_year"] or {}).get(key) or 0.0) for f in findings}
    out = []
    for finding in findings:
        named = {c["cause"] for c in finding.get("causes", ())}
        others = sum(price[id(f)] for f in findings if f["code"] in named and f is not finding)
        adds = max(price[id(finding)] - others, 0.0)
        if adds > 0.0:
            out.append((finding, adds))
    return out
