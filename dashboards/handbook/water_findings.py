"""Handbook texts of the findings about water: hot water, cylinder, circuit pressure, frost."""

from __future__ import annotations

from fieldfare.dashboards.handbook.texts import HandbookText

WATER: dict[str, HandbookText] = {
    "slow_reheat": HandbookText(
        "The cylinder takes longer to heat than unit and coil should need, or hotter water than it used to or"
        " than a coil of its kind needs.",
        "Each reheat's length is compared with the length expected from output, coil and flow limit. Both the"
        " ratio and the extra minutes must matter. The coil's water over the cylinder is also compared with"
        " the plant's own earlier weeks at equal heat: scale raises it, whether or not the charge takes"
        " longer. A coil that was poor from the first day shows against what coils are laid out for: 5 to"
        " 10 K at the unit's rated output.",
        "Whether the coil is too small or scaled up. Hot water drawn during a reheat lengthens it.",
    ),
    "reheat_incomplete": HandbookText(
        "Reheats end before the cylinder reaches its setpoint.",
        "The temperature at the end of each reheat is compared with the setpoint, and the last twenty"
        " minutes show whether it had stalled. Charges that go on for hours and warm nothing speak of the"
        " diverter or the sensor, not of the setpoint.",
        "A sensor that sits lower than the control's own sensor shows a shortfall that is none.",
    ),
    "hot_water_shortfall": HandbookText(
        "Usable hot water runs out at times.",
        "Days are counted on which the cylinder stood below 40 °C for long, or was drawn down so far that a"
        " full charge went back in.",
        "What was drawn at the taps. A sensor low in the cylinder cools before the usable water is gone.",
    ),
    "high_standing_loss": HandbookText(
        "The cylinder cools too fast while nobody draws water. Reheating it costs electricity every day.",
        "The slowest cooling of each day, where nothing was drawn, gives the loss per kelvin; the calm days"
        " count. What colder layers below the sensor add is taken off. It is compared with the rating or"
        " label class of such a cylinder.",
        "Small steady draws, such as a dripping tap. Where the sensor sits, and the temperature of the room"
        " about the cylinder: both widen the uncertainty.",
    ),
    "pasteurisation_missed": HandbookText(
        "A scheduled thermal disinfection did not reach or hold its temperature.",
        "Time at temperature is added up as minutes at 60 °C of equal effect. A day counts as disinfected"
        " from the hold that the limits table names. A run that the sensor's error, a shorter hold or missing"
        " readings leave possible is at most noted.",
        "Temperature where no sensor sits, such as the bottom of the cylinder and the pipes. It is no test"
        " for Legionella.",
    ),
    "disinfection_lacking": HandbookText(
        "Stored water stands at temperatures in which Legionella grows and nothing disinfects it.",
        "The share of time between 20 and 50 °C and the usual stored temperature are compared with limits,"
        " and no disinfection was held for two weeks.",
        "Whether Legionella is there: only a laboratory test tells. Disinfection by other means than heat.",
    ),
    "water_too_hot": HandbookText(
        "The stored water is hot enough to scald at the tap.",
        "Cylinder temperatures above the limits are looked for outside scheduled disinfection and its"
        " cooling time. Charges that end well above the setpoint in the site file are a note with their"
        " cost.",
        "Whether a mixing valve protects the taps, and how it is set.",
    ),
    "diverter_passing": HandbookText(
        "The diverter valve does not close fully: heat meant for the cylinder goes to the rooms, or the"
        " cylinder feeds the heating.",
        "Heat given in a charge is compared with what the cylinder took up; cooling of a full cylinder while"
        " the rooms are heated is compared with its usual cooling. Heat counted as hot water is compared with"
        " the most that a home can draw.",
        "Whether valve, actuator or control is at fault. A second consumer on the same pipes looks alike.",
    ),
    "pressure_falling": HandbookText(
        "The heating circuit loses pressure and so, most likely, water.",
        "The water's growth with temperature is taken out of the daily pressure by Boyle's law. A robust line"
        " is fitted to what is left. Jumps that stay are refills and are taken out. A fall that comes back by"
        " itself is no loss.",
        "Where the water goes. A circuit in its first weeks loses air, which looks like a leak.",
    ),
    "pressure_low": HandbookText(
        "The heating circuit's pressure is low. The unit may lock out and air can be drawn in.",
        "The circuit's daily pressure is compared with fixed limits.",
        "The height of the building above the sensor, which raises the pressure that is needed.",
    ),
    "pressure_high": HandbookText(
        "The heating circuit's pressure is close to the relief valve's, or on its way there.",
        "The highest pressure of each day, and its rise at like water temperature, are compared with limits.",
        "The relief valve's real setting, where it differs from the usual 3 bar.",
    ),
    "pressure_swings": HandbookText(
        "The pressure follows the water's temperature too closely: the expansion vessel no longer takes up"
        " the water.",
        "The slope of pressure on water temperature is compared with the steepest that a vessel chosen by"
        " EN 12828 allows.",
        "Whether the vessel lost its charge, is blocked or is too small.",
    ),
    "frost_risk": HandbookText(
        "Water in the outdoor unit is near freezing and stands still. A frozen exchanger can burst.",
        "Minutes are counted with water near freezing without flow, and minutes without power supply in"
        " frost.",
        "The coldest spot of the unit. Antifreeze counts as the site file states it; its real strength needs"
        " a test.",
    ),
}
