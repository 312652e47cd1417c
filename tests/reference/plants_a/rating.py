"""Steady values of the unit: EN 14511-like rating points, output at design, sizing."""

import numpy as np

from tests.reference.plants_a.physics import cycle

# Share that frost and defrost take from output and efficiency at the A2 test (humid, integrated over cycles).
FROST_AT_A2 = {2.0: (0.93, 0.92)}


def steady(p, to: float, flow_c: float, f: float = 1.0) -> tuple[float, float]:
    """Return heat and electricity (compressor, fan, controls) [W] at `to`, water `flow_c`, speed `f`."""
    heat, power = 0.8 * p["q_full"] * f, 0.25 * p["q_full"] * f
    for _ in range(60):
        new_heat, new_power, _te, _tc = cycle.py_func(Row(p), to, flow_c, f, heat, power, 1.0, 1.0)
        heat, power = 0.5 * (heat + new_heat), 0.5 * (power + new_power)
    fan = p["p_fan"] * (0.25 + 0.75 * f * f)
    return float(heat), float(power + fan + p["p_base"])


class Row:
    """Attribute access to one row of a structured array."""

    def __init__(self, row: np.void) -> None:
        self._row = row

    def __getattr__(self, name: str) -> float:
        return float(self._row[name])


def top_speed(p, to: float) -> float:
    """Return the top speed at `to` as the controls allow it."""
    return float(p["f_max"] * (1.0 + p["boost"] * min(max((7.0 - to) / 14.0, 0.0), 1.0)))


def rating_point(p, to: float, flow_c: float, f: float | None = None) -> dict[str, float]:
    """Return one published point: outdoor, flow, output [kW] and COP, frost included at A2."""
    heat, power = steady(p, to, flow_c, f if f is not None else top_speed(p, to))
    q_loss, cop_loss = FROST_AT_A2.get(to, (1.0, 1.0))
    return {
        "outdoor_c": to,
        "flow_c": flow_c,
        "output_kw": round(heat * q_loss / 1000.0, 2),
        "cop": round(heat / power * cop_loss, 2),
    }
