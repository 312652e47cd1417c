"""Heat meter against flow rate times temperature difference, with the effect of antifreeze."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.findings.confidence import Flags, Floats, confidence_of
from fieldfare.analysis.findings.context import Context, already_reported
from fieldfare.analysis.findings.data.flow_product import (
    FEWEST_DAYS,
    LEAST_KWH,
    Compared,
    allowed,
    compared,
    is_heat_from_flow,
    mean_lift,
    pair_offset,
    rest_offset,
)
from fieldfare.analysis.findings.episodes import Episode, latest_episode
from fieldfare.analysis.findings.model import (
    Cause,
    Evidence,
    Finding,
    Severity,
)
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.findings.two_sided import two_sided_evidence
from fieldfare.analysis.minutes.balance import uncorrected_share
from fieldfare.analysis.physics.water import KWH_PER_M3_K, antifreeze_over_reading
from fieldfare.analysis.plant.site import HEAT_QUANTITIES
from fieldfare.analysis.statistics.distributions import ONE_SIDED_95
from fieldfare.analysis.statistics.quantiles import median_error, nan_median

_PAIR_K = 0.2
# A pair that is off by so much has a sensor out of its pocket or of the wrong kind (common practice).
_PAIR_WRONG_K = 2.0
_LEAST_USED_KWH = 1.0
# Flow and return alike while the meter counts heat: the one says many times what the other does.
_LEAST_SHARE = 0.1
# Share of the episode's days that must disagree; above three times as much it is "many times".
_MOST_DAYS, _MANY = 0.7, 2.0
_RATIO_LABEL = "heat meter over flow and temperatures"


def _ratio_evidence(excess: float) -> Evidence:
    """Metered heat over heat from flow rate and temperatures. excess : the ratio minus 1 [-]"""
    return Evidence(_RATIO_LABEL, round(1.0 + excess, 3), "-", code="heat_meter_ratio")


def _pair_apart(context: Context) -> Finding | None:
    """Heat from flow rate and temperatures whose two sensors differ at rest, by what matters to it."""
    days = context.all_days.days
    (offset, left), lift = rest_offset(days), mean_lift(days)
    if offset is None or not lift > 0.0:
        raise NotAssessed(
            "needs heat_output, or water that passes the resting unit for minutes a day", "missing_quantity"
        )
    share, limit = offset / lift, context.limit("heat_meter_share")
    if abs(share) < limit:
        return None
    more = "high" if share > 0 else "low"
    return Finding(
        "heat_meter_disagrees",
        "act" if abs(share) > context.limit("heat_meter_act") else "watch",
        days.day(0).isoformat(),
        confidence_of(abs(share) / limit, len(days), 1.0),
        (
            f"Flow and return sensors differ by {abs(offset):.1f} K while water passes the resting unit: the"
            f" heat calculated from them reads {percent(abs(share))} too {more}."
        ),
        (
            two_sided_evidence(
                "heat as calculated over heat without that difference",
                round(1.0 + share, 3),
                "-",
                "heat_meter_share",
                limit,
                about=1.0,
            ),
            Evidence("flow less return at rest", round(offset, 2), "K"),
            Evidence("95 % range of it", f"±{left:.1f}", "K"),
            Evidence("flow less return in steady heating", round(lift, 1), "K"),
        ),
        next_step=(
            "Compare both sensors with a contact thermometer while water passes and the unit rests. Seat the"
            " one that is wrong in its pocket, or replace it."
        ),
        caution="Pockets and pipes are hot and under pressure.",
        visit="drive",
        bring=("two contact thermometers",),
    )


@dataclass(frozen=True)
class _Compared:
    """By day: metered heat over that from flow and temperatures, where both are there, and that ratio less
    what antifreeze explains, less 1. allowed : what two honest instruments may show, as a share. melts : by
    what defrosts between two readings may lower the ratio further"""

    ratio: Floats
    there: Flags
    rest: Floats
    allowed: Floats
    melts: Floats

    @property
    def off(self) -> Floats:
        """Distance of the ratio from 1 that defrosts don't explain."""
        return np.where(self.rest < 0.0, np.maximum(-self.rest - self.melts, 0.0), self.rest)

    def disagrees_together(self, these: Flags, share: float) -> bool:
        """Whether the middle of some days is further from 1 than allowed, and than `share`, by more than
        their scatter leaves open: few readings a run make a day's ratio uncertain either way."""
        rest = self.rest[these]
        middle = float(np.median(rest))
        melts = float(np.median(self.melts[these])) if middle < 0.0 else 0.0
        least = max(share, float(np.median(self.allowed[these]))) + melts
        return abs(middle) > least + ONE_SIDED_95 * median_error(rest)


