"""Form and evaluation of a situation, and discovery of all situations.

To add situations, write a module in this package with a list `SITUATIONS` of `Situation`. Each names its
truth in one
line, makes a site file and readings, and says which findings must be told, with the least severity, and
which must not.
"""

from __future__ import annotations

import importlib
import json
import pkgutil
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import tests.situations
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.findings.model import SEVERITIES, Finding, Severity
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.readings import Readings
from fieldfare.analysis.reports.result import analyse
from fieldfare.analysis.reports.verdict import verdict

BEFORE = Path(__file__).parent / "before.json"


@dataclass(frozen=True)
class Made:
    """A site file, its readings in the points' units, and the local days first..last that are judged."""

    site_text: str
    readings: Readings
    first: date
    last: date


@dataclass(frozen=True)
class Situation:
    """One situation.

    name : kebab-case, unique. truth : what an engineer on site would find, in one line. make : gives site
    and readings
    expects : code -> least severity. causes : code -> the cause that must rank first
    one_of : codes of which one at least must be told, and its least severity
    verdict : words of which the home's verdict must be one; nothing is asked where empty
    forbids : codes that must not be told above a note. silent : nothing may be told above a note
    allows : codes that are true here too, and no matter of this situation
    words : code -> text that its headline must contain. slow : left to `make bench`
    """

    name: str
    truth: str
    make: Callable[[], Made]
    expects: Mapping[str, Severity] = field(default_factory=dict)
    causes: Mapping[str, str] = field(default_factory=dict)
    one_of: tuple[frozenset[str], Severity] | None = None
    verdict: frozenset[str] = frozenset()
    forbids: frozenset[str] = frozenset()
    silent: bool = False
    allows: frozenset[str] = frozenset()
    words: Mapping[str, str] = field(default_factory=dict)
    slow: bool = False


@dataclass(frozen=True)
class Outcome:
    """What was said of a situation, and what was wrong with it; nothing is wrong where `wrong` is empty."""

    situation: Situation
    findings: tuple[Finding, ...]
    wrong: tuple[str, ...]
    verdict: str = ""

    @property
    def said(self) -> str:
        """The findings above a note in a few words, worst first."""
        told = [_named(f) for f in self.findings if f.severity != "note"]
        return ", ".join(told) if told else "nothing above a note"

    @property
    def row(self) -> str:
        """What was said, with the verdict where the situation asks for one."""
        return f"{self.said} [{self.verdict}]" if self.situation.verdict else self.said


def run(situation: Situation) -> Outcome:
    """Analyse a situation's readings and compare what is said with what must be said."""
    made = situation.make()
    site = parse_site(made.site_text)
    facts = build_facts(site, made.readings, made.first, made.last)
    result = analyse(site, facts, made.first, made.last)
    word = str(verdict(site, result)["verdict"])
    return Outcome(situation, result.findings, tuple(_wrong(situation, result.findings, word)), word)


def _wrong(situation: Situation, findings: tuple[Finding, ...], word: str) -> Iterator[str]:
    if situation.verdict and word not in situation.verdict:
        yield f"the verdict is {word}, not one of {', '.join(sorted(situation.verdict))}"
    if situation.one_of is not None:
        codes, least = situation.one_of
        told = [
            f for f in findings if f.code in codes and SEVERITIES.index(f.severity) >= SEVERITIES.index(least)
        ]
        if not told:
            yield f"none of {', '.join(sorted(codes))} is told as {least}"
    by_code = {f.code: f for f in findings}
    for code, least in situation.expects.items():
        found = by_code.get(code)
        if found is None:
            yield f"{code} is not told"
        elif SEVERITIES.index(found.severity) < SEVERITIES.index(least):
            yield f"{code} is only {found.severity}, not {least}"
    for code, cause in situation.causes.items():
        causes = by_code[code].causes if code in by_code else ()
        if code in by_code and (not causes or causes[0].cause != cause):
            yield f"the cause of {code} is {causes[0].cause if causes else 'not told'}, not {cause}"
    for code, text in situation.words.items():
        if code in by_code and text not in by_code[code].headline:
            yield f"the headline of {code} lacks {text!r}: {by_code[code].headline}"
    for found in findings:
        unwanted = situation.silent or found.code in situation.forbids
        if found.severity != "note" and unwanted and found.code not in situation.allows:
            yield f"{_named(found)} must not be told: {found.headline}"


def _named(found: Finding) -> str:
    causes = f" ({found.causes[0].cause})" if found.causes else ""
    return f"{found.severity} {found.code}{causes}"


def situations() -> list[Situation]:
    """Those of every module of this package that has a list `SITUATIONS`. Raises ValueError for a name used
    twice.
    """
    found: list[Situation] = []
    for module in sorted(m.name for m in pkgutil.iter_modules(tests.situations.__path__)):
        if module != "__main__" and not module.startswith("test_"):
            found += getattr(importlib.import_module(f"tests.situations.{module}"), "SITUATIONS", [])
    names = [s.name for s in found]
    if twice := {name for name in names if names.count(name) > 1}:
        raise ValueError(f"names used twice: {', '.join(sorted(twice))}")
    return found


def expected(situation: Situation) -> str:
    """What must and must not be said, in a few words."""
    parts = [
        f"{least} {code}" + (f" ({situation.causes[code]})" if code in situation.causes else "")
        for code, least in situation.expects.items()
    ]
    if situation.one_of is not None:
        parts.append(f"{situation.one_of[1]} {' or '.join(sorted(situation.one_of[0]))}")
    parts += [f"verdict {' or '.join(sorted(situation.verdict))}"] if situation.verdict else []
    parts += ["nothing above a note"] if situation.silent else []
    parts += [f"no {code}" for code in sorted(situation.forbids)]
    return ", ".join(parts)


def said_before() -> dict[str, str]:
    """What was said of each situation at the commit that `before.json` names; `bench_situations --json` made
    it.

    Those of controls and recordings are of 615b8e3, the two of draws during charges of 29141b8,
    those of no_effect of 38938c8.
    """
    told: dict[str, str] = json.loads(BEFORE.read_text(encoding="utf-8"))["said"]
    return told


def table(outcomes: Iterable[Outcome]) -> str:
    """The outcomes as a Markdown table, with what was said before."""
    before = said_before()
    rows = ["| name | truth | said before | said | expected | pass |", "|---|---|---|---|---|---|"]
    for outcome in outcomes:
        s = outcome.situation
        passed = "no: " + "; ".join(outcome.wrong) if outcome.wrong else "yes"
        cells = (s.name, s.truth, before.get(s.name, "not known"), outcome.row, expected(s), passed)
        rows.append("| " + " | ".join(cell.replace("|", "/") for cell in cells) + " |")
    return "\n".join(rows)
