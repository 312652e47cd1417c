"""Random homes: climate, fabric, unit, hydraulics, controls and occupants, as an installer would fit them."""

import copy
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.reference.plants_b.engine import Simulation, bench
from tests.reference.plants_b.occupants import Occupants, make_inputs
from tests.reference.plants_b.records import I_HOUR, I_SETA, I_SETB, PARAMETERS, make_parameters
from tests.reference.plants_b.weather import CLIMATES, Climate

SIZE_PARAMETERS = (
    "disp",
    "m_air",
    "ua_evap",
    "ua_cond",
    "frost_cap",
    "fan_power",
    "c_coil",
    "df_water",
    "df_elec",
    "c_hx",
)
DENSITY_20_CP = 1152.0


@dataclass
class Home:
    """A home before it is simulated: parameters of the plant and what the installer wrote down."""

    rng: np.random.Generator
    climate: Climate
    start: np.datetime64
    days: int
    par: dict[str, float]
    site: dict[str, Any]
    occupants: Occupants
    shift_k: float = 0.0
    events: list = field(default_factory=list)  # (minute, callable(simulation))
    edits: list = field(default_factory=list)  # callables(inputs, home): change the weather or the set points
    sensing: list = field(default_factory=list)  # callables(metering, home, simulation)
    options: dict[str, Any] = field(default_factory=dict)  # forced metering options
    refrigerant: str = "R290"

    @property
    def heat_loss_w_per_k(self) -> float:
        """Heat loss coefficient at the climate's mean wind [W/K]."""
        vent = 0.65 + 0.09 * self.climate.wind
        p = self.par
        return p["ua_a"] + p["ua_b"] + vent * (p["vent_a"] + p["vent_b"])

    def minute(self, day: float) -> int:
        """Minute of the simulation at `day` days after the start."""
        return int(day * 1440)

    def date(self, day: float) -> str:
        """Date `day` days after the start."""
        return str(self.start + np.timedelta64(int(day), "D"))

    def simulate(self, per_minute: int = 1) -> Simulation:
        """Run the home and return the simulation with its output."""
        inputs = make_inputs(self)
        for edit in self.edits:
            edit(inputs, self)
        sim = Simulation(as_record(self.par), inputs, per_minute, int(self.rng.integers(1, 10**6)))
        sim.s["room_a"] = sim.s["room_b"] = sim.s["mass_a"] = sim.s["mass_b"] = 20.0
        sim.s["stat_a"] = sim.s["stat_b"] = 20.0
        sim.s["t_out_avg"] = inputs[:1440, 0].mean()
        sim.s["season"] = float(sim.s["t_out_avg"][0] < self.par["heat_limit"])
        sim.s["water_l"] = self.par["_water_l"]
        sim.cyl[:] = np.linspace(self.par["dhw_set"] + 1, self.par["dhw_set"] - 6, len(sim.cyl))
        for minute, change in self.events:
            sim.at(minute, change)
        return sim.run()


def commission(home: Home) -> None:
    """Raise the heating curve, in the plant and the site file, until the rooms get warm."""
    for _ in range(3):
        trial = copy.deepcopy(home)
        trial.days = min(home.days, 60)
        sim = trial.simulate()
        hour = sim.inputs[:, I_HOUR]
        awake = (hour > 11) & (hour < 20) & (sim.channel("call") > 0.5)
        awake[: 3 * 1440] = False
        if awake.sum() < 3000:
            return
        lacking = 0.0
        for name, column in (("room_a", I_SETA), ("room_b", I_SETB)):
            gap = sim.inputs[awake, column] - sim.channel(name)[awake]
            lacking = max(lacking, float(np.median(gap)), float(np.percentile(gap, 92)) - 0.4)
        if lacking < 0.35:
            return
        raised = round(min(4.0, 1.0 + 2.0 * lacking), 1)
        for key in ("curve_y0", "curve_y1"):
            home.par[key] += raised
        home.par["flow_set_max"] += raised
        for pair in home.site["heating_curve"]["points"]:
            pair[1] = round(pair[1] + raised, 1)


def promise(home: Home) -> None:
    """Write the design's seasonal performance into the site file: a little below what the home reaches."""
    trial = copy.deepcopy(home).simulate()
    space = trial.channel("use") == 1
    heat = trial.channel("q_meter")[space].sum()
    used = (trial.channel("p_unit") + trial.channel("p_pump") + trial.channel("p_bu"))[space].sum()
    if heat > 0 and used > 0:
        home.site["design"]["spf_space"] = round(float(heat / used * home.rng.uniform(0.90, 0.97)), 1)