def heat_meter_disagrees(context: Context) -> Finding | None:
    """Metered heat against flow rate times temperatures; antifreeze explains what it can. Without a heat
    meter, the two sensors against each other in water that passes the resting unit."""
    if is_heat_from_flow(context):
        return _pair_apart(context)
    days, by_file = context.all_days.days, uncorrected_share(context.site)
    culprit = context.unreliable.get("heat_output")
    if culprit is not None and culprit.code != "implausible_efficiency":
        raise NotAssessed(already_reported("heat_output", culprit), "distrusted")
    antifreeze, share = by_file >= context.limit("antifreeze_share"), context.limit("heat_meter_share")
    beside = compared(context)
    if isinstance(beside, str):
        if antifreeze:
            return _antifreeze_by_file(context, by_file)
        raise NotAssessed(beside, "spacing_too_wide")
    comparison = _compared(context, beside, by_file)
    if comparison.there.sum() < FEWEST_DAYS:
        if antifreeze:
            return _antifreeze_by_file(context, by_file)
        raise NotAssessed(
            "needs heat_output beside flow_rate, flow_temperature and return_temperature", "missing_quantity"
        )
    off = comparison.off
    disagrees = comparison.there & (off > comparison.allowed) & (off > share)
    # A day of small temperature differences, on which the sensors' classes could explain it too, is no word
    # either way.
    judged = disagrees | (comparison.there & (off <= share))
    episode = latest_episode(days["day"], disagrees, judged, hold_days=FEWEST_DAYS)
    if (
        episode is None
        or episode.share < _MOST_DAYS
        or (episode.until and antifreeze)
        or not comparison.disagrees_together(judged & episode.covers(days["day"]), share)
    ):
        measured = float(np.median(comparison.ratio[comparison.there])) - 1.0
        if antifreeze:
            return _antifreeze_by_file(context, by_file, measured)
        known = comparison.there
        return _unsaid_antifreeze(context, measured) or _within_classes(
            context, measured, comparison.allowed[known], float(np.median(comparison.melts[known]))
        )
    return _disagreeing(
        context,
        episode,
        float(np.median(comparison.rest[disagrees])),
        float(np.median(comparison.allowed[disagrees])),
    )


def _compared(context: Context, beside: Compared, by_file: float) -> _Compared:
    """What antifreeze explains (`by_file`, a share) is taken off before the rest is judged."""
    days = context.all_days.days
    offset, sensor_k = pair_offset(days)
    meter, flow = beside.meter, beside.without(offset)
    there = (np.fmax(flow, meter) > LEAST_KWH) & np.isfinite(meter) & np.isfinite(flow)
    flow = np.maximum(flow, _LEAST_SHARE * meter)
    ratio = np.divide(meter, flow, out=np.ones(len(days)), where=there)
    return _Compared(
        ratio,
        there,
        ratio / (1.0 + by_file) - 1.0,
        allowed(context, beside.difference(days.floats("lift")), sensor_k),
        beside.melts,
    )


