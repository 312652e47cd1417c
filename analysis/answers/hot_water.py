"""Why the hot water ran out: draws, stored volume, and capacity of reheats."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.answers.hours import (
    Hours,
    State,
    Step,
    Value,
    longest_stop,
)
from fieldfare.analysis.answers.other_sources import water_turn, without_the_pump
from fieldfare.analysis.expectation.charge_balance import TAKEN_UP
from fieldfare.analysis.expectation.cylinder_cooling import expected as expected_loss
from fieldfare.analysis.expectation.emptied import ColdSpells, chance_of_emptied
from fieldfare.analysis.expectation.reheat import CHARGING_SHARE, Charge, coil_w_per_k
from fieldfare.analysis.expectation.reheat import expected as expected_charge
from fieldfare.analysis.facts.minutes import rated, without_power
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.minutes.operating_state import HOT_WATER
from fieldfare.analysis.physics.hot_water import (
    COLD_C,
    MIXED_C,
    WH_PER_LITRE_KELVIN,
    mixed_litres,
)
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import GAUSS_95
from fieldfare.analysis.statistics.quantiles import robust_sd

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

KWH_PER_LITRE_40 = WH_PER_LITRE_KELVIN * (MIXED_C - COLD_C) / 1000.0
_WATER_W_PER_K = 1155.0  # per m3/h, at 30 to 50 °C
_LEAST_RISE_K = 5.0  # of a charge, below which its length says little
_FEWEST = 3  # charges or rates, for a middle
_ROOM_C = 20.0
_USUAL_LOSS_SPREAD = 0.2  # relative, of a standing loss that rests on few nights (common practice)
_PLAIN = 0.9
ORDER = (
    "not_cold",
    "other_source",
    "stopped",
    "setpoint",
    "setpoint_missed",
    "loss",
    "schedule",
    "slow",
    "drawn_more",
    "small",
)


@dataclass(frozen=True)
class Draw:
    """Water taken from one full charge to the next, by what the next charge put back and what was lost
    meanwhile.

    litres : at 40 °C, with its 95 % interval. emptied : probability that no water warm enough to wash with
    was left at its end, so that the litres are all that the cylinder gave [0 to 1]. start [ms]
    """

    start: int
    litres: float
    low: float
    high: float
    emptied: float


def hot_water_steps(hours: Hours) -> tuple[list[Step], float]:
    """All steps, and the weight of the limiting one."""
    if hours.site.hot_water is None:
        return [Step("not_cold", "unknown", (), "no_hot_water")], 0.0
    cold = _cold(hours)
    steps = [_not_cold(hours, cold)]
    if steps[0].state == "binds":
        return steps, _PLAIN
    steps += [
        _stopped(hours, cold),
        _setpoint(hours),
        _setpoint_missed(hours),
        # A cylinder that cools too fast waits for a reheat with any time programme.
        _loss(hours),
        _schedule(hours, cold),
        _slow(hours),
        *_drawn_and_small(hours),
    ]
    turn, turn_weight = water_turn(hours, cold)
    if turn is not None:
        steps = [steps[0], turn, *without_the_pump(steps[1:], turn)]
    found = [s.code for s in steps if s.state == "binds"]
    emptied = max((d.emptied for d in draws(hours, hours.facts)), default=float("nan"))
    if not found and emptied < 1.0 - hours.limit("emptied_likely"):
        return [replace(steps[0], state="binds", reason="above_sensor"), *steps[1:]], min(
            1.0 - emptied, _PLAIN
        )
    if not found:
        return steps, 0.0
    weights = {"other_source": turn_weight, "small": min(emptied, _PLAIN)}
    return [
        replace(s, state="adds") if s.state == "binds" and s.code != found[0] else s for s in steps
    ], weights.get(found[0], _PLAIN)


def _cold(hours: Hours) -> Flags:
    """Asked minutes with water too cold to wash with at the cylinder's sensor."""
    tank = hours.gauge("cylinder_temperature")
    return hours.in_question & (fill_nan(tank, 99.0) < hours.limit("answer_cold_tap_c"))


def _tank_read(hours: Hours) -> bool:
    """Whether the cylinder's temperature is read in the hours asked about."""
    return bool(np.isfinite(hours.gauge("cylinder_temperature")[hours.in_question]).any())


