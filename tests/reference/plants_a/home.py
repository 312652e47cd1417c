"""Draw a healthy home: house, emitters, unit, hydraulics, controls and what the installer wrote down."""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from tests.reference.plants_a import weather
from tests.reference.plants_a.people import Habits, draw_habits, fill_people
from tests.reference.plants_a.rating import rating_point, steady, top_speed
from tests.reference.plants_a.records import DRIVE, parameters

RUN_IN_DAYS = 4
RUN_IN_MIN = RUN_IN_DAYS * 1440
TIMEZONES = {
    "maritime": "Europe/London",
    "inland": "Europe/Berlin",
    "upland": "Europe/London",
    "cold": "Europe/Stockholm",
    "mild coast": "Europe/Dublin",
    "dry basin": "Europe/Vienna",
}


@dataclass
class Plant:
    """One home: parameters, inputs, what the site file says, and what its meters do wrong."""

    name: str
    seed: int
    climate: weather.Climate
    start: date
    days: int
    params: np.ndarray
    habits: Habits
    drive: np.ndarray
    design: dict
    facts: dict
    schedule: list = field(default_factory=list)
    sensing: dict = field(default_factory=dict)
    family: str = "healthy"
    title: str = "healthy home"
    truth: dict = field(default_factory=dict)

    def minute(self, day: float) -> int:
        """Return the row of `drive` at `day` days after the start of the record."""
        return RUN_IN_MIN + round(day * 1440)

    def day(self, number: int) -> str:
        """Return the ISO date of day `number` of the record."""
        return (self.start + timedelta(days=int(number))).isoformat()

    def hour(self) -> np.ndarray:
        """Return the wall-clock hour of each row of `drive`."""
        return wall_hour(len(self.drive), self.facts["dst"])

    def scale(self, name: str, factor: float) -> None:
        """Multiply one parameter."""
        self.params[name] *= factor

    def step(self, name: str, day: float, value: float, over_days: float = 0.0) -> None:
        """Schedule a parameter to change to `value` at `day`, at once or linearly over `over_days`."""
        a = self.minute(day)
        self.schedule.append(
            (a, a + round(over_days * 1440), name, float(self.params[name][0]), float(value))
        )


def house_conductance(p: np.void, wind_ms: float = 4.0, dt: float = 18.0) -> float:
    """Return the steady heat loss coefficient of the house [W/K] at a mean wind and difference."""
    from tests.reference.plants_a.physics import infiltration_w_per_k

    total = 0.0
    for z in ("1", "2")[: int(p["zones"])]:
        wall = p["ua_mass" + z] * p["h_am" + z] / (p["ua_mass" + z] + p["h_am" + z])
        total += p["ua_air" + z] + wall + infiltration_w_per_k.py_func(p["inf" + z], wind_ms, dt)
    return float(total)


def draw_house(rng: np.random.Generator, p: np.ndarray, ua_max: float) -> tuple[float, float]:
    """Set the envelope; return floor area [m2] and total conductance [W/K], at most `ua_max`."""
    area = float(rng.uniform(80, 210))
    ua = min(area * float(rng.uniform(1.2, 2.3)), ua_max)
    zones = 2 if rng.random() < 0.45 else 1
    p["zones"] = zones
    heavy = float(rng.uniform(0.7, 1.6))
    parts = (0.58, 0.42) if zones == 2 else (1.0, 0.0)
    inf, glass = float(rng.uniform(0.15, 0.30)), float(rng.uniform(0.25, 0.4))
    for z, part in zip("12", parts, strict=True):
        a = max(area * part, 1.0)
        p["ua_air" + z] = ua * part * glass
        p["inf" + z] = ua * part * inf
        h_am = 9.0 * 2.2 * a
        wall = ua * part * (1 - glass - inf)
        p["h_am" + z] = h_am
        p["ua_mass" + z] = wall * h_am / (h_am - wall)
        p["c_air" + z] = 65e3 * a
        p["c_mass" + z] = 210e3 * heavy * a
        p["aperture" + z] = 0.032 * a * float(rng.uniform(0.7, 1.4))
        p["area" + z] = 0.85 * a
    p["uzz"] = 1.1 * area
    return area, ua


