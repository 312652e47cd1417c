"""Accuracy of figures against the truth of simulated plants that were not used for development.

    python -m tests.benchmarks.accuracy --seeds 100000:100040 --days 200

Two passes: meters without class errors (the method's own error), and meters whose errors are drawn within
    their class
(do the 95 % intervals hold the truth). Prints a table; --json FILE keeps every row.
"""

from __future__ import annotations

import argparse
import json
from concurrent.futures import ProcessPoolExecutor
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import analyse
from fieldfare.collector.simulated.plant import random_plant, simulate


def one(task: tuple[int, int, bool, str | None]) -> dict[str, Any]:
    """Simulate one plant and compare its result with the truth."""
    seed, days, errors, meters = task
    start = date(2023, 10, 1) + timedelta(seed % 20)
    sim = simulate(random_plant(seed, meter_set=meters, meter_errors=errors), start, days)
    site = parse_site(sim.site_toml)
    last = start + timedelta(days - 1)
    document = analyse(site, build_facts(site, sim.readings, start, last), start, last).as_dict()
    truth = sim.truth
    row: dict[str, Any] = {"seed": seed, "errors": errors, "points": len(sim.readings), "site": site.id}
    for name in ("H2", "H3", "H4"):
        row[name] = _compared(document["performance"][name], truth.spf[name])
    row["coefficient"] = _compared(document["heat_loss"]["coefficient_w_per_k"], truth.htc_w_per_k)
    row["heat_loss_reason"] = document["heat_loss"]["reason"]
    row["starts"] = _counted(document["cycling"]["starts"], len(truth.starts))
    row["defrosts"] = _counted(document["defrost"]["count"], len(truth.defrosts))
    row["reheats"] = _counted(document["hot_water"]["reheats"], len(truth.reheats))
    for name, theirs in (("space_heating", "elec_space"), ("hot_water", "elec_hot_water")):
        row[f"e_{name}"] = _counted(document["energy"]["electricity_kwh"][name], truth.kwh[theirs])
    for name, theirs in (("space_heating", "heat_space"), ("hot_water", "heat_hot_water")):
        row[f"q_{name}"] = _counted(document["energy"]["heat_kwh"][name], truth.kwh[theirs])
    row["findings"] = [(f["code"], f["severity"]) for f in document["findings"]]
    return row


def _compared(estimate: dict[str, float] | None, truth: float | None) -> dict[str, float] | None:
    if estimate is None or truth is None:
        return None
    return {
        "error": estimate["value"] / truth - 1.0,
        "held": float(estimate["low"] <= truth <= estimate["high"]),
        "width": (estimate["high"] - estimate["low"]) / 2.0 / estimate["value"],
    }


def _counted(ours: float | None, truth: float | None) -> dict[str, float] | None:
    if ours is None or not truth:
        return None
    return {"error": ours / truth - 1.0, "truth": float(truth)}


def table(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """One line a figure: how many, median and 90th percentile of the absolute error, share of intervals that
    hold."""
    out = []
    for name in rows[0]:
        cells = [r[name] for r in rows if isinstance(r[name], dict)]
        if not cells:
            continue
        error = np.abs([c["error"] for c in cells])
        line = {
            "figure": name,
            "plants": len(cells),
            "median": float(np.median(error)),
            "p90": float(np.quantile(error, 0.9)),
        }
        line["bias"] = float(np.median([c["error"] for c in cells]))
        if "held" in cells[0]:
            line["held"] = float(np.mean([c["held"] for c in cells]))
            line["width"] = float(np.median([c["width"] for c in cells]))
        out.append(line)
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="100000:100040")
    parser.add_argument("--days", type=int, default=200)
    parser.add_argument("--meters", default=None)
    parser.add_argument("--passes", default="exact,drawn")
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    first, last = (int(x) for x in args.seeds.split(":"))
    kept = {}
    with ProcessPoolExecutor(2) as pool:
        for name in args.passes.split(","):
            tasks = [(seed, args.days, name == "drawn", args.meters) for seed in range(first, last)]
            rows = list(pool.map(one, tasks))
            kept[name] = rows
            print(f"\nmeter errors {name}: {len(rows)} plants, {args.days} days")
            print(f"{'figure':<16}{'plants':>7}{'median':>9}{'p90':>9}{'bias':>9}{'held':>7}{'width':>8}")
            for line in table(rows):
                print(
                    f"{line['figure']:<16}{line['plants']:>7}{line['median']:>9.2%}"
                    + f"{line['p90']:>9.2%}{line['bias']:>+9.2%}"
                    + (f"{line['held']:>7.0%}{line['width']:>8.2%}" if "held" in line else "")
                )
    if args.json:
        args.json.write_text(json.dumps(kept, indent=1))


if __name__ == "__main__":
    main()
