"""Invented homes: a house, a unit that is sized for it, controls of many habits, the site file's tables."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.reference.plants_c.physics import FLOOR_W, WATER_J, capacity, curve, efficiency, radiator
from tests.reference.plants_c.spec import DEFAULTS, MODULATING, NO_CONTROL, ON_OFF, TRV, UNDERFLOOR
from tests.reference.plants_c.weather import CLIMATES, Weather, make_weather

DESIGN_OUTDOOR = {"mild": -3.0, "central": -8.0, "cold": -12.0}
PLACES = {  # time zone, latitude; longitude is left out of the site file
    "mild": ("Europe/London", 51.5),
    "central": ("Europe/Berlin", 50.2),
    "cold": ("Europe/Berlin", 48.0),
}
RATED_SHARE = 0.85  # share of the largest output at which the rating points are stated
ICED = {2.0: (0.92, 0.90), -7.0: (0.98, 0.96)}  # output and COP with the defrosts of an EN 14511 test
SEASON_FIRST = {"winter": (290, 335), "spring": (60, 85), "summer": (115, 150)}  # first day of the year


@dataclass
class Change:
    """A number of the plant that changes: to `value` (or times it, `scale`), from `day`, over `ramp` days."""

    key: str
    value: float
    scale: bool = False
    day: float = 0.0
    ramp: float = 0.0
    until: float = 1e9


@dataclass
class Home:
    """One plant before it runs. `spec` is as built; `changes` are what happens to it."""

    rng: np.random.Generator
    climate: str
    days: int
    start: np.datetime64
    weather: Weather
    draws: np.ndarray
    spec: dict[str, float]
    people: int
    flow_design: float
    design: dict[str, Any] = field(default_factory=dict)
    changes: list[Change] = field(default_factory=list)
    edits: list[Any] = field(default_factory=list)

    def refill(self) -> None:
        """Draw hot water anew, after the people or the cylinder changed."""
        self.draws = make_draws(self.rng, self.days, self.people)

    def spec_of(self, day: float, faulty: bool = True) -> dict[str, float]:
        """The plant's numbers on a day."""
        now = dict(self.spec)
        for c in self.changes if faulty else ():
            if c.day <= day < c.until:
                part = 1.0 if c.ramp <= 0.0 else min(1.0, (day - c.day + 1.0) / c.ramp)
                goal = now[c.key] * c.value if c.scale else c.value
                now[c.key] += part * (goal - now[c.key])
        return now


def mean_ua(spec: dict[str, float], wind: float = 3.4) -> float:
    """Heat loss coefficient of the house, W/K, at a wind speed."""
    air = 0.33 * (spec["ach_base"] + spec["ach_wind"] * wind) * (spec["vol0"] + spec["vol1"])
    return spec["ua0"] + spec["ua1"] + air


