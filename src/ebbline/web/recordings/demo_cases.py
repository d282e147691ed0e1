"""The invented cases that are one click away: our own scenarios, no real person's labour."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ebbline.errors import ScenarioError

if TYPE_CHECKING:
    from ebbline.recording.model import Recording


@dataclass(frozen=True, slots=True)
class InventedCase:
    """words: the sentence the generator understands."""

    key: str
    title: str
    story: str
    words: str
    seed: int


CASES = (
    InventedCase(
        "quiet-first-stage",
        "A quiet first stage",
        "Ninety minutes at term, everything as hoped.",
        "reassuring, 39 weeks, 90 minutes",
        7,
    ),
    InventedCase(
        "late",
        "Falls after each contraction",
        "Recurrent late decelerations, little variability, oxytocin running.",
        "recurrent late, minimal variability, oxytocin, 39 weeks, 90 minutes",
        23,
    ),
    InventedCase(
        "variable",
        "Sharp falls and recoveries",
        "Recurrent variable decelerations with shoulders, scalp electrode.",
        "recurrent variable, with shoulders, electrode, 40 weeks, 90 minutes",
        5,
    ),
    InventedCase(
        "tachysystole",
        "Too many contractions",
        "More than five in ten minutes; a catheter measures them.",
        "tachysystole, occasional late, catheter, 41 weeks, 80 minutes",
        8,
    ),
    InventedCase(
        "prolonged",
        "One long fall",
        "A prolonged deceleration in an otherwise calm hour.",
        "prolonged deceleration, 38 weeks, 60 minutes",
        3,
    ),
    InventedCase(
        "sinusoidal",
        "A smooth wave",
        "Sinusoidal undulation without accelerations.",
        "sinusoidal, 37 weeks, 60 minutes",
        2,
    ),
    InventedCase(
        "poor-signal",
        "Hard to pick up",
        "A third of the signal lost, the mother's pulse in between.",
        "poor signal, maternal capture, maternal pulse, occasional variable, 36 weeks, 90 minutes",
        31,
    ),
    InventedCase(
        "long-labour",
        "A long labour",
        "Twenty-four hours, slowly less reserve.",
        "intermittent variable, deteriorating, 41 weeks, 24 hours",
        14,
    ),
)


def invented_case(key: str) -> InventedCase:
    """The case with this key. Raises ScenarioError."""
    for case in CASES:
        if case.key == key:
            return case
    raise ScenarioError(
        "there is no such invented case.", where=key[:40], remedy="Choose one from the first page."
    )


def invented_recording(key: str) -> Recording:
    """The case's recording, the same each time."""
    from dataclasses import replace

    from ebbline.synth import Scenario, invent

    case = invented_case(key)
    recording = invent(Scenario.from_words(case.words), case.seed).recording
    return replace(recording, name=case.title)
