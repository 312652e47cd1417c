"""The first season of a home: commissioned against today, and the tuning diary."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from fieldfare.api.core.commissioned import commissioned
from fieldfare.api.core.tuning import log_step, tuning
from fieldfare.api.http.auth import AppStateHere, SiteRecordHere, need
from fieldfare.api.http.routers import rest_router
from fieldfare.api.http.schemas import Shape, SomeDay
from fieldfare.api.people.access import Actor
from fieldfare.api.records.maintenance_log import WorkRow
from fieldfare.api.records.tuning_log import checked_step

router = rest_router("results")
Values = Annotated[list[float], Field(min_length=1, max_length=2)]


class StepIn(Shape):
    """A tuning step."""

    day: SomeDay
    code: Annotated[str, Field(max_length=40, examples=["set_back"])]
    before: Values = Field(
        description="As it was; of the heating curve the flow [°C] at the design's and at 15 °C outdoors.",
        examples=[[4.0]],
    )
    after: Values = Field(description="As it was set.", examples=[[2.0]])


@router.get("/sites/{site_id}/commissioned")
def read_commissioned(
    record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("works.read")
) -> dict[str, Any]:
    """Values of the commissioning sheet compared with today's readings, with differences."""
    return commissioned(parts.service, record)


@router.get("/sites/{site_id}/tuning")
def read_tuning(
    record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("what_if.read")
) -> dict[str, Any]:
    """The season's tuning diary: the next setting to change, past changes and their effect; a household gets
    only steps that it may take."""
    return tuning(parts.service, record, household=actor.role == "householder")


@router.post("/sites/{site_id}/tuning", status_code=201)
def add_step(
    body: StepIn, record: SiteRecordHere, parts: AppStateHere, actor: Actor = need("works.write")
) -> WorkRow:
    """Log a tuning step, as a job."""
    step = checked_step(body.day, body.code, body.before, body.after)
    row = log_step(parts.works, record.site, step, actor)
    parts.audit.note(actor, "tuning step logged", record.site.id, work=row.id)
    return row