def make_draws(rng: np.random.Generator, days: int, people: int) -> np.ndarray:
    """Litres at 40 degC by minute: showers, a bath now and then, small draws by day."""
    out = np.zeros(days * 1440)
    early = rng.normal(415, 25)
    for day in range(days):
        late = 60 if day % 7 >= 5 else 0
        times = [(early + late + rng.normal(0, 25), 9, 4) for _ in range(people // 2)]
        times += [(1200 + rng.normal(0, 50), 9, 4) for _ in range(people - people // 2)]
        if rng.random() < 0.07 * people:
            times.append((1170 + rng.normal(0, 40), 10, 9))
        times += [(rng.uniform(390, 1340), 3, rng.integers(1, 3)) for _ in range(3 + 2 * people)]
        for at, litres, minutes in times:
            first = day * 1440 + int(np.clip(at, 0, 1420))
            out[first : first + int(minutes)] += litres * rng.uniform(0.8, 1.2)
    return out


def set_house(rng: np.random.Generator, s: dict[str, float]) -> None:
    """Size, insulation and mass of the house."""
    area = rng.uniform(85, 190)
    fabric = area * rng.uniform(0.75, 1.25)
    share = rng.uniform(0.48, 0.58)
    s["share0"] = share
    s["ua0"], s["ua1"] = fabric * share, fabric * (1 - share)
    s["vol0"], s["vol1"] = 2.45 * area * share, 2.45 * area * (1 - share)
    s["ach_base"], s["ach_wind"] = rng.uniform(0.15, 0.35), rng.uniform(0.02, 0.07)
    heavy = rng.uniform(0.7, 1.6)
    for zone, part in (("0", share), ("1", 1 - share)):
        s["c_air" + zone] = 3.0e4 * area * part
        s["c_mass" + zone] = 2.4e5 * heavy * area * part
        s["ua_mass" + zone] = 7.0 * area * part
        s["glass" + zone] = rng.uniform(0.012, 0.03) * area
    s["ua_between"] = 1.1 * area
    s["gain_w"] = rng.uniform(2.0, 3.2) * area
    s["room_set0"] = float(rng.choice([20.0, 20.5, 21.0]))
    s["room_set1"] = s["room_set0"] - float(rng.choice([0.0, 1.0, 1.5]))
    s["area"] = area


def set_emitters(rng: np.random.Generator, s: dict[str, float], outdoor: float) -> float:
    """Emitters that carry the loss at the design; return the design flow temperature."""
    load = {
        z: (s["ua" + z] + 0.33 * (s["ach_base"] + 3.4 * s["ach_wind"]) * s["vol" + z])
        * (s["room_set" + z] - outdoor)
        for z in ("0", "1")
    }
    if rng.random() < 0.3:
        excess = 0.0
        for z, part in (("0", s["share0"]), ("1", 1 - s["share0"])):
            area = 0.85 * s["area"] * part
            s["kind" + z], s["out" + z], s["c_em" + z] = UNDERFLOOR, area, 1.15e5 * area
            flux = load[z] / area
            excess = max(excess, (flux / FLOOR_W) ** (1 / 1.1) + flux / 6.0 + s["room_set" + z])
        s["control"] = float(rng.choice([NO_CONTROL, TRV, MODULATING]))
        s["trv_band"] = 1.0
        return round(excess + 3.0, 1)
    flow = float(rng.integers(42, 53))
    s["control"] = float(rng.choice([TRV, ON_OFF, MODULATING, NO_CONTROL], p=[0.4, 0.2, 0.2, 0.2]))
    margin = rng.uniform(1.05, 1.3 if s["control"] in (TRV, ON_OFF) else 1.1)
    for z in ("0", "1"):
        s["out" + z] = margin * load[z] / radiator(1.0, 1.3, flow - 4.0, s["room_set" + z])
        s["c_em" + z] = rng.uniform(28, 42) * s["out" + z]  # steel panels with their water, J/K a watt
    s["exponent"] = rng.uniform(1.27, 1.33)
    return flow


def set_unit(rng: np.random.Generator, s: dict[str, float], load: float, outdoor: float, flow: float) -> None:
    """A unit sized for the load, its water and its control habits."""
    spare = rng.uniform(1.1, 1.35)
    s["q_nom"] = (load * spare + 300.0) / capacity(1.0, outdoor, flow)
    s["eta"], s["min_share"] = rng.uniform(0.50, 0.58), rng.uniform(0.20, 0.34)
    s["pl_gain"], s["pl_knee"] = rng.uniform(0.05, 0.18), rng.uniform(0.25, 0.45)
    s["flow"] = RATED_SHARE * s["q_nom"] / rng.uniform(5.0, 6.5)
    s["flow2"] = s["flow"] * rng.uniform(0.85, 1.0)
    s["parallel"] = float(rng.random() < 0.25)
    s["c_sup"] = WATER_J * rng.uniform(15, 30)
    s["c_ret"] = max(WATER_J * rng.uniform(25, 70), 75.0 * s["flow"])
    if s["parallel"]:
        half = rng.uniform(30, 60) * WATER_J
        s["c_sup"], s["c_ret"], s["pump2_w"] = half, max(half, 75.0 * s["flow"]), rng.uniform(10, 25)
    s["pump_w"], s["standby_w"] = rng.uniform(20, 50), rng.uniform(6, 18)
    s["pump_rest"] = 1.0 if s["parallel"] else float(rng.random() < 0.6)
    s["hyst_on"], s["hyst_off"] = rng.uniform(2.0, 5.0), rng.uniform(2.0, 4.0)
    s["min_run"], s["rest_min"] = float(rng.integers(4, 13)), float(rng.integers(3, 16))
    s["flow_max"] = float(rng.choice([60.0, 65.0, 70.0]))
    s["air_kg_s"] = s["q_nom"] / 8000.0 * rng.uniform(0.7, 1.0)
    s["frost_full"] = s["q_nom"] / 8000.0 * rng.uniform(1.2, 1.9)
    s["defrost_min_gap"] = float(rng.integers(30, 50))
    s["defrost_share"] = rng.uniform(0.7, 0.95)
    if rng.random() < 0.4:
        s["quiet_from"], s["quiet_to"], s["quiet_share"] = 1320.0, 360.0, rng.uniform(0.75, 0.9)
        s["q_nom"] *= 1.08
    if rng.random() < 0.35:
        s["bu_w"], s["bu_below"] = float(rng.choice([3000, 6000])), outdoor - 1.0


def flow_needed(s: dict[str, float], outdoor: float, gain: float) -> float:
    """Flow temperature that holds both zones, steady, with `gain` W of other heat."""
    most = 0.0
    for z, part in (("0", s["share0"]), ("1", 1 - s["share0"])):
        room = s["room_set" + z]
        ua = s["ua" + z] + 0.33 * (s["ach_base"] + 3.4 * s["ach_wind"]) * s["vol" + z]
        heat = max(ua * (room - outdoor) - gain * part, 0.0)
        drop = heat / (s["flow"] * part) / 2.0
        if s["kind" + z] == UNDERFLOOR:
            flux = heat / s["out" + z]
            mean = room + (flux / FLOOR_W) ** (1 / 1.1) + flux / 6.0
        else:
            mean = room + 50.0 * (heat / s["out" + z]) ** (1 / s["exponent"])
        most = max(most, mean + drop)
    return most


def set_controls(rng: np.random.Generator, s: dict[str, float], outdoor: float, flow: float) -> None:
    """Curve, set-back, hot-water habits and the pressure side."""
    gain = 0.6 * s["gain_w"]
    spare = {NO_CONTROL: 0.7, MODULATING: 0.5}.get(s["control"], 1.5)
    cold, mild = flow_needed(s, outdoor, gain) + spare, flow_needed(s, 8.0, gain) + spare
    s["t_cold"], s["f_cold"], s["t_warm"] = outdoor, cold, 18.0
    s["f_warm"] = max(cold + (mild - cold) * (18.0 - outdoor) / (8.0 - outdoor), s["room_set0"] + 1.0)
    s["bend"] = 1.0 if s["control"] == NO_CONTROL else float(rng.choice([1.0, 0.88]))
    s["pump_mod"] = 0.0 if s["parallel"] else float(rng.random() < 0.4)
    s["heat_limit"] = float(rng.choice([14.0, 15.0, 16.0]))
    if s["kind0"] != UNDERFLOOR and rng.random() < 0.3:
        s["setback_k"] = float(rng.choice([1.0, 1.5, 2.0]))
        s["f_cold"] += 1.5
    elif rng.random() < 0.2:
        s["night_flow_k"] = 2.0
    s["sys_litres"] = (s["c_sup"] + s["c_ret"]) / WATER_J + rng.uniform(35, 70)
    s["vessel_litres"] = float(rng.choice([12, 18, 25]))
    s["vessel_bar"] = float(rng.choice([0.8, 1.0]))
    s["fill_bar"] = s["vessel_bar"] + rng.uniform(0.5, 0.8)


def set_cylinder(rng: np.random.Generator, s: dict[str, float], people: int) -> None:
    """A cylinder that suits the people."""
    s["litres"] = float(rng.choice([150, 180, 210]) if people <= 2 else rng.choice([210, 250, 300]))
    s["setpoint"] = float(rng.choice([49.0, 50.0, 51.0, 52.0, 53.0]))
    s["below"] = s["setpoint"] - float(rng.choice([5.0, 6.0, 7.0]))
    s["ua_cyl"] = (12 + 5.93 * s["litres"] ** 0.4) / 45.0 * rng.uniform(0.75, 1.0)  # class B, 812/2013
    s["coil_ua"] = s["q_nom"] * rng.uniform(0.17, 0.26)
    s["dhw_share"] = float(rng.choice([1.0, 0.7, 0.55, 0.45]))
    s["dis_weekday"], s["dis_minute"] = float(rng.integers(0, 7)), float(rng.choice([60, 120, 780]))
    if rng.random() < 0.25:
        s["dhw_from"], s["dhw_to"] = 240.0, 1350.0
    if rng.random() < 0.1:
        s["dhw"] = s["dis_c"] = 0.0


def make_home(seed: int, days: int = 90, season: str = "winter") -> Home:
    """Return a healthy home; nothing but `seed`, `days` and `season` decides it."""
    rng = np.random.default_rng([seed, 31])
    climate = str(rng.choice(list(CLIMATES)))
    outdoor = DESIGN_OUTDOOR[climate]
    low, high = SEASON_FIRST[season]
    first = int(rng.integers(low, high))
    start = np.datetime64(f"{int(rng.integers(2023, 2026))}-01-01") + np.timedelta64(first, "D")
    weather = make_weather(rng, climate, first, days, PLACES[climate][1])
    people = int(rng.integers(1, 6))
    s = dict(DEFAULTS, area=0.0)
    set_house(rng, s)
    flow = set_emitters(rng, s, outdoor)
    load = mean_ua(s) * (s["room_set0"] - outdoor)
    set_unit(rng, s, load, outdoor, flow)
    set_controls(rng, s, outdoor, flow)
    set_cylinder(rng, s, people)
    draws = make_draws(rng, days, people) * (s["dhw"] > 0)
    home = Home(rng, climate, days, start, weather, draws, s, people, flow)
    home.design = {"scatter": rng.normal(0, 0.04), "outdoor": outdoor}
    return home


def normal_year(climate: str) -> np.ndarray:
    """Day means of a normal year, degC: the season with its spread at five quantiles of a normal."""
    mean, swing, spread, _ = CLIMATES[climate]
    season = mean - swing * np.cos(2 * np.pi * (np.arange(365) - 20) / 365)
    return (season[:, None] + spread * np.array([-1.4, -0.53, 0.0, 0.53, 1.4])).ravel()


def design_table(home: Home) -> dict[str, Any]:
    """The [design] table: what the designer worked out of the true house, with a small scatter.

    Seasonal performance is 0.77 of the steady one: starts, defrosts, standby and pumps take the rest.
    """
    s, outdoor = home.spec, home.design["outdoor"]
    ua = mean_ua(s) * (1.0 + home.design["scatter"])
    year = normal_year(home.climate)
    base = s["room_set0"] - (s["gain_w"] * 0.9 + 250.0) / ua
    lack = np.maximum(base - year, 0.0)
    space = ua * lack.sum() / 5 * 24 / 1000
    cop = np.array(
        [
            efficiency(
                s["eta"],
                s["pl_gain"],
                s["pl_knee"],
                t,
                curve(s["t_cold"], s["f_cold"], s["t_warm"], s["f_warm"], s["bend"], t),
                0.45,
            )
            for t in year
        ]
    )
    seasonal = 0.77 * lack.sum() / max((lack / cop).sum(), 1e-6)
    table = {
        "heat_loss_kw": round(ua * (s["room_set0"] - outdoor) / 1000, 2),
        "indoor_c": s["room_set0"],
        "outdoor_c": outdoor,
        "space_heat_kwh_per_year": round(space, -1),
        "spf_space": round(seasonal * home.design.get("promise", 1.0), 2),
    }
    if s["dhw"]:
        table["hot_water_kwh_per_year"] = round(
            home.people * 55 * 30 * 1.163 * 0.365 + s["ua_cyl"] * 30 * 8.76, -1
        )
        table["spf_hot_water"] = 2.9
    if s["bu_w"]:
        table["bivalent_c"] = s["bu_below"]
    return table


def rating_points(s: dict[str, float]) -> list[dict[str, float]]:
    """EN 14511 points of the unit at its rated speed; those in frost include the defrosts."""
    rows = []
    for outdoor, flow in ((7.0, 35.0), (2.0, 35.0), (-7.0, 35.0), (7.0, 55.0), (2.0, 45.0), (-7.0, 55.0)):
        if flow > s["flow_max"]:
            continue
        output, quality = ICED.get(outdoor, (1.0, 1.0))
        kw = RATED_SHARE * capacity(s["q_nom"], outdoor, flow) * output / 1000
        heat = kw * 1000 / output
        power = heat / efficiency(s["eta"], s["pl_gain"], s["pl_knee"], outdoor, flow, RATED_SHARE)
        cop = heat / (power + s["standby_w"]) * quality
        rows.append({"outdoor_c": outdoor, "flow_c": flow, "output_kw": round(kw, 2), "cop": round(cop, 2)})
    return rows
