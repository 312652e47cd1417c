"""True behaviour of a simulated system, from perfect meters and full knowledge of its state."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

import numpy as np

from fieldfare.collector.simulated.design.schedule import SimulatedSpan
from fieldfare.collector.simulated.design.spec import Fault, PlantSpec
from fieldfare.collector.simulated.faults.effects import fault_start_day
from fieldfare.collector.simulated.step import kernel
from fieldfare.collector.simulated.step.engine import Trace
from fieldfare.collector.simulated.step.layout import DAY_DTYPE, LOG_DTYPE
from fieldfare.collector.simulated.step.physics import CYLINDER_J_PER_LITRE_K

J_PER_KWH = 3.6e6
STOPPED = {
    1: "room_call",
    2: "differential",
    3: "hot_water_done",
    4: "high_limit",
    5: "power",
    6: "flow_fault",
}


@dataclass(frozen=True)
class Truth:
    """Known truth for the readings. Energies kWh, temperatures degC, times UTC milliseconds."""

    minutes: dict[str, np.ndarray]  # every column of the log, with "time"
    kwh: dict[str, float]
    spf: dict[str, float | None]  # H1 to H4
    htc_w_per_k: float
    starts: np.ndarray  # int64 (n,)
    runs: list[dict[str, Any]]
    defrosts: list[dict[str, Any]]
    reheats: list[dict[str, Any]]
    days: list[dict[str, Any]]
    faults: list[dict[str, Any]]
    oddities: list[dict[str, Any]]
    hot_water: dict[str, float | None] = field(default_factory=dict)

    def summary(self) -> dict[str, Any]:
        """Everything but the minute series, ready for JSON."""
        return {
            "kwh": self.kwh,
            "spf": self.spf,
            "htc_w_per_k": self.htc_w_per_k,
            "starts": self.starts.tolist(),
            "runs": self.runs,
            "defrosts": self.defrosts,
            "reheats": self.reheats,
            "days": self.days,
            "faults": self.faults,
            "oddities": self.oddities,
            "hot_water": self.hot_water,
        }


def spf_of(k: dict[str, float]) -> dict[str, float | None]:
    """Seasonal performance at the four boundaries from energies [kWh].

    Source: SEPEMO-Build (2012): H1 unit alone, H2 with its fan, H3 with direct electric heat on both sides,
        H4 with the heat sink's pumps.
    """
    direct = k["backup"] + k["immersion"]
    heat = k["heat_space"] + k["heat_hot_water"]
    h1 = k["compressor"] + k["controls"]
    h2 = h1 + k["fan"]
    h3 = h2 + direct
    h4 = h3 + k["pump"]
    pairs = {"H1": (heat, h1), "H2": (heat, h2), "H3": (heat + direct, h3), "H4": (heat + direct, h4)}
    return {name: q / e if e > 0.0 else None for name, (q, e) in pairs.items()}


def _total(trace: Trace) -> dict[str, float]:
    """Sums over all days."""
    return {name: float(trace.days[name].sum()) for name in DAY_DTYPE.names or ()}


def _energies(row: Any) -> dict[str, float]:
    """Energies [kWh] of one day's sums, or of all days' together."""
    names = {
        "compressor": "comp",
        "fan": "fan",
        "controls": "controls",
        "backup": "backup",
        "immersion": "immersion",
        "pump": "pump",
        "heat_space": "space",
        "heat_hot_water": "hot",
        "defrost_taken": "taken",
        "elec_space": "elec_space",
        "elec_hot_water": "elec_hot",
        "elec_defrost": "elec_defrost",
        "elec_idle": "elec_idle",
        "draw_heat": "draw_heat",
        "cylinder_loss": "cylinder_loss",
        "secondary_loss": "secondary_loss",
        "emitted": "emitted",
        "solar": "solar",
        "gains": "gains",
        "house_loss": "house_loss",
    }
    out = {k: float(row[v]) / J_PER_KWH for k, v in names.items()}
    out["heat_pump"] = out["compressor"] + out["fan"] + out["controls"]
    out["heat"] = out["heat_space"] + out["heat_hot_water"]
    out["electricity"] = out["heat_pump"] + out["backup"] + out["immersion"] + out["pump"]
    return out


def _days(trace: Trace) -> list[dict[str, Any]]:
    """One row for each local day."""
    out = []
    for i, row in enumerate(trace.days):
        seconds = max(row["seconds"], 1.0)
        k = _energies(row)
        mean = {name: float(row[name] / seconds) for name in ("outdoor", "room0", "room1")}
        out.append(
            {
                "day": (trace.span.first + timedelta(days=i)).isoformat(),
                "kwh": {name: round(value, 4) for name, value in k.items()},
                "H4": spf_of(k)["H4"],
                "starts": int(row["starts"]),
                "run_hours": float(row["run_seconds"] / 3600.0),
                "frost_hours": float(row["frost_seconds"] / 3600.0),
                "frost_kg": float(row["frost_kg"]),
                "litres_40_cold": float(row["cold_litres_40"]),
                "litres": float(row["draw_litres"]),
                "cylinder_top_reached_c": float(row["reach"]),
                "outdoor_c": mean["outdoor"],
                "room_c": [mean["room0"], mean["room1"]],
            }
        )
    return out


def _events(trace: Trace, kind: float) -> np.ndarray:
    """Events of one kind that end after logging began: float array (n, 7), times in UTC ms."""
    rows = trace.events[(trace.events[:, 0] == kind) & (trace.events[:, 2] >= 0.0)].copy()
    rows[:, 1:3] = (rows[:, 1:3] + trace.span.start.timestamp()) * 1000.0
    return rows


def _run(r: np.ndarray) -> dict[str, Any]:
    return {
        "start": int(r[1]),
        "end": int(r[2]),
        "heat_kwh": r[3] / J_PER_KWH,
        "electricity_kwh": r[4] / J_PER_KWH,
        "use": "hot_water" if r[5] > 1.5 else "heating",
        "stopped_by": STOPPED.get(int(r[6]), "?"),
    }


def _defrost(r: np.ndarray) -> dict[str, Any]:
    return {
        "start": int(r[1]),
        "end": int(r[2]),
        "taken_kwh": r[3] / J_PER_KWH,
        "electricity_kwh": r[4] / J_PER_KWH,
        "outdoor_c": r[5],
        "frost_kg": r[6],
    }


def _reheat(r: np.ndarray) -> dict[str, Any]:
    return {
        "start": int(r[1]),
        "end": int(r[2]),
        "heat_kwh": r[3] / J_PER_KWH,
        "electricity_kwh": r[4] / J_PER_KWH,
        "from_c": r[5],
        "to_c": r[6],
    }


def _fault(fault: Fault, span: SimulatedSpan) -> dict[str, Any]:
    start = span.first + timedelta(days=max(0, fault_start_day(fault, span)))
    return {"code": fault.code, "cause": fault.cause, "level": fault.level, "start": start.isoformat()}


def truth_of(spec: PlantSpec, trace: Trace) -> Truth:
    """Collect the truth of a run.

    spec : PlantSpec; trace : Trace
    Returns Truth.
    """
    columns: dict[str, np.ndarray] = {name: trace.log[name] for name in LOG_DTYPE.names or ()}
    columns["time"] = trace.stamp_s * 1000
    kwh = _energies(_total(trace))
    runs, defrosts, reheats = (_events(trace, k) for k in (kernel.RUN, kernel.DEFROST, kernel.REHEAT))
    # From the unit's counter: a run cut off by the span's end has still begun.
    began = np.flatnonzero(np.diff(trace.log["starts"]) > 0.0)
    return Truth(
        minutes=columns,
        kwh=kwh,
        spf=spf_of(kwh),
        htc_w_per_k=spec.house.htc_w_per_k,
        starts=(trace.stamp_s[began] * 1000).astype(np.int64),
        runs=[_run(r) for r in runs],
        defrosts=[_defrost(r) for r in defrosts],
        reheats=[_reheat(r) for r in reheats],
        days=_days(trace),
        faults=[_fault(f, trace.span) for f in spec.faults],
        oddities=[{"kind": o.kind, "start": o.start.isoformat() if o.start else None} for o in spec.oddities],
        hot_water=_hot_water(spec, trace),
    )


def _hot_water(spec: PlantSpec, trace: Trace) -> dict[str, float | None]:
    """Cylinder figures: capacity, losses, number of cold draws and the last disinfection."""
    hw = spec.hot_water
    if hw is None:
        return {}
    days = _total(trace)
    count = len(trace.days)
    lost = (days["cylinder_loss"] + days["secondary_loss"]) / J_PER_KWH / count
    hot = trace.log["cylinder"]
    limit = (hw.pasteurise_c or 60.0) - 0.5
    reached = np.flatnonzero(hot >= limit)
    in_draw = days["cold_litres_40"]
    still = 45.0 * hw.loss_w_per_k * 0.024
    return {
        "litres_40_when_full": hw.litres * (hw.setpoint_c - 10.0) / 30.0,
        "standing_loss_kwh_per_day": float(lost),
        "standing_loss_kwh_per_day_at_45k": still,
        "litres_40_cold": float(in_draw),
        "last_pasteurised": float(trace.stamp_s[reached[-1]] * 1000) if len(reached) else None,
        "kwh_per_k": hw.litres * CYLINDER_J_PER_LITRE_K / J_PER_KWH,
    }
