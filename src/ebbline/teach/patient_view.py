"""What hints, handing over and the truth of a reading ask of an attempt, and no more."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from ebbline.ground_truth import Seen
from ebbline.synth.engine import Labour
from ebbline.synth.ground_truth import Truth
from ebbline.teach.anatomy import Body, HeartSite
from ebbline.teach.answers import StripAnswer
from ebbline.teach.case import Case, Fetus, Sign
from ebbline.teach.fetal_course import FetalCourse
from ebbline.teach.measure_facts import Fact
from ebbline.teach.measures import Call, Choice
from ebbline.teach.sensations import Sensation
from ebbline.teach.truth import StripTruth
from ebbline.terms import Window


@dataclass(frozen=True, slots=True)
class ReadingTaken:
    """The learner's reading, at its minute, with the labour as it was then."""

    minute: float
    answer: StripAnswer
    facts: frozenset[Fact]


class PatientView(Protocol):
    """The patient of an attempt as she is now, and what was done up to now.

    final_truth: of a finished attempt's reading, once worked out.
    """

    case: Case
    seed: int
    finished: bool
    fetus: Fetus
    site: HeartSite
    body: Body
    signs: set[Sign]
    threat: FetalCourse | None
    sensations: list[Sensation]
    choices: list[Choice]
    calls: list[Call]
    reading: ReadingTaken | None
    final_truth: StripTruth | None

    @property
    def minute(self) -> float:
        """Minutes of monitored labour."""

    @property
    def window(self) -> Window:
        """The window that is, or was, read."""

    def facts(self) -> frozenset[Fact]:
        """What is true of the patient now."""

    def labour(self) -> Labour:
        """The labour so far with its whole truth."""

    def seen(self, truth: Truth) -> Seen:
        """Which seconds of the labour the learner's sensors showed."""
