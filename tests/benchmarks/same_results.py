"""Check that a code change leaves results unchanged: stores and compares facts and results of simulated
plants.

    python -m tests.benchmarks.same_results keep FILE [--plants 12] [--days 60]     # before the change
    python -m tests.benchmarks.same_results compare FILE                            # after it

Prints the largest relative difference of any number and the first places that differ otherwise. Returns 1
where something other than a number differs, or a number by more than WITHIN.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from datetime import date, timedelta
from math import isnan
from pathlib import Path
from typing import Any

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import analyse
from fieldfare.collector.simulated.plant import random_plant, simulate

FIRST = date(2024, 11, 20)
KINDS = ("days", "runs", "defrosts", "reheats", "notices", "rests", "faults")
WITHIN = 1e-9


def documents(plants: int, days: int) -> dict[str, Any]:
    """Facts and result document by plant; every other one has every meter there is."""
    made = {}
    for n in range(plants):
        simulated = simulate(random_plant(9100 + n, meter_set=None if n % 2 else "rich"), FIRST, days)
        site, last = parse_site(simulated.site_toml), FIRST + timedelta(days - 1)
        facts = build_facts(site, simulated.readings, FIRST, last)
        tables = {kind: getattr(facts, kind) for kind in KINDS}
        columns = {k: {name: t[name].tolist() for name in t.names} for k, t in tables.items()}
        contents = {"facts": columns, "result": analyse(site, facts, FIRST, last).as_dict()}
        made[site.id] = json.loads(json.dumps(contents, default=str))
    return made


def differences(old: Any, new: Any, path: str = "") -> Iterator[tuple[str, float]]:
    """(place, relative difference) of all that differs; infinite where not both are known numbers."""
    if isinstance(old, dict) and isinstance(new, dict) and old.keys() == new.keys():
        for name in old:
            yield from differences(old[name], new[name], f"{path}/{name}")
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for n, pair in enumerate(zip(old, new, strict=True)):
            yield from differences(*pair, f"{path}/{n}")
    elif isinstance(old, float) and isinstance(new, float) and old != new:
        if not (isnan(old) and isnan(new)):
            by = abs(old - new) / max(abs(old), abs(new))
            yield path, float("inf") if isnan(by) else by
    elif old != new:
        yield path, float("inf")


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("act", choices=("keep", "compare"))
    parser.add_argument("file", type=Path)
    parser.add_argument("--plants", type=int, default=12)
    parser.add_argument("--days", type=int, default=60)
    args = parser.parse_args()
    if args.act == "keep":
        kept = {"days": args.days, "documents": documents(args.plants, args.days)}
        args.file.write_text(json.dumps(kept), encoding="utf-8")
        return 0
    kept = json.loads(args.file.read_text(encoding="utf-8"))
    found = list(differences(kept["documents"], documents(len(kept["documents"]), kept["days"])))
    for place, by in [f for f in found if f[1] > WITHIN][:20]:
        print(f"{place}: {by:.3g}")
    most = max((by for _, by in found), default=0.0)
    print(
        f"{len(kept['documents'])} documents: {len(found)} values differ, by up to {most:.3g} of their size"
    )
    return 1 if most > WITHIN else 0


if __name__ == "__main__":
    sys.exit(main())