def _not_cold(hours: Hours, cold: Flags) -> Step:
    tank = hours.gauge("cylinder_temperature")
    if not _tank_read(hours):
        return Step("not_cold", "unknown", (), "no_cylinder_sensor")
    lowest = float(np.nanmin(tank[hours.in_question]))
    values = (
        Value("tank_lowest", lowest, "°C", limit="answer_cold_tap_c"),
        Value("cold_minutes", float(cold.sum()), "min"),
    )
    return Step("not_cold", "fine" if cold.any() else "binds", values)


def _charging(hours: Hours) -> Flags:
    immersion = hours.minutes.balance.immersion
    heater = fill_nan(immersion, 0.0) * 60.0 > 100.0 if immersion is not None else False
    return (hours.minutes.use.code == HOT_WATER) | heater


def _stopped(hours: Hours, cold: Flags) -> Step:
    """The unit did nothing at all while the water was cold, and does nothing else either; in all hours asked
    about where nothing tells when the water was cold."""
    known = hours.inside & (hours.minutes.use.code >= 0)
    if not known.any():
        return Step("stopped", "unknown", (), "no_running")
    if not _tank_read(hours):
        cold = hours.in_question
    stop = longest_stop(hours, cold)
    faults, dead = len(hours.facts.faults), without_power(hours.minutes) & cold
    powerless = float(dead.sum()) / 60.0
    values = (
        Value("longest_stop", stop, "h", limit="answer_stop_h"),
        Value(
            "powerless",
            powerless if hours.minutes.balance.heat_pump is not None else None,
            "h",
            limit="answer_stop_h",
        ),
        Value("faults", float(faults) if hours.site.measures("fault_code") else None, ""),
    )
    long = hours.limit("answer_stop_h")
    return Step("stopped", "binds" if powerless > long or (stop > long and faults) else "fine", values)


def _schedule(hours: Hours, cold: Flags) -> Step:
    """Below the reheat limit with no charge running: a time programme, or hot water switched off."""
    plant = hours.site.hot_water
    assert plant is not None
    due = plant.reheat_below_c if plant.reheat_below_c is not None else hours.limit("answer_cold_tap_c")
    # Above its reheat limit the cylinder is not due: then setpoint and limit are low, not the programme.
    charges = _when(hours, hours.facts.reheats)
    if not _tank_read(hours):
        return Step("schedule", "unknown", charges, "no_cylinder_sensor")
    cold = cold & (fill_nan(hours.gauge("cylinder_temperature"), 99.0) < due - hours.limit("answer_due_k"))
    if not cold.any():
        return Step("schedule", "fine", (Value("due_minutes", 0.0, "min"), *charges))
    waiting = 1.0 - float(_charging(hours)[cold].mean())
    values = (
        Value("waiting_share", waiting, "-", limit="answer_waiting_share"),
        *charges,
    )
    return Step("schedule", "binds" if waiting > hours.limit("answer_waiting_share") else "fine", values)


def _when(hours: Hours, reheats: Table) -> tuple[Value, ...]:
    if not len(reheats):
        return (Value("charges_a_day", 0.0, "1/d"),)
    return (
        Value("charges_a_day", len(reheats) / hours.nights, "1/d"),
        Value("charge_minutes", reheats.median("minutes"), "min"),
    )


def _setpoint(hours: Hours) -> Step:
    """A setpoint that leaves hardly any water to mix."""
    plant = hours.site.hot_water
    assert plant is not None
    values = (Value("setpoint", plant.setpoint_c, "°C", limit="answer_low_setpoint_c"),)
    if plant.setpoint_c < hours.limit("answer_low_setpoint_c"):
        return Step("setpoint", "binds", values)
    # The site file has the original setting; only the water shows the present one.
    return (
        Step("setpoint", "fine", values)
        if _tank_read(hours)
        else Step("setpoint", "unknown", values, "setpoint_by_file")
    )


