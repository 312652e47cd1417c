"""A meter that measures something else than the site file says.

Each possible place or pulse value is a hypothesis that predicts several facts. Its weight is its prior times
the likelihood of what was measured under it (Bayes). Two hypotheses that predict the same share the weight,
and the next step is the measurement that parts them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from fieldfare.analysis.cautions import METER_WORK
from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.expectation.hypotheses import shares
from fieldfare.analysis.facts.table import Table, group_by_day
from fieldfare.analysis.figures.expected import learned
from fieldfare.analysis.findings.context import Context, Rule, already_reported
from fieldfare.analysis.findings.data.flow_product import blurred
from fieldfare.analysis.findings.data.hypotheses import (
    ABOVE,
    COP_CORRELATION,
    ELECTRICITY,
    FLOOR,
    HEAT_METERS,
    HEAT_STEP,
    SOUND,
    Hypothesis,
    hypotheses,
)
from fieldfare.analysis.findings.grading import in_doubt
from fieldfare.analysis.findings.model import (
    Cause,
    Evidence,
    EvidenceCode,
    Finding,
    Severity,
)
from fieldfare.analysis.minutes.balance import counts_unmetered_heater, meter_behind_heater, uncorrected_share
from fieldfare.analysis.statistics.distributions import t_log_density
from fieldfare.analysis.statistics.quantiles import robust_sd

_FEWEST_DAYS = 7
_LEAST_KWH = {"space": 30.0, "hot": 10.0}
_LEAST_ON_MIN, _LEAST_OFF_MIN = 1200.0, 1200.0
_FEWEST_STEPS, _FEWEST_STEP_DAYS = 12, 5
# A charge that counts: well beyond a sensor's last digit and its layers, and a meter's last digit (common
# practice).
_WARMED_K, _CHARGED_KWH = 3.0, 0.5
# Consecutive days that count as one (common practice: weather and habits persist).
_DAYS_ALIKE = 4.0
# Degrees of freedom of Student's t: one odd fact alone decides nothing.
_TAIL_DF = 4
# Share of Carnot that real units reach at the water's own temperatures (reference values 8: 0.35 to 0.5).
_USUAL_CARNOT_SHARE, _HIGH_CARNOT_SHARE = 0.42, 0.5
# The same where no sensor tells the water's temperature and the coolest that any emitter heats with stands
# for it.
_USUAL_SHARE_AT_COOLEST = 0.25
# How far units lie apart whose rating is not known, one standard deviation of a logarithm (shares of Carnot
# of 0.35 to 0.5 and above, common practice).
_UNRATED = 0.2


PERFORMANCE_FACTOR: EvidenceCode = "apparent_performance"
HEAT_LOSS_FACTOR: EvidenceCode = "apparent_heat_loss"
"""Codes of the evidence by how much figures are off where the finding is true."""
_APPARENT: tuple[tuple[str, str, EvidenceCode], ...] = (
    ("cop_space", "metered performance over the true one, if so", PERFORMANCE_FACTOR),
    ("house", "metered heat loss over the true one, if so", HEAT_LOSS_FACTOR),
)


@dataclass(frozen=True)
class _Fact:
    """A measured number; log: it is the logarithm of a ratio. sd: standard uncertainty of its own"""

    value: float
    label: str
    unit: str
    log: bool
    sd: float = 0.0


def meter_misplaced(context: Context) -> Finding | None:
    """Most likely wrong position or pulse value of a meter, where correct meters hardly fit the data."""
    _said_already(context)
    facts = _facts(context)
    if not facts:
        raise NotAssessed(
            "needs heat and the unit's electricity on 7 days, with flow and temperatures or a rating to"
            " compare them with",
            "missing_quantity",
        )
    weighed = _weighed(context, facts)
    sure = 1.0 - sum(w for w, h in weighed if not h.cause)
    if sure < context.limit("misplaced_note"):
        return None
    blamed = sorted(((w / sure, h) for w, h in weighed if h.cause), key=lambda pair: -pair[0])
    likely = [(w, h) for w, h in blamed if w >= 0.1] or blamed[:1]
    found = _finding(context, facts, likely, min(sure, 0.97))
    return found if sure >= context.limit("misplaced_sure") else in_doubt(context, found)


def doubt(context: Context) -> str | None:
    """Why the heat meter may count too little for a claim about the house; None where that is unlikely."""
    try:
        chance = context.once(_chance_of_too_little)
    except NotAssessed as reason:
        return str(reason)
    if chance < context.limit("misplaced_doubt"):
        return None
    return (
        "the heat meter may under-count: heat over electricity is as far below normal as the heat"
        " loss is below the design"
    )


def weighed_against_meter(context: Context, finding: Finding) -> Finding:
    """A finding that heat is missing, less sure by the chance that the heat meter alone misses it.

    The unit, what was promised and the house lack heat by like factors where a meter sees a part of it: one
    wrong meter explains all three. Something is wrong either way, so it stays worth a look.
    """
    try:
        chance = context.once(_chance_of_too_little)
    except NotAssessed:
        return finding
    if chance < context.limit("misplaced_doubt"):
        return finding
    return replace(
        finding,
        severity="watch" if finding.severity == "act" else finding.severity,
        confidence=finding.confidence * (1.0 - chance),
        evidence=(
            *finding.evidence,
            Evidence("probability that the heat meter misses a part of the heat", round(chance, 2), "-"),
        ),
        next_step=(
            "Check the heat meter first: heat over electricity and the house's heat are low by like factors,"
            f" as where part of the water bypasses it. {HEAT_STEP} {finding.next_step}"
        ),
    )


def _chance_of_too_little(context: Context) -> float:
    """Probability that the heat meter misses heat. Raises NotAssessed where a finding tells of a meter."""
    _said_already(context, ("clock_offset",))  # a clock moves no heat from day to day
    facts = _facts(context)
    if not facts.keys() & {"cop_space", "flow_space"}:
        return 0.0
    return sum(w for w, h in _weighed(context, facts) if h.makes_unreliable == HEAT_METERS)


def _said_already(context: Context, besides: tuple[str, ...] = ()) -> None:
    """Raise NotAssessed where another finding has told of a meter. besides : codes that are no obstacle

    A meter is where it is from the first day, with the pulse value that it was given then: what began later
    is a sensor or a part.
    """
    days = context.all_days.days
    first = days.day(min(_FEWEST_DAYS, len(days) - 1)).isoformat()
    for quantity in (*ELECTRICITY, "heat_output"):
        culprit = context.unreliable.get(quantity)
        if culprit is None or culprit.code in besides:
            continue
        if culprit.code not in ("implausible_efficiency", "heat_meter_disagrees") or culprit.since > first:
            raise NotAssessed(already_reported(quantity, culprit), "distrusted")


def _weighed(context: Context, facts: Mapping[str, _Fact]) -> list[tuple[float, Hypothesis]]:
    """Each hypothesis with its posterior probability.

    Sound meters are as improbable as it is certain that no unit has the efficiency that they show.
    """
    behind = meter_behind_heater(context.site)
    known = [h for h in hypotheses(behind) if _is_there(context, h)]
    culprit = next((context.unreliable[q] for q in ELECTRICITY if q in context.unreliable), None)
    impossible = culprit is not None and culprit.code == "implausible_efficiency"
    sound = 1.0 - culprit.confidence if culprit is not None and impossible else 1.0
    weights = [
        w * (1.0 if h.cause else sound) for w, h in zip(_weights(known, facts, behind), known, strict=True)
    ]
    total = sum(weights)
    return [(w / total, h) for w, h in zip(weights, known, strict=True)]


def _is_there(context: Context, hypothesis: Hypothesis) -> bool:
    """Whether the site has the meter that the hypothesis blames."""
    blamed = hypothesis.makes_unreliable
    return not blamed or any(context.site.measures(quantity) for quantity in blamed)


@dataclass(frozen=True)
class _Likely:
    """Value of a fact under a hypothesis, and its standard deviations on both sides."""

    mean: float
    below: float
    above: float

    def score(self, value: float) -> float:
        """Standard deviations of its side by which a value lies above the mean."""
        return (value - self.mean) / (self.above if value > self.mean else self.below)

    def log_density(self, value: float, sd: float) -> float:
        """Logarithm of the density. sd : standard uncertainty of the value

        Source: two halves of different width that meet at the top (two-piece normal, John 1982; from memory),
            here of Student's t.
        """
        wide = _Likely(self.mean, math.hypot(self.below, sd), math.hypot(self.above, sd))
        return t_log_density(wide.score(value), _TAIL_DF) - math.log((wide.below + wide.above) / 2.0)

    def beside(self, score: float, correlation: float) -> _Likely:
        """The same where a value that goes with it lies so many standard deviations above its own mean.

        Source: conditional distribution of two correlated normal variables (textbook).
        """
        moved, left = correlation * score, math.sqrt(1.0 - correlation**2)
        mean = self.mean + moved * (self.above if moved > 0.0 else self.below)
        return _Likely(mean, left * self.below, left * self.above)


def _weights(known: list[Hypothesis], facts: Mapping[str, _Fact], declared_behind: bool) -> list[float]:
    """Posterior probability of each hypothesis."""
    logs = {}
    for i, hypothesis in enumerate(known):
        total = math.log(hypothesis.prior)
        for name, fact in facts.items():
            likely = _expected(hypothesis, name, declared_behind)
            if name == "cop_hot" and (heating := facts.get("cop_space")) is not None:
                # One unit is about as good in charges as in heating.
                score = _expected(hypothesis, "cop_space", declared_behind).score(heating.value)
                likely = likely.beside(score, COP_CORRELATION)
            total += likely.log_density(fact.value, fact.sd)
        logs[i] = total
    return list(shares(logs).values())


def _expected(hypothesis: Hypothesis, name: str, declared_behind: bool) -> _Likely:
    if name in hypothesis.predicts:
        mean, spread = hypothesis.predicts[name]
        return _Likely(mean, spread, hypothesis.above.get(name, spread))
    if name == "heater_seen" and declared_behind:
        return _Likely(1.0, 0.15, 0.15)
    mean, spread = SOUND[name]
    return _Likely(mean, spread, ABOVE.get(name, spread))


# ---- what was measured


def _facts(context: Context) -> dict[str, _Fact]:
    days = context.all_days.days
    out: dict[str, _Fact] = {}
    water = {"flow_rate", "flow_temperature", "return_temperature"}
    if (
        blurred(context) is None
        and not water & context.unreliable.keys()
        and not meter_behind_heater(context.site)
    ):
        out |= _against_flow(days, 1.0 + uncorrected_share(context.site))
    if not counts_unmetered_heater(context.site):  # its electricity is no part of the unit's efficiency
        out |= _against_rating(
            days,
            context.site.measures("flow_temperature") and "flow_temperature" not in context.unreliable,
            has_rating=bool(context.site.heat_pump.rating),
        )
        out |= _charges(context)
        out |= _follows_heat(days)
    out |= _electricity(days)
    out |= _heater(days)
    if "cop_space" in out:  # a house with hardly any heat need shows nothing about its meter
        out |= _house(context)
    return out


def _ratio(top: float, bottom: float) -> float:
    return math.log(min(max(top / bottom, FLOOR), 1.0 / FLOOR))


def _sums(days: Table, *names: str) -> list[float]:
    return [float(np.nansum(days.floats(name))) for name in names]


def _against_flow(days: Table, factor: float) -> dict[str, _Fact]:
    out = {}
    for use, words in (("space", "in heating"), ("hot", "while charging the cylinder")):
        flow = days.floats(f"check_flow_{use}")
        meter, total = _sums(days, f"check_meter_{use}", f"check_flow_{use}")
        if (np.nan_to_num(flow) > 0.5).sum() >= _FEWEST_DAYS and total > _LEAST_KWH[use]:
            out[f"flow_{use}"] = _Fact(
                _ratio(meter / factor, total), f"heat meter over flow and temperatures, {words}", "-", True
            )
    return out


def _against_rating(days: Table, water_known: bool, *, has_rating: bool) -> dict[str, _Fact]:
    out = {}
    least, unit = _sums(days, "carnot_least_kwh", "carnot_used_kwh")
    enough = (
        unit > _LEAST_KWH["space"] / 3.0
        and (np.nan_to_num(days.floats("carnot_used_kwh")) > 1.0).sum() >= _FEWEST_DAYS
    )
    if enough and water_known and least / unit > _HIGH_CARNOT_SHARE:
        out["carnot"] = _Fact(
            math.log(least / unit / _USUAL_CARNOT_SHARE), "share of Carnot over the usual share", "-", True
        )
    for use, column, words in (
        ("space", "space", "in heating"),
        ("hot", "hot_water", "while charging the cylinder"),
    ):
        # The meters can call every use by its name only where they tell them apart.
        rated, drawn = _sums(days, f"expected_{column}_kwh", f"expected_used_{column}_kwh")
        if (
            drawn > _LEAST_KWH[use] / 3.0
            and (np.nan_to_num(days.floats(f"expected_used_{column}_kwh")) > 0.2).sum() >= _FEWEST_DAYS
        ):
            value = _less_part_load(days, _ratio(rated, drawn), column)
            sd = _UNRATED if value > 0.0 and not has_rating else 0.0
            out[f"cop_{use}"] = _Fact(value, f"COP over rated COP, {words}", "-", True, sd)
    if enough and not out:
        usual = _USUAL_CARNOT_SHARE if water_known else _USUAL_SHARE_AT_COOLEST
        value = _ratio(least / unit, usual)
        sd = _UNRATED if value > 0.0 else 0.0
        out["cop_space"] = _Fact(value, "share of Carnot over the usual share", "-", True, sd)
    return out


def _less_part_load(days: Table, above: float, column: str) -> float:
    """Logarithm of COP over rated COP less what part load explains of it; unchanged below the rating."""
    rated, part = _sums(days, f"expected_{column}_kwh", f"expected_part_load_{column}_kwh")
    if above <= 0.0 or not part > 0.0:
        return above
    return max(above - learned(days).middle * max(_ratio(rated, part), 0.0), 0.0)


def _charges(context: Context) -> dict[str, _Fact]:
    """Share of days on whose charges fewer kWh of heat than of electricity were counted.

    By the cylinder's warming where it is measured, else as the controls report them.
    """
    days, reheats = context.all_days.days, context.all_days.reheats
    if "cylinder_temperature" in context.unreliable or not len(reheats):
        return {}
    warmed = ~(reheats.floats("to_c") - reheats.floats("from_c") < _WARMED_K)
    # Charges by the immersion heater are no evidence about the unit.
    warmed &= ~(reheats.floats("immersion") > 0.0) & ~reheats["cut"].astype(np.bool_)
    heat, drawn = (
        group_by_day(days["day"], reheats["day"], np.where(warmed, reheats.floats(name), np.nan), "sum")
        for name in ("heat", "electricity")
    )
    charged = np.isfinite(heat) & (drawn >= _CHARGED_KWH)
    if charged.sum() < _FEWEST_DAYS:
        return {}
    share = float((heat[charged] < drawn[charged]).mean())
    label = "share of days on which charges of the cylinder show less heat than electricity"
    return {"dry_charges": _Fact(share, label, "-", False)}


def _electricity(days: Table) -> dict[str, _Fact]:
    n_on, e_on, minutes_off, e_off = _sums(
        days,
        "minutes_surely_on",
        "electricity_surely_on_kwh",
        "minutes_surely_off",
        "electricity_surely_off_kwh",
    )
    out = {}
    if n_on >= _LEAST_ON_MIN and minutes_off >= _LEAST_OFF_MIN and e_on + e_off > 5.0:
        on_w, off_w = e_on / n_on * 60_000.0, e_off / minutes_off * 60_000.0
        out["contrast"] = _Fact(
            (on_w - off_w) / max(on_w, off_w, 1.0),
            "share of the power that follows the unit's running",
            "-",
            False,
        )
        bursts = _sums(days, "minutes_off_burst")[0]
        out["off_bursts"] = _Fact(bursts / minutes_off, "share of idle time above 250 W", "-", False)
    steps, dry = days.floats("load_steps"), days.floats("dry_steps")
    if (is_known := np.isfinite(steps) & (days.floats("minutes_running") > 0)).sum() >= _FEWEST_DAYS:
        share = float((dry[is_known] > 0).mean())
        out["dry_days"] = _Fact(
            share, "share of days with a power step that heat does not follow", "-", False
        )
    return out


def _follows_heat(days: Table) -> dict[str, _Fact]:
    heat, drawn = days.floats("heat_total_kwh"), days.floats("electricity_heat_pump_kwh")
    known = np.isfinite(heat + drawn)
    if known.sum() < 21 or float(np.std(heat[known])) <= 4.0 or float(np.std(drawn[known])) <= 0.0:
        return {}
    together = float(np.corrcoef(heat[known], drawn[known])[0, 1])
    return {"follows_heat": _Fact(together, "correlation of daily electricity and daily heat", "-", False)}


def _heater(days: Table) -> dict[str, _Fact]:
    share = days.floats("heater_step_share")
    known = share[np.isfinite(share)]
    if _sums(days, "heater_steps")[0] < _FEWEST_STEPS or len(known) < _FEWEST_STEP_DAYS:
        return {}
    # The unit's own output moves too: the middle of many switchings is the heater's, the surer the more
    # alike.
    middle = float(np.median(known))
    label = "change of heat over the back-up heater's power when it switches"
    sd = robust_sd(known) / math.sqrt(max(len(known) / _DAYS_ALIKE, 1.0))
    return {"heater_seen": _Fact(middle, label, "-", False, sd)}


def _house(context: Context) -> dict[str, _Fact]:
    """Heat for each kelvin between rooms and outdoors over the design's own."""
    days, design = context.all_days.days, context.site.design.coefficient_w_per_k
    if design is None or "outdoor_temperature" in context.unreliable:
        return {}
    indoor = np.where(np.isfinite(days.floats("room")), days.floats("room"), context.site.design.indoor_c)
    over = indoor - days.floats("outdoor")
    watts = days.floats("heat_space_kwh") * 1000.0 / 24.0
    cold = (
        np.isfinite(over + watts)
        & (over > 10.0)
        & (days.floats("minutes_heat_known") > 0.95 * days.floats("minutes_total"))
    )
    if cold.sum() < _FEWEST_DAYS:
        return {}
    return {
        "house": _Fact(
            _ratio(float(np.median(watts[cold] / over[cold])), design),
            "space heat over design, in the same weather",
            "-",
            True,
        )
    }


