"""Results from one electricity meter and the weather alone."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np

from fieldfare.analysis.expectation.cycling import FIELD_STARTS
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.figures.electricity_days import ElectricityDays, electricity_days
from fieldfare.analysis.figures.electricity_runs import (
    DirectHeat,
    FewStarts,
    direct_heat,
    few_starts,
)
from fieldfare.analysis.figures.electricity_signature import (
    SCATTER_LIMIT,
    ElectricitySignature,
    Rise,
    electricity_signature,
)
from fieldfare.analysis.physics.degree_days import UK_BASE_C, degree_days_from_means
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.plant.weather import station_id

_EPOCH = date(1970, 1, 1)


@dataclass(frozen=True)
class DegreeDays:
    """Heating degree-days [K d] of the days with weather.

    base_c : their base. station : weather source. by_month : month -> (degree-days, days with weather)
    """

    total: float | None
    base_c: float
    base_from: str
    station: str
    days: int
    by_month: dict[str, tuple[float, int]]


@dataclass(frozen=True)
class FromElectricity:
    """meter : what the one meter counts. filled_days : days of zeros in place of readings, left out"""

    meter: str
    signature: ElectricitySignature
    starts: FewStarts
    direct: DirectHeat
    degree_days: DegreeDays
    filled_days: int
    used: ElectricityDays

    def as_dict(self) -> dict[str, Any]:
        """For the result document. Days are ISO dates."""
        s, r, d, w = self.signature, self.starts, self.direct, self.degree_days
        return {
            "meter": self.meter,
            "signature": {
                "base_kwh_per_day": s.base_kwh_per_day.as_dict(),
                "slope_kwh_per_day_k": s.slope_kwh_per_day_k.as_dict(),
                "base_temperature_c": s.base_temperature_c.as_dict(),
                "base_reason": s.base_kwh_per_day.reason or None,
                "cv_rmse": s.cv_rmse,
                "nmbe": s.nmbe,
                "cv_rmse_limit": SCATTER_LIMIT,
                "r_squared": s.r_squared,
                "days_used": s.days_used,
                "method": s.fit.method if s.fit else "",
                "reason": s.reason or None,
            },
            "weather_adjusted_year": {
                "electricity_kwh": s.year_kwh.as_dict(),
                "weather": s.year_weather,
                "reason": s.year_reason or None,
            },
            "change": None if s.change is None else _change(s.change),
            "starts": {
                "per_day": _lower(r.per_day),
                "winter_per_day": _lower(r.winter_per_day),
                "interval_minutes": r.interval_min,
                "winter_days": r.winter_days,
                "rank_in_field": r.rank,
                "field_quantiles": {f"{q:.2f}": v for q, v in FIELD_STARTS.items()},
                "bound": "lower",
                "reason": r.reason or r.winter_per_day.reason or None,
            },
            "direct_heat": {
                "share": d.share.as_dict(),
                "step_kw": d.step_kw,
                "compressor_kw": d.compressor_kw,
                "reason": d.reason or None,
            },
            "degree_days": (
                asdict(w)
                | {
                    "by_month": [
                        {"month": m, "degree_days": v, "days": n} for m, (v, n) in w.by_month.items()
                    ]
                }
            ),
            "filled_days": self.filled_days,
        }


def from_electricity(site: Site, days: Table) -> FromElectricity:
    """Signature, starts, direct heat and degree-days of the days given."""
    used = electricity_days(days)
    signature = electricity_signature(used, site.design.outdoor_c)
    return FromElectricity(
        used.meter,
        signature,
        few_starts(days),
        direct_heat(site, days),
        _degree_days(site, days, signature),
        int(used.filled.sum()),
        used,
    )


def day_of(number: int) -> str:
    """ISO date of a number of days since 1970."""
    return (_EPOCH + timedelta(number)).isoformat()


def station_of(site: Site) -> str:
    """Source of a site's outdoor temperature, in words."""
    points = [p.id for p in site.points_of("outdoor_temperature")]
    if not points:
        return "no weather"
    if site.weather is not None and points == [station_id("outdoor_temperature")]:
        return site.weather.station_name
    lender = site.weather_lender
    lent = lender is not None and all(p.startswith(f"{lender}.") for p in points)
    return f"the outdoor sensor of {lender}" if lent else "the home's own outdoor sensor"


def _lower(estimate: Any) -> dict[str, Any] | None:
    if estimate.value is None:
        return None
    return {"value": estimate.value, "low": estimate.low, "high": None}


def _change(rise: Rise) -> dict[str, Any]:
    return {
        "kind": rise.kind,
        "first_day": day_of(rise.first),
        "first_day_low": day_of(rise.low),
        "first_day_high": day_of(rise.high),
        "days": rise.days or None,
        "kwh_per_day": rise.kwh_per_day.as_dict(),
        "share": rise.share,
    }


def _degree_days(site: Site, days: Table, signature: ElectricitySignature) -> DegreeDays:
    """Degree-days to the base temperature of the house's own signature if known, else the customary one."""
    own, declared_base = signature.base_temperature_c.value, site.weather.base_c if site.weather else None
    base, base_source = (
        (own, "the home's own signature") if own is not None else (UK_BASE_C, "customary base")
    )
    if declared_base is not None:
        base, base_source = declared_base, "the site file"
    outdoor = days.floats("outdoor")
    known = np.isfinite(outdoor)
    each = np.where(known, degree_days_from_means(np.where(known, outdoor, base), base_c=base), 0.0)
    month = days["day"].astype("datetime64[M]")
    by_month = {
        str(m): (float(each[month == m].sum()), int(known[month == m].sum())) for m in np.unique(month)
    }
    total = float(each.sum()) if known.any() else None
    return DegreeDays(total, float(base), base_source, station_of(site), int(known.sum()), by_month)
