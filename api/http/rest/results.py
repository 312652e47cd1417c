"""Results: result, findings, facts, series, fleet, what-if."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import orjson
from fastapi import HTTPException, Query, Request, Response
from fastapi.responses import StreamingResponse

from fieldfare.api.core.fleet_rows import fleet_feedback, fleet_rows
from fieldfare.api.core.rolling_period import under_standing_verdict
from fieldfare.api.core.series import facts_table, series
from fieldfare.api.core.what_if import what_if
from fieldfare.api.http.auth import (
    AppStateHere,
    SiteRecordHere,
    actor_of,
    need,
    session_of,
)
from fieldfare.api.http.live import live_events
from fieldfare.api.http.routers import rest_router
from fieldfare.api.http.schemas import (
    FINDING_CODE,
    FactsTable,
    FindingsOut,
    FleetOut,
    FromDay,
    HowMany,
    Moment,
    Offset,
    ResultDocument,
    Series,
    ToDay,
    document,
)
from fieldfare.api.people.access import Actor

router = rest_router("results")


@router.get("/sites/{site_id}/result", response_model=ResultDocument)
def read_result(
    record: SiteRecordHere,
    parts: AppStateHere,
    actor: Actor = need("site.read"),
    first: FromDay = None,
    last: ToDay = None,
) -> Response:
    """The result document of a period; default: all readings. The verdict is that of the rolling period."""
    results = parts.service.results
    result = orjson.loads(results.recent(record, *results.period(record, first, last)))
    return document(orjson.dumps(under_standing_verdict(parts.service, record, result)))


@router.get("/sites/{site_id}/findings")
def read_findings(
    record: SiteRecordHere,
    parts: AppStateHere,
    actor: Actor = need("site.read"),
    first: FromDay = None,
    last: ToDay = None,
) -> FindingsOut:
    """The findings of a period; default: the last year."""
    results = parts.service.results
    rolling = results.rolling(record, parts.settings.rolling_days)
    period = rolling if first is None and last is None else results.period(record, first, last)
    result = orjson.loads(results.recent(record, *period))
    result = under_standing_verdict(parts.service, record, result)
    return FindingsOut.model_validate(
        {k: result[k] for k in ("site", "period", "verdict", "findings", "not_assessed")}
    )


@router.get("/sites/{site_id}/facts/{kind}")
def read_facts(
    kind: Literal["days", "runs", "defrosts", "reheats", "notices"],
    record: SiteRecordHere,
    parts: AppStateHere,
    actor: Actor = need("site.read"),
    first: FromDay = None,
    last: ToDay = None,
    offset: Offset = 0,
    limit: HowMany = 100,
) -> FactsTable:
    """One of the facts tables, a row per day or event."""
    period = parts.service.results.period(record, first, last)
    return FactsTable.model_validate(facts_table(parts.service, record, kind, *period, offset, limit))


@router.get("/sites/{site_id}/series")
def read_series(
    record: SiteRecordHere,
    parts: AppStateHere,
    actor: Actor = need("readings.read"),
    points: Annotated[
        str,
        Query(
            max_length=2000,
            description="Ids of points, parted by commas; default all.",
            examples=["flow,return"],
        ),
    ] = "",
    first: Annotated[Moment | None, Query(alias="from", examples=["2026-01-10T00:00:00Z"])] = None,
    last: Annotated[Moment | None, Query(alias="to", examples=["2026-01-11T00:00:00Z"])] = None,
    max_points: Annotated[
        int, Query(ge=10, le=20_000, description="Most values a point; peaks stay.")
    ] = 2000,
) -> Series:
    """Readings over time, downsampled with peaks kept; default: the last day."""
    point_ids = [p for p in points.split(",") if p]
    return Series.model_validate(series(parts.service.store, record.site, point_ids, first, last, max_points))


@router.get(
    "/sites/{site_id}/live",
    response_class=StreamingResponse,
    responses={200: {"content": {"text/event-stream": {"schema": {"type": "string"}}}}},
)
async def read_live(
    request: Request,
    record: SiteRecordHere,
    parts: AppStateHere,
    actor: Actor = need("readings.read"),
    seconds: Annotated[int, Query(ge=1, le=3600, description="How long to listen; then ask again.")] = 600,
) -> StreamingResponse:
    """Stream new readings as server-sent events: `readings` with point -> {time, value, unit}, preceded by
    `told`, the sentence on the operating state with its time, or null."""

    def may_still_see() -> bool:
        try:
            session_of(request, anew=True)
            now = actor_of(request)
        except HTTPException:  # the token was revoked
            return False
        return now.may("readings.read", record.site.id)

    events = live_events(parts, record.site, seconds, request.is_disconnected, may_still_see)
    return StreamingResponse(events, media_type="text/event-stream", headers={"Cache-Control": "no-store"})


@router.get("/sites/{site_id}/what-if")
def read_what_if(
    record: SiteRecordHere,
    parts: AppStateHere,
    actor: Actor = need("what_if.read"),
    rooms_warmer_k: Annotated[
        float | None, Query(ge=-3, le=3, description="Rooms warmer by so much; negative for cooler.")
    ] = None,
    lower_curve_k: Annotated[
        float | None, Query(ge=0.5, le=15, description="Lower the heating curve by so much.")
    ] = None,
    hot_water_c: Annotated[
        float | None, Query(ge=35, le=65, description="Another setpoint of the cylinder.")
    ] = None,
    hot_water_hour: Annotated[
        int | None, Query(ge=0, le=23, description="Reheat from this local hour on.")
    ] = None,
    mend: Annotated[str | None, Query(pattern=FINDING_CODE, description="A finding's code.")] = None,
    band_price: Annotated[
        float | None, Query(ge=0, le=10, description="Price per kWh of a cheaper band.")
    ] = None,
    band_from: Annotated[int, Query(ge=0, le=23, description="Local hour at which the band starts.")] = 0,
    band_to: Annotated[int, Query(ge=0, le=24, description="Local hour at which it ends.")] = 5,
) -> dict[str, Any]:
    """What-if: saving of a change over a year, from the site's last year, with its interval and limits."""
    questions = {
        "rooms_warmer_k": rooms_warmer_k,
        "lower_curve_k": lower_curve_k,
        "hot_water_c": hot_water_c,
        "hot_water_hour": hot_water_hour,
        "mend": mend,
        "band": None if band_price is None else (band_price, band_from, band_to),
    }
    return what_if(parts.service, record, {k: v for k, v in questions.items() if v is not None})


@router.get("/fleet")
def read_fleet(
    parts: AppStateHere,
    actor: Actor = need("fleet.read"),
    offset: Offset = 0,
    limit: Annotated[int | None, Query(ge=1, le=10_000, description="Most sites; by default all.")] = None,
) -> FleetOut:
    """Every site, worst first, as of the last nightly run."""
    return FleetOut.model_validate({"sites": fleet_rows(parts.service, offset=offset, limit=limit)})


@router.get("/fleet/learning")
def read_learning(parts: AppStateHere, actor: Actor = need("fleet.read")) -> dict[str, Any]:
    """Design feedback from the firm's systems, with the sites behind each number."""
    return fleet_feedback(parts.service)
