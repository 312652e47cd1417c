"""Texts on a unit that does not run: for the installer, for the householder, and cautions."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.model import Severity
from fieldfare.analysis.findings.phrases import day_text
from fieldfare.analysis.findings.stopped.failed_starts import is_barren
from fieldfare.analysis.findings.stopped.heat_due import Reason
from fieldfare.analysis.findings.stopped.rests import Rest, local
from fieldfare.analysis.physics.water import freezing_point

_WHY = {
    "floor": "the rooms have cooled to {room:.0f} °C",
    "room": "the rooms are at {room:.0f} °C",
    "weather": "at {outdoor:.0f} °C outdoors",
    "call": "the rooms call for heat",
    "flow": "the controls call for heating",
    "mode": "its operating mode says that it is running",
    "cylinder": "the cylinder has cooled to {tank:.0f} °C",
    "fault": "it reports a fault",
    "power": "it draws nothing",
    "pause": "a longer pause than usual in comparable weather",
    "habit": "it ran every day before",
}


POSSIBLE_STEP = (
    "Check again within the hour: if it is still off, ring the household and ask what the"
    " controller's display shows. A thermostat's heat call, a flow set temperature or the unit's mode"
    " would settle it at once."
)
POSSIBLE_HOME = (
    "Your heat pump has been off for longer than usual. It may be a normal pause; if your rooms get"
    " cold, please ring your installer."
)


def possible_headline(context: Context, rest: Rest) -> str:
    """A rest that may be a pause or a stop."""
    since = f"{local(context, rest.start):%-d %b %H:%M}"
    return f"The heat pump may have stopped: it has been off since {since}, {_WHY['pause']}."


def headline(context: Context, rest: Rest, reasons: list[Reason], cause: str) -> str:
    kinds = [r.kind for r in reasons]
    begin = local(context, rest.start)
    since = (
        f"since {begin:%-d %b %H:%M}" if rest.begun else f"in all {rest.hours:.0f} hours of these readings"
    )
    if rest.ended:
        since = f"for {rest.hours:.0f} hours, until {local(context, rest.end):%-d %b %H:%M}"
    if "heater" in kinds:
        return _heater_headline(rest, since)
    who = {
        "unit": "The heat pump {gave} no heat",
        "tries": "The heat pump {gave} no heat",
        "heating": "The heat pump {gave} the rooms no heat",
        "hot_water": "The heat pump {gave} the cylinder no heat",
    }[rest.kind].format(gave="gave" if rest.ended else "has given")
    other = {"heating": ", while it still makes hot water", "hot_water": ", while it still heats the rooms"}
    why = [
        _WHY[k].format(room=rest["room_last_c"], outdoor=rest["outdoor_mean_c"], tank=rest["tank_last_c"])
        for k in dict.fromkeys(kinds)
        if not (k == "power" and cause == "no_power")
    ]
    text = f"{who} {since}{other.get(rest.kind, '')}"
    text += f": {' and '.join(why[:2])}" if why else ""
    ends = {
        "no_power": (
            "It has no power supply: it draws nothing at all."
            if rest["minutes_powerless"] > 0
            else "It seems to have no power supply."
        ),
        "locked_out": "It had power." if rest.ended else "It has power and does not start.",
        "switched_off": (
            "It appears to have been switched off." if rest.ended else "It appears to be switched off."
        ),
        "set_to_cooling": "It cools the water instead of heating it.",
    }
    if rest.kind == "tries" and cause == "locked_out":
        return f"{text}. It tried to start {rest['starts']:.0f} times and stopped within minutes."
    if is_barren(rest):
        return f"{text}. It runs, at {rest['power_mean_w']:.0f} W on average, and gives no heat."
    speaks = rest.kind == "unit" or cause == "set_to_cooling"
    # A pause that was over by itself, and nothing but its length, says nothing of a cause.
    speaks &= not (rest.ended and kinds == ["pause"])
    return f"{text}. {ends.get(cause, '') if speaks else ''}".strip()


def _heater_headline(rest: Rest, since: str) -> str:
    """Headline where a direct heater replaces the unit."""
    if not rest["backup_kwh"] >= 1.0:
        kwh = rest["immersion_kwh"]
        return (
            f"The immersion heater alone makes the hot water ({kwh:.0f} kWh): the compressor gave no"
            f" heat {since}."
        )
    return (
        f"The back-up heater alone heats the house ({rest['backup_kwh']:.0f} kWh of direct electric"
        f" heat): the compressor gave no heat {since}."
    )


def barren_step() -> str:
    """Next step for a unit that runs without giving heat."""
    return (
        "Ring at once: what does the controller's display show, does the water pump turn, and is ice on the"
        " outdoor unit? Go there: water flow and valves first, then the refrigerant circuit. A defrost that"
        " does not end shows on the display."
    )


def barren_home(when: str) -> str:
    """The same for the householder. when : start, as text"""
    return (
        f"Your heat pump has run without giving heat {when}. Please ring your installer now. Open nothing on"
        " it, and keep one room warm by other safe means."
    )


def next_step(rest: Rest, cause: str) -> str:
    """The phone first; then the visit."""
    first = {
        "no_power": (
            "Ring at once: is the unit's breaker or isolator off, or the residual-current device tripped? "
            "It may be switched on once; if it "
            "trips again leave it off and go there."
        ),
        "locked_out": (
            "Ring at once: what does the controller's display show? Have it read out word for word. Reset "
            "only as the maker's manual allows, "
            "once; if it locks out again, go there."
        ),
        "switched_off": (
            "Ring at once: did somebody switch it off, set a holiday or lower the targets? If so have it "
            "switched on again, or left at its "
            "frost setting with the power on."
        ),
        "set_to_cooling": (
            "Ring at once: does the controller show cooling? Have it set to heating. If it shows heating, go "
            "there: the reversing valve or the wiring of the changeover may have failed."
        ),
    }.get(cause, "Ring at once: breaker, controller display, room thermostat.")
    if rest.kind == "tries" and cause == "locked_out":
        first = (
            "Ring at once: what does the controller's display show, and does the water pump turn? Have the"
            " fault memory read out. Go there: water flow (pump, strainer, air, closed valves) first, then"
            " the unit."
        )
    if is_barren(rest):
        first = barren_step()
    extra = {
        "heating": (
            " Hot water still works, so supply and compressor do: ask for the heating's mode, the room "
            "thermostat and the diverter valve."
        ),
        "hot_water": (
            " The rooms are heated, so supply and compressor work: ask for the hot-water mode, the "
            "diverter valve and the cylinder sensor."
        ),
    }.get(rest.kind, "")
    return first + extra + " If nobody answers, treat the unit as stopped and go there."


def caution(context: Context, kind: str) -> str:
    """Freezing, and what must not be bypassed."""
    text = (
        "Never bypass a pressure switch, a flow switch, a residual-current device or any other safety "
        "device to make it run."
    )
    if kind == "hot_water":
        return (
            text
            + " Water that has stood lukewarm is heated through to the disinfection temperature before it "
            "is used again (Legionella); it can scald."
        )
    pump = context.site.heat_pump
    if pump.antifreeze != "none" and pump.antifreeze_percent > 0:
        safe = float(np.asarray(freezing_point(pump.antifreeze, pump.antifreeze_percent)))
        frost = (
            f" By the site file the circuit holds antifreeze down to about {safe:.0f} °C; have its strength "
            "checked before relying on it."
        )
    else:
        frost = (
            " By the site file the circuit holds no antifreeze: in frost the outdoor unit can freeze and "
            "split within hours."
        )
    return (
        text
        + frost
        + " Keep the supply on so that the unit's own frost protection can work. Draining the outdoor unit "
        "is for licensed people, by "
        "the maker's instructions; mains work is for electricians."
    )


def home(context: Context, rest: Rest, severity: Severity) -> str:
    """A plain sentence for the householder."""
    start = local(context, rest.start)
    when = f"since {day_text(start.date())}, {start:%H:%M}" if rest.begun else "in the readings we have"
    if rest["backup_kwh"] >= 1.0 or (rest["immersion_kwh"] >= 1.0 and rest.kind == "unit"):
        return (
            f"Your heat pump has not worked {when}; a back-up electric heater heats instead, which"
            " costs about three times as much. Please ring your installer."
        )
    if rest.kind == "hot_water":
        return (
            f"Your heat pump has heated the rooms but made no hot water {when}. Please ring your installer."
        )
    if rest.kind == "heating":
        return (
            f"Your heat pump has not heated the rooms {when}, though hot water still works. Please ring "
            "your installer."
        )
    if is_barren(rest):
        return barren_home(when)
    text = f"Your heat pump has not worked {when}, though your home needs heat. Please ring your installer"
    text += " now." if severity == "urgent" else " today."
    return (
        text + " Leave its power switched on, open nothing on it, and keep one room warm by other safe means."
    )