def draw_emitters(rng: np.random.Generator, p: np.ndarray, ua: float, indoor: float, td: float) -> str:
    """Size the emitters for the design day, set the heating curve; return the kind of emitter."""
    zones = int(p["zones"][0])
    kind = str(
        rng.choice(["radiator", "radiator", "radiator", "underfloor", "mixed" if zones == 2 else "radiator"])
    )
    y1 = {"radiator": rng.choice([42, 45, 48, 50, 52]), "underfloor": rng.choice([36, 38, 40]), "mixed": 42}[
        kind
    ]
    y1 = float(y1)
    control = str(rng.choice(["valves", "thermostat", "influence"], p=[0.4, 0.35, 0.25]))
    margin = float(rng.uniform(1.10, 1.30))
    for z, part in zip("12", (0.58, 0.42) if zones == 2 else (1.0, 0.0), strict=True):
        load = ua * part * (indoor - td) * margin
        floor = kind == "underfloor" or (kind == "mixed" and z == "1")
        p["floor" + z] = float(floor)
        p["share" + z] = max(part, 0.0)
        if floor and load > 0:
            area = p["area" + z][0]
            excess = (load / area / 8.92) ** (1 / 1.1)
            p["ua_tube" + z] = load / max(y1 - 2.0 - indoor - excess, 2.5)
            p["c_em" + z] = 115e3 * area
        else:
            p["n" + z] = float(rng.uniform(1.25, 1.34))
            p["phi" + z] = load / ((y1 - 3.0 - indoor) / 50.0) ** p["n" + z]
            p["c_em" + z] = 0.022 * p["phi" + z] * 1000.0
        p["thermostat" + z] = float(
            control == "thermostat" or (floor and control == "valves" and rng.random() < 0.6)
        )
    if p["thermostat1"] < 0.5:
        p["thermostat2"] = 0.0
    if control == "influence":
        p["room_k"] = float(rng.choice([2.0, 3.0, 4.0]))
        p["trv_band"] = 2.5
    p["th_hyst"] = float(rng.choice([0.2, 0.25, 0.3, 0.4]))
    part = (indoor - 16.0) / (indoor - td)
    p["x1"], p["y1"], p["x2"] = td, y1, 16.0
    p["y2"] = round(indoor + (y1 - indoor) * part**0.78 + 1.0, 0)
    p["set_k"], p["set_base"] = float(rng.choice([0.0, 1.5, 2.0])), indoor
    p["filter_h"] = float(rng.choice([1.0, 2.0, 4.0, 8.0]))
    p["limit_c"] = float(rng.choice([15.0, 15.5, 16.0, 17.0]))
    return kind


def size_unit(p: np.ndarray, q_full: float) -> None:
    """Scale everything in the unit that goes with its size."""
    k = q_full / float(p["q_full"][0])
    for name in ("q_full", "ua_e", "ua_c", "p_fan", "m_full", "c_coil", "c_unit", "unit_l"):
        p[name] *= k


def draw_unit(rng: np.random.Generator, p: np.ndarray, load_w: float, td: float) -> dict:
    """Choose and size the unit; return the installer's facts about it."""
    facts: dict = {"refrigerant": str(rng.choice(["R290", "R32", "R290"]))}
    p["eta0"] = float(rng.uniform(0.57, 0.64))
    p["ua_e"] *= float(rng.uniform(0.85, 1.15))
    p["t_max"] = 70.0 if facts["refrigerant"] == "R290" else 60.0
    fixed = rng.random() < 0.15
    if fixed:
        p["fixed"], p["f_min"], p["boost"], p["f_opt"] = 1.0, 1.0, 0.0, 0.9
        p["hyst_on"], p["hyst_off"], p["min_off_s"] = 3.0, 3.0, 600.0
    else:
        p["f_min"] = float(rng.uniform(0.22, 0.34))
        p["boost"] = float(rng.uniform(0.05, 0.25) if td > -11.0 else rng.uniform(0.25, 0.45))
        p["eta_part"] = float(rng.uniform(0.06, 0.14))
        p["hyst_on"], p["hyst_off"] = float(rng.uniform(3, 6)), float(rng.uniform(3, 6))
        p["min_off_s"] = float(rng.choice([300.0, 480.0, 600.0, 900.0]))
    bivalent = rng.random() < 0.25
    ratio = float(rng.uniform(0.86, 0.97)) if bivalent else float(rng.uniform(1.08, 1.28 if fixed else 1.4))
    at_design = steady(p[0], td, float(p["y1"][0]), top_speed(p[0], td))[0] * 0.96
    size_unit(p, max(float(p["q_full"][0]) * load_w * ratio / at_design, 4500.0))
    p["bu_w"] = float(rng.choice([3000.0, 6000.0])) if bivalent or rng.random() < 0.4 else 0.0
    p["bivalent"] = td + 4.0 if bivalent else td - 8.0
    p["def_timer"] = float(rng.random() < 0.2)
    p["def_timer_s"] = float(rng.choice([4800.0, 6000.0, 7200.0]))
    p["def_min_s"] = float(rng.choice([1800.0, 2400.0, 2700.0]))
    p["p_stby"] = float(rng.uniform(6, 14))
    p["p_crank"] = float(rng.choice([0.0, 0.0, 20.0, 30.0]))
    if not fixed and ratio > 1.15 and rng.random() < 0.2:
        p["quiet_f"] = 0.65
    facts["bivalent_c"] = td + 4.0 if bivalent else None
    # a maker's tolerance: the unit at hand is a little better or worse than the type that was tested
    facts["tested"] = p.copy()
    p["eff"] = float(np.clip(rng.normal(1.0, 0.02), 0.96, 1.04))
    return facts


