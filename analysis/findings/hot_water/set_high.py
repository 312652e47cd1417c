"""Is the store charged further than its setpoint in the site file, and what does that cost?"""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import HOT_WATER
from fieldfare.analysis.expectation.excess import Excess
from fieldfare.analysis.facts.table import fill_nan, group_by_day
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.episodes import latest_episode
from fieldfare.analysis.findings.grading import ranked
from fieldfare.analysis.findings.model import Evidence, Finding, rounded
from fieldfare.analysis.findings.yearly_cost import per_year, share_spared
from fieldfare.analysis.statistics.quantiles import nan_median

# A sensor in its pocket is a kelvin off, and a charge overshoots by about as much (common practice).
_SENSOR_K, _OVERSHOOT_K = 1.0, 1.0


def charged_beyond_setpoint(context: Context) -> Finding | None:
    """A note that most charges end well above the setpoint, with their extra electricity; None where not so.

    It may be meant (hygiene by local rules, a full house): that is why it is no more than a note.
    """
    plant, reheats, limit = context.site.hot_water, context.facts.reheats, context.limit
    if plant is None or not len(reheats) or "cylinder_temperature" in context.unreliable:
        return None
    days = context.days
    over = group_by_day(days["day"], reheats["day"], reheats.floats("to_c") - plant.setpoint_c, "median")
    known = np.isfinite(over)
    high = fill_nan(over, -99.0) >= limit("charged_beyond_k")
    episode = latest_episode(days["day"], high, known, hold_days=int(limit("charged_beyond_days")))
    if episode is None or episode.until is not None or episode.share < limit("charged_beyond_share"):
        return None
    inside = known & episode.covers(days["day"])
    size = nan_median(over[inside])
    real = Excess(size, float(np.hypot(_SENSOR_K, _OVERSHOOT_K))).probability
    used = float(np.nansum(days.floats("electricity_hot_water_kwh")[episode.covers(days["day"])]))
    kwh = per_year(used * share_spared(size), episode.days)
    end = plant.setpoint_c + size
    why = f"charges end at {end:.0f} °C on {int((high & inside).sum())} of {int(inside.sum())} days"
    return Finding(
        "water_too_hot",
        "note",
        episode.since,
        min(real, limit("surest")),
        f"Charges end at {end:.0f} °C, {size:.0f} K above the setpoint of {plant.setpoint_c:g} °C.",
        evidence=(
            context.evidence(
                "usual end of a charge over the setpoint", round(size, 1), "K", "charged_beyond_k"
            ),
            context.evidence(
                "share of days on which it was so", round(episode.share, 2), "-", "charged_beyond_share"
            ),
            Evidence("usual start of a charge", rounded(nan_median(reheats.floats("from_c"))), "°C"),
        ),
        causes=ranked({"setpoint_raised": (1.0, why)}),
        next_step=(
            "Ask whether the setpoint was raised on purpose, for hygiene by local rules or for more people."
            " If so, enter the new one on this site's page. If not, set it back remotely or by phone, and"
            " keep the disinfection as scheduled."
        ),
        caution=HOT_WATER,
        cost_kwh=kwh,
        cost_money=context.money(kwh),
    )
