"""Handbook texts of the findings about operation: stops, starts, defrosts, flow, power."""

from __future__ import annotations

from fieldfare.dashboards.handbook.texts import HandbookText

OPERATION: dict[str, HandbookText] = {
    "unit_stopped": HandbookText(
        "Heat is due and the heat pump gives none. The house or the hot water gets cold, and in frost water"
        " in the unit can freeze.",
        "The length of the present rest is compared with this unit's own rests in comparable weather, scaled"
        " to the house's need. Cold rooms, a cold cylinder, back-up heat and a missing standby draw raise the"
        " probability of a stop. Starts broken off within minutes, runs that cool the water, and running"
        " without heat while the rooms cool are no work. A stop of two days and more in the heating season"
        " that ended by itself is asked about for four months, unless the unit was worked on since; a shorter"
        " one for a week.",
        "What happened inside the unit. With electricity or heat and the outdoor temperature alone, a"
        " lock-out is rarely known within an hour: healthy units of most homes rest as long, and on a mild"
        " day for two hours and more. It is reported as possible once such a rest is less likely than a stop:"
        " within two hours for one lock-out in six, within six hours for half of them. Known within the hour"
        " are a missing supply, and a lock-out where a heat call, a target flow temperature, the operating"
        " mode or the fault code is measured. A set temperature lowered unseen looks like a stop.",
    ),
    "fault_reported": HandbookText(
        "The unit itself reports a fault code.",
        "Reports of `fault_code` are grouped into episodes. How often they come, how long they stay and"
        " whether the unit stood still meanwhile set the severity.",
        "What the code means: see the maker's list. Faults that the unit does not report.",
    ),
    "short_cycling": HandbookText(
        "The compressor starts too often or runs too briefly for the weather. That wears it and costs"
        " efficiency.",
        "Each day's starts per running hour and median run length are compared with limits that depend on"
        " the load: short runs are normal in mild weather and not in cold. Hot-water runs are left out.",
        "Runs shorter than the distance between two readings. With a start counter only, whether the starts"
        " were for rooms or for hot water.",
    ),
    "excessive_defrost": HandbookText(
        "The outdoor unit defrosts more often, longer or at higher cost than air and load explain.",
        "The frost that air humidity, temperature and output put on the coil is estimated with its"
        " uncertainty. Measured defrosts, their length and heat are compared with what it needs. The balance"
        " of heat tells most: defrosts that take several times what the frost can take come too soon. A timer"
        " is a note, unless more than half of its defrosts are for nothing and they take much of the heat. A"
        " defrost signal or mode every five minutes shows the least number there is, and is judged by that.",
        "The state of the coil itself: ice, dirt and a low charge leave the same trace. Without a humidity"
        " sensor the range is wider.",
    ),
    "defrost_without_frost": HandbookText(
        "The unit defrosts although no frost can have formed. Each such defrost wastes heat.",
        "The most frost that can have settled since the last defrost, in the dampest air and on the coldest"
        " plausible coil, is compared with what a defrost melts. Defrosts that melt nothing tell the more,"
        " the further their number is beyond what frost may bring. An even spacing shows a timer.",
        "Whether the coil sensor, the control settings or the refrigerant charge is the reason.",
    ),
    "low_flow": HandbookText(
        "Too little water passes through the heat pump. It must then run hotter, loses efficiency and may"
        " trip.",
        "The flow rate, or the flow-return difference at the highest output seen, is compared with the"
        " nominal one. A pump that slows down in mild weather is not counted.",
        "Whether air, a strainer, a valve or the pump setting is the reason, unless the flow's course over"
        " time shows it.",
    ),
    "falling_flow": HandbookText(
        "The water flow falls from week to week. Most often a strainer clogs.",
        "A robust straight line is fitted to the daily flow of steady running. The fall must exceed the"
        " day-to-day scatter.",
        "What clogs. A pump whose setting was changed shows as a step, not as a slide.",
    ),
    "buffer_mixing": HandbookText(
        "Return water mixes into the flow at the buffer, so the emitters get cooler water than the heat pump"
        " makes. The heat pump runs hotter than needed.",
        "The flow temperature before and after the buffer is compared during steady running.",
        "The flow on the house side where it is not measured. Two sensors that differ by a kelvin look like"
        " a little mixing.",
    ),
    "high_standby": HandbookText(
        "The unit draws too much while it rests, around the clock.",
        "The usual power of rests is compared with limits that allow for the unit's size and for a pump.",
        "What draws the power: crankcase heater, pump or controls, unless they have meters of their own.",
    ),
    "pump_always_on": HandbookText(
        "A circulation pump runs although nothing asks for heat.",
        "Pump power or flow rate is looked at in minutes without a call for heat and without a running"
        " compressor. Where no call is measured and the weather is cold, it stays a note: a system led by its"
        " curve alone keeps its water moving.",
        "Whether frost protection or a maker's setting asks for it. A pump inside the unit's own meter.",
    ),
    "backup_heater_use": HandbookText(
        "The direct electric heater works in weather the heat pump should carry alone. Its heat costs two to"
        " four times as much.",
        "Back-up heat in weather milder than the design lets it help is added up and compared with the"
        " heat to the rooms.",
        "Why the control called it, where no room or flow temperature is measured.",
    ),
    "immersion_use": HandbookText(
        "The immersion heater makes everyday hot water, not only disinfection runs. That costs two to three"
        " times as much.",
        "Immersion electricity outside scheduled disinfection is averaged over all days.",
        "Whether a timer, a person or the control switched it on.",
    ),
}
