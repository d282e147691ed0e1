"""The one door: a Recording and what is known about it, to a Reading."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from itertools import combinations

import numpy as np

from ebbline import CAUTION, __version__
from ebbline.criteria import classify
from ebbline.criteria.classification_builder import NO_CLASS
from ebbline.criteria.model import Classification, Standard
from ebbline.criteria.panel import panel_answer
from ebbline.criteria.study import AnyStandard
from ebbline.definitions import HALF_HOUR_S, TEN_MINUTES_S
from ebbline.errors import ContextError
from ebbline.features import detect
from ebbline.features.findings import Findings
from ebbline.reading.four_lines import four_lines
from ebbline.reading.model import FetalReading, HistoryPoint, Reading
from ebbline.reading.paper_doubt import held_back, read_otherwise
from ebbline.reading.summary import summarise
from ebbline.reading.text import Clock, elapsed
from ebbline.recording.channels import tidy
from ebbline.recording.model import ChannelKind, Context, FloatArray, Recording
from ebbline.signal.resampling import RATE_HZ, to_grid
from ebbline.terms import Window

ALL_STANDARDS = (Standard.NICHD, Standard.FIGO, Standard.NICE)

WINDOW_S = HALF_HOUR_S
"""Length of a window where none is asked for, and of each step of the history."""

HISTORY_STEP_S = TEN_MINUTES_S

EDGE_S = 15.0
"""A class that changes when its window moves by so much stands on an edge (ours)."""

LEAST_TWICE_S = 120.0
"""So long must two rates be seen together before they are called alike (ours)."""
TWICE_WITHIN_BPM, TWICE_SHARE = 1.0, 0.9
"""Two rates this near for this share of the time are one heart's (ours): two hearts of one baseline
still vary each by its own, several bpm from second to second."""

LAG_S, LAG_STEP_S = 4.0, 0.5
"""One of them may be told so much later than the other, and is looked for in such steps (ours: a
sensor's mean of some beats delays its rate by a few seconds)."""

_ROUNDING_S = 1.0
"""A window typed to the second may end this much after a recording that is no whole second long."""


def read(
    recording: Recording,
    *,
    context: Context | None = None,
    window: Window | None = None,
    standards: Sequence[AnyStandard] = ALL_STANDARDS,
    history: bool = True,
) -> Reading:
    """Read a recording: findings of the whole, review and classes of the window.

    context replaces the recording's own; what cannot be true in it counts as unknown, with a
    note. window defaults to the last 30 minutes (the whole of a shorter recording). With history
    the classes of the half hours whose ends lie ten minutes apart, up and down from the window's
    end, are given too. The first of
    the standards is the one whose class leads the four lines (`FetalReading.four_lines`). Raises
    RecordingError for a recording without a usable fetal heart rate, ContextError for a window
    outside it.
    """
    if context is not None:
        recording = replace(recording, context=context)
    recording = tidy(recording, recording.name)
    return read_findings(
        recording,
        [detect(recording, fetus=fetus) for fetus in recording.fetuses],
        window=window,
        standards=standards,
        history=history,
    )


def read_findings(
    recording: Recording,
    findings: Sequence[Findings],
    *,
    window: Window | None = None,
    standards: Sequence[AnyStandard] = ALL_STANDARDS,
    history: bool = True,
    brief: bool = False,
    by_hand: bool = False,
) -> Reading:
    """The reading that follows from findings that are already there: detected before, or
    corrected by a reader (by_hand). No class of a recording from paper rests on less than paper
    tells (`paper_doubt`), unless a reader stands for it. A brief one, for tables of thousands, has
    no ten-minute columns and no four lines, and it is not asked what class a window moved by EDGE_S
    would have. Raises ContextError for a window outside the recording.
    """
    context = recording.context
    chosen = _window(recording, window)
    clock = Clock(recording.start)
    twice = _fetus_twice(recording)
    otherwise = () if by_hand else read_otherwise(recording)
    return Reading(
        recording=recording.name,
        ebbline_version=__version__,
        duration_s=recording.duration_s,
        start="" if recording.start is None else recording.start.isoformat(),
        context=context,
        window=chosen,
        fetuses=tuple(
            _fetus(
                (one, *(detect(other, fetus=one.fetal.fetus) for other in otherwise)),
                chosen,
                context,
                standards,
                history,
                brief,
                clock,
                twice,
            )
            for one in findings
        ),
        notes=tuple(dict.fromkeys((*recording.provenance.notes, *_assumptions(recording)))),
        caution=CAUTION,
    )


def _window(recording: Recording, asked: Window | None) -> Window:
    duration_s = recording.duration_s
    if asked is None:
        return Window(max(0.0, duration_s - WINDOW_S), duration_s)
    inside = 0 <= asked.start_s < asked.end_s <= duration_s + _ROUNDING_S
    if not (inside and asked.start_s < duration_s):
        raise ContextError(
            f"the window from {_at(asked.start_s)} to {_at(asked.end_s)} is not a stretch of this "
            "recording.",
            where=recording.name,
            remedy=f"Choose a start and a later end between {_at(0)} and {_at(duration_s)}.",
        )
    return Window(asked.start_s, min(asked.end_s, duration_s))


def _at(time_s: float) -> str:
    return elapsed(time_s) if math.isfinite(time_s) else "no time"


def _fetus(
    every: tuple[Findings, ...],
    window: Window,
    context: Context,
    standards: Sequence[AnyStandard],
    history: bool,
    brief: bool,
    clock: Clock,
    above: tuple[str, ...],
) -> FetalReading:
    """every: the findings, then those of the same recording read a little otherwise. above: what
    is said above every class, whatever the findings.
    """
    findings = every[0]
    review = summarise(findings, window, columns=not brief)
    classed = partial(_class, every, context, above)
    classes = tuple(
        classed(window, one) if brief else _with_edge(classed, window, one) for one in standards
    )
    panel, silence = (None, above[0]) if above else panel_answer(findings, window, context)
    return FetalReading(
        fetus=findings.fetal.fetus,
        findings=findings,
        review=review,
        classes=classes,
        history=_history(classed, findings.duration_s, window, standards) if history else (),
        panel=panel,
        four_lines=(
            four_lines(findings, review, classes[0], clock) if classes and not brief else None
        ),
        panel_silence=silence,
    )


Classed = Callable[[Window, AnyStandard], Classification]
"""Gives the class of a window of one recording by a standard."""


def _class(
    every: tuple[Findings, ...],
    context: Context,
    above: tuple[str, ...],
    window: Window,
    standard: AnyStandard,
) -> Classification:
    """The class that all findings of one recording carry; the best one only of a fetus that was
    heard."""
    made, *otherwise = (classify(one, window, standard, context) for one in every)
    found = held_back(made, otherwise)
    if not above:
        return found
    found = replace(found, beyond=(*above, *found.beyond))
    if found.rank != 0:
        return found
    return replace(
        found, label=NO_CLASS, rank=-1, at_best=found.label, refusal=above, decided_by=()
    )


def _with_edge(classed: Classed, window: Window, standard: AnyStandard) -> Classification:
    """The class, with a word where a window moved by EDGE_S would have another."""
    found = classed(window, standard)
    moved = Window(window.start_s - EDGE_S, window.end_s - EDGE_S)
    if moved.start_s < 0:
        return found
    other = classed(moved, standard)
    if other.said == found.said:
        return found
    told = f"a window {EDGE_S:.0f} s earlier is {other.said}"
    return replace(found, edge=(*found.edge, told))


def _history(
    classed: Classed, duration_s: float, window: Window, standards: Sequence[AnyStandard]
) -> tuple[HistoryPoint, ...]:
    """Classes of the half hours whose ends lie ten minutes apart, one of them the window's end.

    So a window of half an hour is one of them, and says the same here as above.
    """
    earlier = math.floor((window.end_s - WINDOW_S) / HISTORY_STEP_S + 1e-9)
    later = math.floor((duration_s - window.end_s) / HISTORY_STEP_S + 1e-9)
    points = []
    for step in range(-earlier, later + 1):
        end_s = window.end_s + step * HISTORY_STEP_S
        if end_s < WINDOW_S:
            continue
        half_hour = Window(end_s - WINDOW_S, end_s)
        labels = {one.value: classed(half_hour, one).said for one in standards}
        points.append(HistoryPoint(end_s, labels))
    return tuple(points)


def _alike(one: FloatArray, other: FloatArray) -> bool:
    """True where two heart-rate signals are the same nearly all the time that both are seen, the
    one or the other told up to LAG_S later."""
    step, most = round(LAG_STEP_S * RATE_HZ), round(LAG_S * RATE_HZ)
    return any(
        _same(one[max(0, lag) :], other[max(0, -lag) :]) for lag in range(-most, most + 1, step)
    )


def _same(one: FloatArray, other: FloatArray) -> bool:
    count = min(len(one), len(other))
    apart = np.abs(one[:count] - other[:count])
    both = np.isfinite(apart)
    if both.sum() < LEAST_TWICE_S * RATE_HZ:
        return False
    return bool((apart[both] <= TWICE_WITHIN_BPM).mean() >= TWICE_SHARE)


def _fetus_twice(recording: Recording) -> tuple[str, ...]:
    """Two channels that give one heart's rate: one fetus may be heard twice, the other not at all.

    Common practice, no source: two sensors on twins must show two rates.
    """
    if len(recording.fetuses) < 2:
        return ()
    rates = {
        number: to_grid(channel.samples, channel.rate_hz, int(channel.duration_s * RATE_HZ))
        for number in recording.fetuses
        for channel in (recording.heart_rate(number),)
    }
    return tuple(
        f"one fetus twice? The rates of fetus {a} and fetus {b} are alike: find both hearts "
        "before either trace is relied on"
        for a, b in combinations(rates, 2)
        if _alike(rates[a], rates[b])
    )


def _assumptions(recording: Recording) -> list[str]:
    notes = []
    if recording.context.weeks is None:
        notes.append(
            "weeks of gestation are not known: accelerations are judged as from 32 weeks on."
        )
    if recording.first(ChannelKind.MATERNAL_HEART_RATE) is None:
        notes.append(
            "no maternal heart rate was recorded: that the rate may be the mother's can only be "
            "suspected; compare with her pulse."
        )
    return notes
