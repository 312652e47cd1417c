"""Duration of a visit: a fixed time, and a time per finding.

All times are common practice, no source; a firm's own jobs replace them as soon as there are some of a kind.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

BASE_MINUTES = 30
"""To arrive, to talk, to look at unit and controls, to write up."""
OTHER_MINUTES = 30
"""For a finding that is not named below."""
STEP_MINUTES = 15
LONGEST_MINUTES = 480
LEAST_JOBS = 3
"""So many of the firm's own jobs for one finding tell more than the table."""
FINDING_MINUTES: Mapping[str, int] = {
    "backup_heater_use": 30,
    "buffer_mixing": 45,
    "capacity_short": 60,
    "clock_offset": 10,
    "data_gap": 30,
    "defrost_without_frost": 45,
    "disinfection_lacking": 30,
    "diverter_passing": 60,
    "efficiency_fell": 60,
    "excessive_defrost": 45,
    "falling_flow": 45,
    "fault_reported": 60,
    "flow_return_swapped": 30,
    "flow_temperature_above_curve": 15,
    "flow_temperature_below_curve": 30,
    "frost_risk": 45,
    "heat_meter_disagrees": 45,
    "heating_out_of_season": 15,
    "high_standby": 30,
    "high_standing_loss": 60,
    "hot_water_shortfall": 30,
    "immersion_use": 20,
    "low_flow": 45,
    "meter_misplaced": 45,
    "no_weather_compensation": 20,
    "outdoor_sensor_biased": 30,
    "pasteurisation_missed": 30,
    "pressure_falling": 90,
    "pressure_high": 60,
    "pressure_low": 30,
    "pressure_swings": 60,
    "pump_always_on": 20,
    "reheat_incomplete": 45,
    "room_below_target": 45,
    "sensor_stuck": 30,
    "short_cycling": 30,
    "slow_reheat": 60,
    "unit_stopped": 60,
    "water_too_hot": 30,
}
"""Minutes for the work on one finding (common practice, no source)."""


def visit_minutes(codes: Iterable[str], jobs: Mapping[str, float] | None = None) -> int:
    """Estimate of the time at a home, in steps of a quarter of an hour.

    codes : of the findings to deal with. jobs : code -> median time of the firm's own visits for this
        finding alone [min]
    """
    own = jobs or {}
    work = sum(
        max(own[code] - BASE_MINUTES, 0.0) if code in own else FINDING_MINUTES.get(code, OTHER_MINUTES)
        for code in codes
    )
    return min(math.ceil((BASE_MINUTES + work) / STEP_MINUTES) * STEP_MINUTES, LONGEST_MINUTES)
