"""What a learner does, step by step: an attempt is nothing but its list of steps."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from ebbline import codec
from ebbline.errors import EbblineError, ScenarioError
from ebbline.teach.answers import (
    AuscultationAnswer,
    Confidence,
    ExaminationAnswer,
    InternalAnswer,
    StripAnswer,
    TwinsAnswer,
)
from ebbline.teach.sensations import Grip, Zone


class AttemptError(EbblineError):
    """A step that cannot be taken now."""


@dataclass(frozen=True, slots=True)
class Feel:
    """Lay the hands on (or look, or ask)."""

    grip: Grip
    zone: Zone


@dataclass(frozen=True, slots=True)
class Listen:
    """Listen at a place, cm from the umbilicus: x to the mother's left, y to her head."""

    x_cm: float
    y_cm: float


@dataclass(frozen=True, slots=True)
class PlaceHeartSensor:
    """Lay the heart-rate sensor down; the first time, monitoring begins."""

    x_cm: float
    y_cm: float


@dataclass(frozen=True, slots=True)
class PlaceContractionSensor:
    """Lay the contraction sensor down."""

    x_cm: float
    y_cm: float


@dataclass(frozen=True, slots=True)
class Conclude:
    """Say how the baby lies."""

    answer: ExaminationAnswer


@dataclass(frozen=True, slots=True)
class DecideInternal:
    """Say whether each internal sensor may be offered now."""

    answer: InternalAnswer


@dataclass(frozen=True, slots=True)
class Wait:
    """Let the labour go on."""

    minutes: float


@dataclass(frozen=True, slots=True)
class ReadStrip:
    """Give the blind reading."""

    answer: StripAnswer


@dataclass(frozen=True, slots=True)
class Choose:
    """Choose a measure, by its id in the table."""

    measure: str


@dataclass(frozen=True, slots=True)
class Tell:
    """Tell someone, by their id in the table."""

    person: str


@dataclass(frozen=True, slots=True)
class Recognise:
    """Say aloud what danger this is, by its id in the table of threats."""

    threat: str


@dataclass(frozen=True, slots=True)
class Hint:
    """Ask for a hint about a part of the case, by the word of what is asked; it costs points."""

    about: str


@dataclass(frozen=True, slots=True)
class Auscultate:
    """Listen for some seconds while the labour goes on, tapping along.

    taps: seconds from the listening's start, rising.
    """

    seconds: float
    taps: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class ConcludeAuscultation:
    """Say what was heard at intervals, and what follows."""

    answer: AuscultationAnswer


@dataclass(frozen=True, slots=True)
class ConcludeTwins:
    """Say how the upper twin lies, and the two rates."""

    answer: TwinsAnswer


@dataclass(frozen=True, slots=True)
class HandOver:
    """Hand over, or escalate: the statements that are said, by their ids."""

    said: tuple[str, ...]
    sure: Confidence = ()


@dataclass(frozen=True, slots=True)
class Finish:
    """End the case and go to the debrief."""


Step = (
    Feel
    | Listen
    | PlaceHeartSensor
    | PlaceContractionSensor
    | Conclude
    | DecideInternal
    | Wait
    | ReadStrip
    | Choose
    | Tell
    | Recognise
    | Hint
    | Auscultate
    | ConcludeAuscultation
    | ConcludeTwins
    | HandOver
    | Finish
)

LONGEST_LISTEN_S = 300.0
MOST_TAPS = 1200
MOST_STATEMENTS = 60
"""Bounds of one step; no earnest one comes near them."""


def checked_sure(sure: Confidence) -> Confidence:
    """Confidences as said. Raises AttemptError for one outside 0 to 1."""
    for item, share in sure:
        if not 0 <= share <= 1:
            raise AttemptError(f"{share:g} is not a confidence.", where=item, remedy="Give 0 to 1.")
    return sure


def checked_listening(seconds: float) -> float:
    """The seconds to listen. Raises AttemptError for a time that cannot be."""
    if not 5 <= seconds <= LONGEST_LISTEN_S:
        raise AttemptError(
            f"{seconds:g} seconds cannot be listened.",
            remedy=f"Listen for 5 to {LONGEST_LISTEN_S:.0f} seconds at a time.",
        )
    return seconds


def checked_taps(seconds: float, taps: tuple[float, ...]) -> tuple[float, ...]:
    """Taps in their order. Raises AttemptError for a time or taps that cannot be."""
    checked_listening(seconds)
    if len(taps) > MOST_TAPS or any(not 0 <= tap <= seconds for tap in taps):
        raise AttemptError("taps outside the time that was listened.", remedy="Listen again.")
    return tuple(sorted(taps))


MOST_MARKS = 400
"""Marks in one reading; an hour of labour holds a tenth of it."""


def checked_answer(answer: StripAnswer) -> StripAnswer:
    """The reading itself. Raises AttemptError for marks and numbers that cannot be."""
    if len(answer.marks) > MOST_MARKS:
        raise AttemptError(f"more than {MOST_MARKS} marks.", remedy="Take some away.")
    for mark in answer.marks:
        if not (math.isfinite(mark.start_s) and 0 <= mark.start_s < mark.end_s < math.inf):
            raise AttemptError(
                "a mark ends before it begins.", where=mark.kind.value, remedy="Draw it anew."
            )
    baseline = answer.baseline_bpm
    if baseline is not None and not 20 <= baseline <= 300:
        raise AttemptError(f"a baseline of {baseline:g} bpm cannot be.", where="baseline")
    checked_sure(answer.sure)
    return answer


_KINDS: dict[str, type[Any]] = {
    "feel": Feel,
    "listen": Listen,
    "place heart sensor": PlaceHeartSensor,
    "place contraction sensor": PlaceContractionSensor,
    "conclude": Conclude,
    "decide internal": DecideInternal,
    "wait": Wait,
    "read strip": ReadStrip,
    "choose": Choose,
    "tell": Tell,
    "recognise": Recognise,
    "hint": Hint,
    "auscultate": Auscultate,
    "conclude auscultation": ConcludeAuscultation,
    "conclude twins": ConcludeTwins,
    "hand over": HandOver,
    "finish": Finish,
}
_NAMES = {kind: name for name, kind in _KINDS.items()}


def step_to_data(step: Step) -> dict[str, Any]:
    """Plain data of a step, with its name under "step"."""
    return {"step": _NAMES[type(step)], **codec.to_data(step)}


def _is_name(name: Any) -> bool:
    return isinstance(name, str) and name in _KINDS


def step_from_data(data: Any) -> Step:
    """A step from plain data. Raises ScenarioError for what is none."""
    if not isinstance(data, dict) or not _is_name(data.get("step")):
        raise ScenarioError(
            "this is not a step of a case.",
            where="step",
            remedy="Give one of: " + ", ".join(_KINDS) + ".",
        )
    fields = {name: value for name, value in data.items() if name != "step"}
    try:
        made: Step = codec.from_data(_KINDS[data["step"]], fields)
    except EbblineError:
        raise ScenarioError(
            "its fields do not fit.",
            where=f"step {data['step']!r}",
            remedy="See the page's description of the step.",
        ) from None
    return made
