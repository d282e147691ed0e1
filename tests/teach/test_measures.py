"""Options, whom to tell, and what could hurt: the table and how it is judged."""

import pytest

from ebbline.errors import PolicyError
from ebbline.teach.measure_facts import Fact
from ebbline.teach.measures import (
    Call,
    Choice,
    measure_table,
    score_measures,
    table_from_data,
    unsafe_choices,
    unsafe_silence,
)

TABLE = measure_table()
TACHYSYSTOLE = frozenset({Fact.TACHYSYSTOLE, Fact.OXYTOCIC, Fact.TACHYSYSTOLE_WITH_CHANGE})


def chosen(*names, facts=TACHYSYSTOLE):
    return [Choice(name, 3.0, facts) for name in names]


def line(score, item):
    return next(one for one in score.lines if one.item == item)


def test_every_measure_and_person_has_a_source():
    assert all(one.source for one in (*TABLE.measures, *TABLE.people))


@pytest.mark.parametrize("fact", list(Fact))
def test_no_measure_is_called_for_by_what_makes_it_dangerous(fact):
    for measure in TABLE.wanted({fact}):
        assert not measure.dangers({fact})


@pytest.mark.parametrize(
    "fact",
    [Fact.BRADYCARDIA, Fact.CORD_FELT, Fact.BLEEDING, Fact.SHOULDER_IN_LABOUR,
     Fact.ABSENT_WITH_DECELERATIONS],
)  # fmt: skip
def test_emergencies_ask_for_the_emergency_team_and_never_for_waiting(fact):
    assert TABLE.lowest_call({fact}).step == 3
    assert TABLE.measure("go on and review on time").dangers({fact}) or (
        fact is Fact.ABSENT_WITH_DECELERATIONS
    )


def test_oxytocic_is_never_raised_with_late_decelerations_or_tachysystole():
    """FIGO 2015; ACOG Practice Bulletin 116 (2010)."""
    raised = TABLE.measure("raise the oxytocic")
    for fact in (Fact.TACHYSYSTOLE, Fact.RECURRENT_LATE, Fact.BRADYCARDIA, Fact.SINUSOIDAL,
                 Fact.PROLONGED, Fact.ABSENT_VARIABILITY):  # fmt: skip
        assert raised.dangers({fact})


def test_no_finger_in_the_vagina_with_placenta_praevia_or_bleeding():
    """RCOG Green-top Guideline 27a (from memory)."""
    examined = TABLE.measure("examine for the cord")
    assert examined.dangers({Fact.PRAEVIA})
    assert examined.dangers({Fact.BLEEDING})
    assert examined.id not in {m.id for m in TABLE.wanted({Fact.PROLONGED, Fact.BLEEDING})}


def test_oxygen_is_for_a_mother_with_low_saturation_only():
    """Current guidance (NICE NG229, from memory)."""
    oxygen = TABLE.measure("oxygen by mask")
    assert oxygen.is_wanted({Fact.LOW_OXYGEN})
    assert not oxygen.is_accepted({Fact.RECURRENT_LATE, Fact.BRADYCARDIA})


def test_flat_on_the_back_and_pushing_the_cord_back_are_never_right():
    for name in ("flat on her back", "push the cord back"):
        assert TABLE.measure(name).dangers(frozenset())


def test_all_that_is_called_for_gets_all_points():
    score = score_measures(
        chosen("stop the oxytocic", "change her position", "ask about a tocolytic"),
        [Call("the obstetrician", 4.0, TACHYSYSTOLE)],
        TACHYSYSTOLE,
    )
    assert score.share == 1.0


def test_a_measure_that_fits_nothing_takes_a_quarter():
    wanted = ("stop the oxytocic", "change her position", "ask about a tocolytic")
    score = score_measures(chosen(*wanted, "oxygen by mask"), [], TACHYSYSTOLE)
    assert line(score, "measures").share == 0.75
    assert "saturation" in line(score, "measures").note


def test_an_unsafe_choice_is_flagged_with_all_its_reasons_and_takes_no_points_itself():
    score = score_measures(chosen("raise the oxytocic"), [], TACHYSYSTOLE)
    assert line(score, "measures").points == 0.0
    facts = frozenset({Fact.TACHYSYSTOLE, Fact.RECURRENT_LATE})
    (flagged,) = unsafe_choices(chosen("raise the oxytocic", facts=facts))
    assert "five contractions" in flagged.why
    assert "late" in flagged.why


def test_a_choice_is_judged_by_what_was_true_when_it_was_made():
    calm = [Choice("raise the oxytocic", 1.0, frozenset({Fact.OXYTOCIC}))]
    assert unsafe_choices(calm) == ()


@pytest.mark.parametrize(
    ("person", "share"),
    [("nobody for now", 0), ("the midwife or nurse in charge", 0), ("the obstetrician", 1),
     ("the emergency team", 1)],
)  # fmt: skip
def test_the_call_must_go_as_high_as_the_picture_asks(person, share):
    score = score_measures([], [Call(person, 1.0, TACHYSYSTOLE)], TACHYSYSTOLE)
    assert line(score, "telling").share == share


def test_calling_everyone_for_a_normal_trace_gets_half():
    facts = frozenset({Fact.NORMAL_TRACE})
    score = score_measures([], [Call("the emergency team", 1.0, facts)], facts)
    assert line(score, "telling").share == 0.5


def test_silence_is_flagged_only_where_people_are_needed_at_once():
    assert unsafe_silence([], {Fact.CORD_FELT}, 12.0)
    assert not unsafe_silence([], {Fact.TACHYCARDIA}, 12.0)
    told = [Call("the obstetrician", 1.0, frozenset())]
    assert not unsafe_silence(told, {Fact.CORD_FELT}, 12.0)


def test_a_table_with_an_unknown_fact_or_source_is_refused():
    good = {"sources": {"A": "a"}, "telling": [], "measures": [
        {"id": "x", "say": "X", "wanted": ["fever"], "source": "A"}]}  # fmt: skip
    assert table_from_data(good).measures[0].source == "a"
    for wrong in ({"wanted": ["hiccups"]}, {"source": "B"}):
        bad = {**good, "measures": [{**good["measures"][0], **wrong}]}
        with pytest.raises(PolicyError):
            table_from_data(bad)
    with pytest.raises(PolicyError, match="there is no measure"):
        TABLE.measure("pray")
