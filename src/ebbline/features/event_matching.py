"""Marks matched to true events by the time they share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

LEAST_SHARED = 0.25
"""Least Jaccard index (shared time over time covered by either) that makes a match. Ours: wide
enough for a mark drawn by hand on a strip at 1 cm/min, too narrow for one bracket over all."""


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time in seconds. required: False where missing it is no fault."""

    start_s: float
    end_s: float
    required: bool = True


@dataclass(frozen=True, slots=True)
class Matching:
    """Pairs of (mark, true event) by index, and what stayed alone.

    missed: true events that had to be found and were not; extra: marks without an event.
    optional: pairs whose event did not have to be found.
    """

    pairs: tuple[tuple[int, int], ...]
    missed: tuple[int, ...]
    extra: tuple[int, ...]
    optional: tuple[tuple[int, int], ...]

    @property
    def sensitivity(self) -> float:
        """Share of the events that had to be found; NaN without any."""
        asked = len(self.pairs) + len(self.missed)
        return len(self.pairs) / asked if asked else float("nan")

    @property
    def predictive_value(self) -> float:
        """Share of the marks that are true; NaN without any mark."""
        made = len(self.pairs) + len(self.extra)
        return len(self.pairs) / made if made else float("nan")

    @property
    def f1(self) -> float:
        """Harmonic mean of both (Dice); 1 where nothing was there and nothing was marked."""
        total = 2 * len(self.pairs) + len(self.missed) + len(self.extra)
        return 2 * len(self.pairs) / total if total else 1.0


def shared_time(one: Span, other: Span) -> float:
    """Jaccard index of two stretches: shared seconds over seconds covered by either, 0..1.

    Source: Jaccard P. Bull Soc Vaudoise Sci Nat 1901;37:547-79.
    """
    shared = min(one.end_s, other.end_s) - max(one.start_s, other.start_s)
    if shared <= 0:
        return 0.0
    return shared / (max(one.end_s, other.end_s) - min(one.start_s, other.start_s))


def match(marks: Sequence[Span], events: Sequence[Span]) -> Matching:
    """Pair marks and events one to one so that the shared time is largest.

    The assignment is the Hungarian one (Kuhn HW. Nav Res Logist Q 1955;2:83-97), so the order
    in which marks were drawn does not matter.
    """
    pairs: list[tuple[int, int]] = []
    if marks and events:
        from scipy.optimize import linear_sum_assignment

        shared = np.array([[shared_time(mark, event) for event in events] for mark in marks])
        shared[shared < LEAST_SHARED] = 0.0
        rows, columns = linear_sum_assignment(shared, maximize=True)
        pairs = [
            (int(row), int(column))
            for row, column in zip(rows, columns, strict=True)
            if shared[row, column] > 0
        ]
    marked = {mark for mark, _ in pairs}
    found = {event for _, event in pairs}
    return Matching(
        pairs=tuple(pair for pair in pairs if events[pair[1]].required),
        missed=tuple(i for i, event in enumerate(events) if event.required and i not in found),
        extra=tuple(i for i in range(len(marks)) if i not in marked),
        optional=tuple(pair for pair in pairs if not events[pair[1]].required),
    )
