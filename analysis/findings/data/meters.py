"""Meters and sensors that contradict each other or physics: impossible, disagreeing."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.figures.estimate import robust_fit
from fieldfare.analysis.findings.confidence import Floats, confidence_of
from fieldfare.analysis.findings.context import Context, Need, Rule, already_reported
from fieldfare.analysis.findings.data.long_runs import minutes_in_runs
from fieldfare.analysis.findings.episodes import latest_episode
from fieldfare.analysis.findings.model import (
    Cause,
    Evidence,
    Finding,
    Severity,
)
from fieldfare.analysis.findings.phrases import percent
from fieldfare.analysis.findings.two_sided import strays
from fieldfare.analysis.minutes.balance import uncorrected_share
from fieldfare.analysis.physics.metering import HeatClass, combine, heat_meter_mpe
from fieldfare.analysis.physics.water import antifreeze_over_reading
from fieldfare.analysis.plant.site import HEAT_QUANTITIES
from fieldfare.analysis.statistics.quantiles import nan_median

# ---- impossible efficiency

_LEAST_KWH = 1.0


def implausible_efficiency(context: Context) -> Finding | None:
    """Heat over electricity above the Carnot limit or below that of an electric heater."""
    days = context.all_days.days
    heat, unit, least = (days.floats(f"carnot_{name}_kwh") for name in ("heat", "used", "least"))
    worked = (
        (fill_nan(unit, 0.0) >= _LEAST_KWH) & np.isfinite(heat) & (days.floats("minutes_running") >= 60.0)
    )
    if not worked.any():
        raise NotAssessed("needs days with heat and the unit's electricity measured together")
    share = np.divide(least, unit, out=np.zeros(len(days)), where=worked)
    ratio = np.divide(heat, unit, out=np.ones(len(days)), where=worked)
    high_limit, low_limit = context.limit("carnot_share"), context.limit("efficiency_least")
    most = context.limit("efficiency_most")
    # Water hardly warmer than the air takes next to no work: a high ratio alone is no fault where the air is
    # measured.
    beyond = ratio > most
    if "outdoor_temperature" not in context.unreliable:
        beyond &= (share > context.limit("efficiency_most_carnot")) | ~np.isfinite(days.floats("outdoor"))
    high, low = worked & ((share > high_limit) | beyond), worked & (ratio < low_limit)
    low &= minutes_in_runs(context) >= 60.0
    above = latest_episode(days["day"], high, worked, hold_days=3)
    below = latest_episode(days["day"], low, worked, hold_days=3)
    above = above if above is not None and above.share >= 0.5 else None
    below = below if below is not None and below.share >= 0.5 else None
    episode = above or below
    if episode is None:
        return None
    mine = high if episode is above else low
    cop = float(float(heat[mine].sum()) / float(unit[mine].sum()))
    if episode is above:
        carnot = float(np.median(share[mine]))
        words = "more than any heat pump reaches"
        evidence = context.evidence("heat over electricity", round(cop, 2), "-", "efficiency_most")
        over = cop / most
        if carnot > high_limit:
            words = "more than physics allows" if carnot > 1.0 else words
            words += f" at its own temperatures ({percent(carnot)} of Carnot)"
            evidence = context.evidence(
                "share of the Carnot efficiency", round(carnot, 3), "-", "carnot_share"
            )
            over = carnot / high_limit
        headline = f"Heat over electricity is {cop:.1f}, {words}."
    else:
        headline = (
            f"The meters show {cop:.2f} kWh of heat for each kWh of electricity: less than an electric heater"
            " gives."
        )
        evidence = context.evidence("heat over electricity", round(cop, 3), "-", "efficiency_least")
        over = low_limit / max(cop, 0.05)
    return Finding(
        "implausible_efficiency",
        "note" if episode.until else "act",
        episode.since,
        confidence_of(over, episode.days, episode.share),
        headline,
        (
            evidence,
            Evidence("heat", round(float(heat[mine].sum()), 1), "kWh"),
            Evidence("the unit's electricity", round(float(unit[mine].sum()), 1), "kWh"),
            Evidence("days affected", float(episode.days), "days"),
        ),
        next_step=(
            ""
            if episode.until
            else (
                "Check both meters at the plant: pulse value and place of the flow sensor of the heat meter,"
                " its two sensors in their pockets, and which circuits the electricity meter counts (all"
                " phases, its transformer ratio). Read both at once an hour apart."
            )
        ),
        caution=(
            ""
            if episode.until
            else (
                "Only an electrician licensed for it opens the board; heat-meter pockets are hot and under"
                " pressure."
            )
        ),
        until=episode.until,
        visit="none" if episode.until else "drive",
        bring=(
            ()
            if episode.until
            else ("clamp meter", "contact thermometer", "heat-meter sheet with its pulse value")
        ),
    )


# ---- heat meter against flow and temperatures

_SENSOR_K = 0.3
# The same once their difference was read in water that a resting unit passes on: what is left moves with
# temperature.
_ZEROED_K, _ZEROED_DAYS, _PASSING_MIN = 0.1, 10, 20
# Coverage of 95 %, and a standard deviation from a median absolute deviation, both of a normal distribution.
_COVERAGE, _ROBUST_SD = 2.0, 1.4826
_KWH_PER_M3_K = 1.155
_PAIR_K = 0.2
# Flow and return alike while the meter counts heat: the one says many times what the other does.
_LEAST_SHARE = 0.1
_UNIT_FLOW_SENSOR = 0.05
_FEWEST_DAYS = 4
_RATIO_LABEL = "heat meter over flow and temperatures"


def _ratio_evidence(excess: float) -> Evidence:
    """Metered heat over heat from flow rate and temperatures. excess : the ratio minus 1 [-]"""
    return Evidence(_RATIO_LABEL, round(1.0 + excess, 3), "-", code="heat_meter_ratio")


def heat_meter_disagrees(context: Context) -> Finding | None:
    """Metered heat against flow rate times temperatures; antifreeze explains what it can."""
    days, pump = context.all_days.days, context.site.heat_pump
    by_file = uncorrected_share(context.site)
    culprit = context.unreliable.get("heat_output")
    if culprit is not None and culprit.code != "implausible_efficiency":
        raise NotAssessed(already_reported("heat_output", culprit))
    apart = flow_spacing(days)
    if apart > context.limit("flow_product_minutes") and by_file < context.limit("antifreeze_share"):
        raise NotAssessed(
            (
                f"flow rate and temperatures every {apart:.0f} minutes: where the unit starts and stops in"
                " between, mean flow times mean temperature difference is not the mean heat"
            ),
            "spacing_too_wide",
        )
    offset, sensor_k = _pair_offset(days)
    meter, flow = days.floats("check_meter"), _flow_heat(days, offset)
    if apart > context.limit("flow_product_minutes"):
        flow = np.full(len(days), np.nan)
    compared = (np.fmax(flow, meter) > 3.0) & np.isfinite(meter) & np.isfinite(flow)
    flow = np.maximum(flow, _LEAST_SHARE * meter)
    if compared.sum() < _FEWEST_DAYS:
        if by_file >= context.limit("antifreeze_share"):
            return _antifreeze_by_file(context, by_file)
        raise NotAssessed("needs heat_output beside flow_rate, flow_temperature and return_temperature")
    ratio = np.divide(meter, flow, out=np.ones(len(days)), where=compared)
    allowed = _allowed(context, _difference(days), sensor_k)
    # What antifreeze explains is taken off before the rest is judged.
    rest = ratio / (1.0 + by_file) - 1.0
    so = compared & (np.abs(rest) > allowed) & (np.abs(rest) > context.limit("heat_meter_share"))
    # A day of small temperature differences, on which the sensors' classes could explain it too, is no word
    # either way.
    told = so | (compared & (np.abs(rest) <= context.limit("heat_meter_share")))
    episode = latest_episode(days["day"], so, told, hold_days=_FEWEST_DAYS)
    if (
        episode is None
        or episode.share < 0.7
        or (episode.until and by_file >= context.limit("antifreeze_share"))
    ):
        measured = float(np.median(ratio[compared])) - 1.0
        if by_file >= context.limit("antifreeze_share"):
            return _antifreeze_by_file(context, by_file, measured)
        return _unsaid_antifreeze(context, measured) or _within_classes(context, measured, allowed[compared])
    typical = float(np.median(rest[so]))
    explained = (
        float(antifreeze_over_reading(35.0, 30.0, fluid=pump.antifreeze, percent=pump.antifreeze_percent))
        if by_file
        else 0.0
    )
    severity: Severity = (
        "note" if episode.until else "act" if abs(typical) > context.limit("heat_meter_act") else "watch"
    )
    more = "more" if typical > 0 else "less"
    size = f"{percent(abs(typical))} {more} heat than" if typical < 2.0 else "many times the heat that"
    return Finding(
        "heat_meter_disagrees",
        severity,
        episode.since,
        confidence_of(abs(typical) / context.limit("heat_meter_share"), episode.days, episode.share),
        f"The heat meter shows {size} flow rate and temperatures give"
        + (f", in addition to the {percent(explained, 1)} that antifreeze explains." if by_file else "."),
        (
            strays(
                _RATIO_LABEL,
                round(1.0 + typical, 3),
                "-",
                "heat_meter_share",
                context.limit("heat_meter_share"),
                about=1.0,
                code="heat_meter_ratio",
            ),
            Evidence("explained by antifreeze", round(explained, 4), "-"),
            Evidence("allowed by the sensors' classes", round(float(np.median(allowed[so])), 3), "-"),
        ),
        next_step=(
            ""
            if episode.until
            else (
                "Compare the two flow sensors and both pairs of temperatures in steady operation to"
                " find the one that is wrong. Check the heat meter's pulse value, the pipe it is set"
                " for, and its sensors in their pockets."
            )
        ),
        caution=(
            ""
            if episode.until
            else (
                "Pockets and pipes are hot and under pressure; a sealed meter is opened by its maker's"
                " service only."
            )
        ),
        until=episode.until,
        visit="none" if episode.until else "drive",
        bring=() if episode.until else ("two contact thermometers", "clamp-on flow meter"),
    )


def flow_spacing(days: Table) -> float:
    """Minutes between the readings of flow rate and temperatures; 0 where they are not all measured."""
    names = [f"spacing.{q}" for q in ("flow_rate", "flow_temperature", "return_temperature")]
    if not all(name in days for name in names):
        return 0.0
    return max(float(np.nanmin(days.floats(name))) for name in names)


def _pair_offset(days: Table) -> tuple[float | None, float]:
    """Flow sensor minus return sensor [K] while water circulates at rest, None where that is not known, and
    the limit of error of each sensor after it is taken off [K].

    An offset stays the same. A circuit that still cools differs from day to day, and the more so the warmer it
    is: the scatter of the days is the uncertainty of the offset, and where it grows with the water's
    temperature, or is as wide as the sensors' own, nothing was learned.
    """
    if "pair_offset" not in days:
        return None, _SENSOR_K
    told = np.isfinite(days.floats("pair_offset")) & (days.floats("minutes_passing") >= _PASSING_MIN)
    if told.sum() < _ZEROED_DAYS:
        return None, _SENSOR_K
    offsets = days.floats("pair_offset")[told]
    offset = float(np.median(offsets))
    left = max(_ZEROED_K, _COVERAGE * _ROBUST_SD * float(np.median(np.abs(offsets - offset))))
    known = left < _SENSOR_K and abs(offset) <= 2.0 * _SENSOR_K
    if not known or _grows_with(days.floats("loop_c")[told], offsets):
        return None, _SENSOR_K
    return offset, left


def _grows_with(water: Floats, offsets: Floats) -> bool:
    """Whether the differences at rest grow with the water's temperature, beyond doubt and by what matters."""
    both = np.isfinite(water) & np.isfinite(offsets)
    if both.sum() < _ZEROED_DAYS or float(np.std(water[both])) <= 0.0:
        return False
    fit = robust_fit(np.column_stack([np.ones(both.sum()), water[both]]), offsets[both])
    slope, error = fit.combination(np.array([0.0, 1.0]))
    return bool(slope > _COVERAGE * error and slope * float(np.ptp(water[both])) > _ZEROED_K)


