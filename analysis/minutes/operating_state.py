"""Operating state of each minute: from the unit's reported mode, otherwise from physics."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.minutes.balance import HEAT_SEEN_BY, HEATING_METERS, Balance
from fieldfare.analysis.minutes.cascade import MIXED
from fieldfare.analysis.minutes.grid import Grid
from fieldfare.analysis.minutes.rolling import (
    forward_fill,
    run_begins,
    running_total,
    true_runs,
    window_sum,
)
from fieldfare.analysis.plant.curve import curve_at
from fieldfare.analysis.plant.quantities import MODES
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

OFF, HEATING, HOT_WATER, DEFROST, COOLING = (
    MODES[m] for m in ("off", "heating", "hot_water", "defrost", "cooling")
)
USE_UNKNOWN = 5  # running, use unknown
UNKNOWN = -1

BEST_COP = 7.5
"""Above the best part-load COP on the market (EN 14511 A12/W35 data, common practice): the minimum
electricity of a running compressor is its minimum output divided by this."""
_TYPICAL_TURN_DOWN = 0.3
# Readings with a longer spacing can't show runs.
_COARSEST_RUNNING_MIN = 15.0
# Readings with this spacing show every run and rest.
FINE_MIN = 2.5
# A shorter stop may be the pause around a defrost; units wait longer before a new start (common
# practice).
_REST_MIN = 5
# A coil runs at most about 12 K below the air, so colder water in warmer air is no defrost; a pair of sensors
# differs by less in standing water; no defrost takes a quarter of an hour (common practice each).
_NO_FROST_ABOVE_C, _COOLED_K, _COOLS_MIN = 12.0, 0.8, 15


_WATER_BASIS = {
    "operating_mode": "use by mode",
    "diverter_to_hot_water": "use by diverter",
    "hot_water_heat": "use by heat meters",
    "cylinder_temperature": "use by cylinder temperature",
    "flow_temperature": "use by flow temperature",
    "none made": "no hot water here",
    "nothing": "use can't be told",
}


@dataclass(frozen=True)
class Use:
    """Operating state of each minute.

    code : int8 (n,): OFF, HEATING, HOT_WATER, DEFROST, COOLING, USE_UNKNOWN (running, use unknown) or UNKNOWN
    running : bool (n,), the compressor runs. serves : int8 (n,), the use whose water still flows after a stop
    running_spacing : minutes between the readings that show running; inf without any
    basis : sources of running and use. water_spacing : minutes between the readings that separate hot water
        from heating; nan without any
    """

    code: NDArray[np.int8]
    running: Flags
    serves: NDArray[np.int8]
    basis: str
    water_spacing: float
    running_spacing: float = 1.0


def least_running_w(site: Site) -> float:
    """Minimum electricity [W] of the running compressor."""
    pump = site.heat_pump
    rated = pump.rated_output_kw or (site.design.heat_loss_kw or 6.0)
    least = pump.min_output_kw or rated * _TYPICAL_TURN_DOWN
    return least * 1000.0 / BEST_COP


def classify_minutes(site: Site, grid: Grid, balance: Balance) -> Use:
    """Classify the operating state of every minute.

    Returns Use. If only electricity is measured, the use of a running minute is USE_UNKNOWN.
    """
    running, known, how, apart = _running(site, grid, balance)
    water, basis_key = _for_hot_water(site, grid, balance, running)
    defrost, defrost_how = _defrosting(site, grid, balance, running, water, apart)
    code = np.full(len(grid), OFF, dtype=np.int8)
    mode = grid.gauge("operating_mode")
    cooling = np.isfinite(mode) & (np.round(mode) == COOLING)
    if water is None:
        code[running] = HEATING if site.hot_water is None else USE_UNKNOWN
    else:
        code[running] = HEATING
        code[running & water] = HOT_WATER
    cooling |= _cools_by_meters(site, grid, balance)
    code[running & (np.round(mode) == MIXED)] = USE_UNKNOWN
    code[running & cooling] = COOLING
    if defrost is not None:
        defrost = defrost & ~cooling
        code[defrost] = DEFROST
        running = running | defrost
    running = _bridged(running, defrost)
    code[running & (code == OFF)] = USE_UNKNOWN if water is None and site.hot_water is not None else HEATING
    code[~known] = UNKNOWN
    spacing = grid.spacing.get(basis_key, np.nan)
    basis = f"{how}; {defrost_how}; {_WATER_BASIS[basis_key]}"
    return Use(code, running & known, _last_use(code), basis, spacing, apart)


def _cools_by_meters(site: Site, grid: Grid, balance: Balance) -> Flags:
    """Minutes of a unit that may cool, by water colder than it came: where no mode is reported, for longer
    than a defrost takes, in air too warm for frost."""
    outdoor = grid.gauge("outdoor_temperature")
    if not site.heat_pump.cooling or grid.has("operating_mode") or not np.isfinite(outdoor).any():
        return np.zeros(len(grid), dtype=np.bool_)
    heat = balance.heat_at_meter
    if heat is not None and not _never_negative(heat):
        drawn = np.nan_to_num(heat) < 0.0
    elif grid.has("flow_temperature") and grid.has("return_temperature"):
        lift = grid.gauge("flow_temperature") - grid.gauge("return_temperature")
        drawn = np.nan_to_num(lift) < -_COOLED_K
    else:
        return np.zeros(len(grid), dtype=np.bool_)
    warm = np.nan_to_num(outdoor, nan=-99.0) > _NO_FROST_ABOVE_C
    return drawn & warm & (window_sum(drawn & warm, _COOLS_MIN, _COOLS_MIN) >= _COOLS_MIN)


def _running(site: Site, grid: Grid, balance: Balance) -> tuple[Flags, Flags, str, float]:
    """Running minutes, known minutes, the source, and the minutes between its readings."""
    speed = grid.gauge("compressor_speed")
    power = balance.heat_pump * 60.0 if balance.heat_pump is not None else None
    apart = grid.spacing.get("heat_pump_electricity", np.inf)
    if np.isfinite(speed).any() and grid.spacing["compressor_speed"] <= 5.0:
        known = np.isfinite(speed)
        running = np.nan_to_num(speed) > 1.0
        if power is not None:
            rest = ~known & np.isfinite(power)
            running = np.where(known, running, rest & (np.nan_to_num(power) > least_running_w(site)))
            known = known | rest
        return running, known, "compressor speed", grid.spacing["compressor_speed"]
    mode = grid.gauge("operating_mode")
    by_mode = np.isin(np.round(np.nan_to_num(mode)), (HEATING, HOT_WATER, DEFROST, COOLING))
    if power is not None and not _mode_is_finer(site, grid, power, by_mode & np.isfinite(mode)):
        return _running_by_power(site, grid, balance, power), np.isfinite(power), "electricity", apart
    if np.isfinite(mode).any():
        return by_mode, np.isfinite(mode), "mode", grid.spacing["operating_mode"]
    if balance.heat is not None:
        heat = balance.heat * 60.0
        spacing = grid.spacing.get("heat_output", grid.spacing.get("space_heat", np.inf))
        return np.abs(np.nan_to_num(heat)) > least_running_w(site), np.isfinite(heat), "heat", spacing
    nothing = np.zeros(len(grid), dtype=bool)
    return nothing, nothing.copy(), "nothing", np.inf


def _mode_is_finer(site: Site, grid: Grid, power: Floats, works: Flags) -> bool:
    """Whether the mode shows runs that coarse register steps do not.

    Some units report "heating" all winter, whether or not the compressor runs. Then the mean power of those
    minutes is below a running compressor's.
    """
    electricity, mode = (grid.spacing.get(q, np.inf) for q in ("heat_pump_electricity", "operating_mode"))
    if not grid.step.get("heat_pump_electricity") or electricity <= FINE_MIN or mode > min(5.0, electricity):
        return False
    known = np.isfinite(power) & np.isfinite(grid.gauge("operating_mode"))
    on, off = known & works, known & ~works
    if not on.any() or not off.any():
        return False
    return bool(power[known].sum() / on.sum() >= least_running_w(site))


def _running_by_power(site: Site, grid: Grid, balance: Balance, power: Floats) -> Flags:
    """Running above half of the minimum running power; lower powers need heat or temperatures too.

    Standby, a crankcase heater and pumps on the same meter can reach a small compressor's minimum power.
    """
    least = least_running_w(site)
    drawn = np.nan_to_num(power)
    # A quarter-hour slot can hold part of a run and part of a rest: a threshold of a half would join
    # separate runs.
    coarse = grid.spacing["heat_pump_electricity"] >= 10.0
    threshold = site.limits.get("running_above_w", 0.0) or (least if coarse else 0.5 * least)
    above = drawn > threshold
    pump = site.heat_pump
    least_heat = (pump.min_output_kw or (pump.rated_output_kw or 6.0) * _TYPICAL_TURN_DOWN) * 1000.0
    some_heat = 0.15 * least_heat
    heat = balance.heat_at_meter
    if heat is not None and _heat_is_prompt(grid, least_heat):
        signal = np.abs(heat * 60.0) > some_heat
        is_known = np.isfinite(heat)
    elif grid.has("flow_temperature") and grid.has("return_temperature"):
        lift = grid.gauge("flow_temperature") - grid.gauge("return_temperature")
        signal, is_known = np.abs(lift) > 0.7, np.isfinite(lift)
    else:
        return above
    near = within(signal, 4) | ~is_known
    return above & (near | (drawn > 2.5 * least))


def _heat_is_prompt(grid: Grid, watts: float) -> bool:
    """Whether this heat shows within five minutes."""
    metered = next((q for q in HEATING_METERS if q in grid.energy), None)
    if metered is None:
        return grid.spacing.get("flow_rate", 99.0) <= 5.0
    return grid.spacing[metered] <= 5.0 and grid.resolves(metered, watts, 5.0)


def _defrosting(
    site: Site, grid: Grid, balance: Balance, running: Flags, water: Flags | None, apart: float
) -> tuple[Flags | None, str]:
    """Defrost minutes and their source; None where they can't be seen.

    apart : minutes between readings that show runs
    """
    active = grid.gauge("defrost_active")
    mode = grid.gauge("operating_mode")
    reported = np.zeros(len(grid), dtype=bool)
    how = []
    if np.isfinite(active).any():
        reported |= np.nan_to_num(active) > 0.5
        how.append("defrost signal")
    if np.isfinite(mode).any() and _names_defrosts(site):
        reported |= np.round(np.nan_to_num(mode)) == DEFROST
        how.append("mode")
    if how:
        return reported, "defrosts by " + " and ".join(how)
    if site.heat_pump.source != "air":
        return None, "no defrosts: the source is not air"
    if apart > _COARSEST_RUNNING_MIN:  # where starts are not visible, they look like defrosts
        return None, "defrosts can't be seen"
    lift_usable = all(grid.has(q) for q in ("flow_temperature", "return_temperature"))
    lift_usable = lift_usable and grid.spacing["flow_temperature"] <= 2.0
    heat = balance.heat_at_meter
    if heat is not None and _spacing_of_heat(grid) <= 2.0 and not (lift_usable and _never_negative(heat)):
        watts = heat * 60.0
        # Heat flows back only with the cycle reversed: 3 % of the rated output is above a meter's noise.
        limit = -0.03 * (site.heat_pump.rated_output_kw or 6.0) * 1000.0
        cold = _closed((np.nan_to_num(watts) < limit) & within(running, 3), 2)
        return _in_steady_work(cold, running, water, grid), "defrosts by heat drawn back"
    if lift_usable:
        lift = np.nan_to_num(grid.gauge("flow_temperature") - grid.gauge("return_temperature"))
        cold = _closed((lift < -0.8) & within(running, 3), 2)
        return _in_steady_work(cold, running, water, grid), "defrosts by flow colder than return"
    return None, "defrosts can't be seen"


def _never_negative(heat: Floats) -> bool:
    """Whether a heat meter never counts negative heat, as MID allows."""
    return not bool((heat < -1e-6).any())


def _names_defrosts(site: Site) -> bool:
    """Whether the gateway's mode words include a defrost."""
    return any(not p.values or "defrost" in p.values.values() for p in site.points_of("operating_mode"))


