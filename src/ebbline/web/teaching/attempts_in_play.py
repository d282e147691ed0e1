"""Attempts that are being played: kept in memory for a while, remade from their steps at need."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from ebbline.web.teaching.schemas import (
    AttemptOut,
    CaseOut,
    LogOut,
    PlaceOut,
    TraceOut,
)

if TYPE_CHECKING:
    from ebbline.recording.model import Recording
    from ebbline.synth.scenario_parts import Point
    from ebbline.teach.case import Case
    from ebbline.teach.encounter import Encounter
    from ebbline.teach.real_cases import RecordedEncounter
    from ebbline.teach.steps import Step
    from ebbline.web.teaching.store import Teaching

    Played = Encounter | RecordedEncounter

KEPT = 96
"""Encounters held in memory; the one least lately used makes room (it can be remade)."""


class LiveAttempts:
    """The encounters behind the attempts, each played by one request at a time."""

    def __init__(self, teaching: Teaching) -> None:
        self._teaching = teaching
        self._guard = threading.Lock()
        self._locks: OrderedDict[str, threading.Lock] = OrderedDict()
        self._live: OrderedDict[str, Played] = OrderedDict()

    @contextmanager
    def held(self, key: str) -> Iterator[Played]:
        """The encounter of an attempt, nobody else using it meanwhile."""
        with self._guard:
            lock = self._locks.setdefault(key, threading.Lock())
        with lock:
            encounter = self._live.get(key)
            if encounter is None:
                attempt = self._teaching.attempt(key)
                encounter = remade(
                    self._teaching.case_of(key), attempt.seed, self._teaching.steps(key)
                )
            with self._guard:
                self._live[key] = encounter
                self._live.move_to_end(key)
                while len(self._live) > KEPT:
                    gone, _ = self._live.popitem(last=False)
                    if gone != key and not self._locks[gone].locked():
                        self._locks.pop(gone, None)
            yield encounter

    def take(self, key: str, step: Step) -> AttemptOut:
        """Take a step, keep it, and finish the attempt where it ends the case."""
        with self.held(key) as encounter:
            encounter.take(step)
            try:
                self._teaching.add_step(key, len(encounter.steps) - 1, step)
                if encounter.finished:
                    self._finish(key, encounter)
            except Exception:
                with self._guard:
                    self._live.pop(key, None)
                raise
            return shown(key, encounter)

    def _finish(self, key: str, encounter: Played) -> None:
        score, said, true = judged(encounter)
        self._teaching.finish(key, score, said, true)

    def forget(self, keys: list[str]) -> None:
        """Drop encounters, as when their attempts are erased."""
        with self._guard:
            for key in keys:
                self._live.pop(key, None)


def remade(case: Case, seed: int, steps: list[Step]) -> Played:
    """The encounter after these steps."""
    from ebbline.teach.real_cases import RecordedEncounter
    from ebbline.teach.variants import begin_case

    if case.recorded is not None:
        return RecordedEncounter.replay(case, seed, steps)
    return begin_case(case, seed).take_all(steps)


def judged(encounter: Played) -> tuple[Any, str, str]:
    """Score, the class that was said, the true class."""
    from ebbline.teach.encounter import Encounter
    from ebbline.teach.grading import score
    from ebbline.teach.what_was_true import reading_truth

    standard = encounter.case.standard.value
    if not isinstance(encounter, Encounter):
        said = encounter.answer.label if encounter.answer else ""
        return encounter.score(), said or "", encounter.truth().labels[standard]
    said, true = "", ""
    if encounter.reading is not None:
        said = encounter.reading.answer.label or ""
        true = reading_truth(encounter).labels[standard]
    return score(encounter), said, true


TRACES = {"fetal heart rate": "heart", "uterine activity": "uterine"}


def strip_of(encounter: Played) -> Recording | None:
    """The learner's own strip."""
    from ebbline.teach.encounter import Encounter

    return encounter.recording() if isinstance(encounter, Encounter) else encounter.recording


