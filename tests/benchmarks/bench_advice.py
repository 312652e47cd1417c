"""Advice followed in simulated homes: python -m tests.benchmarks.bench_advice --simulator NAME.

NAME is own, a, b, c, engine, own-strange or c-strange. Each home is read for a winter, changed as advised and
run through the same winter again. The simulators a and b are held out: nothing is tuned to them. c is for
development. The strange homes of own and c have properties of another trade (`advice_traits`). --seeds A:B of
homes that nobody tuned to, of the engine its houses; --json FILE keeps every row. Returns 1 where fewer than
nine in ten savings are within 30 % or their interval, or fewer than nine in ten rooms within half a kelvin.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from tests.benchmarks.advice_cases import AdviceOutcome, cases_of, outcome
from tests.benchmarks.advice_traits import SIMULATORS, told_traits


def _row(found: AdviceOutcome) -> dict[str, Any]:
    if found.told is None:
        return {"case": found.case, "seed": found.seed, "refused": found.reason}
    saves, room = found.told.saves, found.told.room
    return {
        "case": found.case,
        "seed": found.seed,
        "told_kwh": saves.as_dict(),
        "saved_kwh": round(found.saved, 1),
        "saving_right": found.saving_right,
        "small": found.small,
        "told_k": room.value if room is not None else None,
        "fell_k": round(found.fell, 2),
        "room_right": found.room_right,
        "short_k": round(found.short_k, 2),
        "zones_told_k": [[round(k, 2) for k in ends] for ends in found.told.zones],
        "zones_k": [round(k, 2) for k in found.zones],
    }


def _print(row: dict[str, Any]) -> None:
    if "refused" in row:
        print(f"{row['case']:<42} {row['seed']}  no advice: {row['refused']}", flush=True)
        return
    told = row["told_kwh"]
    zones = f"; zones {row['zones_told_k']} K told, {row['zones_k']} K found" if row["zones_told_k"] else ""
    room = "" if row["told_k"] is None else f"room {row['told_k']:.2f} K told, {row['fell_k']:.2f} K found"
    wrong = " (too small to advise)" if row["small"] else "" if row["saving_right"] else " SAVING"
    wrong += " ROOM" if row["room_right"] is False else ""
    print(
        f"{row['case']:<42} {row['seed']}  {told['value']:.0f} ({told['low']:.0f} to {told['high']:.0f}) kWh"
        f" told, {row['saved_kwh']:.0f} found; {room}; short {row['short_k']:.2f} K{zones}{wrong}",
        flush=True,
    )


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--simulator", default="own", choices=list(SIMULATORS))
    parser.add_argument("--cases", default="", metavar="TEXT", help="only cases whose name contains it")
    parser.add_argument("--seeds", default="1701:1703", metavar="A:B")
    parser.add_argument("--json", type=Path, metavar="FILE")
    args = parser.parse_args()
    first, last = (int(text) for text in args.seeds.split(":"))
    rows = []
    for seed in range(first, last):
        if traits := told_traits(args.simulator, seed):
            print(f"home {seed}: {', '.join(traits)}", flush=True)
        for case in cases_of(args.simulator):
            if args.cases in case.name:
                rows.append(_row(outcome(case, seed, args.simulator)))
                _print(rows[-1])
    told = [row for row in rows if "refused" not in row]
    rooms = [row["room_right"] for row in told if row["room_right"] is not None]
    right = sum(row["saving_right"] for row in told)
    print(f"\nsavings: {right} of {len(told)} right; rooms: {sum(rooms)} of {len(rooms)} within 0.5 K")
    small = sum(row["small"] for row in told)
    ranges = sum(any(low < high for low, high in row["zones_told_k"]) for row in told)
    print(f"zones told by a range: {ranges}")
    print(f"no advice: {len(rows) - len(told)} of {len(rows)}; rightly too small to advise: {small}")
    if args.json:
        args.json.write_text(json.dumps(rows, indent=1))
    return 0 if told and right >= 0.9 * len(told) and sum(rooms) >= 0.9 * len(rooms) else 1


if __name__ == "__main__":
    sys.exit(main())
