"""Writes the reference engine's houses as plants for the judge.

python -m tests.reference.engine --out DIR --houses plain,floor
"""

from __future__ import annotations

import argparse
from pathlib import Path

from tests.reference.engine.export import write
from tests.reference.engine.houses import HOUSES, OTHER_HOUSES
from tests.reference.engine.run import heat_loss_w_per_k, simulate

METERING: dict[str, tuple[str, ...]] = {
    "full": (),
    "no-sun": ("sun",),
    "no-room": ("room", "target", "sun"),
    "heat-meter": ("sun", "room", "target", "flow", "back", "water", "pump_power", "humidity"),
}


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--houses", default=",".join(HOUSES))
    parser.add_argument("--metering", default="full,no-sun")
    parser.add_argument("--begin", default="10-15", help="MM-DD")
    parser.add_argument("--end", default="03-31", help="MM-DD")
    args = parser.parse_args()
    begin, end = (tuple(int(x) for x in text.split("-")) for text in (args.begin, args.end))
    for name in args.houses.split(","):
        house = (HOUSES | OTHER_HOUSES)[name]
        run = simulate(house, (begin[0], begin[1]), (end[0], end[1]))
        loss = heat_loss_w_per_k(house, (begin[0], begin[1]), (end[0], end[1]))
        for metering in args.metering.split(","):
            write(args.out / f"{name}-{metering}", house, run, loss, without=METERING[metering])
        print(
            f"{name}: {len(run) // 1440} days, heat loss {loss:.0f} W/K, design"
            f" {house.coefficient_w_per_k:.0f} W/K"
        )


if __name__ == "__main__":
    main()
