"""Handbook texts of the findings about heat: curve, efficiency, house, rooms, promise."""

from __future__ import annotations

from fieldfare.dashboards.handbook.texts import HandbookText

HEAT: dict[str, HandbookText] = {
    "flow_temperature_above_curve": HandbookText(
        "The heating water is hotter than the design's heating curve asks. Each kelvin costs 2 to 2.5 % more"
        " electricity.",
        "Flow temperature of steady heating is compared with the designed curve at the same outdoor"
        " temperature, on days cold enough to judge.",
        "Whether the house needs the hotter water: emitters may be smaller than designed. See the room"
        " temperatures.",
    ),
    "flow_temperature_below_curve": HandbookText(
        "The heating water is far cooler than the design's heating curve, so that emitters give much less"
        " heat.",
        "Flow temperature of steady heating is compared with the designed curve at the same outdoor"
        " temperature."
        " Whether the unit lacks what its controls ask, and whether it rests, parts a low setting from water"
        " that is not reached. Where rooms are at their set temperature nothing is reported.",
        "Whether cooler water is meant, where no room is measured. A flow sensor that reads low looks the"
        " same.",
    ),
    "no_weather_compensation": HandbookText(
        "The flow temperature stays the same in cold and in mild weather, so mild days cost too much.",
        "The slope of flow temperature against outdoor temperature is compared with the designed slope.",
        "A weather range too narrow to show a slope. Room control that moves the flow can hide it.",
    ),
    "heating_out_of_season": HandbookText(
        "The system heats rooms in warm weather.",
        "Hours of space heating on days warmer than the heating limit are averaged. The limit is lower, at"
        " the end of the heating season, for days whose rooms are well above the design's temperature.",
        "Whether someone asked for it. Without a reported use, small hot-water charges can look alike.",
    ),
    "efficiency_below_expected": HandbookText(
        "The unit delivers less heat for its electricity than its own rating at the same temperatures.",
        "Each day's heat over electricity is compared with the EN 14511 rating points, carried to the"
        " temperatures that occurred and corrected for part load, with the uncertainty of both. A shortfall"
        " is weighed against how often sound units show one as large by meters, rating and part load alone.",
        "The reason inside the unit. A heat meter that reads low looks the same: check the meter findings"
        " first.",
    ),
    "efficiency_fell": HandbookText(
        "The efficiency is lower than it used to be under the same conditions, since a certain day.",
        "Daily efficiency relative to the rating is searched for the step or slide that explains it best."
        " Days before and after are compared at the same outdoor and flow temperatures, and the chance of a"
        " mere coincidence is given.",
        "A fall before the first reading. A change of meter on that day looks the same.",
    ),
    "heat_loss_above_design": HandbookText(
        "The house loses more heat than the design said. It costs more, and the unit may be too small.",
        "A robust line is fitted to daily heat against outdoor temperature. Its slope, corrected for sun and"
        " gains, is the heat loss coefficient; at the design temperatures it is compared with the design.",
        "Where the heat goes. Open windows, warmer rooms than designed and a leaking diverter valve raise it"
        " too.",
    ),
    "heat_loss_below_design": HandbookText(
        "The house loses less heat than the design said. The flow temperature can often come down.",
        "As for a loss above the design. Where no room is measured the limit is stricter, because cooler"
        " rooms look the same.",
        "Heat that nobody meters, such as a stove, makes the loss look smaller.",
    ),
    "capacity_short": HandbookText(
        "The unit may not hold the house warm on the design day, or it failed to on a cold one.",
        "Output at the design temperatures, measured at full work or by rating, is compared with the"
        " measured load including hot water. Days on which it ran flat out and rooms fell short count too.",
        "Output colder than anything yet measured or rated. Help from a back-up heater without a meter.",
    ),
    "room_below_target": HandbookText(
        "Rooms are colder than their set temperature for a good part of the time, or far below the design.",
        "The shortfall under the set temperature is averaged per zone and day, without the recovery after a"
        " set-back. Each possible cause is weighed by what unit, water and other rooms did. A room without"
        " a set temperature is held against the design, and against the chance that the household wants it"
        " so.",
        "Rooms without a sensor. An open window, or a thermostat moved by hand, looks like a fault.",
    ),
    "performance_below_promise": HandbookText(
        "Over a season the system performs worse than its design promised, at the design's own weather.",
        "Measured performance is carried from the weather that occurred to the design year's (EN 14825"
        " reference season moved to the place) and compared with the designed seasonal performance.",
        "The reason: other findings explain it where they can. Fewer hot-water days than a year tell little"
        " about hot water.",
    ),
    "electricity_above_expected": HandbookText(
        "The home uses more electricity than design and weather explain. No heat is measured here.",
        "Each whole day's electricity is compared with what the design's heat, hot water and performance ask"
        " for at that day's temperature.",
        "Whether house, unit or people use it. Only a wide excess is reported, because few houses are"
        " exactly as designed.",
    ),
}
