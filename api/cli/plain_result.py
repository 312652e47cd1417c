"""A result as plain text for a terminal."""

from __future__ import annotations

from typing import Any

from fieldfare.analysis.reports.output_basis import output_basis
from fieldfare.analysis.reports.verdict import WORDS, given_verdict
from fieldfare.api.cli.options import NO_SITES, for_terminal
from fieldfare.dashboards.rows.electricity import electricity_rows
from fieldfare.dashboards.rows.sources import source_rows
from fieldfare.dashboards.text import formats
from fieldfare.dashboards.text.formats import day, days_between, measure, money, share
from fieldfare.dashboards.text.promise import promise_remark
from fieldfare.dashboards.text.words import (
    causes_told,
    confidence_text,
    evidence_words,
    missing_words,
    named,
    reason,
)

BOUNDARIES = (
    ("H1", "refrigeration unit"),
    ("H2", "with source fan"),
    ("H3", "with direct heaters"),
    ("H4", "with pumps"),
    ("space_heating", "space heating"),
    ("hot_water", "hot water"),
)
NOT_KNOWN = "not known"
MOST_ASKED = 2
"""Maximum of unanswered questions on a fleet line."""


def plain_result(result: dict[str, Any], name: str) -> str:
    """The whole result as text: verdict and findings, then figures, then what was not assessed."""
    period, coverage = result["period"], result["coverage"]["share"]
    head = f"{name}: {days_between(period['from'], period['to'])}"
    if coverage is not None:
        head += f", usable data in {share(coverage, 1)} of the time"
    head += "".join(f"\n  data: {notice}" for notice in result.get("data_notices", []))
    parts = [
        head,
        _verdict(result),
        _findings(result["findings"]),
        _performance(result),
        _energy(result),
        _losses(result),
    ]
    parts.append(_section("From electricity and weather alone, 95 % interval", electricity_rows(result)))
    parts.append(_section("Other heat sources, and each of several heat pumps", source_rows(result)))
    parts += [_house(result), _running(result), _hot_water(result), _comfort(result), _cost(result)]
    parts.append(_not_assessed(result["not_assessed"]))
    return for_terminal("\n\n".join(part for part in parts if part))


def plain_fleet(rows: list[dict[str, Any]]) -> str:
    """The fleet as text, one line per site."""
    if not rows:
        return NO_SITES
    width = max(len(row["id"]) for row in rows)
    wide = max(len(word) for word in WORDS.values())
    lines = []
    for row in rows:
        text = named(row["headline"]) or row["reason"] or _unknown(row) or "no findings"
        if row.get("silent"):
            text = f"no readings since {day(row['heard'])}; {text}"
        if files := row.get("files"):
            text += f"; last file: readings to {day(files['to'])}{', the next is due' * files['overdue']}"
        if decided := row.get("handling", {}).get(row.get("code")):
            text = f"{text} [{decided['words']}]"
        text += "".join(f"; data: {notice}" for notice in row.get("data_notices", []))
        h4 = formats.number(row["H4"], 2)
        word = "failed" if row["failed"] else WORDS[row["verdict"]]
        lines.append(f"{word:<{wide}} {row['id']:<{width}}  SPF {h4:>5}  {text}")
    return for_terminal("\n".join(lines))


def _unknown(row: dict[str, Any]) -> str:
    """The questions that can't be answered, on one line."""
    questions = [m["question"] for m in row["missing"]]
    more = f" and {len(questions) - MOST_ASKED} more" if len(questions) > MOST_ASKED else ""
    return f"not answered: {' '.join(questions[:MOST_ASKED])}{more}" if questions else ""


def plain_verdict(given: dict[str, Any]) -> str:
    """The verdict with its reasons and what is missing, as text."""
    lines = [f"Verdict: {WORDS[given['verdict']]}"]
    lines += [f"  {named(b['says'])}" for b in given["because"] if b["severity"]]
    lines += [f"  {missing_words(m)}" for m in given["missing"]]
    return "\n".join(lines)


def _verdict(result: dict[str, Any]) -> str:
    return plain_verdict(given_verdict(result))


def number(value: float | None, unit: str = "", digits: int = 0) -> str:
    """A value with its unit, or "not known"."""
    return NOT_KNOWN if value is None else measure(value, unit, digits)


