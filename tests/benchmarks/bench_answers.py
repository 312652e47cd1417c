"""Answers to callers against simulated homes with a known cause: python -m tests.benchmarks.bench_answers.

Bills: each part of the split against the truth, and the part named. Complaints: the cause that binds; some at
homes of the development simulator.
--seeds A:B of plants nobody tuned to; --json FILE
keeps every row. Returns 1 where fewer than nine in ten are right.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from tests.benchmarks import answer_plants_c
from tests.benchmarks.answer_bills import CASES, BillOutcome, outcome
from tests.benchmarks.answer_complaints import COMPLAINTS, answer_of


def bills(seeds: range, only: str) -> list[dict[str, Any]]:
    rows = []
    for seed in seeds:
        for case in (c for c in CASES if only in c.name):
            found: BillOutcome = outcome(case, seed)
            change, parts = found.document["difference"]["kwh"], found.document["parts"]
            apart = abs(sum(p["kwh"]["value"] for p in parts) - change) if parts else 0.0
            rows.append(
                {
                    "case": case.name,
                    "seed": seed,
                    "wanted": case.part,
                    "named": found.named,
                    "right": found.right,
                    "held": sum(found.held.values()),
                    "parts": len(found.held),
                    "missed": [code for code, held in found.held.items() if not held],
                    "apart_kwh": apart,
                }
            )
            row = rows[-1]
            said = "ok" if row["right"] else f"named {row['named']}"
            print(
                f"{case.name:<62} {seed}  {said:<20} {row['held']}/{row['parts']} {' '.join(row['missed'])}",
                flush=True,
            )
    return rows


def complaints(seeds: range, only: str) -> list[dict[str, Any]]:
    rows = []
    for seed in seeds:
        for case in (c for c in COMPLAINTS if only in c.name):
            told = answer_of(case, seed)
            rows.append(_complaint(case.kind, case.name, seed, case.cause, told, is_right=case.right(told)))
        for cold in (c for c in answer_plants_c.CASES if only in c.name):
            told = answer_plants_c.answer_of(cold, seed)
            named = f"{cold.name} (plants_c)"
            is_right = told["binding"] == cold.cause
            rows.append(_complaint("cold", named, seed, cold.cause, told, is_right=is_right))
    return rows


def _complaint(
    kind: str, name: str, seed: int, wanted: str, told: dict[str, Any], *, is_right: bool
) -> dict[str, Any]:
    named = told["binding"]
    row = {"kind": kind, "case": name, "seed": seed, "wanted": wanted, "named": named, "right": is_right}
    said = "ok" if is_right else f"named {named}"
    print(f"{kind:<10} {name:<55} {seed}  {said}", flush=True)
    return row


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="1501:1502", metavar="A:B")
    parser.add_argument("--cases", default="", metavar="TEXT", help="only cases whose name contains it")
    parser.add_argument("--json", type=Path, metavar="FILE")
    args = parser.parse_args()
    first, last = (int(text) for text in args.seeds.split(":"))
    split, named = bills(range(first, last), args.cases), complaints(range(first, last), args.cases)
    held, parts = sum(r["held"] for r in split), sum(r["parts"] for r in split)
    right = sum(r["right"] for r in split)
    bound = sum(r["right"] for r in named)
    print(f"\nbills: {right} of {len(split)} named right; {held} of {parts} parts within their interval")
    print(f"complaints: {bound} of {len(named)} causes right")
    if args.json:
        args.json.write_text(json.dumps({"bills": split, "complaints": named}, indent=1))
    shares = [a / b for a, b in ((right, len(split)), (held, parts), (bound, len(named))) if b]
    return 0 if min(shares) >= 0.9 else 1


if __name__ == "__main__":
    sys.exit(main())
