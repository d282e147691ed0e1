"""Joining what is final of a labour's findings with the findings of its trailing stretch.

A trailing stretch is read as a recording of its own, on its own clock. Its findings are moved to
the labour's clock (`moved`), what lies before the seam is taken from the findings that are final
(`joined`), and as the seam moves on, what comes to lie before it becomes final (`before`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from typing import Any, TypeVar

import numpy as np

from ebbline.features.findings import (
    NO_CONTRACTION,
    Artefact,
    BaselineChange,
    BaselineSegment,
    Contraction,
    Curve,
    Findings,
)
from ebbline.features.shifted import TIMES, each, shifted

T = TypeVar("T")

REACH_S = 30.0
"""A finding of the trailing stretch that ends this little before the seam may still be new: its
end may have lain just after the seam when the seam was drawn."""

SAME_SHARE = 0.5
"""Two findings of a kind that overlap by half of the shorter are one finding, seen twice."""

NEAR_S = 60.0
"""Two changes of baseline nearer than this are one."""


def moved(findings: Findings, by_s: float) -> Findings:
    """Findings of a stretch that begins by_s seconds into the labour, on the labour's clock."""
    if by_s == 0.0:
        return findings
    return replace(
        findings,
        duration_s=findings.duration_s + by_s,
        uterine=each(findings.uterine, lambda one: shifted(one, by_s)),
        fetal=each(findings.fetal, lambda one: shifted(one, by_s)),
    )


def before(findings: Findings, seam_s: float, *, since_s: float = 0.0) -> Findings:
    """What is whole before the seam: findings that end by then, curves up to it.

    since_s: findings that end before this, and curves before it, are let go, save the first
    determinate baseline of all, which later baselines are held against.
    """

    def kept(one: Any) -> Any:
        if isinstance(one, Curve):
            return _curve(one, since_s, seam_s)
        chosen = tuple(x for x in one if end_of(x) <= seam_s and end_of(x) > since_s)
        if one and isinstance(one[0], BaselineSegment):
            first = next((x for x in one if x.determinate and end_of(x) <= seam_s), None)
            if first is not None and first not in chosen:
                chosen = (first, *chosen)
        return chosen

    made = replace(
        findings,
        duration_s=seam_s,
        uterine=each(findings.uterine, kept),
        fetal=each(findings.fetal, kept),
    )
    return _paired(made, findings)


def joined(final: Findings | None, trailing: Findings, seam_s: float) -> Findings:
    """The findings of the labour so far.

    final: whole before seam_s (None: nothing is yet). trailing: of the trailing stretch, on the
    labour's clock. What straddles the seam is not final and is taken from the trailing stretch.
    """
    if final is None:
        return trailing
    old = final

    def together(past: Any, new: Any) -> Any:
        if isinstance(past, Curve):
            return _appended(past, new, seam_s)
        fresh = [x for x in new if end_of(x) > seam_s - REACH_S]
        if not fresh:
            return past
        # Only what reaches to the first of them can be one of them, seen before.
        least_s = min(start_of(x) for x in fresh) - NEAR_S
        lately = [x for x in past if end_of(x) > least_s]
        return (*past, *(x for x in fresh if not _seen(x, lately)))

    uterine = _both(old.uterine, trailing.uterine, together)
    fetal = _both(old.fetal, trailing.fetal, together)
    fetal = replace(fetal, baseline=_carried(fetal.baseline))
    whole = replace(trailing, uterine=uterine, fetal=fetal)
    return _paired_apart(whole, old, trailing)


def start_of(one: Any) -> float:
    """When a finding begins, s from the labour's start."""
    return float(getattr(one, TIMES[type(one)][0]))


def end_of(one: Any) -> float:
    """When a finding ends, s from the labour's start."""
    return float(one.at_s if isinstance(one, BaselineChange) else one.end_s)


