"""What other sources give, when they may heat the rooms, and each unit of a cascade by its own meters."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table, fill_nan
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.figures.operation import COARSEST_RUN_MIN
from fieldfare.analysis.figures.performance import MeterColumns, relative_limits
from fieldfare.analysis.figures.sums import known_sum
from fieldfare.analysis.minutes.balance import meter_counts_other
from fieldfare.analysis.physics.metering import heat_meter_mpe
from fieldfare.analysis.plant.other_sources import OtherHeat, names_of
from fieldfare.analysis.plant.site import Site

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_LEAST_KWH = 0.5  # of a day: below it a meter's steps and its drift at rest (common practice)
_LEAST_USED_KWH = 0.5
_USUAL_LIFT_K, _USUAL_FLOW_SHARE = 10.0, 0.5  # of a boiler's circuit (common practice)


def may_heat_rooms(site: Site, days: Table) -> Flags | None:
    """Days on which another source may have heated the rooms, and the day after each: bool (n,).

    By its meter, else by the outdoor temperature below which the site file lets it work. None where neither
    tells. A stove is left to what the rooms show, where they are measured.
    """
    flags = np.zeros(len(days), dtype=np.bool_)
    for source in site.other_heat_for("space_heating"):
        mine = _may_work(site, days, source)
        if mine is None:
            return None
        flags |= mine
    # Radiators, floors and rooms carry the heat on.
    return flags | np.concatenate(([False], flags[:-1])) if len(flags) else flags


def by_the_pump_alone(site: Site, days: Table) -> Flags:
    """Days on which no other source that the site file names heated the rooms: bool (n,).

    Raises NotAssessed where it is not known when one does.
    """
    may = may_heat_rooms(site, days)
    if may is None:
        raise NotAssessed(unknown_turn(site.other_heat_for("space_heating")[0].name), "other_source")
    return ~may


def unknown_turn(name: str) -> str:
    """Reason why figures of the heat pump's own days are unknown. name : of the other source"""
    return (
        f"a {name} heats the rooms too, and when is not known: needs other_heat_output, or other_heat.below_c"
        " in the site file"
    )


def _may_work(site: Site, days: Table, source: OtherHeat) -> Flags | None:
    nothing = np.zeros(len(days), dtype=np.bool_)
    if days.knows("heat_other_kwh"):
        return np.asarray(fill_nan(days.floats("heat_other_kwh"), np.inf) > _LEAST_KWH)
    if source.kind == "stove" and days.knows("room"):
        return nothing
    if source.below_c is None or not days.knows("outdoor_min"):
        return None
    return np.asarray(fill_nan(days.floats("outdoor_min"), -np.inf) < source.below_c)


def counts_whole_house(site: Site) -> bool:
    """Whether the meters' heat to the rooms is that of every source."""
    split = site.includes("space_heat", "other_heat")
    return split or heat_of_both(site) is not None


def house_heat(site: Site, days: Table, heat: Floats) -> Floats:
    """Heat to the rooms from all sources [kWh], nan on days on which another source's part is not known.

    heat : the heat pump's, float64 (n,)
    """
    sources = site.other_heat_for("space_heating")
    if not sources or counts_whole_house(site):
        return heat
    only_rooms = all(s.serves == ("space_heating",) for s in site.other_heat)
    if days.knows("heat_other_kwh") and only_rooms:
        return heat + days.floats("heat_other_kwh")
    unknown = may_heat_rooms(site, days)
    return np.full(len(days), np.nan) if unknown is None else np.where(unknown, np.nan, heat)


def heat_of_both(site: Site) -> str | None:
    """Reason why the heat meters don't show the heat pump alone; None if they do."""
    if not meter_counts_other(site) or site.measures("other_heat_output"):
        return None
    return (
        f"the heat meter also counts the {names_of(site.other_heat)}: needs other_heat_output to tell the"
        " heat pump's part"
    )


@dataclass(frozen=True)
class OtherHeatFigures:
    """sources : as the site file has them, each with kind, serves, below_c, alone
    heat_kwh : of all of them, by their meter. share : of all heat to house and cylinder. days :
        with their heat
    """

    sources: list[dict[str, Any]]
    heat_kwh: float | None
    share: Estimate
    days: int | None
    reason: str


