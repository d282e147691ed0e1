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


class DrawnOut(BaseModel):
    """The one drawing of an abdomen, and how its skin lies on it.

    x_cm, y_cm, width_cm, height_cm: the page's corner and size in centimetres of skin about the
    umbilicus, as seen from the front; round_cm: radius about which distances across are seen
    foreshortened.
    """

    svg: str
    x_cm: float
    y_cm: float
    width_cm: float
    height_cm: float
    round_cm: float
    measures: AbdomenOut


class TouchOut(BaseModel):
    """What a hand meets, beside the words. gives_cm: how far the wall gives under a firm hand.

    moves: the part under the hand moves when it is pushed. kicks: small parts move under it.
    """

    gives_cm: float
    moves: bool
    kicks: bool


class HeartOut(BaseModel):
    """One heart that is heard. volume: 0 to 1, by the angle to it. uneven: beats come early."""

    volume: float
    bpm: float
    uneven: bool = False


class EarOut(BaseModel):
    """What is heard at a place: for sound, and in words.

    mother_bpm: her pulse, heard at volume mother; placenta, cord: volumes of their rushing (the
    placenta's in time with her pulse, the cord's with the heart).
    """

    hearts: list[HeartOut]
    mother: float
    mother_bpm: float
    placenta: float
    cord: float
    words: str


class BeatsOut(BaseModel):
    """The heart to be counted in the seconds to come: times of beats, and when the womb is hard."""

    seconds: float
    beats_s: list[float]
    hard_s: list[tuple[float, float]]


class StatementOut(BaseModel):
    """Something that can be said at a handover. section: situation, background, ..."""

    id: str
    section: str
    say: str


class LogOut(BaseModel):
    """One step that was taken. said: what the learner did; text: what came of it.

    guidance: in a guided case, what the grip rules out. touch: of a grip.
    """

    number: int
    kind: str
    said: str
    text: str
    minute: float
    happened: list[str]
    guidance: list[str] = []
    touch: TouchOut | None = None


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
    recognised: list[str] = []
    hinted: list[str] = []
    counted: int = 0
    concluded_counts: bool = False
    handed_over: bool = False
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


class PracticeStripOut(BaseModel):
    """A short strip for practice, unmarked."""

    duration_s: float
    traces: list[TraceOut]


class PracticeVerdictOut(BaseModel):
    """What an answer about a short strip came to; items: what the strip truly shows."""

    right: bool
    answer: str
    why: str
    items: list[ItemOut]
    baseline: dict[str, Any]


class CheckedCaseOut(BaseModel):
    """What checking a case's YAML came to. shows: terms and ways to lie, from its truth."""

    id: str
    title: str
    difficulty: int
    asks: list[str]
    truth: list[tuple[str, str]]
    shows: list[str]
