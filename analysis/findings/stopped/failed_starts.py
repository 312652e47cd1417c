"""A unit that runs without giving heat: aborted starts, cooling, or running on without output."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.stopped.heat_due import Reason
from fieldfare.analysis.findings.stopped.rests import Rest
from fieldfare.analysis.minutes.operating_state import HOT_WATER

# Runs before that were as long as a healthy unit's: a plant that always runs for minutes only short-cycles.
_FEWEST_RUNS, _USUAL_RUN_MIN = 8, 15.0
_MOSTLY = 0.5
# More than a defrost takes out of the water before the run is over.
_COOLED_KWH = 1.0


def cools_instead(rest: Rest) -> bool:
    """Whether runs in this rest took heat out of the water."""
    return bool(rest["cooled_kwh"] >= _COOLED_KWH)


def is_barren(rest: Rest) -> bool:
    """Most of this rest the unit drew power as if it worked, and no heat was measured."""
    return bool(rest["minutes_barren"] >= _MOSTLY * rest["minutes"])


def _is_felt(context: Context, rest: Rest, reasons: Sequence[Reason]) -> bool:
    """Rooms or cylinder cooled meanwhile: it is not the heat meter alone that shows nothing."""
    fell = rest["room_first_c"] - rest["room_last_c"] >= context.limit("stopped_barren_fall_k")
    return bool(fell or {"floor", "cylinder"} & {r.kind for r in reasons})


def is_unlike_before(context: Context, rest: Rest, reasons: Sequence[Reason]) -> bool:
    """Whether the runs in a rest that warmed nothing differ from this unit's own before it.

    reasons : why heat was due. A unit that cools instead needs no comparison. One that only ever runs for
        minutes is no stopped one.
    """
    if cools_instead(rest):
        return True
    if is_barren(rest):
        return _is_felt(context, rest, reasons)
    runs = context.all_days.runs
    before = runs.where((runs["start"] < rest.start) & (runs["use"] != HOT_WATER)) if len(runs) else runs
    lengths = before.floats("minutes") if len(before) else np.empty(0)
    return len(lengths) >= _FEWEST_RUNS and float(np.median(lengths)) >= _USUAL_RUN_MIN
