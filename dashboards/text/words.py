"""Words on the screens: titles of findings, causes, quantities, verdicts; sentences made readable.

Number forms, dates and money are in `formats`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from fieldfare.analysis.reports.verdict import WORDS as VERDICT_WORDS
from fieldfare.dashboards.text import language
from fieldfare.dashboards.text.formats import (
    THIN,
    age,
    day,
    days_between,
    degrees,
    duration,
    file_until,
    interval,
    measure,
    moment,
    money,
    month,
    month_short,
    number,
    share,
    span,
    tidy,
    unit,
    weekday,
)
from fieldfare.dashboards.text.labels import (
    CAUSES,
    FIGURES,
    KINDS,
    LOSSES,
    NOT_FOR_READERS,
    POINT_NAMES,
    SEVERITY_WORDS,
    SITE_KEYS,
    TITLES,
    VISITS,
)
from fieldfare.dashboards.text.language import gettext

__all__ = [
    "THIN",
    "VERDICT_WORDS",
    "age",
    "day",
    "days_between",
    "degrees",
    "duration",
    "file_until",
    "interval",
    "measure",
    "moment",
    "money",
    "month",
    "month_short",
    "number",
    "share",
    "span",
    "tidy",
    "unit",
    "weekday",
]

_NAMES = re.compile(r"\b(" + "|".join(sorted(POINT_NAMES, key=len, reverse=True)) + r")\b(?!\.\w)")
_POINTERS = re.compile(r"\b([Ss]ee) (" + "|".join(sorted(TITLES, key=len, reverse=True)) + r")\b")
_CODES = re.compile(
    r"\b(" + "|".join(sorted((c for c in TITLES if "_" in c), key=len, reverse=True)) + r")\b"
)
_KEYS = re.compile("|".join(sorted((re.escape(k) for k in SITE_KEYS), key=len, reverse=True)))


def finding_title(code: str) -> str:
    """A finding's name in plain words."""
    return gettext(TITLES.get(code, plain(code)))


def cause_words(cause: str) -> str:
    """A cause as it stands in a line; one that is a finding of its own has that finding's name."""
    return CAUSES.get(cause) or small_first(TITLES.get(cause, plain(cause)))


def causes_told(causes: Sequence[Mapping[str, Any]]) -> tuple[list[dict[str, Any]], str]:
    """A finding's causes, and the evidence that all of them are weighed by; empty where each has its own.

    Evidence that several causes share is said once: a cause whose evidence was said before has an empty
    `because`.
    """
    reasons = [c["because"] for c in causes]
    if len(causes) > 1 and reasons[0] and len(set(reasons)) == 1:
        return [{**c, "because": ""} for c in causes], reasons[0]
    shown = ["" if because in reasons[:n] else because for n, because in enumerate(reasons)]
    return [{**c, "because": because} for c, because in zip(causes, shown, strict=True)], ""


def loss_words(cause: str) -> str:
    return LOSSES.get(cause, plain(cause))


def severity_words(severity: str | None) -> str:
    return SEVERITY_WORDS.get(severity or "", plain(VERDICT_WORDS["in_order"]))


def verdict_words(verdict: str) -> str:
    """A verdict for people."""
    return plain(gettext(VERDICT_WORDS[verdict]))


def counted_verdict(n: int, verdict: str) -> str:
    """`1 needs work`, `3 need work`."""
    word = VERDICT_WORDS[verdict]
    return f"{n} {word if n == 1 else word.replace('needs ', 'need ')}"


def visit_words(visit: str | None) -> str:
    return VISITS.get(visit or "none", VISITS["none"])


def quantity_words(quantity: str) -> str:
    return POINT_NAMES.get(quantity, plain(quantity))


def kind_words(kind: str) -> str:
    return KINDS.get(kind, plain(kind))


def figure_for(code: str) -> str | None:
    """The figure on which a finding's evidence is drawn."""
    return FIGURES.get(code)


LONG_MIN = 720.0
"""Evidence of so many minutes is given in hours or days (common practice)."""
_SHORT = {"lpg": "LPG"}


def plain(name: str) -> str:
    """A code as words: `low_flow` is Low flow."""
    return _SHORT.get(name) or capital(name.replace("_", " ").strip())


