"""Situations that a heating engineer meets, made with reference simulator A: 22 short records.

Nine are healthy look-alikes: nothing is wrong, though the readings are unusual. Run
`python -m tests.reference.plants_a --situations --out DIR`.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import numpy as np

from tests.reference.plants_a import faults, faults_water, plants
from tests.reference.plants_a.engine import simulate
from tests.reference.plants_a.faults import COLD, EFFICIENCY, told
from tests.reference.plants_a.faults_sensing import TRUST
from tests.reference.plants_a.home import RUN_IN_MIN, Plant

JANUARY = date(2025, 1, 8)
STANDING = [
    "room_below_target",
    "hot_water_shortfall",
    "capacity_short",
    "pasteurisation_missed",
    "disinfection_lacking",
    "data_gap",
]


@dataclass(frozen=True)
class Situation:
    """One situation: what happens, which home, how long, and its metering."""

    act: Callable[[Plant, np.random.Generator], dict]
    days: int = 30
    start: date = JANUARY
    metering: str = "full"
    step: int = 1
    options: dict = field(default_factory=dict)
    suits: str = "pressure_low"  # a key of `plants.SUITABLE`: a home with hot water


def rows(pl: Plant, a: float, b: float) -> slice:
    """Return the rows of `drive` from day `a` to day `b`."""
    return slice(pl.minute(a), pl.minute(b))


def healthy(**more: object) -> dict:
    """Return the expectation of a healthy look-alike."""
    return {"must": [], "may": [], "healthy": True, **more}


def stands_still(pl: Plant, rng: np.random.Generator) -> dict:
    """The unit stands still for three winter days up to now; every meter reports."""
    pl.drive["enable"][rows(pl, pl.days - 3, pl.days)] = 0.0
    return told(["unit_stopped"], "act", may=["frost_risk", *STANDING], since=pl.days - 3)


def without_power(pl: Plant, rng: np.random.Generator) -> dict:
    """The unit's breaker is off for two days up to now; its gateway is silent, the meters report."""
    day = pl.days - 2.2
    pl.drive["power"][rows(pl, day, pl.days)] = 0.0
    pl.sensing["silent"] = {
        "day": day,
        "quantities": [
            "operating_mode",
            "compressor_speed",
            "fault_code",
            "defrost_active",
            "compressor_starts",
            "compressor_hours",
            "target_flow_temperature",
            "diverter_to_hot_water",
        ],
    }
    return told(
        ["unit_stopped", "frost_risk"], "act", may=["frost_risk", "sensor_stuck", *STANDING], since=day
    )


def locked_overnight(pl: Plant, rng: np.random.Generator) -> dict:
    """The unit locked out last night with a code, and again the night before; it was reset each morning."""
    for night in (pl.days - 2, pl.days - 1):
        pl.drive["lock"][rows(pl, night - 0.08, night + 0.3)] = 34.0
    return told(
        ["fault_reported", "unit_stopped"],
        "watch",
        may=["unit_stopped", "frost_risk", *STANDING],
        since=pl.days - 2,
    )


def heater_carries_house(pl: Plant, rng: np.random.Generator) -> dict:
    """The compressor is locked out for a week and the back-up heater carries the house unnoticed."""
    pl.params["bu_w"], pl.params["bu_emergency"] = 9000.0, 1.0
    pl.facts["asked"]["bu_w"] = 9000.0
    pl.drive["lock"][rows(pl, pl.days - 7, pl.days)] = 52.0
    # the cylinder's thermostat calls the immersion heater, so that nobody misses the hot water
    pl.params["imm_w"], pl.params["imm_c"] = 3000.0, 49.0
    pl.drive["imm_ok"][rows(pl, pl.days - 7, pl.days)] = 1.0
    return told(
        ["backup_heater_use", "unit_stopped", "fault_reported"],
        "act",
        since=pl.days - 7,
        may=["fault_reported", "immersion_use", "frost_risk", *STANDING, *EFFICIENCY],
    )


