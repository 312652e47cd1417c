"""The result document of a site and period, which every page and paper reads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from datetime import date
from typing import Any

import numpy as np

from fieldfare.analysis.errors import InputError
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.facts.tables import METHOD_VERSION, Facts
from fieldfare.analysis.facts.unfinished import minutes_to_come
from fieldfare.analysis.figures.capacity import Capacity
from fieldfare.analysis.figures.comfort import Zone, comfort
from fieldfare.analysis.figures.electricity_days import filled_with_zeros
from fieldfare.analysis.figures.estimate import Estimate
from fieldfare.analysis.figures.fitted_curve import FittedCurve
from fieldfare.analysis.figures.heat_loss import HeatLoss
from fieldfare.analysis.figures.hot_water import HotWaterFigures
from fieldfare.analysis.figures.loss_lines import accounted
from fieldfare.analysis.figures.money import Money
from fieldfare.analysis.figures.other_sources import OtherHeatFigures
from fieldfare.analysis.figures.period import Figures
from fieldfare.analysis.figures.sums import known_sum
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.exclusions import DAYS_TO_WARM_UP
from fieldfare.analysis.findings.heat.promise import promise_kept
from fieldfare.analysis.findings.judge import judge
from fieldfare.analysis.findings.model import Finding, NotAssessedCode, Recognised
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.reports.fleet import worst_findings_first
from fieldfare.analysis.reports.suppression import Reasons, withhold
from fieldfare.analysis.reports.verdict import RECENT_DAYS, verdict


@dataclass(frozen=True)
class Result:
    """A site's result over local days first..last. `as_dict` is the contract's section 5 document."""

    site: Site
    first: date
    last: date
    facts: Facts
    figures: Figures
    findings: tuple[Finding, ...] = ()
    not_assessed: tuple[NotAssessedCode, ...] = ()
    recognised: tuple[Recognised, ...] = field(default=())
    unreliable: dict[str, Finding] = field(default_factory=dict)

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready: no nan, no numpy, None where a figure can't be had."""
        f = self.figures
        document = {
            "site": self.site.id,
            "name": self.site.name,
            "method": METHOD_VERSION,
            "period": {
                "from": self.first.isoformat(),
                "to": self.last.isoformat(),
                "timezone": self.site.timezone,
            },
            "coverage": _coverage(self.site, self.facts),
            "energy": _energy(self.facts, f, Reasons(self.site, self.unreliable)),
            "performance": _performance(f),
            "promise": self._promise(),
            "losses": _losses(self),
            "heat_loss": _heat_loss(f.heat_loss),
            "capacity": _capacity(f.capacity),
            "heating_curve": _curve(f.curve),
            "cycling": asdict(f.cycling),
            "defrost": asdict(f.defrost),
            "hot_water": _hot_water(f.hot_water),
            "comfort": _comfort(self.facts.days, f.comfort, self.recognised),
            "cost": _cost(f.money),
            "other_heat": _other_heat(f.other_heat),
            "units": [unit.as_dict() for unit in f.units],
            "from_electricity": f.from_electricity.as_dict() if f.from_electricity else None,
            "findings": [x.as_dict() for x in self.findings],
            "not_assessed": [asdict(x) for x in self.not_assessed],
            "recognised": [asdict(x) for x in self.recognised],
        }
        document["verdict"] = verdict(self.site, document)
        return _clean(document)

    def _promise(self) -> list[dict[str, Any]]:
        """See `promise_kept`; nothing where the finding about it could not judge, such as beside a boiler."""
        if any(x.code == "performance_below_promise" for x in self.not_assessed):
            return []
        return promise_kept(Context(self.site, self.facts, self.facts, self.figures))


def analyse(site: Site, facts: Facts, first: date, last: date) -> Result:
    """Figures and findings of the local days first..last.

    facts : Facts of at least these days. Returns Result. Raises InputError if no day of the period has any
        reading.
    """
    chosen = facts.between(first, last)
    if not len(chosen.days) or chosen.days.total("minutes_any_known") == 0:
        raise InputError(f"{site.id}: no readings from {first} to {last}")
    found = Figures(site, chosen)
    judged = judge(site, chosen, found)
    told = {f.code: f for f in judged.findings}
    leak = told.get("diverter_passing")
    sure = leak if leak is not None and leak.severity != "note" else None
    shown = withhold(site, found, judged.unreliable, sure, chosen, told.get("meter_misplaced"))
    findings = _in_order(judged.findings, last)
    return Result(
        site, first, last, chosen, shown, findings, judged.not_assessed, judged.recognised, judged.unreliable
    )


def findings_of(
    site: Site, facts: Facts, first: date, last: date, codes: frozenset[str]
) -> tuple[Finding, ...]:
    """As the findings of `analyse` with these codes, without what the others and the document cost."""
    chosen = facts.between(first, last)
    if not len(chosen.days) or chosen.days.total("minutes_any_known") == 0:
        raise InputError(f"{site.id}: no readings from {first} to {last}")
    judged = judge(site, chosen, Figures(site, chosen), codes)
    found = [f for f in judged.findings if f.code in codes]
    return _in_order(found, last)


