"""What the endpoints of the reading send and take; kept apart so that it loads quickly."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from pydantic import BaseModel

from ebbline.web.schemas import Finite, Words


class ItemOut(BaseModel):
    """A bracket on the strip.

    layer: computed, corrected, own or other. plot: heart, uterine or signal. turn_s: nadir or
    peak; turn_value: the rate there. details: name and words of each number. rule: why it is
    called what it is called. travel: False where keyboard travel passes over it.
    """

    id: str
    layer: str
    plot: str
    kind: str
    name: str
    title: str
    letter: str = ""
    tone: str
    start_s: float
    end_s: float
    turn_s: float | None = None
    turn_value: float | None = None
    value: float | None = None
    value_mark: bool = False
    certainty: float = 1.0
    details: list[tuple[str, str]] = []
    rule: str = ""
    note: str = ""
    author: str = ""
    human: bool = False
    struck: str = ""
    travel: bool = True


class CurveOut(BaseModel):
    """Evenly spaced values; null where unknown."""

    start_s: float
    step_s: float
    values: list[float | None]


class ColumnOut(BaseModel):
    """Ten minutes in four lines, each with shorter words for narrow columns, and its weight."""

    start_s: float
    end_s: float
    lines: list[list[str]]
    marked: list[str]


class FindingsOut(BaseModel):
    """All findings of one fetus, as drawn. baseline: null while reading blind."""

    fetus: int
    items: list[ItemOut]
    baseline: CurveOut | None
    columns: list[ColumnOut]


class MarkIn(BaseModel):
    """A reader's own mark. value: bpm, of a baseline."""

    fetus: int = 1
    kind: str
    start_s: Finite
    end_s: Finite
    value: Finite | None = None
    note: Words = ""


class DifferenceOut(BaseModel):
    """One's own mark against the computed findings.

    verdict: agree, other kind, other height, only yours or only computed.
    """

    verdict: str
    words: str
    start_s: float
    end_s: float


class ChangeIn(BaseModel):
    """A correction. target_*: ends of the finding it speaks of; kind: of a deceleration.

    set: baseline or variability (its bandwidth) from start_s to end_s is value, in bpm.
    """

    action: Literal["delete", "add", "move", "rename", "set"]
    group: Literal["acceleration", "deceleration", "contraction", "baseline", "variability"]
    target_start_s: Finite | None = None
    target_end_s: Finite | None = None
    start_s: Finite | None = None
    end_s: Finite | None = None
    kind: Literal["early", "late", "variable", "prolonged"] | None = None
    value: Finite | None = None
    note: Words = ""


class CorrectionOut(BaseModel):
    """A correction on record: what, who, when, and whether it was taken back."""

    id: int
    change: ChangeIn
    words: str
    author: str
    made_at: datetime
    withdrawn_by: str | None
    withdrawn_at: datetime | None


class ReasonOut(BaseModel):
    """One rule applied. evidence: stretches in seconds that it rests on."""

    rule: str
    feature: str
    level: str
    verdict: str
    text: str
    decides: bool
    citation: str
    evidence: list[tuple[float, float]]
    evidence_words: str


class ClassificationOut(BaseModel):
    """The class one standard gives, or its refusal.

    level: how grave it is; gravity: the same as a number, for ordering, 0 what reassures.
    """

    standard: str
    edition: str
    label: str
    rank: int
    level: str
    gravity: int
    reasons: list[ReasonOut]
    refusal: list[str]
    not_assessed: list[str]


class SectionOut(BaseModel):
    """A part of the reading in words."""

    title: str
    lines: list[str]


class MeasureOut(BaseModel):
    """An option that guidelines list for what was found, for the team under local policy."""

    text: str
    source: str
    differs: list[str]


class ReadingOut(BaseModel):
    """The reading of one fetus in one window. by: "computed", or whose corrections are in it.

    four_lines: title and sentence of what is said before all else; level: how grave it is.
    """

    by: str
    fetus: int
    start_s: float
    end_s: float
    window_words: str
    valid_words: str
    level: str
    four_lines: list[tuple[str, str]]
    sections: list[SectionOut]
    classes: list[ClassificationOut]
    panel: list[str]
    measures_for: list[str]
    measures: list[MeasureOut]
    measures_note: str
    not_assessed: list[str]
    notes: list[str]
    caution: str
    version: str


class ReadingPairOut(BaseModel):
    """The computed reading, and the one with a reader's corrections where there are any."""

    computed: ReadingOut
    corrected: ReadingOut | None
    lost: list[str]


class BlindOut(BaseModel):
    """A blind reading. broken_at: when the reader looked; null while it lasts."""

    reader: str
    begun_at: datetime
    broken_at: datetime | None
