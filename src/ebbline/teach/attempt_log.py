"""An attempt told step by step: what the learner did, what came of it, what happened meanwhile."""

from __future__ import annotations

from dataclasses import dataclass

from ebbline.bedside.geometry import Point as Place
from ebbline.bedside.sensors import place_words
from ebbline.teach.encounter import Encounter
from ebbline.teach.measures import measure_table
from ebbline.teach.sensations import Grip
from ebbline.teach.steps import (
    Auscultate,
    Choose,
    Conclude,
    ConcludeAuscultation,
    ConcludeTwins,
    DecideInternal,
    Feel,
    Finish,
    HandOver,
    Hint,
    Listen,
    PlaceContractionSensor,
    PlaceHeartSensor,
    ReadStrip,
    Recognise,
    Step,
    Tell,
    Wait,
)
from ebbline.teach.threats import threat_table


@dataclass(frozen=True, slots=True)
class Told:
    """One step. kind: hands, sensors, internal, time, listening, strip, measures, handover,
    hint or end."""

    kind: str
    said: str
    text: str
    minute: float
    happened: tuple[str, ...]


def narrated(encounter: Encounter) -> tuple[Told, ...]:
    """Every step so far."""
    return tuple(
        Told(*_said(step, encounter), outcome.text, outcome.minute, _happened(outcome.happened))
        for step, outcome in zip(encounter.steps, encounter.outcomes, strict=True)
    )


def _happened(news: tuple[tuple[float, str], ...]) -> tuple[str, ...]:
    return tuple(f"Minute {minute:.0f}: {say}" for minute, say in news)


def _where(x_cm: float, y_cm: float, encounter: Encounter) -> str:
    return place_words(Place(x_cm, y_cm), encounter.body.abdomen)


def _said(step: Step, encounter: Encounter) -> tuple[str, str]:
    match step:
        case Feel(Grip.LOOK, _):
            return "hands", "You look along the abdomen"
        case Feel(Grip.ASK, _):
            return "hands", "You ask where she feels the kicks"
        case Feel(grip, zone):
            return "hands", f"{grip.value.capitalize()}, {zone}"
        case Listen(x, y):
            return "sensors", f"You listen {_where(x, y, encounter)}"
        case PlaceHeartSensor(x, y):
            return "sensors", f"Heart sensor {_where(x, y, encounter)}"
        case PlaceContractionSensor(x, y):
            return "sensors", f"Contraction sensor {_where(x, y, encounter)}"
        case Conclude():
            return "hands", "You say how the baby lies"
        case DecideInternal():
            return "internal", "You decide on internal sensors"
        case Wait(minutes):
            return "time", f"You let the labour go on for {minutes:g} minutes"
        case ReadStrip():
            return "strip", "You give your reading"
        case Choose(name):
            return "measures", measure_table().measure(name).say
        case Tell(name):
            return "measures", f"You tell: {measure_table().person(name).say}"
        case Recognise(name):
            return "measures", f"You say aloud: {threat_table()[name].say}"
        case Hint(about):
            return "hint", f"You ask for a hint about the {about}"
        case Auscultate(seconds):
            return "listening", f"You listen and count for {seconds:.0f} seconds"
        case ConcludeAuscultation():
            return "listening", "You say what you heard"
        case ConcludeTwins():
            return "hands", "You say how the upper twin lies, and the two rates"
        case HandOver(said):
            return "handover", f"You hand over, in {len(said)} statements"
        case Finish():
            return "end", "You end the case"
