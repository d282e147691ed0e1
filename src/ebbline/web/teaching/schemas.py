"""The shapes of what the teaching endpoints send and take; kept apart so that they load quickly."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, Field

from ebbline.web.reading.schemas import ItemOut


class PlaceOut(BaseModel):
    """A place on the abdomen, cm from the umbilicus: x to the mother's left, y to her head."""

    x_cm: float
    y_cm: float


class AbdomenOut(BaseModel):
    """The measures the abdomen is drawn by, cm."""

    fundal_height_cm: float
    girth_cm: float
    symphysis_y_cm: float
    fundus_y_cm: float
    flank_x_cm: float
    spine_x_cm: float
    spine_y_cm: float


class LogOut(BaseModel):
    """One step that was taken. said: what the learner did; text: what came of it."""

    number: int
    kind: str
    said: str
    text: str
    minute: float
    happened: list[str]


class TraceOut(BaseModel):
    """One channel of the strip. samples_href: float32, little endian, NaN missing."""

    kind: str
    unit: str
    sensor: str
    rate_hz: float
    count: int
    samples_href: str


class CaseOut(BaseModel):
    """What the learner is told of the case. notes: name and words. classes: of the standard."""

    title: str
    difficulty: int
    who: str
    scene: str
    task: str
    notes: list[tuple[str, str]]
    asks: list[str]
    standard: str
    classes: list[str]
    minutes_before_reading: int
    longest_wait: float


class AttemptOut(BaseModel):
    """An attempt as it stands now."""

    id: str
    case: CaseOut
    abdomen: AbdomenOut | None
    minute: float
    last_minute: float
    monitors: bool
    ready_to_read: bool
    read: bool
    finished: bool
    concluded: bool
    decided_internal: bool
    window: tuple[float, float]
    duration_s: float
    heart_sensor: PlaceOut | None
    contraction_sensor: PlaceOut | None
    chosen: list[str]
    told: list[str]
    log: list[LogOut]
    traces: list[TraceOut]


class StepIn(BaseModel, extra="allow"):
    """A step: its name, and its fields beside it (see docs/teaching.md)."""

    step: Annotated[str, Field(max_length=40)]


class DebriefStripOut(BaseModel):
    """What is drawn on the strip at the debrief."""

    duration_s: float
    window: tuple[float, float]
    traces: list[TraceOut]
    items: list[ItemOut]
    baseline: dict[str, Any] | None


class CheckedCaseOut(BaseModel):
    """What checking a case's YAML came to. shows: terms and ways to lie, from its truth."""

    id: str
    title: str
    difficulty: int
    asks: list[str]
    truth: list[tuple[str, str]]
    shows: list[str]
