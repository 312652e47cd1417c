"""Limits of the findings on electricity: direct heaters, standby and idle pumps."""

from __future__ import annotations

from fieldfare.analysis.findings.limit import Limit

LIMITS_ELECTRIC: dict[str, Limit] = {
    # back-up heater
    "backup_day_kwh": Limit(
        0.3,
        "kWh/day",
        "common practice: a heater that helps one defrost or a test uses less",
        "a day on which the back-up heater ran in weather the unit should carry",
    ),
    "backup_share_watch": Limit(
        0.01,
        "-",
        "common practice: designs leave 1 to 2 % of a year's heat to the heater below the bivalent point, and"
        " none above it",
        "share of the space heat by the back-up heater in weather above the bivalent point, on days as cold"
        " as those with it",
    ),
    "backup_days_watch": Limit(
        14.0,
        "days",
        "common practice: a fortnight with a kilowatt-hour or more is no chance, however little of a season"
        " it makes",
        "days with 1 kWh or more of it, whatever their share of the space heat",
    ),
    "backup_share_act": Limit(
        0.05,
        "-",
        "common practice: at a COP of 3, 5 % of the heat is a tenth more electricity",
        "the same, worth a visit",
    ),
    # immersion heater
    "immersion_day_kwh": Limit(
        0.3,
        "kWh/day",
        "common practice: six minutes of a 3 kW element; less is a test or a disinfection's last half kelvin",
        "a day on which the immersion heater worked",
    ),
    "immersion_watch_kwh": Limit(
        0.8,
        "kWh/day",
        "common practice: a seventh of a family's tapping day (profile M, 5.8 kWh, Reg. (EU) 813/2013)",
        "immersion heat beyond disinfection, mean of all days",
    ),
    "immersion_act_kwh": Limit(
        2.0, "kWh/day", "common practice: a third of that tapping day", "the same, worth a setting"
    ),
    # standby and idle pumps
    "standby_watch_w": Limit(
        65.0,
        "W",
        "common practice: controls 10 to 20 W and a crankcase heater of 30 to 45 W",
        "power at rest, above which something draws that should not",
    ),
    "standby_kwh": Limit(
        60.0,
        "kWh/year",
        "common practice: less isn't worth a call",
        "electricity at rest beyond a usual unit's, from which it is more than a note",
    ),
    "standby_w_per_kw": Limit(
        1.5,
        "W/kW",
        "common practice: crankcase heaters grow with the compressor; on top for each kilowatt rated"
        " above 12",
        "allowed on top of standby_watch_w for big units",
    ),
    "standby_act_w": Limit(
        130.0,
        "W",
        "twice the usual: more than 1 000 kWh a year",
        "power at rest, from which it needs a visit",
    ),
    "standby_pump_w": Limit(
        75.0,
        "W",
        "common practice: circulators for up to 12 kW draw 5 to 75 W (EEI 0.23 and below), bigger ones in"
        " proportion",
        "allowed on top where a pump inside the meter can't be taken out",
    ),
    "idle_pump_share": Limit(
        0.5,
        "-",
        "common practice: run-on, exercise and frost guard stay well below half of the time",
        "share of the time without demand in which a pump runs",
    ),
    "idle_pump_hours": Limit(
        3.0,
        "h/day",
        "common practice: with 40 to 60 W it is 50 kWh a year",
        "hours a day that a pump runs with nothing to do",
    ),
    "idle_pump_act_hours": Limit(
        12.0,
        "h/day",
        "common practice: with 40 to 60 W it is 200 kWh a year",
        "the same, from which it needs a setting",
    ),
    "idle_pump_kwh": Limit(
        25.0,
        "kWh/year",
        "common practice: less isn't worth a call",
        "electricity of an idle pump, from which it is more than a note",
    ),
    "idle_pump_other_days": Limit(
        4.0,
        "days",
        "common practice: some days, so that one odd day decides nothing",
        "days before it began, or too warm to heat, that can be compared",
        "below",
    ),
    "idle_pump_days": Limit(
        7.0,
        "days",
        "common practice: a week is no accident of a setting being tried",
        "days with an idle pump, from which it is more than a note",
    ),
}
