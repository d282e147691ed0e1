"""Marks find their lanes whatever comes."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ebbline.picture.canvas import Page
from ebbline.picture.fonts import overlap, text_box
from ebbline.picture.lanes import Mark, Placed, lane_count, place, shapes
from ebbline.picture.paper import Panel
from picture.look_over import texts

PANEL = Panel(1.0, 5.0, 8.0, 600.0, 1200.0, 1 / 60, 50, 210)
NAMES = ("late deceleration −30 bpm, 60 s", "late −30 bpm", "late", "L")


def mark(start_s: float, end_s: float, names: tuple[str, ...] = NAMES) -> Mark:
    return Mark(start_s, end_s, names, "#000000", "a late deceleration")


marks = st.lists(
    st.tuples(st.floats(500, 1300), st.floats(0, 120)).map(lambda at: mark(at[0], at[0] + at[1])),
    max_size=30,
)


@settings(deadline=None, max_examples=150)
@given(marks, st.integers(1, 3))
def test_every_mark_of_the_window_is_placed_and_none_lies_on_another(
    some: list[Mark], lanes: int
) -> None:
    placed = place(some, PANEL, lanes)
    seen = [one for one in some if one.start_s < PANEL.end_s and one.end_s >= PANEL.start_s]
    assert sorted(id(one.mark) for one in placed) == sorted(map(id, seen))
    page = Page(20, 30, tuple(shapes(placed, PANEL, PANEL.bottom, above=False)))
    boxes = [text_box(text) for text in texts(page)]
    assert not any(overlap(one, other) for one, other in itertools.combinations(boxes, 2))
    for one, other in itertools.combinations(placed, 2):
        if one.lane == other.lane:
            assert one.x1 <= other.x0 + 1e-9 or other.x1 <= one.x0 + 1e-9


def only(placed: tuple[Placed, ...]) -> Placed:
    (one,) = placed
    return one


def test_a_mark_with_room_has_its_full_name() -> None:
    assert only(place([mark(800, 860)], PANEL, 1)).name == NAMES[0]


def test_names_are_shortened_before_a_lane_is_opened() -> None:
    placed = place([mark(700, 730), mark(735, 770), mark(775, 800)], PANEL, 1)
    assert lane_count(placed) == 1
    assert NAMES[0] not in {one.name for one in placed}


def test_equal_names_one_after_the_other_do_no_harm() -> None:
    twice = ("contraction 1: 60 s", "contraction 1: 60 s", "1")
    placed = place([mark(700 + 20 * i, 715 + 20 * i, twice) for i in range(5)], PANEL, 1)
    assert {one.name for one in placed} == {"1"}


def test_only_neighbours_are_shortened() -> None:
    placed = place([mark(640, 660), mark(665, 680), mark(1000, 1040)], PANEL, 1)
    assert placed[-1].name == NAMES[0]


def test_marks_at_the_same_time_open_lanes() -> None:
    placed = place([mark(700, 800), mark(710, 790), mark(720, 780)], PANEL, 1)
    assert lane_count(placed) == 3


@pytest.mark.parametrize(("start_s", "end_s"), [(590, 610), (1190, 1210)])
def test_names_stay_on_the_paper_at_its_edges(start_s: float, end_s: float) -> None:
    one = only(place([mark(start_s, end_s)], PANEL, 1))
    (text,) = texts(Page(20, 30, tuple(shapes([one], PANEL, PANEL.top, above=True))))
    left, _, right, _ = text_box(text)
    assert PANEL.left - 1e-6 <= left
    assert right <= PANEL.right + 1e-6