def _in_order(findings: Sequence[Finding], last: date) -> tuple[Finding, ...]:
    order = [f["code"] for f in worst_findings_first([f.as_dict() for f in findings], last)]
    return tuple(sorted(findings, key=lambda f: order.index(f.code)))


def _coverage(site: Site, facts: Facts) -> dict[str, Any]:
    days = facts.days
    total = max(days.total("minutes_total") - minutes_to_come(facts, site.zone), 1.0)
    points = {c.removeprefix("seen."): days.total(c) / total for c in days.names if c.startswith("seen.")}
    # The weakest of heat and electricity carries the figures; a period without either is judged by what there
    # is.
    energy = [
        days.total(c) / total
        for c in ("minutes_electricity_known", "minutes_heat_known")
        if days.total(c) > 0
    ]
    share = min(energy) if energy else days.total("minutes_any_known") / total
    if points and energy:
        share = min(share, days.total("minutes_any_known") / total)
    share -= (
        float(days.floats("minutes_total")[filled_with_zeros(days)].sum()) / total
    )  # zeros in place of readings
    return {"share": share, "points": points}


def _energy(facts: Facts, figures: Figures, why: Reasons) -> dict[str, Any]:
    days, blurred = facts.days, figures.performance.blurred

    def total(column: str) -> float | None:
        return known_sum(days, column)

    undetermined = days.total("electricity_undetermined_kwh") > 0.05 * max(
        days.total("electricity_total_kwh"), 1e-9
    )
    undetermined |= blurred is not None
    by_use = {
        name: None if undetermined else total(f"electricity_{column}_kwh")
        for name, column in (("space_heating", "space"), ("hot_water", "hot_water"), ("defrost", "defrost"))
    }
    split = "spacing.hot_water_heat" in days and "spacing.space_heat" in days
    heat_by_use = days.total("minutes_heat_use_known") > 0.5 * days.total("minutes_heat_known") > 0
    heat_by_use = heat_by_use and blurred is None and (split or not undetermined)
    electricity = {
        "total": total("electricity_total_kwh"),
        "heat_pump": total("electricity_heat_pump_kwh"),
        "backup_heater": total("electricity_backup_kwh"),
        "immersion": total("electricity_immersion_kwh"),
        "circulation_pump": total("electricity_pump_kwh"),
        **by_use,
        "idle": total("electricity_idle_kwh"),
        "cooling": total("electricity_cooling_kwh"),
    }
    # Heat of the uses is the unit's own; a heater's stands beside it, and H3 and H4 count both.
    metered = days.knows("electricity_backup_kwh") or days.knows("electricity_immersion_kwh")
    added = days.total("heat_added_space_kwh") + days.total("heat_added_hot_water_kwh") if metered else None
    heat = {
        "total": total("heat_total_kwh"),
        "direct_electric": added,
        "space_heating": total("heat_space_kwh") if heat_by_use else None,
        "hot_water": total("heat_hot_water_kwh") if heat_by_use else None,
        "defrost_taken": total("heat_defrost_taken_kwh") if heat_by_use else None,
        "cooling": total("heat_cooling_kwh"),
    }
    unseen = None
    if figures.defrost.reason and figures.defrost.count is None and days.total("minutes_defrost") > 0:
        # A sampled mode says that there are defrosts, not how long and how deep each is.
        electricity["defrost"], heat["defrost_taken"] = None, None
        unseen = f"defrosts: {figures.defrost.reason}"
    if figures.defrost.taken_reason:
        heat["defrost_taken"], unseen = None, f"defrosts: {figures.defrost.taken_reason}"
    reason = why.heat or why.electricity or why.both or why.times
    if why.times:  # totals stand, what they went to does not
        electricity |= dict.fromkeys(("space_heating", "hot_water", "defrost", "idle"))
        heat |= dict.fromkeys(("space_heating", "hot_water", "defrost_taken"))
    if why.electricity:
        electricity = dict.fromkeys(electricity)
    if why.heat or why.both:
        heat = dict.fromkeys(heat)
    return {
        "electricity_kwh": electricity,
        "heat_kwh": heat,
        "reason": reason
        or blurred
        or ("the meters can't tell heating from hot water" if undetermined else unseen),
    }


