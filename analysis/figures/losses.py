"""Attribute the difference of rated and metered electricity to causes, each with its interval."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.expectation.defrost import defrosts_take
from fieldfare.analysis.expectation.frost import frost_mass, frost_rate
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.expected import (
    START_MINUTES,
    above_curve,
    expected,
    learned,
)
from fieldfare.analysis.figures.money import mean_price
from fieldfare.analysis.minutes.operating_state import HEATING
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.distributions import GAUSS_95

Floats = NDArray[np.float64]

CAUSES = (
    "flow_temperature_above_curve",
    "part_load",
    "cycling",
    "defrost",
    "hot_water",
    "direct_electric_heat",
    "pumps_and_standby",
    "unexplained",
)
# One standard deviation in total: a unit may be 8 % under its declared figure in a check (Reg. (EU)
# 813/2013 Table 8), taken as two; without a rating, how far curves of units lie apart; a rating carried to
# other temperatures; electricity meters of class B.
_RATING, _UNRATED, _CARRIED, _ELECTRICITY = 0.04, 0.10, 0.03, 0.01
# Starts cost between nothing and twice the usual; defrosts in a rating's test as much more or less (common
# practice).
_START_DOUBT, _TEST_DOUBT = 0.5, 0.5
# EN 14511 air at 2 °C and colder frosts the coil, and the test counts the defrosts; at 7 °C it hardly does.
_FROSTED_C, _CLEAR_C = 2.0, 7.0
_TEST_HUMIDITY = 84.0
_KELVIN_SHARE = 0.0225
"""More electricity for each kelvin of flow temperature: 2 to 2.5 % (reference 8)."""
_LEAST_COP = 0.5  # below this, a meter misses heat
_FLOW_DOUBT_K = 0.5  # two water sensors of class B at 35 °C (EN 60751)


@dataclass(frozen=True)
class Loss:
    """One cause of the difference of expected and metered electricity [kWh]; negative: a gain.

    low, high : 95 % interval [kWh]. because : the basis, in a sentence
    """

    cause: str
    electricity_kwh: float
    cost: float | None
    low: float
    high: float
    because: str


@dataclass(frozen=True)
class _LossPart:
    """kwh and its standard uncertainty"""

    kwh: float
    spread: float
    because: str


def losses(site: Site, facts: Facts) -> list[Loss]:
    """Attribute the difference of expected and metered electricity, in steps that add up exactly.

    Returns one Loss for each of CAUSES; empty if nothing can be expected. Total heat over `expected().value`,
        plus the steps, is the metered electricity. The unexplained rest carries the uncertainty of rating,
        meters and all parts.
    """
    days = facts.days
    want = expected(site, days)
    if want.value is None:
        return []
    total, heat = days.total("electricity_total_kwh"), days.total("heat_total_kwh")
    strength = learned(days)
    parts = {
        "flow_temperature_above_curve": _above_curve(days),
        "part_load": _part_load(days, strength.middle, strength.spread),
        "cycling": _cycling(facts),
        "defrost": _defrost(site, days),
        "hot_water": _hot_water(days, strength.middle),
        "direct_electric_heat": _direct(days, want.value),
        "pumps_and_standby": _pumps(days),
    }
    rest = total - heat / want.value - sum(p.kwh for p in parts.values())
    compared = days.total("expected_used_space_kwh") + days.total("expected_used_hot_water_kwh")
    parts["unexplained"] = _LossPart(
        rest, hypot(compared * _whole_doubt(site, days), *(p.spread for p in parts.values())), _REST
    )
    price = mean_price(site, days)
    return [
        Loss(
            cause,
            p.kwh,
            None if price is None else p.kwh * price,
            p.kwh - GAUSS_95 * p.spread,
            p.kwh + GAUSS_95 * p.spread,
            p.because,
        )
        for cause, p in ((c, parts[c]) for c in CAUSES)
    ]


_REST = "Rating, heat meter and part-load model together are no more certain than the interval."


def _whole_doubt(site: Site, days: Table) -> float:
    """Standard uncertainty of expected over measured electricity by rating and meters [-]."""
    heat = max(days.total("heat_total_kwh"), 1e-9)
    meter = hypot(days.total("heat_flow_error_kwh"), days.total("heat_pair_error_kwh")) / heat / sqrt(3.0)
    rating = _RATING if site.heat_pump.rating else _UNRATED
    return hypot(rating, _CARRIED, meter, _ELECTRICITY)


def _above_curve(days: Table) -> _LossPart:
    kwh = above_curve(days)
    spread = days.total("expected_curve_space_kwh") * _KELVIN_SHARE * _FLOW_DOUBT_K
    return _LossPart(kwh, spread, "Flow temperatures that occurred against the designed curve's.")


def _part_load(days: Table, strength: float, spread: float) -> _LossPart:
    """Saving by part load, so negative."""
    kwh = full = 0.0
    for use in ("space", "hot_water"):
        x, part = days.total(f"expected_{use}_kwh"), days.total(f"expected_part_load_{use}_kwh")
        if x > 0.0 and part > 0.0:
            kwh += x * ((part / x) ** strength - 1.0)
            full += part - x
    return _LossPart(
        kwh,
        abs(full) * spread,
        "Ratings are measured at full output; at part load coil and condenser have more room.",
    )


def _cycling(facts: Facts) -> _LossPart:
    """Electricity of starts in excess of long runs."""
    runs = facts.runs
    if not len(runs):
        return _LossPart(0.0, 0.0, "No runs can be told apart.")
    heating = runs.where(runs["use"] == HEATING)
    power = np.divide(
        heating["electricity"] * 60.0,
        heating["minutes"],
        out=np.zeros(len(heating)),
        where=heating["minutes"] > 0,
    )
    kwh = float(np.nansum(power) * START_MINUTES / 60.0)
    return _LossPart(
        kwh,
        _START_DOUBT * kwh,
        f"{len(heating)} starts for heating, {START_MINUTES:g} minutes of power each.",
    )


def _defrost(site: Site, days: Table) -> _LossPart:
    """Electricity of defrosts in excess of those in the rating test."""
    drawn = days.total("electricity_defrost_kwh") + _given_again(days)
    tested = rated_defrosts(site, days)
    explained = explained_defrosts(site, days)
    words = f"{drawn:.0f} kWh taken; the rating's test contains {tested:.0f} kWh"
    words += f"; air and load explain {explained[0]:.0f} to {explained[1]:.0f} kWh." if explained else "."
    return _LossPart(drawn - tested, _TEST_DOUBT * tested, words)


def rated_defrosts(site: Site, days: Table) -> float:
    """Electricity for defrosts included in rating points in frosting air [kWh]."""
    air = site.heat_pump.source == "air"
    if not air or not any(p.outdoor_c < _FROSTED_C + 1.0 and p.cop for p in site.heat_pump.rating):
        return 0.0
    outdoor = days.floats("outdoor_heating")
    at_test = np.minimum(outdoor, _FROSTED_C)  # above it, interpolate from the frosted point to the dry one
    share = _test_share(at_test) * np.clip((_CLEAR_C - outdoor) / (_CLEAR_C - _FROSTED_C), 0.0, 1.0)
    return float(np.nansum(fill_nan(share, 0.0) * days.floats("expected_space_kwh")))


def _test_share(outdoor_c: Floats) -> Floats:
    """Defrost heat over heat at full output in test air [-]: float64 (n,)."""
    an_hour = fill_nan(frost_rate(outdoor_c, _TEST_HUMIDITY, 1.0), 0.0)
    each_gram = defrosts_take(frost_mass(1.0, 1.0, 1.0)).middle
    return an_hour * each_gram / 1000.0


def explained_defrosts(site: Site, days: Table) -> tuple[float, float] | None:
    """Electricity of defrosts explained by air and load, 95 % interval [kWh]; None if unknown."""
    guesses = [float(np.nansum(days.floats(f"frost_{n}"))) * 1000.0 for n in ("least", "usual", "most")]
    rated = site.heat_pump.rated_output_kw
    if guesses[1] <= 0.0 or not rated:
        return None
    take = defrosts_take(frost_mass(*(g / rated for g in guesses)))
    heat, used = days.total("expected_heat_space_kwh"), days.total("expected_used_space_kwh")
    each = rated / 1000.0 * (used / heat if heat > 0.0 else 0.0)
    return take.low * each, take.high * each


def _given_again(days: Table) -> float:
    """Electricity to replace the heat drawn by defrosts [kWh], at each day's space performance."""
    taken = np.nan_to_num(days["heat_defrost_taken_kwh"])
    heat, used = days["expected_heat_space_kwh"], days["expected_used_space_kwh"]
    cop = np.divide(heat, used, out=np.full(len(days), np.nan), where=used > 0.5)
    cop = np.where(cop > _LEAST_COP, cop, np.nan)
    overall = heat.sum() / used.sum() if used.sum() > 0.0 else np.nan
    return float(np.nansum(taken / fill_nan(cop, overall if overall > _LEAST_COP else np.nan)))