def interval(figure: dict[str, Any] | None, unit: str = "", digits: int = 2) -> str:
    """A figure with its 95 % interval, or the reason why there is none."""
    if not figure or figure.get("value") is None:
        why = (figure or {}).get("reason")
        return f"{NOT_KNOWN} ({reason(why)})" if why else NOT_KNOWN
    return formats.interval(figure, unit, digits)


def _section(title: str, rows: list[tuple[str, str]]) -> str:
    rows = [row for row in rows if row[1]]
    if not rows:
        return ""
    width = max(len(label) for label, _ in rows)
    return "\n".join([title, *(f"  {label:<{width}}  {text}" for label, text in rows)])


def _findings(findings: list[dict[str, Any]]) -> str:
    if not findings:
        return "Findings\n  none"
    lines = ["Findings"]
    for f in findings:
        known = ", ".join(
            part for part in (f["code"], f"since {day(f['since'])}", confidence_text(f["confidence"])) if part
        )
        lines.append(f"  {f['severity'].upper()}: {named(f['headline'])} [{known}]")
        for e in f["evidence"]:
            lines.append(f"      {named(e['label'])}: {evidence_words(e)}")
        causes, weighed_by = causes_told(f["causes"])
        for c in causes:
            because = f": {named(c['because'])}" if c["because"] else ""
            lines.append(f"      cause, {c['likely']}: {c['cause'].replace('_', ' ')}{because}")
        if weighed_by:
            lines.append(f"      weighed by: {named(weighed_by)}")
        lines += [
            f"      {label}: {named(f[key])}"
            for key, label in (("next_step", "next"), ("caution", "caution"))
            if f[key]
        ]
    return "\n".join(lines)


def _performance(result: dict[str, Any]) -> str:
    performance = result["performance"]
    rows = [
        (
            f"{key} {text}" if key[0] == "H" else text,
            interval(performance.get(key)) + _quotient((performance.get("energies") or {}).get(key)),
        )
        for key, text in BOUNDARIES
    ]
    expected = performance.get("expected") or {}
    if expected.get("value") is not None:
        rows.append(("expected", f"{expected['value']:.2f}, from {expected.get('basis', '')}"))
    for row in result.get("promise") or []:
        use = row["use"].replace("_", " ")
        told = f"{promise_remark(result, row['use'])} of {number(row['promised'], '', 1)}"
        rows.append((f"promise, {use}", told))
    return _section("Performance, heat over electricity, 95 % interval", rows)


def _quotient(of: dict[str, float] | None) -> str:
    """The two energies that a performance is the quotient of."""
    if of is None:
        return ""
    return f": {number(of['heat_kwh'], 'kWh')} of heat from {number(of['electricity_kwh'], 'kWh')}"


def _energy(result: dict[str, Any]) -> str:
    """Energies by use; a use that nothing shows is not nothing, and what is not there has no line."""
    energy = result["energy"]
    unseen = {"defrost", "defrost_taken"} if (result.get("defrost") or {}).get("count") is None else set()
    absent = {"hot_water"} if "hot_water" in ((result.get("hot_water") or {}).get("reasons") or {}) else set()
    rows = [
        (
            f"{kind}, {'at rest, of no use' if use == 'idle' else use.replace('_', ' ')}",
            number(None if use in unseen and not value else value, "kWh"),
        )
        for kind, key in (("electricity", "electricity_kwh"), ("heat", "heat_kwh"))
        for use, value in energy[key].items()
        if value is not None and (value or use not in {"cooling", *absent})
    ]
    return _section("Energy", rows)


def _losses(result: dict[str, Any]) -> str:
    rows = [
        (
            row["cause"].replace("_", " "),
            number(row["electricity_kwh"], "kWh") + _accounted(row.get("accounted_by")),
        )
        for row in result.get("losses") or []
    ]
    return _section("Electricity beyond the expected", rows)


def _accounted(accounted_by: str | None) -> str:
    """The finding that explains a costly part, or its explanation."""
    if not accounted_by:
        return ""
    return f": see {accounted_by}" if accounted_by.replace("_", "").isalpha() else f": {named(accounted_by)}"


