"""Which term was taken for which: counts of truth against answer over a class."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

MISSED = "not marked"
"""Answer of a learner who did not mark a true event."""

NOT_THERE = "nothing there"
"""Truth behind a mark that belongs to no event."""


@dataclass(frozen=True, slots=True)
class Confusion:
    """counts[i][j]: how often truth `terms[i]` was called `answers[j]`."""

    terms: tuple[str, ...]
    answers: tuple[str, ...]
    counts: tuple[tuple[int, ...], ...]

    @property
    def commonest_mistakes(self) -> tuple[tuple[str, str, int], ...]:
        """(truth, answer, times) for every mistake that was made, the commonest first."""
        mistakes = [
            (term, answer, self.counts[i][j])
            for i, term in enumerate(self.terms)
            for j, answer in enumerate(self.answers)
            if term != answer and self.counts[i][j]
        ]
        return tuple(sorted(mistakes, key=lambda m: (-m[2], m[0], m[1])))


def confusion(pairs: Iterable[tuple[str, str]], order: Iterable[str] = ()) -> Confusion:
    """Count (truth, answer) pairs. order: terms in the order to show; others follow by name."""
    counts = Counter(pairs)
    known = list(order)

    def sorted_terms(found: set[str]) -> tuple[str, ...]:
        first = [term for term in known if term in found]
        return (*first, *sorted(found - set(first)))

    terms = sorted_terms({truth for truth, _ in counts})
    answers = sorted_terms({answer for _, answer in counts})
    return Confusion(terms, answers, tuple(tuple(counts[(t, a)] for a in answers) for t in terms))
