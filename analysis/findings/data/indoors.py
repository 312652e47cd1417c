"""An outdoor sensor mounted indoors: an even temperature, and far more heat than such weather needs."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Floats, confidence_of
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.episodes import latest_episode
from fieldfare.analysis.findings.model import Finding

# A unit that works for so long gives heat that is needed.
_WORKED_MIN = 240.0
_USUAL_ROOM_C = 20.0
# Heat over electricity of a unit in mild air, at the least: electricity stands for heat where none is
# metered.
_LEAST_COP = 2.0
_FEWEST_DAYS = 5


def sensor_indoors(context: Context) -> Finding | None:
    """Days of even warmth "outdoors" on which the unit gave several times what the house loses in such
    air."""
    days, limit = context.all_days.days, context.limit
    swing = days.floats("outdoor_max") - days.floats("outdoor_min")
    ran = np.fmax(days.floats("minutes_running"), days.floats("minutes_heating"))
    known = np.isfinite(swing) & (ran >= _WORKED_MIN)
    excess = _excess(context)
    indoors = known & (days.floats("outdoor") >= limit("indoors_c")) & (excess >= limit("indoors_heat_ratio"))
    indoors &= swing <= limit("indoors_swing_k")
    episode = latest_episode(days["day"], indoors, known, hold_days=_FEWEST_DAYS, gone_days=5)
    if episode is None or episode.share < 0.8:
        return None
    level, even = (float(np.median(v[indoors])) for v in (days.floats("outdoor"), swing))
    times = float(np.median(excess[indoors]))
    return Finding(
        "outdoor_sensor_biased",
        "note" if episode.until else "act",
        episode.since,
        confidence_of(times / limit("indoors_heat_ratio"), episode.days, episode.share),
        (
            f"The outdoor sensor seems to hang indoors: it shows {level:.0f} °C all day long, and the heat"
            f" pump gives {times:.0f} times the heat that the house loses in such air."
        ),
        (
            context.evidence("outdoor temperature", round(level, 1), "°C", "indoors_c"),
            context.evidence("change within a day", round(even, 1), "K", "indoors_swing_k"),
            context.evidence(
                "heat given over the design's loss at this temperature",
                round(times, 1),
                "-",
                "indoors_heat_ratio",
            ),
        ),
        next_step=(
            ""
            if episode.until
            else "Find the sensor: is it in the plant room, on its drum of cable or beside the unit's"
            " electronics? Mount it in the shade of a north wall, or name a nearby site's sensor in the site"
            " file (outdoor_from)."
        ),
        caution=(
            "Work on a ladder by the local rules; the sensor's cable is low voltage, but switch the unit's"
            " controls off first."
        ),
        until=episode.until,
        visit="none" if episode.until else "drive",
        bring=() if episode.until else ("outdoor sensor with a shaded case", "thermometer"),
    )


def _excess(context: Context) -> Floats:
    """Heat of each day over what the house as designed loses at that reading: float64 (n,)."""
    days, design = context.all_days.days, context.site.design
    if design.heat_loss_kw is None or design.outdoor_c is None:
        return np.full(len(days), np.nan)
    per_k = design.heat_loss_kw / max(design.indoor_c - design.outdoor_c, 5.0)
    room = fill_nan(days.floats("room"), _USUAL_ROOM_C)
    loss = per_k * np.maximum(room - days.floats("outdoor"), 1.0) * days.floats("minutes_total") / 60.0
    given = days.floats("heat_space_kwh")
    given = np.where(given > 0.0, given, _LEAST_COP * days.floats("electricity_heat_pump_kwh"))
    return np.asarray(given / np.maximum(loss, 0.1))
