"""Does mixing at the buffer lose temperature before the emitters?"""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.buffer_mixing import mixing_loss
from fieldfare.analysis.expectation.excess import Excess
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import Flags
from fieldfare.analysis.findings.context import Context, Need, Rule
from fieldfare.analysis.findings.episodes import latest_episode
from fieldfare.analysis.findings.grading import downgraded, graded, ranked
from fieldfare.analysis.findings.model import Evidence, Finding
from fieldfare.analysis.findings.onset import onset
from fieldfare.analysis.findings.yearly_cost import heating_year, share_spared
from fieldfare.analysis.statistics.quantiles import nan_median


def _newest(days: Flags, number: float) -> Flags:
    """The newest so many of these days: a pump that was turned up shows in them, not in all."""
    rows = np.flatnonzero(days)[-int(number) :]
    return np.isin(np.arange(len(days)), rows)


def buffer_mixing(context: Context) -> Finding | None:
    buffer = context.site.buffer
    if buffer is None:
        raise NotAssessed("the site file names no buffer", "not_applicable")
    days, limit = context.days, context.limit
    drop = days.floats("buffer_drop")
    judged = (days.floats("minutes_beyond") >= context.limit("flow_steady_minutes")) & np.isfinite(drop)
    if judged.sum() < limit("buffer_days"):
        raise NotAssessed(
            "too few days of steady heating with flow temperature on both sides of the buffer", "too_few_days"
        )
    mixes = judged & (fill_nan(drop, 0.0) >= limit("buffer_drop_note_k"))
    episode = latest_episode(days["day"], mixes, judged, hold_days=5, gone_days=7)
    if episode is None:
        return None
    here = _newest(episode.covers(days["day"]) & judged, limit("buffer_recent_days"))
    lost = nan_median(drop[here])
    if lost < limit("buffer_drop_note_k"):
        return None
    lift, beyond = nan_median(days.floats("lift")[here]), nan_median(days.floats("beyond_lift")[here])
    # Water drawn in from the return cools the flow and narrows the difference beyond by as much.
    lost, spread = mixing_loss(lost, lift - beyond)
    real = min(Excess(lost, spread).probability_above(limit("buffer_drop_note_k") / 2.0), limit("surest"))
    if lost < limit("buffer_drop_note_k"):
        return None
    ratio = lift / beyond if np.isfinite(beyond) and beyond > 0.3 else float("nan")
    severity = downgraded(
        graded(lost, limit("buffer_drop_watch_k"), limit("buffer_drop_act_k")), episode, 5.0
    )
    if ratio < context.limit(
        "buffer_flow_ratio"
    ):  # no more water beyond the buffer than before it: then nothing is drawn in
        severity = "note"
    used = float(np.nansum(days.floats("electricity_space_kwh")))
    kwh = used * share_spared(lost) * heating_year(context) if used > 0 else None
    because = (
        (
            f"judged by the temperature differences on both sides, the emitters draw {ratio:.1f} times the"
            " water flow of the heat pump"
        )
        if np.isfinite(ratio)
        else "cooler return water mixes into the flow to the emitters"
    )
    more = (
        ()
        if np.isnan(ratio)
        else (
            context.evidence(
                "flow to the emitters over flow of the heat pump", round(ratio, 2), "-", "buffer_flow_ratio"
            ),
        )
    )
    return Finding(
        "buffer_mixing",
        severity,
        onset(days["day"], np.where(judged, drop, np.nan), episode),
        real,
        f"The water loses {lost:.1f} K at the buffer before it reaches the emitters.",
        evidence=(
            context.evidence(
                "flow temperature lost at the buffer", round(lost, 1), "K", "buffer_drop_watch_k"
            ),
            Evidence("flow-return difference at the heat pump", round(lift, 1), "K"),
            *more,
        ),
        causes=ranked(
            {
                "secondary_flow_exceeds_primary": (real, because),
                "sensor_fault": (
                    1.0 - real,
                    f"two sensors on pipes differ by {spread:.1f} K, as one standard deviation",
                ),
            }
        ),
        next_step=(
            "Turn the pump behind the buffer down, or the heat pump's up, until the flow temperature"
            " is the same on both sides; then lower the heating curve by the same amount."
        ),
        home=(
            ""
            if severity == "note"
            else (
                "Warm and cool water mix in your heating's buffer, which costs electricity. Your installer"
                " can set the pumps to stop that."
            )
        ),
        until=episode.until,
        cost_kwh=kwh,
        cost_money=context.money(kwh),
        visit="drive",
        bring=("clamp thermometer",),
    )


RULES: tuple[Rule, ...] = (
    Rule(
        "buffer_mixing",
        buffer_mixing,
        needs=(Need(("distribution_flow_temperature",), 15.0, 7), Need(("flow_temperature",), 15.0)),
        reads=frozenset({"flow_temperature", "distribution_flow_temperature"}),
    ),
)
