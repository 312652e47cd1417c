"""Shapes of requests and answers."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Any, ClassVar, Generic, Literal, TypeVar

from fastapi import Query, Request, Response
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, SecretStr, StringConstraints

from fieldfare.analysis.plant.site_id import SITE_ID
from fieldfare.api.records.maintenance_log import MOST_FINDINGS, MOST_MINUTES

T = TypeVar("T")
MOST = 500

# User-supplied text: printable, so that it is safe on pages, in mail subjects and in any database.
_PRINTABLE = r"^[^\x00-\x1f\x7f\u2028\u2029]*$"
OneLine = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=300, pattern=_PRINTABLE)
]
Note = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=2000, pattern=r"^[^\x00-\x08\x0b-\x1f\x7f]*$")
]
FINDING_CODE = r"^[a-z][a-z0-9_]{1,46}$"
Code = Annotated[str, StringConstraints(pattern=FINDING_CODE)]
SiteName = Annotated[str, StringConstraints(pattern=SITE_ID)]
RowId = Annotated[int, Field(ge=1, le=2**31 - 1)]
"""Key of a row in the state database, in a path or a body."""
SomeDay = Annotated[date, Field(ge=date(1990, 1, 1), le=date(2199, 12, 31))]
Moment = Annotated[AwareDatetime, Field(ge="1990-01-01T00:00:00Z", le="2199-12-31T00:00:00Z")]
FromDay = Annotated[
    SomeDay | None, Query(alias="from", description="First local day.", examples=["2025-10-01"])
]
ToDay = Annotated[
    SomeDay | None, Query(alias="to", description="Last local day, included.", examples=["2026-04-30"])
]
Offset = Annotated[int, Query(ge=0, le=10**9, description="How many to leave out.")]
HowMany = Annotated[int, Query(ge=1, le=MOST, description="How many to give.")]


class Page(BaseModel, Generic[T]):
    """A page of a list. The header `Link` gives the next page."""

    items: list[T]
    total: int = Field(description="How many there are in all.")
    offset: int
    limit: int


def page(request: Request, response: Response, items: list[Any], total: int, offset: int, limit: int) -> Any:
    """Respond with a page; the header `Link` gives the next page (RFC 8288)."""
    if offset + limit < total:
        url = request.url.include_query_params(offset=offset + limit, limit=limit)
        response.headers["Link"] = f'<{url.path}?{url.query}>; rel="next"'
    return {"items": items, "total": total, "offset": offset, "limit": limit}


class Shape(BaseModel):
    """Base of request bodies: unknown keys are refused."""

    model_config: ClassVar[ConfigDict] = ConfigDict(extra="forbid")


class SiteOut(BaseModel):
    """Summary of a site."""

    id: str = Field(examples=["alder-row"])
    name: str = Field(examples=["Alder Row"])
    timezone: str = Field(examples=["Europe/London"])
    handed_over: date | None
    points: int
    first: datetime | None = Field(alias="from", serialization_alias="from", description="First reading.")
    last: datetime | None = Field(alias="to", serialization_alias="to", description="Last reading.")
    reason: str | None = Field(default=None, description="Why the site's file or readings can't be read.")
    data_notices: list[str] = Field(default=[], description="Stored data that are damaged or missing.")


class SiteFileIn(Shape):
    file: str = Field(
        max_length=200_000, description="A site file: TOML.", examples=['[site]\nid = "alder-row"\n...']
    )


class SiteAdded(BaseModel):
    id: str
    is_new: bool
    points: int


class Decisive(BaseModel):
    """A reason for the verdict: an open finding, or a checked matter (code and severity are null)."""

    matter: str
    code: str | None
    severity: str | None
    says: str


class Unanswered(BaseModel):
    """An important question that can't be answered, and the quantities that would answer it."""

    matter: str
    question: str
    reason: str
    reason_code: str
    meters: list[str]