def _performance(f: Figures) -> dict[str, Any]:
    p = f.performance
    out: dict[str, Any] = {name: e.as_dict() for name, e in p.boundaries.items()}
    out["space_heating"], out["hot_water"] = p.space_heating.as_dict(), p.hot_water.as_dict()
    reasons = {name: e.reason for name, e in p.boundaries.items() if not e}
    reasons |= {
        n: e.reason for n, e in (("space_heating", p.space_heating), ("hot_water", p.hot_water)) if not e
    }
    out["cooling"] = p.cooling.as_dict()
    if not p.cooling:
        reasons["cooling"] = p.cooling.reason
    x = f.expected
    out["expected"] = (
        {
            "value": x.value,
            "basis": x.basis,
            "at_own_flow": x.at_own_flow,
            "space_heating": x.space,
            "hot_water": x.hot_water,
            "measured_space_heating": x.measured_space,
            "measured_hot_water": x.measured_hot_water,
        }
        if x.value is not None
        else None
    )
    if x.value is None:
        reasons["expected"] = x.reason
    for name, rows, apart in (("by_month", p.by_month, "4 days"), ("by_day", p.by_day, "6 hours")):
        if not rows:
            reasons[name] = f"needs heat_pump_electricity every {apart} or closer; ask for a period by itself"
    out["renewable_heat_kwh"] = p.renewable_kwh
    out["energies"] = {
        name: {"heat_kwh": heat, "electricity_kwh": used}
        for name, (heat, used) in p.energies.items()
        if out[name] is not None
    }
    out["reasons"] = reasons
    out["by_month"], out["by_day"] = p.by_month, p.by_day
    return out


def _losses(result: Result) -> list[dict[str, Any]]:
    accounted_by = accounted(result.site, result.facts, result.figures.losses, result.findings)
    return [asdict(loss) | {"accounted_by": accounted_by.get(loss.cause)} for loss in result.figures.losses]


def _heat_loss(h: HeatLoss) -> dict[str, Any]:
    return {
        "coefficient_w_per_k": h.coefficient.as_dict(),
        "heat_loss_kw": h.heat_loss_kw.as_dict(),
        "design_kw": h.design_kw,
        "ratio": h.ratio.as_dict(),
        "load_kw": h.load_kw.as_dict(),
        "base_temperature_c": h.base_temperature_c,
        "free_gains_w": h.gains_w,
        "days_used": h.days_used,
        "method": h.method,
        "reason": h.reason or None,
        "reason_code": h.reason_code or None,
    }


def _capacity(c: Capacity) -> dict[str, Any]:
    return {
        "output_at_design_kw": c.output_at_design_kw.as_dict(),
        "load_kw": c.load_kw.as_dict(),
        "margin": c.margin.as_dict(),
        "measured_share_of_rating": c.measured_share,
        "basis": c.basis,
        "reason": c.margin.reason or None,
    }


def _curve(c: FittedCurve) -> dict[str, Any]:
    return {
        "fitted": [list(p) for p in c.fitted] if c.fitted else None,
        "above_design_k": c.above_design_k.value,
        "compensating": c.compensating,
        "slope": c.slope.as_dict(),
        "designed_slope": c.designed_slope,
        "reason": c.reason or c.above_design_k.reason or None,
        "reason_code": c.reason_code or None,
    }


def _hot_water(h: HotWaterFigures) -> dict[str, Any]:
    return asdict(h)


def _comfort(days: Table, zones: dict[str, Zone], recognised: Sequence[Recognised]) -> dict[str, Any]:
    """Rooms over the period, and over its last days: what holds now. Rooms that warm up again after an
    absence are cold by wish."""
    newest = days.where(slice(-RECENT_DAYS, None))
    lived_in = np.ones(len(newest), dtype=bool)
    for absence in (r for r in recognised if r.kind == "away"):
        back = np.datetime64(absence.until) + np.timedelta64(DAYS_TO_WARM_UP, "D")
        lived_in &= ~((newest["day"] >= np.datetime64(absence.since)) & (newest["day"] <= back))
    recent = comfort(newest.where(lived_in) if lived_in.any() else newest) if zones else {}
    return {
        "zones": {name: asdict(zone) for name, zone in zones.items()},
        "recent": {name: asdict(zone) for name, zone in recent.items()},
        "recent_days": min(RECENT_DAYS, len(days)),
    }


def _cost(m: Money) -> dict[str, Any]:
    return {
        "currency": m.currency,
        "total": m.total,
        "standing_charge": m.standing_charge,
        "running_cost": m.running_cost,
        "previous_fuel": m.previous_fuel,
        "previous_fuel_total": m.previous_fuel_total,
        "previous_fuel_kwh": m.previous_fuel_kwh,
        "co2_kg": m.co2_kg,
        "previous_fuel_co2_kg": m.previous_fuel_co2_kg,
        "mean_price": m.mean_price,
        "compared": m.compared,
        "country": m.country,
        "factors": m.factors,
        "reasons": m.reasons,
    }


def _other_heat(o: OtherHeatFigures | None) -> dict[str, Any] | None:
    return None if o is None else asdict(o) | {"share": o.share.as_dict(), "reason": o.reason or None}


def _clean(value: Any) -> Any:
    """Plain Python throughout; a number that is not finite is None; numbers to seven digits."""
    if value is None or isinstance(value, (str, int)):
        return value
    if type(value) is float:  # numpy's own is a float too, and is made a plain one below
        return float(f"{value:.7g}") if math.isfinite(value) else None
    if isinstance(value, dict):
        return {k: _clean(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_clean(v) for v in value]
    if isinstance(value, Estimate):
        return _clean(value.as_dict())
    return _clean(value.item()) if hasattr(value, "item") else value
