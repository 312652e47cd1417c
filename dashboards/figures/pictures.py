"""Pictures for the household: temperatures, energy in and out, costs, and the year by months."""

from __future__ import annotations

import math
from html import escape
from typing import Any

from markupsafe import Markup

from fieldfare.dashboards.figures.chart import Axis
from fieldfare.dashboards.figures.scale import ticks
from fieldfare.dashboards.text import units
from fieldfare.dashboards.text.language import gettext as _
from fieldfare.dashboards.text.words import day, measure, money, month, month_short, number

_MOST_NAMES = 7
"""So many months are named one by one in a year's picture; of more, every second, January among them."""
_W, _H, _LEFT = 460.0, 180.0, 58.0


def warmth_picture(rows: list[dict[str, Any]]) -> Markup | None:
    """Daily indoor and outdoor temperatures, with the difference shaded."""
    there = [r for r in rows if r.get("room") is not None and r.get("outdoor") is not None]
    if len(there) < 3:
        return None
    values = [r[k] for r in there for k in ("room", "outdoor")]
    low, high = min(values) - 1.0, max(values) + 1.0
    step = (_W - _LEFT - 100.0) / (len(there) - 1)

    def at(value: float) -> float:
        return 12.0 + (high - value) / (high - low) * (_H - 40.0)

    room = [f"{_LEFT + i * step:.1f} {at(r['room']):.1f}" for i, r in enumerate(there)]
    out = [f"{_LEFT + i * step:.1f} {at(r['outdoor']):.1f}" for i, r in enumerate(there)]
    last = there[-1]
    mean_in, mean_out = (sum(r[k] for r in there) / len(there) for k in ("room", "outdoor"))
    end = _LEFT + (len(there) - 1) * step
    inside, outside = _("indoors"), _("outdoors")
    degrees = "".join(
        f'<path class="grid" d="M{_LEFT:g} {at(t):.1f}H{end:.1f}"/>'
        f'<text x="{_LEFT - 6:g}" y="{at(t) + 4:.0f}" text-anchor="end">{measure(t, "°C", 0)}</text>'
        for t in _ticks(low, high)
    )
    body = (
        f'{degrees}<path class="band heat" d="M{"L".join([*room, *out[::-1]])}Z"/>'
        f'<path class="line heat" d="M{"L".join(room)}"/><path class="line air dash" d="M{"L".join(out)}"/>'
        f'<text x="{end + 8:.0f}" y="{at(last["room"]) + 4:.0f}">{escape(inside)}</text>'
        f'<text x="{end + 8:.0f}" y="{at(last["outdoor"]) + 4:.0f}">{escape(outside)}</text>'
        f'<text x="{_LEFT:g}" y="{_H - 6:g}">{day(there[0]["day"])}</text>'
        f'<text x="{end:.0f}" y="{_H - 6:g}" text-anchor="end">{day(last["day"])}</text>'
    )
    says = _(
        "Indoors {indoors} on average, outdoors {outdoors}.",
        indoors=measure(mean_in, "°C", 1),
        outdoors=measure(mean_out, "°C", 1),
    )
    return _picture(says, body, _H)


def _ticks(low: float, high: float) -> list[float]:
    """Two to five round temperatures between low and high [°C]."""
    step = next(s for s in (2.0, 5.0, 10.0, 20.0, 50.0) if (high - low) / s <= 5.0)
    return [step * n for n in range(math.ceil(low / step), math.floor(high / step) + 1)]


def energy_picture(electricity: float | None, heat: float | None) -> Markup | None:
    """A bar of electricity above a bar of the heat delivered, to one scale."""
    if not electricity or not heat:
        return None
    wide = _W - 20.0
    most = max(electricity, heat)
    e, q = electricity / most * wide, heat / most * wide
    used, gave = measure(electricity, "kWh", 0), measure(heat, "kWh", 0)
    line_in, line_out = _("electricity in: {used}", used=used), _("heat out: {heat}", heat=gave)
    body = (
        f'<text x="10" y="20">{escape(line_in)}</text>'
        f'<path class="bar power" d="M10 28h{e:.1f}v26h-{e:.1f}z"/>'
        f'<text x="10" y="84">{escape(line_out)}</text>'
        f'<path class="bar heat" d="M10 92h{q:.1f}v26h-{q:.1f}z"/>'
        + "".join(
            f'<path class="cut" d="M{10 + e * i:.1f} 92v26"/>'
            for i in range(1, int(q / e + 1e-6) + 1)
            if e * i < q - 2
        )
    )
    says = _(
        "{used} of electricity became {heat} of heat, {ratio} times as much.",
        used=used,
        heat=gave,
        ratio=number(heat / electricity, 1),
    )
    return _picture(says, body, 128.0)


