"""Verdict on a home: one function, used by all pages, papers, the API and the CLI.

A home is in order only if every question that matters was answered and nothing was found. A question that
nobody could answer makes it "not known", with the meter that would tell.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, Literal

from fieldfare.analysis.findings.limits import limit_of
from fieldfare.analysis.findings.model import CHANGED_HABIT
from fieldfare.analysis.findings.phrases import day_text
from fieldfare.analysis.plant.site import Site

if TYPE_CHECKING:
    from fieldfare.analysis.reports.result import Result

Verdict = Literal["in_order", "not_known", "watch", "act", "urgent"]
Harm = Literal["danger", "discomfort", "none"]

VERDICTS: tuple[Verdict, ...] = ("urgent", "act", "watch", "not_known", "in_order")
"""Worst first."""

WORDS: dict[str, str] = {
    "urgent": "urgent",
    "act": "needs work",
    "watch": "needs watching",
    "not_known": "not known",
    "in_order": "in order",
}
"""The words for people. Severities of findings use the same ones."""

SILENT_AFTER = timedelta(hours=6)
"""Gateways repeat every few minutes; a router may be off for a night's hours (common practice)."""
RECENT_DAYS = 14
"""Days that tell how warm a home is now (common practice: a fortnight has cold and mild days)."""
GONE_AFTER = timedelta(hours=48)
"""Two days of silence outlast every restart and most power cuts (common practice)."""


@dataclass(frozen=True)
class FileFeed:
    """A home fed only by files.

    until : its newest reading. due : time from which a file is overdue
    usual : time between its files, None where there were too few to tell
    """

    until: datetime
    due: datetime
    usual: timedelta | None = None

    def is_due(self, now: datetime) -> bool:
        return now > self.due


def _always(site: Site) -> bool:
    return True


def _makes_hot_water(site: Site) -> bool:
    return site.hot_water is not None


def _has_curve(site: Site) -> bool:
    return site.heating_curve is not None


@dataclass(frozen=True)
class VerdictQuestion:
    """A question that must be answered before a home is called in order.

    asks : the question in plain words. codes : findings that answer it; one of them is enough
    meters : quantities that would tell. applies : whether the plant has the part in question
    """

    asks: str
    codes: tuple[str, ...]
    meters: tuple[str, ...]
    applies: Callable[[Site], bool] = _always


@dataclass(frozen=True)
class Matter:
    """A subject that matters to a home, with its questions.

    also : further findings about it that are not required for an answer. harm : what may come of its findings
    """

    key: str
    name: str
    questions: tuple[VerdictQuestion, ...]
    also: tuple[str, ...] = ()
    harm: Harm = "none"

    @property
    def codes(self) -> tuple[str, ...]:
        return (*(code for q in self.questions for code in q.codes), *self.also)


_COMPLETE = "Are the readings complete?"

MATTERS: tuple[Matter, ...] = (
    Matter(
        "safety",
        "safety",
        (
            VerdictQuestion(
                "Is the stored water disinfected?",
                ("disinfection_lacking", "pasteurisation_missed"),
                ("cylinder_temperature",),
                _makes_hot_water,
            ),
            VerdictQuestion(
                "Can the stored water scald?", ("water_too_hot",), ("cylinder_temperature",), _makes_hot_water
            ),
            VerdictQuestion(
                "Can water freeze in the unit?", ("frost_risk",), ("outdoor_temperature", "flow_temperature")
            ),
        ),
        # Few homes have a pressure sensor, and a circuit that runs empty stops the unit: it is judged where
        # it is measured.
        ("pressure_low", "pressure_falling", "pressure_high", "pressure_swings"),
        "danger",
    ),
    Matter(
        "running",
        "running",
        (
            VerdictQuestion(
                "Does the heat pump run when heat is due?",
                ("unit_stopped",),
                ("heat_pump_electricity", "heat_output"),
            ),
        ),
        ("fault_reported",),
        "danger",
    ),
    Matter(
        "rooms",
        "rooms",
        (
            VerdictQuestion(
                "Are the rooms as warm as set?",
                ("room_below_target",),
                ("room_temperature", "target_room_temperature"),
            ),
        ),
        ("capacity_short", "flow_temperature_below_curve"),
        "discomfort",
    ),
    Matter(
        "hot_water",
        "hot water",
        (
            VerdictQuestion(
                "Is there enough hot water?",
                ("hot_water_shortfall",),
                ("cylinder_temperature",),
                _makes_hot_water,
            ),
        ),
        ("reheat_incomplete", "slow_reheat"),
        "discomfort",
    ),
    Matter(
        "efficiency",
        "efficiency",
        (
            VerdictQuestion(
                "Is it as efficient as it should be?",
                (
                    "efficiency_below_expected",
                    "efficiency_fell",
                    "performance_below_promise",
                    "electricity_above_expected",
                ),
                ("heat_pump_electricity", "heat_output", "outdoor_temperature"),
            ),
            # A unit may be as efficient as its rating says at water far hotter than the house needs.
            VerdictQuestion(
                "Is the heating water no hotter than designed?",
                ("flow_temperature_above_curve",),
                ("flow_temperature", "outdoor_temperature"),
                _has_curve,
            ),
        ),
        (
            "short_cycling",
            "excessive_defrost",
            "defrost_without_frost",
            "no_weather_compensation",
            "low_flow",
            "falling_flow",
            "buffer_mixing",
            "backup_heater_use",
            "immersion_use",
            "high_standby",
            "pump_always_on",
            "heating_out_of_season",
            "high_standing_loss",
            "diverter_passing",
            "heat_loss_above_design",
            "heat_loss_below_design",
        ),
    ),
    Matter(
        "data",
        "data",
        (
            VerdictQuestion(_COMPLETE, ("data_gap",), ()),
            VerdictQuestion(
                "Can the meters be trusted?",
                ("meter_misplaced", "implausible_efficiency", "heat_meter_disagrees", "unit_mismatch"),
                ("heat_pump_electricity", "heat_output"),
            ),
        ),
        ("sensor_stuck", "register_reset", "flow_return_swapped", "clock_offset", "outdoor_sensor_biased"),
    ),
)
"""What matters, the findings that answer it, and the meters that would tell. Every finding code stands here
once."""

