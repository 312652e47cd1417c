"""Alerts over a simulated season: how many a day, how many false, how late.

python -m tests.benchmarks.bench_alerts [--systems 100] [--days 210] [--out FILE]
Simulates systems, a share of them with one fault that begins in the middle, works out each night's findings
as the service does, takes them into alerts, and compares with the faults that were switched on. Prints a
table, writes JSON.
"""

from __future__ import annotations

import argparse
import json
import os
import tempfile
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, date, datetime, timedelta
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parents[2]
FIRST = date(2024, 10, 1)
FAULTY_SHARE = 0.4
EVERY_S = 300
SETTLE_DAYS = 30
"""Days before the first night: a new site says little before."""


def season_of(seed: int, days: int, nights: int) -> dict[str, Any]:
    """One system: its fault, and what each looked-at night found. nights : how many days lie between two
    looks"""
    from fieldfare.analysis.facts.build import build_facts
    from fieldfare.analysis.plant.load import parse_site
    from fieldfare.analysis.reports.result import analyse
    from fieldfare.collector.simulated.faults.plant import codes
    from fieldfare.collector.simulated.plant import random_plant, simulate, with_fault

    draw = np.random.default_rng(seed)
    spec = random_plant(seed, None, "rich", every_s=EVERY_S)
    fault, begins = None, None
    if draw.random() < FAULTY_SHARE:
        fault = str(draw.choice([c for c in codes() if c in FAULTS]))
        begins = FIRST + timedelta(days=int(draw.integers(SETTLE_DAYS, days * 2 // 3)))
        try:
            spec = with_fault(spec, fault, None, "plain", begins)
        except ValueError:  # the fault does not fit this plant: it stays healthy
            fault, begins = None, None
    made = simulate(spec, FIRST, days)
    site = parse_site(made.site_toml)
    facts = build_facts(site, made.readings, FIRST, FIRST + timedelta(days=days - 1))
    looks = []
    for n in range(SETTLE_DAYS, days, nights):
        last = FIRST + timedelta(days=n)
        found = analyse(site, facts, FIRST, last).as_dict()["findings"]
        slim = [
            {k: f[k] for k in ("code", "severity", "headline", "since", "until", "confidence")} for f in found
        ]
        looks.append((n, slim))
    return {
        "seed": seed,
        "site": site.id,
        "file": made.site_toml,
        "fault": fault,
        "begins": begins,
        "looks": looks,
    }


FAULTS = (
    "short_cycling",
    "excessive_defrost",
    "flow_temperature_above_curve",
    "falling_flow",
    "backup_heater_use",
    "immersion_use",
    "high_standby",
    "pump_always_on",
    "efficiency_fell",
    "slow_reheat",
    "high_standing_loss",
    "pressure_falling",
    "low_flow",
    "reheat_incomplete",
    "buffer_mixing",
)
# Findings that are the same fault seen from another side.
KIN = {
    "falling_flow": {"low_flow"},
    "low_flow": {"falling_flow", "efficiency_below_expected"},
    "excessive_defrost": {"efficiency_fell", "efficiency_below_expected"},
    "efficiency_fell": {"efficiency_below_expected"},
    "pressure_falling": {"pressure_low"},
    "slow_reheat": {"reheat_incomplete", "hot_water_shortfall"},
    "reheat_incomplete": {"slow_reheat", "hot_water_shortfall"},
    "high_standing_loss": {"hot_water_shortfall"},
    "buffer_mixing": {"room_below_target", "efficiency_below_expected"},
    "backup_heater_use": {"efficiency_below_expected"},
}


def alerts_of(seasons: list[dict[str, Any]], folder: Path) -> list[dict[str, Any]]:
    """Every opening, reopening and worsening of all systems, by the service's own alerts."""
    from fieldfare.analysis.plant.load import parse_site
    from fieldfare.api.alerts.alerts import Alerts
    from fieldfare.api.core.service import opened
    from fieldfare.api.core.settings import Settings

    told = []
    with opened(Settings(data=folder)) as service:
        alerts = Alerts(service.database)
        for season in seasons:
            service.sites.add([(season["file"], parse_site(season["file"]))])
            for n, found in season["looks"]:
                now = datetime.combine(FIRST, datetime.min.time(), UTC) + timedelta(
                    days=n + 1, hours=3, minutes=10
                )
                for happened in alerts.look(season["site"], found, now):
                    code = alerts.get(happened.alert).code if happened.what != "resolved" else ""
                    told.append(
                        {
                            "seed": season["seed"],
                            "day": n,
                            "what": happened.what,
                            "code": code,
                            "severity": happened.severity,
                        }
                    )
    return told


def judged(seasons: list[dict[str, Any]], told: list[dict[str, Any]]) -> dict[str, Any]:
    """False: an alert of a healthy system, or of a code that is not the fault's or its kin, or before it
    began."""
    by_seed = {s["seed"]: s for s in seasons}
    fresh = [t for t in told if t["what"] in ("opened", "reopened", "worsened")]
    false, late = [], []
    found: dict[int, int] = {}
    for t in fresh:
        season = by_seed[t["seed"]]
        fault, begins = season["fault"], season["begins"]
        fits = fault is not None and t["code"] in {fault, *KIN.get(fault, set())}
        if fits and FIRST + timedelta(days=t["day"]) >= begins:
            found.setdefault(t["seed"], t["day"])
        else:
            false.append(t)
    for seed, day in found.items():
        late.append(day - (by_seed[seed]["begins"] - FIRST).days)
    faulty = [s for s in seasons if s["fault"]]
    return {
        "alerts": len(fresh),
        "false": len(false),
        "false_by_code": dict(Counter(f["code"] for f in false).most_common()),
        "faulty": len(faulty),
        "found": len(found),
        "missed": dict(Counter(s["fault"] for s in faulty if s["seed"] not in found).most_common()),
        "median_days_to_alert": float(np.median(late)) if late else None,
        "false_ones": [
            {**f, "fault": by_seed[f["seed"]]["fault"], "begins": str(by_seed[f["seed"]]["begins"])}
            for f in false
        ],
        "missed_ones": [[s["seed"], s["fault"]] for s in faulty if s["seed"] not in found],
        "reopened": sum(t["what"] == "reopened" for t in told),
    }


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--systems", type=int, default=100)
    parser.add_argument("--days", type=int, default=210)
    parser.add_argument("--every", type=int, default=1, help="nights between two looks (default 1)")
    parser.add_argument("--first-seed", type=int, default=9001)
    parser.add_argument(
        "--json", "--out", dest="out", type=Path, default=ROOT / "bench-results" / "alerts.json"
    )
    args = parser.parse_args()
    began = time.perf_counter()
    seeds = range(args.first_seed, args.first_seed + args.systems)
    with ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn")) as pool:
        waiting = [pool.submit(season_of, seed, args.days, args.every) for seed in seeds]
        seasons = [done.result() for done in waiting]
    with tempfile.TemporaryDirectory() as folder:
        told = alerts_of(seasons, Path(folder))
    result = judged(seasons, told)
    system_days = args.systems * (args.days - SETTLE_DAYS)
    result |= {
        "systems": args.systems,
        "days": args.days,
        "seconds": round(time.perf_counter() - began, 1),
        "alerts_a_day": result["alerts"] / (args.days - SETTLE_DAYS),
        "false_in_100_systems_and_30_days": result["false"] / system_days * 3000,
    }
    for name, value in result.items():
        print(f"{name:<34}{value if not isinstance(value, float) else format(value, '.3g')}")
    args.out.parent.mkdir(parents=True, exist_ok=True)
    args.out.write_text(json.dumps(result, indent=1), encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
