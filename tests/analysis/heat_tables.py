"""Hand-made facts tables, for the findings about heat and water."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.capacity import Capacity
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.figures.heat_loss import HeatLoss
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.model import Finding
from fieldfare.analysis.plant.load import parse_site
from tests.analysis.site_text import WHOLE

DAYS = 90
FIRST = np.datetime64("2025-11-01")
# Waves from mild to a few frosty days, milder than the design's -3 C throughout.
OUTDOOR = 4.5 + 5.0 * np.sin(np.arange(DAYS) / 3.0)
SITE = WHOLE.partition("[limits]")[0]
NO_EVENTS = Table({"day": np.empty(0, dtype="datetime64[us]")})
CAUSES = {
    "backup_heater_use": {"bivalent_set_high", "capacity_shortfall"},
    "room_below_target": {
        "capacity_short",
        "curve_too_low",
        "zone_not_opening",
        "emitters_small",
        "deep_set_back",
    },
    "immersion_use": {"immersion_timer_on", "setpoint_above_reach"},
    "slow_reheat": {"coil_or_scale", "flow_low"},
    "reheat_incomplete": {"setpoint_above_reach"},
    "hot_water_shortfall": {"reheat_window", "cylinder_small", "reheat_slow", "diverter_passing"},
    "high_standing_loss": {"secondary_circulation", "insulation"},
    "frost_risk": {"power_loss"},
    "water_too_hot": {"disinfection_stuck", "other_source", "sensor_fault", "setpoint_raised"},
    "disinfection_lacking": {"none_scheduled", "setpoint_too_low", "diverter_passing"},
    "pressure_high": {"vessel_empty", "filling_loop_open"},
    "pressure_swings": {"vessel_empty"},
}


def changed(table: Table, rows: slice, **values: float) -> Table:
    """The table with other values in some rows."""
    columns = {name: table[name].copy() for name in values}
    for name, value in values.items():
        columns[name][rows] = value
    return table.with_columns(**columns)


def bare(table: Table) -> Table:
    """The table as it would be without any meter."""
    return Table({name: table[name] for name in table.names if not name.startswith("spacing.")})


def day_index(days: int = DAYS) -> np.ndarray:
    return (FIRST + np.arange(days).astype("timedelta64[D]")).astype("datetime64[us]")


def days_of(**columns: Any) -> Table:
    """A healthy heating season's days; a column given replaces or adds one, None takes one away."""
    base: dict[str, Any] = {
        "day": day_index(),
        "minutes_total": 1440,
        "minutes_unknown": 0,
        "minutes_heating": 900,
        "minutes_running": 1000,
        "starts": 8,
        "minutes_heat_known": 1440,
        "minutes_paired": 1440,
        "minutes_tank_known": 1440,
        "minutes_hot_water": 90,
        "minutes_frosting": 200,
        "minutes_settled": 700,
        "minutes_lacking": 0,
        "minutes_near_freezing": 0,
        "minutes_dead_frost": 0,
        "outdoor": OUTDOOR,
        "outdoor_min": OUTDOOR - 3.0,
        "water_min": 24.0,
        "heat_space_kwh": 80.0,
        "heat_total_kwh": 88.0,
        "heat_hot_water_kwh": 8.0,
        "electricity_heat_pump_kwh": 24.0,
        "electricity_total_kwh": 24.5,
        "electricity_backup_kwh": 0.0,
        "electricity_backup_mild_kwh": 0.0,
        "backup_unit_share": np.nan,
        "backup_flow_gap": np.nan,
        "electricity_immersion_kwh": 0.0,
        "electricity_immersion_after_kwh": 0.0,
        "immersion_at_min": np.nan,
        "immersion_to_c": np.nan,
        "load_share": 0.45,
        "load_share_top": 0.8,
        "speed": np.nan,
        "above_curve": 0.3,
        "expected_space_kwh": 20.0,
        "expected_hot_water_kwh": 3.0,
        "expected_used_space_kwh": 20.0,
        "expected_used_hot_water_kwh": 3.0,
        "expected_heat_space_kwh": 80.0,
        "expected_heat_hot_water_kwh": 8.0,
        "expected_full_kwh": 3.0,
        "expected_used_full_kwh": 3.0,
        "minutes_full": 60,
        "expected_full_hot_kwh": 2.0,
        "expected_used_full_hot_kwh": 2.0,
        "minutes_full_hot": 60,
        "flow_by_heat": 38.0,
        "paired_heat_kwh": 88.0,
        "paired_heat_pump_kwh": 24.0,
        "heat_flow_error_kwh": 2.5,
        "heat_pair_error_kwh": 3.0,
        "room_day.house": 20.5,
        "deficit.house": 0.0,
        "wanted.house": 20.5,
        "room": 20.5,
        "tank_mean": 47.0,
        "tank_min": 39.0,
        "tank_max": 50.4,
        "minutes_tank_cold": 10,
        "minutes_cold_charging": 10,
        "minutes_hot_enough": np.where(np.arange(DAYS) % 7 == 3, 30, 0),
        "standing_k_per_h": 0.18,
        "standing_over_k": 28.0,
        "cooling_idle": 0.2,
        "tank_held": np.where(np.arange(DAYS) % 7 == 3, 60.2, 50.3),
        "minutes_tank_hot": 0,
        "minutes_tank_growth": 1000,
        "tank_jumps": 0,
        "tank_rise_alone": 0.0,
        "disinfection_min": np.where(np.arange(DAYS) % 7 == 3, 90.0, 0.0),
        "tank_peak_at": 300.0,
        "flow_greatest": 57.0,
        "pressure_max": 1.6,
        "pressure_swing": 0.2,
        "pressure_per_k": 0.01,
        "pressure_follows": 0.8,
        "loop_spread": 5.0,
        "cooling_night": 0.18,
        "cooling_day": 0.2,
        "pressure": 1.5,
        "pressure_min": 1.4,
        "loop_c": 34.0,
        "money": 6.6,
        "spacing.heat_pump_electricity": 1.0,
        "spacing.heat_output": 1.0,
        "spacing.outdoor_temperature": 1.0,
        "spacing.flow_temperature": 1.0,
        "spacing.return_temperature": 1.0,
        "spacing.cylinder_temperature": 1.0,
        "spacing.operating_mode": 1.0,
        "spacing.room_temperature": 1.0,
        "spacing.target_room_temperature": 1.0,
        "spacing.backup_heater_electricity": 1.0,
        "spacing.immersion_electricity": 1.0,
        "spacing.system_pressure": 1.0,
    }
    return Table({k: v for k, v in (base | columns).items() if v is not None})