DATA_CODES = next(matter.codes for matter in MATTERS if matter.key == "data")

MATTER_OF: dict[str, Matter] = {code: matter for matter in MATTERS for code in matter.codes}

# While a plant runs is seen by every finding about how it runs, where no rule of its own looks at it.
_SHOWS_RUNNING = frozenset(MATTER_OF) - {c for c in MATTER_OF if MATTER_OF[c].key in ("data", "rooms")}


def harm_of(code: str) -> Harm:
    """Possible harm of a finding: danger to people or the plant, discomfort, or only cost."""
    matter = MATTER_OF.get(code)
    return matter.harm if matter else "none"


def rule_codes() -> frozenset[str]:
    """Codes of all rules of this version."""
    from fieldfare.analysis.findings.judge import RULES  # loads every rule; showing a kept verdict needs none

    return frozenset(rule.code for rule in RULES)


def is_standing(finding: Mapping[str, Any]) -> bool:
    """Whether a finding is open and above a note."""
    return not finding["until"] and finding["severity"] != "note"


def verdict(
    site: Site, result: Mapping[str, Any] | Result, rules: Iterable[str] | None = None
) -> dict[str, Any]:
    """The verdict on a home for a result's days.

    result : a result document, or a Result. rules : codes that this version looks at; default `rule_codes`
    Returns dict: `verdict`; `because`, what decides it (open findings, zones that are cold for hours; in
        order: what was checked), each with `matter`, `code`, `severity` and `says`; `missing`, the questions
        that could not be answered, each with `matter`, `question`, `reason`, `reason_code` and `meters`, the
        quantities that would tell and are not measured.
    """
    document = result if isinstance(result, Mapping) else result.as_dict()
    missing = _missing(site, document["not_assessed"], rule_codes() if rules is None else frozenset(rules))
    missing += _zones_without_target(document)
    missing += _undecided(document)
    missing += _changed(document)
    missing += _ended_unexplained(document) or _little_read(site, document)
    decisive = [f for f in document["findings"] if is_standing(f)]
    because: list[dict[str, Any]] = [
        {
            "matter": MATTER_OF[f["code"]].key if f["code"] in MATTER_OF else "data",
            "code": f["code"],
            "severity": f["severity"],
            "says": f["headline"],
        }
        for f in decisive
    ]
    if not any(f["code"] == "room_below_target" for f in decisive):
        because += _cold_zones(site, document)
    because += _warm_zones(site, document)
    if because:
        worst: Verdict = min((b["severity"] for b in because), key=VERDICTS.index)
        return {"verdict": worst, "because": because, "missing": missing}
    checked = [
        {"matter": m.key, "code": None, "severity": None, "says": f"{m.name}: checked, nothing found"}
        for m in MATTERS
        if m.key not in {x["matter"] for x in missing} and any(q.applies(site) for q in m.questions)
    ]
    return {
        "verdict": "not_known" if missing else "in_order",
        "because": checked,
        "missing": missing,
    }