class VerdictOut(BaseModel):
    """The verdict on a home, over the rolling period, with its days."""

    verdict: Literal["in_order", "not_known", "watch", "act", "urgent"]
    because: list[Decisive]
    missing: list[Unanswered]
    first: date | None = Field(
        None, alias="from", serialization_alias="from", description="First day of its period."
    )
    last: date | None = Field(
        None, alias="to", serialization_alias="to", description="Last day of its period."
    )


class ResultDocument(BaseModel):
    """Everything about a site and a period: the command `analyse --format json` gives the same document."""

    model_config: ClassVar[ConfigDict] = ConfigDict(
        extra="allow",
        json_schema_extra={
            "example": {
                "site": "alder-row",
                "period": {"from": "2025-10-01", "to": "2026-04-30", "timezone": "Europe/London"},
                "coverage": {"share": 0.987, "points": {"hp_elec": 0.99}},
                "performance": {"H2": {"value": 3.41, "low": 3.28, "high": 3.54}},
                "verdict": {
                    "verdict": "not_known",
                    "because": [],
                    "missing": [
                        {
                            "matter": "hot_water",
                            "question": "Is there enough hot water?",
                            "reason": "needs cylinder_temperature",
                            "reason_code": "missing_quantity",
                            "meters": ["cylinder_temperature"],
                        }
                    ],
                    "from": "2025-05-01",
                    "to": "2026-04-30",
                },
                "findings": [],
                "not_assessed": [
                    {
                        "code": "hot_water_shortfall",
                        "reason": "needs cylinder_temperature",
                        "reason_code": "missing_quantity",
                    }
                ],
            }
        },
    )

    site: str
    period: dict[str, Any]
    coverage: dict[str, Any]
    energy: dict[str, Any]
    performance: dict[str, Any]
    verdict: VerdictOut
    findings: list[dict[str, Any]]
    not_assessed: list[dict[str, Any]]


class SeriesPoint(BaseModel):
    id: str
    quantity: str
    unit: str
    time: list[int] = Field(description="Milliseconds since 1970 UTC.")
    value: list[float | str | None]
    readings: int = Field(description="How many readings these stand for.")


class Series(BaseModel):
    site: str
    first: datetime = Field(serialization_alias="from")
    last: datetime = Field(serialization_alias="to")
    points: list[SeriesPoint]


class FactsTable(BaseModel):
    kind: str
    columns: list[str]
    rows: list[list[Any]]
    total: int
    offset: int
    limit: int


class FindingsOut(BaseModel):
    site: str
    period: dict[str, Any]
    verdict: VerdictOut
    findings: list[dict[str, Any]]
    not_assessed: list[dict[str, Any]]


class FleetRow(BaseModel):
    """A site in the list: its verdict, and the finding to deal with first."""

    model_config: ClassVar[ConfigDict] = ConfigDict(extra="allow")

    id: str
    name: str
    verdict: Literal["in_order", "not_known", "watch", "act", "urgent"]
    because: list[Decisive]
    missing: list[Unanswered]
    heard: datetime | None = Field(description="Last reading.")
    silent: bool = Field(description="The last reading is more than two days old.")
    area: str = Field(description="The part of the firm's round, by the site file; empty without one.")
    handling: dict[str, dict[str, Any]] = Field(
        description="What was decided about open findings and holds: code -> state, who, until, words."
    )


class FleetOut(BaseModel):
    sites: list[FleetRow] = Field(
        description="Worst first; homes whose findings are all dealt with come later."
    )


class NoteIn(Shape):
    note: Note = ""


class SnoozeIn(Shape):
    until: Moment
    note: Note = ""


class MaintenanceIn(Shape):
    start: Moment
    end: Moment
    reason: OneLine = Field(examples=["cylinder is being changed"])


class MaintenanceOut(BaseModel):
    id: int
    site: str
    start: datetime
    end: datetime
    reason: str
    who: str


