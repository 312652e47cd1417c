"""Handbook texts of the plots: contents, basis and blind spots."""

from __future__ import annotations

from fieldfare.dashboards.handbook.figures import FigureEntry
from fieldfare.dashboards.handbook.texts import HandbookText

_ALL_FOUR = "Heat, electricity, flow and outdoor temperature."

CHARTS: dict[str, FigureEntry] = {
    "heat": FigureEntry(
        "What the house needs, what the unit can give",
        "Heat and outdoor temperature.",
        HandbookText(
            "A point for each day: heat to the rooms over outdoor temperature, with the house's line as"
            " measured and by design, and the unit's output.",
            "Daily means; the measured line is the heat loss fit. Output is the rating carried to the"
            " heating curve's flow temperature.",
            "The day's sun, wind and people, which scatter the points about the line.",
        ),
    ),
    "curve": FigureEntry(
        "Flow temperature against outdoor temperature",
        "Flow and outdoor temperature.",
        HandbookText(
            "A point for each day, the fitted line and the designed curve.",
            "Means of the minutes of steady heating of each day with an hour of it.",
            "Changes of the setting within a day.",
        ),
    ),
    "efficiency": FigureEntry(
        "Efficiency by outdoor and flow temperature",
        _ALL_FOUR,
        HandbookText(
            "Heat to the rooms over its electricity in each cell of outdoor and flow temperature; a frame"
            " marks cells well below the rating.",
            "All days of a cell together: sum of heat over sum of electricity.",
            "Cells without a day. Few days in a cell scatter more.",
        ),
    ),
    "months": FigureEntry(
        "Efficiency over time",
        "Heat and electricity.",
        HandbookText(
            "Performance of each day and each month.",
            "Heat over electricity at the widest boundary that the meters separate.",
            "Short spans in mild weather: little heat makes a day's ratio uncertain.",
        ),
    ),
    "water": FigureEntry(
        "Water through the heat pump",
        "Flow rate.",
        HandbookText(
            "Water flow while heating, day by day, beside the nominal flow.",
            "Mean flow of the day's heating minutes.",
            "Flow after the buffer. A pump that slows down in mild weather is no fault.",
        ),
    ),
    "pressure": FigureEntry(
        "Pressure of the heating circuit",
        "System pressure.",
        HandbookText(
            "The circuit's pressure, day by day.",
            "Median of the day's readings.",
            "Swings within the day: see the pressure's model.",
        ),
    ),
    "rooms": FigureEntry(
        "Room temperature",
        "Room temperature; the set temperature where there is one.",
        HandbookText(
            "Room and set temperature, day by day.",
            "Daily means over all measured zones.",
            "The hours of the day: see the trace.",
        ),
    ),
    "cylinder": FigureEntry(
        "Cylinder temperature",
        "Cylinder temperature.",
        HandbookText(
            "The hottest and the coolest stored water of each day, with setpoint and disinfection.",
            "Highest and lowest reading of the day at the sensor.",
            "Layers above and below the sensor.",
        ),
    ),
    "idle": FigureEntry(
        "Power while idle",
        "Heat pump electricity as power, every few minutes.",
        HandbookText(
            "What the unit draws at rest, day by day.",
            "Mean power of the day's rests.",
            "Which part of the unit draws it.",
        ),
    ),
    "frost": FigureEntry(
        "Coldest water in frost",
        "A water temperature and outdoor temperature.",
        HandbookText(
            "The coldest water in the unit and the coldest air of days with frost.",
            "Lowest reading of each day.",
            "Colder spots between the sensors.",
        ),
    ),
    "coverage": FigureEntry(
        "Share of each day with readings",
        "Any reading.",
        HandbookText(
            "How much of each day was read.",
            "Minutes with readings over the minutes of the day.",
            "Whether the readings are right.",
        ),
    ),
    "direct": FigureEntry(
        "Direct electric heat",
        "A meter for the back-up or the immersion heater.",
        HandbookText(
            "Electricity of back-up and immersion heater, day by day.",
            "Sum of each meter's day.",
            "A heater inside another meter.",
        ),
    ),
    "against_rating": FigureEntry(
        "Efficiency against its rating, day by day",
        _ALL_FOUR,
        HandbookText(
            "Each day's efficiency as a share of the rating at the same temperatures, with the middle before"
            " and after a fall.",
            "Heat over electricity, over what the rating gives at that day's temperatures.",
            "The share in part load where the rating has no such point.",
        ),
    ),
    "runs": FigureEntry(
        "When it ran",
        "Electricity, compressor speed or mode, every few minutes.",
        HandbookText(
            "When the compressor ran, for rooms and for hot water, hour by hour of each day.",
            "Each run from its start to its end in the home's own time zone.",
            "Runs shorter than two readings apart.",
        ),
    ),
    "defrosts": FigureEntry(
        "When it defrosted",
        "A defrost signal, the mode, or heat every two minutes.",
        HandbookText(
            "Each defrost at its hour. A mark of its own shows defrosts in air that can't frost a coil.",
            "Start of each defrost in the home's own time zone.",
            "Defrosts shorter than two readings apart.",
        ),
    ),
    "reheats": FigureEntry(
        "Hot-water reheats",
        "Cylinder temperature, or the mode.",
        HandbookText(
            "Each charge of the cylinder, from the temperature at which it began to where it ended.",
            "A charge begins and ends by mode, diverter or the cylinder's warming.",
            "What was drawn during the charge.",
        ),
    ),
    "expected-defrost": FigureEntry(
        "Defrosts, measured and expected",
        "Outdoor temperature and defrosts; humidity makes it sharper.",
        HandbookText(
            "Defrosts of each week beside those that its frost asks for.",
            "A unit defrosts when its coat of frost blocks the air: frost mass over the coat of one defrost.",
            "The real coil; three guesses of it give the band.",
        ),
    ),
    "expected-frost": FigureEntry(
        "Frost, melted and expected",
        "Outdoor temperature, defrosts and their heat; humidity makes it sharper.",
        HandbookText(
            "Frost melted in each week, by the defrosts' heat, beside what settles by air and load.",
            "Heat and moisture pass the same film of air (Lewis relation).",
            "Melt water that drains slowly and freezes again.",
        ),
    ),
    "expected-cycling": FigureEntry(
        "Run length, measured and expected",
        "Runs, load and the unit's least output.",
        HandbookText(
            "Length of heating runs below the least output, beside what water content and load give.",
            "Run = C x band / (P - Q), rest = C x band / Q, with heat capacity C, least output P, load Q.",
            "Thermostats and valves that cut runs short; that is what the difference shows.",
        ),
    ),
    "expected-part-load": FigureEntry(
        "Efficiency over the rating, measured and expected",
        _ALL_FOUR,
        HandbookText(
            "Each day's efficiency over the rating at full output, beside what part load gains.",
            "Smaller temperature differences at coil and condenser shrink the lift; starts cost their share.",
            "A unit's own best speed, until its own days have shown it.",
        ),
    ),
    "expected-water-flow": FigureEntry(
        "Flow-return difference, measured and expected",
        "Flow and return temperature; nominal flow or rated output.",
        HandbookText(
            "Flow less return temperature of long runs beside what nominal flow gives at the run's output.",
            "Difference = output / (flow rate x heat coefficient of water), EN 1434-1.",
            "A pump that holds the difference by itself.",
        ),
    ),
    "expected-reheat": FigureEntry(
        "Length of reheats, measured and expected",
        "Charges of the cylinder; its volume; the unit's rating.",
        HandbookText(
            "Length of each charge against the length expected from output, coil and flow limit.",
            "Up to the flow limit the unit gives its output; from there on the coil's shrinking difference"
            " sets the pace.",
            "Water drawn during the charge.",
        ),
    ),
    "expected-charge-balance": FigureEntry(
        "Heat taken up by the cylinder, measured and expected",
        "Heat of charges, cylinder temperature and volume.",
        HandbookText(
            "Share of each charge's heat that the cylinder took up.",
            "Volume x heat of water x warming, over the heat given in the charge.",
            "Layers in the cylinder that one sensor does not show.",
        ),
    ),
    "expected-cylinder-cooling": FigureEntry(
        "Standing loss of the cylinder, measured and expected",
        "Cylinder temperature and volume.",
        HandbookText(
            "The slowest cooling of each day, as heat lost per kelvin, beside the cylinder's rating.",
            "Volume x heat of water x cooling rate over the difference to the room.",
            "Small steady draws.",
        ),
    ),
    "expected-pressure": FigureEntry(
        "Pressure over water temperature, measured and expected",
        "System pressure and water temperature, every quarter hour.",
        HandbookText(
            "Rise of the pressure per kelvin of water on each day, beside the steepest that the smallest"
            " suitable vessel allows.",
            "Water expands, the vessel's gas takes it up. A vessel by EN 12828 gives the slope; the"
            " circuit's volume cancels.",
            "A vessel larger than needed hides a part of its loss.",
        ),
    ),
    "expected-electricity": FigureEntry(
        "Electricity, measured and expected by the design",
        "Electricity, outdoor temperature and the design.",
        HandbookText(
            "Each day's electricity beside what design and weather explain.",
            "The design's heat and hot water at that day's temperature, over the designed performance.",
            "House, unit and people apart.",
        ),
    ),
    "expected-signature": FigureEntry(
        "Electricity over outdoor temperature, measured and by its own signature",
        "Electricity and outdoor temperature.",
        HandbookText(
            "Each day's electricity over outdoor temperature beside the home's own line.",
            "A falling line and a level base, fitted by exact least squares; intervals allow for days that"
            " resemble the day before.",
            "A base in a home that never saw mild weather.",
        ),
    ),
    "expected-mixed": FigureEntry(
        "Electricity for the heat given, measured and by the rating",
        "Heat, electricity, outdoor temperature and the unit's rating.",
        HandbookText(
            "Each day's electricity beside what the rating asks for its heat, a usual part of it hot water.",
            "Hot water at 50 °C and more, rooms at the curve's temperature; the share of hot water follows"
            " the season.",
            "Days with unusual hot water.",
        ),
    ),
    "expected-cold-room": FigureEntry(
        "Cold rooms: what was measured beside what each cause would show",
        "Rooms with set temperatures; the unit's work and water temperatures.",
        HandbookText(
            "Facts of the days with cold rooms, in standard deviations from what each cause would show.",
            "Each cause predicts several facts; its weight is their likelihood times its prior (Bayes).",
            "Facts that were not measured; they count for no cause.",
        ),
    ),
}
"""By the plot's name in its address."""
