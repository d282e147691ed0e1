"""What the live pages send."""

from __future__ import annotations

from pydantic import BaseModel, Field


class LabourIn(BaseModel):
    """A labour to be watched."""

    bed: str = Field(min_length=1, max_length=40)
    case: str = Field(min_length=1, max_length=40)
    weeks: float | None = Field(default=None, ge=20, le=44)


class DemoIn(BaseModel):
    """Invented labours to be replayed."""

    beds: int = Field(ge=1, le=12)
    speed: float = Field(ge=1, le=600)


class SeenIn(BaseModel):
    """Who saw a notice."""

    by: str = Field(min_length=1, max_length=40)


class DeviceIn(BaseModel):
    """A device that may send for a bed."""

    bed: str = Field(min_length=1, max_length=40)
    name: str = Field(min_length=1, max_length=40)


class TokenOut(BaseModel):
    """A device's token, shown this once."""

    token: str
