"""Sentences for the household on other heat sources and solar electricity."""

from __future__ import annotations

from typing import Any

from fieldfare.analysis.minutes.balance import meter_counts_other
from fieldfare.analysis.plant.site import Site
from fieldfare.dashboards.text import words
from fieldfare.dashboards.text.language import gettext as _
from fieldfare.dashboards.text.language import listed, marked, ngettext

_ALSO = {
    ("boiler", "rooms"): marked("A boiler also heats your rooms."),
    ("boiler", "water"): marked("A boiler also heats your hot water."),
    ("boiler", "both"): marked("A boiler also heats your rooms and your hot water."),
    ("stove", "rooms"): marked("A stove also heats your rooms."),
    ("stove", "water"): marked("A stove also heats your hot water."),
    ("stove", "both"): marked("A stove also heats your rooms and your hot water."),
    ("solar_thermal", "rooms"): marked("Solar collectors also heat your rooms."),
    ("solar_thermal", "water"): marked("Solar collectors also heat your hot water."),
    ("solar_thermal", "both"): marked("Solar collectors also heat your rooms and your hot water."),
}
_PANELS = {
    "flow": marked("makes the radiator water up to {kelvin} °C warmer"),
    "room": marked("makes the rooms up to {kelvin} °C warmer"),
    "water": marked("heats the hot water to {water}"),
    "immersion": marked("heats the hot water with the electric heater in the cylinder"),
}


def beside(site: Site, result: dict[str, Any]) -> list[str]:
    """Sentences about each other source in the site file; empty without any.

    result : a result document of any age
    """
    return [*_heat(site, result.get("other_heat")), *_panels(site)]


def _heat(site: Site, other: dict[str, Any] | None) -> list[str]:
    sentences = []
    for source in site.other_heat:
        both = len(source.serves) > 1
        serves = "both" if both else "rooms" if source.serves == ("space_heating",) else "water"
        sentences.append(_(_ALSO[source.kind, serves]))
        if source.below_c is None:
            continue
        below = words.measure(source.below_c, "°C", 0)
        if source.alone:
            sentences.append(
                _(
                    "Below {below} outdoors it heats the rooms instead of the heat pump, which rests.",
                    below=below,
                )
            )
        else:
            sentences.append(_("It works when it is colder than {below} outdoors.", below=below))
    if not sentences:
        return []
    return [*sentences, _amount(site, other), *_fuel(site)]


def _amount(site: Site, other: dict[str, Any] | None) -> str:
    """Heat from other sources, or why it is not known."""
    heat, n = (other or {}).get("heat_kwh"), len(site.other_heat)
    if heat is not None:
        return ngettext(
            "It gave {heat} beside the heat pump.",
            "Together they gave {heat} beside the heat pump.",
            n,
            heat=words.measure(heat, "kWh", 0),
        )
    if meter_counts_other(site):
        return ngettext(
            "The heat above includes what it gave; how much that was is not measured.",
            "The heat above includes what they gave; how much that was is not measured.",
            n,
        )
    return ngettext(
        "How much heat it gave is not measured: the heat above is the heat pump's alone.",
        "How much heat they gave is not measured: the heat above is the heat pump's alone.",
        n,
    )


def _fuel(site: Site) -> list[str]:
    burning = sum(s.kind in ("boiler", "stove") for s in site.other_heat)
    if not burning:
        return []
    return [
        ngettext("Its fuel is not counted in the costs.", "Their fuel is not counted in the costs.", burning)
    ]


def _panels(site: Site) -> list[str]:
    pv = site.pv
    if pv is None:
        return []
    does = []
    if pv.raises_room_k > 0.0:
        does.append(_(_PANELS["room"], kelvin=words.number(pv.raises_room_k, 0)))
    if pv.raises_flow_k > 0.0:
        does.append(_(_PANELS["flow"], kelvin=words.number(pv.raises_flow_k, 0)))
    if pv.raises_hot_water_to_c is not None:
        does.append(_(_PANELS["water"], water=words.measure(pv.raises_hot_water_to_c, "°C", 0)))
    if pv.immersion:
        does.append(_(_PANELS["immersion"]))
    sentences = [_("Your own solar panels give part of the heating's electricity.")]
    if does:
        sentences.append(
            _("While they give more than the house needs, the heating {does}.", does=listed(does))
        )
    return [
        *sentences,
        _("The electricity above is all that the heating used: your own and what you bought."),
    ]