def _hot_water(days: Table, strength: float) -> _LossPart:
    x, part = (
        days.total("expected_hot_water_kwh"),
        float(np.nansum(days.floats("expected_part_load_hot_water_kwh"))),
    )
    want = x * (part / x) ** strength if x > 0.0 and part > 0.0 else x
    doubt = _CARRIED * want
    return _LossPart(
        days.total("expected_used_hot_water_kwh") - want,
        doubt,
        "Charging the cylinder against the rating at its own temperatures.",
    )


def _direct(days: Table, performance: float) -> _LossPart:
    """Electricity of heaters, less the heat pump's electricity for the same metered heat."""
    used = days.total("electricity_backup_kwh") + days.total("electricity_immersion_kwh")
    in_heat_meter = max(used - float(np.nansum(days.floats("paired_added_heat_kwh"))), 0.0)
    return _LossPart(
        used - in_heat_meter / performance,
        0.0,
        f"{used:.0f} kWh by heaters, against the heat pump's own performance.",
    )


def _pumps(days: Table) -> _LossPart:
    idle = days.total("electricity_idle_kwh")
    pumps = max(days.total("electricity_pump_kwh") - _idle_pumps(days), 0.0)
    return _LossPart(idle + pumps, 0.0, f"Pumps {pumps:.0f} kWh while running, rest {idle:.0f} kWh.")


def _idle_pumps(days: Table) -> float:
    """Pump electricity already counted in idle minutes [kWh]."""
    if "pump_idle_power" not in days:
        return 0.0
    return float(np.nansum(days["pump_idle_power"] * days["minutes_rest"]) / 60_000.0)
