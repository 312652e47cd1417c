"""Display texts: titles of findings, causes, quantities, verdicts; sentences of `analysis` for readers.

Number forms, dates and money are in `formats`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from fieldfare.analysis.reports.verdict import WORDS as VERDICT_WORDS
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
from fieldfare.dashboards.text.language import gettext, listed

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
    "listed",
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
    """Title of a finding."""
    return gettext(TITLES.get(code, plain(code)))


def cause_words(cause: str) -> str:
    """A cause as it stands in a line; one that is a finding of its own has that finding's name."""
    return CAUSES.get(cause) or small_first(TITLES.get(cause, plain(cause)))


def causes_told(causes: Sequence[Mapping[str, Any]]) -> tuple[list[dict[str, Any]], str]:
    """A finding's causes, and the evidence that all of them are weighed by; empty where each has its own.

    Each cause gets its weight as text, `likely`. Evidence that several causes share is said once: a cause
    whose evidence was said before has an empty `because`.
    """
    causes = [{**c, "likely": _likely(c["weight"])} for c in causes]
    reasons = [c["because"] for c in causes]
    if len(causes) > 1 and reasons[0] and len(set(reasons)) == 1:
        return [{**c, "because": ""} for c in causes], reasons[0]
    shown = ["" if because in reasons[:n] else because for n, because in enumerate(reasons)]
    return [{**c, "because": because} for c, because in zip(causes, shown, strict=True)], ""


def _likely(weight: float) -> str:
    """Weights are shares among the listed causes: a whole one is no certainty."""
    return "the only listed cause that fits" if weight >= 0.995 else f"{share(weight)} likely"


def loss_words(cause: str) -> str:
    return LOSSES.get(cause, plain(cause))


def severity_words(severity: str | None) -> str:
    return SEVERITY_WORDS.get(severity or "", plain(VERDICT_WORDS["in_order"]))


def verdict_words(verdict: str) -> str:
    """Text of a verdict."""
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
    """Figure that shows a finding's evidence."""
    return FIGURES.get(code)


LONG_MIN = 720.0
"""Evidence of so many minutes is given in hours or days (common practice)."""
_SHORT = {"lpg": "LPG"}


def plain(name: str) -> str:
    """Convert a code to words: `low_flow` becomes Low flow."""
    return _SHORT.get(name) or capital(name.replace("_", " ").strip())


def named(text: str | None) -> str:
    """Convert a sentence of `analysis` for readers: names of findings, quantities and site-file keys, and
    number formats."""
    out = _POINTERS.sub(lambda m: f"{m[1]} “{TITLES[m[2]]}”", text or "")
    out = _CODES.sub(lambda m: f"“{TITLES[m[1]]}”", out)
    out = _KEYS.sub(lambda m: SITE_KEYS[m[0]], out)
    out = _NAMES.sub(lambda m: small_first(POINT_NAMES[m[1]]), out)
    return tidy(without_remarks(out))


def without_remarks(text: str) -> str:
    """Remove remarks for developers, such as where a limit was looked up."""
    for remark in NOT_FOR_READERS:
        text = remark.sub("", text)
    return text.strip()


def reason(text: str | None) -> str:
    """Convert a reason for readers, with quantities in plain words."""
    if not text:
        return ""
    out = named(text)
    if text.startswith("needs ") and _NAMES.search(text) and not text.startswith("needs readings"):
        out = f"needs readings of {out[6:]}"
    return capital(out)


def capital(text: str) -> str:
    """Capitalise the first letter."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """Make a sentence: capital and full stop."""
    return f"{capital(text)}."


def small_first(text: str) -> str:
    """Lower-case the first letter, to continue another sentence."""
    return text[:1].lower() + text[1:]


def evidence_words(evidence: dict[str, Any]) -> str:
    """Format evidence with its limit and the faulty side: `8.2 min; trouble below 12 min`."""
    value, limit, name = evidence["value"], evidence.get("limit"), evidence.get("unit") or ""
    if limit is None:
        return quantity(value, name)
    text, shown = apart(value, limit, name)
    side = evidence.get("side")
    if side not in ("above", "below"):
        return f"{text}; limit {shown}"
    limit_text = f"trouble {side} {shown}"
    if isinstance(value, int | float) and not passes(value, limit, side):
        return f"{text}; within its limit ({limit_text})"
    return f"{text}; {limit_text}"


def passes(value: float, limit: float, side: str) -> bool:
    """Whether a value lies on the faulty side of its limit. side : above or below"""
    return value > limit if side == "above" else value < limit


def apart(value: Any, limit: Any, unit_name: str) -> tuple[str, str]:
    """Format a value and its limit, with more decimals where rounding would make unlike numbers equal."""
    texts = quantity(value, unit_name), quantity(limit, unit_name)
    if isinstance(value, int | float) and isinstance(limit, int | float) and value != limit:
        for decimals in range(3, 6):
            if texts[0] != texts[1]:
                break
            texts = quantity(value, unit_name, decimals), quantity(limit, unit_name, decimals)
    return texts


def telling_first(evidence: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Sort evidence: what lies beyond its limit first, what lies within it last."""

    def rank(e: dict[str, Any]) -> int:
        value, limit, side = e["value"], e.get("limit"), e.get("side")
        if limit is None or side not in ("above", "below") or not isinstance(value, int | float):
            return 1
        return 0 if passes(value, limit, side) else 2

    return sorted(evidence, key=rank)


def quantity(value: Any, unit_name: str, decimals: int | None = None) -> str:
    """Format a number with its unit; minutes from half a day on in hours or days."""
    is_long = unit_name == "min" and isinstance(value, int | float) and value >= LONG_MIN
    return duration(value) if is_long else measure(value, unit_name, decimals)


def missing_words(missing: dict[str, Any]) -> str:
    """Describe a question of the verdict that can't be answered: why, and which meter would answer it."""
    out = f"{missing['question'].rstrip('?')}: not known. {reason(missing['reason'])}"
    meters = [small_first(quantity_words(q)) for q in missing["meters"]]
    if meters:
        out = f"{out}. Meters that would show it: {listed(meters)}"
    return f"{out}."


def since(value: str | None, until: str | None, last: str | None = None) -> str:
    """Format a finding's span: since 3 Oct 2025 (7 weeks), or from and to if it has ended."""
    if not value:
        return ""
    if until:
        return f"{day(value)} to {day(until)}, over now"
    if not last:
        return f"since {day(value)}"
    length = (date.fromisoformat(last) - date.fromisoformat(value)).days + 1
    return f"since {day(value)} ({span(length)})"


def confidence_text(confidence: float | None) -> str:
    """Format a confidence as word and number."""
    if confidence is None:
        return ""
    steps = ((0.97, "nearly certain"), (0.85, "quite sure"), (0.65, "likely"))
    word = next((w for least, w in steps if confidence >= least), "possible")
    return f"{word}, {share(confidence)}"


def price_tag(cost: dict[str, Any] | None, currency: str | None) -> str:
    """Format a finding's yearly cost; empty if unknown."""
    if not cost or not cost.get("electricity_kwh"):
        return ""
    kwh = measure(cost["electricity_kwh"], "kWh", 0)
    if cost.get("money"):
        return f"about {money(cost['money'], currency, 0)} a year ({kwh})"
    return f"about {kwh} a year"


def count(n: int, one: str, many: str | None = None) -> str:
    """`1 home`, `3 homes`."""
    return f"{number(n)} {one if n == 1 else many or one + 's'}"
