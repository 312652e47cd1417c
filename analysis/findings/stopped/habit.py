"""Whether a rest is what this unit does in such weather anyway."""

from __future__ import annotations

from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.stopped.rests import Rest, rests


def is_usual_rest(context: Context, rest: Rest) -> bool:
    """True where equally long rests in similar or colder weather ended by themselves before.

    In mild weather alone: where every house needs heat, a habit of long rests may be a fault that comes back.
    """
    limit, outdoor = context.limit, rest["outdoor_mean_c"]
    if not outdoor >= limit("stopped_weather_c"):
        return False
    like = [
        other
        for other in context.once(_unit_rests)
        if other.start != rest.start
        and other.begun
        and other.ended
        and other.hours >= limit("stopped_like_length") * rest.hours
        and other["outdoor_mean_c"] <= outdoor + limit("stopped_like_k")
    ]
    return len(like) >= limit("stopped_like_rests")


def _unit_rests(context: Context) -> list[Rest]:
    return rests(context, "unit")
