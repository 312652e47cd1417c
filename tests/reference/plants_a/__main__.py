"""Command line: `python -m tests.reference.plants_a --seeds 1:60 --out DIR`."""

import argparse
import csv
import sys
import time
from datetime import date
from pathlib import Path

import numpy as np


def main() -> int:
    """Write the plants that the arguments ask for."""
    parser = argparse.ArgumentParser(prog="python -m tests.reference.plants_a", description=__doc__)
    parser.add_argument("--seeds", default="1:60", help="first:last, both included")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--family", choices=["healthy", "fault", "all"], default="all")
    parser.add_argument("--metering", choices=["full", "random"], default="full")
    parser.add_argument("--daily", type=Path, help="CSV with columns day and outdoor_c: measured daily means")
    parser.add_argument(
        "--situations", action="store_true", help="write the situations instead of plants by seed"
    )
    args = parser.parse_args()
    from tests.reference.plants_a.plants import make_and_write

    if args.situations:
        from tests.reference.situations_a import write_all

        write_all(args.out)
        return 0
    daily = None
    if args.daily is not None:
        with args.daily.open() as handle:
            table = list(csv.DictReader(handle))
        daily = (date.fromisoformat(table[0]["day"]), np.array([float(row["outdoor_c"]) for row in table]))
    first, last = (int(v) for v in args.seeds.split(":"))
    for seed in range(first, last + 1):
        begin = time.perf_counter()
        folder = make_and_write(seed, args.out, args.family, args.metering, daily)
        print(f"{folder.name}  {time.perf_counter() - begin:.1f} s", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