def _in_steady_work(cold: Flags, running: Flags, water: Flags | None, grid: Grid) -> Flags:
    """Heat drawn back in mid-run, in air cold enough to frost a coil, is a defrost.

    At a start, and when the flow switches to the cylinder, colder or warmer water passes the sensors for some
    minutes and looks the same. A coil runs at most about 12 K below the air (common practice), so no frost
    above 12 °C.
    """
    outdoor = grid.gauge("outdoor_temperature")
    starts, ends = true_runs(cold)
    out = np.zeros_like(cold)
    # A compressor also pauses while its valve reverses: a start comes after a rest.
    turned = running & (window_sum(running, _REST_MIN, 0) == 0)
    if water is not None:
        turned |= run_begins(water)
    recent = running_total(turned)
    for a, b in zip(starts, ends, strict=True):
        # The heat meter's minute may precede the rise in power.
        if recent[min(a + 4, len(cold))] - recent[max(a - 6, 0)] == 0 and not outdoor[a] > _NO_FROST_ABOVE_C:
            out[a:b] = True
    return out


def _spacing_of_heat(grid: Grid) -> float:
    return next((grid.spacing[q] for q in HEAT_SEEN_BY if q in grid.spacing), 1e9)


def _for_hot_water(site: Site, grid: Grid, balance: Balance, running: Flags) -> tuple[Flags | None, str]:
    """Hot-water minutes and the quantity that shows them; None where nothing does."""
    n = len(grid)
    if site.hot_water is None and not grid.has("hot_water_heat"):
        return np.zeros(n, dtype=bool), "none made"
    mode = grid.gauge("operating_mode")
    if np.isfinite(mode).mean() > 0.5 and grid.spacing["operating_mode"] <= 15.0:
        word = _word_of_each_minute(
            np.asarray(np.round(np.nan_to_num(mode)), dtype=np.float64),
            grid.spacing["operating_mode"],
            running,
        )
        # A defrost during a reheat belongs to the reheat.
        return forward_fill(word == HOT_WATER, word != DEFROST, False), "operating_mode"
    diverter = grid.gauge("diverter_to_hot_water")
    if np.isfinite(diverter).mean() > 0.5:
        return np.nan_to_num(diverter) > 0.5, "diverter_to_hot_water"
    space, water = balance.space_heat, balance.hot_water_heat
    if space is not None and water is not None and grid.spacing["hot_water_heat"] <= 15.0:
        return np.nan_to_num(water) > np.nan_to_num(space), "hot_water_heat"
    if grid.has("cylinder_temperature") and grid.spacing["cylinder_temperature"] <= 15.0:
        return _by_cylinder(grid, running), "cylinder_temperature"
    if grid.has("flow_temperature") and grid.spacing["flow_temperature"] <= 5.0 and site.heating_curve:
        return _by_flow(site, grid, running), "flow_temperature"
    return None, "nothing"


