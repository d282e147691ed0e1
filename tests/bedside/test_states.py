"""The ways a fetus can lie: only combinations that exist."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from ebbline.bedside import State, states
from ebbline.bedside.states import Pole, mirror_order, mirrored
from ebbline.terms import Attitude, Lie, Position, Presentation


def test_every_longitudinal_presentation_has_eight_positions_and_the_shoulder_four():
    places: dict[tuple[Lie, Presentation], set[Position]] = {}
    for state in states():
        places.setdefault((state.lie, state.presentation), set()).add(state.position)
    counts = {key: len(found) for key, found in places.items()}
    assert counts == {
        **{(Lie.LONGITUDINAL, p): 8 for p in Presentation if p is not Presentation.SHOULDER},
        (Lie.TRANSVERSE, Presentation.SHOULDER): 4,
        (Lie.OBLIQUE, Presentation.SHOULDER): 4,
    }


def test_no_state_stands_twice():
    assert max(Counter(states()).values()) == 1


def test_a_face_is_extended_a_brow_half_so_and_a_vertex_is_neither():
    attitudes: dict[Presentation, set[Attitude]] = {}
    for state in states():
        attitudes.setdefault(state.presentation, set()).add(state.attitude)
    assert attitudes[Presentation.FACE] == {Attitude.EXTENDED}
    assert attitudes[Presentation.BROW] == {Attitude.PARTLY_EXTENDED}
    assert attitudes[Presentation.VERTEX] == {Attitude.FLEXED, Attitude.MILITARY}


def test_nothing_engages_in_a_transverse_or_oblique_lie():
    across = [s for s in states() if s.lie is not Lie.LONGITUDINAL]
    assert across
    assert not any(s.engaged for s in across)


def test_a_head_with_two_fifths_above_the_brim_is_engaged_and_with_three_is_not():
    vertex = {s.descent: s.engaged for s in states() if s.presentation is Presentation.VERTEX}
    assert vertex == {5: False, 4: False, 3: False, 2: True, 1: True, 0: True}


@pytest.mark.parametrize(
    ("presentation", "position", "letters"),
    [
        (Presentation.VERTEX, Position.LEFT_ANTERIOR, "LOA"),
        (Presentation.VERTEX, Position.POSTERIOR, "OP"),
        (Presentation.FRANK_BREECH, Position.RIGHT_POSTERIOR, "RSP"),
        (Presentation.FACE, Position.LEFT_TRANSVERSE, "LMT"),
        (Presentation.BROW, Position.RIGHT_ANTERIOR, "RFrA"),
        (Presentation.SHOULDER, Position.LEFT_ANTERIOR, "LScA"),
    ],
)
def test_positions_carry_the_letters_of_the_trade(presentation, position, letters):
    found = {
        s.abbreviation for s in states() if (s.presentation, s.position) == (presentation, position)
    }
    assert found == {letters}


def test_in_a_face_the_back_looks_away_from_the_chin():
    lma = next(s for s in states() if s.abbreviation == "LMA")
    rop = next(s for s in states() if s.abbreviation == "ROP")
    assert lma.back == rop.back


def test_mirroring_twice_gives_the_state_back():
    assert all(mirrored(mirrored(s)) == s for s in states())
    order = mirror_order()
    assert np.array_equal(order[order], np.arange(len(states())))


def test_the_lower_pole_of_a_head_first_fetus_is_its_head():
    def poles(of: Presentation) -> set[Pole]:
        return {s.lower_pole for s in states() if s.presentation is of}

    assert poles(Presentation.FACE) == {Pole.HEAD}
    assert poles(Presentation.FOOTLING_BREECH) == {Pole.BREECH}
    assert isinstance(states()[0], State)
