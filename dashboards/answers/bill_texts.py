"""Texts about a bill: its parts, their owners, questions to ask, and repairs."""

from __future__ import annotations

PARTS: dict[str, str] = {
    "weather": "Weather",
    "rooms": "Rooms kept warmer",
    "house": "More heat for the same warmth",
    "hot_water": "Hot water drawn",
    "cylinder_loss": "Standing loss of the cylinder and its pipes",
    "efficiency": "Efficiency of the heat pump",
    "direct_heat": "Direct electric heaters",
    "standby": "Standby and pumps",
    "meter": "Days that no meter saw",
    "rest": "Not explained",
    "timing": "Hours at which electricity was used",
    "tariff": "Price per kWh",
    "standing_charge": "Standing charge",
}
LESS: dict[str, str] = {"rooms": "Rooms kept cooler", "house": "Less heat for the same warmth"}
"""Names of parts that took off the bill, where the usual name says the opposite."""

BESIDE: dict[str, tuple[str, str, str]] = {
    "other_hot_water": (
        "Hot water from the heat pump",
        "the heat pump made more hot water",
        "the heat pump made less hot water",
    ),
}
"""By the reason why the hot water drawn is not known: name of the part, and sentences of more and of less."""

MORE_SENTENCES: dict[str, str] = {
    "weather": "it was colder",
    "rooms": "the rooms were kept warmer",
    "house": "the house took more heat for the same warmth",
    "hot_water": "more hot water was drawn",
    "cylinder_loss": "the cylinder or its pipes lost more heat",
    "efficiency": "the heat pump needed more electricity for the same heat",
    "direct_heat": "the electric heaters ran more",
    "standby": "more was drawn at rest and by pumps",
    "meter": "some days were not metered",
    "rest": "part of the difference is not explained",
    "timing": "more was used in dear hours",
    "tariff": "electricity became dearer",
    "standing_charge": "the standing charge rose",
}
LESS_SENTENCES: dict[str, str] = {
    "weather": "it was milder",
    "rooms": "the rooms were kept cooler",
    "house": "the house took less heat for the same warmth",
    "hot_water": "less hot water was drawn",
    "cylinder_loss": "the cylinder lost less heat",
    "efficiency": "the heat pump needed less electricity for the same heat",
    "direct_heat": "the electric heaters ran less",
    "standby": "less was drawn at rest and by pumps",
    "meter": "some days were not metered",
    "rest": "part of the difference is not explained",
    "timing": "more was used in cheap hours",
    "tariff": "electricity became cheaper",
    "standing_charge": "the standing charge fell",
}
WHOSE: dict[str, str] = {
    "weather": "the weather",
    "household": "the household",
    "system": "the system",
    "house": "the house",
    "price": "the price",
    "data": "the readings",
    "rest": "not explained",
    "unsure": "no sure cause",
}
SAY_MORE: dict[str, str] = {
    "weather": "{size} is the colder weather",
    "household": "{size} is how the home was used",
    "system": "{size} comes from the heating system, and that is for us to put right",
    "house": "{size} is more heat that the house took for the same warmth",
    "price": "{size} is the price of electricity",
    "unsure": "{size} more has no sure cause",
}
SAY_LESS: dict[str, str] = {
    "weather": "milder weather saved {size}",
    "household": "how the home was used saved {size}",
    "system": "the heating system itself saved {size}",
    "house": "the house took less heat for the same warmth, which saved {size}",
    "price": "cheaper electricity saved {size}",
    "unsure": "{size} less has no sure cause",
}
"""What is said on the phone of each part of the difference, in this order."""
SAY_DISTRUSTED = (
    "Our readings of your meter can't be right for these days, so I can't split the bill yet. Please read"
    " the meter to me now, and tell me what else runs on it."
)
ONLY_DESIGN = (
    "Nothing was read on these days a year ago, so only the design can be compared: whether this bill is"
    " higher than an earlier one is not known."
)
SAY_ONLY_DESIGN = "We can only compare with the design: we have no readings of a year ago."
LEAD: dict[tuple[str, str], str] = {
    ("same", "money"): "{heating} cost about as much as {against}: {difference}.",
    ("same", "kwh"): "{heating} used about as much as {against}: {difference}.",
    ("more", "money"): "{heating} cost {difference} than {against}{although}.",
    ("more", "kwh"): "{heating} used {difference} than {against}{although}.",
    ("not_higher", "money"): (
        "It is not the heating that made the bill higher: {heating} cost {difference} than"
        " {against}{although}."
    ),
    ("not_higher", "kwh"): (
        "It is not the heating that made the bill higher: {heating} used {difference} than"
        " {against}{although}."
    ),
}
"""The first sentence, by what it says and in which unit."""
AGAINST: dict[str, str] = {
    "year": "the same days a year ago",
    "design": "what the design expects in this weather",
    "homes": "the middle of your homes alike in this weather",
}
AGAINST_SHORT: dict[str, str] = {"year": "A year ago", "design": "By design", "homes": "Homes alike"}

