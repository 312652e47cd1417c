"""Hold each room's line coverage to its floor in pyproject.toml: run by `make coverage` after the tests."""

from __future__ import annotations

import sys
import tomllib
from io import StringIO
from pathlib import Path

from coverage import Coverage

ROOT = Path(__file__).parents[1]


def main() -> int:
    """Print each room's share of lines run. Returns 1 where one is below its floor."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    measured = Coverage(config_file=str(ROOT / "pyproject.toml"))
    measured.load()
    below = False
    for room, floor in settings["tool"]["fieldfare"]["coverage"].items():
        share = measured.report(include=[str(ROOT / room / "*")], file=StringIO())
        print(f"{room}: {share:.1f} % of lines, floor {floor} %")
        below |= share < floor
    return int(below)


if __name__ == "__main__":
    sys.exit(main())
