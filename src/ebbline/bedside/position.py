"""Where the back is, as far as the findings tell it: the side, and front, side or rear.

Hands tell front, side and rear poorly (Webb: little better than chance). Before any finding all
three are alike (deep heads excepted), so their probabilities rank the evidence: two directions
within a factor of two of each other are not told apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ebbline.bedside.findings_catalogue import DIRECTIONS
from ebbline.bedside.state_groups import BACK_WORDS, shares
from ebbline.bedside.states import POSITIONS, abbreviation
from ebbline.terms import Presentation

FloatArray = NDArray[np.float64]

SIDE_FROM = 0.5
"""A side is called by name from this share (ours)."""
TOLD_APART = 2.0
"""So many times likelier than another a direction must be before it is named alone (ours)."""

_DEPTH = {1: "front", 2: "side", 3: "rear", 5: "rear", 6: "side", 7: "front", 0: "", 4: ""}


@dataclass(frozen=True, slots=True)
class PositionTold:
    """What the findings tell of the position.

    side: "left", "right", "front" or "rear" for the midline, "across", or "not told"; share: its
    probability, 0..1. letters: positions that are not told apart, the likeliest first.
    words: the same as a reader hears it.
    """

    side: str
    share: float
    letters: tuple[str, ...]
    words: str


_SIDES = {"left": (1, 2, 3), "right": (5, 6, 7), "front": (0,), "rear": (4,)}


def _letters(back: int, presentation: Presentation) -> str:
    """The letters of a position from where the back looks."""
    turned = presentation in (Presentation.FACE, Presentation.BROW)
    return abbreviation(presentation, POSITIONS[(back + 4) % 8 if turned else back])


def position_told(now: FloatArray, presentation: Presentation) -> PositionTold:
    """What the findings tell of the position.

    now: probability of each state, shape (states,); presentation: the likeliest, whose letters
    are used.
    """
    back = shares("back", now)
    across = float(back[BACK_WORDS.index("across")])
    if across >= 0.5:
        return PositionTold("across", across, (), "the back lies across")
    by_side = {side: float(back[list(of)].sum()) for side, of in _SIDES.items()}
    side = max(by_side, key=lambda s: by_side[s])
    if by_side[side] < SIDE_FROM * (1 - across):
        return PositionTold("not told", by_side[side], (), "the side is not told")
    chance = {i: float(back[i]) for i in _SIDES[side]}
    best = max(chance.values())
    # Within a hair of each other the handbook's order stands: front, side, rear.
    likely = sorted(
        (i for i, p in chance.items() if p * TOLD_APART > best),
        key=lambda i: (-round(chance[i] / best, 3), min(i, 8 - i)),
    )
    letters = tuple(_letters(i, presentation) for i in likely)
    if side in ("front", "rear"):
        return PositionTold(side, by_side[side], letters, f"the back lies to the {side}")
    depths = [_DEPTH[i] for i in likely]
    if len(likely) == 1:
        words = f"{DIRECTIONS[likely[0]]}: {letters[0]}"
        return PositionTold(side, by_side[side], letters, words)
    open_words = " or ".join([", ".join(depths[:-1]), depths[-1]])
    words = f"{side}; {open_words}, hands cannot tell ({', '.join(letters)})"
    return PositionTold(side, by_side[side], letters, words)
