"""What goes into a report, and the measures of its paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from ebbline.bedside import ExamResult
from ebbline.reading.model import FetalReading, Reading
from ebbline.recording.model import Recording
from ebbline.web.reading.schemas import CorrectionOut, DifferenceOut, ItemOut

WIDTH, HEIGHT, MARGIN = 21.0, 29.7, 1.6
"""A4 upright, cm (ISO 216)."""
TOP, BOTTOM = 3.3, HEIGHT - 1.9
BODY_SIZE, HEAD_SIZE, TITLE_SIZE = 9.5, 11.5, 17.0
LEADING = 1.38 * 2.54 / 72
"""Centimetres from line to line for each point of size."""


@dataclass(frozen=True, slots=True, eq=False)
class ReportParts:
    """What goes into a report. corrected: the reading with one reader's corrections."""

    recording: Recording
    computed: Reading
    corrected: Reading | None
    fetus: int
    speed_cm_per_min: int
    reader: str
    made_at: datetime
    exam: ExamResult | None
    exam_words: str
    marks: Sequence[ItemOut]
    differences: Sequence[DifferenceOut]
    corrections: Sequence[CorrectionOut]
    identifier: str


def fetal_of(reading: Reading, fetus: int) -> FetalReading:
    """The reading of one fetus."""
    return next(one for one in reading.fetuses if one.fetus == fetus)
