"""No finding speaks of, or reads, a point that the site has not declared.

    python -m tests.situations.declared_points --seeds 300:335 --subsets 2

Plants with every meter, a healthy one and one of each fault in turn, are analysed with random subsets of
their points declared, while the readings of all points are given. Of each result:

- headline, evidence, causes and the householder's sentence name no instrument that is not declared (a next
  step may ask for one, or for something to look at);
- no evidence is an unknown number, and no undeclared quantity is distrusted;
- readings of undeclared points change nothing.

Prints each violation with its plant. Exit status 1 where there is one.
"""

from __future__ import annotations

import argparse
import math
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.findings.model import Finding
from fieldfare.analysis.minutes.balance import HEAT_SEEN_BY
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.plant.site import HEAT_QUANTITIES, Site
from fieldfare.analysis.readings import Readings
from fieldfare.analysis.reports.result import Result, analyse
from fieldfare.collector.simulated import plant as simulated_plant
from fieldfare.collector.simulated.faults import plant as faults_plant
from tests.benchmarks.confusion import Case

_FLOWS = frozenset({"flow_temperature", "distribution_flow_temperature"})
_RETURNS = frozenset({"return_temperature", "distribution_return_temperature"})
# What names an instrument, and the quantities of which one at least must then be declared.
NAMES: tuple[tuple[str, frozenset[str]], ...] = (
    (r"\bheat meter\b(?!s? would)", frozenset(HEAT_QUANTITIES)),
    (r"\bhumid", frozenset({"outdoor_humidity"})),
    (r"\bbar\b|system pressure", frozenset({"system_pressure"})),
    (r"\bflow rate\b|\bm3/h\b", frozenset({"flow_rate"})),
    (r"\bflow sensor\b|\bhottest flow\b", _FLOWS),
    (r"\breturn (sensor|temperature)\b", _RETURNS),
    (r"\bcylinder('s)? (sensor|temperature)\b", frozenset({"cylinder_temperature"})),
    (r"\broom (sensor|temperature)\b", frozenset({"room_temperature"})),
    (r"\boutdoor sensor\b", frozenset({"outdoor_temperature"})),
    (r"\bby the immersion heater\b", frozenset({"immersion_electricity"})),
    (r"\bcompressor speed\b", frozenset({"compressor_speed"})),
    (r"\bfault code\b", frozenset({"fault_code"})),
    (r"\birradiance\b", frozenset({"solar_irradiance"})),
    (r"\belectricity meter\b", frozenset({"heat_pump_electricity", "house_electricity"})),
    (r"\bdiverter (signal|reports)\b", frozenset({"diverter_to_hot_water"})),
)


@dataclass(frozen=True)
class Plant:
    """A simulated plant with every meter: its site file before the points, each point's part of it, readings,
    and the local days."""

    head: str
    points: tuple[str, ...]
    readings: Readings
    first: date
    last: date

    @classmethod
    def of(cls, case: Case) -> Plant:
        """Raises ValueError where the plant can't have the case's fault."""
        sim = simulated_plant.simulate(case.spec(), case.start, case.days)
        head, *points = sim.site_toml.split("[[point]]")
        last = case.start + timedelta(case.days - 1)
        return cls(head, tuple(points), sim.readings, case.start, last)

    def site(self, chosen: np.ndarray) -> Site:
        """The site with some of the points declared. chosen : bool (n,)"""
        kept = [p for p, keep in zip(self.points, chosen, strict=True) if keep]
        return parse_site("[[point]]".join((self.head, *kept)))

    def result(self, site: Site, readings: Readings) -> Result:
        return analyse(site, build_facts(site, readings, self.first, self.last), self.first, self.last)


def declared(site: Site) -> frozenset[str]:
    """Quantities that a site's points measure; heat too where flow rate and temperatures give it."""
    have = {p.quantity for p in site.point}
    return frozenset(have | set(HEAT_QUANTITIES) if have & set(HEAT_SEEN_BY) else have)


def undeclared(site: Site, result: Result) -> Iterator[str]:
    """What a result says of quantities that the site has not declared, a line each."""
    have = frozenset(p.quantity for p in site.point)
    for quantity in result.unreliable.keys() - declared(site):
        yield f"{result.unreliable[quantity].code} distrusts {quantity}"
    for finding in result.findings:
        for text in _texts(finding):
            if re.search(r"\bnan\b", text):
                yield f"{finding.code} ({finding.severity}) says nan: {text}"
            for pattern, needed in NAMES:
                if not have & needed and re.search(pattern, text, re.IGNORECASE):
                    yield f"{finding.code} ({finding.severity}) without {' or '.join(sorted(needed))}: {text}"
        for e in finding.evidence:
            if e.value is None or (isinstance(e.value, float) and math.isnan(e.value)):
                yield f"{finding.code} ({finding.severity}) has unknown evidence: {e.label}"


def _texts(finding: Finding) -> Iterator[str]:
    yield finding.headline
    yield finding.home
    for e in finding.evidence:
        yield f"{e.label} {e.unit}"
    for cause in finding.causes:
        yield cause.because


def violations(plant: Plant, chosen: np.ndarray) -> list[str]:
    """What the result with some of the points declared breaks, a line each. chosen : bool (n,)"""
    site = plant.site(chosen)
    ids = {p.id for p in site.point}
    own = {name: samples for name, samples in plant.readings.items() if name in ids}
    try:
        whole, alone = plant.result(site, plant.readings), plant.result(site, own)
    except InputError:  # no point that was read is declared
        return []
    told = list(undeclared(site, whole))
    if whole.as_dict() != alone.as_dict():
        told.append("readings of undeclared points change the result")
    return told


def subsets(count: int, points: int, rng: np.random.Generator) -> Iterator[np.ndarray]:
    """Random choices of points, from a few to most of them: bool (points,)."""
    for _ in range(count):
        yield rng.random(points) < rng.choice([0.3, 0.6, 0.85])


def cases(first: int, last: int, days: int) -> Iterator[Case]:
    """A healthy plant and one of each fault in turn, with every meter."""
    codes = [None, *faults_plant.codes()]
    for k, seed in enumerate(range(first, last)):
        code = codes[k % len(codes)]
        cause = faults_plant.causes(code)[0] if code else None
        yield Case(seed, code, cause, "gross" if code else "healthy", "full", days)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", default="300:335", help="A:B, B left out")
    parser.add_argument("--days", type=int, default=40)
    parser.add_argument("--subsets", type=int, default=2)
    args = parser.parse_args()
    first, last = (int(x) for x in args.seeds.split(":"))
    rng, broken, looked = np.random.default_rng(first), 0, 0
    for case in cases(first, last, args.days):
        try:
            plant = Plant.of(case)
        except ValueError:
            continue
        for chosen in subsets(args.subsets, len(plant.points), rng):
            looked += 1
            for line in violations(plant, chosen):
                broken += 1
                print(f"seed {case.seed} {case.code or 'healthy'}: {line}", flush=True)
    print(f"{looked} results, {broken} violations")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
