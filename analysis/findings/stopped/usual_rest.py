"""Whether a rest is usual for this unit in such weather."""

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
    others = rests(context, "unit")
    if others is None:
        return False
    like = others.begun & others.ended & (others.start != rest.start)
    like &= others.hours >= limit("stopped_like_length") * rest.hours
    like &= others.columns["outdoor_mean_c"] <= outdoor + limit("stopped_like_k")
    return bool(like.sum() >= limit("stopped_like_rests"))
