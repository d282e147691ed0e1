"""What a case truly holds, as plain data that answers are scored against."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ebbline.features.findings import VariabilityClass
from ebbline.teach.answers import MarkKind
from ebbline.terms import Attitude, Lie, Position, Presentation, Window


@dataclass(frozen=True, slots=True)
class TrueEvent:
    """An event of the truth, seconds from the recording's start.

    visible_share: how much of it the learner's own sensors brought to the strip, 0..1.
    borderline: so close to a threshold of recognition that leaving it out is no fault. clear:
    the definitions leave no doubt about its kind; only then is the kind scored.
    """

    kind: MarkKind
    start_s: float
    peak_s: float
    end_s: float
    visible_share: float = 1.0
    borderline: bool = False
    clear: bool = True


@dataclass(frozen=True, slots=True)
class StripTruth:
    """The truth of one window.

    baseline_bpm: NaN where the baseline truly cannot be told. variability_accepted: every class
    that is right (two where the bandwidth lies on a border). labels: standard -> class;
    accepted_labels: standard -> all classes that are right, for the course's standard with those
    that a border allows.
    tachysystole: None where the activity channel could not tell. source: whose truth it is, as a
    sentence ("the virtual labour itself", "the median of nine readers").
    """

    window: Window
    baseline_bpm: float
    variability_accepted: tuple[VariabilityClass, ...]
    sinusoidal: bool
    tachysystole: bool | None
    events: tuple[TrueEvent, ...]
    labels: dict[str, str]
    accepted_labels: dict[str, tuple[str, ...]]
    source: str

    @property
    def baseline_told(self) -> bool:
        """True where there is a baseline to name."""
        return math.isfinite(self.baseline_bpm)


@dataclass(frozen=True, slots=True)
class ExaminationTruth:
    """How the fetus lies when the learner concludes. fifths: palpable above the brim, 0..5."""

    lie: Lie
    presentation: Presentation
    position: Position
    attitude: Attitude | None
    fifths: int
