"""Which way the fontanelles point: what tells the position of a head from within.

Handbook anatomy of the fetal head (Williams Obstetrics, normal labor): in a vertex the small
fontanelle lies at the occiput, the denominator, and the large one opposite; in a brow the
denominator is the frontum, beside the large fontanelle.
"""

from __future__ import annotations

import pytest

from ebbline.bedside import examine

ROUND = (
    "front", "left front", "left", "left rear", "rear", "right rear", "right", "right front",
)  # fmt: skip
POSITION = dict(
    zip(
        ROUND,
        (
            "anterior",
            "left anterior",
            "left transverse",
            "left posterior",
            "posterior",
            "right posterior",
            "right transverse",
            "right anterior",
        ),
        strict=True,
    )
)


def likeliest(presentation: str, **found: str) -> str:
    answers = {name.replace("_", "-"): answer for name, answer in found.items()}
    result = examine(answers)
    within = [one for one in result.positions if one.presentation == presentation]
    return max(within, key=lambda one: one.probability).position


@pytest.mark.parametrize("felt", ROUND)
def test_in_a_brow_the_large_fontanelle_lies_at_the_denominator(felt: str) -> None:
    found = likeliest("brow", part="brow", anterior_fontanelle=felt)
    assert found == POSITION[felt]


@pytest.mark.parametrize("felt", ROUND)
def test_in_a_brow_the_small_fontanelle_lies_opposite(felt: str) -> None:
    """Seldom within reach there; where it is, it points to the occiput."""
    found = likeliest("brow", part="brow", posterior_fontanelle=felt)
    assert found == POSITION[ROUND[(ROUND.index(felt) + 4) % 8]]


@pytest.mark.parametrize("felt", ROUND)
def test_in_a_vertex_the_small_fontanelle_lies_at_the_denominator(felt: str) -> None:
    found = likeliest("vertex", part="head", posterior_fontanelle=felt)
    assert found == POSITION[felt]


@pytest.mark.parametrize("felt", ROUND)
def test_in_a_vertex_the_large_fontanelle_lies_opposite(felt: str) -> None:
    found = likeliest("vertex", part="head", anterior_fontanelle=felt)
    assert found == POSITION[ROUND[(ROUND.index(felt) + 4) % 8]]