ASK: dict[str, str] = {
    "paper_bill": (
        "What does the paper bill say: how many kWh, how much money, which dates? With these numbers the"
        " answer shows what is not the heating."
    ),
    "other_loads": (
        "What else hangs on the same meter: a car charger, a tumble dryer, a hot tub, a fan heater, a"
        " freezer, building work? This answer is about the heating alone."
    ),
    "warmer_on_purpose": "Did you turn the rooms up, or heat rooms that used to be cool?",
    "more_people": "Are there more people in the house, or longer showers and baths?",
    "windows_or_fire": "Were windows open more, a stove not lit, a room added, or walls drying out?",
    "heater_switched_on": "Did somebody switch on the immersion or back-up heater?",
    "meter_exchanged": "Was the meter exchanged, or the router off for some time?",
    "other_source_used": (
        "Was the boiler or solar heating used less than before, switched off or out of fuel?"
    ),
    "when_used": "Do you use hot water or heating at other hours than before?",
    "estimated_reading": "Is the reading on the bill an estimate? Compare it with the meter today.",
    "meter_reading": (
        "Please read the meter now and tell us the number: our own readings of it can't be "
        "trusted for these days."
    ),
    "prices": (
        "What do you pay per kWh and as standing charge, and since when? The site file has no "
        "prices for these days."
    ),
}
HOME_ASK = frozenset(
    {
        "warmer_on_purpose",
        "more_people",
        "windows_or_fire",
        "heater_switched_on",
        "other_source_used",
        "other_loads",
        "estimated_reading",
        "when_used",
    }
)
"""Questions that a household can ask itself."""

AWAY: dict[tuple[bool, bool], str] = {
    (True, False): "Nobody was at home for {before} a year ago.",
    (False, True): "Nobody was at home for {now} of these days.",
    (True, True): "Nobody was at home for {before} a year ago, and for {now} of these days.",
}
"""(a year ago, now) -> what an absence has to do with a bill."""

SEEN: dict[str, str] = {
    "room_c": "On heated days the rooms were at {now}, a year ago at {before}.",
    "hot_water_c": "The cylinder is heated to {now}, a year ago to {before}.",
}
"""What the readings show of a setting on both sides."""
SEEN_OF: dict[str, tuple[str, ...]] = {
    "room_c": ("rooms",),
    "hot_water_c": ("efficiency", "direct_heat", "cylinder_loss", "hot_water"),
}
"""The parts that such a sentence explains."""

UNKNOWN: dict[str, str] = {
    "no_room_sensor": (
        "Rooms: no room sensor for most of these days, so warmer rooms are part of what is not explained."
    ),
    "uses_not_told": "Hot water: the meters can't tell heating from hot water.",
    "no_heat_meter": "Efficiency: without trusted heat readings it can't be separated from the house's need.",
    "too_few_heated": "Rooms: too few heating days to tell warmer rooms from a house that loses more heat.",
    "too_few_days": "Efficiency: too few days of heating.",
    "no_standing_time": "Standing loss of the cylinder: not measured; it counts as hot water drawn.",
    "no_prices": "Money: the site file has no prices for these days ([cost]).",
    "other_heat": (
        "Another heat source warms the rooms too. Its share of the heat changes the heat pump's electricity,"
        " so the difference is not split by cause."
    ),
    "cooling": (
        "Cooling: its electricity is left out here. This answer is about heating and hot water; the bill of"
        " these days holds the cooling too."
    ),
    "other_hot_water": (
        "Hot water: another source makes part of it. What stands here is what the heat pump made; whether"
        " more was drawn or the other source gave less is not known."
    ),
    "stove": (
        "House: a stove warms the rooms too, and nothing meters it: how much it was lit counts as the house."
    ),
    "own_electricity": (
        "Money: part of the electricity is the home's own, so the kWh are split and the money is not."
    ),
    "distrusted": "The electricity readings of these days can't be trusted, so the difference is not split.",
}

OWN_ADVICE: dict[str, str] = {
    "rooms": "A degree less in the rooms saves most of this part; set what feels right and leave it there.",
    "hot_water": (
        "Shorter showers save this part. Leave the hot-water temperature as it is: lower can let "
        "Legionella grow."
    ),
    "direct_heat": (
        "If somebody switched on the immersion heater, it can be switched off; we look at the rest."
    ),
    "timing": "Washing and bathing in the cheap hours saves this part.",
}
"""What a household can do about a part."""

MEND: dict[str, str] = {
    "none": "needs no visit",
    "call": "takes a phone call",
    "setting": "takes a setting, no visit",
    "drive": "takes a visit",
}
NEXT: dict[str, str] = {
    "house": (
        "Tomorrow: ask what changed in the house: a stove no longer lit, a room added, windows, walls drying"
        " out. The readings show how much, not which."
    ),
    "system": (
        "Tomorrow: do what is listed and log it as a job. The job's page then shows by days of comparable"
        " weather whether it helped."
    ),
    "household": "In a week: ask again with these days, and compare the electricity on days as cold.",
    "price": "Tomorrow: compare the price and standing charge here with the contract.",
    "data": "Tomorrow: see that the meter reports again, and ask again when it has whole days.",
    "paper": "Tomorrow: ask for the paper bill's numbers and enter them.",
}
HOME_NEXT: dict[str, str] = {
    "system": "We put right what is ours. In the month's report you see whether it helped.",
    "household": "In a week look here again, and compare days as cold.",
    "house": "Tell us what changed in the house: a stove no longer lit, a room added, other windows.",
    "price": "Compare the price and the standing charge on your contract with those on your bill.",
    "paper": "Enter what your bill says above: then you see what was not the heating.",
}
"""What to look at next, by whose the largest sure part is."""
