"""Bridge chart of losses: from the electricity expected by the rating, step by step, to the metered
electricity."""

from __future__ import annotations

from html import escape
from typing import Any

from markupsafe import Markup

from fieldfare.dashboards.figures.scale import Scale
from fieldfare.dashboards.text.labels import TITLES
from fieldfare.dashboards.text.words import (
    finding_title,
    interval,
    loss_words,
    measure,
    money,
    named,
    small_first,
)
from fieldfare.dashboards.text.words import reason as words_of

_ROW, _LEFT, _RIGHT, _WIDTH = 38.0, 6.0, 84.0, 340.0
_BAR, _DOWN = 14.0, 18.0
"""Height of a bar, and how far below its row's top it begins: its name stands above it, its number beside
it."""


def bridge_rows(result: dict[str, Any]) -> list[dict[str, Any]]:
    """Steps from expected to measured: name, from and to [kWh], cost, and for losses `part`. Empty without an
    expectation."""
    losses = result["losses"]
    total = result["energy"]["electricity_kwh"]["total"]
    if not losses or total is None:
        return []
    here = total - sum(x["electricity_kwh"] for x in losses)
    rows = [
        {"name": "Expected by its rating", "from": 0.0, "to": here, "cost": None, "whole": True, "part": None}
    ]
    for x in losses:
        if abs(x["electricity_kwh"]) < 0.5:
            continue
        rows.append(
            {
                "name": loss_words(x["cause"]),
                "from": here,
                "to": here + x["electricity_kwh"],
                "cost": x["cost"],
                "whole": False,
                "part": x,
            }
        )
        here += x["electricity_kwh"]
    rows.append({"name": "Measured", "from": 0.0, "to": total, "cost": None, "whole": True, "part": None})
    return rows


def bridge(result: dict[str, Any]) -> Markup:
    """The bridge as SVG, one row per step; increases are filled, savings are hollow."""
    rows = bridge_rows(result)
    if not rows:
        reason = result["performance"]["reasons"].get("expected", "Nothing to compare with.")
        return Markup(f'<p class="no-figure">{escape(words_of(reason))}</p>')  # noqa: S704
    top = max(max(r["from"], r["to"]) for r in rows)
    least = min(min(r["from"], r["to"]) for r in rows[1:-1]) if len(rows) > 2 else top
    # Cut the first and last bars, which start at zero, so that the steps are visible.
    floor = max(0.0, least - 0.5 * (top - least)) if top - least < 0.4 * top else 0.0
    scale = Scale(floor, top * 1.0001, _LEFT, _WIDTH - _RIGHT)
    height = _ROW * len(rows) + 8
    parts = []
    for i, row in enumerate(rows):
        y = 4 + i * _ROW
        parts.append(_step(row, y, scale, floor))
        if i + 1 < len(rows):
            x = scale.at(row["to"])
            parts.append(f'<path class="grid" d="M{x:.1f} {y + _DOWN + _BAR:g}v{_ROW - _BAR:g}"/>')
    says = "; ".join(f"{r['name']} {measure(r['to'] - r['from'], 'kWh', 0)}" for r in rows)
    cut = ""
    if floor > 0:
        cut = "".join(
            f'<path class="cut" d="M{_LEFT + 12:g} {3 + i * _ROW + _DOWN:g}l-5 {_BAR + 2:g}"/>'
            for i in (0, len(rows) - 1)
        )
    return Markup(  # noqa: S704
        f'<svg class="fig bridge" viewBox="0 0 {_WIDTH:g} {height:g}" role="img" aria-label="Electricity from'
        f' expected to measured. {escape(says, quote=True)}">{"".join(parts)}{cut}</svg>'
    )


def _step(row: dict[str, Any], y: float, scale: Scale, floor: float) -> str:
    low, high = sorted((max(row["from"], floor), max(row["to"], floor)))
    change = row["to"] - row["from"]
    kind = "whole" if row["whole"] else "more" if change > 0 else "less"
    left, wide = scale.at(low), max(scale.at(high) - scale.at(low), 1.5)
    sign = "" if row["whole"] else "+" if change > 0 else ""
    return (
        f'<text class="key" x="{_LEFT:g}" y="{y + 12:g}">{escape(row["name"])}</text><path class="step'
        f' {kind}" d="M{left:.1f} {y + _DOWN:g}h{wide:.1f}v{_BAR:g}h-{wide:.1f}z"/><text class="key"'
        f' x="{_WIDTH - 2:g}" y="{y + _DOWN + _BAR - 2:g}"'
        f' text-anchor="end">{sign}{escape(measure(change, "kWh", 0))}</text>'
    )


def bridge_table(result: dict[str, Any], currency: str | None) -> list[tuple[str, str, str, str]]:
    """Rows of the table behind the bridge: name, change with interval, cost and reason of each step."""
    return [
        (
            r["name"],
            measure(r["to"] - r["from"], "kWh", 0) if r["part"] is None else _interval_of(r["part"]),
            "" if r["cost"] is None else money(r["cost"], currency),
            "" if r["part"] is None else _why(r["part"]),
        )
        for r in bridge_rows(result)
    ]


def unsure_parts(result: dict[str, Any]) -> list[str]:
    """Names of the losses whose 95 % intervals include zero."""
    parts = (r for r in bridge_rows(result) if r["part"] is not None and r["part"].get("low") is not None)
    return [small_first(r["name"]) for r in parts if r["part"]["low"] < 0.0 < r["part"]["high"]]


def _interval_of(part: dict[str, Any]) -> str:
    return interval({"value": part["electricity_kwh"], **{k: part.get(k) for k in ("low", "high")}}, "kWh", 0)


def _why(part: dict[str, Any]) -> str:
    """Basis of a part, and the finding or sentence that explains a large one."""
    text, by = named(part.get("because")), part.get("accounted_by")
    if not by:
        return text
    return f"{text} {finding_title(by)}." if by in TITLES else f"{text} {named(by)}"
