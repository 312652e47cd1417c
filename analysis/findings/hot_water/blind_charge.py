"""Charges that do not warm the cylinder's sensor: the heat goes elsewhere, or the sensor is out of its
pocket."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import HOT_WATER
from fieldfare.analysis.facts.table import Table, fill_nan, group_by_day
from fieldfare.analysis.findings.confidence import confidence_of
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.episodes import latest_episode
from fieldfare.analysis.findings.grading import ranked
from fieldfare.analysis.findings.model import Cause, Evidence, Finding
from fieldfare.analysis.statistics.quantiles import nan_median

_LONG_MIN, _RISE_K = 20.0, 3.0
# Still water in a cold cylinder stands at the mains' temperature; a sensor in the air of a cupboard does not.
_CUPBOARD_C, _EVEN_K = 17.0, 4.0


def blind_charge(context: Context) -> Finding | None:
    """Newest days whose charges ran for long, ended far short of the setpoint and warmed nothing."""
    days, water, limit = context.days, context.site.hot_water, context.limit
    if water is None or water.setpoint_c is None or not len(context.facts.reheats):
        return None
    charged, top = days.floats("minutes_hot_water"), days.floats("tank_max")
    far = top < water.setpoint_c - 3.0 * limit("reheat_short_k")
    # An endless charge has no end to be judged by, and belongs to the day on which it began.
    endless = charged >= limit("charge_endless_minutes")
    is_blind = (endless | _none_warmed(context, context.facts.reheats)) & far
    episode = latest_episode(days["day"], is_blind, np.isfinite(top) & (charged > 0), hold_days=2)
    if episode is None or episode.until is not None or episode.share < limit("reheat_short_share"):
        return None
    inside = is_blind & episode.covers(days["day"])
    hours, level = nan_median(charged[inside]) / 60.0, nan_median(top[inside])
    causes = _causes(level, nan_median((top - days.floats("tank_min"))[inside]))
    return Finding(
        "reheat_incomplete",
        "act",
        episode.since,
        confidence_of(2.0, episode.days + 1.0, episode.share),
        (
            f"The cylinder is charged for {hours:.1f} hours a day and its sensor stays at {level:.0f} °C:"
            " the heat does not reach the sensor."
        ),
        evidence=(
            context.evidence(
                "setpoint minus hottest water of the day",
                round(water.setpoint_c - level, 1),
                "K",
                "reheat_short_k",
            ),
            Evidence("charging", round(hours, 1), "h/day"),
            Evidence("days affected", float(episode.days), "days"),
        ),
        causes=causes,
        next_step=_step(causes[0].cause),
        caution=HOT_WATER,
        home=(
            "Your heat pump tries to heat the water and does not seem to succeed. Take care at the tap: the"
            " water may be cold or far too hot. Please ring your installer."
        ),
        visit="drive",
        bring=("diverter actuator and cartridge", "cylinder sensor", "contact thermometer"),
    )


def _none_warmed(context: Context, reheats: Table) -> np.ndarray:
    """Days with charges of at least twenty minutes, none of which warmed the sensor."""
    days = context.days
    rise = reheats.floats("to_c") - reheats.floats("from_c")
    whole = ~reheats["cut"].astype(np.bool_) & (reheats["minutes"] >= _LONG_MIN) & np.isfinite(rise)
    best = group_by_day(days["day"], reheats["day"], np.where(whole, rise, np.nan), "greatest")
    return np.asarray(fill_nan(best, 99.0) < _RISE_K)


def _causes(level: float, swing: float) -> tuple[Cause, ...]:
    shown = f"the sensor shows {level:.0f} °C and moves by {swing:.0f} K a day"
    in_air = 0.8 if level >= _CUPBOARD_C and swing < _EVEN_K else 0.2
    return ranked(
        {
            "sensor_fault": (in_air, f"{shown}, as the air of a cupboard does" if in_air > 0.5 else shown),
            "diverter_stuck": (
                1.0 - in_air,
                f"{shown}, as a cylinder does that gets no heat" if in_air < 0.5 else shown,
            ),
        }
    )


def _step(cause: str) -> str:
    ask = "Ring today: is the water at the tap hot or cold? "
    sensor = (
        "If it is hot, the sensor is out of its pocket and the unit heats without an end: the water may be"
        " far too hot; switch the charge off until the sensor is back."
    )
    valve = (
        "If it is cold and the radiators warm up during a charge, the diverter valve does not change over:"
        " actuator, its wiring, seat."
    )
    first, then = (sensor, valve) if cause == "sensor_fault" else (valve, sensor)
    return f"{ask}{first} {then} Leave the setpoint as it is."
