"""A threatened fetus worsens by the clock; what is done, and how soon, decides how it is born."""

import pytest

from ebbline.teach.encounter import Encounter
from ebbline.teach.fetal_course import base_deficit_of, course_of, ph_of
from ebbline.teach.grading import score
from ebbline.teach.library import shipped
from ebbline.teach.measures import measure_table
from ebbline.teach.scoring import RULES
from ebbline.teach.steps import (
    AttemptError,
    Choose,
    Finish,
    PlaceContractionSensor,
    PlaceHeartSensor,
    Recognise,
    Tell,
    Wait,
)
from ebbline.teach.threats import TARGETS, TOLERANCE_MIN, threat_table
from ebbline.teach.variants import begin_case
from ebbline.terms import Stage

PROLAPSE = shipped()["a-gush"]
RIGHT = (
    Recognise("cord prolapse"),
    Tell("the emergency team"),
    Choose("keep the head off the cord"),
    Choose("change her position"),
    Choose("get ready for birth"),
)


def prolapsed(wait_min: float, steps=RIGHT, after_min: float = 25.0) -> Encounter:
    encounter = begin_case(PROLAPSE, 0)
    place = encounter.site.at
    encounter.take(PlaceHeartSensor(place.x_cm, place.y_cm))
    encounter.take(PlaceContractionSensor(0.0, 12.0))
    encounter.take(Wait(13))
    if wait_min:
        encounter.take(Wait(wait_min))
    for step in steps:
        encounter.take(step)
    if after_min and encounter.minute < encounter.last_minute - 1:
        encounter.take(Wait(min(after_min, encounter.last_minute - encounter.minute)))
    encounter.take(Finish())
    return encounter


def points(encounter: Encounter, item: str) -> float:
    return next(line.share for line in score(encounter).lines if line.item == item)


def test_cord_gases_follow_published_means_of_normal_births():
    """Yeomans ER, et al. Am J Obstet Gynecol 1985;151:798-800: arterial pH 7.28, pCO2 49.2, base
    deficit 3.6 (SD 2.7) mmol/L (from memory)."""
    assert base_deficit_of(7.28, 49.2) == pytest.approx(3.6, abs=1.0)
    assert ph_of(base_deficit_of(7.28, 49.2), 49.2) == pytest.approx(7.28, abs=0.005)


def test_twelve_mmol_with_high_carbon_dioxide_is_about_ph_seven():
    """The threshold of ACOG and AAP for what can harm: pH under 7.0 and base deficit 12 or more."""
    assert ph_of(12.0, 80.0) == pytest.approx(7.0, abs=0.05)


def test_an_untreated_cord_prolapse_reaches_twelve_mmol_in_half_an_hour():
    """1 mmol/L in two to three minutes: Ross MG, Gala R. Am J Obstet Gynecol 2002;187:1-9."""
    course = course_of("cord prolapse", 0.0, Stage.FIRST, 39.0)
    for minute in range(30):
        course.go_on(float(minute), 1.0)
    assert 3.0 + 30 / 3 <= course.base_deficit <= 3.0 + 30 / 2


def test_a_prolapse_seen_to_at_once_ends_well_and_scores_all():
    encounter = prolapsed(0)
    assert encounter.birth is not None
    assert encounter.birth.by == "by caesarean"
    assert encounter.birth.apgar[1] >= 8
    assert encounter.birth.ph > 7.1
    for item in ("emergency known", "help called", "first act", "birth asked for"):
        assert points(encounter, item) == 1.0
    assert score(encounter).unsafe == ()


def test_the_later_the_act_the_worse_the_child_and_the_score():
    born, shares = [], []
    for wait_min in (0, 8, 22):
        encounter = prolapsed(wait_min)
        assert encounter.birth is not None
        born.append(encounter.birth.base_deficit)
        shares.append(score(encounter).share)
    assert born[0] < born[1] < born[2]
    assert shares[0] > shares[1] > shares[2]


def test_ignoring_an_emergency_costs_points_and_the_child():
    idle = prolapsed(0, steps=(), after_min=25)
    assert idle.birth is not None
    assert idle.birth.apgar[1] <= 5
    for item in ("emergency known", "help called", "first act", "birth asked for"):
        assert points(idle, item) == 0.0
    assert {one.choice for one in score(idle).unsafe} == {
        "Help was not called in time",
        "What was needed was not done in time",
    }