def draw_hydraulics(rng: np.random.Generator, p: np.ndarray, kind: str) -> dict:
    """Choose buffer, pump, water content and antifreeze; return the facts for the site file."""
    facts: dict = {"antifreeze": "none", "antifreeze_percent": 0}
    cap = steady(p[0], 7.0, 35.0)[0]
    dt = float(rng.choice([5.0, 5.0, 6.0]))
    p["dt_set"] = dt
    p["rho_cp"] = 1.155 * 3.6e6
    if rng.random() < 0.15:
        facts["antifreeze"], facts["antifreeze_percent"] = "propylene_glycol", 25
        p["rho_cp"] = 1.1137 * 3.6e6
    p["q_nom"] = round(cap / (float(p["rho_cp"][0]) / 3600.0 * dt), 2)
    p["pump_w"] = (14.0 + 20.0 * float(p["q_nom"][0])) * float(rng.uniform(0.8, 1.25))
    fixed = p["fixed"][0] > 0.5
    draw = rng.random()
    if fixed or draw < 0.3:
        p["buffer"], p["buffer_l"] = 1.0, float(rng.choice([50.0, 80.0, 100.0]))
        if fixed:
            p["buffer_l"] = max(120.0, round(cap / 1000.0 * 28.0, -1))
    elif draw < 0.5:
        p["buffer"], p["buffer_l"], p["pump2_w"] = (
            2.0,
            float(rng.choice([50.0, 100.0, 150.0])),
            0.6 * p["pump_w"],
        )
        p["sec_ratio"] = float(rng.uniform(0.7, 0.95))
    p["modulating"] = float(rng.random() < 0.35 and p["buffer"][0] < 1.5)
    p["bypass"] = 0.8 if fixed else float(rng.uniform(0.3, 0.5))
    p["pipe_l"] = p["return_l"] = max(14.0, float(p["q_nom"][0]) * 8.0)
    content = 0.0
    for z in "12"[: int(p["zones"][0])]:
        content += (
            0.007 * float(p["phi" + z][0]) if p["floor" + z][0] < 0.5 else 0.9 * float(p["area" + z][0])
        )
    p["sys_l"] = content + 40.0 + float(p["buffer_l"][0])
    p["ves_l"] = max(12.0, round(0.11 * float(p["sys_l"][0])))
    p["p_fill"] = float(rng.uniform(1.3, 1.7))
    p["leak_l"] = float(rng.uniform(0.0, 0.006))
    facts["kind"] = kind
    return facts