def scale_unit(par: dict[str, float], factor: float) -> None:
    """Make the unit larger or smaller, all parts alike."""
    for name in SIZE_PARAMETERS:
        par[name] = par.get(name, PARAMETERS[name]) * factor


def as_record(par: dict[str, float]) -> np.ndarray:
    """Parameters without the private keys of this module."""
    return make_parameters(**{k: v for k, v in par.items() if not k.startswith("_")})


def make_home(
    rng: np.random.Generator,
    days: int = 150,
    start: str | None = None,
    climate: str | None = None,
    **wish: Any,
) -> Home:
    """Return a random healthy home.

    `wish` may hold: hlc [W/K], oversize (capacity at design over heat loss), emitters ("mixed", "radiator",
    "underfloor"), buffer (0 none, 1 series, 2 parallel), controls (0 to 3), backup, dis, imm (bool),
    dhw (bool), people (int), shift_k.
    """
    place = next((c for c in CLIMATES if c.name == climate), None) or CLIMATES[rng.integers(len(CLIMATES))]
    if start is None:
        first = np.datetime64(f"{rng.integers(2023, 2026)}-09-20") + np.timedelta64(
            int(rng.integers(0, 60)), "D"
        )
    else:
        first = np.datetime64(start)
    par: dict[str, float] = dict(PARAMETERS)
    house = fabric(rng, place, par, wish.get("hlc"))
    kind = wish.get("emitters") or rng.choice(["mixed", "radiator", "underfloor"], p=[0.5, 0.32, 0.18])
    y0 = emitters(rng, place, par, house, str(kind), wish.get("flow_design"))
    unit = size_unit(rng, place, par, house["design_w"], y0, wish)
    hydraulics(rng, par, unit, wish, str(kind))
    controls(rng, place, par, y0, str(kind), wish)
    people = int(wish.get("people") or rng.integers(1, 6))
    water = hot_water(rng, par, people, unit, wish)
    pressure(rng, par)
    site = site_table(rng, place, first, par, house, unit, y0, str(kind), water)
    occupants = Occupants.draw(rng, people, par)
    shift = float(wish["shift_k"]) if "shift_k" in wish else float(rng.normal(0, 0.9))
    home = Home(rng, place, first, days, par, site, occupants, shift)
    home.refrigerant = site["heat_pump"]["refrigerant"]
    return home


def fabric(rng, place: Climate, par: dict, hlc: float | None) -> dict[str, float]:
    """Two zones with fabric loss, ventilation, thermal mass and windows."""
    area = float(rng.uniform(75, 210))
    hlc = hlc or area * float(rng.uniform(1.05, 2.1))
    share_vent = float(rng.uniform(0.18, 0.35))
    wind = 0.65 + 0.09 * place.wind
    part_a = float(rng.uniform(0.42, 0.55))
    for zone, part in (("a", part_a), ("b", 1 - part_a)):
        par[f"ua_{zone}"] = hlc * part * (1 - share_vent)
        par[f"vent_{zone}"] = hlc * part * share_vent / wind
        mass = float(rng.uniform(0.16, 0.40)) * 1e6 * area * part
        par[f"c_mass_{zone}"] = mass
        par[f"c_air_{zone}"] = 1.7e4 * area * part
        par[f"ua_mass_{zone}"] = 7.0 * area * part
        par[f"sun_{zone}"] = area * part * float(rng.uniform(0.010, 0.022))
    par["ua_ab"] = area * 0.9
    return {"area": area, "hlc": hlc, "part_a": part_a, "design_w": hlc * (20.5 - place.design_c)}


