"""Columns of the days table: electricity, heat, their pairs, and what the rating expects."""

from __future__ import annotations

from fieldfare.analysis.facts.columns.column import COOLS, HEAT, UNIT, USE, DayColumn, made_by

_FAN, _BACKUP = "fan_electricity", "backup_heater_electricity"
_IMMERSION, _PUMP = "immersion_electricity", "circulation_pump_electricity"

ELECTRICITY = made_by(
    "days",
    ("electricity_total_kwh", "kWh", "All of the plant's electricity.", UNIT),
    ("electricity_heat_pump_kwh", "kWh", "The unit's own, without what other meters show.", UNIT),
    ("electricity_fan_kwh", "kWh", "Source fan or brine pump.", _FAN),
    ("electricity_backup_kwh", "kWh", "Back-up heater.", _BACKUP),
    ("electricity_immersion_kwh", "kWh", "Immersion heater.", _IMMERSION),
    ("electricity_pump_kwh", "kWh", "Circulation pumps.", _PUMP),
    ("electricity_idle_kwh", "kWh", "Drawn at rest; belongs to no use."),
    ("electricity_undetermined_kwh", "kWh", "Drawn in minutes whose use is not known."),
) + made_by(
    "days",
    ("electricity_space_kwh", "kWh", "Spent on space heating.", UNIT, USE),
    ("electricity_hot_water_kwh", "kWh", "Spent on hot water.", UNIT, USE),
    ("electricity_defrost_kwh", "kWh", "Spent in defrosts.", UNIT),
    ("electricity_cooling_kwh", "kWh", "Spent on cooling.", UNIT, COOLS),
    absent=0.0,
)

HEATS = made_by(
    "days",
    ("heat_total_kwh", "kWh", "Heat of the unit, net of defrosts and without cooling.", HEAT),
    ("heat_space_kwh", "kWh", "Heat for rooms; all of it where nothing tells its use.", HEAT),
    ("heat_hot_water_kwh", "kWh", "Heat for hot water.", HEAT),
    ("heat_cooling_kwh", "kWh", "Heat taken out of the rooms by cooling.", HEAT),
    ("heat_defrost_taken_kwh", "kWh", "Heat that defrosts drew from the water.", HEAT),
) + made_by(
    "days",
    ("heat_flow_error_kwh", "kWh", "Largest permissible error of the heat meter's flow sensor.", HEAT),
    ("heat_pair_error_kwh", "kWh", "Largest permissible error of its temperature pair and calculator.", HEAT),
    ("minutes_heat_use_known", "min", "Minutes of known heat whose use is known."),
    (
        "heat_added_space_kwh",
        "kWh",
        "Direct electric heat for rooms that no heat meter sees.",
        f"{_BACKUP}|{_IMMERSION}",
    ),
    (
        "heat_added_hot_water_kwh",
        "kWh",
        "Direct electric heat for hot water that no heat meter sees.",
        f"{_BACKUP}|{_IMMERSION}",
    ),
    absent=0.0,
)

PAIRED = (
    made_by(
        "days",
        ("paired_heat_kwh", "kWh", "Heat in the minutes in which heat and all electricity meters are known."),
        ("paired_flow_error_kwh", "kWh", "Permissible error of the flow sensor in them."),
        ("paired_pair_error_kwh", "kWh", "Permissible error of the temperature pair in them."),
        ("paired_added_heat_kwh", "kWh", "Direct electric heat that no heat meter sees."),
        needs=(UNIT, HEAT),
        absent=0.0,
    )
    + made_by(
        "days",
        ("paired_heat_space_kwh", "kWh", "Heat for rooms in them, with the back-up heater's."),
        ("paired_heat_hot_water_kwh", "kWh", "Heat for hot water in them, with the heaters'."),
        ("paired_electricity_space_kwh", "kWh", "Electricity for rooms in them, with the back-up heater's."),
        ("paired_electricity_hot_water_kwh", "kWh", "Electricity for hot water in them, with the heaters'."),
        needs=(UNIT, HEAT),
        absent=0.0,
    )
    + made_by(
        "days",
        ("paired_cooling_heat_kwh", "kWh", "Cold given in the minutes of cooling with both known."),
        ("paired_cooling_electricity_kwh", "kWh", "Electricity in them, without heaters."),
        ("paired_cooling_flow_error_kwh", "kWh", "Permissible error of the flow sensor in them."),
        ("paired_cooling_pair_error_kwh", "kWh", "Permissible error of the temperature pair in them."),
        needs=(UNIT, HEAT, COOLS),
        absent=0.0,
    )
    + made_by(
        "days",
        (
            "paired_heat_pump_kwh",
            "kWh",
            "Electricity of the unit in the minutes with everything known.",
            UNIT,
        ),
        ("paired_fan_kwh", "kWh", "Of the source fan or pump.", _FAN),
        ("paired_backup_kwh", "kWh", "Of the back-up heater.", _BACKUP),
        ("paired_immersion_kwh", "kWh", "Of the immersion heater.", _IMMERSION),
        ("paired_pump_kwh", "kWh", "Of the circulation pumps.", _PUMP),
    )
)

