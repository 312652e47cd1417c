"""Faults: what changes in the plant or in its sensors, and what an engineer expects to be told."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.reference.plants_b.homes import Home

STRENGTHS = ("faint", "plain", "gross")
SEVERITY = ("note", "watch", "watch")
ALL_VERDICTS = ["in_order", "not_known", "watch", "act", "urgent"]


@dataclass(frozen=True)
class Fault:
    """One kind of fault.

    `change(home, x, day)` applies it at strength x; `codes` are alternatives, any of which tells it;
    `needs` are alternative sets of quantities, one of which must be measured at `spacing` seconds or finer
    to see it.
    """

    kind: str
    title: str
    x: tuple[float, float, float]
    change: Callable[[Home, float, int], None]
    codes: tuple[str, ...]
    needs: tuple[tuple[str, ...], ...]
    causes: tuple[str, ...] = ()
    may: tuple[str, ...] = ()
    must_not: tuple[str, ...] = ()
    wish: dict[str, Any] = field(default_factory=dict)
    mid: bool = False  # starts within the period
    spacing: int = 300
    severity: tuple[str, str, str] = SEVERITY
    start: str | None = None  # month and day of the first day
    kinds: tuple[str, ...] = ()  # metering kinds it may be given, empty: all
    tune: Callable[[Home], None] | None = None


def later(home: Home, day: float, **values: float) -> None:
    """Change parameters at a day."""
    home.events.append((home.minute(day), lambda sim: sim.set(**values)))


def later_scale(home: Home, day: float, **factors: float) -> None:
    """Multiply parameters at a day."""
    home.events.append((home.minute(day), lambda sim: sim.scale(**factors)))


def slide(home: Home, day: int, length: int, name: str, goal: float) -> None:
    """Move a parameter to `goal` in equal daily steps."""
    first = home.par[name]
    for i in range(1, length + 1):
        later(home, day + i, **{name: first + (goal - first) * i / length})


def state(home: Home, day: float, **values: float) -> None:
    """Change the state (for instance a lock-out) at a day."""

    def change(sim) -> None:
        for name, value in values.items():
            sim.s[name][0] = value

    home.events.append((home.minute(day), change))


def visible(fault: Fault, metering) -> bool:
    """True where the metering can show the fault."""
    if metering.spacing_s > fault.spacing:
        return False
    return any(metering.has(*need) for need in fault.needs)


def truth_of(fault: Fault, strength: str, home: Home, day: int, metering, x: float) -> dict[str, Any]:
    """The truth of a fault under the metering it got."""
    level = STRENGTHS.index(strength)
    seen = visible(fault, metering)
    must = [{"any_of": list(fault.codes), "severity_at_least": fault.severity[level]}] if seen else []
    wrong = ["in_order"] if seen and fault.severity[level] != "note" else []
    verdict = [v for v in ALL_VERDICTS if v not in wrong]
    return {
        "fault": {
            "kind": fault.kind,
            "strength": strength,
            "since": home.date(day) if fault.mid else None,
            "parameters": {"x": x},
        },
        "must": must,
        "first_cause": list(fault.causes) if seen else [],
        "may": sorted({*fault.codes, *fault.may}),
        "must_not": list(fault.must_not),
        "verdict": {"in": verdict},
    }


def onset(rng: np.random.Generator, days: int) -> int:
    """A day for the fault to start: after enough healthy weeks to compare."""
    return int(rng.integers(int(days * 0.35), int(days * 0.6)))
