"""Run every rule over the facts and figures of a period."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.findings.changed_habits import changed_habits
from fieldfare.analysis.findings.consistency import (
    with_known_evidence,
    with_passed_limits,
    without_conflicts,
    without_consequences,
)
from fieldfare.analysis.findings.context import Context, Rule, distrust, minutes_off
from fieldfare.analysis.findings.cycling import rules as cycling
from fieldfare.analysis.findings.data import rules as data
from fieldfare.analysis.findings.data.misplaced import doubt, weighed_against_meter
from fieldfare.analysis.findings.data.stuck_sensors import still_days
from fieldfare.analysis.findings.data.unreliable_rooms import without_rooms
from fieldfare.analysis.findings.declared import withheld, without_blame
from fieldfare.analysis.findings.defrost import rules as defrost
from fieldfare.analysis.findings.electric import rules as electric
from fieldfare.analysis.findings.exclusions import find_exclusions
from fieldfare.analysis.findings.excuses import not_fitted
from fieldfare.analysis.findings.flow import rules as flow
from fieldfare.analysis.findings.grading import graded_by_confidence, with_other_explanations
from fieldfare.analysis.findings.heat import rules as heat
from fieldfare.analysis.findings.heat.promise import explained
from fieldfare.analysis.findings.hot_water import rules as hot_water
from fieldfare.analysis.findings.hot_water.too_much import rooms_among_hot_water
from fieldfare.analysis.findings.model import SEVERITIES, Finding, NotAssessedCode, Recognised
from fieldfare.analysis.findings.other_heat import too_much_other_heat
from fieldfare.analysis.findings.stopped import rules as stopped
from fieldfare.analysis.plant.site import Site

if TYPE_CHECKING:
    from fieldfare.analysis.figures.period import Figures


class Judgement(NamedTuple):
    """Outcome of all rules.

    findings : worst first. not_assessed : rules that could not decide, each with the reason.
    recognised : unusual periods that are no fault.
    unreliable : quantities that can't be trusted, each with the finding that says so
    """

    findings: tuple[Finding, ...]
    not_assessed: tuple[NotAssessedCode, ...]
    recognised: tuple[Recognised, ...]
    unreliable: dict[str, Finding]


DATA_RULES: tuple[Rule, ...] = data.RULES
PLANT_RULES: tuple[Rule, ...] = (
    *stopped.RULES,
    *cycling.RULES,
    *defrost.RULES,
    *flow.RULES,
    *electric.RULES,
    *heat.RULES,
    *hot_water.RULES,
)
RULES: tuple[Rule, ...] = (*DATA_RULES, *PLANT_RULES)

# Rules that do not need the operating state. All others are withheld where it can't be derived.
_WITHOUT_OPERATING_STATE = frozenset(
    {
        "pressure_falling",
        "pressure_low",
        "room_below_target",
        "frost_risk",
        "hot_water_shortfall",
        "pasteurisation_missed",
        "backup_heater_use",
        "immersion_use",
        "water_too_hot",
        "disinfection_lacking",
        "pressure_high",
        "pressure_swings",
        "unit_stopped",
        "fault_reported",
    }
)


# Compares the measured heat loss with the design: not valid where another source heats the house too.
_AGAINST_HOUSE = frozenset({"heat_loss_below_design"})

# Says that heat is missing over the electricity, by the heat meter's word.
_AGAINST_METER = frozenset({"efficiency_below_expected", "performance_below_promise"})


def judge(site: Site, facts: Facts, figures: Figures, codes: frozenset[str] | None = None) -> Judgement:
    """Run all rules: data rules first, then exclusions, then the rules on the plant.

    A rule that reads a quantity which a data finding marks as unreliable is withheld, with the reason.
    Exclusions are found from reliable quantities only; each rule judges the days that no exclusion covers.

    codes : run only these rules on the plant; their findings equal those of a full run
    """
    every_day = Context(site, facts, facts, figures)
    missing: list[NotAssessedCode] = []
    found, unreliable = _judge_data(every_day, missing)
    facts = without_rooms(facts, unreliable)
    every_day = replace(every_day, facts=facts, all_days=facts)
    exclusions = replace(
        find_exclusions(site, facts, unreliable), still=every_day.once_for_all_days(still_days)
    )
    base = replace(every_day, recognised=exclusions.periods, unreliable=unreliable)
    basis = _basis_of_operating_state(base)
    contexts: dict[int, Context] = {}
    for rule in PLANT_RULES:
        if codes is not None and rule.code not in codes:
            continue
        reads = rule.reads if rule.code in _WITHOUT_OPERATING_STATE else rule.reads | basis
        judged = exclusions.facts_for(rule.code, reads)
        context = contexts.setdefault(id(judged), replace(base, facts=judged))
        finding = _run(rule, context, reads, missing)
        if finding is not None:
            finding = without_blame(site, facts.days, _with_true_start(rule, context, every_day, finding))
            finding = graded_by_confidence(context, finding)
            found.append(weighed_against_meter(context, finding) if rule.code in _AGAINST_METER else finding)
    found = [with_other_explanations(base, finding) for finding in found]
    found.sort(key=lambda f: (-SEVERITIES.index(f.severity), -f.confidence, f.code))
    told = [with_passed_limits(with_known_evidence(f)) for f in explained(found)]
    findings = without_conflicts(without_consequences(told))
    changed: tuple[Recognised, ...] = ()
    if codes is None and not unreliable:
        usual = exclusions.facts_for("efficiency_fell", frozenset())
        changed = changed_habits(replace(base, facts=usual))
    return Judgement(findings, tuple(missing), (*exclusions.periods, *changed), unreliable)


def _judge_data(
    every_day: Context, missing: list[NotAssessedCode]
) -> tuple[list[Finding], dict[str, Finding]]:
    """Findings on the data, and the quantities that they mark as unreliable."""
    found: list[Finding] = []
    unreliable: dict[str, Finding] = {}
    for rule in DATA_RULES:
        context = replace(every_day, unreliable=unreliable)
        finding = _run(rule, context, rule.reads, missing)
        if finding is None:
            continue
        found.append(finding)
        if rule.makes_unreliable is not None and SEVERITIES.index(finding.severity) >= 1:
            unreliable = dict.fromkeys(rule.makes_unreliable(context, finding), finding) | unreliable
    return found, unreliable


def _with_true_start(rule: Rule, context: Context, every_day: Context, finding: Finding) -> Finding:
    """Move `since` into the settling-in weeks where the finding already held in them.

    These weeks are not judged, but they are measured.
    """
    first = context.days.day(0).isoformat()
    settled = any(r.kind == "settling_in" and r.until < first for r in context.recognised)
    if finding.since != first or not settled:
        return finding
    try:
        earlier = rule.run(replace(context, facts=every_day.facts))
    except NotAssessed:
        return finding
    return replace(finding, since=earlier.since) if earlier and earlier.since < first else finding


def _run(
    rule: Rule, context: Context, reads: frozenset[str], missing: list[NotAssessedCode]
) -> Finding | None:
    touched = sorted(reads & context.unreliable.keys())
    if rule.by_day:
        touched = [q for q in touched if not _a_little_late(context, q)]
    if rule.code in _JUDGED_IN_DOUBT:
        touched = [q for q in touched if context.unreliable[q].code in _NO_SIGNAL]
    try:
        if (absent := not_fitted(rule.code, context.site)) is not None:
            raise NotAssessed(absent, "not_applicable")
        if (declared := withheld(context.site, context.all_days.days, rule.code)) is not None:
            raise declared
        if touched:
            culprit = context.unreliable[touched[0]]
            raise NotAssessed(f"withheld: {distrust(touched[0], culprit)}", "distrusted")
        if rule.code in _AGAINST_HOUSE:
            if (other := too_much_other_heat(context)) is not None:
                raise NotAssessed(other, "other_source")
            if (why := rooms_among_hot_water(context) or doubt(context)) is not None:
                raise NotAssessed(why, "distrusted")
        return rule.run(context)
    except NotAssessed as reason:
        missing.append(NotAssessedCode(rule.code, str(reason), reason.code))
        return None


def _a_little_late(context: Context, quantity: str) -> bool:
    """Whether a quantity is distrusted for a clock alone that is off by so little that sums of days stay."""
    off = minutes_off(context.unreliable[quantity])
    return off is not None and off <= context.limit("clock_day_minutes")


def _basis_of_operating_state(context: Context) -> frozenset[str]:
    """Quantities from which `analysis.minutes.operating_state` derives the operating state."""
    days = context.all_days.days

    def measured(quantity: str, spacing_min: float = 1e9) -> bool:
        name = f"spacing.{quantity}"
        return name in days and bool((days[name] <= spacing_min).any())

    if measured("compressor_speed", 5.0):
        running = "compressor_speed"
    elif measured("heat_pump_electricity"):
        running = "heat_pump_electricity"
    else:
        running = "operating_mode" if measured("operating_mode") else "heat_output"
    basis = {running, "operating_mode"}
    if not (measured("operating_mode") or measured("defrost_active")):
        basis.add("heat_output")  # defrosts are detected from it
    culprit = context.unreliable.get("heat_output")
    if culprit is not None and culprit.code in _NO_SIGNAL and measured("heat_output", 5.0):
        basis.add("heat_output")  # a low draw counts as running only where the heat meter confirms it
    return frozenset(basis)


# A meter that is some percent off still shows when there is heat; one in another unit, or stuck, does not.
_NO_SIGNAL = ("unit_mismatch", "sensor_stuck")
# A unit that may be dead is reported despite doubtful meters, unless these show no signal at all.
_JUDGED_IN_DOUBT = frozenset({"unit_stopped"})
