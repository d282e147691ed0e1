"""What a handbook's faultless examiner would find, for every way a fetus can lie.

Written out from the common ground of handbooks, not from the tables of the model.
"""

from __future__ import annotations

from ebbline.bedside import State
from ebbline.terms import Attitude, Lie, Position, Presentation

AROUND = (
    "front",
    "left front",
    "left",
    "left rear",
    "rear",
    "right rear",
    "right",
    "right front",
)
_BACK = {
    "front": "front",
    "left front": "left front",
    "left": "left flank",
    "left rear": "left far",
    "rear": "not felt",
    "right rear": "right far",
    "right": "right flank",
    "right front": "right front",
}
_STATION = {5: "-3", 4: "-2", 3: "-1", 2: "0", 1: "+1", 0: "+3"}


def other(side: str) -> str:
    return {"left": "right", "right": "left"}[side]


def back_of(state: State) -> str:
    """Where the back looks: with the occiput and the sacrum, away from the chin and the brow."""
    turn = 4 if state.presentation in (Presentation.FACE, Presentation.BROW) else 0
    return AROUND[(list(Position).index(state.position) + turn) % 8]


def grips(state: State) -> dict[str, str]:
    """The four grips."""
    if state.lie is not Lie.LONGITUDINAL:
        side = "left" if state.position.value.startswith("left") else "right"
        front = state.position.value.endswith("anterior")
        place = {"neither": f"head {side} flank", "head": f"head {side} fossa"}.get(
            state.lower_pole.value, f"head upper {side}"
        )
        return {
            "shape": "broad" if state.lie is Lie.TRANSVERSE else "slanting",
            "fundus": "nothing",
            "brim": "nothing",
            "poles": place,
            "back": "across" if front else "not felt",
            "limbs": "not felt" if front else "across",
        }
    back = back_of(state)
    side = "left" if "left" in back else "right" if "right" in back else ""
    found = {
        "fundus": "breech" if state.cephalic else "head",
        "brim": "head" if state.cephalic else "breech",
        "poles": "none",
        "back": _BACK[back],
        "fifths": str(state.descent),
        "mobility": "mobile"
        if state.descent >= 4
        else "dipping"
        if state.descent == 3
        else "fixed",
    }
    if state.descent == 0:
        # All of it has gone below the brim: nothing is left for the third grip.
        found["brim"] = "nothing"
        del found["mobility"]
    if side:
        found["limbs"] = "both sides" if back.endswith("rear") else other(side)
    else:
        found["limbs"] = "both sides" if back == "rear" else "not felt"
    if state.cephalic and state.descent >= 2:
        if state.attitude is Attitude.MILITARY or not side:
            found["prominence"] = "both alike"
        elif state.attitude is Attitude.FLEXED:
            found["prominence"] = other(side)
        else:
            found["prominence"] = side
    return found


def from_below(state: State) -> dict[str, str]:
    """What an examining finger would find."""
    if state.lie is not Lie.LONGITUDINAL:
        return {"part": "shoulder or hand"}
    towards = AROUND[list(Position).index(state.position)]
    away = AROUND[(list(Position).index(state.position) + 4) % 8]
    found = {"station": _STATION[state.descent]}
    if state.presentation is Presentation.VERTEX:
        found |= {"part": "head", "posterior-fontanelle": towards}
        if state.attitude is Attitude.MILITARY:
            found["anterior-fontanelle"] = away
    elif state.presentation is Presentation.BROW:
        found |= {
            "part": "brow",
            "anterior-fontanelle": towards,
            "posterior-fontanelle": "not reached",
        }
    elif state.presentation is Presentation.FACE:
        found |= {"part": "face", "chin": towards}
    elif state.presentation is Presentation.FOOTLING_BREECH:
        found |= {"part": "foot", "sacrum": towards}
    elif state.presentation is Presentation.COMPLETE_BREECH:
        found |= {"part": "breech and feet", "sacrum": towards}
    else:
        found |= {"part": "breech", "sacrum": towards}
    return found
