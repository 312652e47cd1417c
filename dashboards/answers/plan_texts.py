"""Texts of actions for a complaint, and of what to check tomorrow."""

from __future__ import annotations

DO: dict[str, str] = {
    "which_room": (
        "Ask which room feels cold, and whether it has a sensor: a room without one can lack heat while the "
        "others are warm. Have its radiator valves opened fully."
    ),
    "where_cold": (
        "Ask where they sit and at what time, and have them lay a thermometer beside the "
        "thermostat and at that place."
    ),
    "raise_target": (
        "Have them raise the set temperature, by one degree at a time, and say that warmth takes some hours."
    ),
    "shallower_set_back": (
        "Have them make the night set-back half as deep, or leave it off while it is cold: a heat pump warms"
        " up slowly."
    ),
    "later_set_back": "Have them let the night set-back begin after these hours.",
    "earlier_start": "Let the day's set temperature begin two hours earlier.",
    "read_display": (
        "Have them read out what the display shows, and whether the unit's switch and fuse are "
        "on. No covers off."
    ),
    "rime_or_ice": (
        "Ask for a photo now and one two hours later: white rime between the fins that comes and goes is"
        " usual; solid ice that stays, or ice under the unit, is not."
    ),
    "look_at_other_source": (
        "Have them look whether the boiler, stove or solar controller is switched on, shows a fault, and has"
        " fuel. No covers off."
    ),
    "other_source_check": (
        "See whether the other heat source gets the call, and whether its valve or pump lets its heat into"
        " the circuit. Work on it is for people licensed for its fuel."
    ),
    "restart_unit": (
        "See why it stopped: supply, fault code, water flow; restart by the maker's instructions."
    ),
    "thermostat_place": (
        "Ask for heating mode and time programme on the thermostat, batteries, and whether sun, "
        "a lamp or a curtain is beside it."
    ),
    "thermostat_check": (
        "Check the thermostat against a thermometer, its wiring or radio, and the heating limit "
        "in the controls."
    ),
    "open_valves": (
        "Have them open every thermostat and radiator valve of this zone fully, and clear "
        "curtains and furniture."
    ),
    "free_valve": (
        "See whether the zone's valve opens on a call; free the pin, check the actuator, bleed "
        "and balance. Leave the curve as it is."
    ),
    "raise_curve": "Raise the heating curve to the designed one, from afar.",
    "leave_valves_open": "Ask them to leave radiator valves open meanwhile.",
    "free_radiators": (
        "Have them clear radiators of curtains and furniture, and feel whether each is warm from "
        "top to bottom."
    ),
    "emitters_check": (
        "Bleed and balance; compare each radiator with its room's heat loss (EN 442, EN "
        "12831-1). If they are too small, plan larger ones before hotter water."
    ),
    "flow_check": "Check strainer, pump setting, air and valves; compare the flow with its nominal.",
    "no_quiet_mode": (
        "Look from afar whether a quiet mode or a power limit holds the unit back, and leave the "
        "night set-back off while it is cold."
    ),
    "output_check": (
        "Check the air path and the coil, the defrosts and the water flow; measure the output "
        "against the rating. Work on refrigerant is for certified people."
    ),
    "draughts": "Ask about changed windows, doors, a loft hatch or a fan that runs all the time.",
    "loss_check": "Look for what the design did not know: insulation missing, draughts, a room added.",
    "air_briefly": (
        "Ask to air the rooms for some minutes with windows wide open, and to close them in these hours."
    ),
    "which_tap": (
        "Ask which tap: one alone means its mixing valve, all mean the tempering valve or the "
        "pipe from the cylinder."
    ),
    "tap_check": (
        "Measure at the tap and behind the tempering valve; check that valve and the non-return valves."
    ),
    "open_programme": "Open the time programme for hot water, or add a reheat before these hours, from afar.",
    "hot_water_switched_on": "Ask whether hot water was switched to off, holiday or saving at the controls.",
    "raise_setpoint": "Raise the hot-water setpoint to the design's, within what the unit reaches.",
    "reach_check": (
        "Find out why the unit ends before its setpoint: flow limit, flow through the coil, "
        "scale, position of the sensor."
    ),
    "circulation_timer": (
        "Ask about a circulation pump for hot water: put it on a timer or switch it off for a "
        "night and compare."
    ),
    "loss_of_cylinder": (
        "Check insulation, pipes that circulate by themselves, the diverter and the circulation pump."
    ),
    "coil_check": "Check water flow during a reheat, air, the diverter, and scale on the coil.",
    "spread_draws": "Ask to spread baths and showers, an hour apart, until the cylinder is full again.",
    "second_charge": (
        "Add a second reheat before the busy hours, or start reheats earlier (higher reheat limit)."
    ),
    "read_pressure": (
        "Have them read the gauge. Below 1 bar air gathers; topping up is only for those who were shown how."
    ),
    "vent_and_fill": (
        "Vent at the top, fill to the design's pressure, check the expansion vessel and look for the leak."
    ),
    "coil_clear": (
        "Ask whether leaves, snow, a cover or a fence stand before the unit's air, and to clear "
        "them from outside."
    ),
    "defrost_check": (
        "Clean the coil, check fan and coil sensor. Signs of too little refrigerant are for certified people."
    ),
    "charge_by_day": "Move the reheat of the cylinder, and the thermal disinfection, to the day; keep both.",
    "longer_runs": (
        "Lengthen runs from afar: wider switching band, longer least rest, room thermostat's band."
    ),
    "cycling_check": "Check water flow, closed zone valves and the volume of water in circuit.",
    "quiet_hours": "Set the unit's quiet hours for the night, and look at room temperatures in the morning.",
    "pump_lower": "Lower the pump to the nominal flow; keep the difference of flow and return at 4 to 8 K.",
    "what_noise": (
        "Ask for the kind: hum (mounts, pipes on the wall), hiss (defrost), rattle (panel, "
        "grille), gurgle (air)."
    ),
    "mounts_check": "Listen there: rubber mounts, pipe clamps, panels, distance to walls and neighbours.",
    "do_not_chip": "Tell them to leave the ice alone; switch the unit off if the fan touches ice.",
    "defrost_start_check": (
        "Check coil sensor, four-way valve and defrost settings; thaw the unit by the maker's instructions."
    ),
    "melting_heat_check": (
        "Check the water flow and temperature during a defrost, and the buffer or open zones "
        "that give its heat."
    ),
    "drain_look": (
        "Ask whether water can run off under the unit, and whether the ice reaches the fan or fins."
    ),
    "drain_check": "Free the drain, check its heater and the base; thaw by the maker's instructions.",
    "rime_is_usual": (
        "Explain: white rime grows and goes with each defrost, with steam and a hiss. Clear ice "
        "that stays is to be reported."
    ),
    "ask_more": "Ask where and at which hours exactly, then answer again for those hours.",
    "what_heats_water": "Ask what heats the water: by the site file it is not this system.",
    "look_on_site": "Measure there what is not read from afar.",
}
HOME_DO: dict[str, str] = {
    "which_room": "Tell us which room feels cold. Open its radiator valves fully.",
    "later_set_back": "Let the night set-back begin after these hours.",
    "where_cold": "Lay a thermometer beside the thermostat and where you sit, and tell us both numbers.",
    "raise_target": "Turn the set temperature up by one degree at a time. Warmth takes some hours to come.",
    "shallower_set_back": (
        "Make the night set-back half as deep, or leave it off while it is cold: a heat pump warms up slowly."
    ),
    "rime_or_ice": (
        "Take a photo now and one two hours later: white rime between the fins that comes and goes is usual;"
        " solid ice that stays, or ice under the unit, is not."
    ),
    "look_at_other_source": (
        "Look whether your boiler, stove or solar controller is switched on, shows a fault, and has fuel."
        " Leave all covers closed."
    ),
    "read_display": (
        "Look at the display of the heating and tell us what it shows, and whether its switch "
        "and fuse are on. Leave all covers closed."
    ),
    "thermostat_place": (
        "Check that the thermostat is on heating, has good batteries, and has no sun or lamp beside it."
    ),
    "open_valves": (
        "Open every thermostat and radiator valve in that part of the house, and move curtains "
        "and furniture away."
    ),
    "leave_valves_open": "Leave your radiator valves open meanwhile.",
    "free_radiators": (
        "Move curtains and furniture away from the radiators. Tell us if one stays cold at the top."
    ),
    "draughts": "Tell us about new windows, doors, a loft hatch or a fan that runs all the time.",
    "air_briefly": "Air the rooms for some minutes with windows wide open, then close them.",
    "which_tap": "Try another tap: tell us whether it is one tap or all of them.",
    "hot_water_switched_on": (
        "Check that hot water is not switched to off, holiday or saving at the controls."
    ),
    "spread_draws": "Spread baths and showers over the day, an hour apart.",
    "read_pressure": "Read the pressure gauge of the heating and tell us the number.",
    "coil_clear": "Clear leaves and snow away around the outdoor unit, from outside only.",
    "what_noise": "Tell us what it sounds like, hum, hiss, rattle or gurgle, and at what time.",
    "do_not_chip": "Leave the ice alone. If the fan touches ice, switch the unit off and call us.",
    "drain_look": "Look whether water can run off under the unit, without touching it.",
    "rime_is_usual": "White rime that comes and goes is usual. Call us if clear ice stays.",
    "ask_more": "Tell us where and when it happens.",
    "what_heats_water": "Your heat pump does not heat the tap water. Tell us what does.",
}
DO_WITH: dict[str, str] = {
    "raise_curve": "Raise the heating curve by {raise_k}, to the designed one, from afar.",
    "raise_setpoint": "Raise the hot-water setpoint from {setpoint}, within what the unit reaches.",
}
"""The same with numbers, where they are known."""
TOMORROW: dict[str, tuple[str, ...]] = {
    "room_follows_target": ("The room should have reached its new set temperature.",),
    "room_at_hour": ("At the hours named the room should be within half a degree of its set temperature.",),
    "room_after_set_back": (
        "Four hours after the set-back ends the room should be within half a degree of its set temperature.",
    ),
    "both_thermometers": (
        "Compare both thermometers. Within a degree of each other, that place is as warm as the measured"
        " room; a colder room lacks heat of its own.",
    ),
    "other_source_gives": (
        "The other heat source should give heat in the next cold hours, and the rooms climb.",
    ),
    "unit_runs": ("The unit should run, and room and cylinder climb within two hours.",),
    "calls_when_cold": (
        "The thermostat should call whenever the room is half a degree below its set temperature.",
    ),
    "zone_catches_up": ("This zone should come within a degree of the others.",),
    "flow_on_curve": (
        "The flow should be about {raise_k} hotter in the same weather; after three days the rooms should"
        " be at least half a degree warmer.",
        "The flow should lie on the designed curve; after three days the rooms should be at least half a"
        " degree warmer.",
    ),
    "room_after_cold_day": (
        "Compare the room on the next day at {outdoor}: it should be above {room}.",
        "Compare the room on the next day as cold as this: it should be warmer.",
    ),
    "flow_rate_back": (
        "The water flow should be near {nominal_flow}, with 4 to 8 K between flow and return.",
        "The water flow should be near its nominal, with 4 to 8 K between flow and return.",
    ),
    "flow_reached": ("The water should reach the temperature asked for, and the unit rest now and then.",),
    "no_falls": ("The room should no longer fall in these hours.",),
    "tank_stays_warm": ("The cylinder should stay above 40 °C through the busy hours.",),
    "charged_before_need": (
        "A reheat should begin before the busy hours and end at {setpoint}.",
        "A reheat should begin before the busy hours and end at its setpoint.",
    ),
    "tank_reaches": ("A reheat should end within 3 K of its setpoint.",),
    "cools_slower": ("The cylinder should cool slower in its calm hours, by night and by day.",),
    "charge_shorter": ("The next full reheat should take about as long as expected.",),
    "pressure_holds": ("The pressure should stay above 1 bar for a week.",),
    "fewer_defrosts": (
        "Count the defrosts of a night as cold as this: there should be clearly fewer than"
        " {defrosts_each_night}.",
        "Count the defrosts of a night as cold as this: there should be clearly fewer.",
    ),
    "no_charge_at_night": ("No reheat of the cylinder should begin in these hours.",),
    "fewer_starts": (
        "It starts {starts_an_hour} in these hours: count again, it should be half as often at most.",
        "Count the starts in these hours: there should be at most half as many.",
    ),
    "slower_at_night": (
        "The unit should run slower in these hours, and the rooms be as warm at seven in the morning.",
    ),
    "flow_near_nominal": (
        "The water flow should be within a tenth of {nominal_flow}.",
        "The water flow should be within a tenth of its nominal.",
    ),
    "listen_again": ("Ask whether it is still heard, and at which hour.",),
    "defrosts_again": ("Defrosts should come again, each of a few minutes.",),
    "shorter_defrosts": ("Defrosts should end within 6 minutes and leave the coil clear.",),
    "drain_free": ("Meltwater should run off, and the ice under the unit not grow.",),
    "clears_in_defrost": ("The coil should be clear right after a defrost.",),
    "ask_again": ("Ask for the exact hours and the place, then answer again for those hours.",),
    "hot_water_entered": ("If this system does heat the water, enter it in the home's site file.",),
}
"""Code -> sentences, the fullest first."""
HOME_TOMORROW: dict[str, tuple[str, ...]] = {
    "ask_again": ("If it happens again, note the hours and the place, and tell us.",),
    "listen_again": ("If you still hear it, note the hour, and tell us.",),
    "hot_water_entered": ("Look whether what heats your water is switched on.",),
}
"""The same for the household, where the other is for the installer."""
