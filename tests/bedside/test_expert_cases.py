"""Twenty examinations an expert would know, each with what a handbook says it is.

Findings after the common ground of handbooks on the grips (Williams Obstetrics, chapter on the
fetus at term; Oxorn-Foote, Human Labor and Birth, chapters on the positions; Myles Textbook for
Midwives, abdominal examination; all from memory). Hands are ordinary unless said: what is asked is
what an honest reader of such hands should say.
"""

from __future__ import annotations

import pytest

from ebbline.bedside import (
    ExamContext,
    Examiner,
    ExamResult,
    Fluid,
    Membranes,
    Placenta,
    examine,
    examine_twins,
)
from ebbline.terms import Stage

EARLY = {"weeks": 39.0, "stage": Stage.FIRST}
SECOND = {"weeks": 39.0, "stage": Stage.SECOND}
HEAD_LOW = {"fundus": "breech", "brim": "head", "poles": "none"}


def case(found: dict[str, str], **known) -> ExamResult:
    return examine(found, ExamContext(**(EARLY | known)))


def test_left_occiput_anterior():
    """Back to the left front, limbs right, prominence right, heart left below the umbilicus."""
    result = case(
        HEAD_LOW
        | {
            "back": "left front",
            "limbs": "right",
            "prominence": "right",
            "fifths": "3",
            "mobility": "dipping",
            "heart": "left below",
        }
    )
    assert result.positions[0].abbreviation == "LOA"
    assert result.position_told.side == "left"
    assert result.position_told.letters[0] == "LOA"
    assert "hands cannot tell" in result.position_told.words
    assert result.sensors.best.zone == "left below"
    assert result.contradictions == ()
    assert not result.scan.advised


def test_every_further_textbook_finding_of_loa_keeps_it_in_front_of_lot():
    found: dict[str, str] = {}
    for item, answer in {
        "back": "left front",
        "limbs": "right",
        "prominence": "right",
        "heart": "left below",
        "movement": "upper right",
    }.items():
        found[item] = answer
        chance = {p.abbreviation: p.probability for p in case(HEAD_LOW | found).positions}
        assert chance["LOA"] >= chance["LOT"]


def test_right_occiput_posterior():
    """A dip at the umbilicus, limbs on both sides in front, the heart out in the right flank."""
    result = case(
        HEAD_LOW
        | {
            "shape": "dip at the umbilicus",
            "back": "right far",
            "limbs": "both sides",
            "heart": "right flank below",
            "fifths": "4",
            "mobility": "mobile",
        }
    )
    assert result.positions[0].abbreviation == "ROP"
    assert result.sensors.best.zone == "right flank below"
    assert result.contradictions == ()


def test_right_occiput_transverse():
    result = case(
        HEAD_LOW
        | {"back": "right flank", "limbs": "left", "prominence": "left", "heart": "right below"}
    )
    assert result.position_told.side == "right"
    assert "ROT" in result.position_told.letters


def test_occiput_posterior():
    """No back to be felt, limbs everywhere in front, both alike at the inlet."""
    result = case(
        HEAD_LOW | {"back": "not felt", "limbs": "both sides", "prominence": "both alike"},
        examiner=Examiner.EXPERIENCED,
    )
    back = {c.word: c.probability for c in result.back}
    behind = sum(back[w] for w in ("left rear", "rear", "right rear"))
    assert behind > 0.5


def test_occiput_anterior_deep_in_the_pelvis():
    """Second stage: nothing above the brim, the heart low in the midline."""
    result = case(
        {"fundus": "breech", "brim": "nothing", "fifths": "0", "heart": "midline below"}, **SECOND
    )
    assert result.presentation[0].word == "vertex"
    assert result.engaged > 0.9
    assert result.contradictions == ()
    assert not result.scan.advised


def test_frank_breech():
    """Head in the fundus, a soft part at the brim, the heart above the umbilicus."""
    result = case(
        {
            "fundus": "head",
            "brim": "breech",
            "poles": "none",
            "back": "right front",
            "limbs": "left",
            "heart": "right above",
            "prominence": "not felt",
        }
    )
    assert result.presentation[0].word == "frank breech"
    assert result.sensors.best.zone == "right above"
    assert result.scan.advised
    assert any(c.id == "breech in labour" for c in result.cautions)


