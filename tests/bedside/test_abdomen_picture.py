"""The drawn abdomen: where things lie on the page, in all formats and in greyscale."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pytest

from ebbline.bedside import ExamContext, Examiner, examine, examine_twins
from ebbline.bedside.geometry import abdomen_for
from ebbline.bedside.state_groups import likeliest_states
from ebbline.bedside.states import states
from ebbline.picture.abdomen import (
    MAP_TINTS,
    PAGE_WIDTH,
    Place,
    draw_abdomen,
    draw_plate,
    figure_page,
)
from ebbline.picture.abdomen_body import FETUS_LINE, GHOST
from ebbline.picture.canvas import Circle, Group, Polygon, Rect, Shape, Text, contrast
from ebbline.picture.contours import loops
from ebbline.picture.files import write
from ebbline.terms import Stage

CONTEXT = ExamContext(weeks=39, stage=Stage.FIRST, examiner=Examiner.EXPERIENCED)
FOUND = {
    "fundus": "breech",
    "back": "left",
    "limbs": "right",
    "brim": "head",
    "fifths": "4",
    "prominence": "right",
    "movement": "upper right",
    "heart": "left below",
}


def flat(shapes: tuple[Shape, ...]) -> Iterator[Shape]:
    for shape in shapes:
        if isinstance(shape, Group):
            yield from flat(shape.shapes)
        else:
            yield shape


def drawn(*results) -> list[Shape]:
    (page,) = draw_abdomen(results).pages
    return list(flat(page.shapes))


def label(shapes: list[Shape], text: str) -> Text:
    return next(s for s in shapes if isinstance(s, Text) and s.text == text)


def test_her_left_is_on_the_pictures_right():
    shapes = drawn(examine(FOUND, CONTEXT))
    assert label(shapes, "HER LEFT").x > PAGE_WIDTH / 2 > label(shapes, "HER RIGHT").x
    assert label(shapes, "1").x > PAGE_WIDTH / 2
    assert label(shapes, "back: left").x > PAGE_WIDTH / 2 > label(shapes, "limbs").x


def test_a_mirrored_examination_is_drawn_mirrored():
    swap = {"left": "right", "right": "left"}
    other = {k: " ".join(swap.get(w, w) for w in v.split()) for k, v in FOUND.items()}
    here = label(drawn(examine(FOUND, CONTEXT)), "1")
    there = label(drawn(examine(other, CONTEXT)), "1")
    assert here.x - PAGE_WIDTH / 2 == pytest.approx(PAGE_WIDTH / 2 - there.x)
    assert here.y == pytest.approx(there.y)


def test_what_was_found_and_only_that_is_drawn():
    shapes = drawn(examine({"fundus": "breech"}, CONTEXT))
    texts = {s.text for s in shapes if isinstance(s, Text)}
    assert "fundus: breech" in texts
    assert not any(t.startswith(("back:", "limbs", "brim:", "kicks", "heard")) for t in texts)


@pytest.mark.parametrize(
    ("item", "answer", "said"),
    [
        ("back", "not felt", "back not felt"),
        ("back", "across", "back across"),
        ("limbs", "not felt", "limbs not felt"),
        ("prominence", "not felt", "prominence not felt"),
        ("poles", "head left fossa", "head in the fossa"),
        ("brim", "nothing", "brim: nothing"),
    ],
)
def test_what_was_felt_for_in_vain_is_said_on_the_picture(item, answer, said):
    assert label(drawn(examine({item: answer}, CONTEXT)), said)


def test_cautions_stand_above_the_drawing():
    context = ExamContext(weeks=39, stage=Stage.FIRST, bleeding=True)
    shapes = drawn(examine(FOUND, context))
    caution = next(s for s in shapes if isinstance(s, Text) and s.text.startswith("NOW: Bleeding"))
    assert caution.y < label(shapes, "fundus: breech").y


def test_every_word_stays_on_the_page():
    from ebbline.picture.fonts import text_box

    for found in (FOUND, {"poles": "head right flank", "back": "across", "heart": "midline level"}):
        (page,) = draw_abdomen([examine(found, CONTEXT)]).pages
        for shape in flat(page.shapes):
            if isinstance(shape, Text):
                left, top, right, bottom = text_box(shape)
                assert left >= 0, shape.text
                assert top >= 0, shape.text
                assert right <= page.width, shape.text
                assert bottom <= page.height, shape.text


def test_plates_do_not_lie_on_each_other():
    shapes = drawn(examine(FOUND, CONTEXT))
    plates = [s for s in shapes if isinstance(s, Rect) and s.radius == 0.06]
    assert len(plates) >= 6
    for i, a in enumerate(plates):
        for b in plates[i + 1 :]:
            apart = (
                a.x + a.width <= b.x
                or b.x + b.width <= a.x
                or a.y + a.height <= b.y + 0.02
                or b.y + b.height <= a.y + 0.02
            )
            assert apart


def fetus_outlines(result) -> list[np.ndarray]:
    return [s.points for s in drawn(result) if isinstance(s, Polygon) and s.stroke == FETUS_LINE]


def test_the_likeliest_fetus_is_drawn_in_its_place():
    """A head first fetus has its head low, a breech its head high; nothing before a finding."""
    head_low = examine({"fundus": "breech", "brim": "head", "back": "left"}, CONTEXT)
    breech = examine({"scan": "breech", "back": "left"}, CONTEXT)
    assert len(fetus_outlines(head_low)) >= 6
    assert fetus_outlines(examine({}, CONTEXT)) == []
    for result, low in ((head_low, True), (breech, False)):
        from ebbline.picture.fetus import placed

        (state, _), *_ = likeliest_states(result.posterior)
        figure = placed(state, -18, 18)
        assert (figure.head[1] < figure.breech[1]) is low


def test_a_fetus_is_drawn_on_the_side_of_its_back():
    from ebbline.picture.fetus import placed

    for state in states():
        if state.back in (1, 2, 3, 5, 6, 7):
            figure = placed(state, -18, 18)
            middle = (figure.head[0] + figure.breech[0]) / 2
            towards = 1 if state.back < 4 else -1
            assert (figure.back[len(figure.back) // 2, 0] - middle) * towards > 0, state.name


def test_the_lower_the_fifths_the_lower_the_head_is_drawn():
    from ebbline.picture.fetus import placed

    heights = [
        placed(s, -18, 18).head[1]
        for s in states()
        if s.name == "vertex LOA" and s.attitude.value == "flexed"
    ]
    assert heights == sorted(heights, reverse=True)


def test_a_second_likely_way_is_a_ghost():
    result = examine({"back": "left"}, CONTEXT)
    ghosts = [s for s in drawn(result) if isinstance(s, Polygon) and s.stroke == GHOST]
    assert len(ghosts) == 2


def test_page_and_print_show_one_figure_with_one_set_of_marks():
    result = examine(FOUND, CONTEXT)
    on_page = [type(s) for s in flat(figure_page([result]).shapes)]
    (sheet,) = draw_abdomen([result]).pages
    in_print = [g for g in sheet.shapes if isinstance(g, Group) and g.name == "abdomen"]
    assert on_page == [type(s) for s in flat(in_print[0].shapes)]


def test_a_teachers_plate_has_names_and_no_number():
    for state in states()[:: len(states()) // 12]:
        (page,) = draw_plate(state, abdomen_for(CONTEXT)).pages
        words = [s.text for s in flat(page.shapes) if isinstance(s, Text)]
        assert {"head", "breech", "fundus"} <= set(words)
        assert ("back, behind" in words) is not ("back" in words)
        assert not any(c.isdigit() for w in words for c in w)


def test_an_emergency_is_alone_on_the_sheet():
    (page,) = draw_abdomen([examine({**FOUND, "part": "cord"}, CONTEXT)]).pages
    words = " ".join(s.text for s in flat(page.shapes) if isinstance(s, Text))
    assert "Cord felt" in words
    assert "Position" not in words
    assert not any(isinstance(s, Polygon) for s in flat(page.shapes))


def test_a_wide_trunk_moves_nothing_inside_and_keeps_the_words_on_the_page():
    narrow, wide = (
        examine(FOUND, ExamContext(weeks=39, girth_cm=girth)) for girth in (90.0, 150.0)
    )
    assert narrow.sensors.best.point == wide.sensors.best.point
    assert figure_page([wide]).width == figure_page([narrow]).width


def test_the_steps_of_the_map_stay_apart_in_greyscale():
    """WCAG 2.2 contrast between neighbours, and of the darkest to the ink on it."""
    ladder = ["#ffffff", *MAP_TINTS]
    for lighter, darker in pairwise(ladder):
        assert contrast(lighter, darker) > 1.15
    assert contrast(MAP_TINTS[-1], "#14202e") > 4.5


def test_both_twins_are_drawn_with_their_own_marks():
    result = examine_twins({"heart": "left below"}, {"heart": "right above"}, CONTEXT)
    shapes = drawn(result.first, result.second)
    a, b = label(shapes, "A"), label(shapes, "B")
    assert a.x > PAGE_WIDTH / 2 > b.x
    assert a.y > b.y


def test_places_across_are_drawn_as_seen_from_the_front():
    place = Place(10.0, 10.0, 100 / (2 * math.pi), 1.0)
    near = place.at(3, 0)[0] - 10
    far = place.at(20, 0)[0] - place.at(17, 0)[0]
    assert near == pytest.approx(3, rel=0.02)
    assert far < near / 2
    assert place.at(-3, 0)[0] - 10 == pytest.approx(-near)
    assert place.at(0, 4) == (10.0, 6.0)


def test_the_picture_is_written_as_svg_pdf_and_png(tmp_path):
    document = draw_abdomen([examine(FOUND, CONTEXT)])
    for suffix, magic in ((".svg", b"<svg"), (".pdf", b"%PDF"), (".png", b"\x89PNG")):
        (path,) = write(document, tmp_path / f"abdomen{suffix}")
        assert path.read_bytes().startswith(magic)


def test_the_svg_tells_whoever_cannot_see_it_where_the_sensor_goes(tmp_path):
    (path,) = write(draw_abdomen([examine(FOUND, CONTEXT)]), tmp_path / "a.svg")
    assert "heart-rate sensor" in path.read_text()


def area(loop: np.ndarray) -> float:
    x, y = loop.T
    return float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2


def test_a_level_line_of_a_round_hill_is_its_circle():
    axis = np.linspace(-2, 2, 81)
    height = 4 - axis[None, :] ** 2 - axis[:, None] ** 2
    (loop,) = loops(axis, axis, height, 3.0)
    assert np.allclose(np.hypot(*loop.T), 1.0, atol=0.01)
    assert abs(area(loop)) == pytest.approx(math.pi, rel=0.01)


def test_two_hills_give_two_loops_and_a_hill_at_the_edge_closes():
    axis = np.linspace(0, 10, 51)
    row = np.exp(-((axis - 2) ** 2)) + np.exp(-((axis - 8) ** 2))
    assert len(loops(axis, axis, np.outer(np.exp(-((axis - 5) ** 2)), row), 0.5)) == 2
    edge = np.outer(np.exp(-(axis**2)), np.exp(-(axis**2)))
    (loop,) = loops(axis, axis, edge, 0.5)
    assert len(loop) > 4


def test_the_map_is_drawn_in_its_three_steps():
    shapes = drawn(examine(FOUND, CONTEXT))
    tints = [s.fill for s in shapes if isinstance(s, Polygon) and s.fill in MAP_TINTS]
    assert list(dict.fromkeys(tints)) == list(MAP_TINTS)
    assert any(isinstance(s, Circle) for s in shapes)
