"""Alerts, handling of findings, maintenance, notices."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import Path, Query, Request, Response
from pydantic import BaseModel

from fieldfare.api.alerts.alerts import AlertRow, EventRow
from fieldfare.api.alerts.decisions import Decision, HandlingRow
from fieldfare.api.alerts.notices import NoticeRow
from fieldfare.api.http.auth import AppStateHere, SiteRecordHere, need
from fieldfare.api.http.finding_actions import decide, undo
from fieldfare.api.http.routers import rest_router
from fieldfare.api.http.schemas import (
    FINDING_CODE,
    HandlingIn,
    HowMany,
    MaintenanceIn,
    MaintenanceOut,
    NoteIn,
    Offset,
    Page,
    RowId,
    SnoozeIn,
    page,
)
from fieldfare.api.people.access import Actor

router = rest_router("alerts")
AlertId = Annotated[RowId, Path(description="The alert's number.")]
FindingCode = Annotated[
    str,
    Path(pattern=FINDING_CODE, description="The finding's code.", examples=["short_cycling"]),
]


class AlertOut(BaseModel):
    """One alert and its events, oldest first."""

    alert: AlertRow
    events: list[EventRow]


@router.get("/alerts")
def list_alerts(
    request: Request,
    response: Response,
    parts: AppStateHere,
    actor: Actor = need("alerts.read"),
    state: Annotated[Literal["open", "acknowledged", "snoozed", "resolved", "live"], Query()] = "live",
    site: Annotated[str, Query(pattern=r"^[a-z0-9-]{0,40}$", description="Only those of one site.")] = "",
    offset: Offset = 0,
    limit: HowMany = 100,
) -> Page[AlertRow]:
    """Alerts, gravest first; `live` are those that are open, acknowledged or snoozed."""
    live = state == "live"
    rows, total = parts.alerts.page(offset, limit, state="" if live else state, site=site, live=live)
    return page(request, response, rows, total, offset, limit)


@router.get("/alerts/{alert_id}")
def read_alert(alert_id: AlertId, parts: AppStateHere, actor: Actor = need("alerts.read")) -> AlertOut:
    """One alert with its events."""
    return AlertOut(alert=parts.alerts.get(alert_id), events=parts.alerts.events(alert_id))


@router.post("/alerts/{alert_id}/acknowledge")
def acknowledge(
    alert_id: AlertId, body: NoteIn, parts: AppStateHere, actor: Actor = need("alerts.handle")
) -> AlertRow:
    """Acknowledge an alert, without an end date."""
    row = parts.alerts.acknowledge(alert_id, actor, body.note)
    parts.audit.note(actor, "alert acknowledged", row.site, alert=alert_id)
    return row


@router.post("/alerts/{alert_id}/snooze")
def snooze(
    alert_id: AlertId, body: SnoozeIn, parts: AppStateHere, actor: Actor = need("alerts.handle")
) -> AlertRow:
    """Snooze an alert until a given time."""
    row = parts.alerts.snooze(alert_id, actor, body.until, body.note)
    parts.audit.note(actor, "alert snoozed", row.site, alert=alert_id)
    return row


@router.post("/alerts/{alert_id}/notes")
def add_note(
    alert_id: AlertId, body: NoteIn, parts: AppStateHere, actor: Actor = need("alerts.handle")
) -> AlertRow:
    """Add a note to an alert."""
    return parts.alerts.comment(alert_id, actor, body.note)


@router.get("/sites/{site_id}/handling")
def list_handling(
    record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("alerts.read")
) -> list[HandlingRow]:
    """List the decisions about a site's findings."""
    return list(parts.handlings.of_site(record.site.id).values())


@router.put("/sites/{site_id}/findings/{code}/handling")
def handle_finding(
    code: FindingCode,
    body: HandlingIn,
    record: SiteRecordHere,
    parts: AppStateHere,
    actor: Actor = need("alerts.handle"),
) -> HandlingRow:
    """Decide about an open finding: seen, in hand, muted or not a fault. Its live alert is updated too."""
    decision = Decision(body.state, body.who or actor.name, body.until, body.reason)
    return decide(parts, record, code, decision, actor)


@router.delete("/sites/{site_id}/findings/{code}/handling", status_code=204, response_class=Response)
def undo_handling(
    code: FindingCode, record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("alerts.handle")
) -> None:
    """Undo a decision: the finding is open again."""
    undo(parts, record, code, actor)


@router.get("/sites/{site_id}/maintenance")
def list_maintenance(
    record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("alerts.read")
) -> list[MaintenanceOut]:
    """List maintenance windows, newest first."""
    return [MaintenanceOut(**row) for row in parts.alerts.maintenance(record.site.id)]


@router.post("/sites/{site_id}/maintenance", status_code=201)
def add_maintenance(
    body: MaintenanceIn, record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("alerts.handle")
) -> MaintenanceOut:
    """Add a maintenance window, in which no new alerts open."""
    return MaintenanceOut(**parts.alerts.maintain(record.site.id, body.start, body.end, body.reason, actor))


@router.delete("/sites/{site_id}/maintenance/{window}", status_code=204, response_class=Response)
def end_maintenance(
    window: RowId, record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("alerts.handle")
) -> None:
    """End a maintenance window."""
    parts.alerts.end_maintenance(record.site.id, window)


@router.get("/notices")
def list_notices(
    request: Request,
    response: Response,
    parts: AppStateHere,
    actor: Actor = need("alerts.read"),
    offset: Offset = 0,
    limit: HowMany = 100,
) -> Page[NoticeRow]:
    """Notices and whether they were sent, newest first."""
    rows, total = parts.notices.page(offset, limit)
    return page(request, response, rows, total, offset, limit)


@router.get("/set-aside")
def list_set_aside(
    parts: AppStateHere,
    actor: Actor = need("jobs.read"),
    after: Annotated[int, Query(ge=0, le=2**53, description="Only numbers beyond this.")] = 0,
    limit: HowMany = 100,
) -> dict[str, Any]:
    """List dead letters: unreadable broker messages, oldest first, with counts by reason."""
    from fieldfare.api.records.dead_letters import list_dead_letters

    return list_dead_letters(parts.settings, None, limit, after)
