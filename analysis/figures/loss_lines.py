"""Explain a costly part of the loss table: by a finding, or by weather, load and plant."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from fieldfare.analysis.expectation.cycling import run_expected
from fieldfare.analysis.facts.direct_heat import helped_below
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.losses import Loss, explained_defrosts, rated_defrosts
from fieldfare.analysis.minutes.operating_state import HEATING
from fieldfare.analysis.plant.site import Site

if TYPE_CHECKING:
    from fieldfare.analysis.findings.model import Finding

DEAR_SHARE = 0.05
"""Share of the electricity from which a part must be accounted for (a twentieth of the bill; common
practice)."""
FINDINGS_OF: dict[str, tuple[str, ...]] = {
    "flow_temperature_above_curve": ("flow_temperature_above_curve", "no_weather_compensation"),
    "cycling": ("short_cycling",),
    "defrost": ("excessive_defrost", "defrost_without_frost"),
    "direct_electric_heat": ("backup_heater_use", "immersion_use", "capacity_short"),
    "pumps_and_standby": ("high_standby", "pump_always_on"),
    "hot_water": ("slow_reheat", "efficiency_below_expected", "diverter_passing"),
}
"""Part of the table -> findings that explain it."""
# Domestic circulators draw up to about 10 W per kW of the unit (EEI 0.23 and below: 45 W for 8
# kW), with controls and a second pump twice as much; at rest the sum of a crankcase heater and controls
# (common practice).
_MOST_PUMP_W_PER_KW, _LEAST_PUMP_W, _MOST_REST_W = 12.0, 90.0, 60.0
_USUAL_SIZE_KW, _USUAL_TURN_DOWN = 8.0, 0.3
_MOSTLY = 0.8
_CURVE_K = 3.0  # a controller's own accuracy and two sensors (common practice)


def accounted(
    site: Site, facts: Facts, losses: Iterable[Loss], findings: Iterable[Finding]
) -> dict[str, str]:
    """For each part above DEAR_SHARE: the code of its finding, an explanation, or an empty text."""
    electricity = facts.days.total("electricity_total_kwh")
    codes = {f.code for f in findings}
    out: dict[str, str] = {}
    for loss in losses:
        if loss.electricity_kwh <= DEAR_SHARE * electricity or loss.cause not in FINDINGS_OF:
            continue
        code = next((code for code in FINDINGS_OF[loss.cause] if code in codes), "")
        out[loss.cause] = code or _LINES[loss.cause](site, facts, loss)
    return out


def _pumps(site: Site, facts: Facts, loss: Loss) -> str:
    """Usual power of pumps and standby: a small load makes their share large."""
    days = facts.days
    running, rest = days.total("minutes_running") / 60.0, days.total("minutes_rest") / 60.0
    idle, pumps = (
        days.total("electricity_idle_kwh"),
        max(loss.electricity_kwh - days.total("electricity_idle_kwh"), 0.0),
    )
    pump_w = pumps * 1000.0 / running if running > 0 else 0.0
    rest_w = idle * 1000.0 / rest if rest > 0 else 0.0
    size = site.heat_pump.rated_output_kw or _USUAL_SIZE_KW
    if pump_w > max(_MOST_PUMP_W_PER_KW * size, _LEAST_PUMP_W) or rest_w > _MOST_REST_W + _LEAST_PUMP_W:
        return ""
    return (
        f"The load is small beside pumps and standby of usual size: {pump_w:.0f} W in {running:.0f} "
        "hours of running, "
        f"{rest_w:.0f} W in {rest:.0f} hours of rest."
    )


def _cycling(site: Site, facts: Facts, loss: Loss) -> str:
    """A load below the minimum output makes any unit cycle: explained if runs are as long as expected."""
    runs, pump = facts.runs, site.heat_pump
    least = pump.min_output_kw or (pump.rated_output_kw or np.nan) * _USUAL_TURN_DOWN
    heating = runs.where(runs["use"] == HEATING)
    if not len(heating) or not np.isfinite(least):
        return ""
    span = np.maximum(heating.floats("minutes") + np.nan_to_num(heating.floats("pause")), 1.0)
    share = float(np.nanmedian(heating.floats("heat") * 60.0 / span)) / least
    if not 0.0 < share < 1.0:
        return ""
    usual, typical = run_expected(share), float(np.nanmedian(heating.floats("minutes")))
    if typical < usual.low:
        return ""
    return (
        f"Mild weather: the load is {share:.0%} of the least output, which lets runs of "
        f"{usual.low:.0f} to {usual.high:.0f} minutes "
        f"be expected; the typical run is {typical:.0f}."
    )


def _defrost(site: Site, facts: Facts, loss: Loss) -> str:
    """The table's own explanation, if air and load explain the energy."""
    bounds = explained_defrosts(site, facts.days)
    taken = loss.electricity_kwh + rated_defrosts(site, facts.days)
    return loss.because if bounds is not None and taken <= bounds[1] else ""


def _direct(site: Site, facts: Facts, loss: Loss) -> str:
    """A heater below the bivalent point, or for disinfection, runs as designed."""
    days, below = facts.days, helped_below(site)
    backup, mild = (
        days.total("electricity_backup_kwh"),
        float(np.nansum(days.floats("electricity_backup_mild_kwh"))),
    )
    immersion = days.total("electricity_immersion_kwh")
    if below is not None and backup - mild >= _MOSTLY * (backup + immersion):
        return (
            f"Cold weather: {backup - mild:.0f} kWh below {below:g} °C, where the design wants the "
            "heater's help."
        )
    water = site.hot_water
    if water is not None and water.pasteurise_c is not None and immersion >= _MOSTLY * (backup + immersion):
        return (
            f"Disinfection at {water.pasteurise_c:g} °C every {water.pasteurise_every_days} days by the "
            "immersion heater."
        )
    return ""


def _hot_water(site: Site, facts: Facts, loss: Loss) -> str:
    """Charging passes temperatures without rating points."""
    if loss.low > DEAR_SHARE * facts.days.total("electricity_total_kwh"):
        return ""
    return (
        f"Charging costs {loss.electricity_kwh:.0f} kWh ({loss.low:.0f} to {loss.high:.0f}) more than "
        "the rating at its "
        "temperatures: within what a rating carried there leaves open."
    )


def _above_curve(site: Site, facts: Facts, loss: Loss) -> str:
    above = float(np.nanmean(facts.days.floats("above_curve")))
    return (
        f"The flow lies {above:.1f} K above the designed curve, as close as controllers keep it."
        if above <= _CURVE_K
        else ""
    )


_LINES = {
    "flow_temperature_above_curve": _above_curve,
    "cycling": _cycling,
    "defrost": _defrost,
    "direct_electric_heat": _direct,
    "pumps_and_standby": _pumps,
    "hot_water": _hot_water,
}
