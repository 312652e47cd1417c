"""Faults that the unit itself reports: which, since when, how often, and what the unit did then."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from fieldfare.analysis.errors import NotAssessed
from fieldfare.analysis.facts.table import Table
from fieldfare.analysis.findings.context import Context
from fieldfare.analysis.findings.model import Evidence, Finding, Severity
from fieldfare.analysis.findings.stopped.rests import local

_JOINED_MS = 60_000
# A unit reports a defrost as it prepares it, or as the heating resumes (common practice).
_ABOUT_DEFROST_MS, _MOSTLY = 15 * 60_000, 0.8


@dataclass(frozen=True)
class _Episode:
    """One fault from when it came to when it went. start, end [ms]; gone : another word followed"""

    code: str
    start: int
    end: int
    gone: bool
    minutes_running: float
    minutes_known: float

    @property
    def minutes(self) -> float:
        return (self.end - self.start) / 60_000.0

    @property
    def minutes_stopped(self) -> float:
        return self.minutes_known - self.minutes_running


def fault_reported(context: Context) -> Finding | None:
    """Faults in `fault_code`: act on repeated or standing ones; past ones are notes."""
    days = context.all_days.days
    points = [p.id for p in context.site.points_of("fault_code")]
    if not points:
        raise NotAssessed("needs fault_code", "missing_quantity")
    episodes = _episodes(context.all_days.faults)
    if not episodes:
        return None
    end = int(np.datetime64(days.day(len(days) - 1) + timedelta(1), "ms").astype(np.int64))
    recent = [e for e in episodes if e.end > end - context.limit("fault_recent_days") * 86_400_000]
    chosen = recent or episodes
    worst = max(chosen, key=lambda e: (not e.gone, e.minutes_stopped, e.end))
    alike = [e for e in chosen if e.code == worst.code]
    stands = not worst.gone and local(context, worst.end - 1).date() >= days.day(len(days) - 1) - timedelta(1)
    severity = _severity(context, alike, stands=stands, recent=bool(recent))
    stopped = sum(e.minutes_stopped for e in alike)
    ran = sum(e.minutes_running for e in alike)
    first = local(context, alike[0].start)
    return Finding(
        "fault_reported",
        severity,
        first.date().isoformat(),
        0.95 if severity != "note" else 0.9,
        _headline(context, worst, alike, stands=stands),
        evidence=(
            Evidence("fault reported by the unit", worst.code),
            Evidence("first reported", f"{first:%Y-%m-%d %H:%M}"),
            Evidence("last reported", f"{local(context, alike[-1].end):%Y-%m-%d %H:%M}"),
            context.evidence(
                "most times in one week",
                _most_in_a_week(alike),
                "1/week",
                "fault_repeats_a_week",
            ),
            context.evidence("unit stopped meanwhile", round(stopped), "min", "fault_stop_minutes"),
            Evidence("unit kept running meanwhile", round(ran), "min"),
            *_others(chosen, worst.code),
        ),
        next_step=_next_step(severity, stands=stands),
        caution=(
            "Reset only as the maker's manual allows; a lock-out that comes back protects the unit or the "
            "people near it. Never bypass a safety device. "
            "Work on refrigerant and mains is for licensed people."
        ),
        home=_home(severity, stands=stands),
        until=None if stands or severity != "note" else local(context, alike[-1].end).date().isoformat(),
        visit="none" if severity == "note" else "call" if severity == "watch" else "drive",
        bring=("the maker's fault list",) if severity != "note" else (),
    )


def _episodes(table: Table) -> list[_Episode]:
    """The rows of the faults table joined over midnights, in order of their beginning."""
    out: list[_Episode] = []
    for i in range(len(table)):
        code, start, end = str(table["code"][i]), int(table["start"][i]), int(table["end"][i])
        running, known = float(table["minutes_running"][i]), float(table["minutes_known"][i])
        last = out[-1] if out else None
        if (
            last is not None
            and last.code == code
            and not table["begun"][i]
            and start - last.end <= _JOINED_MS
        ):
            out[-1] = _Episode(
                code,
                last.start,
                end,
                bool(table["ended"][i]),
                last.minutes_running + running,
                last.minutes_known + known,
            )
        else:
            out.append(_Episode(code, start, end, bool(table["ended"][i]), running, known))
    return sorted(out, key=lambda e: e.start)


def _most_in_a_week(episodes: list[_Episode]) -> int:
    """The most times that a fault came within seven days."""
    starts = np.array([e.start for e in episodes], dtype=np.int64)
    return int(max(np.searchsorted(starts, s + 7 * 86_400_000) - i for i, s in enumerate(starts)))


def _severity(context: Context, alike: list[_Episode], *, stands: bool, recent: bool) -> Severity:
    limit = context.limit
    if not recent or (not stands and _comes_with_defrosts(context, alike)):
        return "note"
    stopping = [e for e in alike if e.minutes_stopped >= 0.5 * max(e.minutes_known, 1.0)]
    repeats = _most_in_a_week(stopping) >= limit("fault_repeats_a_week") if stopping else False
    if stands:
        newest = alike[-1]
        stopped = newest.minutes_stopped >= limit("fault_stop_minutes") and newest.minutes_running == 0
        standing = newest.minutes >= 60.0 * limit("fault_standing_hours")
        return "act" if stopped or repeats else "watch" if standing or newest.minutes >= 30.0 else "note"
    if repeats:
        return "act"
    locked_again = len(stopping) >= limit("fault_lockouts_watch")
    return (
        "watch" if locked_again or _most_in_a_week(alike) >= 2.0 * limit("fault_repeats_a_week") else "note"
    )


def _comes_with_defrosts(context: Context, alike: list[_Episode]) -> bool:
    """Whether a message comes and goes with the defrosts, which other rules judge."""
    defrosts = context.all_days.defrosts
    if len(alike) < context.limit("fault_repeats_a_week") or not len(defrosts):
        return False
    begins = defrosts["start"].astype(np.int64)
    near = [bool((np.abs(begins - e.start) <= _ABOUT_DEFROST_MS).any()) for e in alike]
    short = [e.minutes <= context.limit("fault_defrost_minutes") for e in alike]
    return float(np.mean(np.array(near) & np.array(short))) >= _MOSTLY


def _headline(context: Context, worst: _Episode, alike: list[_Episode], *, stands: bool) -> str:
    words = context.site.fault_codes.get(worst.code)
    named = f"{worst.code} ({words})" if words else worst.code
    begin = local(context, worst.start)
    if worst.minutes_known <= 0:
        did = ""
    elif worst.minutes_stopped >= 0.8 * worst.minutes_known:
        did = f"; it was stopped for {_length(worst.minutes_stopped)} of this time"
    else:
        did = "; it kept running"
    times = f", {len(alike)} times so far" if len(alike) > 1 else ""
    if stands:
        return f"The unit reports the fault {named} since {begin:%-d %b %H:%M}{times}{did}."
    return f"The unit reported the fault {named} on {begin:%-d %b} for {_length(worst.minutes)}{times}{did}."


def _length(minutes: float) -> str:
    return f"{minutes:.0f} minutes" if minutes < 100 else f"{minutes / 60.0:.0f} hours"


def _others(chosen: list[_Episode], code: str) -> tuple[Evidence, ...]:
    rest = sorted({e.code for e in chosen} - {code})
    return (Evidence("other faults reported", ", ".join(rest[:5])),) if rest else ()


def _next_step(severity: Severity, *, stands: bool) -> str:
    if severity == "note":
        return "Nothing to do now; look the code up in the maker's list at the next visit."
    look = "Look the code up in the maker's own list."
    if stands:
        return (
            f"Ring: have the display read out, and ask whether the house is warm. {look} Reset once"
            " only, as the manual allows."
        )
    return (
        f"Ask who resets it and what the display says. {look} A fault that comes back after resets needs a "
        "visit, not another reset."
    )


def _home(severity: Severity, *, stands: bool) -> str:
    if severity == "note":
        return ""
    if stands:
        return (
            "Your heat pump shows a fault message. Please read it out to your installer; don't reset"
            " it repeatedly."
        )
    return (
        "Your heat pump has shown the same fault message several times. Your installer will look into"
        " it; please don't keep resetting it."
    )