def test_footling_breech_by_the_finger():
    result = case({"fundus": "head", "part": "foot"}, placenta=Placenta.NOT_LOW, bleeding=False)
    assert result.presentation[0].word == "footling breech"
    assert result.presentation[0].probability > 0.9


def test_transverse_lie_head_left():
    result = case(
        {
            "shape": "broad",
            "fundus": "nothing",
            "brim": "nothing",
            "poles": "head left flank",
            "back": "across",
            "heart": "midline level",
        },
        stage=Stage.ANTEPARTUM,
    )
    assert result.lie[0].word == "transverse"
    assert "head to the left" in result.positions[0].name
    assert result.contradictions == ()
    assert result.scan.advised


def test_transverse_lie_in_labour_asks_for_the_team_and_the_placenta():
    result = case(
        {"shape": "broad", "fundus": "nothing", "brim": "nothing", "poles": "head right flank"}
    )
    first = result.cautions[0]
    assert first.now
    assert "placenta" in first.text


def test_oblique_lie_head_in_the_left_fossa():
    result = case(
        {"shape": "slanting", "fundus": "nothing", "brim": "nothing", "poles": "head left fossa"},
        stage=Stage.ANTEPARTUM,
    )
    assert result.lie[0].word == "oblique"
    assert result.contradictions == ()


def test_face_with_all_its_findings():
    """Prominence on the side of the back, the heart through the chest on the limbs' side, and the
    finger on a chin."""
    grips = HEAD_LOW | {
        "back": "left flank",
        "limbs": "right",
        "prominence": "left",
        "heart": "right below",
        "fifths": "4",
        "mobility": "mobile",
    }
    result = case(grips, examiner=Examiner.EXPERIENCED)
    assert result.contradictions == ()
    assert any(c.id == "face or brow" for c in result.cautions)
    felt = case(grips | {"part": "face", "chin": "right"}, examiner=Examiner.EXPERIENCED)
    assert felt.presentation[0].word == "face"
    assert felt.presentation[0].probability > 0.95
    assert felt.contradictions == ()


def test_face_by_the_finger_alone():
    result = case({"part": "face"})
    assert result.presentation[0].word == "face"
    assert result.presentation[0].probability > 0.75


def test_breech_on_the_scan_is_a_breech():
    result = case({"scan": "breech"})
    assert result.noncephalic > 0.98
    assert not result.scan.advised


def test_a_scan_overrules_the_hands_and_is_not_called_a_contradiction():
    result = case({"fundus": "head", "scan": "head"})
    assert result.presentation[0].word == "vertex"
    assert result.presentation[0].probability > 0.97
    assert result.contradictions == ()


def test_military_attitude():
    result = case(
        HEAD_LOW | {"back": "left front", "prominence": "both alike"}, examiner=Examiner.TEXTBOOK
    )
    assert result.attitude[0].word == "military"


def test_the_sensor_goes_where_the_heart_was_heard():
    """Heard to the left above the umbilicus, the sensor goes there, whatever is likelier else."""
    result = case({"heart": "left above"}, stage=Stage.ANTEPARTUM)
    assert result.sensors.best.zone == "left above"


@pytest.mark.parametrize("girth", [90.0, 100.0, 140.0])
def test_girth_does_not_move_the_fetus(girth):
    result = case(HEAD_LOW | {"back": "left", "heart": "left below"}, girth_cm=girth)
    plain = case(HEAD_LOW | {"back": "left", "heart": "left below"})
    assert result.sensors.best.point == plain.sensors.best.point


def test_not_felt_twice_contradicts_nothing():
    result = case(HEAD_LOW | {"back": "not felt", "limbs": "not felt"})
    assert result.contradictions == ()
    assert result.presentation[0].word == "vertex"


def test_head_high_with_much_fluid():
    result = case(HEAD_LOW | {"fifths": "5", "mobility": "mobile"}, fluid=Fluid.MUCH)
    assert any(c.id == "much fluid, high part" for c in result.cautions)


