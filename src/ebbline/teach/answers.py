"""What a learner says of a virtual patient: the examination, the strip, the decisions."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from ebbline.criteria.model import Standard
from ebbline.features.findings import VariabilityClass
from ebbline.terms import Attitude, Lie, Position, Presentation, Window


class MarkKind(StrEnum):
    """What a learner can mark on the strip."""

    ACCELERATION = "acceleration"
    EARLY = "early deceleration"
    LATE = "late deceleration"
    VARIABLE = "variable deceleration"
    PROLONGED = "prolonged deceleration"
    CONTRACTION = "contraction"


Confidence = tuple[tuple[str, float], ...]
"""How sure the learner is of each item of an answer, by its name in the score: 0..1."""

DECELERATION_MARKS = (MarkKind.EARLY, MarkKind.LATE, MarkKind.VARIABLE, MarkKind.PROLONGED)


@dataclass(frozen=True, slots=True)
class Mark:
    """One stretch marked on the strip, seconds from the recording's start."""

    kind: MarkKind
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class ExaminationAnswer:
    """What the learner concludes from the hands. None: not answered.

    fifths: of the head (or breech) palpable above the brim, 0..5. sure: confidence by item.
    """

    lie: Lie | None = None
    presentation: Presentation | None = None
    position: Position | None = None
    attitude: Attitude | None = None
    fifths: int | None = None
    sure: Confidence = ()


@dataclass(frozen=True, slots=True)
class TwinsAnswer:
    """How the upper twin lies, and the two heart rates counted, bpm. None: not answered."""

    lie: Lie | None = None
    presentation: Presentation | None = None
    first_bpm: float | None = None
    second_bpm: float | None = None


@dataclass(frozen=True, slots=True)
class InternalAnswer:
    """Whether an internal sensor may be offered now. None: not answered."""

    electrode: bool | None = None
    catheter: bool | None = None
    sure: Confidence = ()


@dataclass(frozen=True, slots=True)
class AuscultationAnswer:
    """What the learner concludes from listening at intervals. None: not answered.

    baseline_bpm: between contractions; decelerations: heard after contractions; continuous:
    whether to go over to continuous monitoring.
    """

    baseline_bpm: float | None = None
    decelerations: bool | None = None
    continuous: bool | None = None
    sure: Confidence = ()


@dataclass(frozen=True, slots=True)
class StripAnswer:
    """The learner's reading of one window. None: not answered.

    no_baseline: the learner says that it cannot be told. label: the standard's word, or "no
    class". sinusoidal, tachysystole: the learner's yes or no. sure: confidence by item.
    """

    window: Window
    standard: Standard
    baseline_bpm: float | None = None
    no_baseline: bool = False
    variability: VariabilityClass | None = None
    sinusoidal: bool | None = None
    tachysystole: bool | None = None
    label: str | None = None
    marks: tuple[Mark, ...] = ()
    sure: Confidence = ()