class HandlingIn(Shape):
    """A decision about a finding."""

    state: Literal["seen", "in_hand", "muted", "no_fault"]
    who: Annotated[str, Field(max_length=254)] = Field("", description="E-mail; default the sender.")
    until: SomeDay | None = Field(None, description="Last local day; needed for in_hand and muted.")
    reason: Annotated[Note, Field(max_length=500)] = Field("", description="Needed for muted and no_fault.")


class WorkIn(Shape):
    day: SomeDay
    what: Annotated[Note, Field(min_length=1)] = Field(examples=["heating curve lowered by 6 K"])
    finding: Code | None = Field(None, examples=["flow_temperature_above_curve"])
    findings: list[Code] = Field(
        [], max_length=MOST_FINDINGS, description="Every finding that the job closes."
    )
    parts: Note = Field("", examples=["strainer gasket"])
    minutes: Annotated[int, Field(ge=1, le=MOST_MINUTES)] | None = Field(
        None, description="Time spent [min]."
    )


class EffectOut(BaseModel):
    effect: dict[str, Any] | None
    reason: str | None
    finding: dict[str, Any] | None = Field(description="How the first of the job's findings stands.")
    findings: list[dict[str, Any]] = Field([], description="How each of the job's findings stands.")


class PersonIn(Shape):
    email: Annotated[str, Field(max_length=254)] = Field(examples=["kim@heating.example"])
    name: OneLine
    role: Literal["installer", "engineer", "householder"]
    sites: list[SiteName] = Field([], max_length=50)


class PersonChange(Shape):
    name: OneLine | None = None
    role: Literal["installer", "engineer", "householder"] | None = None
    sites: list[SiteName] | None = Field(None, max_length=50)
    active: bool | None = None
    notices: bool | None = None


class PersonOut(BaseModel):
    id: int
    email: str
    name: str
    role: str
    sites: list[str]
    active: bool
    notices: bool
    has_password: bool
    created: datetime
    last_in: datetime | None


class Invited(BaseModel):
    address: str = Field(description="A one-time address, shown this once.")


class SignInIn(Shape):
    email: Annotated[str, Field(max_length=254)]
    password: SecretStr
    code: Annotated[SecretStr | None, Field(description="Of a second factor, where the account has one.")] = (
        None
    )


class ConfirmIn(Shape):
    password: SecretStr
    code: Annotated[SecretStr | None, Field(description="Of a second factor, where the account has one.")] = (
        None
    )


class PasswordIn(Shape):
    old: SecretStr
    new: SecretStr


class SessionOut(BaseModel):
    """Who is signed in; `csrf` goes into the header X-CSRF-Token of every unsafe request."""

    name: str
    role: str
    sites: list[str] | None = Field(description="The sites that may be seen; null for all.")
    csrf: str | None


class LinkIn(Shape):
    days: Annotated[int, Field(ge=1, le=366)] = 90


class LinkOut(BaseModel):
    id: str
    site: str
    made_by: str
    created: datetime
    expires: datetime
    revoked: datetime | None
    address: str | None = Field(None, description="Shown when the link is made, and not again.")


class TokenIn(Shape):
    name: OneLine = Field(examples=["gateway in the plant room"])
    purpose: Literal["readings", "metrics"]
    site: SiteName | None = None
    days: Annotated[int, Field(ge=1, le=3660)] = 730


class TokenOut(BaseModel):
    id: str
    name: str
    purpose: str
    site: str | None
    created: datetime
    expires: datetime
    used: datetime | None
    revoked: datetime | None
    token: str | None = Field(None, description="Shown when the token is made, and not again.")


class ConsentIn(Shape):
    purpose: Literal["monitoring", "fleet_learning", "monthly_letter"]
    given: bool


class ConsentOut(BaseModel):
    purpose: str
    given: bool
    who: str
    time: datetime
    words: str


class EraseIn(Shape):
    confirm: str = Field(max_length=40, description="The site's id, to show that this is meant.")


class Stored(BaseModel):
    readings: int
    duplicates: int


def document(content: bytes | str, media_type: str = "application/json") -> Response:
    """Response from an encoded JSON document."""
    return Response(content, media_type=media_type)