def scalding(pl: Plant, rng: np.random.Generator) -> dict:
    """The immersion heater's thermostat has welded: 82 degC in the cylinder."""
    pl.params["imm_w"], pl.params["imm_c"] = 3000.0, 82.0
    pl.drive["imm_ok"][pl.minute(pl.days - 9) :] = 1.0
    return told(
        ["water_too_hot"], "act", may=["immersion_use", "high_standing_loss", *EFFICIENCY], since=pl.days - 9
    )


def lukewarm(pl: Plant, rng: np.random.Generator) -> dict:
    """Stored at 41 degC, disinfection switched off at hand-over."""
    return faults_water.lukewarm(pl, "plain", rng)


def vessel(pl: Plant, rng: np.random.Generator) -> dict:
    """The expansion vessel has lost its gas."""
    return faults_water.vessel_empty(pl, "gross", rng)


def misplaced_heat(pl: Plant, rng: np.random.Generator) -> dict:
    """The heat meter was put in the radiator branch."""
    pl.sensing["one_branch"] = 0.55
    return told(
        ["meter_misplaced", "heat_meter_disagrees", "implausible_efficiency"],
        may=[*TRUST, *EFFICIENCY, "heat_loss_below_design", "slow_reheat"],
    )


def car_on_meter(pl: Plant, rng: np.random.Generator) -> dict:
    """A car charges at night through the heat pump's electricity meter."""
    pl.sensing["car_w"] = 7200.0
    return told(
        ["meter_misplaced", "implausible_efficiency", "efficiency_below_expected"],
        may=[*TRUST, *EFFICIENCY, "high_standby", "slow_reheat", "electricity_above_expected"],
    )


def coarse(pl: Plant, rng: np.random.Generator) -> dict:
    """A healthy home whose registers count whole kilowatt hours."""
    return healthy()