def _disagreeing(context: Context, episode: Episode, typical: float, may: float) -> Finding:
    """The finding. typical : metered heat over the other less 1. may : what the sensors' classes allow"""
    pump, by_file, share = (
        context.site.heat_pump,
        uncorrected_share(context.site),
        context.limit("heat_meter_share"),
    )
    explained = (
        float(antifreeze_over_reading(35.0, 30.0, fluid=pump.antifreeze, percent=pump.antifreeze_percent))
        if by_file
        else 0.0
    )
    worth_it = abs(typical) > context.limit("heat_meter_act")
    severity: Severity = "note" if episode.until else "act" if worth_it else "watch"
    more = "more" if typical > 0 else "less"
    size = f"{percent(abs(typical))} {more} heat than" if typical < _MANY else "many times the heat that"
    found = Finding(
        "heat_meter_disagrees",
        severity,
        episode.since,
        confidence_of(abs(typical) / share, episode.days, episode.share),
        f"The heat meter shows {size} flow rate and temperatures give"
        + (f", in addition to the {percent(explained, 1)} that antifreeze explains." if by_file else "."),
        (
            two_sided_evidence(
                _RATIO_LABEL,
                round(1.0 + typical, 3),
                "-",
                "heat_meter_share",
                share,
                about=1.0,
                code="heat_meter_ratio",
            ),
            Evidence("explained by antifreeze", round(explained, 4), "-"),
            Evidence("allowed by the sensors' classes", round(may, 3), "-"),
        ),
        until=episode.until,
    )
    return found if episode.until else replace(found, **_CHECK)


_CHECK: dict[str, Any] = {
    "next_step": (
        "Compare the two flow sensors and both pairs of temperatures in steady operation to find the one that"
        " is wrong. Check the heat meter's pulse value, the pipe it is set for, and its sensors in their"
        " pockets."
    ),
    "caution": (
        "Pockets and pipes are hot and under pressure; a sealed meter is opened by its maker's service only."
    ),
    "visit": "drive",
    "bring": ("two contact thermometers", "clamp-on flow meter"),
}


def _within_classes(context: Context, measured: float, allowed: Floats, melts: float) -> Finding | None:
    """Beyond the heat meter's class but within the tolerance of the two temperature sensors. melts : what
    defrosts between two readings may take off the ratio [-]"""
    if max(measured, -measured - melts) < context.limit("heat_meter_note"):
        return None
    first = context.all_days.days.day(0).isoformat()
    more = "more" if measured > 0 else "less"
    return Finding(
        "heat_meter_disagrees",
        "note",
        first,
        0.4,
        (
            f"The heat meter shows {percent(abs(measured))} {more} heat than flow rate and temperatures"
            " give: at such small temperature differences the sensors' tolerance can explain it."
        ),
        (
            _ratio_evidence(measured),
            Evidence("allowed by the sensors' classes", round(float(np.median(allowed)), 3), "-"),
        ),
        next_step=(
            "At the next visit compare the heat meter with a clamp-on flow meter and two thermometers on a"
            " day of full output."
        ),
        visit="call",
    )


_HANDLING = (
    "Antifreeze is harmful to drink and to ground water: test and top it up by its maker's sheet and the"
    " local code, and never drain it to a gully."
)