def named(text: str | None) -> str:
    """A sentence of `analysis` for readers: findings, quantities and site-file keys by their names, numbers
    in one form."""
    out = _POINTERS.sub(lambda m: f"{m[1]} “{TITLES[m[2]]}”", text or "")
    out = _CODES.sub(lambda m: f"“{TITLES[m[1]]}”", out)
    out = _KEYS.sub(lambda m: SITE_KEYS[m[0]], out)
    out = _NAMES.sub(lambda m: small_first(POINT_NAMES[m[1]]), out)
    return tidy(without_remarks(out))


def without_remarks(text: str) -> str:
    """A text without remarks meant for those who keep the code, such as where a limit was looked up."""
    for remark in NOT_FOR_READERS:
        text = remark.sub("", text)
    return text.strip()


def reason(text: str | None) -> str:
    """A reason with the quantities in it named in plain words."""
    if not text:
        return ""
    out = named(text)
    if text.startswith("needs ") and _NAMES.search(text) and not text.startswith("needs readings"):
        out = f"needs readings of {out[6:]}"
    return capital(out)


def capital(text: str) -> str:
    """A text with its first letter in upper case."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """A text as a sentence of its own: a capital and a full stop."""
    return f"{capital(text)}."


def small_first(text: str) -> str:
    """A sentence to go on in another: its first letter small, units and names as they are."""
    return text[:1].lower() + text[1:]


def evidence_words(evidence: dict[str, Any]) -> str:
    """A number behind a finding with its limit and the side on which the trouble lies: `8.2 min; trouble
    below 12 min`."""
    value, limit, name = evidence["value"], evidence.get("limit"), evidence.get("unit") or ""
    text = quantity(value, name)
    if limit is None:
        return text
    side, shown = evidence.get("side"), quantity(limit, name)
    if side not in ("above", "below"):
        return f"{text}; limit {shown}"
    limit_text = f"trouble {side} {shown}"
    if isinstance(value, int | float) and not (value > limit if side == "above" else value < limit):
        return f"{text}; within its limit ({limit_text})"
    return f"{text}; {limit_text}"


def quantity(value: Any, unit_name: str, decimals: int | None = None) -> str:
    """A number with its unit; minutes of half a day and more in hours or days."""
    is_long = unit_name == "min" and isinstance(value, int | float) and value >= LONG_MIN
    return duration(value) if is_long else measure(value, unit_name, decimals)


def missing_words(missing: dict[str, Any]) -> str:
    """A question of the verdict that can't be answered: why, and which meter would tell."""
    out = f"{missing['question'].rstrip('?')}: not known. {reason(missing['reason'])}"
    meters = [small_first(quantity_words(q)) for q in missing["meters"]]
    if meters:
        out = f"{out}. Meters that would show it: {listed(meters)}"
    return f"{out}."


def since(value: str | None, until: str | None, last: str | None = None) -> str:
    """A finding's span in words: since 3 Oct 2025 (7 weeks), or from to for one that ended."""
    if not value:
        return ""
    if until:
        return f"{day(value)} to {day(until)}, over now"
    if not last:
        return f"since {day(value)}"
    length = (date.fromisoformat(last) - date.fromisoformat(value)).days + 1
    return f"since {day(value)} ({span(length)})"


def confidence_text(confidence: float | None) -> str:
    """How sure, as a word and a number."""
    if confidence is None:
        return ""
    steps = ((0.97, "nearly certain"), (0.85, "quite sure"), (0.65, "likely"))
    word = next((w for least, w in steps if confidence >= least), "possible")
    return f"{word}, {share(confidence)}"


def price_tag(cost: dict[str, Any] | None, currency: str | None) -> str:
    """What a finding costs a year; empty where it has no price."""
    if not cost or not cost.get("electricity_kwh"):
        return ""
    kwh = measure(cost["electricity_kwh"], "kWh", 0)
    if cost.get("money"):
        return f"about {money(cost['money'], currency, 0)} a year ({kwh})"
    return f"about {kwh} a year"


def count(n: int, one: str, many: str | None = None) -> str:
    """`1 home`, `3 homes`."""
    return f"{number(n)} {one if n == 1 else many or one + 's'}"


def listed(items: list[str]) -> str:
    """A, B and C."""
    return language.listed(items)