def _flow_heat(days: Table, offset: float | None) -> Floats:
    """Daily heat from flow rate and temperatures [kWh], corrected for the pair's offset where known."""
    flow = days.floats("check_flow")
    return flow if offset is None else flow - _KWH_PER_M3_K * offset * days.floats("check_volume")


def _difference(days: Table) -> Floats:
    """Difference of flow and return by day [K]: in steady running, else the one at which the heat was passed."""
    volume, heat = days.floats("check_volume"), days.floats("check_flow")
    passed = np.divide(heat, _KWH_PER_M3_K * volume, out=np.full(len(days), np.nan), where=volume > 0.0)
    return np.where(np.isfinite(days.floats("lift")), days.floats("lift"), passed)


def disagreement(context: Context) -> float | None:
    """Metered heat over that from flow rate and temperatures, less what antifreeze explains, less 1; None
    where only one of them is there."""
    days = context.all_days.days
    if flow_spacing(days) > context.limit("flow_product_minutes"):
        return None
    meter, flow = days.floats("check_meter"), _flow_heat(days, _pair_offset(days)[0])
    compared = (flow > 3.0) & np.isfinite(meter)
    if compared.sum() < _FEWEST_DAYS:
        return None
    return float(np.median(meter[compared] / flow[compared])) / (1.0 + uncorrected_share(context.site)) - 1.0


