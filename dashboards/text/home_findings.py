"""Texts about findings for households in other languages: meaning and next step.

In English the finding's own sentence is shown, with details. In other languages the sentence of its code is
used, unless its own is one of the translated variants.
"""

from __future__ import annotations

from fieldfare.analysis.findings.stopped.texts import POSSIBLE_HOME
from fieldfare.dashboards.text.language import marked

HOME = {
    "short_cycling": marked(
        "Your heat pump switches on and off more often than is good for it. Leave the thermostats"
        " at a steady setting. Your installer will look at its settings."
    ),
    "excessive_defrost": marked(
        "Your heat pump melts ice off its outdoor unit more often than the weather explains. Keep"
        " leaves, snow and covers a metre away from it, and never chip at the ice. Your installer"
        " will look at it."
    ),
    "defrost_without_frost": marked(
        "Your heat pump melts ice that is not there, so it stops heating for some minutes now and"
        " then. Your installer will check it."
    ),
    "flow_temperature_above_curve": marked(
        "Your heating water is hotter than planned, which costs electricity. Your installer can "
        "turn it down; tell them if a room then stays cool."
    ),
    "flow_temperature_below_curve": marked(
        "Your heating water is cooler than planned. Tell your installer if rooms stay cool; they will look"
        " at it."
    ),
    "no_weather_compensation": marked(
        "Your heating keeps its water at one temperature in any weather, which costs electricity "
        "on mild days. Your installer can let it follow the weather."
    ),
    "low_flow": marked(
        "Too little water goes through your heat pump. Leave the radiator valves open until your "
        "installer has cleaned the filter or set the pump."
    ),
    "falling_flow": marked("The water filter of your heating is filling up. Your installer will clean it."),
    "buffer_mixing": marked(
        "Warm and cool water mix in your heating's buffer, which costs electricity. Your "
        "installer can set the pumps to stop that."
    ),
    "backup_heater_use": marked(
        "The back-up electric heater has run more than it should, which costs more. Your "
        "installer will look at it."
    ),
    "immersion_use": marked(
        "The immersion heater in the hot-water cylinder runs often, which costs more than the "
        "heat pump would. Check whether its switch or timer is on, and leave it to the "
        "controller."
    ),
    "high_standby": marked(
        "Your heat pump uses more electricity at rest than it should. Your installer will find out why."
    ),
    "pump_always_on": marked(
        "A heating pump runs all the time, also when no heat is needed. Your installer can change"
        " the setting."
    ),
    "heating_out_of_season": marked(
        "Your heating also runs on warm days. You can switch it to summer mode; hot water stays "
        "on. Or ask your installer to set it."
    ),
    "efficiency_below_expected": marked(
        "The heat pump uses more electricity than it should for the heat it gives. Your installer"
        " will find out why."
    ),
    "efficiency_fell": marked(
        "The heat pump now needs more electricity for the same heat than before. Your installer "
        "will look for the cause."
    ),
    "heat_loss_above_design": marked(
        "The house loses more heat than planned, which costs more. Check for an open loft hatch, "
        "a fan left on or unfinished insulation. Your installer will go through it with you."
    ),
    "heat_loss_below_design": marked(
        "Good news: the house loses less heat than planned. Your installer may lower the "
        "temperature of the heating water a little, which saves electricity."
    ),
    "capacity_short": marked(
        "In very cold weather the heat pump may not keep every room as warm as you ask. In a cold"
        " spell leave the heating on through the night. Your installer will work out what help it"
        " needs."
    ),
    "room_below_target": marked(
        "Part of the house is colder than set or planned. Keep doors and radiator valves there open. "
        "Tell your installer if it stays cold."
    ),
    "slow_reheat": marked(
        "Heating the hot water takes longer than it should. After a bath, give it more time. Your"
        " installer will look at the cylinder."
    ),
    "reheat_incomplete": marked(
        "The hot water does not quite reach the temperature that is set. Your installer will look at it."
    ),
    "hot_water_shortfall": marked(
        "Hot water runs short at times. Spread baths and showers over the day if you can. Your "
        "installer will look at it."
    ),
    "high_standing_loss": marked(
        "The hot-water cylinder cools faster than it should, which costs electricity. Your "
        "installer will look at the pipes and the pump."
    ),
    "pasteurisation_missed": marked(
        "The regular hot run that protects the hot water against Legionella has not reached its "
        "temperature. Your installer will put it right soon. Ask them before you use showers if "
        "someone at home is frail."
    ),
    "disinfection_lacking": marked(
        "The stored hot water is lukewarm for long and was not heated through, so Legionella can "
        "grow. Your installer will set a regular hot run. Ask them before you use showers if "
        "someone at home is frail. Hotter water can scald."
    ),
    "water_too_hot": marked(
        "The hot water is hotter than it should be and can scald. Run cold water first and mix. "
        "Do not leave children or frail people alone at the tap. Call your installer today."
    ),
    "diverter_passing": marked(
        "Some heat goes the wrong way between heating and hot water, which costs electricity. "
        "Your installer will look at the valve."
    ),
    "pressure_falling": marked(
        "The heating circuit is slowly losing water. Look for damp spots at radiators and pipes, "
        "and tell your installer."
    ),
    "pressure_low": marked(
        "The water pressure in the heating is low. Call your installer and do not top it up "
        "unless they ask you to. The heating may stop until then."
    ),
    "pressure_high": marked(
        "The water pressure in the heating is too high. Check that the filling tap is shut if you"
        " were shown where it is. Keep away from the outlet of the safety valve and call your "
        "installer."
    ),
    "pressure_swings": marked(
        "The pressure in the heating goes up and down more than it should. Keep away from the "
        "outlet of the safety valve. Your installer will look at it."
    ),
    "frost_risk": marked(
        "The water in the outdoor unit of the heat pump may freeze. Check whether its switch is "
        "on, and call your installer today."
    ),
    "unit_stopped": marked(
        "Your heat pump does not seem to run as it should. Check that its switch is on. If your "
        "rooms or the hot water get cold, call your installer."
    ),
    "fault_reported": marked(
        "Your heat pump has shown a fault message. Read it out to your installer, and do not "
        "reset it again and again."
    ),
    "data_gap": marked(
        "Readings do not reach us. Check whether the small box beside the meter has power, and "
        "call us if its lights are out."
    ),
    "performance_below_promise": marked(
        "The heat pump uses more electricity than was promised for the heat it gives. Your "
        "installer will look into it."
    ),
    "electricity_above_expected": marked(
        "Your heating uses more electricity than planned for this weather. Your installer will "
        "ask a few questions to find out why."
    ),
}