def draw_hot_water(rng: np.random.Generator, p: np.ndarray, habits: Habits) -> dict:
    """Choose cylinder and hot-water controls; return facts."""
    if rng.random() < 0.06:
        p["dhw"], p["cyl_l"] = 0.0, 100.0
        return {"hot_water": False, "windows": ()}
    p["cyl_l"] = float(
        {"S": rng.choice([150, 180, 210]), "M": rng.choice([200, 250]), "L": rng.choice([250, 300])}[
            habits.profile
        ]
    )
    if rng.random() < 0.1:
        p["cyl_l"] += 100.0
    p["ua_cyl"] = (12.0 + 5.93 * float(p["cyl_l"][0]) ** 0.4) / 45.0 * float(rng.uniform(0.75, 1.05))
    p["coil_ua"] = 190.0 * float(p["q_full"][0]) / 1000.0 * float(rng.uniform(0.9, 1.3))
    p["sense_layer"] = float(rng.choice([3.0, 4.0, 4.0]))
    p["setp"] = float(rng.choice([47.0, 48.0, 50.0, 50.0, 52.0]))
    p["reheat"] = p["setp"] - float(rng.choice([5.0, 6.0, 7.0, 8.0]))
    p["hp_past"] = 60.5 if p["t_max"][0] > 65 else 53.0
    p["past_c"] = 60.0
    p["imm_w"] = 3000.0
    p["dhw_tmax"] = p["t_max"] - 2.0
    p["dhw_f"] = float(rng.uniform(0.7, 1.0))
    windows = () if rng.random() < 0.75 or p["cyl_l"][0] < 240 else ((4.0, 7.0), (12.5, 16.0), (21.5, 23.5))
    return {
        "hot_water": True,
        "past_c": 60.0,
        "windows": windows,
        "past_day": int(rng.integers(0, 7)),
        "past_hour": float(rng.choice([2.0, 13.0])),
    }


def wall_hour(n: int, dst: np.ndarray) -> np.ndarray:
    """Return the wall-clock hour of each minute of standard time."""
    return (np.arange(n) / 60.0 + dst) % 24.0


def begin_utc(start: date, zone: str) -> datetime:
    """Return midnight of `start` in the zone's standard time, as UTC."""
    winter = datetime(start.year, 1, 15, tzinfo=ZoneInfo(zone)).utcoffset() or timedelta(0)
    return datetime(start.year, start.month, start.day, tzinfo=UTC) - winter


def summer_time(start: date, days: int, zone: str) -> np.ndarray:
    """Return the hours of summer time (0 or 1) of each minute from midnight, standard time, of `start`."""
    first, tz = begin_utc(start, zone), ZoneInfo(zone)
    winter = datetime(start.year, 1, 15, tzinfo=tz).utcoffset() or timedelta(0)
    # offsets, not `dst()`: some zones define winter time as the exception
    offsets = [(first + timedelta(hours=h)).astimezone(tz).utcoffset() or winter for h in range(days * 24)]
    hours = [(o - winter).total_seconds() / 3600.0 for o in offsets]
    return np.repeat(np.array(hours), 60)


def fill_controls(drive: np.ndarray, facts: dict, p: np.ndarray) -> None:
    """Write schedules of hot water, disinfection and quiet hours into `drive`."""
    n = len(drive)
    hour = wall_hour(n, facts["dst"])
    day = np.arange(n) // 1440
    drive["dhw_ok"] = 1.0
    if facts["windows"]:
        drive["dhw_ok"] = sum(((hour >= a) & (hour < b)).astype(float) for a, b in facts["windows"])
    if facts["hot_water"]:
        drive["past_start"] = (day % 7 == facts["past_day"]) & (hour == facts["past_hour"])
    drive["quiet"] = (p["quiet_f"][0] < 1.0) & ((hour >= 22.0) | (hour < 6.0))
    drive["power"] = drive["enable"] = 1.0


def space_heat_per_year(climate: weather.Climate, ua: float, indoor: float, gains_w: float) -> float:
    """Return a designer's estimate of space heat [kWh/a] from degree days below the base temperature."""
    base = indoor - 1.3 * gains_w / ua
    doy = np.arange(365)
    mean = climate.mean_c - climate.half_range_k * np.cos(2 * np.pi * (doy - 20) / 365)
    spread = climate.day_sd_k * np.linspace(-2, 2, 9)
    short = np.maximum(base - (mean[:, None] + spread[None, :]), 0.0)
    weights = np.exp(-0.5 * np.linspace(-2, 2, 9) ** 2)
    return float(ua * 24.0 * (short @ weights / weights.sum()).sum() / 1000.0)


