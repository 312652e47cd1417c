"""Advice to a household on holidays and nights, calculated for its house."""

from __future__ import annotations

from typing import Any

from fieldfare.analysis import cautions
from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.language import gettext as _

AWAY_C = 15.0
"""Room temperature to leave a house at: warm enough that nothing freezes or grows mouldy (common
practice)."""
LITTLE_TO_SPARE, SOME_TO_SPARE, PLENTY_TO_SPARE = 1.15, 1.3, 1.5
"""Output over load at the design temperature; warming up again needs what is above 1 (common practice)."""


def advice(site: Site, result: dict[str, Any]) -> list[str]:
    """Sentences on a week away, on nights and on the hot water."""
    out = []
    saving = _week_away(result)
    margin = (result["capacity"]["margin"] or {}).get("value")
    zone: dict[str, Any] = next(iter(result["comfort"]["zones"].values()), {})
    warm = zone.get("target_c") or zone.get("mean_c") or site.design.indoor_c
    if saving is not None:
        kwh, cost = saving
        currency = result["cost"]["currency"]
        amount = words.money(cost, currency, 0) if cost is not None else words.measure(kwh, "kWh", 0)
        away = _(
            "Away for a week in winter: set the rooms to {away}; don't switch the heating off, or pipes may"
            " freeze. That saves at most about {amount}.",
            away=words.measure(AWAY_C, "°C", 0),
            amount=amount,
        )
        out.append(f"{away} {_back_again(margin)}")
    if margin is not None:
        out.append(_set_back(margin, warm))
    if site.hot_water is not None:
        out.append(_leave_hot_water(pasteurised=bool(site.hot_water.pasteurise_c)))
    return out


def _leave_hot_water(*, pasteurised: bool) -> str:
    """Caution for stored hot water; local rules and the installer's instructions come first."""
    leave = (
        _(
            "Leave the hot water as it is while you are away, with its regular hot run: lukewarm water in the"
            " cylinder can breed Legionella."
        )
        if pasteurised
        else _(
            "Leave the hot water as it is while you are away, with its temperature: lukewarm water in the"
            " cylinder can breed Legionella."
        )
    )
    off = _("If it was off for some days, take care.")
    return f"{leave} {off} {_(cautions.PAUSED)}"


def _week_away(result: dict[str, Any]) -> tuple[float, float | None] | None:
    """Upper limit of the saving of a week at AWAY_C [kWh, money]: as if the house cooled down at once."""
    fit = (result["heat_loss"]["coefficient_w_per_k"] or {}).get("value")
    spf = (result["performance"]["space_heating"] or result["performance"]["H4"] or {}).get("value")
    if not fit or not spf:
        return None
    warm = next((z["mean_c"] for z in result["comfort"]["zones"].values()), 20.0)
    if warm <= AWAY_C + 1.0:
        return None
    kwh = fit * (warm - AWAY_C) * 168.0 / 1000.0 / spf
    price = result["cost"]["mean_price"]
    return kwh, None if price is None else kwh * price


def _back_again(margin: float | None) -> str:
    if margin is not None and margin < SOME_TO_SPARE:
        return _(
            "Turn it up again two days before you come back: your heat pump has little to spare in frost."
        )
    return _("Turn it up again a day before you come back.")


def _set_back(margin: float, warm: float) -> str:
    set_to = words.degrees(round(2.0 * warm) / 2.0)
    if margin < LITTLE_TO_SPARE:
        return _(
            "At night in frost, leave the set temperature as it is: your heat pump needs the night to keep"
            " up. In mild weather one degree less is fine."
        )
    if margin < PLENTY_TO_SPARE:
        return _(
            "At night one or two degrees below {warm} is enough. More saves little and makes the mornings"
            " cold.",
            warm=set_to,
        )
    return _(
        "At night up to three degrees below {warm} is fine; your heat pump has the power to warm the rooms"
        " again.",
        warm=set_to,
    )
