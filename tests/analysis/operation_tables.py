"""Hand-made facts tables, for the findings about operation."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.model import Finding
from fieldfare.analysis.minutes.operating_state import HEATING
from fieldfare.analysis.plant.load import parse_kept_site
from tests.analysis.site_text import WHOLE

OWN_PUMP_METER = WHOLE.replace('includes = ["circulation_pump"]', "")
DAYS = 60
FIRST = np.datetime64("2025-11-01")
# From mild to the design day, in waves, so that any ten days hold some of both.
OUTDOOR = 5.0 + 6.0 * np.sin(np.arange(DAYS) / 3.0) - np.linspace(0.0, 2.0, DAYS)
CURVE = np.interp(OUTDOOR, [-3.0, 15.0], [46.0, 28.0])
# Eight coats of 165 g for each of 8.5 kW on every frosty day.
EIGHT_COATS_KG = np.where(OUTDOOR < 5.0, 8.0 * 0.165 * 8.5, 0.0)
NO_EVENTS = Table({"day": np.empty(0, dtype="datetime64[us]")})
CAUSES = {
    "short_cycling": {
        "unit_trips",
        "oversized_for_mild_load",
        "thermostat_chopping",
        "low_water_volume",
        "flow_restriction",
    },
    "excessive_defrost": {"coil_airflow", "low_refrigerant_symptom", "insufficient_defrost_heat"},
    "defrost_without_frost": {"low_refrigerant_symptom", "sensor_fault"},
    "flow_temperature_above_curve": {"curve_set_high", "manual_override"},
    "flow_temperature_below_curve": {"curve_too_low", "flow_not_reached"},
    "no_weather_compensation": {"fixed_flow_setting"},
    "low_flow": {"strainer_or_air", "pump_setting"},
    "falling_flow": {"strainer_clogging", "strainer_or_air", "pump_setting"},
    "buffer_mixing": {"secondary_flow_exceeds_primary", "sensor_fault"},
}


def days_of(**columns: Any) -> Table:
    """A healthy heating season's days; a column given replaces or adds one, None takes one away."""
    day = FIRST + np.arange(DAYS).astype("timedelta64[D]")
    base: dict[str, Any] = {
        "day": day.astype("datetime64[us]"),
        "minutes_total": 1440,
        "minutes_heating": 900,
        "minutes_running": 1000,
        "minutes_steady": 700,
        "minutes_rest": 300,
        "minutes_hot_water": 90,
        "outdoor": OUTDOOR,
        "outdoor_steady": OUTDOOR,
        "minutes_heating_warm": 0,
        "heat_heating_warm_kwh": 0.0,
        "flow": CURVE + 0.5,
        "curve": CURVE,
        "above_curve": 0.5,
        "target_flow": CURVE,
        "target_above_curve": 0.0,
        "flow_rate": 1.4,
        "flow_rate_top": 1.45,
        "flow_rate_hot_water": 1.45,
        "flow_jitter": 0.002,
        "lift": 4.0,
        "heat_power": 6000.0,
        "heat_space_kwh": 80.0,
        "electricity_space_kwh": 20.0,
        "expected_heat_space_kwh": 80.0,
        "expected_used_space_kwh": 20.0,
        "expected_steady_kwh": 18.0,
        "expected_used_steady_kwh": 18.0,
        "expected_curve_actual_kwh": 18.0,
        "expected_curve_space_kwh": 17.8,
        "load_share_top": 0.95,
        "minutes_beyond": 700,
        "buffer_drop": 0.2,
        "beyond_lift": 4.0,
        "rest_power": 20.0,
        "minutes_calm": 200,
        "still_power": 20.0,
        "minutes_still": 200,
        "lowest_hour": 25.0,
        "minutes_unasked": 200,
        "minutes_unasked_pumped": 5,
        "frost_least": 0.4 * EIGHT_COATS_KG,
        "frost_usual": EIGHT_COATS_KG,
        "frost_most": 2.5 * EIGHT_COATS_KG,
        "heat_total_kwh": 88.0,
        "minutes_frosting": 600,
        "minutes_heat_known": 1440,
        "compressor_starts_counted": np.nan,
        "compressor_hours_counted": np.nan,
        "spacing.heat_pump_electricity": 1.0,
        "spacing.flow_temperature": 1.0,
        "spacing.outdoor_temperature": 1.0,
        "spacing.flow_rate": 1.0,
        "spacing.distribution_flow_temperature": 1.0,
        "spacing.operating_mode": 1.0,
    }
    return Table({k: v for k, v in (base | columns).items() if v is not None})


