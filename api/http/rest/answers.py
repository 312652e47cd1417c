"""Answers to callers' questions."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from fastapi import Body, Query

from fieldfare.api.core.advice import advice
from fieldfare.api.core.answers import Asking, QuestionName, answer
from fieldfare.api.core.cold_snap import cold_snap
from fieldfare.api.core.forecast import NOT_TRIED, KeptForecast, forecast_document, kept_forecast
from fieldfare.api.http.auth import (
    AppStateHere,
    SiteRecordHere,
    check,
    need,
)
from fieldfare.api.http.routers import rest_router
from fieldfare.api.http.schemas import FromDay, SomeDay, ToDay
from fieldfare.api.people.access import Actor

router = rest_router("results")
Amount = Annotated[float | None, Query(ge=0, le=1e7)]
Hour = Annotated[int | None, Query(ge=0, le=24, description="Local hour.")]


@router.get("/sites/{site_id}/answers/{question}")
def read_answer(
    question: QuestionName,
    record: SiteRecordHere,
    parts: AppStateHere,
    actor: Actor = need("site.read"),
    first: FromDay = None,
    last: ToDay = None,
    against: Annotated[
        Literal["year", "design", "homes"] | None,
        Query(description="bill: what to compare with; homes: for the firm alone."),
    ] = None,
    billed_kwh: Amount = None,
    billed_money: Amount = None,
    visit_cost: Amount = None,
    zone: Annotated[
        str | None, Query(max_length=40, description="cold: where; default the coldest zone.")
    ] = None,
    from_hour: Hour = None,
    to_hour: Hour = None,
    since: Annotated[
        SomeDay | None, Query(description="First day it was noticed, where that is before `from`.")
    ] = None,
) -> dict[str, Any]:
    """Answer a caller's question: codes and values, each part or step with its numbers and intervals."""
    if against == "homes":
        check(actor, "fleet.read", None)
    hours = None if from_hour is None and to_hour is None else (from_hour or 0, to_hour or 0)
    asking = Asking(first, last, against, billed_kwh, billed_money, visit_cost, zone, hours, since)
    return answer(parts.service, record, question, asking)


@router.get("/sites/{site_id}/advice")
def read_advice(
    record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("what_if.read")
) -> dict[str, Any]:
    """Recommended settings, each with its saving and effect on rooms; a household gets only those that it may
    change."""
    return advice(parts.service, record, household=actor.role == "householder")


@router.post("/fleet/cold-snap")
def read_cold_snap(
    forecast: Annotated[
        list[dict[str, Any]],
        Body(max_length=2000, description="Rows of time (ISO 8601 with offset) and outdoor_c [°C]."),
    ],
    parts: AppStateHere,
    actor: Actor = need("fleet.read"),
) -> dict[str, Any]:
    """Outlook of every home in a given forecast, homes that fall short first. Stores nothing."""
    return cold_snap(parts.service, json.dumps(forecast), "forecast")


@router.get("/fleet/cold-snap")
def read_kept_cold_snap(parts: AppStateHere, actor: Actor = need("fleet.read")) -> dict[str, Any]:
    """Outlook of every home in the configured forecast, as of its last fetch, with `source`, `fetched` and
    `until`; `problem` is the error of the last fetch. `homes` is null if there is no current forecast."""
    forecast = kept_forecast(parts.service)
    if forecast is None:
        return forecast_document(KeptForecast("", datetime.now(UTC), NOT_TRIED))
    return forecast_document(forecast)