def year_picture(months: list[tuple[str, float | None, bool]]) -> Markup:
    """A bar of electricity for each month. months : key as 2026-01, electricity [kWh] or None, and whether it
    is whole; one that isn't is an empty bar"""
    sign, factor, _fewer = units.conversion("kWh")
    amounts = [(key, None if kwh is None else kwh * factor, whole) for key, kwh, whole in months]
    most = max((v for _key, v, _whole in amounts if v is not None), default=0.0) or 1.0
    floor, top, wide = 150.0, 26.0, (_W - _LEFT) / len(amounts)
    scale = (floor - top) / most
    january = next((n for n, (key, _v, _w) in enumerate(amounts) if key.endswith("-01")), 0)
    every = 1 if len(amounts) <= _MOST_NAMES else 2
    body = [f'<text x="0" y="14">{escape(sign)}</text>']
    for at, word in ticks(Axis("", sign), 0.0, most, 4):
        y = floor - at * scale
        body.append(
            f'<path class="grid" d="M{_LEFT:g} {y:.1f}H{_W:g}"/>'
            f'<text x="{_LEFT - 6:g}" y="{y + 5:.0f}" text-anchor="end">{word}</text>'
        )
    for n, (key, value, whole) in enumerate(amounts):
        middle = _LEFT + (n + 0.5) * wide
        if value is not None:
            kind, high = "bar power" if whole else "bar power hatched", value * scale
            body.append(
                f'<path class="{kind}" d="M{middle - 0.35 * wide:.1f} {floor:g}v{-high:.1f}h{0.7 * wide:.1f}'
                f'v{high:.1f}z"/>'
            )
        if (n - january) % every == 0:
            name = month_short(key)
            body.append(f'<text x="{middle:.1f}" y="{floor + 19:g}" text-anchor="middle">{name}</text>')
        if n == january or (n == 0 and january > 2):
            body.append(f'<text x="{middle:.1f}" y="{floor + 39:g}" text-anchor="middle">{key[:4]}</text>')
    says = "; ".join(
        f"{month(key)}: {measure(kwh, 'kWh', 0)}" for key, kwh, _whole in months if kwh is not None
    )
    return _picture(f"{says}.", "".join(body), floor + 46.0)


def money_picture(rows: list[tuple[str, float]], currency: str | None) -> Markup | None:
    """Amounts as bars to one scale; the first is this month's."""
    if not rows:
        return None
    most = max(v for _, v in rows) or 1.0
    body = []
    for i, (name, value) in enumerate(rows):
        y = 8 + i * 52
        wide = max(value / most * (_W - 130.0), 1.0)
        kind = "bar heat" if i == 0 else "bar design hatched"
        body.append(
            f'<text x="10" y="{y + 13}">{escape(name)}</text><path class="{kind}" d="M10'
            f' {y + 20}h{wide:.1f}v22h-{wide:.1f}z"/><text class="big" x="{18 + wide:.0f}"'
            f' y="{y + 39}">{escape(money(value, currency, 0))}</text>'
        )
    says = "; ".join(f"{name}: {money(value, currency, 0)}" for name, value in rows)
    return _picture(f"{says}.", "".join(body), 16.0 + 52.0 * len(rows))


def _picture(says: str, body: str, height: float) -> Markup:
    name = escape(says, quote=True)
    opening = f'<svg class="fig picture" viewBox="0 0 {_W:g} {height:g}" role="img" aria-label="{name}">'
    return Markup(f"{opening}{body}</svg>")  # noqa: S704