def traces_of(key: str, recording: Recording | None) -> list[TraceOut]:
    """The channels of a strip as the viewer takes them."""
    if recording is None:
        return []
    return [
        TraceOut(
            kind=TRACES[channel.kind.value],
            unit=channel.unit,
            sensor=channel.sensor.value,
            rate_hz=channel.rate_hz,
            count=len(channel.samples),
            samples_href=f"/api/teach/attempts/{key}/strip/{TRACES[channel.kind.value]}",
        )
        for channel in recording.channels
        if channel.kind.value in TRACES
    ]


def _place(point: Point | None) -> PlaceOut | None:
    return None if point is None else PlaceOut(x_cm=point.x_cm, y_cm=point.y_cm)


def case_out(case: Case, *, longest_wait: float = 0.0) -> CaseOut:
    """What a learner may know of a case."""
    from ebbline.teach.notes import notes_of
    from ebbline.teach.standards import classes_of

    return CaseOut(
        title=case.title,
        difficulty=case.difficulty,
        who=case.story.who,
        scene=case.story.scene,
        task=case.story.task,
        notes=list(notes_of(case)) if case.recorded is None else [],
        asks=[step.value for step in case.asks],
        standard=case.standard.value,
        classes=list(classes_of(case.standard)),
        minutes_before_reading=case.minutes_before_reading,
        longest_wait=longest_wait,
    )


def shown(key: str, encounter: Played) -> AttemptOut:
    """The attempt as the page shows it."""
    from ebbline.teach.encounter import LONGEST_WAIT_MIN, Encounter
    from ebbline.web.teaching.touch_and_sound import measures_of

    if not isinstance(encounter, Encounter):
        recording = encounter.recording
        return AttemptOut(
            id=key,
            case=case_out(encounter.case),
            abdomen=None,
            minute=recording.duration_s / 60,
            last_minute=recording.duration_s / 60,
            monitors=True,
            ready_to_read=True,
            read=encounter.answer is not None,
            finished=encounter.finished,
            concluded=False,
            decided_internal=False,
            window=(encounter.window.start_s, encounter.window.end_s),
            duration_s=recording.duration_s,
            heart_sensor=None,
            contraction_sensor=None,
            chosen=[],
            told=[],
            log=[],
            traces=traces_of(key, recording),
        )
    own = encounter.recording()
    window = encounter.window
    return AttemptOut(
        id=key,
        case=case_out(encounter.case, longest_wait=LONGEST_WAIT_MIN),
        abdomen=measures_of(encounter),
        minute=encounter.minute,
        last_minute=encounter.last_minute,
        monitors=encounter.monitors,
        ready_to_read=encounter.ready_to_read,
        read=encounter.reading is not None,
        finished=encounter.finished,
        concluded=encounter.conclusion is not None,
        decided_internal=encounter.internal is not None,
        window=(window.start_s, window.end_s),
        duration_s=60 * encounter.minute,
        heart_sensor=_place(encounter.heart_sensor_at),
        contraction_sensor=_place(encounter.contraction_sensor_at),
        chosen=list(dict.fromkeys(choice.measure for choice in encounter.choices)),
        told=list(dict.fromkeys(call.person for call in encounter.calls)),
        recognised=list(dict.fromkeys(threat for threat, _ in encounter.recognised)),
        hinted=list(dict.fromkeys(part.value for part in encounter.hints)),
        counted=len(encounter.counts),
        concluded_counts=encounter.listening is not None,
        handed_over=encounter.handed_over is not None,
        log=_log(encounter),
        traces=traces_of(key, own),
    )


def _log(encounter: Encounter) -> list[LogOut]:
    from ebbline.teach.attempt_log import narrated
    from ebbline.teach.steps import Feel
    from ebbline.web.teaching.touch_and_sound import touch

    made = []
    felt = iter(encounter.sensations)
    for number, line in enumerate(narrated(encounter)):
        hand = next(felt) if isinstance(encounter.steps[number], Feel) else None
        made.append(
            LogOut(
                number=number,
                kind=line.kind,
                said=line.said,
                text=line.text,
                minute=line.minute,
                happened=list(line.happened),
                guidance=list(encounter.outcomes[number].guidance),
                touch=touch(encounter, hand) if hand is not None else None,
            )
        )
    return made