def _setpoint_missed(hours: Hours) -> Step:
    """Charges end well below their setpoint."""
    plant = hours.site.hot_water
    assert plant is not None
    whole = _whole(hours.facts.reheats)
    top = whole.floats("to_c")[np.isfinite(whole.floats("to_c"))] if len(whole) else np.empty(0)
    if len(top) < 1:
        return Step("setpoint_missed", "unknown", (), _no_charges(hours))
    reached = float(np.median(top))
    values = (Value("full_c", reached, "°C"), Value("setpoint", plant.setpoint_c, "°C"))
    missed = plant.setpoint_c - reached > hours.limit("answer_short_top_k")
    return Step("setpoint_missed", "binds" if missed else "fine", values)


def _no_charges(hours: Hours) -> str:
    """Why no charge's temperatures are known: reheats are counted without a sensor, but not measured."""
    return "no_charges" if _tank_read(hours) else "no_cylinder_sensor"


def _whole(reheats: Table) -> Table:
    return reheats.where(~reheats["cut"].astype(bool)) if len(reheats) else reheats


def standing_watts_per_k(site: Site, facts: Facts) -> tuple[float, float, float] | None:
    """Standing loss per kelvin with 95 % interval [W/K], from calm hours; None with too few."""
    plant, days = site.hot_water, facts.days
    if plant is None or plant.cylinder_litres is None or "standing_k_per_h" not in days:
        return None
    rate, over = days.floats("standing_k_per_h"), days.floats("standing_over_k")
    warm = limit_of(site, "answer_loss_warm") * (plant.setpoint_c - _ROOM_C)
    good = np.isfinite(rate) & (over > warm)
    if good.sum() < _FEWEST:
        return None
    watts = rate[good] * plant.cylinder_litres * WH_PER_LITRE_KELVIN / over[good]
    value = float(np.median(watts))
    half = GAUSS_95 * max(
        1.25 * robust_sd(watts) / good.sum() ** 0.5, _USUAL_LOSS_SPREAD / good.sum() ** 0.5 * value
    )
    return value, max(value - half, 0.0), value + half


def _loss(hours: Hours) -> Step:
    """Standing loss above that of a cylinder of its size; by day with a circulation pump."""
    plant = hours.site.hot_water
    assert plant is not None
    found = standing_watts_per_k(hours.site, hours.facts) or standing_watts_per_k(hours.site, hours.usual)
    if found is None or plant.cylinder_litres is None:
        return Step("loss", "unknown", (), "no_standing_time" if _tank_read(hours) else "no_cylinder_sensor")
    days = hours.facts.days
    over = float(np.nanmedian(days.floats("standing_over_k"))) if days.knows("standing_over_k") else 30.0
    by_day = float(np.nanmedian(days.floats("cooling_day"))) if days.knows("cooling_day") else float("nan")
    # Water that warms in its calm hours was not calm: no loss is measured.
    day_w = by_day * plant.cylinder_litres * WH_PER_LITRE_KELVIN / max(over, 10.0) if by_day > 0.0 else np.nan
    usual = expected_loss(plant.cylinder_litres, plant.standing_loss_kwh_per_day)
    worst = np.fmax(found[1], day_w * 0.8 if np.isfinite(day_w) else np.nan)
    values = (
        Value("loss_w_per_k", found[0], "W/K", found[1], found[2]),
        Value("loss_by_day_w_per_k", day_w, "W/K"),
        Value(
            "usual_loss_w_per_k",
            usual.value,
            "W/K",
            usual.value - GAUSS_95 * usual.uncertainty,
            usual.value + GAUSS_95 * usual.uncertainty,
        ),
    )
    most = hours.limit("answer_loss_over") * usual.value
    by_day_alone = "by_day" if found[0] <= most < worst else ""
    return Step("loss", "binds" if worst > most else "fine", values, by_day_alone)


