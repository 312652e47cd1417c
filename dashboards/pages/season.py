"""Pages of a home's first season: commissioned against today, and the tuning diary."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldfare.dashboards.advice.diary import present_diary
from fieldfare.dashboards.checks.commissioned import present_commissioned
from fieldfare.dashboards.templating import render
from fieldfare.dashboards.text import words


def commissioned_page(
    row: dict[str, Any], document: dict[str, Any] | None, problem: str, visitor: dict[str, Any]
) -> str:
    """Page of commissioned values against today's. document : of api.core.commissioned; None with a
    problem"""
    return render(
        "commissioned.html",
        title=f"Commissioned and today, {row['name']}",
        here="site",
        visitor=visitor,
        row=row,
        problem=words.reason(problem),
        shown=present_commissioned(document, row["site"]) if document is not None else None,
        signed=document["signed"] if document is not None else None,
    )


def tuning_page(
    row: dict[str, Any],
    document: dict[str, Any] | None,
    problem: str,
    visitor: dict[str, Any],
    today: str,
    typed: Mapping[str, str] | None = None,
    refused: str = "",
) -> str:
    """Page of the tuning diary, with the next step and its form.

    document : of api.core.tuning; None with a problem. typed, refused : the form as it was sent, and why not
    """
    site = row["site"]
    currency = site.cost.currency if site.cost is not None else None
    return render(
        "tuning.html",
        title=f"Tuning diary, {row['name']}",
        here="site",
        visitor=visitor,
        row=row,
        problem=words.reason(problem),
        shown=present_diary(document, currency) if document is not None else None,
        may_log=visitor["role"] in ("installer", "engineer"),
        today=today,
        typed=typed or {},
        refused=refused,
    )
