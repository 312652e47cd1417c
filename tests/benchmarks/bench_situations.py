"""Every situation of tests/situations, the slow ones included, as a table: python -m
tests.benchmarks.bench_situations.

--json FILE keeps what was said of each. Returns 1 where one fails.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from tests.situations.case import run, situations, table


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", type=Path, metavar="FILE", help="keep the outcomes")
    args = parser.parse_args()
    outcomes = [run(s) for s in situations()]
    print(table(outcomes))
    passed = sum(not o.wrong for o in outcomes)
    print(f"\n{passed} of {len(outcomes)} pass.")
    if args.json:
        rows = [{"name": o.situation.name, "said": o.said, "wrong": list(o.wrong)} for o in outcomes]
        args.json.write_text(json.dumps(rows, indent=1))
    return 0 if passed == len(outcomes) else 1


if __name__ == "__main__":
    sys.exit(main())
