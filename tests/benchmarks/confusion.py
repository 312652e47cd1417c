"""How often a simulated fault is found, how often something is found that is not there, and whether the cause
is right.

    python -m tests.benchmarks.confusion --seeds 0:20 --codes short_cycling,low_flow --strengths plain
    --healthy 20

Each seed is a plant of its own (climate, house, unit, control, emitters) and takes one cause of each code in
turn. A fault counts as found when its code is found at `watch` or above. A finding above `note` counts as
false when it is neither the fault nor something that physically follows from it (CONSEQUENCES). Where the
meters can't show a fault (`not_assessed`) it is counted apart: the service said so. --json FILE keeps every
case. Exit status 0.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import pickle
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.findings.model import SEVERITIES
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import analyse
from fieldfare.collector.simulated import plant as simulated_plant
from fieldfare.collector.simulated.design.spec import PlantSpec
from fieldfare.collector.simulated.design.variety import varied
from fieldfare.collector.simulated.faults import plant as faults_plant

ROOT = Path(__file__).parents[2]
ODDITIES = ("away", "cold_snap", "party", "serviced", "settling_in")

# What else is rightly found where a fault is: by physics, not by what the findings happen to say.
_COSTS_EFFICIENCY = frozenset({"efficiency_below_expected", "performance_below_promise"})
# a unit that gives too little does not get its water as warm as asked
_STARVED = _COSTS_EFFICIENCY | {
    "capacity_short",
    "room_below_target",
    "backup_heater_use",
    "flow_temperature_below_curve",
}
_LESS_FLOW = frozenset(
    {
        "low_flow",
        "short_cycling",
        "slow_reheat",
        "reheat_incomplete",
        "hot_water_shortfall",
        "room_below_target",
        "capacity_short",
        "efficiency_below_expected",
        "immersion_use",
        "pasteurisation_missed",
        "frost_risk",
        # the emitters' pump draws what the unit's no longer gives out of the return
        "buffer_mixing",
    }
)
CONSEQUENCES: dict[str, frozenset[str]] = {
    # many starts each cost heat and electricity
    "short_cycling": _COSTS_EFFICIENCY,
    # a starved coil gives less and evaporates colder
    "excessive_defrost": _STARVED | {"efficiency_fell", "defrost_without_frost"},
    "defrost_without_frost": _STARVED | {"efficiency_fell", "excessive_defrost"},
    # water hotter than the emitters need: the lowest output overshoots sooner; expected is at the curve
    "flow_temperature_above_curve": (
        _COSTS_EFFICIENCY | {"no_weather_compensation", "short_cycling", "efficiency_fell"}
    ),
    "no_weather_compensation": _COSTS_EFFICIENCY | {"flow_temperature_above_curve", "short_cycling"},
    "low_flow": _LESS_FLOW,
    "falling_flow": _LESS_FLOW | {"efficiency_fell"},
    # emitters get cooler water than the unit makes
    "buffer_mixing": _COSTS_EFFICIENCY | {"room_below_target", "short_cycling"},
    "backup_heater_use": (
        _COSTS_EFFICIENCY | {"capacity_short", "room_below_target", "flow_temperature_above_curve"}
    ),
    "immersion_use": frozenset(
        {"water_too_hot", "disinfection_lacking", "reheat_incomplete", "efficiency_below_expected"}
    ),
    "high_standby": _COSTS_EFFICIENCY,
    "pump_always_on": frozenset({"high_standby"}),
    # its lowest flow temperature is raised too, which flattens the curve; the pump serves a call that is not
    # there
    "heating_out_of_season": frozenset(
        {
            "short_cycling",
            "heat_loss_above_design",
            "flow_temperature_above_curve",
            "no_weather_compensation",
            "pump_always_on",
        }
    ),
    "efficiency_below_expected": _COSTS_EFFICIENCY | {"capacity_short", "efficiency_fell"},
    "efficiency_fell": _COSTS_EFFICIENCY,
    "heat_loss_above_design": frozenset(
        {"capacity_short", "room_below_target", "flow_temperature_below_curve"}
    ),
    "heat_loss_below_design": frozenset({"short_cycling"}),
    "capacity_short": frozenset(
        {
            "room_below_target",
            "backup_heater_use",
            "hot_water_shortfall",
            "slow_reheat",
            "flow_temperature_below_curve",
        }
    ),
    "room_below_target": frozenset({"capacity_short", "backup_heater_use", "flow_temperature_below_curve"}),
    "slow_reheat": frozenset(
        {
            "disinfection_lacking",
            "reheat_incomplete",
            "hot_water_shortfall",
            "immersion_use",
            "pasteurisation_missed",
            "short_cycling",
            "low_flow",
        }
    ),
    "reheat_incomplete": frozenset(
        {
            "slow_reheat",
            "pasteurisation_missed",
            "disinfection_lacking",
            "hot_water_shortfall",
            "immersion_use",
        }
    ),
    "hot_water_shortfall": frozenset(
        {"slow_reheat", "reheat_incomplete", "immersion_use", "pasteurisation_missed", "disinfection_lacking"}
    ),
    "high_standing_loss": frozenset({"hot_water_shortfall", "pasteurisation_missed", "disinfection_lacking"}),
    # what is not disinfected lives in the growth range
    "pasteurisation_missed": frozenset({"reheat_incomplete", "disinfection_lacking"}),
    # the full cylinder cools into the heating before its hold is over
    "diverter_passing": frozenset(
        {
            "pasteurisation_missed",
            "disinfection_lacking",
            "heating_out_of_season",
            "high_standing_loss",
            "slow_reheat",
            "hot_water_shortfall",
            "reheat_incomplete",
        }
    ),
    "pressure_falling": frozenset({"pressure_low"}),
    "pressure_low": frozenset(),
    "frost_risk": frozenset({"unit_stopped", "room_below_target", "hot_water_shortfall", "data_gap"}),
    # a wrong meter spoils every figure that reads it, until the finding about the meter withholds it
    "unit_mismatch": frozenset({"implausible_efficiency", "heat_meter_disagrees", "outdoor_sensor_biased"}),
    "flow_return_swapped": frozenset({"heat_meter_disagrees", "implausible_efficiency"}),
    "implausible_efficiency": frozenset(
        {"heat_meter_disagrees", "unit_mismatch", "heat_loss_above_design", "meter_misplaced"}
    ),
    # where nothing stands beside the heat meter its error is the house's, or the unit's
    "heat_meter_disagrees": frozenset(
        {
            "implausible_efficiency",
            "efficiency_below_expected",
            "heat_loss_below_design",
            "heat_loss_above_design",
            "capacity_short",
            "meter_misplaced",
        }
    ),
    "sensor_stuck": frozenset({"data_gap"}),
}

CONSEQUENCES_OF_CAUSE: dict[tuple[str, str], frozenset[str]] = {
    ("short_cycling", "flow_restriction"): _LESS_FLOW,
    # a unit that gives too little heats the cylinder slowly too
    ("room_below_target", "capacity_short"): frozenset(
        {"hot_water_shortfall", "slow_reheat", "immersion_use"}
    ),
    ("backup_heater_use", "capacity_shortfall"): frozenset(
        {"hot_water_shortfall", "slow_reheat", "immersion_use"}
    ),
}

# A hand's setting is undone again after a while: such a fault is judged on its last day, as a nightly run
# would.
EPISODES = {("manual_override", "faint"): (0.35, 10), ("manual_override", "plain"): (0.35, 35)}
# Faults that show in warm weather begin in spring; all else is a heating season.
SPRING = {"heating_out_of_season"}


@dataclass(frozen=True)
class Case:
    """One plant to run. code None: healthy, with an oddity or none."""

    seed: int
    code: str | None
    cause: str | None
    strength: str
    meters: str | None
    days: int
    oddity: str | None = None
    varied: bool = False
    cache: str | None = None
    stale: bool = False

    @property
    def start(self) -> date:
        spring = self.code in SPRING or (self.code is None and self.seed % 7 == 6)
        return (date(2024, 4, 10) if spring else date(2023, 10, 1)) + timedelta(self.seed % 20)

    @property
    def last(self) -> date:
        """Last day of the period that is judged."""
        begin, length = EPISODES.get((self.cause or "", self.strength), (1.0, 0))
        return self.start + timedelta(min(int(self.days * begin) + length, self.days) - 1)

    def spec(self) -> PlantSpec:
        """Raises ValueError where the plant cannot have the fault or its meters cannot carry it."""
        hot_water = True if self.code in faults_plant.NEEDS_HOT_WATER else None
        spec = simulated_plant.random_plant(self.seed, meter_set=self.meters, hot_water=hot_water)
        if self.varied:
            spec = varied(spec, self.code)
        if self.oddity:
            spec = simulated_plant.with_oddity(spec, self.oddity)
        return (
            spec
            if self.code is None
            else simulated_plant.with_fault(spec, self.code, self.cause, self.strength)
        )


@dataclass
class Outcome:
    """What came of a case. found: (code, severity, confidence, first cause, headline) of every finding"""

    case: dict[str, Any]
    skipped: str | None = None
    found: list[tuple[str, str, float, str | None, str]] = field(default_factory=list)
    not_assessed: dict[str, str] = field(default_factory=dict)
    failed: str | None = None

    def above_note(self) -> list[str]:
        return [f[0] for f in self.found if SEVERITIES.index(f[1]) >= 1]  # type: ignore[arg-type]

    @property
    def hit(self) -> bool:
        return self.case["code"] in self.above_note()

    @property
    def false(self) -> list[str]:
        code, cause = self.case["code"], self.case["cause"]
        right = (
            {code}
            | CONSEQUENCES.get(code, frozenset())
            | CONSEQUENCES_OF_CAUSE.get((code, cause), frozenset())
        )
        return [c for c in self.above_note() if c not in right]


def facts_of(case: Case) -> tuple[str, Facts]:
    """Site file and facts of a case; simulated once where a cache folder is given."""
    spec, start = case.spec(), case.start
    file = None
    digest = _sources()
    if case.cache:
        name = hashlib.sha256(f"{spec!r} {start} {case.days}".encode()).hexdigest()[:24]
        file = Path(case.cache) / f"{name}.pickle"
        if file.exists():
            kept = pickle.loads(file.read_bytes())
            if case.stale or kept[0] == digest:
                return kept[1], kept[2]
    sim = simulated_plant.simulate(spec, start, case.days)
    site = parse_site(sim.site_toml)
    facts = build_facts(site, sim.readings, start, start + timedelta(case.days - 1))
    if file is not None:
        file.parent.mkdir(parents=True, exist_ok=True)
        part = file.with_suffix(f".{os.getpid()}")
        part.write_bytes(pickle.dumps((digest, sim.site_toml, facts)))
        part.replace(file)
    return sim.site_toml, facts


def _sources() -> str:
    """Digest of all that decides a case's facts."""
    digest = hashlib.sha256()
    folders = (
        "collector/simulated",
        "analysis/facts",
        "analysis/minutes",
        "analysis/physics",
        "analysis/plant",
    )
    files = [f for folder in folders for f in sorted((ROOT / folder).rglob("*.py"))]
    files.append(ROOT / "analysis" / "readings.py")
    for f in files:
        digest.update(f.read_bytes())
    return digest.hexdigest()


