"""Prints the situations as a Markdown table: python -m tests.situations [--only TEXT] [--fast]."""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from tests.situations.case import run, situations, table


def main(argv: Sequence[str] | None = None) -> int:
    """Run the situations. Returns 0 where all pass, else 1."""
    parser = argparse.ArgumentParser(prog="python -m tests.situations", description=main.__doc__)
    parser.add_argument("--only", default="", metavar="TEXT", help="those whose name contains this")
    parser.add_argument("--fast", action="store_true", help="without the slow ones")
    args = parser.parse_args(argv)
    chosen = [s for s in situations() if args.only in s.name and not (args.fast and s.slow)]
    outcomes = [run(s) for s in chosen]
    print(table(outcomes))
    passed = sum(not o.wrong for o in outcomes)
    print(f"\n{passed} of {len(outcomes)} pass.")
    return 0 if passed == len(outcomes) else 1


if __name__ == "__main__":
    raise SystemExit(main())
