"""Command line: write reference plants to a folder."""

import argparse
import time
from pathlib import Path

from tests.reference.plants_b.__main__ import seeds
from tests.reference.plants_c.build import write


def main() -> None:
    """Write the plants of a range of seeds."""
    parser = argparse.ArgumentParser(prog="plants_c", description="Write reference plants (development set).")
    parser.add_argument("--seeds", type=seeds, required=True, help="A:B, both included")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--family", choices=["healthy", "fault", "all"], default="all")
    parser.add_argument("--metering", choices=["full", "random"], default="full")
    parser.add_argument("--days", type=int, default=90)
    options = parser.parse_args()
    for seed in options.seeds:
        began = time.process_time()
        folder = write(seed, options.out, options.family, options.metering, options.days)
        print(f"{folder.name}: {time.process_time() - began:.1f} s", flush=True)


if __name__ == "__main__":
    main()
