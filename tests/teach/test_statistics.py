"""Questions, terms and progress of a class."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from ebbline.teach.statistics.confusion import MISSED, confusion
from ebbline.teach.statistics.items import item_statistics
from ebbline.teach.statistics.progress import ScoredAttempt, progress

NOON = datetime(2031, 3, 4, 12, tzinfo=UTC)


def test_a_question_the_strong_get_right_discriminates_and_a_random_one_does_not():
    chance = np.random.default_rng(1)
    shares = {
        f"learner {i}": {
            "baseline": float(i >= 15),
            "variability": float(i >= 10),
            "class": i / 29,
            "coin": float(chance.integers(0, 2)),
        }
        for i in range(30)
    }
    found = {one.item: one for one in item_statistics(shares)}
    assert found["baseline"].difficulty == pytest.approx(0.5)
    assert found["variability"].difficulty == pytest.approx(20 / 30)
    assert found["baseline"].discrimination > 0.7 > 0.5 > abs(found["coin"].discrimination)
    assert found["baseline"].upper_lower == 1.0
    assert found["baseline"].note == ""


def test_discrimination_leaves_the_question_itself_out():
    """With one other question, the corrected correlation is that of the two questions."""
    one, other = [0, 0, 1, 1, 1], [0, 1, 0, 1, 1]
    shares = {
        str(i): {"a": float(x), "b": float(y)}
        for i, (x, y) in enumerate(zip(one, other, strict=True))
    }
    found = {s.item: s for s in item_statistics(shares)}
    assert found["a"].discrimination == pytest.approx(np.corrcoef(one, other)[0, 1])


def test_few_learners_are_warned_of():
    (found,) = item_statistics({"a": {"x": 1.0}, "b": {"x": 0.0}})
    assert "only 2 learners" in found.note
    assert np.isnan(found.discrimination)


def test_confusion_counts_and_names_the_commonest_mistake():
    pairs = [("late", "late")] * 3 + [("late", "early")] * 2 + [("early", MISSED)]
    found = confusion(pairs, order=["early", "late", MISSED])
    assert found.terms == ("early", "late")
    assert found.answers == ("early", "late", MISSED)
    assert found.counts == ((0, 0, 1), (2, 3, 0))
    assert found.commonest_mistakes[0] == ("late", "early", 2)


def test_progress_orders_attempts_by_time_within_each_learner():
    attempts = [
        ScoredAttempt("b", "y", NOON + timedelta(days=2), 0.9, 0),
        ScoredAttempt("a", "x", NOON, 0.2, 1),
        ScoredAttempt("a", "y", NOON + timedelta(days=1), 0.6, 0),
        ScoredAttempt("b", "x", NOON + timedelta(days=1), 0.4, 0),
    ]
    first, second = progress(attempts)
    assert (first.number, first.learners, first.median) == (1, 2, pytest.approx(0.3))
    assert second.median == pytest.approx(0.75)
    assert first.unsafe_each == 0.5
