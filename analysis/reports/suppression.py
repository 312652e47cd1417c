"""Withhold figures that rest on distrusted readings: null, with the reason."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.figures.other_sources import heat_of_both
from fieldfare.analysis.findings.context import distrust
from fieldfare.analysis.findings.data.misplaced import HEAT_LOSS_FACTOR, PERFORMANCE_FACTOR
from fieldfare.analysis.findings.data.unreliable_rooms import zones_of
from fieldfare.analysis.findings.model import SEVERITIES, EvidenceCode, Finding
from fieldfare.analysis.findings.other_heat import other_heat_share
from fieldfare.analysis.plant.site import HEAT_QUANTITIES, Site
from fieldfare.analysis.reports.declared_figures import as_declared

if TYPE_CHECKING:
    from fieldfare.analysis.figures.period import Figures

ELECTRICITY = (
    "heat_pump_electricity",
    "backup_heater_electricity",
    "immersion_electricity",
    "circulation_pump_electricity",
)
_FLOW_HEAT = ("flow_rate", "flow_temperature", "return_temperature")
# A clock that is off leaves totals as they are; what belongs to what at which time is lost.
_ONLY_TIMES = "clock_offset"


class Reasons:
    """Why each kind of figure can't be given; None where it can.

    heat, electricity : totals. together : any ratio of the two. times : what happened when
    both : the heat pump's part of a heat meter that counts another source too
    """

    def __init__(self, site: Site, unreliable: Mapping[str, Finding]) -> None:
        self._spoiled = {q: f for q, f in unreliable.items() if _wrecks(f)}
        metered = any(site.measures(q) for q in HEAT_QUANTITIES)
        self.heat: str | None = self.of(*(HEAT_QUANTITIES if metered else (*HEAT_QUANTITIES, *_FLOW_HEAT)))
        self.electricity: str | None = self.of(*ELECTRICITY)
        self.both: str | None = heat_of_both(site)
        self.together: str | None = self.heat or self.electricity or self.both
        self.times: str | None = (
            self.heat
            or self.electricity
            or self.of(*HEAT_QUANTITIES, *ELECTRICITY, "operating_mode", times=True)
        )

    def of(self, *quantities: str, times: bool = False) -> str | None:
        """Why what rests on any of these quantities can't be given."""
        for q in quantities:
            culprit = self._spoiled.get(q)
            if culprit is not None and (times or culprit.code != _ONLY_TIMES):
                return f"withheld: {distrust(q, culprit)}"
        return None


def _wrecks(culprit: Finding) -> bool:
    """Two meters that differ by less than a third leave a figure that is worth seeing beside the finding."""
    return culprit.code != "heat_meter_disagrees" or SEVERITIES.index(culprit.severity) >= 2


def withhold(
    site: Site,
    figures: Figures,
    unreliable: Mapping[str, Finding],
    leak: Finding | None = None,
    facts: Facts | None = None,
    misplaced: Finding | None = None,
) -> Figures:
    """The figures without those that rest on unreliable quantities,
    and wider where heat is known to be missing.

    unreliable : quantity -> the finding that says it can't be trusted, as judge gives them
    facts : of the period, to widen what another heat source makes less sure
    leak : the finding that heat passes between hot water and heating; what the house itself takes is not
        known then
    misplaced : the finding that a meter may measure something else, not sure enough to withhold anything
    """
    why = Reasons(site, unreliable)
    out = _widened(figures, unreliable, misplaced)
    if facts is not None:
        out = _with_other_heat(site, out, facts.days)
    if why.together or why.times:
        out = _without_performance(out, why)
    weather = why.of("outdoor_temperature")
    water = why.of("flow_temperature", "return_temperature")
    if reason := why.times or why.both or weather or water:
        nothing = replace(
            out.expected, value=None, at_own_flow=None, space=None, hot_water=None, reason=reason
        )
        out = out.with_parts(expected=nothing, losses=[])
    passed = f"withheld: heat passes the diverter (since {leak.since})" if leak is not None else None
    if reason := why.heat or weather or why.of("room_temperature") or passed:
        out = _without_house(out, reason, output=bool(why.heat or why.both))
    if reason := weather or why.of("flow_temperature"):
        none = Estimate.none(reason)
        curve = replace(
            out.curve, fitted=None, above_design_k=none, compensating=None, slope=none, reason=reason
        )
        out = out.with_parts(curve=curve)
    if why.of("room_temperature"):
        out = out.with_parts(comfort={})
    elif zones := zones_of(unreliable):
        out = out.with_parts(comfort={name: zone for name, zone in out.comfort.items() if name not in zones})
    if reason := why.of("cylinder_temperature"):
        out = out.with_parts(hot_water=_without_cylinder(out.hot_water, reason))
    out = _without_money(out, why)
    return as_declared(site, out, facts.days) if facts is not None else out


def _without_house(figures: Figures, reason: str, *, output: bool) -> Figures:
    """Without the house's loss and what the unit has to spare over it;
    with `output` without its output too."""
    none = Estimate.none(reason)
    loss = replace(
        figures.heat_loss,
        coefficient=none,
        heat_loss_kw=none,
        ratio=none,
        load_kw=none,
        base_temperature_c=None,
        gains_w=None,
    )
    capacity = replace(figures.capacity, load_kw=none, margin=none)
    if output:
        capacity = replace(capacity, output_at_design_kw=none, measured_share=None)
    return figures.with_parts(heat_loss=loss, capacity=capacity)


