"""Spaced repetition with the FSRS library."""

from datetime import UTC, datetime, timedelta

from ebbline.teach.spacing import (
    after_attempt,
    card_from_data,
    card_to_data,
    choose_case,
    due_skills,
    new_card,
    review,
)

NOON = datetime(2031, 3, 4, 12, tzinfo=UTC)


def test_what_went_wrong_comes_back_before_what_went_well():
    cards = after_attempt({}, {"late deceleration": 0.2, "acceleration": 1.0}, NOON)
    assert cards["late deceleration"].due < cards["acceleration"].due


def test_intervals_grow_with_each_success():
    card, moment, gaps = new_card("baseline", NOON), NOON, []
    for _ in range(5):
        card = review(card, 0.9, moment)
        gaps.append(card.due - moment)
        moment = card.due
    assert gaps == sorted(gaps)
    assert gaps[-1] > 5 * gaps[0]


def test_a_lapse_brings_a_well_known_skill_back_within_days():
    card, moment = new_card("baseline", NOON), NOON
    for _ in range(5):
        card = review(card, 1.0, moment)
        moment = card.due
    assert review(card, 0.0, moment).due - moment <= timedelta(days=1)


def test_due_skills_come_least_remembered_first_and_not_before_time():
    cards = after_attempt({}, {"a": 0.0, "b": 1.0, "c": 0.6}, NOON)
    assert due_skills(cards, NOON) == ()
    later = due_skills(cards, NOON + timedelta(days=400))
    assert {one.skill for one in later} == {"a", "b", "c"}
    chances = [one.retrievability for one in later]
    assert chances == sorted(chances)
    assert all(0 <= chance < 0.9 for chance in chances)


def test_the_case_that_practises_most_of_what_is_due_is_chosen_and_not_the_one_just_seen():
    cards = after_attempt({}, {"a": 0.0, "b": 0.0}, NOON)
    due = due_skills(cards, NOON + timedelta(days=10))
    teaches = {"one": ["a"], "both": ["a", "b"], "neither": ["c"]}
    assert choose_case(due, teaches) == "both"
    assert choose_case(due, teaches, recent=["both"]) == "one"
    assert choose_case((), teaches) is None


def test_a_card_survives_saving():
    card = review(new_card("baseline", NOON), 0.7, NOON)
    assert card_from_data(card_to_data(card)) == card


def test_the_same_answers_give_the_same_dates():
    once = after_attempt({}, {"a": 0.7}, NOON)
    again = after_attempt({}, {"a": 0.7}, NOON)
    assert once["a"].due == again["a"].due