def _within_classes(context: Context, measured: float, allowed: Floats) -> Finding | None:
    """Beyond the heat meter's class but within the tolerance of the two temperature sensors."""
    if abs(measured) < context.limit("heat_meter_note"):
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


def _allowed(context: Context, lift: Floats, sensor_k: float) -> Floats:
    """Disagreement that two honest instruments may show at a day's temperature difference [-].

    Heat meter after its class (EN 1434-1 limits), a flow sensor of 5 %, and two temperature sensors of
    `sensor_k` [K] each. All
    three are limits and rectangular: together about as wide as their root of squares (GUM 4.3.7 and 5.1.2).
    """
    given = {p.meter_class for q in HEAT_QUANTITIES for p in context.site.points_of(q)}
    grade: HeatClass = "3" if "3" in given else "1" if given == {"1"} else "2"
    difference = np.clip(np.where(np.isfinite(lift), np.abs(lift), 5.0), 1.5, 15.0)
    meter = heat_meter_mpe(difference, 0.5, grade).total
    scale = context.limit("heat_meter_share") / 0.12
    return np.asarray(
        scale * combine(meter, _UNIT_FLOW_SENSOR, sensor_k * 2.0**0.5 / difference), dtype=np.float64
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
    seen = (
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
            f" {percent(share, 1)} too high; the figures here are corrected for it.{seen}"
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
    """The meter reads as if antifreeze were present although none is on file."""
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


def _spoilt_by_disagreement(context: Context, finding: Finding) -> frozenset[str]:
    """Nothing where antifreeze explains the meter: the figures are corrected for it."""
    return frozenset() if finding.causes else frozenset(HEAT_QUANTITIES)


METER_RULES: tuple[Rule, ...] = (
    Rule(
        "implausible_efficiency",
        implausible_efficiency,
        (Need(("heat_pump_electricity",)), Need((*HEAT_QUANTITIES, "flow_rate"))),
        frozenset(
            {
                "heat_pump_electricity",
                "heat_output",
                "flow_temperature",
                "return_temperature",
                "outdoor_temperature",
            }
        ),
        lambda context, finding: frozenset({*HEAT_QUANTITIES, "heat_pump_electricity"}),
    ),
    Rule(
        "heat_meter_disagrees",
        heat_meter_disagrees,
        (Need(HEAT_QUANTITIES),),
        frozenset({"flow_temperature", "return_temperature", "flow_rate"}),
        _spoilt_by_disagreement,
    ),
)
