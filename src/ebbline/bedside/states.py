"""The states the examination tells apart: only combinations that can exist.

A state is lie, presentation, position, attitude and descent, with the pole that lies lower.
Position names where the denominator points: occiput (vertex), frontum (brow), mentum (face),
sacrum (breech). For transverse and oblique lies the side of the position is the side on which
the head lies, and anterior or posterior says where the back looks (the handbooks' four positions
of the shoulder, denominator scapula; Oxorn-Foote, from memory).

Descent is the number of fifths of the presenting part that the hand can feel above the brim: 5
(all of it) to 0. Nothing is over the brim in a transverse or oblique lie: 5 stands there.
"""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from functools import cache

import numpy as np
from numpy.typing import NDArray

from ebbline.errors import ExaminationError
from ebbline.terms import Attitude, Lie, Position, Presentation

IntArray = NDArray[np.intp]

POSITIONS = (
    Position.ANTERIOR,
    Position.LEFT_ANTERIOR,
    Position.LEFT_TRANSVERSE,
    Position.LEFT_POSTERIOR,
    Position.POSTERIOR,
    Position.RIGHT_POSTERIOR,
    Position.RIGHT_TRANSVERSE,
    Position.RIGHT_ANTERIOR,
)
"""The eight positions in the order of the compass, 45 degrees apart, from the front leftwards."""

SHOULDER_POSITIONS = (
    Position.LEFT_ANTERIOR,
    Position.LEFT_POSTERIOR,
    Position.RIGHT_POSTERIOR,
    Position.RIGHT_ANTERIOR,
)

BREECHES = (
    Presentation.FRANK_BREECH,
    Presentation.COMPLETE_BREECH,
    Presentation.FOOTLING_BREECH,
)
CEPHALIC = (Presentation.VERTEX, Presentation.BROW, Presentation.FACE)


class Pole(StrEnum):
    """The pole of the fetus that lies lower in the uterus."""

    HEAD = "head"
    BREECH = "breech"
    NEITHER = "neither"


@dataclass(frozen=True, slots=True)
class State:
    """One way the fetus can lie. descent: fifths above the brim, 5..0."""

    lie: Lie
    presentation: Presentation
    position: Position
    attitude: Attitude
    descent: int
    lower_pole: Pole

    @property
    def cephalic(self) -> bool:
        """True when a head presents in a longitudinal lie."""
        return self.presentation in CEPHALIC

    @property
    def back(self) -> int | None:
        """Where the back looks, as an index into POSITIONS; None where it lies across."""
        if self.lie is not Lie.LONGITUDINAL:
            return None
        denominator = POSITIONS.index(self.position)
        if self.presentation in (Presentation.BROW, Presentation.FACE):
            return (denominator + 4) % 8
        return denominator

    @property
    def engaged(self) -> bool:
        """Two fifths or less above the brim, longitudinal lie (common practice; WHO)."""
        return self.lie is Lie.LONGITUDINAL and self.descent <= 2

    @property
    def abbreviation(self) -> str:
        """The trade's letters: LOA, RSP, LMT, LScA..."""
        return abbreviation(self.presentation, self.position)

    @property
    def name(self) -> str:
        """In words, without attitude and descent."""
        if self.lie is not Lie.LONGITUDINAL:
            side = "left" if self.position.value.startswith("left") else "right"
            front = "front" if self.position.value.endswith("anterior") else "spine"
            low = {Pole.HEAD: ", head low", Pole.BREECH: ", breech low", Pole.NEITHER: ""}
            return (
                f"{self.lie} lie, head to the {side}{low[self.lower_pole]}, "
                f"back to the mother's {front}"
            )
        return f"{self.presentation} {self.abbreviation}"


_DENOMINATOR = {
    Presentation.VERTEX: "O",
    Presentation.BROW: "Fr",
    Presentation.FACE: "M",
    Presentation.FRANK_BREECH: "S",
    Presentation.COMPLETE_BREECH: "S",
    Presentation.FOOTLING_BREECH: "S",
    Presentation.SHOULDER: "Sc",
}

