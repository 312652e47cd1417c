"""Columns of the days table: what is known, and evidence about the meters themselves."""

from __future__ import annotations

from fieldfare.analysis.facts.columns.column import USE, DayColumn, made_by

KNOWN = made_by(
    "days",
    ("day", "", "Local date."),
    ("minutes_total", "min", "Length of the local day."),
    ("minutes_electricity_known", "min", "Minutes with the plant's electricity known."),
    ("minutes_heat_known", "min", "Minutes with heat known."),
    ("minutes_paired", "min", "Minutes with heat and all electricity meters known."),
    ("minutes_any_known", "min", "Minutes with any reading."),
    ("running_spacing_min", "min", "Minutes between two facts about whether the compressor runs."),
    ("use_spacing_min", "min", "Minutes between two facts about what it runs for.", USE),
) + made_by(
    "days",
    ("seen.", "min", "Minutes that a point's usable readings cover."),
    ("sent.", "min", "Minutes that all of a point's readings cover, where some were left out."),
    ("spacing.", "min", "Minutes between two facts that a quantity's readings can show."),
    ("step.", "kWh", "Step of the register that gives a quantity its shape."),
    optional=True,
)

QUALITY = made_by(
    "data_quality",
    ("raw.", "point's", "A point's typical reading in its canonical unit, before anything is left out."),
    ("moves.", "", "How often its value changes; nan with fewer than 12 readings."),
    ("minutes_dead_by_day", "min", "Minutes from 7 to 19 h in which the unit draws nothing."),
    optional=True,
) + made_by(
    "data_quality",
    ("water_lift", "K", "Median of flow less return while the compressor runs."),
    needs=("flow_temperature", "return_temperature"),
)

MELTING = made_by(
    "melting",
    ("minutes_melting", "min", "Defrosts with the heat meter read."),
    ("heat_back_kwh", "kWh", "Heat that the meter shows flowing back outside cooling."),
    ("heat_taken_flow_kwh", "kWh", "Heat drawn back by flow rate and temperatures.", "flow_rate"),
    ("heat_taken_most_kwh", "kWh", "The most that defrosts can have drawn."),
)

OTHER_HEAT = made_by(
    "other_heat",
    ("evening_rise", "K", "Greatest rise of the rooms over three hours of the evening."),
    ("evening_heat", "W", "Space heat in those hours."),
    ("evening_before", "W", "Space heat in the three hours before."),
    ("evening_over", "K", "Rooms above outdoors in them."),
    ("foreign_tank_k", "K", "Greatest rise of the cylinder within an hour without a charge."),
    optional=True,
)

MISPLACED = made_by(
    "misplaced",
    ("check_meter_space", "kWh", "Heat by the meter for rooms where flow and temperatures give it too."),
    ("check_flow_space", "kWh", "The same by flow and temperatures."),
    ("check_meter_hot", "kWh", "Heat by the meter for hot water."),
    ("check_flow_hot", "kWh", "The same by flow and temperatures."),
    ("minutes_surely_on", "min", "Another signal than electricity says that the unit runs."),
    ("electricity_surely_on_kwh", "kWh", "Electricity of its meter in them."),
    ("minutes_surely_off", "min", "Another signal says that it rests."),
    ("electricity_surely_off_kwh", "kWh", "Electricity of its meter in them."),
    ("heat_surely_off_kwh", "kWh", "Metered heat in them while the back-up heater rests."),
    ("minutes_off_burst", "min", "Those with more than 250 W."),
    ("heater_steps", "", "Switchings of the back-up heater."),
    ("heater_step_share", "-", "Change of the metered heat with them over the heater's own, median."),
    ("load_steps", "", "Steps of the unit's electricity by a kW and more within one use."),
    ("dry_steps", "", "Those that heat does not follow."),
    optional=True,
)

_SIGNALS = (("heat", "metered heat"), ("lift", "flow less return"), ("state", "reported state"))
CLOCKS = made_by(
    "clocks",
    ("set_back_min", "min", "Time of the largest fall of the target, after local midnight."),
    *((f"lag_{s}", "min", f"Delay of the {of} after the electricity.") for s, of in _SIGNALS),
    *((f"like_{s}", "-", f"Correlation of the {of} with it at that delay.") for s, of in _SIGNALS),
    optional=True,
) + made_by(
    "clock_edges",
    *((f"begin_{s}", "min", f"Median delay of the begin of the {of}.") for s, of in _SIGNALS[::2]),
    *((f"end_{s}", "min", f"Median delay of the end of the {of}.") for s, of in _SIGNALS[::2]),
    ("near_heat", "min", "Delay of the heat's quick changes within 20 minutes either way."),
    ("near_like_heat", "-", "Their correlation there."),
    optional=True,
)

DAYLIGHT = made_by(
    "daylight",
    ("day_hours", "h", "Sunrise to sunset."),
    ("air_dawn", "°C", "Outdoor temperature at sunrise."),
    ("air_fore", "°C", "Outdoor temperature before noon."),
    ("air_noon", "°C", "Outdoor temperature at solar noon."),
    ("air_aft", "°C", "Outdoor temperature after noon."),
    ("air_dusk", "°C", "Outdoor temperature after sunset."),
    ("air_cos", "K", "First harmonic of the outdoor temperature over the solar day: cosine from noon."),
    ("air_sin", "K", "The same: sine."),
    ("sun_centre", "min", "Centroid of the day's irradiance, less solar noon."),
    optional=True,
)

COLUMNS: tuple[DayColumn, ...] = (
    *KNOWN,
    *QUALITY,
    *MELTING,
    *OTHER_HEAT,
    *MISPLACED,
    *CLOCKS,
    *DAYLIGHT,
)