def _changed(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """What the plant does otherwise than before, and no finding tells why."""
    return [
        {
            "matter": "running",
            "question": "Does it work as it did?",
            "reason": r["words"].removesuffix("."),
            "reason_code": "not_enough_data",
            "meters": [],
        }
        for r in document.get("recognised") or ()
        if r["kind"] == CHANGED_HABIT
    ]


def _undecided(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """What is more likely wrong than right, by an amount that matters, and can't be told for sure yet."""
    return [
        {
            "matter": matter.key,
            "question": next((q for q in matter.questions if f["code"] in q.codes), matter.questions[0]).asks,
            "reason": f"probable, but not sure: {f['headline'].removesuffix('.')}",
            "reason_code": "not_enough_data",
            "meters": [],
        }
        for f in document["findings"]
        if f.get("undecided") and (matter := MATTER_OF.get(f["code"])) is not None
    ]


def _ended_unexplained(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """What ended and is more than a note all the same: whether it comes back, or what happened meanwhile, is
    not known."""
    return [
        {
            "matter": matter.key,
            "question": next(q.asks for q in matter.questions if f["code"] in q.codes),
            "reason": f["headline"].removesuffix("."),
            "reason_code": "not_enough_data",
            "meters": [],
        }
        for f in document["findings"]
        if f["until"]
        and f["severity"] != "note"
        and (matter := MATTER_OF.get(f["code"])) is not None
        and any(f["code"] in q.codes for q in matter.questions)
    ]


def _little_read(site: Site, document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The readings cover too little of the time."""
    share = (document.get("coverage") or {}).get("share")
    if share is None or share >= limit_of(site, "verdict_read_share"):
        return []
    return [_not_read(f"readings cover only {100.0 * share:.0f} % of the time")]


def _not_read(reason: str) -> dict[str, Any]:
    """An entry of `missing`: whether the readings are complete."""
    return {
        "matter": "data",
        "question": _COMPLETE,
        "reason": reason,
        "reason_code": "not_enough_data",
        "meters": [],
    }


def _zones_without_target(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Zones noted as cold whose set temperature is not measured: whether they are warm enough is unknown."""
    question = next(q for m in MATTERS for q in m.questions if "room_below_target" in q.codes)
    return [
        {
            "matter": "rooms",
            "question": question.asks,
            "reason": f["headline"],
            "reason_code": "missing_quantity",
            "meters": ["target_room_temperature"],
        }
        for f in document["findings"]
        if f["code"] == "room_below_target"
        and f["severity"] == "note"
        and not f["until"]
        and any(e.get("limit_name") == "room_cold_c" for e in f.get("evidence", ()))
    ]


def _cold_zones(site: Site, document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Zones below target for hours a day without a finding: to be watched."""
    out = []
    comfort = document.get("comfort") or {}
    days = comfort.get("recent_days", RECENT_DAYS)
    for name, zone in comfort.get("recent", {}).items():
        if (cold := cold_for(site, zone)) is None:
            continue
        under, share = cold
        says = (
            f"Zone {name} was {under} or more below its set temperature for {24.0 * share:.0f} hours"
            f" a day in the last {days} days."
        )
        out.append({"matter": "rooms", "code": "room_below_target", "severity": "watch", "says": says})
    return out


def cold_for(site: Site, zone: Mapping[str, Any]) -> tuple[str, float] | None:
    """How far a zone was below its set temperature for too long, and for which share of the time; None where
    it was warm enough, or nobody can tell.

    zone : a zone of `comfort` of a result document
    """
    for key, most, under in (
        ("share_far_below", limit_of(site, "zone_cold_share"), "1.5 K"),
        ("share_below_target", limit_of(site, "zone_cool_share"), "0.5 K"),
    ):
        share = zone.get(key)
        if share is not None and share > most:
            return under, share
    return None


def _warm_zones(site: Site, document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Zones far above their target while the heat pump heats: to be watched. No finding tells them."""
    most = limit_of(site, "zone_hot_k")
    season = limit_of(site, "zone_hot_season_c")
    comfort = document.get("comfort") or {}
    days = comfort.get("recent_days", RECENT_DAYS)
    newest = ((document.get("performance") or {}).get("by_day") or [])[-days:]
    air = [d["outdoor_c"] for d in newest if d.get("outdoor_c") is not None]
    if not air or max(air) >= season:
        return []
    out = []
    for name, zone in comfort.get("recent", {}).items():
        mean, target = zone.get("mean_c"), zone.get("target_c")
        if mean is None or target is None or not mean - target >= most:
            continue
        says = (
            f"Zone {name} was {mean - target:.0f} K above its set temperature on average in the last {days}"
            " days of cold weather: its thermostat or valve does not stop the heating, or a sensor reads"
            " wrongly."
        )
        out.append({"matter": "rooms", "code": "room_above_target", "severity": "watch", "says": says})
    return out


def unanswered(
    site: Site, not_assessed: Iterable[Mapping[str, Any]], rules: frozenset[str]
) -> Iterator[tuple[Matter, VerdictQuestion, Mapping[str, Any] | None]]:
    """The questions that nothing answers, each with its matter and, where known, why: an entry of
    `not_assessed`."""
    reasons = {n["code"]: n for n in not_assessed}
    idle = {code for code, n in reasons.items() if n.get("reason_code") == "not_applicable"}
    for matter in MATTERS:
        for question in matter.questions:
            if not question.applies(site):
                continue
            codes = [c for c in question.codes if c in rules]
            # A code unknown to this version: other findings of the question decide.
            codes = codes or [c for c in _others(matter) if c in rules]
            # Codes that don't apply leave a question open where another code applies; where none applies, the
            # question falls away.
            applying = [c for c in codes if c not in idle]
            if any(c not in reasons for c in applying) or (codes and not applying):
                continue
            yield matter, question, next((reasons[c] for c in applying), None)


def _missing(
    site: Site, not_assessed: Iterable[Mapping[str, Any]], rules: frozenset[str]
) -> list[dict[str, Any]]:
    return [
        {
            "matter": matter.key,
            "question": question.asks,
            "reason": why["reason"] if why else "this version does not look at it",
            "reason_code": why.get("reason_code", "not_enough_data") if why else "not_enough_data",
            "meters": [q for q in question.meters if not site.measures(q)],
        }
        for matter, question, why in unanswered(site, not_assessed, rules)
    ]


def _others(matter: Matter) -> list[str]:
    return sorted(_SHOWS_RUNNING) if matter.key == "running" else list(matter.codes)


def given_verdict(result: Mapping[str, Any] | None, reason: str = "not analysed yet") -> dict[str, Any]:
    """The verdict of a result document; not known, with the reason, without one."""
    if result is not None and result.get("verdict"):
        return dict(result["verdict"])
    return {"verdict": "not_known", "because": [], "missing": [_not_read(reason)]}


def verdict_now(
    given: Mapping[str, Any], heard: datetime | None, now: datetime, feed: FileFeed | None = None
) -> dict[str, Any]:
    """The current verdict: a silent gateway or an overdue file needs watching.

    heard : the last reading, None where it is not known. feed : where the home is fed by files
    """
    if feed is not None:
        return with_file_due(given, feed, now)
    return with_silence(given, None if heard is None else now - heard)


def with_file_due(given: Mapping[str, Any], feed: FileFeed, now: datetime) -> dict[str, Any]:
    """The current verdict of a home that is fed by files: it needs watching once a file is overdue."""
    if not feed.is_due(now):
        return dict(given)
    severity: Verdict = min("watch", given["verdict"], key=VERDICTS.index)
    due = {"matter": "data", "code": "file_due", "severity": severity, "says": file_due_text(feed)}
    kept = [b for b in given["because"] if b["severity"]]
    return {**given, "verdict": severity, "because": [*kept, due]}


def file_due_text(feed: FileFeed) -> str:
    """Sentence that the next file is overdue."""
    habit = "" if feed.usual is None else f" Files came every {max(feed.usual.days, 1)} days."
    return f"The last file has readings to {day_text(feed.until.date().isoformat())}.{habit}"


def with_silence(given: Mapping[str, Any], quiet: timedelta | None) -> dict[str, Any]:
    """The current verdict: a home without recent readings is not in order.

    quiet : time since the last reading; None where it is not known
    """
    if quiet is None or quiet <= SILENT_AFTER:
        return dict(given)
    severity: Verdict = "act" if quiet > GONE_AFTER else "watch"
    if VERDICTS.index(given["verdict"]) <= VERDICTS.index(severity):
        severity = given["verdict"]
    hours = quiet.total_seconds() / 3600.0
    length = f"{hours / 24.0:.0f} days" if hours >= 48 else f"{hours:.0f} hours"
    silence = {
        "matter": "data",
        "code": "silence",
        "severity": severity,
        "says": f"Nothing heard from its gateway for {length}.",
    }
    reasons = [b for b in given["because"] if b["severity"] and b["code"] != "silence"]
    return {**given, "verdict": severity, "because": [*reasons, silence]}
