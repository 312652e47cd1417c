"""The loss table on healthy plants of the project's simulator: does it add up, and is every dear part
accounted for?

    python -m tests.benchmarks.bench_losses [--seeds 1001:1051] [--days 120] [--json FILE]

Counts plants whose "not explained" has zero within its 95 % interval, and parts that cost more than 5 % of
the electricity with neither a finding nor a line that says the weather or the load explains them. Returns 1
below 95 % or with such a part.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict, dataclass
from datetime import date, timedelta
from pathlib import Path

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.figures.loss_lines import DEAR_SHARE, accounted
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import analyse
from fieldfare.collector.simulated.plant import random_plant, simulate

FIRST = date(2025, 11, 1)


@dataclass(frozen=True)
class Table:
    """One plant's table. residual, low, high, electricity [kWh]; open : dear parts that nothing accounts
    for"""

    seed: int
    electricity: float
    residual: float
    low: float
    high: float
    dear: dict[str, float]
    open: tuple[str, ...]

    @property
    def holds(self) -> bool:
        return self.low <= 0.0 <= self.high


def table_of(seed: int, days: int) -> Table | None:
    """The loss table of a healthy plant with all meters; None where nothing can be expected of it."""
    made = simulate(random_plant(seed, meter_set="full"), FIRST, days)
    site = parse_site(made.site_toml)
    last = FIRST + timedelta(days - 1)
    result = analyse(site, build_facts(site, made.readings, FIRST, last), FIRST, last)
    rows = result.figures.losses
    if not rows:
        return None
    total = result.facts.days.total("electricity_total_kwh")
    rest = next(r for r in rows if r.cause == "unexplained")
    dear = {
        r.cause: r.electricity_kwh / total
        for r in rows
        if r.electricity_kwh > DEAR_SHARE * total and r is not rest
    }
    told = accounted(site, result.facts, rows, result.findings)
    open_ = tuple(cause for cause in dear if not told.get(cause))
    return Table(seed, total, rest.electricity_kwh, rest.low, rest.high, dear, open_)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", default="1001:1051", help="FROM:TO, the last not included")
    parser.add_argument("--days", type=int, default=120)
    parser.add_argument("--json", type=Path, metavar="FILE")
    args = parser.parse_args()
    begin, end = (int(x) for x in args.seeds.split(":"))
    tables = [t for seed in range(begin, end) if (t := table_of(seed, args.days)) is not None]
    for t in tables:
        dear = ", ".join(f"{cause} {share:.0%}" for cause, share in t.dear.items())
        print(
            f"{t.seed}: {t.residual:+8.0f} of {t.electricity:7.0f} kWh ({t.low:.0f} to {t.high:.0f}) "
            f"{'holds' if t.holds else 'OUTSIDE'}  {dear}{'  OPEN: ' + ', '.join(t.open) if t.open else ''}",
            flush=True,
        )
    held, open_ = sum(t.holds for t in tables), sum(len(t.open) for t in tables)
    print(
        f"\n{held} of {len(tables)} hold ({held / max(len(tables), 1):.1%}); {open_} dear parts "
        "unaccounted for"
    )
    if args.json:
        args.json.write_text(json.dumps([asdict(t) for t in tables], indent=1))
    return 0 if tables and held >= 0.95 * len(tables) and not open_ else 1


if __name__ == "__main__":
    sys.exit(main())
