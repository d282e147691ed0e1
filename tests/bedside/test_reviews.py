"""What is due, by whom, and what is overdue; and first measures for what was found."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from ebbline.bedside.policy.measures import first_measures, load_measures
from ebbline.bedside.policy.reviews import (
    DueState,
    Method,
    Risk,
    clock_time,
    interval_in_force,
    load_reviews,
    reviews_due,
)
from ebbline.bedside.wording import say_reviews
from ebbline.errors import ExaminationError, PolicyError
from ebbline.terms import Stage

NOW = datetime(2031, 3, 12, 14, 40)
POLICY = load_reviews()
FOLDER = Path(__file__).parents[2] / "src/ebbline/bedside/policy"


def minutes(kind: str, stage: Stage, risk: Risk, source: str) -> float:
    of = next(k for k in POLICY.kinds if k.name == kind)
    line = interval_in_force(of, stage, risk, [(source,)])
    assert line is not None
    return line.minutes


@pytest.mark.parametrize(
    ("stage", "risk", "every"),
    [
        (Stage.FIRST, Risk.LOW, 30),
        (Stage.SECOND, Risk.LOW, 15),
        (Stage.FIRST, Risk.RAISED, 15),
        (Stage.SECOND, Risk.RAISED, 5),
    ],
)
@pytest.mark.parametrize("kind", ["heart", "trace"])
def test_acog_and_awhonn_intervals(kind, stage, risk, every):
    """ACOG Practice Bulletin 106 (2009), AWHONN."""
    assert minutes(kind, stage, risk, "acog") == every


def test_nice_intervals():
    """NICE NG229 (from memory): by ear every 15 and 5 minutes; review hourly."""
    assert minutes("heart", Stage.FIRST, Risk.LOW, "nice") == 15
    assert minutes("heart", Stage.SECOND, Risk.LOW, "nice") == 5
    assert minutes("trace", Stage.FIRST, Risk.RAISED, "nice") == 60


def due(name: str, last_min: float | None, **known):
    last = {} if last_min is None else {name: NOW - timedelta(minutes=last_min)}
    made = reviews_due(NOW, last, **known)
    return next(d for d in made.reviews if d.name == name)


RAISED = {"stage": Stage.FIRST, "risk": Risk.RAISED, "method": Method.CONTINUOUS}


@pytest.mark.parametrize(
    ("since", "state"),
    [
        (14, DueState.LATER),
        (15, DueState.DUE),
        (15.1, DueState.OVERDUE),
        (40, DueState.OVERDUE),
    ],
)
def test_a_trace_reviewed_every_fifteen_minutes(since, state):
    assert due("trace", since, **RAISED).state is state


def test_how_much_it_is_overdue():
    assert due("trace", 40, **RAISED).minutes == pytest.approx(-25)


def test_a_review_without_a_time_is_never_taken_as_done():
    one = due("trace", None, **RAISED)
    assert one.state is DueState.NEVER
    assert one.due_at is None


def test_unknown_risk_and_stage_take_the_shorter_interval_and_say_so():
    made = reviews_due(NOW, {}, method=Method.CONTINUOUS)
    trace = next(d for d in made.reviews if d.name == "trace")
    assert trace.every_min == 5
    assert any("Risk not given" in note for note in made.notes)
    assert any("Stage not given" in note for note in made.notes)


def test_a_risk_factor_raises_the_risk_whatever_was_said():
    made = reviews_due(NOW, {}, stage=Stage.FIRST, risk=Risk.LOW, factors=["meconium"])
    assert made.risk is Risk.RAISED
    assert [f.name for f in made.factors] == ["meconium"]
    assert any("counted as raised" in note for note in made.notes)


def test_other_sources_are_shown_where_they_differ():
    assert any("60" in d.text for d in due("trace", 5, **RAISED).differs)


def test_the_strictest_of_the_chosen_sources_decides():
    """By ear, low risk, first stage: ACOG and WHO 30 minutes, NICE and FIGO 15."""
    low = {"stage": Stage.FIRST, "risk": Risk.LOW}
    assert due("heart", 5, **low).every_min == 15


@pytest.mark.parametrize("text", ["14:05", "1405", "14.05", "14h05", " 14:05 "])
def test_a_time_is_read_as_it_is_written_down(text):
    assert clock_time(text, NOW, "trace") == NOW.replace(hour=14, minute=5)


def test_a_time_later_than_now_was_yesterday_and_is_said_so():
    last = clock_time("14:50", NOW, "trace")
    assert last == NOW.replace(minute=50) - timedelta(days=1)
    assert "last yesterday 14:50" in say_reviews(reviews_due(NOW, {"trace": last}))


@pytest.mark.parametrize("text", ["2460", "14:60", "later", "5", ""])
def test_what_is_no_time_is_refused(text):
    with pytest.raises(ExaminationError, match="not a time"):
        clock_time(text, NOW, "trace")


def test_bladder_and_the_colour_of_the_fluid_are_asked():
    names = {d.name for d in reviews_due(NOW, {}).reviews}
    assert {"bladder", "fluid-colour"} <= names


def test_a_guideline_can_be_put_first():
    made = reviews_due(NOW, {}, **RAISED, first_source="nice")
    assert next(d for d in made.reviews if d.name == "trace").every_min == 60


def test_the_overdue_come_first():
    last = {
        "trace": NOW - timedelta(minutes=20),
        "pulse": NOW - timedelta(minutes=5),
        "contractions": NOW - timedelta(minutes=90),
    }
    made = reviews_due(NOW, last, **RAISED)
    assert [d.name for d in made.reviews[:2]] == ["contractions", "trace"]
    assert made.reviews[-1].name == "pulse"


@pytest.mark.parametrize(
    ("last", "known", "message"),
    [
        ({"trase": NOW}, {}, "trace"),
        ({"trace": NOW + timedelta(minutes=1)}, {}, "after now"),
        ({}, {"factors": ["meconiumm"]}, "meconium"),
        ({}, {"first_source": "nobody"}, "acog"),
    ],
)
def test_what_cannot_be_is_refused_with_a_hint(last, known, message):
    with pytest.raises(ExaminationError, match=message):
        reviews_due(NOW, last, **known)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("minutes: 30, source: acog", "minutes: 0, source: acog", "cannot be an interval"),
        ("minutes: 30, source: acog", "minutes: often, source: acog", "must be a number"),
        ("stage: first, risk: low", "stage: third, risk: low", "stage"),
        ("in_force: [acog, nice,", "in_force: [nice,", "not named in 'in_force'"),
    ],
)
def test_errors_in_the_policy_name_the_line(tmp_path, old, new, message):
    text = (FOLDER / "reviews.yaml").read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "ours.yaml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(PolicyError, match=message) as caught:
        load_reviews(path)
    assert "line " in caught.value.where


MEASURES = load_measures()


@pytest.mark.parametrize(
    ("found", "words"),
    [
        ("recurrent-variable", "Amnioinfusion"),
        ("recurrent-variable", "Change her position"),
        ("tachysystole-with-changes", "tocolytic"),
        ("tachysystole", "oxytocin"),
        ("prolonged", "cord prolapse"),
        ("bradycardia", "Call for help"),
        ("maternal-rate-suspected", "mother's pulse"),
        ("recurrent-late", "fall after a block"),
        ("signal-lost", "Reposition"),
    ],
)
def test_what_guidelines_list_for_a_finding(found, words):
    """ACOG Practice Bulletin 116, FIGO 2015, NICE NG229 (from memory)."""
    assert any(words in m.text for m in first_measures([found], MEASURES).measures)


def test_amnioinfusion_is_listed_for_variable_decelerations_only():
    for found in MEASURES.findings:
        listed = any("Amnio" in m.text for m in first_measures([found], MEASURES).measures)
        assert listed is (found == "recurrent-variable")


def test_oxygen_only_where_the_mother_lacks_it():
    oxygen = [m for m in MEASURES.measures if "xygen" in m.text]
    assert len(oxygen) == 1
    assert "only where she herself lacks it" in oxygen[0].text


@pytest.mark.parametrize("found", list(MEASURES.findings))
def test_every_finding_has_options_each_with_a_source(found):
    listed = first_measures([found], MEASURES)
    assert listed.measures
    assert all(m.source for m in listed.measures)
    assert "not orders" in listed.note


def test_an_unknown_finding_gets_a_hint():
    with pytest.raises(ExaminationError, match="tachysystole"):
        first_measures(["tachysystoly"], MEASURES)


def test_a_measure_for_an_unknown_finding_names_the_line(tmp_path):
    text = (FOLDER / "measures.yaml").read_text(encoding="utf-8")
    path = tmp_path / "ours.yaml"
    path.write_text(text.replace("for: [sinusoidal]", "for: [sinusoid]", 1), encoding="utf-8")
    with pytest.raises(PolicyError, match="Did you mean 'sinusoidal'") as caught:
        load_measures(path)
    assert "line " in caught.value.where


def options(*found: str, **told) -> list[str]:
    return [m.text for m in first_measures(found, **told).measures]


def test_a_category_iii_pattern_asks_for_help_and_nobody_thinks_of_sleep():
    """Absent variability with recurrent late decelerations is Category III (ACOG 106)."""
    listed = first_measures(["absent-variability", "recurrent-late"], classes=["Category III"])
    assert listed.call is not None
    assert listed.call.urgency == "now"
    assert listed.measures[0].text.startswith("Call for help now; prepare for birth")
    assert not any("sleep" in m.text for m in listed.measures)


def test_sleep_is_thought_of_with_minimal_variability_alone():
    assert any("sleep" in text for text in options("minimal-variability"))
    for with_it in ("recurrent-late", "recurrent-variable", "prolonged", "tachycardia"):
        assert not any("sleep" in text for text in options("minimal-variability", with_it))


def test_nobody_stimulates_during_a_fall():
    assert any("Stimulate" in text for text in options("minimal-variability"))
    assert not any("Stimulate" in text for text in options("minimal-variability", "prolonged"))
    (measure,) = [
        m for m in first_measures(["minimal-variability"]).measures if "Stimulate" in m.text
    ]
    assert any("during a deceleration" in c.text for c in measure.cautions)


def test_a_tocolytic_comes_with_what_speaks_against_it():
    (measure,) = [m for m in first_measures(["prolonged"]).measures if "tocolytic" in m.text]
    assert any("abruption" in c.text for c in measure.cautions)


@pytest.mark.parametrize(
    ("minutes", "reached"),
    [
        (2.9, [False, False, False]),
        (3.0, [True, False, False]),
        (6.0, [True, True, False]),
        (9.0, [True, True, True]),
    ],
)
def test_a_fall_that_lasts_has_a_clock(minutes, reached):
    """Help from 3 minutes, prepare from 6, a decision by 9 (NICE, from memory)."""
    listed = first_measures(["prolonged"], lasting_min=minutes)
    assert [step.from_min for step in listed.clock] == [3, 6, 9]
    assert [step.reached for step in listed.clock] == reached
    assert all(step.reached is None for step in first_measures(["bradycardia"]).clock)
    assert first_measures(["tachycardia"]).clock == ()


@pytest.mark.parametrize(
    ("classes", "urgency"),
    [
        (["Category I"], None),
        (["Category II"], "soon"),
        (["Category II", "NICE pathological"], "now"),
        (["no class"], "soon"),
        ([], None),
    ],
)
def test_the_urgency_of_the_call_follows_from_the_worst_class(classes, urgency):
    call = first_measures(["recurrent-late"], classes=classes).call
    assert (None if call is None else call.urgency) == urgency


def test_more_findings_never_make_the_call_less_urgent():
    """Absent variability alone asks to tell the team; with falls it asks for help."""
    alone = options("absent-variability")
    assert any("Tell the team now" in text for text in alone)
    worse = options("absent-variability", "recurrent-variable")
    assert any("Call for help now" in text for text in worse)
