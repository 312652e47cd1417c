"""Base class of the site file's sections."""

from __future__ import annotations

from typing import ClassVar

from pydantic import BaseModel, ConfigDict


class Section(BaseModel):
    """A section of a site file: frozen; rejects unknown keys and numbers that are not finite."""

    model_config: ClassVar[ConfigDict] = ConfigDict(
        extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True
    )