def _word_of_each_minute(word: Floats, spacing: float, running: Flags) -> Floats:
    """Mode of each minute, from words that hold until the next.

    Minute data are used as they are. Sparser words are valid at their own time: a minute takes the nearest
    one, and a running minute takes the nearest that names a use, within two spacings.
    """
    if spacing <= 2.0 or not len(word):
        return word
    n, at = len(word), np.arange(len(word))
    half = int(spacing // 2)
    near = word[np.minimum(at + half, n - 1)]
    works = word != OFF
    before = np.maximum.accumulate(np.where(works, at, -n))
    after = np.minimum.accumulate(np.where(works, at, 2 * n)[::-1])[::-1]
    # A held word may be one spacing old.
    since = np.where(before == at, half, at - before + spacing)
    until = after - at
    nearest = np.where(since <= until, before, after)
    usable = np.minimum(since, until) <= 2.0 * spacing
    filled = np.where(usable, word[np.clip(nearest, 0, n - 1)], OFF)
    return np.where(running & (near == OFF), filled, near)


def _by_cylinder(grid: Grid, running: Flags) -> Flags:
    """Charging: the cylinder warms while the unit runs with a flow warmer than the cylinder.

    3 K/h is far above any warming of an idle or drawn cylinder and far below the slowest reheat by a matching
    unit (10 K in two hours).
    """
    temperature = grid.gauge("cylinder_temperature")
    reach = int(max(6.0, 2.0 * grid.spacing["cylinder_temperature"]))
    later, earlier = _shifted(temperature, reach), _shifted(temperature, -reach)
    rising = np.nan_to_num(later - earlier) / (2 * reach) * 60.0 > 3.0
    if grid.has("flow_temperature"):
        warm = (
            np.nan_to_num(grid.gauge("flow_temperature"), nan=99.0)
            > np.nan_to_num(temperature, nan=0.0) - 1.0
        )
        rising &= warm
    return _whole_charges(_closed(rising & running, 8) & running, running, reach)


def _whole_charges(flags: Flags, running: Flags, reach: int) -> Flags:
    """Extend a charge to the run it belongs to.

    The sensor lags by up to a quarter of an hour, due to the coil and its pocket (common practice).
    """
    out = flags.copy()
    runs = true_runs(running)
    for a, b in zip(*true_runs(flags), strict=True):
        at = int(np.searchsorted(runs[0], a, side="right")) - 1
        begin, end = int(runs[0][at]), int(runs[1][at])
        out[begin if a - begin <= 15 + reach // 2 else max(a - reach // 2, begin) : a] = True
        if end - b <= 12:
            out[b:end] = True
    return out


def _by_flow(site: Site, grid: Grid, running: Flags) -> Flags:
    """Charging: flow well above the heating curve and rising, as while a cylinder warms."""
    assert site.heating_curve is not None
    flow = grid.gauge("flow_temperature")
    above = flow - curve_at(site.heating_curve.points, grid.gauge("outdoor_temperature"))
    setpoint = site.hot_water.setpoint_c if site.hot_water else 50.0
    hot = (np.nan_to_num(above, nan=-9.0) > 8.0) | (np.nan_to_num(flow) > setpoint + 2.0)
    return _closed(hot & running, 8) & running


def _bridged(running: Flags, defrost: Flags | None) -> Flags:
    """Close pauses of the compressor while its valve reverses."""
    if defrost is None or not defrost.any():
        return running
    near = within(defrost, 4)
    return running | (_closed(running, 4) & near)


def _last_use(code: NDArray[np.int8]) -> NDArray[np.int8]:
    """Last use of the water: for a stopped minute the previous one, for a defrost the interrupted one."""
    own = np.isin(code, (HEATING, HOT_WATER, COOLING, USE_UNKNOWN))
    return forward_fill(code, own, HEATING).astype(np.int8)


def within(flags: Flags, minutes: int, after: int | None = None) -> Flags:
    """True from `minutes` before each True to `after` minutes after it (default: as many)."""
    if not flags.any():
        return flags
    return np.asarray(window_sum(flags, minutes if after is None else after, minutes + 1) > 0)


def _closed(flags: Flags, longest: int) -> Flags:
    """Close gaps of up to `longest` minutes between Trues."""
    starts, ends = true_runs(flags)
    out = flags.copy()
    for a, b in zip(ends[:-1], starts[1:], strict=True):
        if b - a <= longest:
            out[a:b] = True
    return out


def _shifted(values: Floats, by: int) -> Floats:
    out = np.full(len(values), np.nan)
    if by > 0:
        out[:-by] = values[by:]
    elif by < 0:
        out[-by:] = values[:by]
    return out
