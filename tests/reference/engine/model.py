"""The engine's input (epJSON) of a house: zone, weather, plant loop with an air-source heat pump, one-minute
steps."""

from __future__ import annotations

from tests.reference.engine.building import envelope, use_of
from tests.reference.engine.heating import heating
from tests.reference.engine.houses import House
from tests.reference.engine.parts import ALWAYS, Model
from tests.reference.engine.thermostat import ideal_heater

STEPS_PER_HOUR = 60

OUTPUTS = (
    "Site Outdoor Air Drybulb Temperature",
    "Site Outdoor Air Relative Humidity",
    "Site Wind Speed",
    "Site Diffuse Solar Radiation Rate per Area",
    "Site Direct Solar Radiation Rate per Area",
    "Site Solar Altitude Angle",
    "Zone Mean Air Temperature",
    "Schedule Value",
    "Heat Pump Load Side Heat Transfer Rate",
    "Heat Pump Electricity Rate",
    "Heat Pump Load Side Inlet Temperature",
    "Heat Pump Load Side Outlet Temperature",
    "Heat Pump Load Side Mass Flow Rate",
    "Pump Electricity Rate",
    "Boiler Electricity Rate",
    "Zone Ideal Loads Zone Sensible Heating Rate",
)


def input_of(house: House, begin: tuple[int, int], end: tuple[int, int], *, coheating: bool = False) -> Model:
    """The engine's input.

    begin, end : (month, day) of a run that may pass the turn of the year; the weather file's year repeats
    coheating : an ideal heater at a constant temperature instead of the plant, no gains and no sun, to
        measure the heat loss
    """
    model = _frame(begin, end)
    envelope(model, house, shaded=coheating)
    use_of(model, house, coheating)
    if coheating:
        ideal_heater(model, house)
    else:
        heating(model, house)
    return model


def _frame(begin: tuple[int, int], end: tuple[int, int]) -> Model:
    years = (2023, 2024 if end < begin else 2023)
    return {
        "Version": {"Version 1": {"version_identifier": "25.2"}},
        "Building": {"House": {"terrain": "Suburbs", "solar_distribution": "FullExterior"}},
        "SimulationControl": {"Control": {"run_simulation_for_sizing_periods": "No"}},
        "Timestep": {"Steps": {"number_of_timesteps_per_hour": STEPS_PER_HOUR}},
        "GlobalGeometryRules": {
            "Rules": {
                "starting_vertex_position": "UpperLeftCorner",
                "vertex_entry_direction": "Counterclockwise",
                "coordinate_system": "Relative",
            }
        },
        "RunPeriod": {
            "Winter": {
                "begin_month": begin[0],
                "begin_day_of_month": begin[1],
                "begin_year": years[0],
                "end_month": end[0],
                "end_day_of_month": end[1],
                "end_year": years[1],
                "use_weather_file_daylight_saving_period": "No",
                "use_weather_file_holidays_and_special_days": "No",
            }
        },
        "ScheduleTypeLimits": {"Any": {}},
        "Schedule:Constant": {
            ALWAYS: {"schedule_type_limits_name": "Any", "hourly_value": 1.0},
            "Single heating": {"schedule_type_limits_name": "Any", "hourly_value": 1.0},
        },
        "Output:Variable": {
            f"Output {n}": {"key_value": "*", "variable_name": name, "reporting_frequency": "Timestep"}
            for n, name in enumerate(OUTPUTS)
        },
        "OutputControl:Files": {
            "Files": {
                "output_csv": "Yes",
                "output_eso": "Yes",
                "output_tabular": "No",
                "output_sqlite": "No",
                "output_json": "No",
            }
        },
    }