VARIANTS = (
    marked(POSSIBLE_HOME),
    marked(
        "Some rooms do not get warm again between two nights. Make the night set-back half as deep,"
        " or leave it off while it is cold. Tell your installer if they stay cold."
    ),
    marked(
        "Your heat pump keeps stopping and restarting and can't give its full heat. Please ring"
        " your installer and don't reset it repeatedly."
    ),
    marked(
        "Your heat pump de-ices by the clock, far more often than the weather asks for. Your"
        " installer may be able to set it to do so when there is ice."
    ),
    marked(
        "Your hot water may be cold: its sensor shows a temperature that can't be right. Please"
        " tell your installer whether the tap runs hot."
    ),
    marked(
        "The heat pump gives less heat than it should and the back-up electric heater makes up"
        " the rest, which costs more. Your installer will arrange a check."
    ),
    marked(
        "A back-up electric heater heats your home instead of the heat pump, which costs about"
        " three times as much. Please ring your installer."
    ),
    marked(
        "A back-up electric heater in your heat pump is heating instead of the compressor, which"
        " costs about three times as much. Please ring your installer."
    ),
    marked(
        "The hot water is set hotter than the heat pump can make it, so the immersion heater does"
        " the rest each time. Your installer will check the setting."
    ),
    marked(
        "The heat pump outside had no power or water flow during a frost. It may be undamaged;"
        " your installer will check it before the next cold night."
    ),
    marked(
        "Your heat pump tries to heat the water and does not seem to succeed. Take care at the"
        " tap: the water may be cold or far too hot. Please ring your installer."
    ),
    marked(
        "Heating the hot water takes more electricity than it should. Your installer will check the cylinder."
    ),
    marked(
        "Heating the hot water takes more electricity than it used to. Your installer will check"
        " the cylinder."
    ),
    marked(
        "Some heat meant for the hot water goes into the heating, so making hot water takes"
        " longer and costs more. Your installer will check the valve."
    ),
    marked(
        "Your hot water is kept at the temperature of the weekly disinfection all the time, which"
        " costs electricity and can scald. Mix with cold before touching, and ring your installer."
    ),
    marked("One of your heat pumps stands still. Your installer is looking into it."),
    marked(
        "Your heat pump stopped for a while and runs again. Your installer would like to hear what happened."
    ),
)
"""Sentences of findings that say something else than the one of their code; each is translated as it is. A
test compares them with the rules' own sentences."""