def emitters(
    rng, place: Climate, par: dict, house: dict, kind: str, flow_design: float | None = None
) -> float:
    """Size the emitters of both zones for one design flow temperature, and return it [degC]."""
    if kind == "underfloor":
        y0 = float(rng.uniform(33, 38))
    else:
        y0 = float(rng.uniform(40, 52)) if kind == "radiator" else float(rng.uniform(38, 46))
    y0 = flow_design or y0
    mean = y0 - 3.0
    loads = {"a": house["design_w"] * house["part_a"], "b": house["design_w"] * (1 - house["part_a"])}
    kinds = {"a": "underfloor" if kind == "underfloor" else "radiator"}
    kinds["b"] = "radiator" if kind == "radiator" else "underfloor"
    for zone, load in loads.items():
        n = 1.3 if kinds[zone] == "radiator" else 1.1
        par[f"em_n_{zone}"] = n
        spare = float(rng.uniform(1.04, 1.2))
        par[f"em_k_{zone}"] = spare * load / (mean - 20.5) ** n
        if kinds[zone] == "radiator":
            par[f"em_c_{zone}"] = (
                par[f"em_k_{zone}"] * 50**1.3 / 1000.0 * 48e3
            )  # about 11 litres and steel a kW
        else:
            par[f"em_c_{zone}"] = load / 45.0 * float(rng.uniform(5e4, 1.1e5))  # screed
    house["y0"] = y0
    house["kinds"] = kinds  # type: ignore[assignment]
    return y0


def size_unit(rng, place: Climate, par: dict, design_w: float, y0: float, wish: dict) -> dict[str, Any]:
    """Choose a unit, and measure its ratings on the test bench."""
    par.update(
        eta0=float(rng.uniform(0.53, 0.65)),
        n_min=float(rng.uniform(0.18, 0.26)),
        n_opt=float(rng.uniform(0.42, 0.6)),
        eta_speed=float(rng.uniform(0.25, 0.5)),
        fan_power=float(rng.uniform(35, 65)),
        control_power=float(rng.uniform(6, 14)),
        start_tau=float(rng.uniform(45, 80)),
        df_kind=float(rng.random() < 0.15),
        df_delta=float(rng.uniform(2.5, 4.0)),
        df_end=float(rng.uniform(9, 15)),
        df_time_s=float(rng.uniform(3600, 5400)),
        crankcase=0.0 if rng.random() < 0.7 else float(rng.uniform(8, 18)),
    )
    helped = bool(wish.get("backup", rng.random() < 0.45))
    bivalent = place.design_c + float(rng.uniform(2, 5)) if helped else None
    load_at = bivalent if bivalent is not None else place.design_c
    load = design_w * (20.5 - load_at) / (20.5 - place.design_c)
    oversize = float(wish.get("oversize") or rng.uniform(1.05, 1.28))
    for _ in range(2):
        heat, _ = bench(as_record(par), load_at, min(y0, 55.0), 1.0, 80.0, par["disp"] / 8000 * 1.5)
        scale_unit(par, max(load * oversize / heat, 3600.0 / par["disp"]))  # there are no smaller units
    refrigerant = str(rng.choice(["R290", "R32", "R410A"], p=[0.55, 0.35, 0.1]))
    par["flow_max"] = {"R290": 68.0, "R32": 60.0, "R410A": 57.0}[refrigerant]
    par["tc_max"] = par["flow_max"] + 9.0
    flow = measured_flow(par)
    record = as_record(par)
    rated_speed = 0.5
    heat, _ = bench(record, 7.0, 35.0, rated_speed, 87.0, flow)
    unit: dict[str, Any] = {
        "rated": heat,
        "flow": flow,
        "refrigerant": refrigerant,
        "bivalent": bivalent,
        "rated_speed": rated_speed,
    }
    points = [
        (7.0, 35.0, 0.5, 87.0),
        (2.0, 35.0, 0.62, 84.0),
        (-7.0, 35.0, 0.9, 75.0),
        (7.0, 55.0, 0.5, 87.0),
        (-7.0, 55.0, 0.9, 75.0),
        (12.0, 35.0, 0.35, 85.0),
    ]
    keep = [0, *sorted(rng.choice(np.arange(1, 6), size=int(rng.integers(1, 6)), replace=False).tolist())]
    if 3 not in keep and rng.random() < 0.8:
        keep.append(3)
    unit["points"] = [points[i] for i in keep]
    unit["ratings"] = [(a, f, *bench(record, a, f, n, rh, flow)) for a, f, n, rh in unit["points"]]
    unit["min"] = bench(record, 7.0, 35.0, par["n_min"], 87.0, flow)[0]
    if helped:
        par["bu_max"] = float(rng.choice([3000.0, 6000.0, 6000.0]))
        par["bu_bivalent"] = round(float(bivalent or 0.0), 1)
    return unit


def measured_flow(par: dict) -> float:
    """Nominal water flow [m3/h]: 5 to 6 K at about 0.7 of full output."""
    return round(par["disp"] * 0.75 / 1152.0 / 5.5, 2)