def _slow(hours: Hours) -> Step:
    """Charges take far longer than expected from output, coil and flow limit."""
    plant, pump = hours.site.hot_water, hours.site.heat_pump
    assert plant is not None
    whole = _whole(hours.facts.reheats)
    rise = whole.floats("to_c") - whole.floats("from_c") if len(whole) else np.empty(0)
    good = rise >= _LEAST_RISE_K
    if pump.units > 1:
        return Step("slow", "unknown", (), "several_units")
    if not good.any() or plant.cylinder_litres is None or not pump.rated_output_kw:
        return Step("slow", "unknown", (), _no_charges(hours))
    charges = whole.where(good)
    ratios = []
    for i in range(len(charges)):
        row = {
            n: float(charges.floats(n)[i])
            for n in ("minutes", "from_c", "to_c", "outdoor", "flow", "flow_rate", "heat")
        }
        usual = _expected_minutes(hours.site, row)
        if np.isfinite(usual) and usual > 0.0:
            ratios.append(row["minutes"] / usual)
    if not ratios:
        return Step("slow", "unknown", (), _no_charges(hours))
    ratio = float(np.median(ratios))
    rate = float(np.nanmedian(charges.floats("flow_rate"))) if charges.knows("flow_rate") else float("nan")
    values = (
        Value("full_charge_minutes", charges.median("minutes"), "min"),
        Value("slowness", ratio, "-", limit="answer_slow"),
        Value("charge_flow_rate", rate, "m3/h"),
        Value("nominal_flow", pump.flow_m3_per_h, "m3/h"),
        Value(
            "over_cylinder", charges.median("over_cylinder") if charges.knows("over_cylinder") else None, "K"
        ),
    )
    return Step("slow", "binds" if ratio > hours.limit("answer_slow") else "fine", values)


def _expected_minutes(site: Site, row: dict[str, float]) -> float:
    """Expected length of a charge from output, coil and flow limit, for the heat it took [min]."""
    plant, pump = site.hot_water, site.heat_pump
    assert plant is not None
    assert plant.cylinder_litres is not None
    output = float(rated(site).capacity_kw(np.float64(row["outdoor"]), np.float64(row["flow"])))
    if not np.isfinite(output) or output <= 0.0:
        output = pump.rated_output_kw or 6.0
    # Water drawn meanwhile makes a charge longer: the litres are those that the heat would have warmed.
    stored = row["heat"] * TAKEN_UP.value * 1000.0 / (WH_PER_LITRE_KELVIN * (row["to_c"] - row["from_c"]))
    litres = max(stored, plant.cylinder_litres) if np.isfinite(stored) else plant.cylinder_litres
    flow_w = _WATER_W_PER_K * (pump.flow_m3_per_h or np.inf)
    coil = coil_w_per_k(pump.rated_output_kw or 6.0, flow_w)
    charge = Charge(
        litres, row["from_c"], row["to_c"], CHARGING_SHARE * output, coil, pump.max_flow_c or np.inf
    )
    return expected_charge(charge).value


def draws(hours: Hours, facts: Facts) -> list[Draw]:
    """Water taken between whole charges. Empty without metered heat of the charges."""
    plant = hours.site.hot_water
    assert plant is not None
    reheats = facts.reheats
    loss = standing_watts_per_k(hours.site, facts) or standing_watts_per_k(hours.site, hours.usual)
    if len(reheats) < 2 or loss is None or plant.cylinder_litres is None:
        return []
    heat, immersion = reheats.floats("heat"), fill_nan(reheats.floats("immersion"), 0.0)
    top, low, pause = reheats.floats("to_c"), reheats.floats("from_c"), reheats.floats("pause")
    emptied = emptied_by_charge(hours, reheats, heat * TAKEN_UP.value + immersion)
    out = []
    for i in range(1, len(reheats)):
        if not np.isfinite(heat[i] + top[i] + top[i - 1] + pause[i]) or heat[i] <= 0.0:
            continue
        between_h = (pause[i] + float(reheats["minutes"][i])) / 60.0
        over = (top[i] + low[i]) / 2.0 - _ROOM_C
        lost = [w * over * between_h / 1000.0 for w in loss]
        change = plant.cylinder_litres * WH_PER_LITRE_KELVIN / 1000.0 * (top[i] - top[i - 1])
        given = heat[i] * TAKEN_UP.value + immersion[i] - change
        doubt = GAUSS_95 * TAKEN_UP.uncertainty * heat[i]
        litres, least, most = ((given - x) / KWH_PER_LITRE_40 for x in (lost[0], lost[2], lost[1]))
        half = np.hypot(doubt / KWH_PER_LITRE_40, (most - least) / 2.0)
        out.append(
            Draw(
                int(reheats["start"][i]),
                max(litres, 0.0),
                max(litres - half, 0.0),
                max(litres + half, 0.0),
                float(emptied[i]),
            )
        )
    return out


