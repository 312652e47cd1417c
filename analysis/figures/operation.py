"""Operation of the unit: cycling and defrosts."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldfare.analysis.facts.events import COARSEST_SIGNAL_MIN
from fieldfare.analysis.facts.table import Table, known
from fieldfare.analysis.facts.tables import Facts
from fieldfare.analysis.figures.forward_only import Unseen, blind_to_defrosts
from fieldfare.analysis.plant.site import Site
from fieldfare.analysis.statistics.quantiles import median

SHORT_RUN_MIN = 10.0
"""A shorter run hardly pays for its start (common practice; manufacturers require 6 to 10 minutes)."""
_CLOSE_MIN = 2.0
COARSEST_RUN_MIN = 15.0
# Defrosts last 2 to 10 minutes (common practice): readings further apart see a short one by chance.
_SHORTEST_MELT_MIN = 2.0
_CLOSER = "needs readings every 15 minutes or closer, or compressor_starts"


@dataclass(frozen=True)
class Cycling:
    starts: int | None
    starts_per_running_hour: float | None
    median_run_minutes: float | None
    short_run_share: float | None
    running_hours: float | None
    basis: str
    reason: str = ""

    def withheld(self, reason: str) -> Cycling:
        """Without its figures, for a reason."""
        return Cycling(None, None, None, None, None, self.basis, reason)


_CLOSE_TO_MELTING_MIN = 1.5
_HEAT_SEEN_BY = (("heat_output",), ("space_heat",), ("flow_rate", "flow_temperature", "return_temperature"))


def run_spacing(days: Table) -> float:
    """Minutes between the readings that show runs; inf without any."""
    names = (
        ["running_spacing_min"]
        if "running_spacing_min" in days
        else [f"spacing.{q}" for q in ("compressor_speed", "heat_pump_electricity", "operating_mode")]
    )
    run_spacings = [known(days[name]) for name in names if name in days]
    return min((float(np.min(c)) for c in run_spacings if len(c)), default=math.inf)


def blurred_runs(site: Site, facts: Facts) -> str | None:
    """Why sparse readings can't count runs; None if they can.

    A run or a rest needs two readings to be seen (common practice for sampled signals): if a tenth of those
    seen are no longer than that, about as many are missed. A site file with a power threshold for runs has
    its own rule, which counts as it says.
    """
    apart, runs = run_spacing(facts.days), facts.runs
    if apart <= _CLOSE_MIN or not len(runs) or site.limits.get("running_above_w"):
        return None
    lengths = np.fmin(runs["minutes"], runs["pause"])  # the first has no pause before it
    if float((lengths <= 2.0 * apart).mean()) <= 0.1:
        return None
    return (
        f"readings every {apart:.0f} minutes can't count runs and rests of about {median(lengths):.0f}"
        f" minutes; needs them every {_CLOSE_MIN:.0f} minutes, or compressor_starts"
    )


def coarse_register(days: Table) -> str | None:
    """Why the electricity register's steps can't show runs; None if they can, or without a register."""
    step = float(np.nanmax(days.floats("step.heat_pump_electricity"), initial=0.0))
    if step <= 0.0:
        return None
    return f"the electricity register counts in steps of {step:g} kWh, too coarse to show runs; {_CLOSER}"


def cycling(site: Site, facts: Facts) -> Cycling:
    """Starts and run lengths; from the unit's own counter if there is one."""
    days, runs = facts.days, facts.runs
    hours = days.total("minutes_running") / 60.0
    blurred = blurred_runs(site, facts)
    has_runs = len(runs) > 0 and blurred is None
    if days.knows("compressor_starts_counted"):
        starts: int | None = round(days.total("compressor_starts_counted"))
        basis = "the unit's own counter"
        if days.knows("compressor_hours_counted"):
            hours = days.total("compressor_hours_counted")
    elif has_runs:
        starts, basis = int(days.total("starts")), "electricity and mode"
    else:
        reason = blurred or coarse_register(days) or _CLOSER
        return Cycling(None, None, None, None, None, "", reason)
    whole = runs.where(~runs["cut"]) if has_runs else runs
    return Cycling(
        starts,
        starts / hours if starts is not None and hours > 0 else None,
        whole.median("minutes") if len(whole) else None,
        float((whole["minutes"] < SHORT_RUN_MIN).mean()) if len(whole) else None,
        hours if hours > 0 else None,
        basis,
        blurred or "",
    )


