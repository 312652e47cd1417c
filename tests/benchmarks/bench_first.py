"""A season's file to its first answer: what each command costs, beside processes that only read the file.

    python -m tests.benchmarks.bench_first [--days 150] [--rounds 3] [--json FILE]

Minutes of 14 columns: 216,000 rows for 150 days. Each command is a process of its own, measured by its
processor time, user and system; the rounds go by turns and the least of each counts. Read the ratios, not the
seconds.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from datetime import date
from pathlib import Path
from typing import Any

from fieldfare.analysis.plant.load import parse_site
from fieldfare.collector.simulated.plant import random_plant, simulate
from tests.benchmarks.bench_line import LEFT_OUT, wide_csv
from tests.benchmarks.bench_startup import COMMAND, processor_time

FIRST = date(2024, 10, 1)
POINTS = 14
BARE = {
    "arrow alone": "import sys, pyarrow.csv; pyarrow.csv.read_csv(sys.argv[1])",
    "pandas alone": "import sys, pandas; pandas.read_csv(sys.argv[1])",
}
COMMANDS = {
    "site add": "site add {folder}/site.toml",
    "ingest": "ingest {site} {folder}/season.csv",
    "first analyse": "analyse {site}",
    "analyse again": "analyse {site}",
    "fleet": "fleet",
}


def measure(folder: Path, days: int, rounds: int) -> list[dict[str, Any]]:
    """what, seconds of processor time, and their ratio to reading the file with Arrow."""
    made = simulate(random_plant(7, meter_set="rich", hot_water=True, every_s=60), FIRST, days)
    readings = {p: s for p, s in made.readings.items() if p not in LEFT_OUT}
    wide_csv(dict(list(readings.items())[:POINTS]), folder / "season.csv")
    (folder / "site.toml").write_text(made.site_toml, encoding="utf-8")
    site = parse_site(made.site_toml).id
    least: dict[str, float] = {}
    for n in range(rounds):
        for name, program in BARE.items():
            took = processor_time("-c", program, str(folder / "season.csv"), repeats=1)
            least[name] = min(took, least.get(name, took))
        start = ("-c", COMMAND, "--data", str(folder / f"data-{n}"))
        for name, words in COMMANDS.items():
            took = processor_time(*start, *words.format(folder=folder, site=site).split(), repeats=1)
            least[name] = min(took, least.get(name, took))
    bare = least["arrow alone"]
    return [{"what": name, "seconds": took, "ratio": took / bare} for name, took in least.items()]


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--days", type=int, default=150)
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="first-") as folder:
        rows = measure(Path(folder), args.days, args.rounds)
    print(f"{'what':<20}{'seconds':>9}{'to Arrow alone':>16}")
    for row in rows:
        print(f"{row['what']:<20}{row['seconds']:>9.2f}{row['ratio']:>16.2f}")
    if args.json:
        args.json.write_text(json.dumps(rows, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