def _widened(figures: Figures, unreliable: Mapping[str, Finding], misplaced: Finding | None) -> Figures:
    """Widen intervals to both values where the heat meter and flow with temperatures disagree, or a meter may
    measure something else."""
    culprit = unreliable.get("heat_output") or unreliable.get("space_heat")
    if culprit is not None and culprit.code == "heat_meter_disagrees":
        ratio = _number(culprit, "heat_meter_ratio")
        return _wide(figures, ratio, ratio)
    if misplaced is not None:
        return _wide(figures, _number(misplaced, PERFORMANCE_FACTOR), _number(misplaced, HEAT_LOSS_FACTOR))
    return figures


def _number(finding: Finding, code: EvidenceCode) -> float:
    """A finding's evidence by its code; 1 without it."""
    value = next((e.value for e in finding.evidence if e.code == code), None)
    return float(value) if isinstance(value, float | int) and value > 0.0 else 1.0


def _wide(figures: Figures, performance: float, heat: float) -> Figures:
    """Widen to what figures are if they are metered over true by a factor: of performance, and of heat."""

    def wide(estimate: Estimate, apparent: float) -> Estimate:
        if estimate.value is None or estimate.low is None or estimate.high is None:
            return estimate
        low, high = estimate.low / max(apparent, 1.0), estimate.high / min(apparent, 1.0)
        return Estimate(estimate.value, low, high)

    p, loss, capacity = figures.performance, figures.heat_loss, figures.capacity
    return figures.with_parts(
        performance=replace(
            p,
            boundaries={name: wide(e, performance) for name, e in p.boundaries.items()},
            space_heating=wide(p.space_heating, performance),
            hot_water=wide(p.hot_water, performance),
        ),
        heat_loss=replace(
            loss,
            coefficient=wide(loss.coefficient, heat),
            heat_loss_kw=wide(loss.heat_loss_kw, heat),
            ratio=wide(loss.ratio, heat),
            load_kw=wide(loss.load_kw, heat),
        ),
        capacity=replace(
            capacity,
            output_at_design_kw=wide(capacity.output_at_design_kw, heat),
            load_kw=wide(capacity.load_kw, heat),
        ),
    )


def _with_other_heat(site: Site, figures: Figures, days: Table) -> Figures:
    """Widen the house's intervals for heat that no meter shows, such as a stove's."""
    loss = figures.heat_loss
    share = other_heat_share(site, days)
    if share > 0.0:

        def more(estimate: Estimate) -> Estimate:
            if estimate.value is None or estimate.high is None:
                return estimate
            return replace(estimate, high=estimate.high * (1.0 + share))

        loss = replace(
            loss,
            coefficient=more(loss.coefficient),
            heat_loss_kw=more(loss.heat_loss_kw),
            ratio=more(loss.ratio),
            load_kw=more(loss.load_kw),
        )
    return figures.with_parts(heat_loss=loss)


def _without_performance(figures: Figures, why: Reasons) -> Figures:
    p = figures.performance
    by_use = Estimate.none(why.times or why.both or "")
    if why.together:
        none = Estimate.none(why.together)
        p = replace(
            p,
            boundaries=dict.fromkeys(p.boundaries, none),
            renewable_kwh=None,
            cooling=none,
            by_month=[_bare(row, why) for row in p.by_month],
            by_day=[_bare(row, why) for row in p.by_day],
        )
    p = replace(p, space_heating=by_use, hot_water=by_use)
    out = figures.with_parts(performance=p)
    if why.electricity or why.of("heat_pump_electricity", times=True):
        reason = why.times or ""
        if "counter" not in out.cycling.basis:
            out = out.with_parts(cycling=out.cycling.withheld(reason))
        out = out.with_parts(defrost=out.defrost.withheld(reason))
    return out


def _bare(row: dict[str, Any], why: Reasons) -> dict[str, Any]:
    """A month's or day's row without what can't be trusted."""
    lost = {"H1", "H2", "H3", "H4", "space_heating"}
    lost |= {"heat_kwh"} if why.heat else set()
    lost |= {"electricity_kwh"} if why.electricity else set()
    return {k: None if k in lost else v for k, v in row.items()}


def _without_cylinder(figures: Any, reason: str) -> Any:
    lost = (
        "litres_at_40c_when_full",
        "minutes_below_40c_per_week",
        "standing_loss_kwh_per_day",
        "standing_loss_w_per_k",
        "last_pasteurised",
    )
    return replace(figures, **dict.fromkeys(lost), reasons=figures.reasons | dict.fromkeys(lost, reason))


def _without_money(figures: Figures, why: Reasons) -> Figures:
    m = figures.money
    if why.electricity:
        reasons = m.reasons | {"total": why.electricity}
        m = replace(m, total=None, running_cost=None, co2_kg=None, mean_price=None, reasons=reasons)
    if reason := why.heat or why.both:
        reasons = m.reasons | {"previous_fuel_total": reason}
        m = replace(
            m, previous_fuel_total=None, previous_fuel_kwh=None, previous_fuel_co2_kg=None, reasons=reasons
        )
    return figures.with_parts(money=m)
