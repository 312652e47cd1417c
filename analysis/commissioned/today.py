"""Today's value for each commissioning value, with its interval or the reason for none."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.set_back import depth_now
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate, robust_fit
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import t_quantile
from fieldfare.analysis.statistics.quantiles import robust_sd

Floats = NDArray[np.float64]

COLD_C = 20.0
"""Water temperature at which a pressure is called cold [°C]."""
_USUAL_BAR_PER_K = 0.01  # 25 K move a usual circuit by some 0.25 bar (common practice)
_UPPER_OVER_MIDDLE = 1.36  # standard errors of a normal sample's 90 % point over its median: 1.71 over 1.25
_LEAST_TOTAL_H = 20.0  # hours of running that a pump's mean power is drawn from (common practice)


@dataclass(frozen=True)
class Today:
    """site, facts : of the newest days, a year at most. recorded : (item, found) -> number that was typed"""

    site: Site
    facts: Facts
    recorded: Mapping[tuple[str, str], float]

    def limit(self, name: str) -> float:
        return limit_of(self.site, name)

    def column(self, name: str) -> Floats:
        """The newest known values of a column; those of `commissioned_days` at most."""
        days = self.facts.days
        values = days.floats(name) if name in days.names else np.empty(0)
        return self.newest(values[np.isfinite(values)])

    def newest(self, values: Floats, a_day: int = 1) -> Floats:
        """The last of them, by `commissioned_days`. a_day : so many of each day"""
        return values[-a_day * int(self.limit("commissioned_days")) :]

    def enough(self, values: Floats, what: str) -> Floats:
        """The values. Raises NotAssessed where there are too few. what : in words"""
        fewest = int(self.limit("commissioned_fewest_days"))
        if len(values) < fewest:
            raise NotAssessed(f"needs {what} on {fewest} days, has {len(values)}", "too_few_days")
        return values


def _middle(values: Floats, meter: float) -> Estimate:
    """Median with its spread over days and the meter's own doubt. meter : half-width [same unit]"""
    middle = float(np.median(values))
    scatter = t_quantile(0.975, max(len(values) - 1, 1)) * 1.25 * robust_sd(values) / math.sqrt(len(values))
    return Estimate.around(middle, math.hypot(scatter, meter))


def _upper(values: Floats, doubt: float) -> Estimate:
    """The value that only one day in ten passes, where all else can only lower it."""
    scatter = _middle(values, 0.0).half * _UPPER_OVER_MIDDLE
    return Estimate.around(float(np.quantile(values, 0.9)), math.hypot(scatter, doubt))


def _flow(today: Today) -> Estimate:
    """Water flow while heating, on the days on which valves throttle least:
    all were open at commissioning."""
    days = today.facts.days
    if "flow_rate" not in days.names or not days.knows("flow_rate"):
        raise NotAssessed("needs flow_rate", "missing_quantity")
    top = np.fmax(days.floats("flow_rate_top"), days.floats("flow_rate"))
    top = top[np.isfinite(days.floats("flow_rate")) & np.isfinite(top)]
    found = today.enough(today.newest(top), "flow_rate while heating")
    share = math.hypot(today.limit("commissioned_flow_share"), today.limit("commissioned_valves_share"))
    return _upper(found, share * float(np.median(found)))


def _charge_flow(today: Today) -> Estimate:
    found = today.enough(today.column("flow_rate_hot_water"), "flow_rate while the cylinder is charged")
    return _middle(found, today.limit("commissioned_flow_share") * float(np.median(found)))


def _circuit(kind: str) -> Callable[[Today], Estimate]:
    def flow(today: Today) -> Estimate:
        site = today.site
        alone = {e.kind for e in site.emitter} == {kind}
        if not alone or (site.buffer is not None and site.buffer.arrangement == "parallel"):
            raise NotAssessed("one flow meter counts all circuits together", "not_applicable")
        return _flow(today)

    return flow


def _pressure_cold(today: Today) -> Estimate:
    """Brought to 20 °C by the circuit's own slope on its water's temperature."""
    days = today.facts.days
    if "pressure" not in days.names or not days.knows("pressure"):
        raise NotAssessed("needs system_pressure", "missing_quantity")
    per_k = fill_nan(days.floats("pressure_per_k"), _USUAL_BAR_PER_K)
    cold = days.floats("pressure") + per_k * (COLD_C - days.floats("loop_c"))
    found = today.enough(today.newest(cold[np.isfinite(cold)]), "system_pressure")
    return _middle(found, today.limit("commissioned_pressure_bar"))


def _pressure_hot(today: Today) -> Estimate:
    found = today.enough(today.column("pressure_max"), "system_pressure")
    return _middle(found, today.limit("commissioned_pressure_bar"))


def _curve(end: str) -> Callable[[Today], Estimate]:
    """The flow that the controls ask for at the outdoor temperature that was typed, else the flow itself."""

    def flow(today: Today) -> Estimate:
        at = today.recorded.get(("curve_set", f"{end}_outdoor"))
        if at is None:
            raise NotAssessed(f"the outdoor temperature of the {end} end was not kept", "not_enough_data")
        outdoor, target_flow = _curve_days(today)
        fit = robust_fit(np.column_stack([np.ones(len(outdoor)), outdoor]), target_flow)
        value, error = fit.combination(np.array([1.0, at]))
        scatter = t_quantile(0.975, len(outdoor) - 2) * error
        return Estimate.around(value, math.hypot(scatter, today.limit("commissioned_temperature_k")))

    return flow


