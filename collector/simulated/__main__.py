"""Write simulated systems to a folder: python -m fieldfare.collector.simulated --out DIR."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from fieldfare.analysis.errors import InputError

try:
    from fieldfare.collector.simulated.export import write
    from fieldfare.collector.simulated.faults.plant import codes
    from fieldfare.collector.simulated.plant import (
        CLIMATES,
        SETS,
        random_plant,
        simulate,
        with_fault,
    )
except InputError as error:
    sys.exit(f"error: {error}")


def main(argv: Sequence[str] | None = None) -> int:
    """Simulate systems and write site file, CSV and truth of each. Returns 0, or 2 for invalid options."""
    parser = argparse.ArgumentParser(prog="python -m fieldfare.collector.simulated", description=main.__doc__)
    parser.add_argument("--out", type=Path, required=True, help="folder for the files")
    parser.add_argument(
        "--seed", type=int, default=1, help="seed of the first plant; the next ones count on (default 1)"
    )
    parser.add_argument("--plants", type=int, default=1, help="how many (default 1)")
    parser.add_argument("--days", type=int, default=210, help="local days (default 210)")
    parser.add_argument(
        "--start", type=date.fromisoformat, default=date(2024, 10, 1), help="first day (default 2024-10-01)"
    )
    parser.add_argument("--climate", choices=sorted(CLIMATES), help="default: drawn from the seed")
    parser.add_argument("--meters", choices=SETS, help="default: drawn from the seed")
    parser.add_argument(
        "--every", type=int, metavar="SECONDS", help="spacing of the readings; default: the set's own"
    )
    parser.add_argument("--fault", choices=codes(), metavar="CODE", help="a finding's code")
    parser.add_argument("--cause", help="a cause of that code; default: its first")
    parser.add_argument("--strength", default="plain", help="faint, plain, gross or 0 to 1 (default plain)")
    parser.add_argument("--form", choices=["wide", "long"], default="wide", help="of the CSV (default wide)")
    parser.add_argument("--gzip", action="store_true", help="compress the CSV")
    parser.add_argument("--naive-local", action="store_true", help="times in the site's zone without offset")
    parser.add_argument("--delimiter", default=",", help="between columns (default ,)")
    parser.add_argument("--decimal", default=".", help="decimal sign (default .)")
    args = parser.parse_args(argv)
    try:
        for number in range(args.seed, args.seed + args.plants):
            spec = random_plant(number, args.climate, args.meters, every_s=args.every)
            if args.fault:
                strength = args.strength if args.strength.isalpha() else float(args.strength)
                spec = with_fault(spec, args.fault, args.cause, strength)
            simulated = simulate(spec, args.start, args.days)
            paths = write(
                simulated, args.out, args.form, args.gzip, args.naive_local, args.delimiter, args.decimal
            )
            print(" ".join(str(p) for p in paths))
    except ValueError as error:
        print(f"error: {error}", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