def _both(past: T, new: T, together: Callable[[Any, Any], Any]) -> T:
    made = {
        item.name: together(getattr(past, item.name), value)
        for item in fields(new)  # type: ignore[arg-type]
        if isinstance(value := getattr(new, item.name), (Curve, tuple))
    }
    return replace(new, **made)  # type: ignore[type-var]


def _curve(curve: Curve, since_s: float, until_s: float) -> Curve:
    first = max(0, math.ceil((since_s - curve.start_s) / curve.step_s))
    last = max(first, round((until_s - curve.start_s) / curve.step_s))
    return replace(
        curve,
        start_s=curve.start_s + first * curve.step_s,
        values=curve.values[first:last].copy(),
    )


def _appended(past: Curve, new: Curve, seam_s: float) -> Curve:
    """The past up to the seam, the new from it on; NaN where neither has a value."""
    wanted = round((seam_s - past.start_s) / past.step_s)
    head = np.full(max(0, wanted), np.nan)
    head[: len(past.values)] = past.values[:wanted]
    tail = new.values[max(0, round((seam_s - new.start_s) / new.step_s)) :]
    return replace(past, values=np.concatenate((head, tail)))


def _seen(one: Any, past: Sequence[Any]) -> bool:
    """Whether a finding is one of the past, seen again."""
    start_s, end_s = start_of(one), end_of(one)
    for other in past:
        if isinstance(one, BaselineChange):
            if abs(other.at_s - one.at_s) < NEAR_S:
                return True
            continue
        if isinstance(one, Artefact) and other.kind is not one.kind:
            continue
        common = min(end_s, end_of(other)) - max(start_s, start_of(other))
        shorter = min(end_s - start_s, end_of(other) - start_of(other))
        if common > 0 and common >= SAME_SHARE * shorter:
            return True
    return False


def _carried(segments: tuple[BaselineSegment, ...]) -> tuple[BaselineSegment, ...]:
    """Where the value that stands in for an indeterminate ten minutes comes from, over the seam."""
    made: list[BaselineSegment] = []
    for one in segments:
        if not one.determinate and math.isnan(one.carried_from_s) and made:
            last = made[-1]
            from_s = last.start_s if last.determinate else last.carried_from_s
            one = replace(one, carried_from_s=from_s)
        made.append(one)
    return tuple(made)


def _paired(made: Findings, source: Findings) -> Findings:
    """The events with the places that their contractions have in the shorter list."""
    return _with_places(made, lambda _: source.uterine.contractions)


def _paired_apart(whole: Findings, old: Findings, trailing: Findings) -> Findings:
    """The events of both parts with the places of their contractions in the joined list."""
    kept = {id(x) for x in (*old.fetal.decelerations, *old.fetal.accelerations)}
    return _with_places(
        whole,
        lambda event: (
            old.uterine.contractions if id(event) in kept else trailing.uterine.contractions
        ),
    )


def _with_places(made: Findings, source: Callable[[Any], tuple[Contraction, ...]]) -> Findings:
    contractions = made.uterine.contractions
    place = {id(one): number for number, one in enumerate(contractions)}
    peaks = np.array([one.peak_s for one in contractions])

    def of(event: Any) -> int:
        number = event.contraction
        if number == NO_CONTRACTION:
            return NO_CONTRACTION
        named = source(event)[number]
        found = place.get(id(named))
        if found is not None:
            return found
        if not len(peaks):
            return NO_CONTRACTION
        # The same contraction, seen from the other side of the seam.
        nearest = int(np.argmin(np.abs(peaks - named.peak_s)))
        return nearest if abs(peaks[nearest] - named.peak_s) <= REACH_S else NO_CONTRACTION

    def paired(events: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(
            x if (number := of(x)) == x.contraction else replace(x, contraction=number)
            for x in events
        )

    fetal = made.fetal
    return replace(
        made,
        fetal=replace(
            fetal,
            accelerations=paired(fetal.accelerations),
            decelerations=paired(fetal.decelerations),
        ),
    )