def runs_of(minutes: float, pause: float, per_day: int, **columns: Any) -> Table:
    """Heating runs of one kind on every day: by default ended by the unit, with plenty of water and nominal
    flow."""
    base: dict[str, Any] = {
        "day": np.repeat(days_of()["day"], per_day),
        "minutes": minutes,
        "pause": pause,
        "use": HEATING,
        "minutes_heating": minutes,
        "minutes_hot_water": 0,
        "minutes_defrost": 0,
        "cut": False,
        "heat": minutes / 60.0 * 3.0,
        "electricity": minutes / 60.0 * 0.8,
        "flow_start": 30.0,
        "return_start": 29.5,
        "flow_end": 36.0,
        "return_end": 32.5,
        "flow_max": 36.5,
        "target_flow": 33.0,
        "flow_rate": 1.4,
        "flow_after": 1.4,
        "lift": 3.0,
        "ended_by": "unit",
    }
    return Table(base | columns)


def defrosts_of(
    gap: float, frost_g_per_kw: float, a_day: int = 10, *, locked: bool = False, **columns: Any
) -> Table:
    """So many defrosts on every day in which the air can frost a coil; `locked`: as soon as the unit may, in
    any air."""
    frosty = np.repeat(np.flatnonzero(OUTDOOR < 5.0), a_day)
    # Frost comes as it likes: one defrost sooner, the next later.
    gaps = np.resize([0.75, 1.25, 0.9, 1.1, 1.0], len(frosty)) * gap
    usual = np.full(len(frosty), frost_g_per_kw) * 8.5 / 1000.0
    if locked:
        gaps, usual = (np.resize(x, len(frosty)) for x in ([gap, gap + 1.0, gap + 3.0], usual * 1.0))
        usual = usual * np.resize([0.3, 0.6, 0.9, 1.2, 1.5, 0.4, 1.0], len(frosty))
    base: dict[str, Any] = {
        "day": days_of()["day"][frosty],
        "frost_usual_kg": usual,
        "minutes": 4,
        "heat_taken": 0.2,
        "electricity": 0.05,
        "outdoor": 1.0,
        "humidity": np.nan,
        "frosting": True,
        "frost_known": True,
        "since_last": gaps,
        "frost_kg": frost_g_per_kw * 8.5 / 1000.0,
        "during": HEATING,
    }
    return Table(base | columns)


def context_of(
    days: Table | None = None,
    runs: Table | None = None,
    defrosts: Table | None = None,
    site: str = WHOLE,
    sampled: str = "",
) -> Context:
    """sampled : why defrosts are only sampled, if they are"""
    facts = Facts(
        days_of() if days is None else days,
        NO_EVENTS if runs is None else runs,
        NO_EVENTS if defrosts is None else defrosts,
        NO_EVENTS,
        NO_EVENTS,
    )
    figures: Any = SimpleNamespace(
        heat_loss=SimpleNamespace(base_temperature_c=15.0),
        defrost=SimpleNamespace(reason=sampled, taken_reason=sampled, count_least=len(defrosts or ())),
    )
    return Context(parse_kept_site(site), facts, facts, figures)


def with_limits(**limits: float) -> str:
    return WHOLE.partition("[limits]")[0] + "[limits]\n" + "".join(f"{k} = {v}\n" for k, v in limits.items())


def check_whole(finding: Finding | None) -> Finding:
    """What every finding must bring."""
    assert finding is not None
    assert finding.headline.endswith(".")
    assert any(c.isdigit() for c in finding.headline)
    assert 0.0 < finding.confidence < 1.0
    assert finding.evidence
    assert finding.next_step
    assert not finding.causes or sum(c.weight for c in finding.causes) == pytest.approx(1.0)
    assert {c.cause for c in finding.causes} <= CAUSES.get(finding.code, set())
    assert all(c.because for c in finding.causes)
    return finding
