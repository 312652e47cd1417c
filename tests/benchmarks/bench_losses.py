"""The loss table on healthy plants: does it add up, and is every dear part accounted for?

    python -m tests.benchmarks.bench_losses [--plants own|c] [--seeds 1001:1051] [--days 120] [--json FILE]

Plants of the project's simulator, or of the independent one that findings are developed on.

Counts plants whose "not explained" has zero within its 95 % interval, tables whose steps do not add up from
expected to metered, and parts that cost more than 5 % of the electricity with neither a finding nor a line
that says the weather or the load explains them. Returns 1 below 95 %, or with such a table or part.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from pathlib import Path

import tomlkit

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.figures.loss_lines import DEAR_SHARE, accounted
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.readings import Readings
from fieldfare.analysis.reports.result import analyse
from fieldfare.collector.simulated.plant import random_plant, simulate
from tests.benchmarks.advice_simulators import taken
from tests.reference.plants_c.build import clean, site_tables
from tests.reference.plants_c.homes import make_home
from tests.reference.plants_c.metering import make_frame, make_metering
from tests.reference.plants_c.run import run

FIRST = date(2025, 11, 1)
ADDS_UP = 1e-5
"""Of the electricity, by which a table's steps may miss it."""

Made = tuple[Site, Readings, date]


@dataclass(frozen=True)
class Table:
    """One plant's table. residual, low, high, electricity [kWh]. missed : expected electricity and all
    steps less the electricity [kWh]. open : dear parts that nothing accounts for"""

    seed: int
    electricity: float
    residual: float
    low: float
    high: float
    missed: float
    dear: dict[str, float]
    open: tuple[str, ...]

    @property
    def holds(self) -> bool:
        return self.low <= 0.0 <= self.high

    @property
    def adds_up(self) -> bool:
        return abs(self.missed) <= ADDS_UP * self.electricity


def own(seed: int, days: int) -> Made:
    made = simulate(random_plant(seed, meter_set="full"), FIRST, days)
    return parse_site(made.site_toml), made.readings, FIRST


def independent(seed: int, days: int) -> Made:
    home = make_home(seed, days)
    metered = make_metering(home, "full")
    site = parse_site(tomlkit.dumps(clean(site_tables(home, metered, {"id": f"c-{seed}", "name": "C"}))))
    readings = taken(make_frame(home, run(home), metered), site)
    return site, readings, date.fromisoformat(str(home.start))


PLANTS: dict[str, Callable[[int, int], Made]] = {"own": own, "c": independent}


def table_of(plants: str, seed: int, days: int) -> Table | None:
    """The loss table of a healthy plant with all meters; None where nothing can be expected of it."""
    site, readings, first = PLANTS[plants](seed, days)
    last = first + timedelta(days - 1)
    result = analyse(site, build_facts(site, readings, first, last), first, last)
    rows = result.figures.losses
    if not rows:
        return None
    total = result.facts.days.total("electricity_total_kwh")
    document = result.as_dict()
    expected = document["energy"]["heat_kwh"]["total"] / document["performance"]["expected"]["value"]
    missed = expected + sum(r.electricity_kwh for r in rows) - total
    rest = next(r for r in rows if r.cause == "unexplained")
    dear = {
        r.cause: r.electricity_kwh / total
        for r in rows
        if r.electricity_kwh > DEAR_SHARE * total and r is not rest
    }
    told = accounted(site, result.facts, rows, result.findings)
    open_ = tuple(cause for cause in dear if not told.get(cause))
    return Table(seed, total, rest.electricity_kwh, rest.low, rest.high, missed, dear, open_)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--plants", choices=PLANTS, default="own")
    parser.add_argument("--seeds", default="1001:1051", help="FROM:TO, the last not included")
    parser.add_argument("--days", type=int, default=120)
    parser.add_argument("--json", type=Path, metavar="FILE")
    args = parser.parse_args()
    begin, end = (int(x) for x in args.seeds.split(":"))
    tables = []
    for seed in range(begin, end):
        if (t := table_of(args.plants, seed, args.days)) is None:
            print(f"{seed}: nothing can be expected", flush=True)
            continue
        tables.append(t)
        dear = ", ".join(f"{cause} {share:.0%}" for cause, share in t.dear.items())
        print(
            f"{t.seed}: {t.residual:+8.0f} of {t.electricity:7.0f} kWh ({t.low:.0f} to {t.high:.0f}) "
            f"{'holds' if t.holds else 'OUTSIDE'}  {dear}{'  OPEN: ' + ', '.join(t.open) if t.open else ''}"
            f"{'  DOES NOT ADD UP' if not t.adds_up else ''}",
            flush=True,
        )
    held, open_ = sum(t.holds for t in tables), sum(len(t.open) for t in tables)
    odd = sum(not t.adds_up for t in tables)
    print(
        f"\n{held} of {len(tables)} hold ({held / max(len(tables), 1):.1%}); {open_} dear parts "
        f"unaccounted for; {odd} tables do not add up"
    )
    if args.json:
        args.json.write_text(json.dumps([asdict(t) for t in tables], indent=1))
    return 0 if tables and held >= 0.95 * len(tables) and not open_ and not odd else 1


if __name__ == "__main__":
    sys.exit(main())