_JUDGED = "in running minutes with known heat and rating"
EXPECTED = made_by(
    "days",
    ("expected_space_kwh", "kWh", f"Electricity that the rating expects for rooms, {_JUDGED}."),
    ("expected_hot_water_kwh", "kWh", f"The same for hot water, {_JUDGED}."),
    ("expected_part_load_space_kwh", "kWh", "For rooms, with the gain of part load."),
    ("expected_part_load_hot_water_kwh", "kWh", "For hot water, with the gain of part load."),
    ("expected_heat_space_kwh", "kWh", f"Heat for rooms {_JUDGED}."),
    ("expected_heat_hot_water_kwh", "kWh", f"Heat for hot water {_JUDGED}."),
    ("expected_used_space_kwh", "kWh", "Electricity that the unit really drew in them for rooms."),
    ("expected_used_hot_water_kwh", "kWh", "The same for hot water."),
    ("expected_curve_space_kwh", "kWh", "Expected for rooms at the designed curve's flow temperature."),
    ("expected_curve_actual_kwh", "kWh", "Expected in the same minutes at the measured one."),
    needs=(UNIT, HEAT, USE),
    absent=0.0,
) + made_by(
    "load_factor",
    *(
        (f"expected_{kind}{name}_kwh", "kWh", f"{what} {where}.")
        for name, where in (
            ("steady", "in steady heating, without starts, stops and defrosts"),
            ("full", "in steady heating near full output, where the rating was measured"),
            ("full_hot", "near full output while the cylinder is charged"),
        )
        for kind, what in (
            ("", "Electricity that the rating expects"),
            ("part_load_", "The same with the gain of part load"),
            ("used_", "Electricity that the unit really drew"),
        )
    ),
    ("minutes_full", "min", "Minutes of steady heating near full output."),
    ("minutes_full_hot", "min", "Minutes near full output while the cylinder is charged."),
    needs=(UNIT, HEAT, USE),
    optional=True,
)

CARNOT = made_by(
    "data_quality",
    ("carnot_heat_kwh", "kWh", "Heat in running minutes with known heat and electricity.", UNIT, HEAT),
    ("carnot_used_kwh", "kWh", "The unit's electricity in them.", UNIT, HEAT),
    ("carnot_least_kwh", "kWh", "The least that physics allows at each minute's temperatures.", UNIT, HEAT),
)

DIRECT_HEAT = made_by(
    "direct_heat",
    (
        "electricity_backup_mild_kwh",
        "kWh",
        "Back-up heater, without hot water and defrosts, warmer than it is meant for.",
    ),
    ("backup_unit_share", "-", "The unit's heat over its rating in those minutes; 0 at rest."),
    ("backup_flow_gap", "K", "Flow temperature asked less given in them."),
    (
        "electricity_immersion_after_kwh",
        "kWh",
        "Immersion heater in bursts that begin while the unit charges the cylinder or soon after.",
    ),
    ("immersion_at_min", "min", "Local minute of day at which the longest burst began."),
    ("immersion_from_c", "°C", "Cylinder at its beginning."),
    ("immersion_to_c", "°C", "Cylinder at its end."),
    optional=True,
) + made_by(
    "rests",
    ("minutes_direct", "min", "Running minutes with about a kWh of heat for each kWh drawn."),
    optional=True,
)

MONEY = made_by(
    "money",
    ("money", "currency", "Cost of the plant's electricity by tariff, without standing charge."),
    optional=True,
)

OTHER_SOURCES = (
    made_by(
        "other_sources",
        ("heat_other_kwh", "kWh", "Heat of other sources, by their own meters."),
        ("minutes_other_known", "min", "Minutes in which it is known."),
        needs=("other_heat_output",),
        optional=True,
    )
    + made_by(
        "other_sources",
        (
            "electricity_bought_least_kwh",
            "kWh",
            "Bought, if the rest of the house used none of the home's own.",
        ),
        ("electricity_bought_most_kwh", "kWh", "Bought, if the rest of the house used all of it."),
        needs=("pv_output",),
        optional=True,
    )
    + made_by(
        "other_sources",
        ("unit_heat_kwh.", "kWh", "One unit's heat in the minutes in which its meters are known."),
        ("unit_electricity_kwh.", "kWh", "Its electricity in them."),
        ("unit_flow_error_kwh.", "kWh", "Permissible error of its heat meter's flow sensor in them."),
        ("unit_pair_error_kwh.", "kWh", "Permissible error of its temperature pair in them."),
        ("minutes_unit_paired.", "min", "These minutes."),
        ("unit_used_kwh.", "kWh", "All of its electricity."),
        ("unit_starts.", "", "Its starts."),
        ("minutes_unit_running.", "min", "Its running time."),
        ("minutes_unit_known.", "min", "Minutes in which its state is known."),
        ("unit_defrosts.", "", "Its defrosts."),
        ("unit_running_spacing_min.", "min", "Minutes between two facts that show whether it runs."),
        optional=True,
    )
)

_SLOT = "intervals of a quarter of an hour, half an hour or an hour"
SLOTS = made_by(
    "slots",
    ("electricity_house_kwh", "kWh", "Electricity of the whole house."),
    ("minutes_house_known", "min", "Minutes with it known."),
    ("slot_minutes", "min", "Length of the intervals judged; nan where readings are further apart."),
    ("slots_known", "", f"Known {_SLOT}."),
    ("slots_zero", "", "Those without any electricity."),
    ("slot_starts", "", "Those that are on after one that is not."),
    ("level.", "min", "Minutes of intervals with a mean power of NN x 250 W up to the next."),
    optional=True,
)

COLUMNS: tuple[DayColumn, ...] = (
    *ELECTRICITY,
    *HEATS,
    *PAIRED,
    *EXPECTED,
    *CARNOT,
    *DIRECT_HEAT,
    *MONEY,
    *OTHER_SOURCES,
    *SLOTS,
)
