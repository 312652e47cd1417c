"""Other sources, cascades and surplus electricity of the site file, and the findings that they make
unreliable.

A finding that would blame the heat pump for what another source does, or a unit for what two do, is not
assessed, with the reason. Days on which a boiler may have heated the rooms are left out of what they spoil.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.figures.other_sources import heat_of_both, may_heat_rooms, unknown_turn
from fieldfare.analysis.findings.confidence import Flags
from fieldfare.analysis.findings.excuses import FAMILIES, FAMILY_OF
from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.findings.model import Cause, Finding
from fieldfare.analysis.plant.other_sources import OtherHeat, names_of
from fieldfare.analysis.plant.site import Site

_NOT_A_UNITS = frozenset(
    {
        "short_cycling",
        "excessive_defrost",
        "defrost_without_frost",
        "low_flow",
        "falling_flow",
        "high_standby",
        "efficiency_below_expected",
        "slow_reheat",
    }
)
"""Judged by one unit's runs, flow, standby or rating: the sum of two is neither's."""
_OF_THE_WHOLE = frozenset({"performance_below_promise", "electricity_above_expected"})
"""Set against a design for all heat of the home."""
_OF_BOTH_HEATS = frozenset({*FAMILIES["efficiency"], *FAMILIES["house"], "capacity_short"}) - {
    "electricity_above_expected"
}
_HEAT_ROOMS = frozenset(
    {*FAMILIES["capacity"], *FAMILIES["house"], *FAMILIES["curve"], *FAMILIES["operation"]}
)
_OTHER_SHARE = 0.5
"""Weight of a source beside the heat pump that nobody meters: as likely as all else (common practice)."""


def withheld(site: Site, days: Table, code: str) -> NotAssessed | None:
    """Why a finding can't be judged, given what the site file declares; None where it can.

    days : all days of the period
    """
    for reason in (
        _of_a_cascade(site, code),
        _led_by_surplus(site, code),
        _of_both(site, code),
        _beside(site, days, code),
    ):
        if reason is not None:
            return NotAssessed(reason, "other_source")
    return None


def _of_a_cascade(site: Site, code: str) -> str | None:
    units = site.heat_pump.units
    if units < 2 or code not in _NOT_A_UNITS:
        return None
    return (
        f"{units} heat pumps share the load: runs, defrosts, flow and standby of all together are no unit's"
        " own; each unit's figures stand under units"
    )


def _led_by_surplus(site: Site, code: str) -> str | None:
    pv = site.pv
    if pv is None:
        return None
    if code == "immersion_use" and pv.immersion:
        return "surplus electricity heats the cylinder by the immersion heater, as the site file says"
    if code == "no_weather_compensation" and pv.raises_flow_k > 0.0:
        return "the flow follows surplus electricity besides the weather, as the site file says"
    if code == "heating_out_of_season" and max(pv.raises_flow_k, pv.raises_room_k) > 0.0:
        return "surplus electricity heats the rooms in mild weather, as the site file says"
    if code == "electricity_above_expected":
        return "surplus electricity is stored as heat on purpose: the design does not say how much"
    return None


def _of_both(site: Site, code: str) -> str | None:
    return heat_of_both(site) if code in _OF_BOTH_HEATS and FAMILY_OF.get(code) != "house" else None


def _beside(site: Site, days: Table, code: str) -> str | None:
    rooms, water = site.other_heat_for("space_heating"), site.other_heat_for("hot_water")
    if code in _OF_THE_WHOLE and (rooms or water):
        names = names_of(rooms + water, "a ")
        return f"a {names} gives part of the heat: the design's figure is of all of it"
    if not rooms:
        return None
    name = names_of(rooms, "a ")
    if code == "capacity_short" and any(s.kind == "boiler" for s in rooms):
        cold = _works_below(rooms)
        below = f" below {cold:g} °C" if cold is not None else ""
        return f"a boiler helps to heat the rooms{below}: the heat pump need not hold the design day alone"
    may = may_heat_rooms(site, days)
    if code not in _HEAT_ROOMS or code == "backup_heater_use":
        return None
    if may is None:
        if code in FAMILIES["operation"]:
            return None
        return unknown_turn(name)
    if code in FAMILIES["house"]:
        return None  # the heat loss leaves these days out, or counts their heat
    left = int((~may).sum())
    if left >= limit_of(site, "other_source_fewest_days") or not may.any():
        return None
    return f"a {name} may have heated the rooms on all but {left} days"


def carried_by_boiler(site: Site, days: Table, first: np.datetime64, last: np.datetime64) -> bool:
    """Whether a boiler that works alone carried the rooms, or may have, on every day from first to last."""
    if not any(s.alone for s in site.other_heat):
        return False
    may = may_heat_rooms(site, days)
    here = (days["day"] >= first) & (days["day"] <= last)
    return may is None or not here.any() or bool(may[here].all())


def rests_for_boiler(site: Site, days: Table) -> NotAssessed | None:
    """Why a unit at rest on the newest day is no sign of a fault; None where it is one."""
    newest = days["day"][-1]
    if not carried_by_boiler(site, days, newest, newest):
        return None
    known = may_heat_rooms(site, days) is not None
    when = "works" if known else "may work"
    need = "" if known else ": needs other_heat_output, or other_heat.below_c in the site file"
    return NotAssessed(
        f"the heat pump rests while the boiler works alone, and it {when} now{need}", "other_source"
    )


def _works_below(sources: tuple[OtherHeat, ...]) -> float | None:
    """Outdoor temperature below which the first of them that has one works [°C]."""
    return next((s.below_c for s in sources if s.below_c is not None), None)


def boiler_days(site: Site, days: Table) -> Flags:
    """Days on which another source that the site file names may have heated the rooms: bool (n,)."""
    may = may_heat_rooms(site, days)
    return np.zeros(len(days), dtype=np.bool_) if may is None else may


def boiler_words(site: Site, days: Table, first: int, last: int) -> str:
    """Kind of such a period. first, last : rows of `days`"""
    rooms = site.other_heat_for("space_heating")
    name = names_of(rooms, "a ")
    if days.knows("heat_other_kwh"):
        kwh = float(np.nansum(days.floats("heat_other_kwh")[first : last + 1]))
        return f"A {name} beside the heat pump gave {kwh:.0f} kWh of heat."
    cold = _works_below(rooms)
    return f"Below {cold:g} °C a {name} beside the heat pump may heat the rooms, as the site file says."


def without_blame(site: Site, days: Table, finding: Finding) -> Finding:
    """The finding, where the source beside may be what failed: named among the causes, and looked at
    first."""
    served = {"room_below_target": "space_heating", "hot_water_shortfall": "hot_water"}.get(finding.code)
    if served is None:
        return finding
    sources = site.other_heat_for(served)  # type: ignore[arg-type]
    if not sources or (served == "space_heating" and may_heat_rooms(site, days) is not None):
        return finding  # days with its heat are left out
    name = names_of(sources, "a ")
    use = "the rooms" if served == "space_heating" else "the hot water"
    because = f"a {name} gives part of the heat to {use}, and nothing here meters whether it did"
    causes = (
        Cause("other_source", _OTHER_SHARE, because),
        *(replace(c, weight=c.weight * (1.0 - _OTHER_SHARE)) for c in finding.causes),
    )
    step = f"First ask whether the {name} works: it gives part of the heat to {use}. {finding.next_step}"
    return replace(finding, causes=causes, next_step=step)