def run(case: Case) -> Outcome:
    """Simulate and judge one case."""
    out = Outcome(asdict(case))
    try:
        toml, facts = facts_of(case)
    except ValueError as problem:
        out.skipped = str(problem)
        return out
    try:
        result = analyse(parse_site(toml), facts, case.start, case.last)
    except (
        Exception
    ) as problem:  # one broken rule must not end a night's measurement; it is printed and counted
        out.failed = f"{type(problem).__name__}: {problem}"
        return out
    out.found = [
        (f.code, f.severity, round(f.confidence, 3), f.causes[0].cause if f.causes else None, f.headline)
        for f in result.findings
    ]
    out.not_assessed = {n.code: n.reason for n in result.not_assessed}
    return out


def cases(args: argparse.Namespace) -> Iterator[Case]:
    first, last = (int(x) for x in args.seeds.split(":"))
    sets = args.meters.split(",") if args.meters else [None]
    common = {"days": args.days, "cache": args.cache, "stale": args.stale, "varied": args.varied}
    for i, seed in enumerate(range(first, last)):
        for k, code in enumerate(args.codes.split(",") if args.codes else faults_plant.codes()):
            if code == "none":
                continue
            causes = [args.cause] if args.cause else faults_plant.causes(code)
            for cause in causes if args.all_causes else [causes[(i + k) % len(causes)]]:
                for strength in args.strengths.split(","):
                    yield Case(seed, code, cause, strength, sets[(i + k) % len(sets)], **common)
    for i in range(args.healthy):
        # Every third healthy plant has something unusual that is no fault.
        oddity = ODDITIES[(i // 3) % len(ODDITIES)] if i % 3 == 2 else None
        yield Case(first + i, None, None, "healthy", sets[i % len(sets)], oddity=oddity, **common)


def share(part: int, whole: int) -> str:
    return f"{part / whole:6.3f}" if whole else "     -"


def report(outcomes: list[Outcome], quiet: bool = False) -> dict[str, Any]:
    """Print the table, the misses and the false alarms. Returns the totals."""
    ran = [o for o in outcomes if o.skipped is None and o.failed is None]
    faulty, healthy = [o for o in ran if o.case["code"]], [o for o in ran if not o.case["code"]]
    print(
        f"{'code':30s} {'strength':9s} {'cases':>6s} {'told':>5s} {'found':>6s} {'recall':>7s} {'cause':>7s} "
        " severities"
    )
    totals: dict[str, Any] = {"by_code": {}}
    keys = sorted(
        {(o.case["code"], o.case["strength"]) for o in faulty},
        key=lambda k: (k[0], ("faint", "plain", "gross").index(k[1])),
    )
    for code, strength in keys:
        rows = [o for o in faulty if (o.case["code"], o.case["strength"]) == (code, strength)]
        told = [o for o in rows if code not in o.not_assessed]
        hits = [o for o in told if o.hit]
        caused = [o for o in hits if o.case["cause"] and _cause_of(o)]
        right = sum(_cause_of(o) == o.case["cause"] for o in caused)
        grades = Counter(f[1] for o in told for f in o.found if f[0] == code)
        grades["none"] = len(told) - sum(grades.values())
        words = " ".join(f"{g}:{n}" for g, n in grades.items() if n)
        print(
            f"{code:30s} {strength:9s} {len(rows):6d} {len(told):5d} {len(hits):6d}"
            f" {share(len(hits), len(told)):>7s} {share(right, len(caused)):>7s}  {words}"
        )
        totals["by_code"][f"{code}/{strength}"] = {
            "cases": len(rows),
            "told": len(told),
            "found": len(hits),
            "caused": len(caused),
            "cause_right": right,
        }
    _sum_up(totals, faulty, healthy)
    if not quiet:
        _lists(outcomes, faulty, healthy)
    return totals


def _sum_up(totals: dict[str, Any], faulty: list[Outcome], healthy: list[Outcome]) -> None:
    above = sum(len(o.above_note()) for o in faulty + healthy)
    wrong = sum(len(o.false) for o in faulty + healthy)
    alarmed = sum(bool(o.above_note()) for o in healthy)
    for strength in ("faint", "plain", "gross"):
        told = [o for o in faulty if o.case["strength"] == strength and o.case["code"] not in o.not_assessed]
        hits = sum(o.hit for o in told)
        if told:
            print(f"recall {strength}: {share(hits, len(told))} of {len(told)}")
            totals[f"recall_{strength}"] = hits / len(told)
    caused = [o for o in faulty if o.hit and o.case["cause"] and _cause_of(o)]
    right = sum(_cause_of(o) == o.case["cause"] for o in caused)
    print(f"first cause right: {share(right, len(caused))} of {len(caused)}")
    print(f"precision: {share(above - wrong, above)} of {above} findings above note")
    print(f"healthy with anything above note: {share(alarmed, len(healthy))} of {len(healthy)}")
    totals |= {
        "precision": (above - wrong) / above if above else None,
        "above_note": above,
        "healthy_alarmed": alarmed / len(healthy) if healthy else None,
        "healthy": len(healthy),
        "first_cause": right / len(caused) if caused else None,
        "caused": len(caused),
    }


def _cause_of(outcome: Outcome) -> str | None:
    return next((f[3] for f in outcome.found if f[0] == outcome.case["code"]), None)


def _lists(outcomes: list[Outcome], faulty: list[Outcome], healthy: list[Outcome]) -> None:
    def name(o: Outcome) -> str:
        c = o.case
        what = (
            f"{c['code']}/{c['cause'] or '-'}/{c['strength']}"
            if c["code"]
            else f"healthy{' ' + c['oddity'] if c['oddity'] else ''}"
        )
        return f"  seed {c['seed']} {c['meters'] or 'drawn'} {what}"

    print("missed:")
    for o in faulty:
        if not o.hit and o.case["code"] not in o.not_assessed:
            own = next((f for f in o.found if f[0] == o.case["code"]), None)
            print(name(o), "->", f"{own[1]}: {own[4]}" if own else "nothing")
    print("wrong first cause:")
    for o in faulty:
        cause = _cause_of(o) if o.hit else None
        if o.case["cause"] and cause and cause != o.case["cause"]:
            print(name(o), "->", cause)
    print("false alarms:")
    for o in faulty + healthy:
        for f in o.found:
            if f[0] in o.false:
                print(name(o), "->", f[0], f[1], f"{f[2]:.2f}", f[4])
    untold = Counter(
        (o.case["code"], o.not_assessed[o.case["code"]]) for o in faulty if o.case["code"] in o.not_assessed
    )
    print("not assessed:")
    for (code, reason), n in untold.most_common():
        print(f"  {n:3d} {code}: {reason}")
    print("skipped or failed:")
    for text, n in Counter(
        o.failed or o.skipped or "" for o in outcomes if o.failed or o.skipped
    ).most_common(20):
        print(f"  {n:3d} {text}")


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", default="0:20", help="A:B, B left out")
    parser.add_argument(
        "--codes", default="", help="comma-separated; none for healthy plants only; default all"
    )
    parser.add_argument(
        "--cause", default="", help="one cause, for one code; default each seed takes the next one"
    )
    parser.add_argument("--all-causes", action="store_true", help="every cause of a code for every seed")
    parser.add_argument("--strengths", default="plain")
    parser.add_argument("--meters", default="", help="meter sets in turn; default each plant's own draw")
    parser.add_argument("--days", type=int, default=180)
    parser.add_argument(
        "--healthy", type=int, default=0, help="so many healthy plants, from the first seed on"
    )
    parser.add_argument("--cache", default=None, help="folder for simulated facts")
    parser.add_argument(
        "--stale", action="store_true", help="take cached facts though the code that made them changed"
    )
    parser.add_argument(
        "--varied",
        action="store_true",
        help="plants as wide as the trade builds them (fieldfare.collector.simulated.design.variety)",
    )
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--quiet", action="store_true", help="the table without the lists")
    parser.add_argument("--json", type=Path, default=None)
    args = parser.parse_args()
    todo = list(cases(args))
    if args.workers > 1:
        with ProcessPoolExecutor(args.workers) as pool:
            outcomes = list(pool.map(run, todo, chunksize=1))
    else:
        outcomes = [run(c) for c in todo]
    totals = report(outcomes, args.quiet)
    if args.json:
        args.json.write_text(json.dumps({"totals": totals, "cases": [asdict(o) for o in outcomes]}, indent=1))


if __name__ == "__main__":
    main()
