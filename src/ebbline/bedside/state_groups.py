"""Ways to lump the states together: what presents, where the back looks, and the like."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
from numpy.typing import NDArray

from ebbline.bedside.findings_catalogue import DIRECTIONS
from ebbline.bedside.states import BREECHES, State, states
from ebbline.terms import Attitude, Lie, Presentation

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

WHAT_PRESENTS = ("head", "breech", "across")
BACK_WORDS = (*DIRECTIONS, "across")


def what_presents(state: State) -> str:
    """Head, breech, or the fetus lies across (transverse or oblique)."""
    if state.cephalic:
        return "head"
    return "breech" if state.presentation in BREECHES else "across"


def back_word(state: State) -> str:
    """Where the back looks, a word of BACK_WORDS."""
    return "across" if state.back is None else DIRECTIONS[state.back]


def descent_word(state: State) -> str:
    """Fifths above the brim."""
    return f"{state.descent}/5" if state.lie is Lie.LONGITUDINAL else "nothing at the brim"


GROUPINGS: dict[str, tuple[tuple[str, ...], Callable[[State], str]]] = {
    "what presents": (WHAT_PRESENTS, what_presents),
    "lie": (tuple(Lie), lambda s: s.lie.value),
    "presentation": (tuple(Presentation), lambda s: s.presentation.value),
    "back": (BACK_WORDS, back_word),
    "attitude": (tuple(Attitude), lambda s: s.attitude.value),
    "descent": (("5/5", "4/5", "3/5", "2/5", "1/5", "0/5", "nothing at the brim"), descent_word),
}


@cache
def classes(grouping: str) -> IntArray:
    """Index of each state's word in a grouping, shape (states,)."""
    words, of = GROUPINGS[grouping]
    return np.array([words.index(of(state)) for state in states()], dtype=np.intp)


@cache
def decisive_classes() -> IntArray:
    """What the examination is for: presentation, position and whether it is engaged."""
    found: dict[tuple[object, ...], int] = {}
    made = []
    for state in states():
        key = (state.lie, state.presentation, state.position, state.lower_pole, state.engaged)
        made.append(found.setdefault(key, len(found)))
    return np.array(made, dtype=np.intp)


def shares(grouping: str, now: FloatArray) -> FloatArray:
    """Probability of each word of a grouping, in its order."""
    words, _ = GROUPINGS[grouping]
    return np.bincount(classes(grouping), weights=now, minlength=len(words)).astype(np.float64)


def likeliest_states(now: FloatArray, count: int = 2) -> tuple[tuple[State, float], ...]:
    """The likeliest ways to lie, each by its likeliest state, with the probability of the way.

    A way is a name (lie, presentation, position), over all attitudes and heights. now: probability
    of each state, shape (states,). Of mirror images alike the one to the mother's left comes first.
    """
    ways: dict[str, list[int]] = {}
    for i, state in enumerate(states()):
        ways.setdefault(state.name, []).append(i)
    shares_of = {name: float(now[index].sum()) for name, index in ways.items()}
    # Rounded, so that ways alike but for the last bit keep the order of the states.
    ordered = sorted(ways, key=lambda name: -round(shares_of[name], 9))[:count]
    made = []
    for name in ordered:
        index = ways[name]
        best = max(index, key=lambda i: float(now[i]))
        made.append((states()[best], shares_of[name]))
    return tuple(made)