def wood_stove(pl: Plant, rng: np.random.Generator) -> dict:
    """A healthy home with a wood stove that no meter sees."""
    for day in range(len(pl.drive) // 1440):
        if rng.random() < 0.6:
            a = day * 1440 + 1020
            pl.drive["stove"][a : a + 330] = 4000.0
    return healthy(may=["heat_loss_below_design"])


def summer_cooling(pl: Plant, rng: np.random.Generator) -> dict:
    """A healthy unit cools the floor on hot afternoons."""
    p = pl.params
    p["cool"], p["cool_flow"] = 1.0, 18.0
    p["sense_off1"] = p["sense_off2"] = -12.0  # the valves are driven open for cooling
    pl.drive["to"] += 4.0
    hour = pl.hour()
    pl.drive["cool_ok"] = (pl.drive["to"] > 21.0) & (hour > 11.0) & (hour < 20.0)
    return healthy(no_figures=("H2", "H4", "heat_kwh", "heat_loss_w_per_k"))


def holiday(pl: Plant, rng: np.random.Generator) -> dict:
    """The family is away for eleven winter days with the heating set back."""
    a, b = rows(pl, 9, 20).start, rows(pl, 9, 20).stop
    for name in ("set1", "set2"):
        pl.drive[name][a : b - 1200] = 16.0
    pl.drive["draw"][a:b] = 0.0
    pl.drive["g1"][a:b] *= 0.25
    pl.drive["g2"][a:b] *= 0.25
    pl.drive["dhw_ok"][a : b - 600] = 1.0
    return healthy()


def service_day(pl: Plant, rng: np.random.Generator) -> dict:
    """A service visit: the unit is off from nine to three, the circuit is topped up, the strainer cleaned."""
    day = 17
    pl.drive["enable"][rows(pl, day + 9 / 24, day + 15 / 24)] = 0.0
    pl.drive["power"][rows(pl, day + 10 / 24, day + 11.5 / 24)] = 0.0
    pl.schedule.append((pl.minute(day + 0.45), pl.minute(day + 0.46), "ves_pre", 1.0, 1.12))
    return healthy(may=["fault_reported"])


def failing_sensors(pl: Plant, rng: np.random.Generator) -> dict:
    """The room sensor repeats one value for days; the cylinder sensor drops to -40 degC now and then."""
    pl.sensing["stuck"] = {"quantity": "room_temperature", "day": pl.days - 12}
    pl.sensing["minus40"] = {"quantity": "cylinder_temperature", "day": pl.days - 15, "share": 0.08}
    return told(
        ["sensor_stuck", "data_gap", "unit_mismatch"],
        may=[
            "hot_water_shortfall",
            "reheat_incomplete",
            "disinfection_lacking",
            "pasteurisation_missed",
            "room_below_target",
            "high_standing_loss",
            "sensor_stuck",
        ],
    )


def cold_snap(pl: Plant, rng: np.random.Generator) -> dict:
    """Five days well below the design temperature; the unit gives all it has."""
    a, b = pl.minute(14), pl.minute(19)
    fall = np.clip((np.arange(b - a) / 1440.0), 0.0, 1.0) * np.clip(
        (b - a - np.arange(b - a)) / 1440.0, 0.0, 1.0
    )
    low = pl.drive["to"][a:b].mean() - (pl.design["outdoor_c"] - 4.0)
    pl.drive["to"][a:b] -= max(low, 0.0) * fall
    return healthy()


def freezing_fog(pl: Plant, rng: np.random.Generator) -> dict:
    """A week of fog around freezing: many defrosts on a healthy coil."""
    a, b = pl.minute(12), pl.minute(20)
    pl.drive["to"][a:b] = 0.3 + 0.25 * (pl.drive["to"][a:b] - pl.drive["to"][a:b].mean())
    pl.drive["rh"][a:b] = 98.5
    pl.drive["sun"][a:b] *= 0.3
    return healthy()


def guests(pl: Plant, rng: np.random.Generator) -> dict:
    """Guests for a week: half as much hot water again, warm rooms, late evenings."""
    part = rows(pl, 13, 20)
    pl.drive["draw"][part] *= 1.35
    pl.drive["g1"][part] += 350.0
    return healthy()


def gateway_outage(pl: Plant, rng: np.random.Generator) -> dict:
    """The gateway was off line for five days; the home was well."""
    pl.sensing["blackouts"] = [(11.2, 16.4)]
    return healthy(may=["data_gap"], must=[{"any_of": ["data_gap"], "severity_at_least": "note"}])


def pump_failed(pl: Plant, rng: np.random.Generator) -> dict:
    """The circulation pump has failed: the unit tries, finds no flow and locks out for two days up to now."""
    day = pl.days - 2.0
    pl.step("flow_factor", day, 0.0)
    pl.drive["lock"][rows(pl, day + 0.01, pl.days)] = 7.0
    return told(
        ["unit_stopped", "low_flow", "fault_reported", "frost_risk"],
        "act",
        since=day,
        may=["fault_reported", "frost_risk", "falling_flow", "low_flow", *STANDING],
    )


def hand_over_weeks(pl: Plant, rng: np.random.Generator) -> dict:
    """The weeks after hand-over: the installer trims the curve twice and stops the unit for short checks."""
    pl.facts["days_since_hand_over"] = 1
    for day, value in ((0.0, 3.0), (4.5, 1.5), (9.5, 0.0)):
        pl.schedule.append(
            (pl.minute(day), pl.minute(day) + 1, "shift", value, value + float(pl.params["shift"][0]))
        )
    for day in (1.4, 4.5, 9.5):
        pl.drive["enable"][rows(pl, day, day + 0.03)] = 0.0
    return healthy(may=["flow_temperature_above_curve"])


def control_sensor_lost(pl: Plant, rng: np.random.Generator) -> dict:
    """The unit's outdoor sensor reads -40 degC: the curve stays at its upper end."""
    day = pl.days - 12
    p = pl.params[0]
    top = float(p["y1"] + (p["y2"] - p["y1"]) * -8.0 / (p["x2"] - p["x1"])) + 2.0
    pl.schedule.append(
        (pl.minute(day), pl.minute(day) + 1, "fixed_flow", 0.0, min(top, float(p["t_max"]) - 3.0))
    )
    pl.sensing["minus40"] = {"quantity": "outdoor_temperature", "day": day, "share": 1.0}
    return told(
        [
            "sensor_stuck",
            "outdoor_sensor_biased",
            "data_gap",
            "flow_temperature_above_curve",
            "no_weather_compensation",
        ],
        since=day,
        may=[
            *EFFICIENCY,
            *COLD,
            "short_cycling",
            "outdoor_sensor_biased",
            "no_weather_compensation",
            "unit_mismatch",
            "sensor_stuck",
        ],
    )


def strainer_blocked(pl: Plant, rng: np.random.Generator) -> dict:
    """The strainer clogs within three weeks."""
    return faults.falling_flow(pl, "gross", rng)


SITUATIONS: dict[str, Situation] = {
    "stands-still": Situation(stands_still),
    "without-power": Situation(without_power),
    "locked-overnight": Situation(locked_overnight),
    "heater-carries-house": Situation(heater_carries_house, options={"climate": "inland"}),
    "scalding": Situation(scalding),
    "lukewarm": Situation(lukewarm),
    "vessel-empty": Situation(vessel),
    "heat-meter-in-branch": Situation(misplaced_heat, step=2),
    "car-on-meter": Situation(car_on_meter, step=5),
    "coarse-registers": Situation(coarse, days=40, metering="coarse_registers", step=15),
    "wood-stove": Situation(wood_stove, days=40, options={"climate": "inland"}),
    "summer-cooling": Situation(
        summer_cooling,
        days=25,
        start=date(2025, 7, 3),
        suits="cooling_home",
        options={"climate": "dry basin"},
    ),
    "holiday": Situation(holiday),
    "service-day": Situation(service_day),
    "failing-sensors": Situation(failing_sensors),
    "cold-snap": Situation(cold_snap, days=35, options={"climate": "maritime"}),
    "freezing-fog": Situation(freezing_fog, days=30, options={"climate": "inland"}),
    "guests": Situation(guests),
    "gateway-outage": Situation(gateway_outage, step=5),
    "pump-failed": Situation(pump_failed),
    "hand-over-weeks": Situation(hand_over_weeks, days=24, start=date(2025, 11, 4)),
    "control-sensor-lost": Situation(control_sensor_lost, suits="no_compensation"),
    "strainer-blocked": Situation(strainer_blocked, days=40, suits="falling_flow"),
}


def make(name: str, seed: int) -> tuple[Plant, np.ndarray]:
    """Return plant and log of one situation."""
    s = SITUATIONS[name]
    pl, _, _ = plants.draw_suitable(seed, s.suits, days=s.days, name=f"a-{name}", start=s.start, **s.options)
    log, _ = simulate(pl.params, pl.drive, pl.schedule, RUN_IN_MIN)
    plants.promise(pl, log)
    pl.truth = s.act(pl, np.random.default_rng([76, seed]))
    pl.truth["may"] = [*pl.truth["may"], *plants.true_anyway(pl)]
    pl.family, pl.title = "situation", (s.act.__doc__ or "").strip()
    if not pl.truth.get("healthy"):
        since = pl.truth.get("since")
        pl.truth["fault"] = {
            "kind": name,
            "strength": "plain",
            "since": pl.day(int(since)) if since else None,
            "parameters": {},
        }
    log, _ = simulate(pl.params, pl.drive, pl.schedule, RUN_IN_MIN)
    return pl, log


def write_all(out: Path) -> None:
    """Write every situation into `out`."""
    for k, (name, s) in enumerate(SITUATIONS.items()):
        pl, log = make(name, 500 + 7 * k)
        hidden = pl.truth.get("no_figures", ())
        if pl.truth.get("healthy"):
            pl.truth["verdict"] = ["in_order", "not_known"]
        plants.write(pl, log, out, s.metering, s.step, hidden)