def hydraulics(rng, par: dict, unit: dict, wish: dict, kind: str) -> None:
    """Pump, valves and buffer for the unit's nominal flow."""
    scale = unit["flow"] / 1.5
    for name in ("cond_a", "cond_b", "cond_coil", "cond_byp"):
        par[name] *= scale
    for name in ("pump_a", "k_unit", "k_strainer"):
        par[name] /= scale**2
    par["flow_trip"] = 0.22 * unit["flow"]
    par["pump_kind"] = float(rng.random() < 0.45)
    par["pump_dt"] = float(rng.uniform(4.5, 6.0))
    buffer = wish.get("buffer")
    if buffer is None:
        buffer = rng.choice([0, 1, 2], p=[0.3, 0.45, 0.25])
    par["buffer"] = float(buffer)
    par["buf_l"] = float(rng.choice([30, 50, 50, 80, 100]) if buffer == 1 else rng.choice([50, 80, 100, 150]))
    par["vol_l"] = 40 + par["disp"] / 1000.0 * 11 + (par["buf_l"] if buffer else 0)
    par["sec_speed"] = 0.8
    if buffer == 2:
        zones = par["cond_a"] + par["cond_b"]
        want = 0.85 * unit["flow"]  # the secondary circuit takes a little less than the primary
        par["sec_speed"] = float(np.sqrt(want**2 * (par["pump_a"] + 1 / zones**2) / (0.8 * par["pump_h0"])))
    if rng.random() < 0.15 and not wish.get("no_glycol"):
        par["rho_cp"] = DENSITY_20_CP * 0.945
        unit["antifreeze"] = ("propylene_glycol", 25)


def controls(rng, place: Climate, par: dict, y0: float, kind: str, wish: dict) -> None:
    """Heating curve, thermostats and schedules."""
    par["heat_limit"] = float(rng.uniform(14.5, 16.5))
    par["curve_x0"], par["curve_y0"] = place.design_c, round(y0, 1)
    par["curve_x1"], par["curve_y1"] = (
        15.0,
        round(float(rng.uniform(24.5, 26) if kind == "underfloor" else rng.uniform(27, 29)), 1),
    )
    par["flow_set_max"] = min(60.0, y0 + 6)
    par["flow_set_min"] = 23.0
    choice = wish.get("controls")
    if choice is None:
        choice = rng.choice([0, 1, 2, 3], p=[0.4, 0.25, 0.15, 0.2])
    par["ctl_kind"] = float(rng.random() < 0.4)
    par["dm_start"] = float(rng.uniform(50, 90))
    par["hyst_on"], par["hyst_off"] = float(rng.uniform(3.5, 6)), float(rng.uniform(3.5, 6))
    par["min_off_s"], par["min_on_s"] = float(rng.uniform(420, 900)), float(rng.uniform(240, 480))
    par["setback_slope"] = float(rng.uniform(1.0, 2.5))
    stats = {0: (0, 0), 1: (3, 0), 2: (1, 1), 3: (0, 1)}[int(choice)]
    par["stat_a"], par["stat_b"] = map(float, stats)
    par["room_gain"] = 2.0 if choice == 1 else 0.0
    par["trv_a"] = 1.0 if choice in (0, 1, 3) else 0.0
    par["trv_b"] = 1.0 if choice == 0 else 0.0
    par["pump_idle"] = 1.0
    par["valve_b_asks"] = 1.0
    par["keep_running"] = float(rng.random() < 0.5)


def hot_water(rng, par: dict, people: int, unit: dict, wish: dict) -> dict[str, Any] | None:
    """Cylinder, its settings and thermal disinfection."""
    wanted = wish.get("dhw", rng.random() < 0.93)
    if not wanted:
        par["dhw"] = 0.0
        return None
    litres = float(min(300, max(150, round((90 + 45 * people) / 50) * 50)))
    par["cyl_l"] = litres
    loss = (0.7 + 0.0042 * litres) * float(rng.uniform(0.85, 1.2))  # kWh a day at 45 K (EN 12897 test)
    par["cyl_ua"] = loss * 1000 / 24 / 45.0
    par["coil_ua"] = float(rng.uniform(230, 300)) * litres**0.5 * 0.55
    par["dhw_set"] = float(rng.integers(48, 53))
    par["dhw_on"] = par["dhw_set"] - float(rng.integers(5, 9))
    par["dhw_lift"] = float(rng.uniform(7, 10))
    par["dhw_speed"] = float(rng.uniform(0.65, 0.9))
    par["cold_c"] = 10.0
    if rng.random() < 0.2:
        par["dhw_from"], par["dhw_to"] = 4.5, 8.0
        par["dhw_from2"], par["dhw_to2"] = 12.5, 22.0
    disinfect = bool(wish.get("dis", rng.random() < 0.8 or par["flow_max"] < 64.0))
    if disinfect:
        par["dis_on"], par["dis_set"] = 1.0, 61.5
        par["dis_day"], par["dis_hour"] = float(rng.integers(0, 7)), float(rng.integers(11, 16))
        par["imm_max"] = 3000.0
    elif wish.get("imm", rng.random() < 0.5):
        par["imm_max"] = 3000.0
    if not disinfect:  # stored hot instead
        par["dhw_set"], par["dhw_on"] = 60.0, 55.0
    return {"litres": litres, "loss": loss, "disinfect": disinfect}