@dataclass(frozen=True)
class Defrosting:
    count: int | None
    per_frost_hour: float | None
    median_minutes: float | None
    electricity_kwh: float | None
    heat_taken_kwh: float | None
    share_of_heat: float | None
    reason: str = ""
    taken_reason: str = ""
    """Why the defrost heat is unknown although defrosts are counted."""
    count_least: int | None = None
    count_most: int | None = None
    """Where readings are too far apart to count: the defrosts seen, and as many as these may stand for."""

    def withheld(self, reason: str) -> Defrosting:
        """Without its figures, for a reason."""
        return Defrosting(None, None, None, None, None, None, reason, self.taken_reason)


def defrosting(site: Site, facts: Facts, unseen: Unseen | None = None) -> Defrosting:
    """Defrosts and their energy; `per_frost_hour` over hours of heating in air that can frost a coil.

    unseen : heat of defrosts that the heat meter did not count (`forward_only.unseen_defrost_heat`)
    """
    days, defrosts = facts.days, facts.defrosts
    if site.heat_pump.source != "air":
        return Defrosting(None, None, None, None, None, None, "the source is not air")
    visible = any(
        f"spacing.{q}" in days and bool((days[f"spacing.{q}"] <= 2.0).any())
        for q in ("defrost_active", "operating_mode", "heat_output", "flow_rate", "flow_temperature")
    )
    if not visible:
        none = "needs defrost_active, operating_mode or heat every 2 minutes or closer"
        least, most = _sampled_count(days, defrosts)
        return Defrosting(None, None, None, None, None, None, none, count_least=least, count_most=most)
    signalled = any(
        f"spacing.{q}" in days and bool((days[f"spacing.{q}"] <= 2.0).any())
        for q in ("defrost_active", "operating_mode")
    )
    if not signalled and run_spacing(days) > COARSEST_RUN_MIN:
        none = coarse_register(days) or "needs defrost_active or operating_mode every 2 minutes or closer"
        return Defrosting(None, None, None, None, None, None, none)
    by_lift = "spacing.flow_temperature" in days and bool((days["spacing.flow_temperature"] <= 2.0).any())
    if not signalled and not by_lift and not len(defrosts) and blind_to_defrosts(days):
        none = (
            "the heat meter counts no heat that flows back; needs defrost_active, operating_mode or flow and"
            " return temperatures"
        )
        return Defrosting(None, None, None, None, None, None, none)
    if days.total("minutes_unknown") > 0.9 * days.total("minutes_total"):
        none = "needs heat_pump_electricity, compressor_speed or operating_mode"
        return Defrosting(None, None, None, None, None, None, none)
    frost_hours = days.total("minutes_frosting") / 60.0
    heat = days.total("heat_space_kwh")
    minutes = defrosts.median("minutes") if len(defrosts) else None
    blurred = _melting_blurred(days, minutes)
    if not blurred and unseen is not None:
        blurred = unseen.reason
    taken = None if blurred or not days.total("minutes_heat_known") else defrosts.total("heat_taken")
    return Defrosting(
        len(defrosts),
        len(defrosts) / frost_hours if frost_hours >= 1.0 else None,
        minutes,
        defrosts.total("electricity"),
        taken,
        taken / heat if taken is not None and heat > 0 else None,
        taken_reason=blurred,
    )


def _sampled_count(days: Table, defrosts: Table) -> tuple[int | None, int | None]:
    """Least and most defrosts behind those that a sampled signal shows; None without such a signal."""
    apart = min(
        (
            float(np.nanmin(days[f"spacing.{q}"]))
            for q in ("defrost_active", "operating_mode")
            if f"spacing.{q}" in days and np.isfinite(days[f"spacing.{q}"]).any()
        ),
        default=math.inf,
    )
    if not len(defrosts) or apart > COARSEST_SIGNAL_MIN:
        return None, None
    return len(defrosts), math.ceil(len(defrosts) * apart / _SHORTEST_MELT_MIN)


def _melting_blurred(days: Table, minutes: float | None) -> str:
    """Why sparse heat readings can't show defrost heat; empty if they can.

    A reading that mixes a defrost with adjacent heating hides it: at a quarter of a defrost's length most of
    it still shows.
    """
    apart = next(
        (
            max(float(np.nanmax(days[f"spacing.{q}"])) for q in quantities)
            for quantities in _HEAT_SEEN_BY
            if all(f"spacing.{q}" in days for q in quantities)
        ),
        1.0,
    )
    if minutes is None or apart <= _CLOSE_TO_MELTING_MIN or minutes >= 4.0 * apart:
        return ""
    return (
        f"heat readings {apart:.0f} minutes apart can't show what defrosts of {minutes:.0f} minutes take;"
        " needs them every minute"
    )