def other_heat_figures(site: Site, days: Table) -> OtherHeatFigures | None:
    """Heat of other sources and its share; None where the site file has none."""
    if not site.other_heat:
        return None
    sources = [s.model_dump() | {"serves": list(s.serves)} for s in site.other_heat]
    heat, own = known_sum(days, "heat_other_kwh"), known_sum(days, "heat_total_kwh")
    if heat is None:
        reason = "needs other_heat_output"
        return OtherHeatFigures(sources, None, Estimate.none(reason), None, reason)
    count = int((fill_nan(days.floats("heat_other_kwh"), 0.0) > _LEAST_KWH).sum())
    if own is None or own + heat <= 0.0:
        return OtherHeatFigures(sources, heat, Estimate.none("needs heat_output"), count, "needs heat_output")
    share = heat / (own + heat)
    spread = share * (1.0 - share) * math.hypot(_own_error(days, own), _meter_error(site))
    missing = 1.0 - min(days.total("minutes_other_known"), days.total("minutes_heat_known")) / max(
        days.total("minutes_total"), 1.0
    )
    half = spread + missing * share
    return OtherHeatFigures(
        sources, heat, Estimate(share, max(share - half, 0.0), min(share + half, 1.0)), count, ""
    )


def _own_error(days: Table, heat: float) -> float:
    return math.hypot(days.total("heat_flow_error_kwh"), days.total("heat_pair_error_kwh")) / max(heat, 1e-9)


def _meter_error(site: Site) -> float:
    """Relative error limit of the other source's heat meter, class 2 unless the site file has another."""
    given = [p.meter_class for p in site.points_of("other_heat_output") if p.meter_class in ("1", "2", "3")]
    grade: Any = max(given, default="2")
    limit = heat_meter_mpe(_USUAL_LIFT_K, _USUAL_FLOW_SHARE, grade)
    return math.hypot(float(limit.flow_sensor), float(limit.temperature_pair + limit.calculator))


@dataclass(frozen=True)
class UnitFigures:
    """One unit of a cascade by its own points; None with a reason where it has no meter of its own.

    performance : heat over electricity, of the unit alone (H2). share_of_heat : of the heat of all units
    """

    unit: int
    electricity_kwh: float | None
    heat_kwh: float | None
    performance: Estimate
    share_of_heat: float | None
    starts: int | None
    starts_per_running_hour: float | None
    running_hours: float | None
    defrosts: int | None
    reasons: dict[str, str]

    def as_dict(self) -> dict[str, Any]:
        return asdict(self) | {"performance": self.performance.as_dict()}


def unit_figures(site: Site, days: Table) -> list[UnitFigures]:
    """Every unit of a cascade; empty for a single heat pump."""
    if site.heat_pump.units < 2:
        return []
    numbers = range(1, site.heat_pump.units + 1)
    heats = [known_sum(days, f"unit_heat_kwh.{n}") for n in numbers]
    known = [h for h in heats if h is not None]
    total = sum(known) if len(known) == len(heats) else None
    return [_unit(site, days, n, total) for n in numbers]


def _unit(site: Site, days: Table, number: int, total: float | None) -> UnitFigures:
    def of(name: str) -> str:
        return f"{name}{number}"

    reasons: dict[str, str] = {}
    used, heat, paired = (
        known_sum(days, of(name)) for name in ("unit_used_kwh.", "unit_heat_kwh.", "unit_electricity_kwh.")
    )
    own = f"with heat_pump = {number}"
    performance = Estimate.none(f"needs heat_pump_electricity and heat_output {own}")
    if heat is not None and paired is not None and paired > _LEAST_USED_KWH:
        low, high = relative_limits(
            site,
            days,
            heat,
            paired,
            MeterColumns(
                of("unit_heat_kwh."),
                of("unit_flow_error_kwh."),
                of("unit_pair_error_kwh."),
                of("minutes_unit_paired."),
            ),
        )
        performance = Estimate(heat / paired, heat / paired * low, heat / paired * high)
    if not performance:
        reasons["performance"] = performance.reason
    starts = hours = rate = defrosts = None
    known_minutes = known_sum(days, of("minutes_unit_known.")) or 0.0
    spacing = (
        days.floats(of("unit_running_spacing_min."))
        if of("unit_running_spacing_min.") in days
        else np.array([np.inf])
    )
    if known_minutes > 0.0 and float(np.nanmin(spacing)) <= COARSEST_RUN_MIN:
        starts, hours = int(days.total(of("unit_starts."))), days.total(of("minutes_unit_running.")) / 60.0
        defrosts = int(days.total(of("unit_defrosts.")))
        rate = starts / hours if hours >= 1.0 else None
    else:
        reasons["starts"] = f"needs heat_pump_electricity or operating_mode {own} every 15 minutes or closer"
    if used is None:
        reasons["electricity_kwh"] = f"needs heat_pump_electricity {own}"
    share = heat / total if heat is not None and total else None
    return UnitFigures(number, used, heat, performance, share, starts, rate, hours, defrosts, reasons)