def emptied_by_charge(hours: Hours, reheats: Table, put_back: Floats) -> Floats:
    """Probability that the draw before each charge took all usable water: float64 (n,), nan where its
    temperature is not known. A cold sensor alone says only that cold water has risen past it.

    put_back : by each charge into the cylinder [kWh]
    """
    plant = hours.site.hot_water
    assert plant is not None
    assert plant.cylinder_litres is not None
    content = plant.cylinder_litres * WH_PER_LITRE_KELVIN / 1000.0 * (plant.setpoint_c - COLD_C)
    low, n = reheats.floats("from_c"), len(reheats)
    spells = ColdSpells(
        daily=np.full(n, np.nan),
        idle_hours=np.zeros(n),
        put_back=put_back / content,
        filled=~reheats["cut"].astype(bool),
        warming=np.full(n, np.nan),
    )
    chance = chance_of_emptied(spells, hours.limit("emptied_share"), hours.limit("emptied_error"))
    cold = low < hours.limit("answer_cold_tap_c")
    return np.where(np.isfinite(low), np.where(cold, chance, 0.0), np.nan)


def _no_draws(hours: Hours) -> str:
    """Data missing to determine the draws."""
    if not _tank_read(hours):
        return "no_cylinder_sensor"
    if not np.isfinite(hours.minutes.heat[hours.inside]).any():
        return "no_charge_heat"
    return "no_charges" if len(hours.facts.reheats) < 2 else "no_standing_time"


def _drawn_and_small(hours: Hours) -> tuple[Step, Step]:
    """Draws compared with the weeks before, and with the volume drawn when the cylinder was emptied (V40 as
    drawn)."""
    plant = hours.site.hot_water
    assert plant is not None
    if hours.site.other_heat_for("hot_water"):  # draws are not the heat pump's heat
        return Step("drawn_more", "unknown", (), "other_makes_water"), Step(
            "small", "unknown", (), "other_makes_water"
        )
    now, before = draws(hours, hours.facts), draws(hours, hours.usual)
    full = mixed_litres(plant.cylinder_litres or 0.0, plant.setpoint_c)
    if not now:
        why = _no_draws(hours)
        return Step("drawn_more", "unknown", (), why), Step("small", "unknown", (), why)
    a_day = sum(d.litres for d in now) / hours.nights
    usual_days = max(len(hours.usual.days), 1)
    usual = sum(d.litres for d in before) / usual_days if before else float("nan")
    likely = hours.limit("emptied_likely")
    emptied = [d for d in (*before, *now) if d.emptied >= likely]
    gave = emptied or [max((*before, *now), key=lambda d: d.litres)]
    v40 = float(np.median([d.litres for d in gave]))
    low, high = float(np.median([d.low for d in gave])), float(np.median([d.high for d in gave]))
    largest = max(now, key=lambda d: d.litres)
    ratio = a_day / usual if usual > 0.0 else float("nan")
    more: State = (
        "binds" if ratio > hours.limit("answer_drawn_more") else "fine" if np.isfinite(ratio) else "unknown"
    )
    drawn = Step(
        "drawn_more",
        more,
        (
            Value("drawn_a_day", a_day, "l"),
            Value("usual_a_day", usual, "l"),
            Value("drawn_ratio", ratio, "-", limit="answer_drawn_more"),
            Value("largest_draw", largest.litres, "l", largest.low, largest.high),
            Value("largest_at", str(largest.start), "ms"),
        ),
        "" if np.isfinite(ratio) else "no_weeks_before",
    )
    kind = "v40_drawn" if emptied else "v40_at_least"
    turns = largest.litres / v40 if v40 > 0.0 else float("nan")
    emptied_now = any(d.emptied >= likely for d in now)
    small: State = "binds" if emptied_now and turns >= hours.limit("answer_small_turns") else "fine"
    return drawn, Step(
        "small",
        small,
        (
            Value(kind, v40, "l", low, high),
            Value("v40_whole_volume", float(full), "l"),
            Value("turns", turns, "-"),
        ),
    )