def _house(result: dict[str, Any]) -> str:
    loss, capacity, curve = (result.get(k) or {} for k in ("heat_loss", "capacity", "heating_curve"))
    rows = [
        ("heat loss coefficient", interval(loss.get("coefficient_w_per_k"), "W/K", 0)),
        ("heat loss at the design temperatures", interval(loss.get("heat_loss_kw"), "kW", 2)),
        ("the design said", number(loss.get("design_kw"), "kW", 2)),
        (
            f"output at the design temperature, {output_basis(result)}",
            interval(capacity.get("output_at_design_kw"), "kW", 2),
        ),
        ("output over need there", interval(capacity.get("margin"), "", 2)),
        ("flow temperature above the designed curve", number(curve.get("above_design_k"), "K", 1)),
    ]
    return _section("House and design", rows)


def _running(result: dict[str, Any]) -> str:
    cycling, defrost = result.get("cycling") or {}, result.get("defrost") or {}
    rows = [
        ("compressor starts", number(cycling.get("starts"))),
        ("starts in an hour of running", number(cycling.get("starts_per_running_hour"), "", 2)),
        ("typical run", number(cycling.get("median_run_minutes"), "min")),
        ("defrosts", number(defrost.get("count"))),
        ("electricity of defrosts", number(defrost.get("electricity_kwh"), "kWh")),
    ]
    return _section("Running", rows)


def _hot_water(result: dict[str, Any]) -> str:
    water = result.get("hot_water") or {}
    rows = [
        ("reheats", number(water.get("reheats"))),
        ("typical reheat", number(water.get("median_reheat_minutes"), "min")),
        ("litres at 40 °C when full", number(water.get("litres_at_40c_when_full"))),
        ("standing loss a day, quiet hours", number(water.get("standing_loss_kwh_per_day"), "kWh", 2)),
        ("last disinfection", day(water["last_pasteurised"]) if water.get("last_pasteurised") else NOT_KNOWN),
    ]
    return _section("Hot water", rows) if water else ""


def _comfort(result: dict[str, Any]) -> str:
    zones = (result.get("comfort") or {}).get("zones") or {}
    rows = []
    for zone, said in zones.items():
        below = said.get("share_below_target")
        text = number(said.get("mean_c"), "°C", 1)
        rows.append(
            (zone, text + (f", below its target {share(below)} of the time" if below is not None else ""))
        )
    return _section("Rooms", rows)


def _cost(result: dict[str, Any]) -> str:
    cost = result.get("cost") or {}
    rows = [
        ("electricity with standing charge", _or_why(cost, "total", _amount(cost, "total"))),
        ("electricity alone", _amount(cost, "running_cost")),
        ("with the fuel before", _amount(cost, "previous_fuel_total")),
        ("compared", named(cost.get("compared"))),
        (
            "carbon dioxide",
            _with_factors(_or_why(cost, "co2_kg", _carbon(cost, "co2_kg")), cost.get("factors")),
        ),
        (
            "with the fuel before",
            _or_why(cost, "previous_fuel_co2_kg", _carbon(cost, "previous_fuel_co2_kg")),
        ),
    ]
    return _section("Cost and carbon", rows) if cost else ""


def _amount(cost: dict[str, Any], name: str) -> str:
    return NOT_KNOWN if cost.get(name) is None else money(cost[name], cost.get("currency"), 2)


def _carbon(cost: dict[str, Any], name: str) -> str:
    return number(cost.get(name), "kg")


def _or_why(cost: dict[str, Any], name: str, text: str) -> str:
    """A figure of the costs, or the reason why there is none."""
    why = (cost.get("reasons") or {}).get(name)
    return f"{text} ({reason(why)})" if why and text == NOT_KNOWN else text


def _with_factors(text: str, factors: list[str] | None) -> str:
    """A carbon figure with its emission factors; a site without a country uses the United Kingdom's."""
    return f"{text}, by {'; '.join(factors)}" if factors and not text.startswith(NOT_KNOWN) else text


def _not_assessed(rows: list[dict[str, Any]]) -> str:
    return _section("Not assessed", [(row["code"].replace("_", " "), reason(row["reason"])) for row in rows])