def _antifreeze_by_file(context: Context, share: float, measured: float | None = None) -> Finding:
    """The site file says that antifreeze is in and that the meter takes it for water."""
    pump = context.site.heat_pump
    what = pump.antifreeze.replace("_", " ")
    agrees = measured is not None and abs(measured - share) < 0.5 * share
    remark = (
        f" Flow rate and temperatures show {percent(measured, 1, sign=True)}." if measured is not None else ""
    )
    evidence = [context.evidence("over-reading by antifreeze", round(share, 4), "-", "antifreeze_share")]
    if measured is not None:
        evidence.append(_ratio_evidence(measured))
    first = context.all_days.days.day(0).isoformat()
    because = f"{pump.antifreeze_percent:g} % {what} carries less heat than the water that the meter assumes"
    if measured is not None and measured < 0.3 * share:
        return Finding(
            "heat_meter_disagrees",
            "note",
            first,
            0.5,
            (
                f"The site file says that the heat meter treats {pump.antifreeze_percent:g} % {what} as"
                " water, but it agrees with flow rate and temperatures"
                f" ({percent(measured, 1, sign=True)})."
            ),
            tuple(evidence),
            (Cause("antifreeze_uncorrected", 1.0, "on file, not in the readings"),),
            next_step=(
                "Ask whether the meter is set for the mixture, or the circuit holds none; then correct the"
                " site file."
            ),
            visit="call",
        )
    return Finding(
        "heat_meter_disagrees",
        "watch",
        first,
        0.95 if agrees else 0.85,
        (
            f"The heat meter treats {pump.antifreeze_percent:g} % {what} as water and reads"
            f" {percent(share, 1)} too high; the figures here are corrected for it.{remark}"
        ),
        tuple(evidence),
        (
            Cause(
                "antifreeze_uncorrected",
                1.0,
                because + ("; the measured difference agrees" if agrees else ""),
            ),
        ),
        next_step=(
            "Test the concentration with a refractometer at the next visit and enter it; set the meter for"
            " the mixture, or mark it as corrected where it is. Until then quote the figures here, not the"
            " meter's display."
        ),
        caution=_HANDLING,
        visit="setting",
        bring=("refractometer",),
    )


def _unsaid_antifreeze(context: Context, measured: float) -> Finding | None:
    """The meter reads as if there were antifreeze, although the site file declares none."""
    if not context.limit("antifreeze_share") <= measured <= 0.09:
        return None
    lift = nan_median(np.abs(context.all_days.days.floats("lift")))
    if not measured * lift >= _PAIR_K:
        return None  # a pair of sensors in their pockets is off by as much (EN 60751 class B)
    first = context.all_days.days.day(0).isoformat()
    return Finding(
        "heat_meter_disagrees",
        "note",
        first,
        0.4,
        (
            f"The heat meter reads {percent(measured, 1)} more than flow rate and temperatures give:"
            " within their accuracy classes, and consistent with antifreeze."
        ),
        (_ratio_evidence(measured),),
        (Cause("antifreeze_uncorrected", 1.0, "a water meter reads 3 to 8 % too much on 20 to 40 % glycol"),),
        next_step="Ask whether the circuit contains antifreeze; if so, enter it in the site file.",
        visit="call",
    )


def unreliable_by_disagreement(context: Context, finding: Finding) -> frozenset[str]:
    """The instruments that may be the wrong ones: nothing where antifreeze explains the meter, whose figures
    are corrected for it; the side whose heat no heat pump makes of its electricity; else the meter, and the
    temperatures too where an offset of theirs would explain it."""
    if finding.causes:
        return frozenset()
    meter, pair = frozenset(HEAT_QUANTITIES), frozenset({"flow_temperature", "return_temperature"})
    if is_heat_from_flow(context):
        offset, _ = rest_offset(context.all_days.days)
        return meter if offset is None or abs(offset) < _PAIR_WRONG_K else meter | pair
    days, beside = context.all_days.days, compared(context)
    if isinstance(beside, str):
        return meter
    heat, flow, volume = beside.meter, beside.flow, beside.volume
    drawn = days.floats("electricity_heat_pump_kwh")
    both = (days["day"] >= np.datetime64(finding.since)) & np.isfinite(heat + flow) & (volume > 0.0)
    apart = np.median((flow - heat)[both] / (KWH_PER_M3_K * volume[both])) if both.any() else 0.0
    if abs(float(apart)) < _PAIR_WRONG_K:
        return meter
    most, used = context.limit("efficiency_most"), both & (drawn >= _LEAST_USED_KWH)
    if not used.any() or "heat_pump_electricity" in context.unreliable:
        return meter | pair
    whole = days.floats("check_meter")  # the electricity is of all running
    by_meter = float(np.median(whole[used] / drawn[used]))
    by_flow = float(np.median((whole * flow)[used] / (np.maximum(heat, _LEAST_USED_KWH) * drawn)[used]))
    if by_flow > most >= by_meter >= 1.0:
        return pair | {"flow_rate"}
    return meter if by_meter > most >= by_flow else meter | pair
