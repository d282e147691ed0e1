"""A strip for the whole class: well recorded, with its truth, the rule that decides, the panel."""

from __future__ import annotations

from dataclasses import dataclass

from ebbline.criteria.model import Standard
from ebbline.features.findings import VariabilityClass
from ebbline.recording.model import Recording
from ebbline.teach.case import AskedStep, Case
from ebbline.teach.class_session import Asked, Question
from ebbline.teach.debrief import debrief
from ebbline.teach.encounter import LONGEST_WAIT_MIN
from ebbline.teach.real_cases import RecordedEncounter
from ebbline.teach.standards import classes_of
from ebbline.teach.steps import Wait
from ebbline.teach.truth import StripTruth
from ebbline.teach.variants import begin_case, lay_sensors
from ebbline.teach.what_was_true import reading_truth


@dataclass(frozen=True, slots=True, eq=False)
class ClassStrip:
    """What is projected, and what is told when the truth is.

    rule: the reasons that decide the class, with their standard. panel: what a panel of experts
    would say, or did say, in one sentence; "" where there is none.
    """

    title: str
    who: str
    scene: str
    standard: Standard
    recording: Recording
    truth: StripTruth
    rule: tuple[str, ...]
    panel: str
    afterword: str

    def question(self, asked: Asked) -> Question:
        """What may be asked of it."""
        if asked is Asked.VARIABILITY:
            right = tuple(one.value for one in self.truth.variability_accepted)
            options = tuple(one.value for one in VariabilityClass)
            return Question(asked, "How variable is the baseline?", options, right)
        name = self.standard.value
        words = f"Which class, by {name.upper()}?"
        return Question(asked, words, classes_of(self.standard), self.truth.accepted_labels[name])

    @property
    def may_ask(self) -> tuple[Asked, ...]:
        """The questions that its truth can answer; of a real recording only the class."""
        return tuple(Asked) if self.truth.baseline_told else (Asked.CLASS,)


def can_be_shown(case: Case) -> bool:
    """Whether a case has a strip for a class."""
    return AskedStep.STRIP in case.asks


def strip_for_class(case: Case, seed: int = 0) -> ClassStrip:
    """The strip of a case as it would be read, both sensors lying well all the while."""
    if case.recorded is not None:
        return _recorded(RecordedEncounter(case, seed))
    played = begin_case(case, seed)
    if AskedStep.SENSORS in case.asks:
        lay_sensors(played)
    while (left := case.minutes_before_reading - played.minute) > 1 / 60:
        played.take(Wait(min(left, LONGEST_WAIT_MIN)))
    told = debrief(played).strip
    recording = played.recording()
    assert told is not None and recording is not None, "a case with a strip has one"
    own = next(one for one in told.classes if one.standard is case.standard)
    decided = [r.text for r in own.reasons if r.rule in own.decided_by] or [
        r.text for r in own.reasons[:2]
    ]
    panel = ""
    if told.panel is not None:
        normal, suspicious, pathological = (round(9 * p) for p in told.panel.probabilities)
        panel = (
            f"Of nine readers about {normal} would call it normal, {suspicious} suspicious, "
            f"{pathological} pathological."
        )
    return ClassStrip(
        title=played.case.title,
        who=played.case.story.who,
        scene=played.case.story.scene,
        standard=case.standard,
        recording=recording,
        truth=reading_truth(played),
        rule=(*decided, *own.refusal),
        panel=panel or (f"No panel: {told.panel_note}." if told.panel_note else ""),
        afterword=played.case.afterword,
    )


def _recorded(played: RecordedEncounter) -> ClassStrip:
    case = played.case
    return ClassStrip(
        title=case.title,
        who=case.story.who,
        scene=case.story.scene,
        standard=case.standard,
        recording=played.recording,
        truth=played.truth(),
        rule=("The experts' middle stands for the truth; nobody's truth tells more.",),
        panel=played.panel.words,
        afterword=case.afterword,
    )
