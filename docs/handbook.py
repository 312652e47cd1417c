"""Sphinx extension that writes the handbook's pages from the code before each build.

One page for each finding, figure and plot, from `fieldfare.dashboards.handbook`: the service shows the same
entries at /handbook. The pages stand in docs/handbook, which git ignores.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from fieldfare.analysis.facts.columns import COLUMNS
from fieldfare.analysis.plant.quantities import QUANTITIES
from fieldfare.dashboards.handbook.charts import CHARTS
from fieldfare.dashboards.handbook.entries import HandbookEntry, LimitRow, entry
from fieldfare.dashboards.handbook.figures import FIGURES
from fieldfare.dashboards.handbook.keys import FINDING_GROUPS, KEYS, NOTICES, OTHER_LIMITS, title_of
from fieldfare.dashboards.text.formats import measure
from fieldfare.dashboards.text.labels import POINT_NAMES, SEVERITY_MEANING, SEVERITY_WORDS

REFERENCE = re.compile(r"\b([Rr]eferences?) (\d{1,2}(?:\.\d{1,2})?)\b")


def setup(app: Any) -> dict[str, bool]:
    app.connect("builder-inited", lambda app: write_pages(Path(app.srcdir) / "handbook"))
    return {"parallel_read_safe": True, "parallel_write_safe": True}


def write_pages(folder: Path) -> None:
    """Write every page; a page whose entry is gone is removed, one that is unchanged is left alone."""
    folder.mkdir(exist_ok=True)
    pages = {f"{key}.md": page(entry(key)) for key in sorted(KEYS)}
    pages |= {"index.md": index_page(), "quantities.md": quantities_page(), "days_table.md": days_page()}
    for old in folder.glob("*.md"):
        if old.name not in pages:
            old.unlink()
    for name, text in pages.items():
        path = folder / name
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")


def index_page() -> str:
    groups = {f"Findings: {name[:1].lower()}{name[1:]}": list(g) for name, g in FINDING_GROUPS.items()}
    groups["Findings: watch and verdict"] = list(NOTICES)
    groups["Figures"] = list(FIGURES)
    groups["Plots"] = [key for key in CHARTS if key not in FIGURES]
    groups["Tables"] = ["quantities", "days_table", *OTHER_LIMITS]
    parts = [
        "# Handbook",
        "How each finding and figure is worked out. Every page is made from the code: limits, needs, causes"
        " and cautions are the ones that run. The service shows the same pages at `/handbook`.",
    ]
    for name, keys in groups.items():
        parts.append(f"```{{toctree}}\n:caption: {name}\n:maxdepth: 1\n\n" + "\n".join(keys) + "\n```")
    return "\n\n".join(parts) + "\n"


def quantities_page() -> str:
    rows = [
        (f"`{q.name}`", POINT_NAMES[q.name], ", ".join(q.forms), q.unit or "-", _text(q.meaning))
        for q in QUANTITIES.values()
    ]
    return _joined(
        "# Quantities",
        "What a point of a site file can measure.",
        _table(("Quantity", "Name on the pages", "Forms", "Unit", "Meaning"), rows),
    )


def days_page() -> str:
    parts = [
        "# Days table",
        "One row for each local day: what `result.days` gives, and what figures and findings are read from."
        " A site without the quantities that a column needs doesn't carry it. A name that ends in a dot"
        " stands for one column for each point, quantity, zone or level.",
    ]
    for source in dict.fromkeys(column.source for column in COLUMNS.values()):
        rows = [
            (
                f"`{c.name}`",
                _text(c.unit or "-"),
                _text(c.meaning),
                ", ".join(f"`{' or '.join(need.split('|'))}`" for need in c.needs) or "-",
            )
            for c in COLUMNS.values()
            if c.source == source
        ]
        parts.append(f"## `analysis/facts/{source}.py`")
        parts.append(_table(("Column", "Unit", "Meaning", "Needs"), rows))
    return _joined(*parts)


def page(e: HandbookEntry) -> str:
    """An entry as Markdown."""
    parts = [f"# {e.title}"]
    if e.kind == "finding":
        parts.append(f"Finding `{e.key}`.")
    if e.text is not None:
        parts += [
            _text(e.text.means),
            f"## How it is worked out\n\n{_text(e.text.worked_out)}",
            f"## What it can't tell\n\n{_text(e.text.cannot_tell)}",
        ]
    if e.needs or e.reads:
        parts.append("## What it needs")
        parts.append(_list(e.needs))
        if e.reads:
            parts.append(
                f"Rests on: {', '.join(e.reads)}. Where one of them can't be trusted, it is withheld."
            )
    if e.severities:
        words = [f"{SEVERITY_WORDS[s]} (`{s}`): {SEVERITY_MEANING[s]}" for s in e.severities]
        parts.append(f"## Severity\n\n{_list(words)}")
    if e.causes:
        parts.append(f"## Causes it tells apart\n\n{_list(f'{w} (`{c}`)' for c, w in e.causes)}")
    if e.cautions:
        parts.append(
            f"## Take care\n\nFollow local codes and the maker's instructions.\n\n{_list(e.cautions)}"
        )
    if e.limits:
        parts.append("## Limits\n\n" + _limits(e.limits))
    if e.related:
        parts.append("## See also\n\n" + "\n".join(f"- [{title_of(key)}]({key}.md)" for key in e.related))
    return _joined(*parts)


def _limits(rows: tuple[LimitRow, ...]) -> str:
    shown = [
        (f"`{r.name}`", _text(r.meaning), measure(r.default, r.unit), r.side, _with_references(r.source))
        for r in rows
    ]
    heads = ("Limit", "Meaning", "Value", "Trouble lies", "Source")
    return "A site file's `[limits]` can set another value.\n\n" + _table(heads, shown)


def _table(heads: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    lines = [heads, ("---",) * len(heads), *rows]
    return "\n".join("| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in lines)


def _list(items: Any) -> str:
    return "\n".join(f"- {_text(item)}" for item in items)


def _with_references(text: str) -> str:
    """A source with each "reference 9.3" linked to its place."""
    return REFERENCE.sub(lambda m: f"[{m[0]}](../references.md#{target(m[2])})", _text(text))


def target(number: str) -> str:
    """The link target of a numbered reference."""
    return f"reference-{number.replace('.', '-')}"


def _text(text: str) -> str:
    """Plain text as Markdown."""
    return re.sub(r"([*_<>\[\]#])", r"\\\1", text)


def _joined(*parts: str) -> str:
    return "\n\n".join(part for part in parts if part) + "\n"
