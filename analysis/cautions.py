"""Safety cautions, each defined once: scalding, Legionella, mains, pressure, refrigerant, ice,
fuel.

Every text about hot water takes its caution from here. A text that advises a stored temperature in the range
in which Legionella grows, or a pause of the hot water, must carry it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldfare.analysis.physics.hot_water import DISINFECTED_AT_C, GROWTH_C, SCALD_FROM_C

if TYPE_CHECKING:
    from fieldfare.analysis.plant.site import Site

LEGIONELLA = (
    f"Legionella grows in water between {GROWTH_C[0]:g} and {GROWTH_C[1]:g} °C: keep the scheduled"
    " disinfection, and follow local rules and the maker's instructions."
)
SCALD = (
    f"From {SCALD_FROM_C:g} °C at the tap on water scalds, children and frail people first: a tempering"
    " (mixing) valve is needed, set and checked by local rules."
)
LICENSED = (
    "Work on unvented cylinders, safety and relief valves, pressure and mains parts is for licensed people,"
    " by the maker's instructions."
)
NEVER_TRADE = "Never trade one against the other to save electricity."
HOT_WATER = f"{SCALD} {LEGIONELLA} {NEVER_TRADE} {LICENSED}"
PAUSED = (
    "Water that stood lukewarm can hold Legionella: before the first use let the cylinder reach its"
    " disinfection temperature and hold it, then run every tap and shower without breathing the spray."
)

HEALTHY_ROOM_C = 18.0
"""Lowest indoor temperature that protects health in temperate and cold climates (WHO Housing and health
guidelines, 2018, chapter 4: low indoor temperatures and insulation)."""
COOL_ROOMS = (
    f"Keep rooms that are lived in at {HEALTHY_ROOM_C:g} °C or more, and warmer for babies, old and ill"
    " people (WHO Housing and health guidelines, 2018). Cool and damp rooms grow mould: air them well. Keep"
    " unused rooms warm enough too: pipes in them can freeze."
)

ICE = (
    "Never chip ice off or pour hot water over the unit: fins, fan and refrigerant pipes break. Switch it off"
    " before reaching inside. Meltwater makes paths slippery. Work on the refrigerant circuit is for"
    " certified people."
)
MAINS = (
    "Covers stay on: only licensed people work on mains parts. Restart once by the maker's instructions, not"
    " again and again."
)
FUEL = (
    "Work on a boiler or stove is for people licensed for its fuel. Smell of gas, smoke, or a carbon monoxide"
    " alarm: switch nothing, open windows, leave the house and call the emergency number."
)
MAINS_WORK = (
    "Isolate the supply and make sure it stays off before a cover comes off; mains work is for people"
    " licensed for it, by local codes and the maker's instructions."
)
METER_WORK = (
    "The meter stands in a mains circuit: only an electrician licensed for it opens the board, under the"
    " local code."
)
FLAMMABLE = frozenset({"R290", "R600A", "R1270", "R32", "R454B", "R454C"})
"""Refrigerants of the safety classes A2L and A3 of ISO 817 that heat pumps use (from memory)."""


def can_scald(at_tap_c: float) -> bool:
    """True where water of this temperature at the tap scalds."""
    return at_tap_c >= SCALD_FROM_C


def grows(stored_c: float) -> bool:
    """True where Legionella grows in water stored at this temperature."""
    return GROWTH_C[0] <= stored_c < GROWTH_C[1]


LEGIONELLA_GROWS_AT = "At {temperature:g} °C it can grow in the whole cylinder between two disinfections."


def parts_of_setpoint(stored_c: float) -> tuple[str, ...]:
    """The sentences of a store's caution, for translation; GROWS_AT lacks its temperature [°C]."""
    return (
        LEGIONELLA,
        *((LEGIONELLA_GROWS_AT,) if grows(stored_c) else ()),
        *((SCALD,) if can_scald(stored_c) else ()),
    )


def of_setpoint(stored_c: float) -> str:
    """The caution for a store kept at a temperature [°C]: Legionella always, scalding from 50 °C on."""
    return " ".join(part.format(temperature=stored_c) for part in parts_of_setpoint(stored_c))


