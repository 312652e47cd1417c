"""A direct heater behind the unit's own meter: visible only in heat over electricity."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.cautions import MAINS_WORK
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.episodes import runs_of
from fieldfare.analysis.findings.model import Evidence, Finding
from fieldfare.analysis.findings.phrases import day_text

# Days before that showed the same meters at the efficiency of a heat pump: else the heat meter may count too
# little.
_WELL_DAYS, _WELL_SHARE = 3, 0.2
# Without such days: a heater gives what it draws in any weather and use, a meter that counts too little does
# not.
_ALIKE_DAYS, _ALIKE_RATIO, _ALIKE_SPREAD = 5, (0.9, 1.05), 0.03


def heater_inside(context: Context) -> Finding | None:
    """Latest days with a heat-to-electricity ratio near 1, after days with more."""
    if "heat_output" in context.unreliable:
        return None
    days, limit = context.all_days.days, context.limit
    direct, ran = days.floats("minutes_direct"), days.floats("minutes_running")
    share = np.divide(
        direct, ran, out=np.full(len(days), np.nan), where=ran >= limit("stopped_direct_minutes")
    )
    episodes = runs_of(share >= limit("stopped_direct_share"))
    # The current day may be too short to judge.
    if not episodes or episodes[-1][1] < len(days) - 2:
        return None
    first, last = episodes[-1]
    inside = slice(first, last + 1)
    well = (share[:first] < _WELL_SHARE).sum() >= _WELL_DAYS
    if not well and not _is_heater_like(context, inside):
        return None
    kwh = float(np.nansum(days.floats("electricity_heat_pump_kwh")[inside]))
    ratio = float(np.nansum(days.floats("heat_total_kwh")[inside])) / max(kwh, 1e-9)
    before = float(np.nansum(days.floats("heat_total_kwh")[:first])) / max(
        float(np.nansum(days.floats("electricity_heat_pump_kwh")[:first])), 1e-9
    )
    since = f"since {day_text(days.day(first))}, {before:.1f} before" if well else "on all of these days"
    return Finding(
        "unit_stopped",
        "act",
        days.day(first).isoformat(),
        (0.85 if last > first else 0.7) if well else 0.75,
        (
            f"The unit gives direct electric heat: {ratio:.2f} kWh per kWh of electricity {since}. The"
            " compressor is off, or a heater does its work."
        ),
        evidence=(
            context.evidence(
                "share of its run time as a direct heater",
                round(float(np.nanmean(share[inside])), 2),
                "-",
                "stopped_direct_share",
            ),
            Evidence("heat over electricity since then", round(ratio, 2), "-"),
            *((Evidence("heat over electricity before", round(before, 2), "-"),) if well else ()),
            Evidence("electricity since", round(kwh, 1), "kWh"),
        ),
        next_step=(
            "Ring: does the controller show emergency heating, a lock-out or a fault? Is the outdoor "
            "unit's own breaker on? Leave the heater on until the "
            "compressor works: it keeps the house from freezing."
            + ("" if well else " If the compressor runs all the same, the heat meter counts too little.")
        ),
        caution=f"Never bypass a safety device to make the compressor run. {MAINS_WORK}",
        home=(
            "A back-up electric heater in your heat pump is heating instead of the compressor, which"
            " costs about three times as much. Please ring your installer."
        ),
        visit="call",
        bring=("the maker's fault list", "multimeter"),
    )


def _is_heater_like(context: Context, inside: slice) -> bool:
    """Each of some days gave just what was drawn, whatever the weather."""
    days = context.all_days.days
    heat, drawn = (days.floats(f"{n}_kwh")[inside] for n in ("heat_total", "electricity_heat_pump"))
    ratio = np.divide(heat, drawn, out=np.full(len(heat), np.nan), where=drawn > 1.0)
    ratio = ratio[np.isfinite(ratio)]
    if len(ratio) < _ALIKE_DAYS:
        return False
    low, high = _ALIKE_RATIO
    return bool(low <= float(np.median(ratio)) <= high and float(ratio.std()) <= _ALIKE_SPREAD)
