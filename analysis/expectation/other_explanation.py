"""Probability that a plant works otherwise than a rule pictures it.

A rule's own probability says how sure the departure is if its picture of the plant is right: intervals of
meters, weather and usual plants. It can't count what the rule does not know of: a unit that only switches on
and off, controls that follow the rooms, a meter in one branch. How often that was so is measured on plants
whose truth is known, at the first judgement of each, before anything was mended for them.
"""

from __future__ import annotations

# Findings at `watch` and above, told and true, by family (`findings.excuses.FAMILIES`; "data" for those about
# readings): 96 plants of the own simulator and 24 of plants_c as judged on 2026-12-01, and 60, 100 and 30
# plants of three independent simulators at their first sight, on the same day.
TOLD_AND_TRUE: dict[str, tuple[int, int]] = {
    "running": (8, 6),
    "safety": (5, 4),
    "disinfection": (31, 26),
    "supply": (24, 19),
    "charging": (7, 5),
    "cylinder": (7, 5),
    "rooms": (15, 14),
    "capacity": (12, 10),
    "curve": (7, 5),
    "operation": (63, 47),
    "efficiency": (43, 42),
    "house": (8, 4),
    "data": (36, 25),
}
# The same of two more simulators, of which only the sum was kept: 60 and 24 plants.
ELSEWHERE = (72, 56)
# What is seen as such (a stop, cold water, a charge that ends too early), and what is inferred by comparing
# with a model of the plant: the two kinds fail unequally often.
_SEEN = frozenset({"running", "safety", "disinfection", "supply", "charging", "cylinder"})
# Few findings of a family are known: its kind's mean counts as so many more (common practice).
_KIND_COUNTS_AS = 10.0
# The rules' own highest probability already allows for one plant in thirty with something that they don't
# know of (limit `surest`).
_ALLOWED_FOR = 0.97


def picture_holds(family: str) -> float:
    """Probability that the plant is as the rules of this family picture it [0 to 1].

    family : of `TOLD_AND_TRUE`; KeyError for another
    Source: beta-binomial estimate (Gelman et al., Bayesian Data Analysis, chapter 5, from memory); the kind's
    mean is the prior of each family.
    """
    told, true = TOLD_AND_TRUE[family]
    alike = [counts for name, counts in TOLD_AND_TRUE.items() if (name in _SEEN) == (family in _SEEN)]
    mean = sum(t for _, t in alike) / sum(n for n, _ in alike)
    share = (true + _KIND_COUNTS_AS * mean) / (told + _KIND_COUNTS_AS)
    return min(_level() * share / _ALLOWED_FOR, 1.0)


def _level() -> float:
    """Share that is true in all simulators over that in those counted by family [-]."""
    told, true = (sum(counts[i] for counts in TOLD_AND_TRUE.values()) for i in (0, 1))
    return (true + ELSEWHERE[1]) / (told + ELSEWHERE[0]) / (true / told)
