"""Design healthy installations with matching house, unit, emitters, heating curve, cylinder and flow."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np

from fieldfare.collector.simulated.design.spec import (
    Backup,
    BufferSpec,
    Climate,
    Control,
    ControlKind,
    DesignSpec,
    EmitterSpec,
    HeatPumpSpec,
    HotWaterSpec,
    HouseSpec,
    PlantSpec,
)
from fieldfare.collector.simulated.step.machine import steady

# Invented places with typical monthly means and design temperatures (common practice).
CLIMATES: dict[str, Climate] = {
    "mild": Climate("mild", 5.4, 17.0, 2.9, 3.6, 2.2, 0.42, -2.5, 52.0, -2.0, "Europe/London"),
    "continental": Climate("continental", 0.2, 19.2, 4.2, 4.6, 2.4, 0.42, -10.0, 47.6, 8.6, "Europe/Zurich"),
    "upland": Climate("upland", -2.2, 15.0, 4.2, 4.8, 2.0, 0.48, -14.0, 47.4, 11.2, "Europe/Vienna"),
}

UNITS_W = (
    4500.0,
    5500.0,
    6500.0,
    7500.0,
    8500.0,
    10000.0,
    12000.0,
    14000.0,
    16000.0,
    19000.0,
    22000.0,
    26000.0,
)


def measured_climate(daily: tuple[float, ...], first: date) -> Climate:
    """A continental climate that follows a measured series of daily means.

    daily : tuple of float [degC]; first : date of the first one
    Returns Climate.
    """
    base = CLIMATES["continental"]
    return Climate(
        "measured",
        base.january_c,
        base.july_c,
        base.day_noise_k,
        base.swing_k,
        base.dew_depression_k,
        base.clearness,
        -8.0,
        base.latitude,
        base.longitude,
        base.timezone,
        daily,
        first,
    )


def season_need(climate: Climate, htc: float, indoor_c: float, gains_w: float) -> float:
    """Space heat of a mean year [kWh]: sinusoidal year with normal daily spread, less gains."""
    days = np.arange(365)
    mean = 0.5 * (climate.january_c + climate.july_c) + 0.5 * (climate.january_c - climate.july_c) * np.cos(
        2 * np.pi * (days - 21) / 365
    )
    need = 0.0
    for z in (-1.5, -0.75, 0.0, 0.75, 1.5):
        load = htc * (indoor_c - (mean + z * 0.8 * climate.day_noise_k)) - 1.35 * gains_w
        need += np.maximum(load, 0.0).sum() * 24.0 / 1000.0 / 5.0
    return float(need)


def _emitters(
    rng: np.random.Generator,
    kind: str,
    zones: tuple[str, ...],
    shares: tuple[float, ...],
    load: float,
    area: float,
    indoor: float,
) -> tuple[tuple[EmitterSpec, ...], float, float]:
    """Emitters that carry the design load at a random mean water temperature.

    Returns tuple (emitters, mean water temperature at design [degC], spread of flow and return [K]).
    """
    spread = 5.0 if kind != "radiator" else float(rng.choice([5.0, 6.0]))
    mean = {
        "underfloor": float(rng.uniform(32.5, 36.0)),
        "mixed": float(rng.uniform(36.0, 39.0)),
        "radiator": float(rng.uniform(38.5, 46.0)),
        "fan_coil": float(rng.uniform(36.0, 40.0)),
    }[kind]
    spare = float(rng.uniform(1.03, 1.12))
    out = []
    for i, (zone, share) in enumerate(zip(zones, shares, strict=True)):
        own = kind if kind != "mixed" else ("underfloor" if i == 0 else "radiator")
        need = load * share * spare
        if own == "underfloor":
            floor = 0.82 * area * share
            out.append(
                EmitterSpec(
                    zone,
                    "underfloor",
                    need,
                    mean - indoor,
                    1.1,
                    25.0 + 0.55 * floor,
                    40.0,
                    130.0 * floor,
                    floor,
                )
            )
        else:
            exponent = 1.3 if own == "radiator" else 1.0
            rated = need / ((mean - indoor) / 50.0) ** exponent
            per_kw = 5.5 if own == "radiator" else 1.5  # l/kW at 50 K, panel radiators; common practice
            litres = 18.0 + per_kw * rated / 1000.0 + 0.12 * area * share
            mass = 7.0 * rated / 1000.0 + 8.0
            out.append(EmitterSpec(zone, own, rated, 50.0, exponent, litres, mass))  # type: ignore[arg-type]
    return tuple(out), mean, spread


def _curve(
    emitters: tuple[EmitterSpec, ...],
    mean: float,
    spread: float,
    climate: Climate,
    indoor: float,
    exponent: float,
    gain_share: float,
) -> tuple[tuple[float, float], ...]:
    """Heating curve that covers the heat loss, less a small share of gains in mild weather."""
    points = []
    span = indoor - climate.design_c
    for outdoor in (climate.design_c, 0.5 * (climate.design_c + 15.0), 15.0):
        part = (indoor - outdoor) / span
        # gains count for nothing at the design point, and for three quarters in mild weather
        part = max(part - 0.75 * gain_share * (outdoor - climate.design_c) / (15.0 - climate.design_c), 0.06)
        flow = indoor + (mean - indoor) * part ** (1.0 / exponent) + 0.5 * spread * part
        points.append((round(outdoor, 1), round(flow * 2.0) / 2.0))
    return tuple(points)


def design_plant(
    seed: int,
    climate: Climate,
    *,
    control: ControlKind | None = None,
    emitter: str | None = None,
    buffer: str | None = None,
    hot_water: bool | None = None,
) -> PlantSpec:
    """A healthy installation drawn from a seed, without meters.

    seed : int; climate : Climate; control, emitter (radiator, underfloor, mixed, fan_coil), buffer (none,
        series, parallel), hot_water : fixed choices; None draws from the seed
    Returns PlantSpec.
    """
    rng = np.random.default_rng([seed, 1])
    area = float(np.round(rng.triangular(75.0, 135.0, 230.0)))
    kind = (
        str(rng.choice(["radiator", "underfloor", "mixed"], p=[0.6, 0.2, 0.2]))
        if emitter is None
        else emitter
    )
    specific = float(rng.uniform(0.95, 1.9)) if kind == "underfloor" else float(rng.uniform(1.2, 2.6))
    htc = area * specific
    if climate.design_c < -8.0:
        htc *= 0.8  # colder places build better
    indoor = float(rng.choice([20.0, 20.5, 21.0]))
    two = kind == "mixed" or bool(rng.random() < 0.25)
    zones = ("ground", "upper") if two else ("house",)
    shares = (0.55, 0.45) if two else (1.0,)
    drawn_control: ControlKind = "thermostat" if rng.random() < 0.55 else "compensation"
    control_kind = drawn_control if control is None else control
    if kind == "underfloor" and control is None:
        control_kind = "compensation"  # underfloor heating is too slow for an on-off thermostat
    heavy = float(rng.uniform(0.6, 1.6))
    gains = area * float(rng.uniform(2.2, 3.6))
    load = htc * (indoor - climate.design_c)
    house = HouseSpec(
        area,
        htc,
        float(rng.uniform(0.42, 0.5)),
        area * float(rng.uniform(45.0, 70.0)),
        area * 190.0 * heavy,
        area * float(rng.uniform(0.012, 0.028)),
        gains,
        zones,
        shares,
    )
    emitters, mean, spread = _emitters(rng, kind, zones, shares, load, area, indoor)
    exponent = 1.1 if kind == "underfloor" else 1.2 if kind == "mixed" else 1.3
    curve = _curve(emitters, mean, spread, climate, indoor, exponent, gains / load)
    hp = _unit(rng, load, climate, curve[0][1], spread)
    setback = float(rng.choice([0.0, 1.5, 2.5], p=[0.5, 0.3, 0.2])) if control_kind == "thermostat" else 0.0
    targets = (indoor, indoor - 1.0) if two else (indoor,)
    plan = Control(
        control_kind,
        targets,
        setback,
        22.0,
        5.0,
        float(rng.choice([0.4, 0.6])),
        float(rng.choice([15.0, 16.0])),
        curve,
        max(24.0, curve[-1][1] - 1.0),
        5.0 if control_kind == "compensation" else 4.0,
        4.0,
        600.0,
        240.0,
    )
    has_hot = bool(rng.random() < 0.93) if hot_water is None else hot_water
    cylinder = _cylinder(rng, area, hp, climate) if has_hot else None
    if cylinder is not None and hp.rated_w < 33.0 * cylinder.litres:
        hp = replace(hp, hot_water_share=0.95)  # a small unit needs its full output for a large cylinder
    tank = _buffer(rng, hp, buffer)
    heater = None
    if rng.random() < 0.5 or climate.design_c < -8.0:
        heater = Backup(3000.0 if hp.rated_w < 9000 else 6000.0, climate.design_c + 1.0, 60.0)
    space = season_need(climate, htc, indoor, gains)
    design = DesignSpec(
        round(load / 100.0) * 100.0,
        indoor,
        climate.design_c,
        round(space / 100.0) * 100.0,
        round((cylinder.litres_40_per_day * 30 * 1.163e-3 * 365 if cylinder else 0.0) / 50.0) * 50.0,
        round(float(np.interp(curve[0][1], [34, 40, 46, 52], [4.2, 3.8, 3.4, 3.1])) - 0.1, 1),
        2.6,
        heater.bivalent_c if heater else None,
    )
    return PlantSpec(
        id=f"plant-{seed}",
        name=f"Plant {seed}",
        seed=seed,
        climate=climate,
        house=house,
        emitters=emitters,
        control=plan,
        heat_pump=hp,
        hot_water=cylinder,
        buffer=tank,
        backup=heater,
        design=design,
        meters=(),
        previous_fuel=str(rng.choice(["natural_gas", "heating_oil", "lpg"])),
    )


def _unit(
    rng: np.random.Generator, load: float, climate: Climate, flow_c: float, spread: float
) -> HeatPumpSpec:
    """The smallest unit that carries the design load with some margin for hot water."""
    margin = float(rng.uniform(1.06, 1.22))
    cop = float(np.round(rng.uniform(3.8, 4.6), 1))
    hot, refrigerant = (70.0, "R290") if rng.random() < 0.6 else (60.0, "R32")
    chosen = None
    for rated in UNITS_W:
        chosen = HeatPumpSpec(
            rated_w=rated,
            min_w=round(rated * float(np.interp(rated, [4500, 26000], [0.30, 0.24])), -2),
            cop_a7w35=cop,
            max_flow_c=hot,
            flow_m3_per_h=1.0,
            fan_w=25.0 + 5.0 * rated / 1000.0,
            controls_w=11.0,
            crankcase_w=15.0 + 1.5 * rated / 1000.0,
            pump_w=20.0 + 3.5 * rated / 1000.0,
            hot_water_share=0.8,
            hot_water_reach_c=hot - 7.0,
            refrigerant=refrigerant,
        )
        if 0.93 * steady(chosen, climate.design_c, flow_c)[0] >= load * margin:
            break
    assert chosen is not None
    flow = max(load / spread / 1.152 / 1000.0, 0.115 * chosen.rated_w / 1000.0)
    return replace(chosen, flow_m3_per_h=round(flow, 2))


def _cylinder(rng: np.random.Generator, area: float, hp: HeatPumpSpec, climate: Climate) -> HotWaterSpec:
    """A cylinder sized for the occupants of the house."""
    per_day = float(np.clip(rng.normal(1.0, 0.25) * (95.0 + 1.15 * area), 100.0, 420.0))
    litres = float(
        min((150.0, 180.0, 200.0, 250.0, 300.0, 400.0), key=lambda v: abs(v - 1.0 * per_day - 35.0))
    )
    setpoint = float(rng.choice([50.0, 52.0, 55.0], p=[0.5, 0.25, 0.25]))
    if hp.max_flow_c < 65.0:
        setpoint = min(setpoint, hp.hot_water_reach_c - 2.0)
    # Regulation (EU) 812/2013 class B, W at 45 K; 10 to 20 % more as installed, for pipes (common
    # practice)
    rated_w = 12.0 + 5.93 * litres**0.4
    installed = float(rng.uniform(1.0, 1.2))
    windows = ((3.0, 9.0), (12.0, 17.0), (19.0, 23.0)) if rng.random() < 0.25 else ()
    return HotWaterSpec(
        litres,
        setpoint,
        setpoint - (10.0 if setpoint > 54.0 else 7.0),
        75.0 * hp.rated_w / 1000.0 + 150.0,
        installed * rated_w / 45.0,
        round(rated_w * 0.024, 2),
        per_day,
        windows,
        pasteurise_c=60.0,
        pasteurise_every_days=7,
        pasteurise_hour=int(rng.choice([1, 2, 13])),
    )


def _buffer(rng: np.random.Generator, hp: HeatPumpSpec, given_kind: str | None) -> BufferSpec | None:
    """A typical buffer: mostly none or a small one in series, sometimes a parallel one."""
    kind = (
        str(rng.choice(["none", "series", "parallel"], p=[0.45, 0.35, 0.2]))
        if given_kind is None
        else given_kind
    )
    if kind == "none":
        return None
    if kind == "series":
        return BufferSpec(float(rng.choice([40.0, 50.0, 80.0])), "series")
    litres = float(rng.choice([80.0, 100.0, 150.0]))
    # secondary flow slightly below primary, so that no cold water is drawn from the lower layer
    return BufferSpec(litres, "parallel", round(hp.flow_m3_per_h * 0.9, 2), hp.pump_w)
