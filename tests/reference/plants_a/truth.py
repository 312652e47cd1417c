"""The truth about a plant: figures at the plant itself and what an engineer expects to be told."""

import numpy as np

from tests.reference.plants_a.home import Plant, house_conductance
from tests.reference.plants_a.meters import Channel

# metering that leaves rooms, hot water and safety unseen
LITTLE = {"heat_meter", "electricity_only", "registers_only"}


def figures(plant: Plant, log: np.ndarray) -> dict[str, float]:
    """Return seasonal performance, heat loss, counts and energies of the whole record.

    `heat_kwh` is net heat of the heat pump (defrosts subtracted) plus direct electric heat;
    `electricity_kwh` is unit, heaters and pumps. The heat loss coefficient holds at the wind of the season.
    """
    kwh = {n: float(log[n].sum()) / 60000.0 for n in ("hp_w", "bu_w", "imm_w", "pump_w", "q_meter")}
    direct = kwh["bu_w"] + kwh["imm_w"]
    electricity = kwh["hp_w"] + direct + kwh["pump_w"]
    heat = kwh["q_meter"] + direct
    drive = plant.drive[-len(log) :]
    cold = drive["to"] < 12.0
    wind = float(drive["wind"][cold].mean()) if cold.any() else 4.0
    difference = float((log["air1"] - drive["to"])[cold].mean()) if cold.any() else 15.0
    return {
        "H2": round(kwh["q_meter"] / max(kwh["hp_w"], 1e-9), 3),
        "H4": round(heat / max(electricity, 1e-9), 3),
        "heat_loss_w_per_k": round(house_conductance(plant.params[0], wind, difference), 1),
        "starts": float(log["starts"][-1]),
        "defrosts": float(log["defrosts"][-1]),
        "electricity_kwh": round(electricity, 1),
        "heat_kwh": round(heat, 1),
    }


def fill_truth(plant: Plant, log: np.ndarray, channels: list[Channel], metering: str, step: int) -> None:
    """Complete `plant.truth` for this metering: demands that the readings cannot show are dropped."""
    told = plant.truth
    has = {c.entry["quantity"] for c in channels}
    visible = bool(told.get("visible", True)) and all(set(alt) & has for alt in told.get("needs", ()))
    visible = visible and step <= told.get("max_spacing", 60)
    must = list(told.get("must", [])) if visible else []
    may = sorted({*told.get("may", []), *(c for m in told.get("must", []) for c in m["any_of"])})
    full = metering == "full"
    strong = [m for m in must if m["severity_at_least"] != "note"]
    if told.get("verdict"):
        verdict = told["verdict"]
    elif strong:
        verdict = ["watch", "act", "urgent"]
        if any(m["severity_at_least"] in ("act", "urgent") for m in strong):
            verdict = ["act", "urgent"]
    elif told.get("fault"):
        verdict = ["in_order", "not_known", "watch", "act", "urgent"]
    elif may:
        verdict = ["in_order", "not_known", "watch", "act"]
    else:
        verdict = ["in_order"] if full and step <= 5 else ["in_order", "not_known"]
        if metering in LITTLE:
            verdict = ["not_known"]
    plant.truth = {
        "name": plant.name,
        "family": plant.family,
        "title": plant.title,
        "fault": told.get("fault"),
        "must": must,
        "first_cause": (
            told.get("first_cause", []) if must and step <= told.get("cause_spacing", 5) and full else []
        ),
        "may": may,
        "must_not": told.get("must_not", []),
        "verdict": {"in": verdict},
        "metering": metering,
        "spacing_min": step,
        "days": plant.days,
        "figures": figures(plant, log),
    }
