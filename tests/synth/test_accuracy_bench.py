"""The accuracy bench itself: a perfect reader scores perfectly, a wrong one does not."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from bench.accuracy.match import (
    as_shown,
    baseline_errors,
    drowned,
    pairs,
    score_accelerations,
    score_contractions,
    score_decelerations,
    told_contractions,
    variability_pairs,
)
from bench.accuracy.set import (
    HOURS,
    LOSS_BINS,
    PATTERN_BINS,
    PATTERNS,
    case,
    cases,
    labour_of,
    wrong_share,
)

from ebbline.features.findings import Findings
from ebbline.ground_truth import findings_of_labour
from ebbline.synth import Labour, Scenario, invent
from ebbline.terms import SensorKind


@pytest.fixture(scope="module")
def labour() -> Labour:
    return invent(Scenario.from_words("intermittent late, intermittent variable, 15 % loss"), 12)


@pytest.fixture(scope="module")
def perfect(labour: Labour) -> Findings:
    return findings_of_labour(labour)


def test_the_truth_read_perfectly_scores_one(labour: Labour, perfect: Findings) -> None:
    truth = labour.truth
    contractions, wrong = score_contractions(truth, perfect, labour.recording)
    falls, hits, wrong_falls = score_decelerations(truth, perfect, only_seen=False)
    rises, _, wrong_rises = score_accelerations(truth, perfect, only_seen=False)
    assert min(contractions.hit, falls.hit, rises.hit) >= 5
    assert contractions.f1 == falls.f1 == rises.f1 == 1.0
    assert not wrong and not wrong_falls and not wrong_rises
    assert max(np.abs(falls.onset_s)) == max(np.abs(rises.size)) == 0
    assert np.abs(baseline_errors(truth, perfect)).max() == 0
    assert all(a == b for a, b, _ in variability_pairs(truth, perfect))
    for i, j in hits:
        assert str(truth.decelerations[i].kind) == str(perfect.fetal.decelerations[j].kind)


def test_a_missed_and_an_invented_event_cost_what_they_should(
    labour: Labour, perfect: Findings
) -> None:
    all_falls = [d for d in perfect.fetal.decelerations if not d.shallow]
    gap = _quiet_place(labour)
    extra = replace(all_falls[3], onset_s=gap, nadir_s=gap + 10, end_s=gap + 30)
    wrong = (*all_falls[:3], *all_falls[4:], extra)
    found = replace(perfect, fetal=replace(perfect.fetal, decelerations=wrong))
    right, _, _ = score_decelerations(labour.truth, perfect, only_seen=False)
    tally, _, reasons = score_decelerations(labour.truth, found, only_seen=False)
    assert (tally.hit, tally.missed, tally.extra) == (right.hit - 1, 1, 1)
    assert {what for what, _, _ in reasons} == {"deceleration missed", "deceleration extra"}


def _quiet_place(labour: Labour) -> float:
    ends = [60.0, *(d.end_s for d in labour.truth.decelerations)]
    starts = [*(d.onset_s for d in labour.truth.decelerations), 3500.0]
    start, _ = max(
        ((a, b) for a, b in zip(ends, starts, strict=True)), key=lambda gap: gap[1] - gap[0]
    )
    return start + 20.0


def test_pairs_are_one_to_one_and_need_a_third_of_the_shorter() -> None:
    assert pairs([(0, 30), (40, 70)], [(5, 35), (41, 69)]) == [(0, 0), (1, 1)]
    assert pairs([(0, 30)], [(0, 12), (13, 30)]) == [(0, 1)]
    assert pairs([(0, 30)], [(25, 55)]) == []
    assert pairs([], [(0, 1)]) == []


@pytest.mark.parametrize("locked", [False, True])
def test_the_set_holds_hours_as_they_come_and_every_pattern_loss_sensor_and_age(
    locked: bool,
) -> None:
    chosen = cases(quick=False, locked=locked)
    assert len(chosen) == HOURS >= 400
    asked = [c for c in chosen if c.loss_bin is not None]
    assert len(chosen) - len(asked) == 240
    by_loss = Counter(c.loss_bin for c in asked)
    assert min(by_loss[i] for i in range(PATTERN_BINS)) >= 20
    assert {c.pattern for c in asked} == set(PATTERNS)
    assert min(Counter(c.pattern for c in asked).values()) == 5
    assert sum(c.scenario.weeks < 32 for c in chosen) >= 20
    for sensor in (SensorKind.ULTRASOUND, SensorKind.SCALP_ELECTRODE):
        assert sum(c.scenario.heart_sensor is sensor for c in chosen) >= 70
    for sensor in (SensorKind.TOCO, SensorKind.PRESSURE_CATHETER):
        assert sum(c.scenario.activity_sensor is sensor for c in chosen) >= 25


def test_the_two_sets_share_no_hour() -> None:
    develop, locked = cases(quick=False), cases(quick=False, locked=True)
    assert not {c.seed // 1000 for c in develop} & {c.seed // 1000 for c in locked}


@pytest.mark.parametrize("number", [3, 34, 68, 99, 233, 308])
def test_an_hour_has_the_loss_of_its_bin(number: int) -> None:
    place = case(number).loss_bin
    assert place is not None
    low, high = LOSS_BINS[place]
    assert low <= wrong_share(labour_of(case(number))) < high


def test_a_hill_of_the_belts_own_counts_neither_way_but_to_the_letter(labour: Labour) -> None:
    truth = labour.truth
    told = told_contractions(truth, labour.recording)
    heart, activity = labour.recording.channels[:2]
    t = np.arange(len(activity.samples)) / activity.rate_hz
    rest = max(
        zip(truth.contractions[:-1], truth.contractions[1:], strict=True),
        key=lambda two: two[1].onset_s - two[0].end_s,
    )
    at_s = 0.5 * (rest[0].end_s + rest[1].onset_s)
    quiet = drowned(truth, labour.recording, told)
    assert not quiet[int(at_s) - 15 : int(at_s) + 15].any()

    def pushed(units: float) -> np.ndarray:
        hand = units * np.exp(-0.5 * ((t - at_s) / 15.0) ** 2)
        channels = (heart, replace(activity, samples=activity.samples + hand))
        return drowned(truth, replace(labour.recording, channels=channels), told)

    assert pushed(60.0)[int(at_s) - 10 : int(at_s) + 10].all()
    assert not pushed(3.0)[int(at_s) - 10 : int(at_s) + 10].any()
    assert not drowned(truth, labour.recording, [False] * len(told)).any()


def test_a_late_fall_whose_contraction_was_not_shown_may_be_left_unpaired(labour: Labour) -> None:
    late = next(d for d in labour.truth.decelerations if str(d.kind) == "late")
    told = [True] * len(labour.truth.contractions)
    unknown = "gradual, contraction not known"
    assert as_shown(late, unknown, told) == "late"
    told[late.contraction] = False
    assert as_shown(late, unknown, told) == unknown
    assert as_shown(late, "late", told) == as_shown(late, "variable", told) == "late"
    cord = next(d for d in labour.truth.decelerations if str(d.kind) == "variable")
    assert as_shown(cord, unknown, [False] * len(told)) == "variable"