def test_a_minute_over_a_limit_counts_as_within_it():
    for kind in threat_table().values():
        for target in kind.targets.values():
            assert target.share(target.full + TOLERANCE_MIN) == 1.0
            assert target.share(target.none + TOLERANCE_MIN / 2) > 0.0
            assert target.share(target.none + TOLERANCE_MIN) == 0.0
            assert target.share(None) == 0.0
    assert "A minute over" in RULES["emergency known"].words


def test_the_rate_does_not_recover_by_itself_after_a_cord_prolapse():
    encounter = begin_case(PROLAPSE, 0)
    place = encounter.site.at
    encounter.take(PlaceHeartSensor(place.x_cm, place.y_cm))
    for _ in range(4):
        encounter.take(Wait(10))
    assert encounter.labour().truth.baseline.values[-600:].mean() < 100


def test_lifting_the_head_brings_the_rate_back():
    encounter = begin_case(PROLAPSE, 0)
    place = encounter.site.at
    encounter.take(PlaceHeartSensor(place.x_cm, place.y_cm))
    encounter.take(Wait(16))
    encounter.take(Choose("keep the head off the cord"))
    encounter.take(Wait(8))
    assert encounter.labour().truth.baseline.values[-60:].mean() > 130


def test_birth_needs_someone_who_can_bring_it_about():
    encounter = prolapsed(0, steps=(Choose("get ready for birth"),), after_min=0)
    alone = encounter.birth
    helped = prolapsed(0, steps=(Choose("get ready for birth"), Tell("the emergency team")))
    assert alone is not None
    assert helped.birth is not None
    assert helped.birth.minute < alone.minute


def test_after_birth_nothing_more_is_done_to_the_labour():
    encounter = begin_case(PROLAPSE, 0)
    place = encounter.site.at
    encounter.take(PlaceHeartSensor(place.x_cm, place.y_cm))
    encounter.take(Wait(13))
    for step in RIGHT:
        encounter.take(step)
    encounter.take(Wait(25))
    assert encounter.birth is not None
    with pytest.raises(AttemptError, match="born"):
        encounter.take(Wait(1))


def test_every_threat_of_the_table_is_eased_by_measures_that_exist():
    known = {measure.id for measure in measure_table().measures}
    for kind in threat_table().values():
        named = {*kind.eased, *kind.acts, *kind.cured_by, *kind.born_by}
        assert named <= known, kind.id
        assert set(kind.targets) >= {"know", "call", "act"}
        assert set(kind.targets) <= set(TARGETS)
        assert ("birth" in kind.targets) == kind.birth
        assert all(target.full < target.none for target in kind.targets.values())


@pytest.mark.parametrize("name", sorted(k for k, c in shipped().items() if c.threat is not None))
def test_no_case_asks_for_a_first_act_that_would_be_dangerous_in_it(name):
    case = shipped()[name]
    encounter = begin_case(case, 0)
    if encounter._heart_from_s == float("inf") and "auscultation" not in case.asks:
        place = encounter.site.at
        encounter.take(PlaceHeartSensor(place.x_cm, place.y_cm))
    left = case.threat.minute + 1 - encounter.minute
    while left > 0:
        encounter.take(Wait(min(left, 30)))
        left = case.threat.minute + 1 - encounter.minute
    facts = encounter.facts()
    kind = threat_table()[case.threat.kind]
    assert any(not measure_table().measure(act).dangers(facts) for act in kind.acts)
    assert measure_table().lowest_call(facts).step <= 3


def test_the_shoulder_is_born_by_both_manoeuvres_and_never_by_the_fundus():
    """RCOG Green-top Guideline 42, 2012 (from memory)."""
    encounter = begin_case(shipped()["the-head-is-there"], 0)
    encounter.take(Wait(3))
    encounter.take(Tell("the emergency team"))
    encounter.take(Choose("push on the fundus"))
    encounter.take(Choose("legs up to her chest"))
    encounter.take(Choose("press above the pubic bone"))
    encounter.take(Wait(3))
    assert encounter.birth is not None
    assert encounter.birth.by == "by the manoeuvres"
    encounter.take(Finish())
    assert any("fundus" in one.choice for one in score(encounter).unsafe)