def _curve_days(today: Today) -> tuple[Floats, Floats]:
    days = today.facts.days
    name = next((n for n in ("target_flow", "flow_by_heat", "flow") if n in days.names and days.knows(n)), "")
    if not name or not days.knows("outdoor"):
        raise NotAssessed("needs flow_temperature and outdoor_temperature", "missing_quantity")
    target_flow, outdoor = days.floats(name), fill_nan(days.floats("outdoor_steady"), days.floats("outdoor"))
    heated = days.floats("minutes_steady") >= 60.0  # an hour of heating (as fitted_curve)
    known = np.flatnonzero(np.isfinite(target_flow) & np.isfinite(outdoor) & heated)
    known = known[-int(today.limit("commissioned_days")) :]
    least = today.limit("advice_fewest_spread_k")
    today.enough(target_flow[known], "flow_temperature while heating")
    if float(np.ptp(outdoor[known])) < least:
        raise NotAssessed(f"needs heating days {least:g} K apart in outdoor temperature", "other_weather")
    return outdoor[known], target_flow[known]


def _set_back(today: Today) -> Estimate:
    days = today.facts.days.where(slice(-14, None))
    return Estimate.around(depth_now(days)[0], today.limit("commissioned_set_back_k"), 0.0)


def _charges(today: Today, column: str) -> Floats:
    charges = today.facts.reheats
    if column not in charges.names or not charges.knows(column):
        raise NotAssessed("needs cylinder_temperature during charges", "missing_quantity")
    values = charges.floats(column)
    water = today.site.hot_water
    if water is not None and water.pasteurise_c is not None:  # disinfections go higher than the setpoint
        values = np.where(charges.floats("to_c") > water.pasteurise_c - 2.0, np.nan, values)
    return today.newest(values[np.isfinite(values)], 2)


def _setpoint(today: Today) -> Estimate:
    return _middle(
        today.enough(_charges(today, "to_c"), "charges"), today.limit("commissioned_temperature_k")
    )


def _reheat(today: Today) -> Estimate:
    """Draws go on while a charge begins: only they can lower it."""
    return _upper(
        today.enough(_charges(today, "from_c"), "charges"), today.limit("commissioned_temperature_k")
    )


def _hot_days(today: Today) -> tuple[Table, Floats]:
    days = today.facts.days
    if "minutes_hot_enough" not in days.names:
        raise NotAssessed("needs cylinder_temperature and a scheduled disinfection", "missing_quantity")
    hot = np.flatnonzero(days.floats("minutes_hot_enough") > 0.0)
    if len(hot) < 2:
        raise NotAssessed("the disinfection temperature was reached on fewer than two days", "too_few_days")
    return days, today.newest(hot.astype(np.float64))


def _disinfection(today: Today) -> Estimate:
    days, hot = _hot_days(today)
    return _middle(days.floats("tank_max")[hot.astype(int)], today.limit("commissioned_temperature_k"))


def _every(today: Today) -> Estimate:
    _, hot = _hot_days(today)
    return Estimate.around(float(np.median(np.diff(hot))), 0.5)


def _pump_power(today: Today) -> Estimate:
    days = today.facts.days
    if "electricity_pump_kwh" not in days.names or not days.knows("electricity_pump_kwh"):
        raise NotAssessed("needs circulation_pump_electricity", "missing_quantity")
    newest = days.where(slice(-int(today.limit("commissioned_days")), None))
    idle = np.nan_to_num(newest.floats("minutes_pump_idle")) if "minutes_pump_idle" in newest.names else 0.0
    minutes = newest.floats("minutes_running") + idle
    hours, used = minutes / 60.0, newest.floats("electricity_pump_kwh")
    known = np.isfinite(hours) & np.isfinite(used) & (hours > 1.0)
    if float(hours[known].sum()) < _LEAST_TOTAL_H:
        raise NotAssessed(
            f"needs {_LEAST_TOTAL_H:.0f} hours with the pump running in the last days", "too_few_days"
        )
    power = 1000.0 * used[known] / hours[known]
    return _middle(power, today.limit("commissioned_power_share") * float(np.median(power)))


MEASURED: dict[tuple[str, str], Callable[[Today], Estimate]] = {
    ("flow", "rate"): _flow,
    ("circuit_flows", "cylinder"): _charge_flow,
    ("circuit_flows", "radiators"): _circuit("radiator"),
    ("circuit_flows", "underfloor"): _circuit("underfloor"),
    ("pressure", "cold"): _pressure_cold,
    ("pressure", "hot"): _pressure_hot,
    ("curve_set", "cold_flow"): _curve("cold"),
    ("curve_set", "mild_flow"): _curve("mild"),
    ("curve_set", "set_back"): _set_back,
    ("hot_water_set", "setpoint"): _setpoint,
    ("hot_water_set", "reheat"): _reheat,
    ("hot_water_set", "disinfection"): _disinfection,
    ("hot_water_set", "every"): _every,
    ("pump_set", "power"): _pump_power,
}
"""Kept values that readings can tell today. Everything else is read by hand."""
