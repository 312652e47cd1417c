"""An invented fleet for the demo: fourteen systems with made-up names, a third of them healthy."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

from fieldfare.collector.simulated.design.spec import Household, PlantSpec
from fieldfare.collector.simulated.plant import (
    Simulated,
    random_plant,
    simulate,
    with_fault,
    with_oddity,
)

YEAR_AND_MORE = 425  # days: fourteen months of minutes
WEEKS = 112  # days: sixteen weeks


@dataclass(frozen=True)
class DemoSystem:
    """One demo system: spec, length of its readings, and its fault in a few words."""

    spec: PlantSpec
    start: date
    days: int
    story: str

    def simulate(self) -> Simulated:
        """Run it."""
        return simulate(self.spec, self.start, self.days)


@dataclass(frozen=True)
class _Plan:
    id: str
    name: str
    seed: int
    climate: str
    meters: str
    story: str
    fault: tuple[str, str | None, str] | None = None
    every_s: int = 300
    long: bool = False
    control: Literal["thermostat", "compensation"] | None = None
    emitter: str | None = None
    buffer: str | None = None
    oddity: str | None = None


PLANS = (
    _Plan(
        "rowan-bank",
        "Rowan Bank",
        101,
        "mild",
        "rich",
        "healthy, fourteen months",
        every_s=60,
        long=True,
        control="thermostat",
        emitter="radiator",
    ),
    _Plan(
        "lark-meadow",
        "Lark Meadow",
        102,
        "mild",
        "rich",
        "efficiency fell one day last winter",
        ("efficiency_fell", "step", "plain"),
        every_s=60,
        long=True,
        control="compensation",
        emitter="radiator",
    ),
    _Plan("hazel-corner", "Hazel Corner", 103, "mild", "rich", "healthy, floors", emitter="underfloor"),
    _Plan(
        "wren-house",
        "Wren House",
        104,
        "continental",
        "no_room",
        "healthy, no room sensor",
        emitter="radiator",
    ),
    _Plan(
        "linden-yard",
        "Linden Yard",
        105,
        "mild",
        "rich",
        "healthy, a fortnight away",
        emitter="mixed",
        buffer="parallel",
        oddity="away",
    ),
    _Plan(
        "osier-bed",
        "Osier Bed",
        106,
        "mild",
        "hourly",
        "healthy, two registers read by the hour",
        every_s=3600,
    ),
    _Plan(
        "ash-hollow",
        "Ash Hollow",
        107,
        "mild",
        "rich",
        "unit too big for mild days",
        ("short_cycling", "oversized_for_mild_load", "plain"),
        every_s=120,
        control="compensation",
        emitter="radiator",
    ),
    _Plan(
        "plover-rise",
        "Plover Rise",
        108,
        "mild",
        "rich",
        "leaves before the coil",
        ("excessive_defrost", "coil_airflow", "plain"),
        every_s=120,
        emitter="radiator",
    ),
    _Plan(
        "juniper-steps",
        "Juniper Steps",
        109,
        "mild",
        "rich",
        "curve set high",
        ("flow_temperature_above_curve", "curve_set_high", "plain"),
        emitter="radiator",
    ),
    _Plan(
        "teal-pond",
        "Teal Pond",
        110,
        "mild",
        "rich",
        "strainer clogging",
        ("falling_flow", "strainer_clogging", "plain"),
        emitter="radiator",
        buffer="none",
    ),
    _Plan(
        "maple-turn",
        "Maple Turn",
        111,
        "continental",
        "rich",
        "bivalent point set high",
        ("backup_heater_use", "bivalent_set_high", "plain"),
        emitter="radiator",
    ),
    _Plan(
        "barley-piece",
        "Barley Piece",
        112,
        "mild",
        "rich",
        "hot water circulates all day",
        ("high_standing_loss", "secondary_circulation", "plain"),
        emitter="radiator",
    ),
    _Plan(
        "dunnock-lane",
        "Dunnock Lane",
        113,
        "mild",
        "unsplit",
        "house leakier than designed",
        ("heat_loss_above_design", None, "plain"),
        emitter="radiator",
    ),
    _Plan(
        "siskin-field",
        "Siskin Field",
        114,
        "upland",
        "rich",
        "heating circuit loses water",
        ("pressure_falling", None, "plain"),
        emitter="radiator",
    ),
)


def first_day(today: date) -> date:
    """First day of the shorter systems: sixteen weeks ago, or 1 December where those have no cold weather."""
    start = today - timedelta(days=WEEKS)
    if 6 <= today.month <= 10:
        return date(today.year - 1, 12, 1)
    return start


def demo_fleet(today: date) -> list[DemoSystem]:
    """The demo's systems, readings ending with yesterday.

    today : date
    Returns list of DemoSystem, fourteen, the same for the same day.
    """
    out: list[DemoSystem] = []
    for plan in PLANS:
        start = today - timedelta(days=YEAR_AND_MORE) if plan.long else first_day(today)
        spec = random_plant(
            plan.seed,
            plan.climate,
            plan.meters,
            control=plan.control,
            emitter=plan.emitter,
            buffer=plan.buffer,
            hot_water=True,
            every_s=plan.every_s,
        )
        spec = replace(
            spec, id=plan.id, name=plan.name, handed_over=start, contact=_household(plan, len(out), spec)
        )
        if plan.oddity is not None:
            spec = with_oddity(spec, plan.oddity)
        if plan.fault is not None:
            code, cause, strength = plan.fault
            begins = _last_winter(today, start) if code == "efficiency_fell" else None
            spec = with_fault(spec, code, cause, strength, begins)
        out.append(DemoSystem(spec, start, (today - start).days, plan.story))
    return out


_FIRST_NAMES = ("A.", "B.", "C.", "D.", "E.", "F.", "G.", "H.", "J.", "K.", "L.", "M.", "N.", "P.")
_ACCESS = (
    "Key in the box at the side door",
    "Ring first: night shifts",
    "Dog in the garden",
    "Plant room behind the garage",
)
_COUNTRY = {"mild": "Lowland", "continental": "Valley", "upland": "Hills"}
"""Where homes of a climate lie: an area is what one drive can reach."""
_SPREAD_DEG = 0.35
"""Maximum distance of invented homes from their weather's place: about 40 km."""


def _household(plan: _Plan, n: int, spec: PlantSpec) -> Household:
    """Invented people and place, with phone numbers reserved for drama use (Ofcom)."""
    draw = random.Random(plan.seed)  # noqa: S311 (nothing secret)
    lat, lon = (draw.uniform(-_SPREAD_DEG, _SPREAD_DEG) for _ in range(2))
    return Household(
        name=f"{_FIRST_NAMES[n % len(_FIRST_NAMES)]} {plan.name.split()[0]}",
        phone=f"+44 1632 960{100 + n}",
        address=f"{2 * n + 1} {plan.name}, Exampleton",
        latitude=round(spec.climate.latitude + lat, 4),
        longitude=round(spec.climate.longitude + lon, 4),
        area=f"{_COUNTRY[plan.climate]}, {'north' if lat > 0 else 'south'}",
        access_notes=_ACCESS[n % 4] if n % 3 == 0 else None,
    )


def _last_winter(today: date, start: date) -> date:
    """A day in the latest winter with some weeks of cold weather on either side if possible."""
    for year in (today.year, today.year - 1):
        day = date(year, 1, 10)
        if start + timedelta(days=21) < day < today - timedelta(days=28):
            return day
    return start + (today - start) // 2
