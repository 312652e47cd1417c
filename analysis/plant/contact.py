"""`[contact]`: phone, address and position of the home. No figure depends on it."""

from __future__ import annotations

import re
from typing import Annotated

from pydantic import Field, field_validator, model_validator

from fieldfare.analysis.plant.fields import FreeText, Key, Number
from fieldfare.analysis.plant.section import Section

_PHONE = re.compile(r"\+?[0-9][0-9 ()./-]{1,28}[0-9]")
MOST_NOTES = 500
"""Characters of the access notes."""


class Contact(Section):
    """Personal data: visible to engineers and installers, and to householders for their own home.

    latitude, longitude : of the door [degrees, WGS 84], both or neither. area : the firm's name for a service
        area
    """

    name: FreeText | None = None
    phone: Key | None = None
    address: FreeText | None = None
    latitude: Annotated[Number, Field(ge=-90, le=90)] | None = None
    longitude: Annotated[Number, Field(ge=-180, le=180)] | None = None
    area: Key | None = None
    access_notes: Annotated[str, Field(max_length=MOST_NOTES)] | None = None

    @field_validator("phone")
    @classmethod
    def _can_be_dialled(cls, value: str | None) -> str | None:
        if value is not None and not _PHONE.fullmatch(value):
            raise ValueError(f'must be a telephone number such as "+44 1632 960123", got {value[:40]!r}')
        return value

    @field_validator("access_notes")
    @classmethod
    def _readable(cls, value: str | None) -> str | None:
        if value is not None and any(not c.isprintable() and c != "\n" for c in value):
            raise ValueError("must be plain text without control characters; line breaks are fine")
        return value

    @model_validator(mode="after")
    def _whole_position(self) -> Contact:
        if (self.latitude is None) != (self.longitude is None):
            raise ValueError("latitude and longitude go together; give both or neither")
        return self

    @property
    def dialled(self) -> str:
        """Number of a `tel:` link (RFC 3966): digits, with + if international; empty without one."""
        if self.phone is None:
            return ""
        return ("+" if self.phone.startswith("+") else "") + re.sub(r"\D", "", self.phone)
