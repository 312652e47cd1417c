"""All houses of the reference engine over a winter, judged through the command line.

python -m tests.benchmarks.bench_engine [--houses plain,floor] [--metering full,no-sun] [--json FILE].
Returns 1 where a performance is more than 0.5 % off, a house has a finding above a note that it does not ask
for, or lacks one that it asks for.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from pathlib import Path
from typing import Any

from tests.reference.engine.__main__ import METERING
from tests.reference.engine.export import write
from tests.reference.engine.houses import HOUSES, OTHER_HOUSES
from tests.reference.engine.run import heat_loss_w_per_k, simulate
from tests.reference.score import ask

BEGIN, END = (10, 15), (3, 31)
MOST_OFF = 0.005
ALL_HOUSES = HOUSES | OTHER_HOUSES


def judged(name: str, metering: str, folder: Path) -> dict[str, Any]:
    """One house with one set of meters: truth beside what is said."""
    house = ALL_HOUSES[name]
    place = folder / f"{name}-{metering}"
    write(
        place,
        house,
        simulate(house, BEGIN, END),
        heat_loss_w_per_k(house, BEGIN, END),
        without=METERING[metering],
    )
    said = ask(place)
    truth = json.loads((place / "truth.json").read_text())
    loss = said["figures"].get("heat_loss_w_per_k") or {}
    real = truth["figures"]["heat_loss_w_per_k"]
    inside = loss.get("low") is not None and loss["low"] <= real <= loss["high"]
    h4 = (said["figures"].get("H4") or said["figures"].get("H2") or {}).get("value")
    above = [f["code"] for f in said["findings"] if f["severity"] != "note"]
    key = "H4" if said["figures"].get("H4") else "H2"
    return {
        "house": name,
        "metering": metering,
        "error": said.get("error"),
        "boundary": key,
        "performance": h4,
        "true_performance": truth["figures"][key],
        "heat_loss": loss.get("value"),
        "true_heat_loss": real,
        "interval_holds": inside if loss else None,
        "told": [code for code in above if code not in {*truth["may"], *house.must}],
        "missed": [code for code in house.must if code not in above],
    }


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--houses", default=",".join(ALL_HOUSES))
    parser.add_argument("--metering", default="full,no-sun")
    parser.add_argument("--json", type=Path, metavar="FILE")
    args = parser.parse_args()
    rows, wrong = [], 0
    with tempfile.TemporaryDirectory(prefix="engine-") as folder:
        for name in args.houses.split(","):
            for metering in args.metering.split(","):
                row = judged(name, metering, Path(folder))
                rows.append(row)
                off = (
                    row["performance"] / row["true_performance"] - 1.0 if row["performance"] else float("nan")
                )
                loss = row["heat_loss"] / row["true_heat_loss"] - 1.0 if row["heat_loss"] else float("nan")
                wrong += row["error"] is not None or not abs(off) <= MOST_OFF
                wrong += bool(row["told"]) or bool(row["missed"])
                print(
                    f"{name:<9} {metering:<11} {row['boundary']} {off:+.2%}  heat loss {loss:+.1%} "
                    f"interval holds: {row['interval_holds']}  above a note: "
                    f"{', '.join(row['told']) or 'none'}"
                    + (f"  missed: {', '.join(row['missed'])}" if row["missed"] else ""),
                    flush=True,
                )
    if args.json:
        args.json.write_text(json.dumps(rows, indent=1))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