_SIDE_AND_FRONT = {
    Position.ANTERIOR: ("", "A"),
    Position.LEFT_ANTERIOR: ("L", "A"),
    Position.LEFT_TRANSVERSE: ("L", "T"),
    Position.LEFT_POSTERIOR: ("L", "P"),
    Position.POSTERIOR: ("", "P"),
    Position.RIGHT_POSTERIOR: ("R", "P"),
    Position.RIGHT_TRANSVERSE: ("R", "T"),
    Position.RIGHT_ANTERIOR: ("R", "A"),
}


def abbreviation(presentation: Presentation, position: Position) -> str:
    """LOA and its kin for a presentation and a position."""
    side, front = _SIDE_AND_FRONT[position]
    return f"{side}{_DENOMINATOR[presentation]}{front}"


def mirrored_position(position: Position) -> Position:
    """The same position with the mother's left and right exchanged."""
    return POSITIONS[-POSITIONS.index(position) % 8]


def mirrored(state: State) -> State:
    """The same state with the mother's left and right exchanged."""
    return State(
        state.lie,
        state.presentation,
        mirrored_position(state.position),
        state.attitude,
        state.descent,
        state.lower_pole,
    )


_LONGITUDINAL: tuple[tuple[Presentation, tuple[Attitude, ...], tuple[int, ...], Pole], ...] = (
    (
        Presentation.VERTEX,
        (Attitude.FLEXED, Attitude.MILITARY),
        (5, 4, 3, 2, 1, 0),
        Pole.HEAD,
    ),
    # A brow that stays a brow does not engage (common practice): no state below 3/5.
    (Presentation.BROW, (Attitude.PARTLY_EXTENDED,), (5, 4, 3), Pole.HEAD),
    (Presentation.FACE, (Attitude.EXTENDED,), (5, 4, 3, 2, 1, 0), Pole.HEAD),
    *((breech, (Attitude.FLEXED,), (5, 4, 3, 2, 1, 0), Pole.BREECH) for breech in BREECHES),
)


@cache
def states() -> tuple[State, ...]:
    """All states, in a fixed order."""
    made = [
        State(Lie.LONGITUDINAL, presentation, position, attitude, descent, pole)
        for presentation, attitudes, descents, pole in _LONGITUDINAL
        for position in POSITIONS
        for attitude in attitudes
        for descent in descents
    ]
    made += [
        State(lie, Presentation.SHOULDER, position, Attitude.FLEXED, 5, pole)
        for lie, poles in (
            (Lie.TRANSVERSE, (Pole.NEITHER,)),
            (Lie.OBLIQUE, (Pole.HEAD, Pole.BREECH)),
        )
        for position in SHOULDER_POSITIONS
        for pole in poles
    ]
    return tuple(made)


@cache
def mirror_order() -> IntArray:
    """For each state the index of its mirror image, shape (number of states,)."""
    index = {state: i for i, state in enumerate(states())}
    return np.array([index[mirrored(state)] for state in states()], dtype=np.intp)


def state_called(words: str, descent: int = 4) -> State:
    """A state from the trade's letters or words: LOA, ROP, LSA, LMA, LFrT, transverse, oblique.

    descent: fifths above the brim, taken as near as the state can have it. A breech called by its
    letters is a frank one; a lie across has its head to the left and its back in front. Raises
    ExaminationError, with suggestions, for other words.
    """
    plain = words.strip().lower()
    named = [s for s in states() if plain in (s.name.lower(), s.abbreviation.lower(), s.lie.value)]
    if not named:
        known = sorted({s.abbreviation for s in states()} | {"transverse", "oblique"})
        close = get_close_matches(words.strip(), known, n=3, cutoff=0.5)
        raise ExaminationError(
            f"'{words}' is no way to lie.",
            where="position",
            remedy=f"Did you mean {' or '.join(close)}?"
            if close
            else f"Known: {', '.join(known)}.",
        )
    return min(named, key=lambda s: abs(s.descent - descent))