# ---- telling


def _finding(
    context: Context, facts: Mapping[str, _Fact], likely: list[tuple[float, Hypothesis]], sure: float
) -> Finding:
    first = context.all_days.days.day(0).isoformat()
    severity: Severity = "act" if sure >= context.limit("misplaced_act") else "watch"
    weight: dict[str, float] = {}
    because: dict[str, str] = {}
    for w, h in likely:
        weight[h.cause] = weight.get(h.cause, 0.0) + w
        because.setdefault(h.cause, h.because)
    total = sum(weight.values())
    causes = tuple(Cause(c, w / total, because[c]) for c, w in sorted(weight.items(), key=lambda x: -x[1]))
    best = likely[0][1]
    seems = "does not seem to" if sure >= context.limit("misplaced_sure") else "may not"
    meter = "electricity meter" if best.makes_unreliable == ELECTRICITY else "heat meter"
    steps = list(dict.fromkeys(h.step for _, h in likely))
    step = (
        steps[0] if len(steps) == 1 else f"Two checks tell the possible causes apart. {steps[0]} {steps[1]}"
    )
    electric = any(h.makes_unreliable == ELECTRICITY for _, h in likely)
    return Finding(
        "meter_misplaced",
        severity,
        first,
        sure,
        f"The {meter} {seems} measure what the site file says: {best.because}.",
        (
            *(
                Evidence(f.label, round(math.exp(f.value) if f.log else f.value, 3), f.unit)
                for name, f in facts.items()
                if name in _telling(likely)
            ),
            *(
                Evidence(label, round(apparent, 2), "-", code=code)
                for fact, label, code in _APPARENT
                if (apparent := best.apparent(fact)) != 1.0
            ),
        ),
        causes,
        next_step=step,
        caution=(
            METER_WORK
            if electric
            else "Pipes and sensor pockets are hot and under pressure; open no pocket on a filled circuit."
        ),
        visit="drive",
        bring=(
            ("clamp meter",) if electric else ("contact thermometer", "heat-meter sheet with its pulse value")
        ),
    )


def _telling(likely: list[tuple[float, Hypothesis]]) -> set[str]:
    return {name for _, h in likely for name in h.predicts}


def _unreliable(context: Context, finding: Finding) -> frozenset[str]:
    """Quantities made unreliable by the likely causes."""
    blamed = [(w, h) for w, h in _weighed(context, _facts(context)) if h.cause]
    total = sum(w for w, _ in blamed)
    return frozenset().union(*(h.makes_unreliable for w, h in blamed if w >= 0.25 * total))


MISPLACED_RULES: tuple[Rule, ...] = (Rule("meter_misplaced", meter_misplaced, makes_unreliable=_unreliable),)
