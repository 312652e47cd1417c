"""Why the outdoor unit is full of ice: frost and defrosts of just the hours named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fieldfare.analysis.answers.hours import (
    Hours,
    State,
    Step,
    Value,
    defrosts_show,
)
from fieldfare.analysis.expectation.defrost import (
    COAT_G_PER_KW,
    defrosts_due,
    too_long,
    too_often,
)
from fieldfare.analysis.expectation.frost import frost_mass
from fieldfare.analysis.expectation.uncertain import Lognormal
from fieldfare.analysis.facts.table import fill_nan

_PLAIN, _WEAK = 0.8, 0.5
_MOSTLY = 0.5  # of the time (common practice)
_FEWEST = 3  # defrosts, for their middle
ORDER = ("no_frost", "no_defrosts", "incomplete", "too_often", "meltwater", "usual_rime")


def ice_steps(hours: Hours) -> tuple[list[Step], float]:
    """All steps; the first that applies binds, otherwise normal frost between defrosts.

    Nothing binds where the readings can't show a defrost.
    """
    if hours.site.heat_pump.source != "air":
        return [Step("usual_rime", "unknown", (), "no_air")], 0.0
    frost = _frost(hours)
    if frost is None and _too_warm(hours):
        lowest = float(np.nanmin(hours.gauge("outdoor_temperature")[hours.inside]))
        return [Step("no_frost", "binds", (Value("outdoor_lowest", lowest, "°C"),))], _PLAIN
    steps = [_no_defrosts(hours, frost), _incomplete(hours), _too_often(hours, frost), _meltwater(hours)]
    found = [s.code for s in steps if s.state == "binds"]
    if not found and not defrosts_show(hours):
        return steps, 0.0
    if not found:
        return [*steps, _usual(hours, frost)], _WEAK
    return [
        replace(s, state="adds") if s.state == "binds" and s.code != found[0] else s for s in steps
    ], _PLAIN


def _frost(hours: Hours) -> Lognormal | None:
    """Frost that settled in the days named, a kilowatt rated [g/kW]; None where it is not known."""
    rated, days = hours.site.heat_pump.rated_output_kw, hours.facts.days
    guesses = [float(np.nansum(days.floats(f"frost_{n}"))) * 1000.0 for n in ("least", "usual", "most")]
    if not rated or guesses[1] <= 0.0:
        return None
    return frost_mass(*(g / rated for g in guesses))


def _too_warm(hours: Hours) -> bool:
    """Whether the air was too warm for frost on a coil, all the time that it is known, and it mostly is."""
    outdoor = hours.gauge("outdoor_temperature")[hours.inside]
    known = np.isfinite(outdoor)
    return bool(known.mean() > _MOSTLY and (outdoor[known] > hours.limit("answer_no_frost_c")).all())


def _no_defrosts(hours: Hours, frost: Lognormal | None) -> Step:
    """Frost for several coats settles between two defrosts, or since the last: the unit does not defrost."""
    if frost is None:
        return Step("no_defrosts", "unknown", (), "no_frost_or_output")
    if not defrosts_show(hours):
        return Step("no_defrosts", "unknown", (), "no_defrost_signal")
    rated = hours.site.heat_pump.rated_output_kw or 1.0
    defrosts = hours.facts.defrosts
    count = len(defrosts)
    coats = (
        frost.middle / COAT_G_PER_KW.middle / max(count, 1) if count else frost.middle / COAT_G_PER_KW.middle
    )
    between = (
        defrosts.floats("frost_usual_kg") * 1000.0 / rated / COAT_G_PER_KW.middle if count else np.empty(0)
    )
    most = float(np.nanmax(between)) if np.isfinite(between).any() else coats
    worst = (
        coats
        if not count
        else max(coats, most if most > 2.0 * hours.limit("answer_no_defrost_coats") else coats)
    )
    values = (
        Value("defrosts", float(count), ""),
        Value("coats_each", worst, "-", limit="answer_no_defrost_coats"),
        Value(
            "defrosts_due", defrosts_due(frost).middle, "", defrosts_due(frost).low, defrosts_due(frost).high
        ),
    )
    surely = frost.low / COAT_G_PER_KW.middle / max(count, 1) > 1.0
    return Step(
        "no_defrosts",
        "binds" if worst > hours.limit("answer_no_defrost_coats") and surely else "fine",
        values,
    )


def _incomplete(hours: Hours) -> Step:
    """Defrosts that drag on to their limit leave ice behind."""
    defrosts, rated = hours.facts.defrosts, hours.site.heat_pump.rated_output_kw
    if not defrosts_show(hours):
        return Step("incomplete", "unknown", (), "no_defrost_signal")
    if len(defrosts) < _FEWEST:
        return Step("incomplete", "unknown", (), "few_defrosts")
    length = defrosts.median("minutes")
    power = defrosts.floats("heat_taken") * 60.0 / np.maximum(defrosts.floats("minutes"), 1.0)
    drawn = float(np.nanmedian(power)) / rated if rated and np.isfinite(power).any() else float("nan")
    score = too_long(length, drawn)
    values = (
        Value("defrost_minutes", length, "min", limit="answer_long_defrost_min"),
        Value("drawn_share", drawn, "-"),
        Value("score", score, "-"),
    )
    long = length >= hours.limit("answer_long_defrost_min") and score > hours.limit("answer_too_often")
    return Step("incomplete", "binds" if long else "fine", values)


def _too_often(hours: Hours, frost: Lognormal | None) -> Step:
    """More defrosts than the frost asks for: little air through the coil, a coil too cold, or a sensor
    that reads too cold."""
    defrosts, rated = hours.facts.defrosts, hours.site.heat_pump.rated_output_kw
    if frost is None or not rated:
        return Step("too_often", "unknown", (), "no_frost_or_output")
    if not defrosts_show(hours):
        return Step("too_often", "unknown", (), "no_defrost_signal")
    if len(defrosts) < _FEWEST:
        return Step("too_often", "fine", (Value("defrosts", float(len(defrosts)), ""),))
    each = defrosts.median("heat_taken") + defrosts.median("electricity")
    score = too_often(float(len(defrosts)), frost, each * 1000.0 / rated)
    due = defrosts_due(frost)
    values = (
        Value("defrosts", float(len(defrosts)), ""),
        Value("defrosts_due", due.middle, "", due.low, due.high),
        Value("score", score, "-", limit="answer_too_often"),
    )
    # What weeks of defrosts cleared, three days within what their frost asks for don't show.
    is_usual = len(defrosts) <= due.high and hours.was_cleared("excessive_defrost")
    often = score > hours.limit("answer_too_often") and not is_usual
    return Step("too_often", "binds" if often else "fine", values)


def as_frost_asks(hours: Hours) -> bool:
    """Whether the days named have as many defrosts as their frost asks for; False where that is not known."""
    step = _too_often(hours, _frost(hours))
    return step.state == "fine"


def _meltwater(hours: Hours) -> Step:
    """Meltwater of regular defrosts that freezes again below the unit in lasting frost."""
    outdoor = hours.gauge("outdoor_temperature")
    known = hours.inside & np.isfinite(outdoor)
    if not known.any():
        return Step("meltwater", "unknown", (), "no_outdoor")
    if not defrosts_show(hours):
        return Step("meltwater", "unknown", (), "no_defrost_signal")
    frozen = float((fill_nan(outdoor, 9.0) < 0.0)[known].mean())
    values = (
        Value("frost_share", frozen, "-", limit="answer_frozen_share"),
        Value("outdoor", hours.mean(outdoor, known), "°C"),
    )
    state: State = (
        "binds"
        if frozen > hours.limit("answer_frozen_share") and len(hours.facts.defrosts) >= _FEWEST
        else "fine"
    )
    return Step("meltwater", state, values)


def _usual(hours: Hours, frost: Lognormal | None) -> Step:
    values: tuple[Value, ...] = (Value("defrosts", float(len(hours.facts.defrosts)), ""),)
    if frost is not None:
        due = defrosts_due(frost)
        values += (Value("defrosts_due", due.middle, "", due.low, due.high),)
    return Step("usual_rime", "binds", values)
