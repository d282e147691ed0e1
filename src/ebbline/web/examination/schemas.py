"""The shapes of the examination's endpoints."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, Field

from ebbline.bedside.number_words import weeks_from
from ebbline.errors import ContextError
from ebbline.terms import Stage
from ebbline.web.schemas import Finite

Word = Annotated[str, Field(max_length=60)]


def _weeks(value: object) -> object:
    """39+4 as well as 39.5: whatever a hand writes down."""
    if not isinstance(value, str):
        return value
    if not value.strip():
        return None
    try:
        return weeks_from(value)
    except ContextError as error:
        raise ValueError(str(error)) from error


Weeks = Annotated[Finite | None, BeforeValidator(_weeks)]


class ExamContextIn(BaseModel):
    """What is known beside the findings; null and "unknown" never mean 'no'."""

    weeks: Weeks = None
    earlier_births: int | None = None
    previous_breech: bool | None = None
    fetuses: int = 1
    stage: Stage = Stage.UNKNOWN
    placenta: Literal["unknown", "not low", "low", "praevia"] = "unknown"
    fluid: Literal["unknown", "little", "normal", "much"] = "unknown"
    membranes: Literal["unknown", "intact", "ruptured"] = "unknown"
    bleeding: bool | None = None
    examiner: Literal["learning", "ordinary", "experienced", "textbook"] = "ordinary"
    hindrances: list[Literal["thick wall", "tense uterus", "contraction", "front placenta"]] = []
    fundal_height_cm: Finite | None = None
    girth_cm: Finite | None = None
    symphysis_to_umbilicus_cm: Finite | None = None
    maternal_weight_kg: Finite | None = None


class ExamIn(BaseModel):
    """An examination so far.

    findings: item -> answer; an item not examined is left out. tried: step at the sensor -> what it
    brought (helped, nothing, not possible).
    """

    findings: Annotated[dict[Word, Word], Field(max_length=40)] = {}
    context: ExamContextIn = ExamContextIn()
    tried: Annotated[dict[Word, Word], Field(max_length=20)] = {}


class ChanceOut(BaseModel):
    """A word with its probability now and before any finding, 0..1."""

    word: str
    probability: float
    before: float


class SiteOut(BaseModel):
    """A place for a sensor: cm from the umbilicus, x to the mother's left, y upwards."""

    x_cm: float
    y_cm: float
    share: float
    zone: str
    words: str


class MapOut(BaseModel):
    """Where the heart is heard best: weights[row][column] at y_cm[row], x_cm[column]."""

    x_cm: list[float]
    y_cm: list[float]
    weights: list[list[float]]
    region_density: float


class AbdomenOut(BaseModel):
    """The drawn abdomen, cm. outline: right half of the uterus' edge from below to above."""

    fundal_height_cm: float
    fundus_y_cm: float
    symphysis_y_cm: float
    flank_x_cm: float
    spine_x_cm: float
    spine_y_cm: float
    outline: list[tuple[float, float]]
    assumed: list[str]


class NextStepOut(BaseModel):
    """What to examine next, and what it is expected to tell."""

    item: str
    step: str
    question: str
    how: str
    gain_bits: float
    settles: float
    only_if_indicated: bool


class SignalStepOut(BaseModel):
    """One thing to try at the sensor. step: its handle in `ExamIn.tried`."""

    step: str
    text: str
    source: str


class TextOut(BaseModel):
    """A sentence with its source; now: for a caution that needs a person at once."""

    text: str
    source: str
    now: bool = False


class ExamOut(BaseModel):
    """What the examination comes to.

    alone: emergencies beside which nothing else is shown; else empty. positions: all ways to lie,
    the likeliest first. figure_svg: the drawn abdomen, its inks as CSS variables.
    """

    alone: list[TextOut]
    cautions: list[TextOut]
    contradictions: list[str]
    position_told: str
    position_share: float
    figure_svg: str
    lie: list[ChanceOut]
    presentation: list[ChanceOut]
    back: list[ChanceOut]
    attitude: list[ChanceOut]
    descent: list[ChanceOut]
    positions: list[ChanceOut]
    engaged: float
    noncephalic: float
    next_steps: list[NextStepOut]
    scan_advised: bool
    scan_why: str
    scan_trade: str
    best: SiteOut
    fallback: SiteOut | None
    contraction: SiteOut
    drift: list[SiteOut]
    drift_words: str
    both_sides_alike: bool
    sensor_notes: list[str]
    search_within: list[str]
    map: MapOut
    abdomen: AbdomenOut
    not_examined: list[str]
    growth: list[TextOut]
    basis: list[TextOut]
    signal_steps: list[SignalStepOut]
    signal_done: list[str]
    signal_rest: str
    signal_notes: list[str]
    caution: str


class InternalIn(BaseModel):
    """Facts known before an internal sensor; what is left out is unknown."""

    sensor: Word
    facts: Annotated[dict[Word, Word], Field(max_length=60)] = {}


class InternalLineOut(BaseModel):
    """One line of the list with what is known."""

    kind: str
    state: str
    text: str
    known: str
    source: str
    differs: list[str]


class InternalOut(BaseModel):
    """The check of one sensor: never that it should be used, only whether the list is against."""

    title: str
    verdict: str
    against: bool
    care: bool
    unknown: bool
    lines: list[InternalLineOut]
    find_out: list[str]
    dropped: list[str]
    policy: str
    caution: str


class ReviewsIn(BaseModel):
    """When each review was last done. now: the reader's clock."""

    now: datetime
    last: Annotated[dict[Word, datetime], Field(max_length=20)] = {}
    stage: Stage = Stage.UNKNOWN
    risk: Literal["low", "raised", "unknown"] = "unknown"
    method: Literal["auscultation", "continuous", "unknown"] = "unknown"
    factors: Annotated[list[Word], Field(max_length=60)] = []


class DueOut(BaseModel):
    """One review as it stands. last_words: when it was last done, "yesterday 14:50"."""

    last_words: str
    name: str
    title: str
    every_min: float
    state: str
    due_at: datetime | None
    minutes: float | None
    source: str
    differs: list[str]


class ReviewsOut(BaseModel):
    """All reviews, the most overdue first."""

    reviews: list[DueOut]
    notes: list[str]
    policy: str
    caution: str


class SavedExamOut(BaseModel):
    """A kept examination. tried: what was tried at the sensor, with what it brought."""

    id: int
    tried: dict[str, str] = {}
    findings: dict[str, str]
    context: ExamContextIn
    author: str
    made_at: datetime