@pytest.mark.parametrize(
    ("found", "known", "words", "not_words"),
    [
        (
            {"part": "cord"},
            {"membranes": Membranes.RUPTURED},
            "membranes gone",
            "leave the membranes",
        ),
        ({"part": "cord"}, {"membranes": Membranes.INTACT}, "leave the membranes", "off the cord"),
        (
            {"brim": "head"},
            {"bleeding": True, "placenta": Placenta.PRAEVIA},
            "Bleeding with placenta praevia",
            "until a scan",
        ),
        ({"heart": "not heard"}, {}, "not heard", "grip"),
    ],
)
def test_an_emergency_stands_alone_and_is_worded_for_what_is_so(found, known, words, not_words):
    result = case(found, **known)
    (alone,) = result.alone
    assert words in alone.text
    assert not_words not in alone.text
    assert result.next_steps == ()
    assert not result.scan.advised


def test_a_footling_breech_with_ruptured_membranes_is_not_warned_of_the_rupture_to_come():
    result = case({"part": "foot"}, membranes=Membranes.RUPTURED)
    (text,) = [c.text for c in result.cautions if c.id == "footling breech"]
    assert "when the membranes rupture" not in text


def test_twins_have_two_sites_apart():
    both = examine_twins(
        {"brim": "head", "back": "left", "heart": "left below"},
        {"fundus": "head", "back": "right", "heart": "right above"},
        ExamContext(weeks=37),
    )
    assert both.first.presentation[0].word == "vertex"
    assert both.second.presentation[0].word.endswith("breech")
    assert both.apart_cm >= 8


@pytest.mark.parametrize(
    ("x_cm", "y_cm", "zone"),
    [
        (13.0, -6.0, "left flank below"),
        (-13.0, -6.0, "right flank below"),
        (7.0, -6.0, "left below"),
        (0.0, 0.0, "midline level"),
        (-7.0, 9.0, "right above"),
    ],
)
def test_one_geometry_names_the_place_of_a_touch(x_cm, y_cm, zone):
    from ebbline.bedside.geometry import Point, abdomen_for, heart_zone, zone_centre

    for girth in (90.0, 140.0):
        abdomen = abdomen_for(ExamContext(girth_cm=girth))
        assert heart_zone(Point(x_cm, y_cm), abdomen) == zone
        assert heart_zone(zone_centre(zone, abdomen), abdomen) == zone


def test_an_emergency_of_one_twin_is_alone_for_both():
    from ebbline.bedside.wording import say_twins

    both = examine_twins(
        {"brim": "head", "part": "cord"}, {"fundus": "head"}, ExamContext(weeks=37)
    )
    told = say_twins(both)
    assert "Cord felt" in told
    assert "OTHER TWIN" not in told
    assert "apart" not in told


@pytest.mark.parametrize("towards", ["left", "right", "left rear"])
def test_in_a_brow_the_small_fontanelle_points_away_from_the_forehead(towards):
    """The large fontanelle lies by the frontum, the small one opposite (anatomy)."""
    away = {"left": "right", "right": "left", "left rear": "right front"}[towards]
    letters = {"left": "LFrT", "right": "RFrT", "left rear": "LFrP"}[towards]
    result = case({"part": "brow", "posterior-fontanelle": away}, examiner=Examiner.TEXTBOOK)
    brow = [p for p in result.positions if p.presentation == "brow"]
    assert brow[0].abbreviation == letters
    result = case({"part": "brow", "anterior-fontanelle": towards}, examiner=Examiner.TEXTBOOK)
    brow = [p for p in result.positions if p.presentation == "brow"]
    assert brow[0].abbreviation == letters


def test_the_contraction_sensor_lies_five_centimetres_below_the_top_of_the_fundus():
    """0.14 of a fundal height of 36 cm, in whole centimetres (ours)."""
    result = case({"back": "left"}, fundal_height_cm=36.0)
    abdomen = result.sensors.abdomen
    assert result.sensors.contraction.point.y_cm == abdomen.fundus_y_cm - 5


def test_a_head_low_in_an_oblique_lie_can_be_met_at_the_brim():
    """A quarter of such grips meet it (ours): what lies across has not gone into the pelvis."""
    from ebbline.bedside.engine import predictive
    from ebbline.bedside.findings_catalogue import items
    from ebbline.bedside.states import states

    said = predictive("brim", [], ExamContext(weeks=39, examiner=Examiner.TEXTBOOK))
    head = items()["brim"].outcomes.index("head")
    low = [
        i
        for i, s in enumerate(states())
        if s.lie.value == "oblique" and s.lower_pole.value == "head"
    ]
    assert said[low, head].min() > 0.2
