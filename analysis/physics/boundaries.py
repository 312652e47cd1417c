"""Seasonal performance factors at the four SEPEMO boundaries, from any set of meters.

A boundary that the meters cannot separate is omitted; its reason names the missing meter.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Energy = float | Floats
"""kWh of one period, or float64 (n,) of as many that are metered alike."""

FAN, BACKUP, IMMERSION, PUMP = "fan", "backup_heater", "immersion", "circulation_pump"
CONSUMERS = MappingProxyType(
    {
        FAN: "fan_electricity",
        BACKUP: "backup_heater_electricity",
        IMMERSION: "immersion_electricity",
        PUMP: "circulation_pump_electricity",
    }
)
DIRECT_HEATERS = (BACKUP, IMMERSION)
BOUNDARIES: tuple[tuple[str, frozenset[str]], ...] = (
    ("H1", frozenset()),
    ("H2", frozenset({FAN})),
    ("H3", frozenset({FAN, BACKUP, IMMERSION})),
    ("H4", frozenset({FAN, BACKUP, IMMERSION, PUMP})),
)

MINIMUM_SPF_ELECTRIC = 2.5  # Decision 2013/114/EU: 1.15 / 0.455, stated as 2.5


@dataclass(frozen=True)
class PeriodEnergies:
    """Energies of one period [kWh]. None: fitted but not metered. 0.0: not fitted, or unused."""

    heat_kwh: Energy | None
    heat_pump_kwh: Energy | None
    fan_kwh: Energy | None = None
    backup_heater_kwh: Energy | None = None
    immersion_kwh: Energy | None = None
    circulation_pump_kwh: Energy | None = None
    meter_includes: frozenset[str] = field(default_factory=lambda: frozenset({FAN}))
    """Consumers on the heat pump's electricity meter besides the compressor and its controls."""
    heat_includes: frozenset[str] = frozenset()
    """Direct heaters whose heat the heat meter counts too (those that sit upstream of it)."""

    def __post_init__(self) -> None:
        if unknown := self.meter_includes - CONSUMERS.keys():
            raise ValueError(f"meter_includes knows {', '.join(CONSUMERS)}, got {', '.join(sorted(unknown))}")
        if unknown := self.heat_includes - set(DIRECT_HEATERS):
            raise ValueError(
                f"heat_includes knows {', '.join(DIRECT_HEATERS)}, got {', '.join(sorted(unknown))}"
            )

    def of(self, consumer: str) -> Energy | None:
        """Electricity of one consumer [kWh], None where it is not metered apart."""
        own: Energy | None = getattr(self, f"{consumer}_kwh")
        return own


@dataclass(frozen=True)
class BoundaryRatio:
    """One seasonal performance factor, or why there is none."""

    value: float | None
    heat_kwh: float | None = None
    electricity_kwh: float | None = None
    reason: str | None = None


def spf(balance: PeriodEnergies) -> dict[str, BoundaryRatio]:
    """Seasonal performance factors at H1 to H4.

    balance : Balance [kWh]
    Returns dict of BoundaryRatio by "H1" to "H4" [-].
    Source: SEPEMO-Build (2012), D4.2: H1 refrigeration unit; H2 with source fan or pump; H3 with direct
        heaters; H4 with sink pumps (formulas from memory). A direct heater that no heat meter sees gives heat
        equal to its electricity.
    """
    return {name: _ratio(balance, inside) for name, inside in BOUNDARIES}


def spf_of_each(balance: PeriodEnergies) -> dict[str, tuple[Floats, Floats]]:
    """`spf` of many periods: factors [-] and electricity [kWh] by boundary, nan where there are none.

    balance : Balance of float64 (n,), or of single numbers for all
    """
    count = np.broadcast(*(v for v in (balance.heat_kwh, balance.heat_pump_kwh) if v is not None), 0.0).size
    out = {}
    for name, inside in BOUNDARIES:
        energies = _energies(balance, inside)
        heat, electricity = (
            (np.full(count, np.nan),) * 2 if isinstance(energies, str) else np.broadcast_arrays(*energies)
        )
        factor = np.divide(heat, electricity, out=np.full(count, np.nan), where=electricity > 0.0)
        out[name] = factor, np.asarray(electricity)
    return out


def _ratio(balance: PeriodEnergies, inside: frozenset[str]) -> BoundaryRatio:
    energies = _energies(balance, inside)
    if isinstance(energies, str):
        return BoundaryRatio(None, reason=energies)
    heat, electricity = energies
    if electricity <= 0.0:
        return BoundaryRatio(None, heat, electricity, "no electricity was used")
    return BoundaryRatio(heat / electricity, heat, electricity)


def _energies(balance: PeriodEnergies, inside: frozenset[str]) -> tuple[Any, Any] | str:
    """Heat and electricity within a boundary, or why they are not known."""
    if balance.heat_pump_kwh is None:
        return "needs heat_pump_electricity"
    if balance.heat_kwh is None:
        return "needs heat_output"
    heat, electricity = balance.heat_kwh, balance.heat_pump_kwh
    for consumer, heat_sign, electric_sign in _terms(inside, balance.meter_includes, balance.heat_includes):
        used = balance.of(consumer)
        if used is None:
            why = "" if consumer in inside else ": it is counted together with the heat pump's"
            return f"needs {CONSUMERS[consumer]}{why}"
        heat = heat + heat_sign * used
        electricity = electricity + electric_sign * used
    return heat, electricity


@lru_cache(maxsize=256)
def _terms(
    inside: frozenset[str], meter_includes: frozenset[str], heat_includes: frozenset[str]
) -> tuple[tuple[str, int, int], ...]:
    """Terms added to metered heat and electricity: (consumer, sign in heat, sign in electricity)."""
    terms = []
    for consumer in CONSUMERS:
        is_inside = int(consumer in inside)
        heat_sign = is_inside - int(consumer in heat_includes) if consumer in DIRECT_HEATERS else 0
        electric_sign = is_inside - int(consumer in meter_includes)
        if heat_sign or electric_sign:
            terms.append((consumer, heat_sign, electric_sign))
    return tuple(terms)


def renewable_heat_kwh(heat_kwh: float, spf_h2: float, *, minimum_spf: float = MINIMUM_SPF_ELECTRIC) -> float:
    """Heat that counts as renewable.

    heat_kwh : float [kWh]. Usable heat
    spf_h2 : float [-]. Seasonal performance factor at H2 (SCOPnet)
    minimum_spf : float [-], default 2.5. Below it nothing counts
    Returns float [kWh]. Raises ValueError if spf_h2 is not above 0.
    Source: Decision 2013/114/EU: heat x (1 - 1/SPF), SPF at least 1.15 / 0.455, stated as 2.5 (formula from
        memory).
    """
    if not spf_h2 > 0.0:
        raise ValueError(f"spf_h2 must be above 0, got {spf_h2}")
    return heat_kwh * (1.0 - 1.0 / spf_h2) if spf_h2 >= minimum_spf else 0.0
