"""No text makes hot water unsafe: checked in the sources, and in results of simulated plants with faults."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.findings.model import Finding
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import analyse
from fieldfare.analysis.reports.what_if import answer
from fieldfare.collector.simulated import plant as simulated_plant
from fieldfare.collector.simulated.faults import plant as faults_plant

ROOT = Path(__file__).parents[2]
ROOMS = ("analysis", "api", "dashboards")
WATER = r"(hot[- ]water|cylinder|stored? water|tank|disinfection|setpoint)"
LESS = r"(lower|reduce|turn down|pause|switch off|turn off|cut(?!-)|drop|decrease)"
ADVICE = re.compile(rf"\b{LESS}\b[^.;:]{{0,60}}\b{WATER}", re.IGNORECASE)
CLAIM = re.compile(
    r"\bgerms?\b|\bgerm-|steril|(free|rid) of (legionella|bacteria)|perfectly safe|kills (all|every)",
    re.IGNORECASE,
)
TO_DEGREES = re.compile(r"\b(set|lower|keep)\b[^.;]{0,50}?(\d\d(?:\.\d)?) ?°?C", re.IGNORECASE)
HOT_WATER_CODES = {
    "immersion_use",
    "slow_reheat",
    "reheat_incomplete",
    "hot_water_shortfall",
    "high_standing_loss",
    "pasteurisation_missed",
    "diverter_passing",
    "water_too_hot",
    "disinfection_lacking",
}
# What is said so that nobody does it, and what is about something else than the store's temperature.
SOUND = re.compile(r"\b(never|not|nobody|without|rather than)\b", re.IGNORECASE)
FAULTS = (
    ("immersion_use", "setpoint_above_reach"),
    ("reheat_incomplete", "setpoint_above_reach"),
    ("pasteurisation_missed", None),
    ("hot_water_shortfall", "cylinder_small"),
    ("high_standing_loss", "secondary_circulation"),
    ("slow_reheat", "flow_low"),
    ("diverter_passing", None),
    ("pressure_falling", None),
    ("pressure_low", None),
)


def texts(path: Path) -> Iterator[str]:
    """Every text of a source file but its docstrings; what is put into an f-string shows as a dash."""
    nodes = list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))
    passed = {id(node.value) for node in nodes if isinstance(node, ast.Expr)}
    passed |= {id(part) for node in nodes if isinstance(node, ast.JoinedStr) for part in node.values}
    for node in nodes:
        if isinstance(node, ast.JoinedStr):
            yield "".join(str(p.value) if isinstance(p, ast.Constant) else "–" for p in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in passed:
            yield node.value


def sentences(text: str) -> list[str]:
    return re.split(r"(?<=[.;:])\s", text)


def unsafe(text: str) -> list[str]:
    """Sentences that claim what nobody can, or advise less hot water."""
    return [s for s in sentences(text) if CLAIM.search(s) or (ADVICE.search(s) and not SOUND.search(s))]


@pytest.mark.parametrize("room", ROOMS)
def test_no_text_in_the_sources_is_unsafe(room: str) -> None:
    bad = [
        f"{path.relative_to(ROOT)}: {sentence}"
        for path in sorted((ROOT / room).rglob("*.py"))
        for text in texts(path)
        for sentence in unsafe(text)
    ]
    bad += [
        f"{path.relative_to(ROOT)}: {line.strip()}"
        for path in sorted((ROOT / room).rglob("*.html"))
        for line in path.read_text(encoding="utf-8").splitlines()
        if CLAIM.search(line)
    ]
    assert not bad


@pytest.mark.parametrize(
    "text",
    [
        "Lower the hot-water setpoint to what the heat pump reaches.",
        "Hot water is free of bacteria.",
        "Turn down the cylinder to 45 °C.",
        "It keeps the water free of germs.",
        "You may pause the hot water.",
    ],
)
def test_the_search_finds_what_it_is_for(text: str) -> None:
    assert unsafe(text)


def told(code: str, cause: str | None, seed: int) -> list[Finding]:
    spec = simulated_plant.with_fault(
        simulated_plant.random_plant(seed, meter_set="full", hot_water=True), code, cause, "gross"
    )
    first = date(2023, 11, 1)
    sim = simulated_plant.simulate(spec, first, 42)
    site = parse_site(sim.site_toml)
    last = first + timedelta(41)
    return list(analyse(site, build_facts(site, sim.readings, first, last), first, last).findings)


@pytest.mark.parametrize(
    ("seed", "fault"), list(enumerate(FAULTS, 420)), ids=lambda v: v[0] if isinstance(v, tuple) else str(v)
)
def test_what_a_faulty_plant_is_told_is_safe(seed: int, fault: tuple[str, str | None]) -> None:
    code, cause = fault
    if faults_plant.unfit(simulated_plant.random_plant(seed, meter_set="full", hot_water=True), code, cause):
        pytest.fail(f"seed {seed} can't have {code}")
    findings = told(code, cause, seed)
    assert code in {f.code for f in findings if f.severity != "note"}
    for found in findings:
        for text in (found.headline, found.next_step, found.home):
            assert not unsafe(text), found.code
        assert not CLAIM.search(found.caution)
        if found.code not in HOT_WATER_CODES:
            continue
        assert "Legionella" in found.caution, found.code
        assert "50 °C at the tap on water scalds" in found.caution, found.code
        for _, degrees in TO_DEGREES.findall(found.next_step):
            assert float(degrees) >= 50.0, found.next_step
        for evidence in found.evidence:
            if evidence.limit_name is not None and evidence.limit is not None and found.severity != "note":
                value = float(evidence.value)  # type: ignore[arg-type]
                assert value >= evidence.limit if evidence.side == "above" else value <= evidence.limit, (
                    evidence
                )


def test_the_what_if_warns_from_fifty_degrees_on() -> None:
    spec = simulated_plant.random_plant(431, meter_set="full", hot_water=True)
    first = date(2023, 11, 1)
    sim = simulated_plant.simulate(spec, first, 14)
    site = parse_site(sim.site_toml)
    last = first + timedelta(13)
    facts = build_facts(site, sim.readings, first, last)
    result = analyse(site, facts, first, last).as_dict()
    for wanted in (40.0, 45.0, 49.0, 50.0, 55.0, 65.0):
        given = answer(site, facts, result, "hot_water_c", wanted)
        assert "Legionella" in given["caution"]
        assert ("scalds" in given["caution"]) is (wanted >= 50.0)
        growth = next(limit for limit in given["limits"] if "Legionella" in limit["limit"])
        assert growth["holds"] is (wanted >= 50.0)