def least_stored_c(*, disinfected: bool) -> float:
    """Coldest drinking water to store [°C]. disinfected : a thermal disinfection is scheduled"""
    return GROWTH_C[1] if disinfected else DISINFECTED_AT_C


def setpoint_advice(reach_c: float, *, disinfected: bool) -> str:
    """Advice for a setpoint above the unit's reach; never one at which Legionella grows.

    reach_c : what the unit reaches by itself [°C]. disinfected : a thermal disinfection is scheduled
    """
    least = least_stored_c(disinfected=disinfected)
    if reach_c >= least:
        kept = (
            "keep the scheduled disinfection"
            if disinfected
            else "schedule a disinfection if local rules ask for one"
        )
        return (
            f"Set the hot-water setpoint to what the unit reaches by itself, {reach_c:.0f} °C here and never"
            f" below {least:g} °C, and {kept}."
        )
    if disinfected:
        why = f"below {least:g} °C Legionella grows between two disinfections"
    else:
        why = f"no disinfection is scheduled, and below {least:g} °C Legionella may survive"
    return (
        f"Leave the setpoint where it is: the unit reaches only {reach_c:.0f} °C by itself, and {why}. Find"
        " out why it reaches no more (flow limit, flow through the coil, scale), and let the immersion"
        " heater finish until then."
    )


def is_flammable(refrigerant: str) -> bool:
    """True for a flammable refrigerant, however its designation is written ("R-290", "r 32")."""
    return refrigerant.upper().replace(" ", "").replace("-", "") in FLAMMABLE


def water_caution(site: Site) -> str:
    """The caution for work that opens or drains the heating circuit."""
    text = (
        "The circuit is hot and under pressure: stop the unit, let it cool, close the valves and let the"
        " pressure off before anything is opened; follow the maker's instructions and local codes."
    )
    if site.heat_pump.antifreeze != "none":
        text += " It holds antifreeze: catch it, top up with the same mixture and check its strength."
    return text


def refrigerant_caution(site: Site) -> str:
    """The caution for work that may involve the refrigerant circuit."""
    gas = site.heat_pump.refrigerant
    text = (
        "The refrigerant circuit is for people licensed for it, by local codes and the maker's instructions:"
        " no gauges, no topping up without finding the leak."
    )
    if gas and is_flammable(gas):
        text += f" {gas} burns: no flame, spark or switch near a leak, and air the place."
    return f"{text} {MAINS_WORK}"


BY_HAND: dict[str, str] = {
    "pressure": "Hot water under pressure: let it cool, isolate and relieve the pressure first.",
    "vessel": (
        "Pressure vessel: follow its maker's instructions; never open the gas side under water pressure."
    ),
    "relief": "Scalding water and steam may escape: keep clear of the discharge.",
    "mains": (
        "Mains voltage: only people qualified for electrical work, isolated and proved dead, by local rules."
    ),
    "fan": "The fan may start by itself and fins cut: isolate the unit first.",
    "ice": "Ice on paths is a fall hazard.",
    "source_fluid": "Source fluid may harm health and drains: follow its data sheet.",
    "antifreeze": (
        "Antifreeze may be poisonous; ethylene glycol is. Gloves, no drains, follow the data sheet and local"
        " rules."
    ),
    "freezing": "A frozen exchanger can burst and let refrigerant into the water.",
    "hot_store": (
        f"Scald risk at taps above {SCALD_FROM_C:g} °C and Legionella risk below {DISINFECTED_AT_C:g} °C in"
        " the store: settle both by local rules, never one at the other's cost."
    ),
    "heater": "Mains voltage and hot water: by qualified people only.",
    "refrigerant": (
        "Refrigerant circuit: only people licensed for it; follow the maker's instructions and local rules."
    ),
}
"""Cautions of manual work, by the names that check lists use."""


def by_hand(name: str, refrigerant: str | None = None) -> str:
    """A caution of manual work. refrigerant : of the unit, which is named in cautions about it"""
    text = BY_HAND[name]
    if name != "refrigerant" or not refrigerant:
        return text
    return (
        f"{refrigerant}{' is flammable: no flame or spark near it' if is_flammable(refrigerant) else ''}."
        f" {text}"
    )
