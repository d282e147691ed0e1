"""The likelihoods as arrays: for each domain of evidence what is perceived, and what is said.

A domain is evidence that shares one perception: all grips that tell the poles share what the
hands perceive of the poles, all that tell the back share what they perceive of the back. Within
a domain, findings are independent given the perception; between domains, given the truth.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray

from ebbline.bedside import tables
from ebbline.bedside.accuracy import (
    POLE_CLASSES,
    Skill,
    direction_confusion,
    dulled,
    fifths_confusion,
    pole_confusion,
    position_confusion,
    skill_for,
)
from ebbline.bedside.context import ExamContext
from ebbline.bedside.findings_catalogue import DIRECTIONS, KICKS, Step, items, mirrored_word
from ebbline.bedside.geometry import Abdomen, abdomen_for, heart_zone_shares
from ebbline.bedside.priors import vertex_positions_at_onset
from ebbline.bedside.states import POSITIONS, Pole, State, mirror_order, states
from ebbline.bedside.tables import Line
from ebbline.terms import Lie, Presentation

FloatArray = NDArray[np.float64]

BACKS = (*DIRECTIONS, "across front", "across spine")


@dataclass(frozen=True, slots=True, eq=False)
class Domain:
    """One domain of evidence.

    confusion: truth to perception, shape (states, classes), rows sum to one. said: by item, the
    share of each outcome, shape (states, classes, outcomes) or (1, classes, outcomes) where it
    depends on the perception alone.
    """

    name: str
    confusion: FloatArray
    said: dict[str, FloatArray]


def _row(item: str, shares: tables.Shares) -> FloatArray:
    """A line's shares over the item's outcomes, floored and scaled to one.

    A conclusion has no floor: it is the perception itself. A finger and a scan have lower ones.
    """
    known = items()[item]
    floor = 0.0 if known.step is Step.CONCLUSION else _FLOORS.get(item, tables.FLOOR)
    row = np.full(len(known.outcomes), floor)
    for word, share in shares.items():
        (index,) = known.covered(word)
        row[index] += share
    return np.asarray(row / row.sum(), dtype=np.float64)


_FLOORS = {"part": tables.FINGER_FLOOR, "scan": tables.SCAN_FLOOR}


def _mirrored_row(item: str, row: FloatArray) -> FloatArray:
    outcomes = items()[item].outcomes
    return row[[outcomes.index(mirrored_outcome(item, word)) for word in outcomes]]


def mirrored_outcome(item: str, outcome: str) -> str:
    """The outcome that a mirrored abdomen would give."""
    if item == "suture":
        return {
            "left front to right rear": "right front to left rear",
            "right front to left rear": "left front to right rear",
        }.get(outcome, outcome)
    return mirrored_word(outcome)


def _by_class(item: str, lines: Iterable[Line], classes: tuple[str, ...]) -> FloatArray:
    """Lines to an array over classes, shape (classes, outcomes); mirror images filled in."""
    made: dict[str, FloatArray] = {}
    for line in lines:
        row = _row(item, line.shares)
        mirrored = _mirrored_row(item, row)
        if mirrored_word(line.given) == line.given:
            row = (row + mirrored) / 2
        made[line.given] = row
        made.setdefault(mirrored_word(line.given), _mirrored_row(item, row))
    return np.array([made[name] for name in classes])


def _symmetric(item: str, table: FloatArray) -> FloatArray:
    """A table over (states, outcomes) made its own exact mirror image."""
    outcomes = items()[item].outcomes
    order = [outcomes.index(mirrored_outcome(item, word)) for word in outcomes]
    return (table + table[mirror_order()][:, order]) / 2


def _truths(of: Callable[[State], int]) -> NDArray[np.intp]:
    return np.array([of(state) for state in states()], dtype=np.intp)


def _pole_class(state: State) -> int:
    if state.lie is Lie.LONGITUDINAL:
        return 0 if state.cephalic else 1
    side = "left" if state.position.value.startswith("left") else "right"
    name = {
        Pole.NEITHER: f"across, head {side}",
        Pole.HEAD: f"oblique, head low {side}",
        Pole.BREECH: f"oblique, breech low, head {side}",
    }[state.lower_pole]
    return POLE_CLASSES.index(name)


def _back_class(state: State) -> int:
    back = state.back
    if back is not None:
        return back
    return 8 if state.position.value.endswith("anterior") else 9


def _pole_domain(skill: Skill) -> Domain:
    confusion = dulled(pole_confusion(*skill.pole), skill.dulling)
    said = {
        "fundus": tables.FUNDUS,
        "brim": tables.BRIM,
        "poles": tables.POLES,
        "presentation": tables.PRESENTATION,
    }
    made = {item: _by_class(item, lines, POLE_CLASSES)[None] for item, lines in said.items()}
    made["brim"] = np.array([_brim(state, made["brim"][0]) for state in states()])
    return Domain("poles", confusion[_truths(_pole_class)], made)


def _brim(state: State, felt: FloatArray) -> FloatArray:
    """Shares of the third grip by perceived pole: what has gone into the pelvis is not felt."""
    sunk = 0.0
    if state.lie is Lie.LONGITUDINAL:
        sunk = tables.NOTHING_ABOVE_BRIM.get(state.descent, 0.0)
    return (1 - sunk) * felt + sunk * _row("brim", {"nothing": 1.0})


def _prominence(state: State) -> FloatArray:
    """Shares of the prominence by perceived back, shape (classes, outcomes)."""
    item = "prominence"
    absent = _row(item, tables.PROMINENCE_NO_HEAD.shares)
    if not state.cephalic:
        return np.broadcast_to(absent, (len(BACKS), len(absent)))
    by_back = _by_class(item, tables.PROMINENCE[state.attitude.value], BACKS[:8])
    rows = np.vstack([by_back, absent, absent])
    lost = tables.PROMINENCE_LOST.get(state.descent, 0.0)
    gone = _row(item, {"not felt": 1.0})
    return (1 - lost) * rows + lost * gone


def _side_domain(skill: Skill) -> Domain:
    confusion = dulled(position_confusion(skill, vertex_positions_at_onset()), skill.dulling)
    said = {"back": tables.BACK, "limbs": tables.LIMBS, "position": tables.POSITION}
    made = {item: _by_class(item, lines, BACKS)[None] for item, lines in said.items()}
    made["prominence"] = np.array([_prominence(state) for state in states()])
    return Domain("back", confusion[_truths(_back_class)], made)


def _descent_domain(skill: Skill) -> Domain:
    confusion = dulled(fifths_confusion(skill.fifths), skill.dulling)
    fifths = (1 - 6 * tables.FLOOR) * np.eye(6) + tables.FLOOR
    mobility = _by_class("mobility", tables.MOBILITY, tuple("012345"))
    return Domain(
        "descent",
        confusion[_truths(lambda s: s.descent)],
        {"fifths": fifths[None], "mobility": mobility[None]},
    )


def _direct(item: str, table: FloatArray, lapse: float) -> Domain:
    """A domain of one item that follows from the truth, levelled by lapses."""
    symmetric = _symmetric(item, table)
    mean = symmetric.mean(axis=0, keepdims=True)
    mean = _symmetric(item, np.broadcast_to(mean, symmetric.shape))
    levelled = (1 - lapse) * symmetric + lapse * mean
    return Domain(item, np.ones((len(states()), 1)), {item: levelled[:, None, :]})


def _shape_table() -> FloatArray:
    rows = {line.given: _row("shape", line.shares) for line in tables.SHAPE}

    def given(state: State) -> str:
        if state.lie is not Lie.LONGITUDINAL:
            return str(state.lie)
        return "longitudinal, back behind" if state.back in (3, 4, 5) else "longitudinal"

    return np.array([rows[given(state)] for state in states()])


def _kick_table() -> FloatArray:
    heights = {line.given: line.shares for line in tables.KICK_HEIGHT}
    sides = {line.given: line.shares for line in tables.KICK_SIDE}

    def of(state: State) -> FloatArray:
        if state.lie is not Lie.LONGITUDINAL:
            height, given = heights["across"], "head to the left"
            right = state.position.value.startswith("right")
        else:
            low = "head low" if state.lower_pole is Pole.HEAD else state.presentation.value
            height = heights[low]
            back = _back_class(state)
            right = back > 4
            given = DIRECTIONS[8 - back if right else back]
        side = sides[given]
        shares = {}
        for kick in KICKS:
            up, _, across = kick.partition(" ")
            across = across or "middle"
            shares[kick] = height[up] * side[mirrored_word(across) if right else across]
        shares = {k: v * (1 - tables.KICKS_NOT_NOTICED) for k, v in shares.items()}
        return _row("movement", shares | {"not noticed": tables.KICKS_NOT_NOTICED})

    return np.array([of(state) for state in states()])


def _part_table() -> FloatArray:
    rows = {line.given: line.shares for line in tables.PART}

    def of(state: State) -> FloatArray:
        if state.lie is Lie.LONGITUDINAL:
            given, missed = state.presentation.value, tables.NOTHING_REACHED[str(state.descent)]
        else:
            given = "oblique" if state.lie is Lie.OBLIQUE else "across"
            missed = tables.NOTHING_REACHED["across"]
        felt = {word: share * (1 - missed) for word, share in rows[given].items()}
        return _row("part", felt | {"nothing reached": missed})

    return np.array([of(state) for state in states()])


def _station_table() -> FloatArray:
    rows = {line.given: _row("station", line.shares) for line in tables.STATION}
    return np.array([rows[str(state.descent)] for state in states()])


def _reached(state: State, item: str) -> float:
    """Share of examinations in which a landmark is met, in a state."""
    if state.presentation in (Presentation.VERTEX, Presentation.BROW):
        by_attitude = {
            "posterior-fontanelle": tables.POSTERIOR_FONTANELLE_REACHED,
            "anterior-fontanelle": tables.ANTERIOR_FONTANELLE_REACHED,
            "suture": tables.SUTURE_REACHED,
        }.get(item)
        return by_attitude[state.attitude.value] if by_attitude else tables.FALSELY_REACHED
    if item == "chin" and state.presentation is Presentation.FACE:
        return tables.CHIN_REACHED
    breech = state.lie is Lie.LONGITUDINAL and not state.cephalic
    if item == "sacrum" and breech:
        return tables.SACRUM_REACHED
    return tables.FALSELY_REACHED


def _turned(item: str, state: State) -> int:
    """By how many eighths the landmark looks away from the denominator."""
    if state.presentation is Presentation.BROW:
        # The frontum is the denominator: the large fontanelle lies beside it.
        return 4 if item == "posterior-fontanelle" else 0
    return 4 if item == "anterior-fontanelle" else 0


def _landmark(item: str) -> FloatArray:
    """Shares of the answers by felt direction of the denominator, (states, 8, outcomes)."""
    outcomes = items()[item].outcomes
    floor = tables.FLOOR
    table = np.full((len(states()), 8, len(outcomes)), floor)
    for i, state in enumerate(states()):
        reached = _reached(state, item)
        table[i, :, -1] += 1 - reached
        for felt in range(8):
            if item == "suture":
                table[i, felt, felt % 4] += reached
            else:
                table[i, felt, (felt + _turned(item, state)) % 8] += reached
    return table / (1 + floor * len(outcomes))


def _vaginal_domain(skill: Skill) -> Domain:
    confusion = direction_confusion(skill.vaginal)
    places = _truths(lambda s: POSITIONS.index(s.position))
    names = ("posterior-fontanelle", "anterior-fontanelle", "suture", "chin", "sacrum")
    return Domain("landmarks", confusion[places], {name: _landmark(name) for name in names})


ASTRAY_PER_LAPSE = 1.5
"""Hearts heard best elsewhere than the state says, for each lapse of the examiner (ours)."""


def heart_astray(skill: Skill) -> float:
    """Share of hearts that an examiner hears best elsewhere than the state says, 0..1."""
    return ASTRAY_PER_LAPSE * skill.lapse


def _heart_table(abdomen: Abdomen, astray: float) -> FloatArray:
    zones = heart_zone_shares(abdomen, tables.LISTENING_SPREAD_CM, astray)
    zones = zones + tables.FLOOR
    zones = zones / zones.sum(axis=1, keepdims=True)
    missed = tables.HEART_NOT_HEARD_SHARE
    return np.hstack([(1 - missed) * zones, np.full((len(zones), 1), missed)])


def _scan_table() -> FloatArray:
    rows = {line.given: _row("scan", line.shares) for line in tables.SCAN}

    def given(state: State) -> str:
        if state.lie is Lie.OBLIQUE:
            return "oblique"
        if state.lie is Lie.TRANSVERSE:
            return "across"
        return "head" if state.cephalic else "breech"

    return np.array([rows[given(state)] for state in states()])


def _scan_back_table() -> FloatArray:
    confusion = direction_confusion(tables.SCAN_BACK_EXACT)
    floor = tables.FLOOR
    table = np.full((len(states()), 9), floor)
    for i, state in enumerate(states()):
        back = state.back
        if back is None:
            table[i, 8] += 1
        else:
            table[i, :8] += confusion[back]
    return np.asarray(table / table.sum(axis=1, keepdims=True), dtype=np.float64)


@cache
def _steady_tables() -> dict[str, FloatArray]:
    """Tables that depend on neither examiner nor abdomen."""
    return {
        "shape": _shape_table(),
        "movement": _kick_table(),
        "part": _part_table(),
        "station": _station_table(),
        "scan": _scan_table(),
        "scan-back": _scan_back_table(),
    }


@lru_cache(maxsize=32)
def _of_the_hands(skill: Skill) -> tuple[Domain, ...]:
    """All domains that do not depend on the abdomen's measures."""
    steady = _steady_tables()
    lapse = skill.lapse
    return (
        _direct("shape", steady["shape"], 1.5 * lapse),
        _pole_domain(skill),
        _side_domain(skill),
        _descent_domain(skill),
        _direct("movement", steady["movement"], 1.5 * lapse),
        _direct("part", steady["part"], 0.0),
        _vaginal_domain(skill),
        _direct("station", steady["station"], lapse),
        _direct("scan", steady["scan"], 0.0),
        _direct("scan-back", steady["scan-back"], 0.02),
    )


@lru_cache(maxsize=256)
def _of_the_heart(abdomen: Abdomen, astray: float) -> Domain:
    return _direct("heart", _heart_table(abdomen, astray), 0.0)


def domains_for(context: ExamContext) -> tuple[Domain, ...]:
    """All domains for an examiner and an abdomen, in a fixed order."""
    skill = skill_for(context)
    return (*_of_the_hands(skill), _of_the_heart(abdomen_for(context), heart_astray(skill)))
