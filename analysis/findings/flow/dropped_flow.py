"""Water flow that dropped at once and stayed low: a pump's stage, a closed valve, a blocked strainer, air."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.cautions import water_caution
from fieldfare.analysis.figures.change import find_change
from fieldfare.analysis.findings.confidence import Floats
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.grading import graded, ranked
from fieldfare.analysis.findings.model import Cause, Evidence, Finding
from fieldfare.analysis.findings.phrases import day_text, percent
from fieldfare.analysis.statistics.distributions import normal_probability
from fieldfare.analysis.statistics.quantiles import nan_median

# Without other signs a pump's stage is as likely as dirt or a valve (common practice).
_EVEN = 0.5
# Air and dirt make the flow unsteady; weight where it became so, and where it stayed as steady as before.
_UNSTEADY, _STEADY = 0.85, 0.4
_JITTER_TIMES, _JITTER_LEAST = 2.0, 0.01


@dataclass(frozen=True)
class FlowDrop:
    """day : datetime64 of the first low day. before, after : medians [m3/h]. real : probability [0 to 1]"""

    day: Any
    before: float
    after: float
    real: float

    @property
    def fall(self) -> float:
        return 1.0 - self.after / self.before


def flow_drop(context: Context, day: NDArray[Any], flow: Floats, *, heating: bool) -> FlowDrop | None:
    """A step down in the daily flow that lasts; None where there is none.

    day : datetime64 (n,). flow : float64 (n,) [m3/h], at comparable conditions. heating : it flows through
        the rooms' valves, so that the greatest flow of each day must have dropped too
    """
    limit = context.limit
    number = day.astype("datetime64[D]").astype(np.int64)
    found = find_change(flow, np.zeros((len(flow), 0)), np.ones(len(flow)), number, slides=False)
    if found is None or not found.is_sure or found.size >= 0.0:
        return None
    before, after = nan_median(flow[: found.at]), nan_median(flow[found.at :])
    least = limit("flow_drop_share")
    if heating:
        days = context.days
        late = days["day"] >= day[found.at]
        top = days.floats("flow_rate_top")
        if not nan_median(top[late]) <= (1.0 - least) * nan_median(top[~late]):
            return None
    fall = 1.0 - after / before
    real = normal_probability((fall - least / 2.0) / max(found.error / before, 1e-3))
    if fall < least or real < limit("finding_chance"):
        return None
    return FlowDrop(day[found.at], before, after, real)


def dropped(context: Context, drop: FlowDrop, what: str) -> Finding:
    """The finding that the flow dropped. what : the conditions of its flows, in words"""
    limit, nominal = context.limit, context.site.heat_pump.flow_m3_per_h
    since = np.datetime_as_string(drop.day, unit="D").item()
    severity = graded(drop.fall, limit("flow_drop_share"), limit("flow_drop_act_share"))
    if nominal and drop.after < limit("low_flow_watch_share") * nominal:
        severity = "act"
    share = () if not nominal else (Evidence("flow now over nominal", round(drop.after / nominal, 2), "-"),)
    return Finding(
        "falling_flow",
        severity,
        since,
        min(drop.real, limit("surest")),
        f"The water flow fell {percent(drop.fall)} at once on {day_text(since)} and has stayed low.",
        evidence=(
            Evidence(f"flow before, {what}", round(drop.before, 3), "m3/h"),
            Evidence(f"flow since, {what}", round(drop.after, 3), "m3/h"),
            context.evidence("fall", round(drop.fall, 3), "-", "flow_drop_share"),
            *share,
        ),
        causes=_causes(context, drop),
        next_step=(
            "Ask whether somebody set the pump or closed a valve on that day. If not, check the pump's stage"
            " and every valve, bleed the circuit and clean the strainer; note the flow before and after."
        ),
        caution=water_caution(context.site),
        home=(
            "Less water flows through your heating than before. Your installer will check pump, valves and"
            " filter; please leave radiator valves open until then."
        ),
        visit="drive",
        bring=("strainer insert and seals", "bleed key", "hose and bucket"),
    )


def _causes(context: Context, drop: FlowDrop) -> tuple[Cause, ...]:
    days = context.days
    late = days["day"] >= drop.day
    jitter = days.floats("flow_jitter") if "flow_jitter" in days else np.full(len(days), np.nan)
    before, after = nan_median(jitter[~late]), nan_median(jitter[late])
    blocked, why = _EVEN, "nothing measured tells a setting from dirt or a valve"
    if np.isfinite(before) and np.isfinite(after):
        shaky = after > _JITTER_TIMES * before + _JITTER_LEAST
        blocked = _UNSTEADY if shaky else _STEADY
        why = f"the flow {'became unsteady' if shaky else 'is as steady as before'}"
    return ranked({"strainer_or_air": (blocked, why), "pump_setting": (1.0 - blocked, why)})