def reheats_of(**columns: Any) -> Table:
    """Two usual charges a day: 45 minutes, 6 K of coil water over the cylinder, and what is given."""
    n = 2 * DAYS
    wave = np.tile([0.0, 1.0], DAYS)
    base: dict[str, Any] = {
        "day": np.repeat(day_index(), 2),
        "minutes": 45,
        "cut": False,
        "from_c": 38.0,
        "to_c": 50.4,
        "heat": 3.8,
        "outdoor": 4.0,
        "flow": 48.0,
        "flow_max": 57.0,
        "flow_end": 56.0,
        "lift": 5.0,
        "flow_rate": 1.45,
        "over_cylinder": 8.5,
        "rise_end": 18.0,
        "heat_end": 6.5,
        "pause": 600.0,
        "reached": 1.0,
        "fall_after": 0.3,
        "heat_after": 1.0,
        "flow_after": 30.0 + 6.0 * np.sin(np.arange(n) / 9.0) + wave,
    }
    return Table(base | columns)


def heat_loss_of(ratio: float | None, spread: float = 0.06) -> HeatLoss:
    """A measured heat loss of so much of the design's, with its 95 % interval at so much of it either way."""
    if ratio is None:
        nothing = Estimate.none("needs a heat meter")
        return HeatLoss(nothing, nothing, 8.4, nothing, nothing, None, None, 0, "", True)
    value = Estimate.around(ratio, spread * ratio)
    return HeatLoss(
        value.times(357.0), value.times(8.4), 8.4, value, value.times(4.8), 15.0, 500.0, 80, "by hand", True
    )


def context_of(
    days: Table | None = None,
    reheats: Table | None = None,
    *,
    site: str = SITE,
    loss: HeatLoss | None = None,
) -> Context:
    facts = Facts(
        days_of() if days is None else days,
        NO_EVENTS,
        NO_EVENTS,
        reheats_of() if reheats is None else reheats,
        NO_EVENTS,
    )
    nothing = Estimate.none("not calculated")
    figures: Any = SimpleNamespace(
        heat_loss=loss or heat_loss_of(1.0),
        capacity=Capacity(nothing, nothing, nothing, None, 0),
        expected=SimpleNamespace(
            measured_space=3.6, space=3.7, measured_hot_water=2.6, hot_water=2.7, value=3.5
        ),
        performance=SimpleNamespace(space_heating=nothing, hot_water=nothing),
        hot_water=SimpleNamespace(heat_kwh_per_day=8.0),
        curve=SimpleNamespace(above_design_k=Estimate.around(0.3, 0.5)),
    )
    return Context(parse_site(site), facts, facts, figures)


def with_limits(**limits: float) -> str:
    return SITE + "[limits]\n" + "".join(f"{k} = {v}\n" for k, v in limits.items())


def check_whole(finding: Finding | None) -> Finding:
    """What every finding must bring."""
    assert finding is not None
    assert finding.headline.endswith(".")
    assert any(c.isdigit() for c in finding.headline)
    assert "nan" not in finding.headline
    assert 0.0 < finding.confidence < 1.0
    assert finding.evidence
    assert finding.next_step
    assert not finding.causes or sum(c.weight for c in finding.causes) == pytest.approx(1.0)
    assert {c.cause for c in finding.causes} <= CAUSES.get(finding.code, set())
    assert all(c.because for c in finding.causes)
    assert finding.severity == "note" or finding.home
    return finding
