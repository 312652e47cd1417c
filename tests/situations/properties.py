"""Properties that hold of every result: searched for over simulated plants, healthy ones and one of each
fault.

    python -m tests.situations.properties --seeds 100:102 --cache DIR

- no two findings of one result move a setting in opposite directions;
- evidence of a finding above a note lies on the side of its limit on which the trouble is;
- no next step tells anyone to write a measured number into the site file, which holds what was designed;
- where valves are shut nothing raises the curve;
- a home is in order only where what matters was assessed.

Prints each violation with its plant. Exit status 1 where there is one.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from typing import Any

from fieldfare.analysis.findings.limits import LIMITS
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import analyse
from fieldfare.collector.simulated.faults import plant as faults_plant
from tests.benchmarks.confusion import Case, facts_of

ASKS = re.compile(r"\b(put|set|enter|write|correct|change|note|fill in)\b", re.IGNORECASE)
NUMBER = re.compile(r"\d\s*(°C|K|kW|kWh|W|bar|l|m3/h|%|min|h|mm|m2)(?![\w])")


def violations(document: dict[str, Any]) -> list[str]:
    """What of a result document breaks a property, a line each."""
    findings = document["findings"]
    return [*_opposite(findings), *_evidence(findings), *_advice(findings), *_verdict(document)]


def _opposite(findings: list[dict[str, Any]]) -> list[str]:
    told: dict[str, tuple[str, str]] = {}
    out = []
    for finding in findings:
        for setting, direction in finding.get("changes", ()):
            code, before = told.setdefault(setting, (finding["code"], direction))
            if before != direction:
                out.append(f"{code} would {before} the {setting}, {finding['code']} would {direction} it")
    return out


def tells_number_for_site_file(text: str) -> bool:
    """Whether a sentence asks for a number with its unit in the site file."""
    return any(
        "site file" in sentence and ASKS.search(sentence) and NUMBER.search(sentence)
        for sentence in re.split(r"(?<=[.;:!?])\s+", text)
    )


def _advice(findings: list[dict[str, Any]]) -> list[str]:
    out = []
    for finding in findings:
        step, causes = finding.get("next_step", ""), finding.get("causes") or [{"cause": ""}]
        if tells_number_for_site_file(step):
            out.append(f"{finding['code']} asks for a number in the site file: {step}")
        if causes[0]["cause"] == "zone_not_opening" and ["flow_temperature", "raise"] in _changes(finding):
            out.append(f"{finding['code']} raises the curve though valves are shut")
    return out


def _changes(finding: dict[str, Any]) -> list[list[str]]:
    return [list(change) for change in finding.get("changes", ())]


def _evidence(findings: list[dict[str, Any]]) -> list[str]:
    out = []
    for finding in findings:
        if finding["severity"] == "note":
            continue
        for e in finding["evidence"]:
            where = f"{finding['code']} ({finding['severity']}): {e['label']} {e['value']} {e['unit']}"
            if e["limit"] is None:
                continue
            if e["limit_name"] not in LIMITS:
                out.append(f"{where} has a limit without a name")
            elif isinstance(e["value"], int | float):
                # A value is rounded for people; half of its last digit decides nothing.
                slack = 0.02 * abs(e["limit"]) + 1e-9
                over = e["value"] - e["limit"] if e["side"] == "above" else e["limit"] - e["value"]
                if over < -slack:
                    out.append(f"{where} does not pass its limit {e['limit']} ({e['side']})")
    return out


def _verdict(document: dict[str, Any]) -> list[str]:
    told = document.get("verdict", {"verdict": ""})
    if told["verdict"] != "in_order":
        return []
    grave = [f["code"] for f in document["findings"] if f["severity"] != "note" and not f["until"]]
    out = [f"in order with {code} open" for code in grave]
    return out + [f"in order though {m} is missing" for m in told["missing"]]


def checked(case: Case) -> tuple[Case, list[str]]:
    """A case and what its result breaks; nothing where the plant can't have the fault."""
    try:
        toml, facts = facts_of(case)
    except ValueError:
        return case, []
    return case, violations(analyse(parse_site(toml), facts, case.start, case.last).as_dict())


def cases(first: int, last: int, days: int, cache: str | None) -> list[Case]:
    """A healthy plant and one of each fault and cause for every seed."""
    common: dict[str, Any] = {"days": days, "cache": cache}
    out = []
    for seed in range(first, last):
        out.append(Case(seed, None, None, "healthy", None, **common))
        for code in faults_plant.codes():
            out += [Case(seed, code, cause, "plain", None, **common) for cause in faults_plant.causes(code)]
    return out


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", default="100:102", help="A:B, B left out")
    parser.add_argument("--days", type=int, default=150)
    parser.add_argument("--cache", help="folder for simulated facts")
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    first, last = (int(x) for x in args.seeds.split(":"))
    chosen = cases(first, last, args.days, args.cache)
    broken: Counter[str] = Counter()
    with ProcessPoolExecutor(args.workers) as pool:
        for case, found in pool.map(checked, chosen):
            for line in found:
                print(f"seed {case.seed} {case.code or 'healthy'} {case.cause or ''}: {line}")
                broken[line.split(":")[0]] += 1
    print(f"{len(chosen)} plants, {sum(broken.values())} violations")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
