"""Homes set badly and tuned by the diary for a season: python -m tests.benchmarks.bench_tuning.

Each simulated home begins with a curve 8 K too hot, a set-back of 4 K and the pump at one and a half times
its flow; what the diary names is done, step by step. --seeds A:B of plants nobody tuned to;
--json FILE keeps every stretch.
Returns 1 where a diary does not end, electricity does not fall in nine of ten homes, or rooms are cold on
more than one day in ten beyond what they were untouched.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from fieldfare.dashboards.advice.diary import change_words
from tests.benchmarks.tuning_cases import Tuned, tune

COLD_SHARE = 0.1


def _rows(told: Tuned) -> list[dict[str, Any]]:
    return [
        {
            "seed": told.seed,
            "control": told.control,
            "from": s.first.isoformat(),
            "days": s.days,
            "outdoor_c": round(s.outdoor_c, 1),
            "kwh_a_day": round(s.electricity, 1),
            "untuned_kwh_a_day": round(s.untuned, 1),
            "cold_days": s.cold_days,
            "cold_days_untuned": s.cold_untuned,
            "room_c": round(s.room_c, 1),
            "did": change_words(s.did.code, s.did.before, s.did.after, None) if s.did else "",
        }
        for s in told.stretches
    ]


def _print(told: Tuned) -> None:
    print(f"\nseed {told.seed}, {told.control}")
    print(
        f"{'from':<11}{'days':>4}{'air':>7}{'kWh/d':>7}{'alone':>7}{'less':>6}{'cold':>5}{'room':>6}  changed"
    )
    for r in _rows(told):
        less = 1.0 - r["kwh_a_day"] / r["untuned_kwh_a_day"]
        print(
            f"{r['from']:<11}{r['days']:>4}{r['outdoor_c']:>7.1f}{r['kwh_a_day']:>7.1f}"
            f"{r['untuned_kwh_a_day']:>7.1f}{less:>6.0%}{r['cold_days']:>5}{r['room_c']:>6.1f}  {r['did']}"
        )
    whole = told.last["whole"]
    found = (whole or {}).get("electricity_percent")
    said = (
        f"{found['value']:.0f} % ({found['low']:.0f} to {found['high']:.0f})" if found else "not to be told"
    )
    print(
        f"ended {told.ended or 'not'}: {told.last['reason'] or told.last['state']}; after the last step"
        f" {told.saved_share():.0%} less than untouched; by the diary {said}",
        flush=True,
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="2101:2104", metavar="A:B")
    parser.add_argument("--json", type=Path, metavar="FILE")
    args = parser.parse_args()
    first, last = (int(text) for text in args.seeds.split(":"))
    homes: list[Tuned] = []
    for seed in range(first, last):
        for control in ("compensation", "thermostat"):
            homes.append(tune(seed, control))  # type: ignore[arg-type]
            _print(homes[-1])
    days = sum(s.days for h in homes for s in h.stretches)
    cold = sum(s.cold_days - s.cold_untuned for h in homes for s in h.stretches)
    ended = sum(h.ended is not None for h in homes)
    fell = sum(h.saved_share() > 0.0 for h in homes)
    mean = sum(h.saved_share() for h in homes) / len(homes)
    print(
        f"\n{len(homes)} homes: {ended} diaries ended; electricity fell in {fell}, by {mean:.0%} on average;"
        f" cold days {cold} of {days} more than untouched"
    )
    if args.json:
        args.json.write_text(json.dumps([row for h in homes for row in _rows(h)], indent=1))
    return 0 if ended == len(homes) and fell >= 0.9 * len(homes) and cold <= COLD_SHARE * days else 1


if __name__ == "__main__":
    sys.exit(main())
