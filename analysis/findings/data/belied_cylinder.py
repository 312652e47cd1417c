"""A cylinder that stays warm for days though nothing heats it: its sensor is wrong, or heat has no meter."""

from __future__ import annotations

import numpy as np

from fieldfare.analysis.expectation.cylinder_cooling import cooling_k_per_h, expected
from fieldfare.analysis.facts.table import fill_nan
from fieldfare.analysis.findings.confidence import confidence_of
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.episodes import runs_of
from fieldfare.analysis.findings.model import Evidence, Finding, Severity
from fieldfare.analysis.physics.hot_water import USUAL_CYLINDER_LITRES

_HEATED_MIN, _HEATER_KWH, _ALONE_K = 5.0, 0.2, 1.0
# A cylinder this warm loses kelvins a day through its best insulation, whoever is at home.
_WARM_C, _ROOM_C = 35.0, 20.0


def belied_cylinder(context: Context) -> Finding | None:
    """The newest days without any heat to the cylinder on which it did not cool as it must."""
    days, water, limit = context.all_days.days, context.site.hot_water, context.limit
    level, charged = days.floats("tank_mean"), days.floats("minutes_hot_water")
    if water is None or not np.isfinite(level).any() or not np.nansum(charged) > 0.0:
        return None
    heated = ~(charged < _HEATED_MIN) | (
        fill_nan(days.floats("electricity_immersion_kwh"), 0.0) > _HEATER_KWH
    )
    heated |= fill_nan(days.floats("tank_rise_alone"), 0.0) >= _ALONE_K
    unheated = runs_of(~heated & (level > _WARM_C))
    if not unheated or unheated[-1][1] < len(days) - 2:
        return None
    # The first of these days may have begun with a charge, the last may not be over.
    first, last = unheated[-1][0] + 1, unheated[-1][1]
    count = last - first
    if count < limit("belied_cylinder_days"):
        return None
    litres = water.cylinder_litres or USUAL_CYLINDER_LITRES
    loss = expected(litres, water.standing_loss_kwh_per_day).value
    over = float(np.nanmean(level[first : last + 1])) - _ROOM_C
    must = cooling_k_per_h(litres, loss, over) * 24.0 * count
    fell = float(level[first] - level[last])
    if not fell < limit("belied_cylinder_share") * must:
        return None
    metered = context.site.measures("immersion_electricity")
    severity: Severity = "act" if metered else "watch"
    other = (
        "or something heats it" if metered else "or something without a meter heats it (an immersion heater?)"
    )
    return Finding(
        "sensor_stuck",
        severity,
        days.day(first).isoformat(),
        confidence_of(2.0 if metered else 1.5, count),
        (
            f"The cylinder sensor shows {level[last]:.0f} °C though nothing has heated the cylinder for"
            f" {count + 1} days: it must have cooled by {must:.0f} K. The sensor is wrong, {other}."
        ),
        (
            context.evidence(
                "days without heat to the cylinder", float(count + 1), "days", "belied_cylinder_days"
            ),
            context.evidence(
                "fall of the cylinder over the fall that its standing loss makes",
                round(fell / must, 2),
                "-",
                "belied_cylinder_share",
            ),
            Evidence("cylinder", round(float(level[last]), 1), "°C"),
        ),
        next_step=(
            "Ring: is the water at the tap hot? If it is cold, the sensor reads too high and the unit never"
            " reheats: reseat or replace it. If it is hot, ask what else heats the cylinder."
        ),
        caution=(
            "Water that has stood lukewarm is heated through to the disinfection temperature before it is"
            " used again (Legionella); it can scald."
        ),
        home=(
            "Your hot water may be cold: its sensor shows a temperature that can't be right. Please tell your"
            " installer whether the tap runs hot."
        ),
        visit="call",
        bring=("sensor for cylinder temperature", "thermometer"),
    )
