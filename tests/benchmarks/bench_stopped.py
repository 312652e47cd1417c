"""How soon a unit that stops is known: from its last heat to the alert, and how often a healthy unit is
called stopped.

python -m tests.benchmarks.bench_stopped [--json FILE] [--live N] [--plants N] [--meters NAME ...]
Live: readings through a real broker, the watch as scheduled, the alert. Replayed: the same stops at many
hours and in
many weathers, judged every five minutes. Healthy: simulated plants cut off at random moments. Times are
simulated time.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.findings.model import Finding
from fieldfare.analysis.minutes.grid import local_midnight
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Readings
from fieldfare.analysis.reports.result import analyse
from fieldfare.api.core.service import opened
from fieldfare.api.core.settings import Settings
from fieldfare.collector.simulated.plant import random_plant, simulate, with_oddity
from tests.services import broker
from tests.situations.house import USUAL, House
from tests.situations.live import lock_out, lose_supply, report_fault, time_to_alert, within_a_run

RICH = (*USUAL, "call", "target_flow", "fault")
METERINGS: dict[str, tuple[str, ...]] = {
    "all meters": RICH,
    "electricity, outdoors, room, flow": ("elec", "outdoor", "room", "flow"),
    "electricity, outdoors": ("elec", "outdoor"),
    "heat, outdoors": ("heat", "outdoor"),
    "heat": ("heat",),
}
STOPS = (("no supply", lose_supply), ("locked out", lock_out), ("locked out, with its code", report_fault))
WEEK = 8
WATCH_MIN = 15
"""The watch comes so often: what is judged every five minutes is told this much later at the most."""


def told(site: Site, readings: Readings, cut: int, first: date, last: date) -> Finding | None:
    """unit_stopped as the watch has it, from the readings before `cut` [ms]."""
    seen = {p: s.between(0, cut) for p, s in readings.items()}
    found = analyse(site, build_facts(site, seen, first, last), first, last).findings
    return next(
        (f for f in found if f.code == "unit_stopped" and f.until is None and f.severity != "note"), None
    )


def live(count: int) -> Iterator[dict[str, Any]]:
    """Stops through broker, collector, watch and alert."""
    with broker() as server:
        for name, stop in STOPS[:count]:
            with (
                tempfile.TemporaryDirectory() as folder,
                opened(Settings(data=Path(folder), workers=1)) as service,
            ):
                seen = time_to_alert(service, server, stop, mean_c=1.0, points=RICH)
                severity = seen.alert.severity if seen.alert else None
                yield {"stop": name, "minutes": seen.minutes, "severity": severity, "looks": seen.looks}


def replayed(
    hours: Sequence[float], means: Sequence[float], meterings: Sequence[str]
) -> Iterator[dict[str, Any]]:
    """Minutes from the last heat to the first five-minute look that tells, and that acts; at most six
    hours."""
    for name, stop in STOPS:
        for meters in meterings:
            points = METERINGS[meters]
            told_by = {lose_supply: "elec", report_fault: "fault"}.get(stop)
            if told_by is not None and told_by not in points:
                continue
            found = [_one(stop, points, mean, hour) for mean in means for hour in hours]
            yield {
                "stop": name,
                "meters": meters,
                "first": [f for f, _ in found],
                "act": [a for _, a in found],
            }


def _one(stop: Any, points: tuple[str, ...], mean: float, hour: float) -> tuple[float, float]:
    """Minutes to the first notice, of whatever severity, and to one that is to be acted on; inf where none
    came."""
    house = House(days=WEEK, mean_c=mean, points=points)
    begin = within_a_run(
        House(days=WEEK, mean_c=mean, points=("elec",)),
        int(house.time[0]) + int((WEEK * 24 + hour) * 3_600_000),
    )
    stop(house, house.time >= begin)
    made = house.made()
    site, last = parse_site(made.site_text), house.first + timedelta(WEEK - 1)
    first = np.inf
    for minutes in [*range(15, 75, 5), *range(75, 361, 15)]:
        found = told(site, made.readings, begin + minutes * 60_000, house.first, last)
        if found is not None:
            first = min(first, float(minutes))
            if found.severity != "watch":
                return first, float(minutes)
    return first, np.inf


def healthy(plants: int, looks: int) -> dict[str, Any]:
    """Healthy simulated plants, cut off at random moments of a month: how often one is called stopped."""
    starts = (date(2024, 10, 3), date(2024, 12, 20), date(2025, 1, 25), date(2025, 4, 5), date(2025, 7, 1))
    total, wrong = 0, []
    for seed in range(100_000, 100_000 + plants):
        draw = np.random.default_rng(seed)
        spec = random_plant(seed, every_s=[None, 60, 300, 900, 3600][int(draw.integers(0, 5))])
        spec = with_oddity(spec, "away") if seed % 4 == 3 else spec
        start = starts[seed % 5]
        made = simulate(spec, start, 30)
        site = parse_site(made.site_toml)
        for _ in range(looks):
            day = start + timedelta(int(draw.integers(WEEK, 29)))
            cut = local_midnight(site, day) + int(draw.integers(20, 1440)) * 60_000
            found = told(site, made.readings, cut, day - timedelta(WEEK - 1), day)
            total += 1
            if found is not None:
                wrong.append(
                    {"seed": seed, "day": day.isoformat(), "said": found.headline, "severity": found.severity}
                )
    return {"looks": total, "called_stopped": len(wrong), "which": wrong}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--live", type=int, default=len(STOPS), help="stops on a live broker (default all)")
    parser.add_argument("--plants", type=int, default=40, help="healthy plants (default 40)")
    parser.add_argument("--looks", type=int, default=10, help="looks at each (default 10)")
    parser.add_argument("--meters", nargs="*", choices=[*METERINGS], help="meterings to replay (default all)")
    parser.add_argument("--json", type=Path, metavar="FILE", help="keep the figures")
    args = parser.parse_args()
    print("| live | last heat to alert [min] | severity | watches |\n|---|---|---|---|")
    at_broker = []
    for row in live(args.live):
        at_broker.append(row)
        print(f"| {row['stop']} | {row['minutes']} | {row['severity']} | {row['looks']} |", flush=True)
    print(
        f"\n| replayed (told up to {WATCH_MIN} min later by the watch) | meters | first notice, median and"
        " longest [min] | to be acted on, the same | acted on within the hour |"
    )
    print("|---|---|---|---|---|")
    many = []
    for row in replayed((3.2, 9.3, 14.4, 19.5), (-4.0, 1.0, 4.0), args.meters or [*METERINGS]):
        many.append(row)
        first, act = np.array(row["first"]), np.array(row["act"])
        soon = (act + WATCH_MIN <= 60.0).mean()
        print(
            f"| {row['stop']} | {row['meters']} | {np.median(first):.0f}, {first.max():.0f} | "
            f"{np.median(act):.0f}, {act.max():.0f} | {soon:.0%} |",
            flush=True,
        )
    well = healthy(args.plants, args.looks)
    surely = sum(row["severity"] != "watch" for row in well["which"])
    print(
        f"\nhealthy plants called stopped: {well['called_stopped']} of {well['looks']} looks, {surely} of"
        " them to be acted on"
    )
    for row in well["which"]:
        print(f"  seed {row['seed']} {row['day']} {row['severity']}: {row['said']}")
    if args.json:
        args.json.write_text(json.dumps({"live": at_broker, "replayed": many, "healthy": well}, indent=1))


if __name__ == "__main__":
    main()
