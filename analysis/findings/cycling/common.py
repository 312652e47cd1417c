"""Words and sums that the findings about the operation share: cautions, grades, a year's amount."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldfare.analysis.cautions import LEGIONELLA, SCALD
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.episodes import Episode
from fieldfare.analysis.findings.model import Cause, Severity
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.quantiles import median

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Heating days of a year in the climates of the reference table (EN 14825: 200 days average, 149 warmer, 268
# colder).
_HEATING_DAYS = 210.0
FLOW_COST_PER_K = 0.0225
"""More electricity for each kelvin of flow temperature: 2 to 2.5 % (reference 8)."""

MAINS_CAUTION = (
    "Isolate the supply and make sure it stays off before a cover comes off; mains work is for people"
    " licensed for it, by local codes and the maker's instructions."
)
SCALD_CAUTION = f"Pipes can burn. {SCALD} {LEGIONELLA}"


def water_caution(site: Site) -> str:
    """For anything opened or drained in the heating circuit."""
    text = (
        "The circuit is hot and under pressure: stop the unit, let it cool, close the valves and let the"
        " pressure off before anything is opened; follow the maker's instructions and local codes."
    )
    if site.heat_pump.antifreeze != "none":
        text += " It holds antifreeze: catch it, top up with the same mixture and check its strength."
    return text


def refrigerant_caution(site: Site) -> str:
    """For anything that may be about the refrigerant."""
    gas = site.heat_pump.refrigerant
    text = (
        "The refrigerant circuit is for people licensed for it, by local codes and the maker's instructions:"
        " no gauges, no topping up without finding the leak."
    )
    if gas and gas.upper().replace("-", "") in ("R290", "R32", "R600A", "R1270", "R454B", "R454C"):
        text += f" {gas} burns: no flame, spark or switch near a leak, and air the place."
    return f"{text} {MAINS_CAUTION}"


def graded(value: float, watch: float, act: float, *, downward: bool = False) -> Severity:
    """note below the first limit, watch from it, act from the second; the other way round for `downward`."""
    if downward:
        value, watch, act = -value, -watch, -act
    return "act" if value >= act else "watch" if value >= watch else "note"


def downgraded(severity: Severity, spell: Episode, fewest_days: float) -> Severity:
    """A thing of the past is a note; so is one of a few days."""
    return "note" if spell.until is not None or spell.days * spell.share < fewest_days else severity


def ranked(scores: dict[str, tuple[float, str]]) -> tuple[Cause, ...]:
    """Causes by weight, weights summing to 1; a cause of no weight is left out."""
    total = sum(max(w, 0.0) for w, _ in scores.values())
    if total <= 0.0:
        return ()
    kept = [Cause(name, max(w, 0.0) / total, why) for name, (w, why) in scores.items() if w / total >= 0.02]
    whole = sum(c.weight for c in kept)
    kept = [Cause(c.cause, c.weight / whole, c.because) for c in kept]
    return tuple(sorted(kept, key=lambda c: -c.weight))


def heating_year(context: Context) -> float:
    """Factor from what these days' heating cost to a whole year's.

    The designed year's space heat over the measured one where both are known, else by heating days.
    """
    days = context.whole.days
    heated = float((context.whole.days["n_heating"] >= 60).sum())
    measured = float(np.nansum(days["q_space"])) if "q_space" in days else 0.0
    most = 365.0 / max(len(days), 1)
    designed = context.site.design.space_heat_kwh_per_year
    if designed is not None and measured > 0.05 * designed:
        return float(np.clip(designed / measured, min(1.0, most), max(most, 1.0)))
    return float(np.clip(_HEATING_DAYS / heated, min(1.0, most), max(most, 1.0))) if heated else 0.0


def nan_median(values: Floats) -> float:
    """Median of what is known; nan where nothing is."""
    known = values[np.isfinite(values)]
    return median(known) if len(known) else float("nan")
