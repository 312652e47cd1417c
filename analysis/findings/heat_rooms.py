"""Are rooms colder than asked, and is it the unit, the curve or one zone?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.errors import NotAssessed
from analysis.facts.table import first_known
from analysis.findings.context import Context, Need, Rule
from analysis.findings.heat_common import as_cold
from analysis.findings.model import SEVERITIES, Cause, Evidence, Finding, Severity
from analysis.findings.operation_common import middle, ranked, water_caution
from analysis.findings.spells import Spell, last_spell
from analysis.findings.telling import Flags, Floats, sure

# A target far above the design is a wish the plant was not built for.
_BEYOND_DESIGN_K = 1.5
_HEATED_MIN = 60.0
_SHOWN_SHARE, _UNDER_CURVE_K = 0.8, 2.5
_COLD_ENOUGH_C = 12.0


@dataclass(frozen=True)
class _Zone:
    """deficit : target less room [K] by day, nan where not judged; own : the target is the zone's own"""

    name: str
    deficit: Floats
    room: Floats
    own: bool


def room_below_target(context: Context) -> Finding | None:
    zones = _zones(context)
    if not zones:
        raise NotAssessed(
            "needs target_room_temperature for at least one zone, and days on which it stood for some hours"
        )
    days, limit = context.days, context.limit
    judged, outdoor = _judged(context), days.floats("outdoor")
    found: list[tuple[float, _Zone, Spell, Flags]] = []
    for zone in zones:
        known = judged & np.isfinite(zone.deficit)
        so = first_known(zone.deficit, -9.0) > (limit("room_deficit_note") if zone.own else 0.0)
        spell = last_spell(
            days["day"],
            so & known,
            as_cold(so & known, outdoor, known),
            hold_days=int(limit("room_days")),
            gone_days=10,
        )
        if spell is None or spell.share < 0.3:
            continue
        inside = known & so & spell.covers(days["day"])
        found.append(
            (
                middle(zone.deficit[inside]) + (0.0 if zone.own else limit("room_deficit_watch")),
                zone,
                spell,
                inside,
            )
        )
    if not found:
        return None
    graded = [(_severity(context, zones, f), f) for f in found]
    kept = [(s, f) for s, f in graded if s is not None]
    if not kept:
        return None
    severity, (size, zone, spell, inside) = max(
        kept, key=lambda k: (SEVERITIES.index(k[0]), k[1][2].until is None, k[1][0])
    )
    hit = int(inside.sum())
    causes, told, _ = _causes(context, zone, zones, inside)
    first = causes[0].cause if causes else ""
    room = middle(zone.room[inside])
    return Finding(
        "room_below_target", severity, spell.since, sure(size / limit("room_deficit_watch"), hit, spell.share),
        (
            f"Zone {zone.name} stays {middle(zone.deficit[inside]):.1f} K under its target (at {room:.1f} °C), hours after it was asked."
            if zone.own else f"Zone {zone.name} stays at {room:.1f} °C, far below the rest of the house."
        ),
        evidence=(
            context.evidence(f"target less room, zone {zone.name}", round(middle(zone.deficit[inside]), 2), "K", "room_deficit_watch"),
            Evidence("room meanwhile", round(room, 1), "°C"),
            context.evidence("days with it", hit, "days", "room_days"),
            Evidence("share of the heating days", round(spell.share, 2), "-"),
            *told,
        ),
        causes=causes, until=spell.until, next_step=_step(first, zone.name),
        caution=water_caution(context.site) if first == "zone_not_opening" else "",
        home="" if severity == "note" else (
            f"It is colder than you asked in part of the house ({zone.name}). Keep doors and valves there open; your installer is on it."
        ),
        visit="none" if severity == "note" else "setting" if first == "curve_too_low" else "drive",
        bring=("spare valve actuator", "air vent key", "thermometer") if first == "zone_not_opening" else (),
    )  # fmt: skip


def _severity(
    context: Context, zones: list[_Zone], found: tuple[float, _Zone, Spell, Flags]
) -> Severity | None:
    limit = context.limit
    size, zone, spell, inside = found
    if size < limit("room_deficit_note"):
        return None
    # A shortage whose cause shows itself needs less size to be believed.
    shows = _causes(context, zone, zones, inside)[2]
    watch = limit("room_deficit_watch") * (_SHOWN_SHARE if shows else 1.0)
    if spell.until is not None or size < watch or inside.sum() < 2 * limit("room_days"):
        return "note"
    if size >= limit("room_deficit_urgent"):
        return "urgent"
    return "act" if size >= limit("room_deficit_act") else "watch"


def _zones(context: Context) -> list[_Zone]:
    days, design = context.days, context.site.design
    out = []
    asked: list[Floats] = []
    names = [c.removeprefix("room_day.") for c in days.names if c.startswith("room_day.")]
    for name in names:
        deficit = days.floats(f"deficit.{name}")
        if np.isfinite(deficit).any():
            wanted = days.floats(f"wanted.{name}")
            deficit = deficit - np.maximum(wanted - (design.indoor_c + _BEYOND_DESIGN_K), 0.0)
            out.append(_Zone(name, deficit, days.floats(f"room_day.{name}"), True))
            asked.append(np.minimum(wanted, design.indoor_c + _BEYOND_DESIGN_K))
    if not asked:
        return []
    highest = np.nanmax(np.vstack([*asked, np.full(len(days), -99.0)]), axis=0)
    highest = np.where(highest > 0, highest, np.nan)
    for name in names:
        if all(z.name != name for z in out):
            room = days.floats(f"room_day.{name}")
            out.append(_Zone(name, highest - context.limit("room_untold_deficit") - room, room, False))
    return out


