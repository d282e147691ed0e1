"""Findings on another clock: every time and curve moved by so many seconds."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import fields, replace
from functools import cache
from operator import attrgetter
from typing import Any, TypeVar

import numpy as np

from ebbline.features.findings import (
    Acceleration,
    Artefact,
    BaselineChange,
    BaselineSegment,
    Contraction,
    Curve,
    Deceleration,
    FetalFindings,
    QualitySegment,
    SinusoidalEpisode,
    UterineFindings,
    VariabilitySegment,
)

T = TypeVar("T")
Channel = TypeVar("Channel", FetalFindings, UterineFindings)

_PARTS = (Curve, tuple)

TIMES: dict[type, tuple[str, ...]] = {
    Artefact: ("start_s", "end_s"),
    QualitySegment: ("start_s", "end_s"),
    Contraction: ("onset_s", "peak_s", "end_s"),
    Acceleration: ("onset_s", "peak_s", "end_s"),
    Deceleration: ("onset_s", "nadir_s", "end_s"),
    BaselineSegment: ("start_s", "end_s", "carried_from_s"),
    BaselineChange: ("at_s",),
    VariabilitySegment: ("start_s", "end_s"),
    SinusoidalEpisode: ("start_s", "end_s"),
}
"""The fields of each kind of finding that are times on the recording's clock, the first first."""


def each(part: T, change: Callable[[Any], Any]) -> T:
    """A copy of a part of the findings with each of its lists and curves changed."""
    kind: Any = type(part)
    values_of, _ = _columns(kind)
    made: T = kind(
        *(change(value) if isinstance(value, _PARTS) else value for value in values_of(part))
    )
    return made


def shifted(one: Any, by_s: float) -> Any:
    """A curve, or a list of findings, later by so much."""
    if by_s == 0.0:
        return one
    if isinstance(one, Curve):
        return Curve(one.start_s + by_s, one.step_s, one.values)
    return tuple([_later(x, by_s) for x in one]) if one else one


def _later(one: T, by_s: float) -> T:
    """What `replace` would make; hundreds of beds move some fifty findings each few seconds."""
    kind: Any = type(one)
    values_of, times = _columns(kind)
    values = list(values_of(one))
    for place in times:
        values[place] += by_s
    made: T = kind(*values)
    return made


@cache
def _columns(kind: type) -> tuple[Callable[[Any], tuple[Any, ...]], tuple[int, ...]]:
    """How to get all values of a finding, or of a part, at once, and which of them are times."""
    names = [item.name for item in fields(kind)]
    return attrgetter(*names), tuple(names.index(name) for name in TIMES.get(kind, ()))


def after_silence(part: Channel, by_s: float, share: Curve) -> Channel:
    """Findings of a signal that begins by_s seconds into the recording, on the recording's clock.

    share: the curve of the part that tells how much of each minute was seen: none of it before the
    signal begins, where no other curve has a value. Curves begin within a step of the recording's
    start.
    """
    if by_s <= 0.0:
        return part

    def later(one: Any) -> Any:
        if not isinstance(one, Curve):
            return shifted(one, by_s)
        steps = math.floor(by_s / one.step_s)
        nothing = 0.0 if one is share else math.nan
        return replace(
            one,
            start_s=one.start_s + by_s - steps * one.step_s,
            values=np.concatenate((np.full(steps, nothing), one.values)),
        )

    silent = QualitySegment(0.0, by_s, 0.0, by_s, ())
    made: Channel = each(part, later)
    return replace(made, quality=(silent, *made.quality))
