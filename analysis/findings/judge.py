"""Runs every finding over the facts and figures of a period."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.findings import exclusions as recognised
from fieldfare.analysis.findings.consistency import with_passed_limits, without_conflicts
from fieldfare.analysis.findings.context import Context, Rule
from fieldfare.analysis.findings.cycling import rules as cycling_rules
from fieldfare.analysis.findings.data import rules as data_rules
from fieldfare.analysis.findings.data.misplaced import doubt
from fieldfare.analysis.findings.data.unreliable_rooms import without_rooms
from fieldfare.analysis.findings.excuses import not_fitted
from fieldfare.analysis.findings.heat import promise
from fieldfare.analysis.findings.heat import rules as heat_rules
from fieldfare.analysis.findings.hot_water import rules as hot_water_rules
from fieldfare.analysis.findings.model import (
    SEVERITIES,
    Finding,
    NotAssessedCode,
    Recognised,
)
from fieldfare.analysis.findings.stopped import rules as running
from fieldfare.analysis.plant.site import Site

if TYPE_CHECKING:
    from fieldfare.analysis.figures.period import Figures


class Judgement(NamedTuple):
    """findings, worst first; what could not be assessed; what was unusual but no fault; and the quantities
    that can't be trusted, each with the finding that says so"""

    findings: tuple[Finding, ...]
    not_assessed: tuple[NotAssessedCode, ...]
    recognised: tuple[Recognised, ...]
    spoiled: dict[str, Finding]


DATA_RULES: tuple[Rule, ...] = data_rules.RULES
PLANT_RULES: tuple[Rule, ...] = (
    *running.RULES,
    *cycling_rules.RULES,
    *heat_rules.RULES,
    *hot_water_rules.RULES,
)
RULES: tuple[Rule, ...] = (*DATA_RULES, *PLANT_RULES)

# Findings that need not know when the unit ran and what for; all others are withheld where that can't be
# told.
_WITHOUT_USE = frozenset(
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


# What the house needs is compared with its design: not where something else heats it too.
_AGAINST_HOUSE = frozenset({"heat_loss_below_design"})


def judge(site: Site, facts: Facts, figures: Figures, codes: frozenset[str] | None = None) -> Judgement:
    """Findings, worst first; what could not be assessed and why; and what was unusual but no fault.

    Findings about the data come first: what reads a quantity that one of them makes untrustworthy is
        withheld, with the
    reason. Then what is unusual is recognised, from quantities that can be trusted; each finding judges the
    days on which nothing excuses it.
    codes : of the findings about the plant only these are run; they come out as among all others
    """
    whole = Context(site, facts, facts, figures)
    found: list[Finding] = []
    missing: list[NotAssessedCode] = []
    spoiled: dict[str, Finding] = {}
    for rule in DATA_RULES:
        known = replace(whole, spoiled=spoiled)
        finding = _run(rule, known, rule.reads, missing)
        if finding is None:
            continue
        found.append(finding)
        if rule.spoils is not None and SEVERITIES.index(finding.severity) >= 1:
            spoiled = dict.fromkeys(rule.spoils(known, finding), finding) | spoiled
    facts = without_rooms(facts, spoiled)
    whole = replace(whole, facts=facts, whole=facts)
    unusual = recognised.recognise(site, facts, spoiled)
    sound = replace(whole, recognised=unusual.spells, spoiled=spoiled)
    basis = _basis_of_use(sound)
    contexts: dict[int, Context] = {}
    for rule in PLANT_RULES:
        if codes is not None and rule.code not in codes:
            continue
        judged = unusual.facts_for(rule.code)
        plant = contexts.setdefault(id(judged), replace(sound, facts=judged))
        reads = rule.reads if rule.code in _WITHOUT_USE else rule.reads | basis
        finding = _run(rule, plant, reads, missing)
        if finding is not None:
            found.append(_as_it_began(rule, plant, whole, finding))
    found.sort(key=lambda f: (-SEVERITIES.index(f.severity), -f.confidence, f.code))
    told = without_conflicts([with_passed_limits(f) for f in promise.explained(found)])
    return Judgement(told, tuple(missing), unusual.spells, spoiled)


def _as_it_began(rule: Rule, plant: Context, whole: Context, finding: Finding) -> Finding:
    """The finding with the day on which it began, where that lies in the first weeks, which are not judged
    but were seen."""
    first = plant.days.day(0).isoformat()
    settled = any(r.kind == "settling_in" and r.until < first for r in plant.recognised)
    if finding.since != first or not settled:
        return finding
    try:
        earlier = rule.run(replace(plant, facts=whole.facts))
    except NotAssessed:
        return finding
    return replace(finding, since=earlier.since) if earlier and earlier.since < first else finding


def _run(
    rule: Rule, context: Context, reads: frozenset[str], missing: list[NotAssessedCode]
) -> Finding | None:
    touched = sorted(reads & context.spoiled.keys())
    if rule.code in _JUDGED_IN_DOUBT:
        touched = [q for q in touched if context.spoiled[q].code in _NO_SIGNAL]
    try:
        if (absent := not_fitted(rule.code, context.site)) is not None:
            raise NotAssessed(absent, "not_applicable")
        if touched:
            culprit = context.spoiled[touched[0]]
            raise NotAssessed(f"withheld: {distrust(touched[0], culprit)}", "distrusted")
        if rule.code in _AGAINST_HOUSE and (why := recognised.too_much_other_heat(context) or doubt(context)):
            raise NotAssessed(why)
        return rule.run(context)
    except NotAssessed as reason:
        missing.append(NotAssessedCode(rule.code, str(reason), reason.code))
        return None


def _basis_of_use(context: Context) -> frozenset[str]:
    """The quantities by which `fieldfare.analysis.minutes.operating_state` tells when the unit ran and what
    for."""
    days = context.whole.days

    def measured(quantity: str, spacing_min: float = 1e9) -> bool:
        name = f"spacing.{quantity}"
        return name in days and bool((days[name] <= spacing_min).any())

    if measured("compressor_speed", 5.0):
        running = "compressor_speed"
    elif measured("heat_pump_electricity"):
        running = "heat_pump_electricity"
    else:
        running = "operating_mode" if measured("operating_mode") else "heat_output"
    told = {running, "operating_mode"}
    if not (measured("operating_mode") or measured("defrost_active")):
        told.add("heat_output")  # by which defrosts are seen
    culprit = context.spoiled.get("heat_output")
    if culprit is not None and culprit.code in _NO_SIGNAL and measured("heat_output", 5.0):
        told.add("heat_output")  # a lesser draw counts as running only where the heat meter says so too
    return frozenset(told)


# A meter that is some percent off still says when there is heat; one in another unit, or stuck, does not.
_NO_SIGNAL = ("unit_mismatch", "sensor_stuck")
# A unit that may be dead is told in spite of doubts about its meters, unless these show no signal at all.
_JUDGED_IN_DOUBT = frozenset({"unit_stopped"})


def distrust(quantity: str, culprit: Finding) -> str:
    """Why a quantity's readings can't be used, in a few words."""
    return f"{quantity} can't be trusted ({culprit.code} since {culprit.since})"