def _judged(context: Context) -> Flags:
    """Heating days no colder than the design's."""
    days, coldest = context.days, context.site.design.outdoor_c
    outdoor = days.floats("outdoor")
    heated = (days.floats("n_heating") >= _HEATED_MIN) | (days.floats("n_running") >= 4 * _HEATED_MIN)
    cold = ~np.isfinite(outdoor) | (outdoor < _COLD_ENOUGH_C)
    return heated & cold & ~(outdoor < (coldest if coldest is not None else -99.0))


def _causes(
    context: Context, zone: _Zone, zones: list[_Zone], inside: Flags
) -> tuple[tuple[Cause, ...], tuple[Evidence, ...], bool]:
    """One zone alone: its valve. All alike with the unit at its limit: capacity. All alike with the unit at ease: the curve.

    Returns causes, their evidence, and whether one of them shows by itself.
    """
    days = context.days
    others = [z for z in zones if z.name != zone.name]
    evidence: list[Evidence] = []
    scores = {"capacity_short": (1.0, ""), "curve_too_low": (1.0, ""), "zone_not_opening": (0.0, "")}
    alone = -9.0
    strain, words, measures = _strain(context, inside)
    evidence += measures
    if others:
        gap = min(_colder(zone, z, inside) for z in others)
        evidence.append(
            Evidence("how much colder than its neighbours, against what each is asked", round(gap, 1), "K")
        )
        alone = float(np.clip(3.0 * (gap - 1.0), -4.0, 4.0)) - 0.5 * max(strain, 0.0)
        scores["zone_not_opening"] = (
            float(np.exp(alone)),
            f"the other zone has {gap:.1f} K more of what it is asked for, with the same water",
        )
    below = -middle(days.floats("above_curve")[inside])
    low = 0.0
    if np.isfinite(below):
        low = float(np.clip(0.8 * (below - 1.5), -2.5, 2.0))
        evidence.append(Evidence("flow under the designed curve", round(below, 1), "K"))
    told = words or "nothing tells how hard the unit worked"
    scores["capacity_short"] = (float(np.exp(0.5 * strain)), told)
    ease = (
        f"{told}; the flow lies {below:.1f} K {'under' if below > 0 else 'over'} the designed curve"
        if np.isfinite(below)
        else told
    )
    scores["curve_too_low"] = (float(np.exp(-0.5 * strain + low)), ease)
    shows = alone > 1.0 or strain > 2.0 or below > _UNDER_CURVE_K
    return ranked(scores), tuple(evidence), bool(shows)


def _colder(zone: _Zone, other: _Zone, inside: Flags) -> float:
    """How much more [K] this zone lacks than another. A zone without a target of its own may be asked to be cooler, so
    there the rooms themselves are compared."""
    if zone.own and other.own:
        return middle((zone.deficit - other.deficit)[inside])
    return middle((other.room - zone.room)[inside])


def _strain(context: Context, inside: Flags) -> tuple[float, str, list[Evidence]]:
    """Log odds that the unit was at its limit on those days, in words and numbers."""
    days = context.days
    evidence: list[Evidence] = []
    words: list[str] = []
    strain = 0.0
    running = middle((days.floats("n_running") / np.maximum(days.floats("n_minutes"), 1.0))[inside])
    lacking = middle((days.floats("n_lacking") / np.maximum(days.floats("n_settled"), 1.0))[inside])
    load = middle(days.floats("load_share")[inside])
    best_hour = days.floats("load_share_top")
    top = float(np.nanquantile(best_hour, 0.9)) if np.isfinite(best_hour).any() else np.nan
    if np.isfinite(running):
        strain += float(np.clip(12.0 * (running - 0.8), -3.0, 2.5))
        words.append(f"the unit ran {running:.0%} of the time")
        evidence.append(Evidence("share of the time the unit ran", round(running, 2), "-"))
    if np.isfinite(lacking) and context.site.measures("target_flow_temperature"):
        strain += float(np.clip(5.0 * (lacking - 0.4), -2.0, 3.0))
        words.append(f"its water was short of what was asked for {lacking:.0%} of that")
        evidence.append(
            Evidence("share of it with the water 2 K or more under what was asked", round(lacking, 2), "-")
        )
    if np.isfinite(load) and np.isfinite(top) and top > 0:
        strain += float(np.clip(8.0 * (load / min(top, 1.0) - 0.75), -2.0, 2.0))
        words.append(f"at {load:.0%} of its rated output")
        evidence.append(Evidence("output over the rating", round(load, 2), "-"))
    return strain, ", ".join(words), evidence


def _step(cause: str, zone: str) -> str:
    if cause == "zone_not_opening":
        return (
            f"Visit: see whether the valve of zone {zone} opens when it calls (actuator, wiring, stuck pin, lockshield), bleed its emitters, "
            "and balance the circuits."
        )
    if cause == "capacity_short":
        return (
            "Check from afar that no quiet mode or limit holds the unit back and that the night set-back is off; then treat it as a shortage of "
            "output: see capacity, air path and water flow on a visit."
        )
    return "Raise the heating curve by 2 K at the cold end from afar (or by phone), and look at the rooms after three cold days; repeat until they reach the target."


RULES = (
    Rule(
        "room_below_target", room_below_target,
        (Need(("room_temperature",), 60.0, 7), Need(("target_room_temperature",), 1440.0)),
        frozenset({"room_temperature", "target_room_temperature"}),
    ),
)  # fmt: skip
