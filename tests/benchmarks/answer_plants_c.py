"""Cold rooms at homes of the development simulator: a set-back too deep, and windows opened at odd hours."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import numpy as np
import tomlkit
from numpy.typing import NDArray

from fieldfare.analysis.answers.complaint import complaint
from fieldfare.analysis.answers.hours import Question, hours_of
from fieldfare.analysis.facts.build import build_facts
from fieldfare.analysis.plant.load import parse_site
from fieldfare.analysis.reports.result import analyse
from tests.benchmarks.advice_simulators import taken
from tests.reference.plants_c.build import clean, site_tables
from tests.reference.plants_c.engine import fast, start_state
from tests.reference.plants_c.homes import Home, make_home
from tests.reference.plants_c.metering import make_frame, make_metering
from tests.reference.plants_c.run import DAY, as_spec, settle
from tests.reference.plants_c.spec import CHANNELS, NO_CONTROL, UNDERFLOOR

DAYS, NAMED = 35, 7
AIRED_ACH = 5.0
"""Air changes an hour with windows wide open (common practice: 4 to 10)."""

Minutes = NDArray[np.bool_]


def nothing_open(home: Home) -> Minutes:
    return np.zeros(home.days * DAY, dtype=np.bool_)


def airing(home: Home) -> Minutes:
    """In the last days, thrice a day at hours that chance sets, for half an hour to an hour."""
    rng = np.random.default_rng([home.days, 91])
    flags = nothing_open(home)
    for day in range(home.days - NAMED, home.days):
        for hour in rng.uniform(7.0, 22.0, 3):
            first = int(day * DAY + hour * 60)
            flags[first : first + int(rng.uniform(30, 60))] = True
    return flags


def deep_set_back(spec: dict[str, float]) -> None:
    spec.update(setback_k=4.5, night_from=1260.0, night_to=360.0)


def as_built(spec: dict[str, float]) -> None:
    """Leave the home as it is, without a set-back of its own."""
    spec["setback_k"] = 0.0


@dataclass(frozen=True)
class ColdCase:
    """cause : the code that must bind. build : changes the plant. opened : minutes with windows open"""

    name: str
    cause: str
    build: Callable[[dict[str, float]], None]
    opened: Callable[[Home], Minutes] = nothing_open
    asked: Question = field(default_factory=Question)


def unit_too_small(spec: dict[str, float]) -> None:
    """A third of the output, with a shallow set-back."""
    spec["q_nom"] *= 0.33
    spec.update(setback_k=1.5, night_from=1320.0, night_to=330.0, bu_w=0.0)


CASES = (
    ColdCase("set-back too deep", "set_back", deep_set_back, asked=Question(from_hour=5, to_hour=10)),
    ColdCase("set-back too deep, asked about the whole day", "set_back", deep_set_back),
    ColdCase("windows opened at odd hours", "windows", as_built, airing),
    ColdCase("unit too small", "output", unit_too_small),
)


def suitable(seed: int) -> Home:
    """The first home from a seed on with radiators, valves and an output without a quiet mode."""
    for n in range(60):
        home = make_home(seed + 1000 * n, DAYS)
        s = home.spec
        if s["kind0"] != UNDERFLOOR and s["control"] != NO_CONTROL and s["quiet_share"] == 1.0:
            return home
    raise RuntimeError(f"no home from seed {seed} on suits")


def _run(home: Home, opened: Minutes) -> NDArray[np.float64]:
    """Channels of every minute, with windows open in those minutes."""
    chance = np.random.default_rng(home.days).random(home.days * DAY)
    weather = np.column_stack([*home.weather, chance])
    monday = int(home.start.astype("datetime64[D]").astype(int) + 3) % 7
    out = np.zeros((home.days * DAY, len(CHANNELS)))
    shut = as_spec(home.spec)
    aired = as_spec({**home.spec, "ach_base": AIRED_ACH})
    state = settle(shut, start_state(shut, float(home.weather.outdoor[0])), weather, home.draws, monday, fast)
    edges = np.flatnonzero(np.diff(opened)) + 1
    for first, last in zip([0, *edges], [*edges, len(opened)], strict=True):
        at = slice(int(first), int(last))
        spec = aired if opened[first] else shut
        fast(spec, state, weather[at], home.draws[at], monday * DAY + int(first), out[at])
    return out


def answer_of(case: ColdCase, seed: int) -> dict[str, Any]:
    """Simulate a complaint and answer it from the readings of its week."""
    home = suitable(seed)
    case.build(home.spec)
    out = _run(home, case.opened(home))
    metered = make_metering(home, "full")
    site = parse_site(tomlkit.dumps(clean(site_tables(home, metered, {"id": f"c{seed}", "name": "C"}))))
    readings = taken(make_frame(home, out, metered), site)
    first = date.fromisoformat(str(home.start))
    last = first + timedelta(DAYS - 1)
    since = last - timedelta(NAMED - 1)
    facts = build_facts(site, readings, first, last)
    hours = hours_of(
        site,
        readings,
        facts.between(since, last),
        facts.between(first, since - timedelta(1)),
        analyse(site, facts, first, last).as_dict(),
        case.asked,
        since,
        last,
    )
    return complaint("cold", hours)
