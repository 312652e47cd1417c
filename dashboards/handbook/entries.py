"""Build handbook entries from the code's tables and the texts in this package.

The service's pages and the docs are both made from it.
"""

from __future__ import annotations

from functools import cache
from typing import Literal, NamedTuple

from fieldfare.analysis.advice.limits import LIMITS_ADVICE
from fieldfare.analysis.answers.limits import LIMITS_ANSWERS
from fieldfare.analysis.commissioned.limits import LIMITS_COMMISSIONED
from fieldfare.analysis.findings.catalogue import catalogued, limits_of_no_finding
from fieldfare.analysis.findings.context import Need
from fieldfare.analysis.findings.limit import Side
from fieldfare.analysis.findings.limits import LIMITS
from fieldfare.analysis.findings.model import Severity
from fieldfare.dashboards.figures.expectations.index import OF_FINDING
from fieldfare.dashboards.handbook.charts import CHARTS
from fieldfare.dashboards.handbook.figures import FIGURES
from fieldfare.dashboards.handbook.keys import FINDINGS, KEYS, NOTICES, OTHER_LIMITS, title_of
from fieldfare.dashboards.handbook.texts import HandbookText
from fieldfare.dashboards.text.formats import spacing
from fieldfare.dashboards.text.labels import CAUSES, POINT_NAMES
from fieldfare.dashboards.text.labels import FIGURES as PLOT_OF_FINDING
from fieldfare.dashboards.text.words import small_first

Kind = Literal["finding", "figure", "plot", "limits"]


class LimitRow(NamedTuple):
    """One limit: its name in a site file's `[limits]`, its default, and the source of the default."""

    name: str
    default: float
    unit: str
    side: Side
    meaning: str
    source: str


class HandbookEntry(NamedTuple):
    """needs : sentences. causes : code and words of each. related : keys of other entries"""

    key: str
    kind: Kind
    title: str
    text: HandbookText | None
    needs: tuple[str, ...] = ()
    reads: tuple[str, ...] = ()
    limits: tuple[LimitRow, ...] = ()
    causes: tuple[tuple[str, str], ...] = ()
    severities: tuple[Severity, ...] = ()
    cautions: tuple[str, ...] = ()
    related: tuple[str, ...] = ()


@cache
def entry(key: str) -> HandbookEntry:
    """An entry by its key. Raises KeyError for an unknown key."""
    if key not in KEYS:
        raise KeyError(key)
    if key in FINDINGS:
        return _finding(key)
    if key in NOTICES:
        levels: tuple[Severity, ...] = ("watch", "act") if key == "silence" else ("watch",)
        return HandbookEntry(key, "finding", title_of(key), NOTICES[key], severities=levels)
    if key in OTHER_LIMITS:
        return HandbookEntry(key, "limits", title_of(key), None, limits=limit_rows(_further_limits(key)))
    kind: Kind = "figure" if key in FIGURES else "plot"
    written = FIGURES[key] if key in FIGURES else CHARTS[key]
    shown_in = [f for f, e in FIGURES.items() if key in e.charts]
    findings = [c for c in FINDINGS if key in (PLOT_OF_FINDING.get(c), OF_FINDING.get(c))]
    related = dict.fromkeys([*written.charts, *shown_in, *findings])
    related.pop(key, None)
    return HandbookEntry(key, kind, written.title, written.text, (written.needs,), related=tuple(related))


def _further_limits(key: str) -> tuple[str, ...]:
    """Limits of an entry's tables that no finding names; limits of other tables belong to the first entry."""
    tables = {"limits_answers": LIMITS_ANSWERS, "limits_advice": LIMITS_ADVICE | LIMITS_COMMISSIONED}
    where = {name: entry_key for entry_key, table in tables.items() for name in table}
    return tuple(name for name in limits_of_no_finding() if where.get(name, "limits") == key)


def limit_rows(names: tuple[str, ...]) -> tuple[LimitRow, ...]:
    """Limits as rows. "the same" is replaced by the limit it refers to, unless that is in the list too."""
    rows = []
    base, base_meaning = "", ""
    for name, limit in LIMITS.items():
        if not limit.meaning.startswith("the same"):
            base, base_meaning = name, limit.meaning
        if name in names:
            meaning = limit.meaning if base in names else f"{base_meaning}: {limit.meaning}"
            rows.append(LimitRow(name, limit.default, limit.unit, limit.side, meaning, limit.source))
    return tuple(rows)


def _finding(code: str) -> HandbookEntry:
    found = catalogued(code)
    plots = (PLOT_OF_FINDING.get(code), OF_FINDING.get(code))
    return HandbookEntry(
        code,
        "finding",
        title_of(code),
        FINDINGS[code],
        needs=tuple(_need_words(need) for need in found.needs),
        reads=tuple(sorted(POINT_NAMES[q] for q in found.reads)),
        limits=limit_rows(found.limits),
        causes=tuple((cause, words) for cause, words in CAUSES.items() if cause in found.strings - {code}),
        severities=found.severities,
        cautions=found.cautions,
        related=tuple(dict.fromkeys(p for p in plots if p in KEYS)),
    )


def _need_words(need: Need) -> str:
    """Required measurements, as a sentence."""
    words = " or ".join(
        POINT_NAMES[q] if i == 0 else small_first(POINT_NAMES[q]) for i, q in enumerate(need.any_of)
    )
    if need.spacing_min < 1e6:
        words += f", every {spacing(need.spacing_min)} or closer"
    if need.days:
        words += f", on at least {need.days} days"
    return f"{words}."
