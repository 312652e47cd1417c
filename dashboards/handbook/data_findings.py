"""Handbook texts of the findings about data quality."""

from __future__ import annotations

from fieldfare.dashboards.handbook.texts import HandbookText

DATA: dict[str, HandbookText] = {
    "data_gap": HandbookText(
        "Readings are missing, from one meter or from the whole gateway. Their figures are incomplete.",
        "The time between two readings is compared with the point's usual spacing. Gaps are added up over"
        " the period, and a gap that still lasts is counted in whole days. Once readings come again, the gap"
        " is watched for a fortnight, because a gateway that failed may fail again; then it is a note. A gap"
        " of half a month stays to be watched.",
        "Why the readings stopped: gateway, network, power supply or sensor. A point that only reports"
        " changes can be silent without a fault.",
    ),
    "sensor_stuck": HandbookText(
        "A sensor has shown the same value, or an impossible one, for longer than it ever did before.",
        "Each point's usual number of changes is learned from its own past. Changes that should have come"
        " and did not are counted; so are readings that no such sensor can give. A cylinder that nothing"
        " heats must cool by its standing loss: one that does not is not believed.",
        "Whether the sensor, its cable or the gateway holds the value. A temperature that really stays"
        " constant for days, such as in an unused room, can look alike.",
    ),
    "register_reset": HandbookText(
        "A meter's running total went back and started again, so it was replaced, lost power or overflowed.",
        "A running total that falls is a reset, unless it fits a counter that has reached its last digit.",
        "The energy used between the last reading before the reset and the first one after it.",
    ),
    "unit_mismatch": HandbookText(
        "A meter sends another unit than the site file says, for example kilowatts where watts are declared.",
        "Readings are compared with what a plant of this size can give in the declared unit and in the"
        " units that are commonly mixed up. The finding needs the second to fit where the first can't.",
        "Two units that differ by little, such as a meter that is 10 % off. Those show up as a disagreement"
        " between meters instead.",
    ),
    "clock_offset": HandbookText(
        "A clock is wrong: one meter's readings come earlier or later than the others', or all are out of"
        " step with the sun.",
        "Starts and ends of heat are laid over those of electricity and the best-fitting lag is taken. The"
        " whole site is compared with solar noon by its irradiance or its outdoor temperature.",
        "An offset of less than a few minutes, or of whole days. Without sun or outdoor readings, an offset"
        " that all meters share.",
    ),
    "outdoor_sensor_biased": HandbookText(
        "The outdoor sensor reads too warm, often because sun or a warm wall reaches it. Figures that depend"
        " on the weather shift with it.",
        "Warmth around noon beyond the air's usual daily course is compared between bright and dull months."
        " A steady offset is judged by the outdoor temperature at which the house stops heating and by the"
        " heating curve. A sensor that hangs indoors shows an even warmth while the unit gives far more heat"
        " than such air asks for.",
        "The true air temperature. A sensor that reads too cold by the same amount all day can be missed: a"
        " house with much free heat looks the same. Design feedback holds it against the sensors of homes"
        " nearby.",
    ),
    "flow_return_swapped": HandbookText(
        "The readings named flow and return are swapped, in the site file or at the pipes.",
        "While the compressor heats, flow must be warmer than return. The finding needs the opposite, day"
        " after day, by more than the sensors' error. A heat meter's own two sensors are swapped where it"
        " counts heat below zero while the unit heats.",
        "Whether the swap is in the wiring, the gateway or the site file.",
    ),
    "implausible_efficiency": HandbookText(
        "The heat and electricity readings give an efficiency that no heat pump can have. At least one of"
        " the two meters is wrong.",
        "Heat over electricity is compared with a share of the Carnot efficiency at the plant's own"
        " temperatures, and with an electric heater's efficiency at the low end.",
        "Which of the two meters is wrong, unless flow rate and temperatures allow a third view.",
    ),
    "heat_meter_disagrees": HandbookText(
        "The heat meter gives another amount than flow rate times temperature difference; or, without a heat"
        " meter, the two temperature sensors differ in water that passes the resting unit. Performance and"
        " heat loss are off by the same share.",
        "Heat = flow rate x (flow - return) x heat coefficient of the fluid at its temperature (EN 1434-1)."
        " The limit follows the accuracy classes at the temperature differences that occurred.",
        "Which of the three sensors is off. A glycol mixture explains a few percent and is named as a cause"
        " where the site file allows for it.",
    ),
    "meter_misplaced": HandbookText(
        "A meter measures something else than the site file says: another circuit, other loads, one branch"
        " only, or its pulse value is wrong.",
        "Each possible misplacement predicts several facts. Its probability is its prior times the"
        " likelihood of what was measured (Bayes), compared with a meter in the right place.",
        "Two misplacements that predict the same readings; the next step then names the measurement that"
        " separates them.",
    ),
}

BESIDE_RULES: dict[str, HandbookText] = {
    "silence": HandbookText(
        "No reading has come from the home's gateway for hours. What happens there is not known.",
        "The time since the newest reading of any point is compared with two limits: six hours need watching,"
        " 48 hours a call. The watch looks four times an hour, and every page works out the current verdict"
        " again when it is opened.",
        "Whether the power, the internet connection, the gateway or the broker failed, and whether the heat"
        " pump runs. A home that is fed by files has no gateway; there a file that is due is asked for.",
    ),
    "file_due": HandbookText(
        "This home's readings come as files, and the next one is overdue. Figures end with the last file.",
        "Files on different days show how often they come: the median time between the last seven. A file is"
        " due after twice that time, three days at least. With fewer than three files a month is taken as"
        " usual.",
        "Whether somebody forgot the export, or the portal gave none. Readings that come by MQTT as well make"
        " the home one with a gateway.",
    ),
    "room_above_target": HandbookText(
        "A zone is far above its set temperature in the heating season: its heating does not stop in time.",
        "A zone's mean temperature of the last fortnight is compared with its mean set temperature, unless a"
        " day of it was too mild to heat. The limits are `zone_hot_k` and `zone_hot_season_c`.",
        "Whether a thermostat, a valve or the sensor is at fault, or whether sun or a stove warmed the room.",
    ),
}