def pressure(rng, par: dict) -> None:
    """Vessel and cold fill."""
    par["vessel_l"] = round(par["vol_l"] * float(rng.uniform(0.11, 0.16)))
    par["precharge"] = 1.0
    cold = float(rng.uniform(1.3, 1.7))
    par["_water_l"] = par["vessel_l"] * (1 - (par["precharge"] + 1) / (cold + 1))


def site_table(rng, place, first, par, house, unit, y0, kind, water) -> dict[str, Any]:
    """The site file's tables as the installer knows them (rounded, a little off)."""
    slope = (par["curve_y1"] - par["curve_y0"]) / (par["curve_x1"] - par["curve_x0"])
    handed = first - np.timedelta64(int(rng.integers(20, 500)), "D")
    site: dict[str, Any] = {
        "site": {
            "timezone": place.timezone,
            "latitude": place.latitude,
            "longitude": place.longitude,
            "handed_over": handed,
            "floor_area_m2": round(house["area"]),
        },
        "design": {
            "heat_loss_kw": round(
                house["design_w"] * float(np.clip(rng.normal(1.0, 0.05), 0.92, 1.08)) / 1000, 1
            ),
            "indoor_c": 20.5,
            "outdoor_c": place.design_c,
        },
        "heat_pump": {
            "source": "air",
            "rated_output_kw": round(unit["rated"] / 1000, 1),
            "min_output_kw": round(unit["min"] / 1000, 1),
            "max_flow_c": par["flow_max"] + 2.0,
            "flow_m3_per_h": unit["flow"],
            "refrigerant": unit["refrigerant"],
        },
        "rating": [
            {"outdoor_c": a, "flow_c": f, "output_kw": round(q / 1000, 2), "cop": round(q / e, 2)}
            for a, f, q, e in unit["ratings"]
        ],
        "heating_curve": {
            "points": [
                [place.design_c, par["curve_y0"]],
                [15.0, round(par["curve_y0"] + slope * (15 - place.design_c), 1)],
            ]
        },
    }
    if unit["bivalent"] is not None:
        site["design"]["bivalent_c"] = par["bu_bivalent"]
    if "antifreeze" in unit:
        site["heat_pump"]["antifreeze"], site["heat_pump"]["antifreeze_percent"] = unit["antifreeze"]
    site["emitter"] = []
    for zone, name in (("a", "upstairs"), ("b", "downstairs")):
        k, n = par[f"em_k_{zone}"], par[f"em_n_{zone}"]
        excess = 50.0 if n > 1.2 else round(y0 - 3 - 20.5, 1)
        site["emitter"].append(
            {
                "zone": name,
                "kind": house["kinds"][zone],
                "output_kw": round(k * excess**n / 1000, 1),
                "output_excess_k": excess,
            }
        )
    if water:
        table = {
            "cylinder_litres": int(water["litres"]),
            "setpoint_c": par["dhw_set"],
            "reheat_below_c": par["dhw_on"],
            "standing_loss_kwh_per_day": round(water["loss"], 1),
        }
        if water["disinfect"]:
            table.update(pasteurise_c=60.0, pasteurise_every_days=7)
        site["hot_water"] = table
    if par["buffer"]:
        site["buffer"] = {
            "litres": int(par["buf_l"]),
            "arrangement": "series" if par["buffer"] == 1 else "parallel",
        }
    site["cost"] = {
        "currency": "GBP" if place.timezone == "Europe/London" else "EUR",
        "electricity": round(float(rng.uniform(0.2, 0.36)), 3),
    }
    return site