def draw_plant(
    seed: int, days: int | None = None, daily: tuple[date, np.ndarray] | None = None, **fixed: object
) -> Plant:
    """Return the healthy home of `seed`; `fixed` may pin `climate` (name), `start` (date) or `name`.

    `daily` is the first date and the values of measured daily outdoor temperatures to use.
    """
    rng = np.random.default_rng([71, seed])
    climate = weather.CLIMATES[int(rng.integers(len(weather.CLIMATES)))]
    climate = next((c for c in weather.CLIMATES if c.name == fixed.get("climate")), climate)
    drawn_days = int(rng.integers(120, 201))
    days = days or drawn_days
    start = date(2023 + int(rng.integers(0, 3)), 9, 25) + timedelta(days=int(rng.integers(0, 70)))
    start = fixed.get("start", start)
    p = parameters()
    td = weather.design_outdoor_c(climate)
    area, ua = draw_house(rng, p, 13500.0 / (21.0 - td))
    habits = draw_habits(rng, days, area)
    indoor = habits.target_c
    kind = draw_emitters(rng, p, ua, indoor, td)
    if kind == "underfloor":
        habits.setback_k = min(habits.setback_k, 1.0)
    if habits.setback_k > 1.2:
        p["shift"] = 1.5  # the installer gave the curve room for the morning
    load = ua * (indoor - td)
    facts = draw_unit(rng, p, load, td)
    facts |= draw_hydraulics(rng, p, kind) | draw_hot_water(rng, p, habits)
    if facts["bivalent_c"] is not None:
        habits.setback_k = min(habits.setback_k, 1.0)
    facts |= {"area": area, "zone_names": ("downstairs", "upstairs") if p["zones"][0] > 1.5 else ("house",)}
    facts["timezone"] = TIMEZONES[climate.name]
    n = (days + RUN_IN_DAYS) * 1440
    drive = np.zeros(n, DRIVE)
    first = (start - timedelta(days=RUN_IN_DAYS)).timetuple().tm_yday
    zone_h = round(
        (
            datetime(start.year, 1, 15, tzinfo=ZoneInfo(facts["timezone"])).utcoffset() or timedelta(0)
        ).total_seconds()
        / 3600
    )
    facts["dst"] = summer_time(start - timedelta(days=RUN_IN_DAYS), days + RUN_IN_DAYS, facts["timezone"])
    daily_c = None
    if daily is not None:
        daily_c = weather.from_day_of_year(*daily, start - timedelta(days=RUN_IN_DAYS), days + RUN_IN_DAYS)
    hourly = weather.hourly(rng, climate, first, days + RUN_IN_DAYS, zone_h, daily_c)
    for name, values in hourly.items():
        drive[name] = weather.to_minutes(values)
    doy = (first + np.arange(n) / 1440.0) % 365
    drive["cold"] = 10.5 - 3.5 * np.cos(2 * np.pi * (doy - 45) / 365)
    fill_people(drive, habits, rng, RUN_IN_DAYS, facts["dst"], bool(p["zones"][0] > 1.5))
    fill_controls(drive, facts, p)
    if not facts["hot_water"]:
        drive["draw"] = 0.0
    rated = facts["tested"][0]
    points = (
        [(7.0, 35.0), (2.0, 35.0), (-7.0, 35.0), (7.0, 55.0)]
        if rng.random() < 0.7
        else [(7.0, 35.0), (7.0, 45.0)]
    )
    ratings = [rating_point(rated, *point) for point in points]
    gains = habits.base_w + 0.5 * habits.people_w
    # the designer's figure is good to some percent of what the house loses at its own wind
    known = house_conductance(p[0], climate.wind_ms, 0.6 * (indoor - td)) * (indoor - td)
    design = {
        "heat_loss_kw": round(known / 1000.0 * float(np.clip(rng.normal(1.03, 0.05), 0.94, 1.12)), 1),
        "indoor_c": indoor,
        "outdoor_c": td,
        "space_heat_kwh_per_year": round(space_heat_per_year(climate, ua, indoor, gains), -2),
    }
    if facts["bivalent_c"] is not None:
        design["bivalent_c"] = facts["bivalent_c"]
    facts |= {
        "ratings": ratings,
        "min_output_kw": round(steady(rated, 7.0, 35.0, float(p["f_min"][0]))[0] / 1000.0, 2),
    }
    return Plant(
        str(fixed.get("name", f"a{seed:04d}")), seed, climate, start, days, p, habits, drive, design, facts
    )
