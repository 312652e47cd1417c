"""Readme of a defect pack, for readers without the software."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from fieldfare.analysis.facts.tables import METHOD_VERSION
from fieldfare.api.records.defect_recipe import NAME, Recipe
from fieldfare.dashboards.software_version import software_version

if TYPE_CHECKING:
    from fieldfare.api.records.defect_pack import Case

CLOSE = 0.02
"""Relative difference of a recomputed figure from which on the text says why."""
_TEXT = """\
{title}
{line}

Home:      {site} ({name}), time zone {zone}
Days:      {first} to {last}, local days, both included
Made with: fieldfare {version}, method {method}

The readings are consistent with this finding; they do not prove a defect. What else could explain
them stands in the paper and in alternatives.csv, each with what rules it out, or that nothing does.
{note}
FILES
  {paper:<18} the case in words, with cautions
  points.csv         every measured point: quantity, unit, meter class, file, first and last reading
  readings/*.csv     readings as they were stored; nothing is left out, filled or smoothed
  events.csv         runs, defrosts, cylinder charges (reheat), rests and faults, with the fault codes
                     the unit reported meanwhile
  figures.csv        figures of these days with their 95 % intervals, or the reason for none
  evidence.csv       the numbers behind the finding, each with its limit by name and source
  limits.csv         every limit that the finding reads: value here, default, unit, source
  alternatives.csv   what else could explain it. state: named, not_named (a cause that the check can
                     tell apart), found (seen too, so not ruled out), not_found (checked, no sign),
                     open (could not be checked)
  finding.json       the finding with all of this, for programs
  result.json        everything that was worked out for these days
  site.toml          the installation as it was described
  recompute.py       recomputes one figure, see below
  manifest.json      sizes and SHA-256 of the files, versions
  SHA256SUMS         check with: sha256sum -c SHA256SUMS

TIMES AND NUMBERS
  time_utc is UTC (the Z at the end says so); start_local has its offset. Days are cut in {zone}.
  value stands in the unit beside it, with a point as decimal sign. meter_class is that of EN 50470
  for electricity (A, B, C) and of EN 1434 for heat (1, 2, 3); where it is not stated, intervals take
  class B and class 2. A text that begins with an apostrophe has it so that no spreadsheet runs it.

RECOMPUTE ONE FIGURE
  {figure}. With Python and pandas, in this folder: python {script}

{code}
  It should give {got}{unit}. The software has {own}{unit}{named}.
  {difference}
  Events are found, and intervals worked out, by rules that the paper names; the readings need none.

CAUTION
  Only people licensed for it open the refrigerant circuit or mains parts, by local codes and the
  maker's instructions. These data give no reason to do either without them.
"""


def readme(case: Case, recipe: Recipe, got: float, points: Sequence[dict[str, Any]], note: str) -> str:
    """README.txt of a pack. got : result of the recipe's script. note : missing parts"""
    from fieldfare.dashboards.text.words import finding_title

    title = f"Suspected defect: {finding_title(case.code)} ({case.code})"
    return _TEXT.format(
        title=title,
        line="=" * len(title),
        site=case.site.id,
        name=case.site.name,
        zone=case.site.timezone,
        first=case.first,
        last=case.last,
        version=software_version(),
        method=METHOD_VERSION,
        note=f"\n{note}\n" if note else "",
        paper="paper.html" if note else "paper.pdf",
        figure=recipe.title,
        script=NAME,
        code="".join(f"      {line}\n" for line in recipe.lines),
        got=f"{got:.4g}",
        unit=f" {recipe.unit}" if recipe.unit != "-" else "",
        own=f"{recipe.own:.4g}",
        named=f" ({recipe.own_name} in figures.csv)" if recipe.own_name else "",
        difference=_difference(recipe.own, got, points),
    )


def _difference(own: float, got: float, points: Sequence[dict[str, Any]]) -> str:
    share = abs(got - own) / max(abs(own), 1e-9)
    if share <= CLOSE:
        return f"They agree within {max(share, 0.0005):.1%}: rounding, and edges between two readings."
    counted = [p["point"] for p in points if p["also_counts"]]
    why = (
        f" {', '.join(counted)} also counts other consumers, which the software takes off." if counted else ""
    )
    return (
        f"They differ by {share:.0%}: the lines take the readings as they are, the software leaves out what"
        f" cannot be and fills what registers tell.{why}"
    )
