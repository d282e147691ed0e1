"""Each answer of a window on its border: one second, one minute, one bpm to either side of it.

Expectations are counted by hand from what is drawn; a limit is that of the standard or the choice
of ours that is named beside it.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from criteria.build import (
    acceleration,
    contractions,
    deceleration,
    judged,
    late,
    mother,
    sinusoidal,
    trace,
    variable,
)
from ebbline.criteria import limits
from ebbline.criteria.classification_builder import (
    ClassBuilder,
    check_settled,
    say_beyond_the_letter,
)
from ebbline.criteria.model import Standard
from ebbline.criteria.rules.figo import of_any_kind
from ebbline.criteria.tables import figo, nichd
from ebbline.criteria.window_falls import LongFall
from ebbline.criteria.window_view import WindowFacts, window_facts
from ebbline.features.findings import (
    Artefact,
    ArtefactKind,
    Deceleration,
    DecelerationKind,
    Findings,
    VariabilityClass,
)
from ebbline.features.steps_down import Drop
from ebbline.terms import SensorKind, Window

WINDOW = Window(600.0, 2400.0)
NAN = math.nan


def seen(
    findings: Findings,
    window: Window = WINDOW,
    *,
    steps: tuple[Drop, ...] = (),
    drops: tuple[Drop, ...] = (),
) -> WindowFacts:
    """The facts of a window of a recording with such steps and such drops of its level."""
    facts = WindowFacts(findings, window)
    vars(facts.whole.lower).update(steps=steps, drops=drops)
    return facts


def fallen(onset_s: float, end_s: float, **others: object) -> Deceleration:
    """A deceleration from one second to another."""
    made = deceleration(DecelerationKind.PROLONGED, onset_s, nadir_s=onset_s + 20.0, end_s=end_s)
    return replace(made, **others)  # type: ignore[arg-type]


# ---------------------------------------------------------------- what lies in a window


@pytest.mark.parametrize(
    ("start_s", "end_s", "inside"),
    [
        (0.0, 600.0, False),
        (0.0, 600.5, True),
        (2400.0, 2500.0, False),
        (2399.5, 2500.0, True),
        (1000.0, 1100.0, True),
    ],
)
def test_what_only_touches_a_window_is_no_part_of_it(
    start_s: float, end_s: float, inside: bool
) -> None:
    findings = trace(40, artefacts=[mother(start_s, end_s)], decelerations=[fallen(start_s, end_s)])
    facts = seen(findings)
    assert facts.window.overlaps(start_s, end_s) is inside
    assert len(facts.suspected) == inside
    assert len(facts.falls.touching(np.ones(1, np.bool_))) == inside


@pytest.mark.parametrize(
    ("seconds", "parts"),
    [
        (600.0, [(0, 600)]),
        (299.0, [(0, 299)]),
        (899.0, [(0, 899)]),
        (900.0, [(0, 600), (600, 900)]),
        (1499.0, [(0, 600), (600, 1499)]),
        (1500.0, [(0, 600), (600, 1200), (1200, 1500)]),
    ],
)
def test_a_rest_of_under_five_minutes_joins_the_ten_before(
    seconds: float, parts: list[tuple[float, float]]
) -> None:
    facts = seen(trace(60), Window(1200.0, 1200.0 + seconds))
    assert [(a - 1200.0, b - 1200.0) for a, b in facts.levels.tens] == parts
    (first_s, end_s), *others = facts.levels.whole_tens
    assert (first_s, end_s) == (min(1200.0, 1200.0 + parts[0][1] - 600.0), 1200.0 + parts[0][1])
    assert others == list(facts.levels.tens[1:])


@pytest.mark.parametrize(
    ("valid", "words"), [(0.8, "in the window"), (0.79, "seen in the 79 % of")]
)
def test_of_what_a_number_is_said_turns_at_a_fifth_lost(valid: float, words: str) -> None:
    """Up to 20 % lost is workable (FIGO 2015)."""
    assert seen(trace(40, valid=valid)).seen_words.startswith(words)


def test_a_share_of_the_rate_is_slow_under_100_bpm_from_one_minute_seen_on() -> None:
    """NICE NG229: under 100 bpm."""
    rate = np.full(2400, NAN)
    rate[900:959] = 90.0
    assert math.isnan(seen(trace(40, rate=rate)).slow_share)
    rate[959] = 100.0
    assert seen(trace(40, rate=rate)).slow_share == 59 / 60


def test_the_longest_undulation_is_told_up_to_the_windows_end() -> None:
    waves = [
        sinusoidal(500.0, 1000.0),
        sinusoidal(2000.0, 2700.0),
        sinusoidal(700.0, 2300.0, pseudo=True),
    ]
    facts = seen(trace(50, undulation=waves))
    assert facts.longest_sinusoidal() == (500.0, waves[0])
    assert facts.longest_sinusoidal(pseudo=True) == (1600.0, waves[2])
    assert seen(trace(50, undulation=waves[1:2])).longest_sinusoidal() == (400.0, waves[1])
    assert seen(trace(50)).longest_sinusoidal() is None


# ---------------------------------------------------------------- mostly reduced variability


def band(*low: int, minutes: int = 60) -> list[float]:
    """A bandwidth of 12 bpm, and of 4 in some minutes."""
    return [4.0 if minute in low else 12.0 for minute in range(minutes)]


HALF_HOUR = Window(1800.0, 3600.0)


@pytest.mark.parametrize(
    ("low", "told"),
    [
        ((40, 41, 42, 43, 46, 47, 48, 49), (40, 50)),  # 8 of 10
        ((40, 41, 42, 43, 47, 48, 49), (40, 44)),  # 7 of 10, and the four of the longest without
        ((), None),
        ((50,), (50, 51)),
        ((29,), None),  # over where the window begins
        ((29, 30), (29, 31)),
        ((0, 1, 2, 59), (59, 60)),
    ],
)
def test_mostly_reduced_is_four_fifths_of_the_minutes_with_the_first_and_the_last(
    low: tuple[int, ...], told: tuple[int, int] | None
) -> None:
    found = seen(trace(60, bandwidth=band(*low)), HALF_HOUR).levels.mostly_reduced
    assert found == (None if told is None else Window(60.0 * told[0], 60.0 * told[1]))


def test_mostly_reduced_is_looked_for_in_the_hour_that_ends_with_the_window() -> None:
    facts = seen(trace(90, bandwidth=band(*range(20, 90), minutes=90)), Window(3600.0, 5400.0))
    assert facts.levels.mostly_reduced == Window(1800.0, 5400.0)


@pytest.mark.parametrize(("lost", "told"), [((43, 46), (40, 50)), ((43, 44, 46), (47, 50))])
def test_mostly_reduced_is_broken_where_over_a_fifth_was_not_measured(
    lost: tuple[int, ...], told: tuple[int, int]
) -> None:
    each = band(*range(40, 50))
    for minute in lost:
        each[minute] = NAN
    found = seen(trace(60, bandwidth=each), HALF_HOUR).levels.mostly_reduced
    assert found is not None
    assert found.end_s == 60.0 * told[1]
    assert (found.start_s == 60.0 * told[0]) is (len(lost) == 2)


@pytest.mark.parametrize(
    ("bandwidth", "low"), [(5.1, False), (4.9, True), (1.0, True), (12.0, False)]
)
def test_low_is_what_is_absent_or_minimal(bandwidth: float, low: bool) -> None:
    """NICHD 2008: minimal is up to 5 bpm."""
    assert seen(trace(40, bandwidth=bandwidth)).levels.low_variability is low


def test_low_is_a_half_hour_with_less_than_5_bpm_whatever_its_tens_are_called() -> None:
    one_low_ten = [12.0] * 30 + [4.0] * 10 + [12.0] * 20
    assert seen(trace(60, bandwidth=one_low_ten), HALF_HOUR).levels.low_variability
    assert not seen(trace(60, bandwidth=one_low_ten), Window(2400.0, 3600.0)).levels.low_variability


# ---------------------------------------------------------------- falls of the baseline itself


@pytest.mark.parametrize(
    ("start_s", "until_s", "length_s", "recovered"),
    [
        (600.0, 900.0, 300.0, True),
        (599.0, 900.0, None, True),
        (2280.0, math.inf, 120.0, False),
        (2280.5, math.inf, None, False),
        (1000.0, 2400.0, 1400.0, True),
        (1000.0, 2401.0, 1400.0, False),
        (2400.0, math.inf, None, False),
    ],
)
def test_a_drop_of_the_level_is_a_long_fall_of_two_minutes_that_begins_in_the_window(
    start_s: float, until_s: float, length_s: float | None, recovered: bool
) -> None:
    """NICHD 2008: prolonged from two minutes on."""
    facts = seen(trace(40), drops=(Drop(start_s, until_s, 150.0, 118.0),))
    told = [(one.onset_s, one.duration_s, one.depth_bpm, one.recovered) for one in facts.falls.long]
    assert told == ([] if length_s is None else [(start_s, length_s, 32.0, recovered)])
    assert all(one.nadir_bpm == 118.0 and one.to_a_level for one in facts.falls.long)


STEP = Drop(1500.0, math.inf, 150.0, 120.0)


@pytest.mark.parametrize(
    ("step", "told"),
    [
        (STEP, True),
        (replace(STEP, start_s=600.0), True),
        (replace(STEP, start_s=599.0), False),
        (replace(STEP, start_s=2220.0), True),
        (replace(STEP, start_s=2221.0), False),
        (replace(STEP, until_s=2400.0), False),
        (replace(STEP, until_s=2400.5), True),
    ],
)
def test_a_step_down_is_told_from_three_minutes_on_until_it_has_come_back(
    step: Drop, told: bool
) -> None:
    """Three minutes: ours."""
    facts = seen(trace(40), steps=(step,))
    assert [one.onset_s for one in facts.falls.long] == ([step.start_s] if told else [])
    for one in facts.falls.long:
        assert one == LongFall(step.start_s, 2400.0, 30.0, 120.0, recovered=False, to_a_level=True)
    came_back = step.until_s <= 2400.0
    assert facts.falls.long_weigh is (told or came_back)
    where = (Window(step.start_s, 2400.0),)
    assert facts.falls.long_where == (where if told or came_back else ())


@pytest.mark.parametrize(
    ("start_s", "until_s", "weighs"),
    [
        (600.0, 720.0, True),
        (600.0, 719.0, False),
        (599.0, 900.0, False),
        (2280.0, 2400.0, True),
    ],
)
def test_a_step_down_that_came_back_weighs_from_two_minutes_on_and_is_no_long_fall(
    start_s: float, until_s: float, weighs: bool
) -> None:
    """NICHD 2008: prolonged from two minutes on; that the baseline followed it is ours to say."""
    falls = seen(trace(40), steps=(replace(STEP, start_s=start_s, until_s=until_s),)).falls
    assert falls.long == ()
    assert falls.long_weigh is weighs
    assert falls.long_where == ((Window(start_s, until_s),) if weighs else ())


def test_of_two_steps_the_first_that_has_not_come_back_is_told() -> None:
    over = replace(STEP, start_s=700.0, until_s=1000.0)
    facts = seen(trace(40), steps=(over, STEP, replace(STEP, start_s=2000.0)))
    assert [one.onset_s for one in facts.falls.long] == [1500.0]


@pytest.mark.parametrize("open_from_s", [2200.0, 2300.0])
def test_a_step_is_told_whole_where_a_deceleration_on_its_level_is_open(open_from_s: float) -> None:
    """The deceleration, whether long itself or not, is then its last piece."""
    fall = fallen(open_from_s, 2400.0, recovered=False)
    falls = seen(trace(40, decelerations=[fall]), steps=(STEP,)).falls
    assert [(one.onset_s, one.end_s, one.recovered) for one in falls.long] == [
        (1500.0, 2400.0, False)
    ]
    assert falls.long[0].nadir_bpm == (fall.nadir_bpm if open_from_s == 2200.0 else STEP.to_bpm)


@pytest.mark.parametrize(("before_s", "onset_s"), [(60.0, 2140.0), (59.0, 2200.0)])
def test_a_step_that_comes_with_an_open_deceleration_is_that_fall(
    before_s: float, onset_s: float
) -> None:
    """Begun within a minute of each other they are one."""
    fall = fallen(2200.0, 2400.0, recovered=False)
    step = replace(STEP, start_s=2200.0 - before_s)
    falls = seen(trace(40, decelerations=[fall]), steps=(step,)).falls
    assert [one.onset_s for one in falls.long] == [onset_s]


@pytest.mark.parametrize(
    ("onset_s", "end_s", "depth_bpm", "nadir_bpm", "one"),
    [
        (1441.0, 1600.0, 50.0, 100.0, (1441.0, 50.0, 100.0)),  # they begin together
        (1559.0, 1700.0, 20.0, 130.0, (1500.0, 30.0, 120.0)),  # and the step is the deeper
        (1440.0, 1600.0, 50.0, 100.0, None),  # a minute apart
        (1560.0, 1700.0, 50.0, 100.0, None),
    ],
)
def test_a_fall_that_begins_with_a_step_is_its_first_part(
    onset_s: float,
    end_s: float,
    depth_bpm: float,
    nadir_bpm: float,
    one: tuple[float, float, float] | None,
) -> None:
    fall = fallen(onset_s, end_s, depth_bpm=depth_bpm, nadir_bpm=nadir_bpm)
    facts = seen(trace(40, decelerations=[fall]), steps=(STEP,))
    told = [(x.onset_s, x.end_s, x.depth_bpm, x.nadir_bpm, x.recovered) for x in facts.falls.long]
    if one is not None:
        assert told == [(one[0], 2400.0, one[1], one[2], False)]
    else:
        assert told == [
            (1500.0, 2400.0, 30.0, 120.0, False),
            (onset_s, end_s, depth_bpm, nadir_bpm, True),
        ]


def settled(
    *,
    start_s: float = 1500.0,
    to_bpm: float = 120.0,
    bandwidth: float = 12.0,
    rise_onset_s: float = 1800.0,
    end_s: float = 2400.0,
) -> bool:
    """Whether a step is taken for a new baseline."""
    rise = acceleration(rise_onset_s + 15.0)
    findings = trace(50, bandwidth=bandwidth, accelerations=[rise])
    step = replace(STEP, start_s=start_s, to_bpm=to_bpm)
    facts = seen(findings, Window(600.0, end_s), steps=(step,))
    is_settled = facts.falls.settled_step is not None
    assert is_settled is (not facts.falls.long)
    return is_settled


def test_a_lower_level_settles_on_the_borders_of_all_that_is_asked_of_it() -> None:
    """NICHD 2008: ten minutes, 110 bpm, 6 to 25 bpm; an acceleration from a minute on (ours)."""
    assert settled()
    assert settled(start_s=1800.0, rise_onset_s=1900.0)
    assert not settled(start_s=1801.0, rise_onset_s=1900.0)
    assert settled(to_bpm=110.0)
    assert not settled(to_bpm=109.9)
    assert not settled(bandwidth=4.9)
    assert not settled(bandwidth=26.0)
    assert settled(rise_onset_s=1560.0)
    assert not settled(rise_onset_s=1559.0)


def test_beside_a_fall_that_was_longer_a_settled_level_is_not_told_again() -> None:
    rises = [acceleration(1815.0)]
    for length_s, told in ((120.0, True), (899.0, True), (900.0, False)):
        fall = fallen(600.0, 600.0 + length_s)
        findings = trace(40, accelerations=rises, decelerations=[fall])
        facts = seen(findings, Window(0.0, 2400.0), steps=(STEP,))
        for alarming in (None, figo.PROLONGED):
            builder = ClassBuilder(nichd.TABLE, facts)
            check_settled(builder, facts, alarming)
            why = builder.close().refusal
            assert bool(why) is told
            if told:
                assert "from 150 to 120 bpm 15 min before the end" in why[0]


def test_a_settled_level_is_open_only_where_so_long_a_fall_is_alarming() -> None:
    """FIGO 2015: a fall of over five minutes is pathological; NICHD has no such length."""
    facts = seen(trace(40, accelerations=[acceleration(1815.0)]), steps=(STEP,))
    for rule, opened in ((figo.PROLONGED_5, True), (None, False)):
        builder = ClassBuilder(figo.TABLE, facts)
        check_settled(builder, facts, rule)
        assert any(one.rule == limits.OPEN.id for one in builder.close().reasons) is opened


# ---------------------------------------------------------------- open falls, falls into loss


def test_a_fall_is_open_until_it_was_seen_back_by_the_windows_end() -> None:
    for end_s, recovered, is_open in (
        (2400.0, True, False),
        (2400.5, True, True),
        (2000.0, False, True),
    ):
        fall = fallen(1990.0, end_s, recovered=recovered)
        assert (seen(trace(45, decelerations=[fall])).falls.open_fall is not None) is is_open
    two = [fallen(2290.0, 2500.0, recovered=False), fallen(2350.0, 2500.0, recovered=False)]
    assert seen(trace(45, decelerations=two)).falls.open_fall == two[1]
    shallow = fallen(2350.0, 2500.0, shallow=True)
    assert seen(trace(45, decelerations=[shallow])).falls.open_fall is None


@pytest.mark.parametrize(("so_far_s", "weighs"), [(60.0, False), (60.5, True)])
def test_a_fall_that_the_window_ends_in_weighs_from_over_a_minute(
    so_far_s: float, weighs: bool
) -> None:
    """As a concerning one (NICE NG229); of an open one ours."""
    fall = fallen(2400.0 - so_far_s, 2600.0)
    facts = seen(trace(45, decelerations=[fall]))
    assert facts.falls.open_for_long is weighs
    assert facts.falls.long_weigh is weighs


def lost_after(end_s: float, seconds: int, **others: object) -> tuple[Findings, Deceleration]:
    """A fall that was not seen to recover, and so many seconds without signal after it."""
    rate = np.full(2700, 140.0)
    rate[int(end_s) : int(end_s) + seconds] = NAN
    rate[:30] = NAN
    fall = fallen(end_s - 100.0, end_s, recovered=False)
    fall = replace(fall, **others)  # type: ignore[arg-type]
    return trace(45, rate=rate, decelerations=[fall]), fall


@pytest.mark.parametrize(("seconds", "told"), [(45, False), (46, True), (300, True)])
def test_a_fall_may_have_gone_on_through_more_than_45_s_of_lost_signal(
    seconds: int, told: bool
) -> None:
    """A fall is followed over 45 s (ours)."""
    findings, fall = lost_after(1500.0, seconds)
    assert seen(findings).falls.fall_into_loss == ((fall, 1500.0 + seconds) if told else None)


@pytest.mark.parametrize(("end_s", "told"), [(2354.0, True), (2355.0, False)])
def test_what_is_lost_at_the_end_counts_to_the_windows_end(end_s: float, told: bool) -> None:
    findings, fall = lost_after(end_s, 300)
    assert seen(findings).falls.fall_into_loss == ((fall, 2400.0) if told else None)


def test_no_fall_went_into_lost_signal_that_was_seen_back_or_of_a_rate_that_is_not_kept() -> None:
    findings, _ = lost_after(1500.0, 300, recovered=True)
    assert seen(findings).falls.fall_into_loss is None
    unkept = trace(40, decelerations=[fallen(1000.0, 1100.0, recovered=False)])
    assert seen(unkept).falls.fall_into_loss is None


def test_of_falls_into_lost_signal_the_one_that_may_have_lasted_longest_is_told() -> None:
    rate = np.full(2400, 140.0)
    rate[1000:1100] = rate[1500:1800] = rate[2000:2050] = NAN
    falls = [fallen(at - 100.0, at, recovered=False) for at in (1000.0, 1500.0, 2000.0)]
    facts = seen(trace(40, rate=rate, decelerations=falls))
    assert facts.falls.fall_into_loss == (falls[1], 1800.0)


def test_a_rate_lost_for_good_is_lost_to_the_windows_end() -> None:
    rate = np.full(2400, 140.0)
    rate[1500:] = NAN
    fall = fallen(1400.0, 1500.0, recovered=False)
    facts = seen(trace(40, rate=rate, decelerations=[fall]), Window(600.0, 2200.0))
    assert facts.falls.fall_into_loss == (fall, 2200.0)


def test_what_was_lost_about_a_fall_is_a_share_of_it_and_45_s_to_each_side() -> None:
    valid = [1.0] * 20 + [0.0] * 2 + [1.0] * 23
    facts = seen(trace(45, valid=valid))
    inside = LongFall(1245.0, 1355.0, 40.0, 100.0, recovered=True)
    assert facts.falls.lost_about(inside) == pytest.approx(120.0 / 200.0)
    at_the_end = replace(inside, onset_s=1305.0, end_s=2400.0)
    assert facts.falls.lost_about(at_the_end) == pytest.approx(60.0 / 1140.0)


def halving(*spans: tuple[float, float]) -> list[Artefact]:
    return [Artefact(ArtefactKind.HALVING, a, b, 0.9, "half as fast") for a, b in spans]


@pytest.mark.parametrize(
    ("spans", "told"),
    [
        ([(700.0, 800.0), (859.0, 900.0)], (700.0, 900.0)),
        ([(700.0, 800.0), (860.0, 900.0)], (700.0, 800.0)),
        ([(700.0, 760.0), (860.0, 960.0)], (860.0, 960.0)),
        ([(700.0, 900.0), (710.0, 760.0)], (700.0, 900.0)),
        ([(400.0, 650.0)], (600.0, 650.0)),
        ([(2350.0, 2500.0)], (2350.0, 2400.0)),
        ([(400.0, 600.0)], None),
    ],
)
def test_stretches_of_a_halved_rate_with_under_a_minute_between_them_are_one(
    spans: list[tuple[float, float]], told: tuple[float, float] | None
) -> None:
    """Were the rate the fetus's own: a minute is ours."""
    facts = seen(trace(45, artefacts=[*halving(*spans), mother(1000.0, 2000.0)]))
    assert facts.falls.maybe_slow == (None if told is None else Window(*told))


# ---------------------------------------------------------------- contractions


@pytest.mark.parametrize(
    ("certainty", "sensor", "rate"),
    [
        (0.5, SensorKind.TOCO, 6.0),
        (0.49, SensorKind.TOCO, 4.0),
        (0.49, SensorKind.UNKNOWN, 4.0),
        (0.49, SensorKind.PRESSURE_CATHETER, 6.0),
    ],
)
def test_a_hill_of_a_toco_counts_from_a_certainty_of_a_half(
    certainty: float, sensor: SensorKind, rate: float
) -> None:
    """Six in ten minutes, a third of them of such a certainty (a half: ours)."""
    squeezes = [
        replace(one, certainty=1.0 if place % 3 else certainty)
        for place, one in enumerate(contractions(30, every_s=100.0, first_s=50.0, duration_s=40.0))
    ]
    facts = seen(trace(30, uterus=squeezes, sensor=sensor), Window(0.0, 1800.0))
    assert facts.tachysystole.answer is True, "more than 5 (Macones 2008)"
    sure, told = facts.likely_contractions(facts.tachysystole)
    assert sure == pytest.approx(rate)
    assert bool(told) is (rate < 6.0)
    doubt = facts.doubt_of_tachysystole(facts.tachysystole)
    assert bool(doubt) is (rate < 6.0)
    if doubt:
        assert doubt.startswith("contractions: 6 of 18 hills of the toco are doubtful")
        assert doubt.endswith(
            "without them there are 4.0 in 10 min, not 6.0; feel the contractions"
        )


def test_a_tachysystole_that_the_sure_hills_make_alone_is_not_doubted() -> None:
    squeezes = [
        replace(one, certainty=0.4 if place % 9 == 0 else 1.0)
        for place, one in enumerate(contractions(30, every_s=100.0, first_s=50.0, duration_s=40.0))
    ]
    facts = seen(trace(30, uterus=squeezes), Window(0.0, 1800.0))
    assert facts.likely_contractions(facts.tachysystole)[0] == pytest.approx(16 / 3)
    assert facts.doubt_of_tachysystole(facts.tachysystole) == ""


# ---------------------------------------------------------------- what counts as late


@pytest.mark.parametrize(("with_late", "bandwidth", "counted"), [(1, 12.0, 0), (2, 12.0, 2),
                                                                 (1, 4.0, 1)])  # fmt: skip
def test_shallow_late_falls_count_with_half_of_the_contractions_or_beside_flat_variability(
    with_late: int, bandwidth: float, counted: int
) -> None:
    """NICHD 2008 asks a depth of variable decelerations only; half: as recurrent."""
    squeezes = contractions(20, every_s=300.0, first_s=150.0)
    falls = [late(one, depth=12.0, shallow=True) for one in squeezes[:with_late]]
    facts = seen(
        trace(20, uterus=squeezes, decelerations=falls, bandwidth=bandwidth), Window(0.0, 1200.0)
    )
    assert len(facts.falls.touching(facts.late)) == counted


@pytest.mark.parametrize(("deep", "joined"), [(1, False), (2, True)])
def test_a_prolonged_fall_joins_a_pattern_of_two(deep: int, joined: bool) -> None:
    """It hides those that would have come with its contractions (ours)."""
    squeezes = contractions(40)
    falls = [*(variable(one) for one in squeezes[3 : 3 + deep]), fallen(1800.0, 2000.0)]
    facts = seen(trace(40, uterus=squeezes, decelerations=falls))
    masks = (facts.recurring_variable, facts.of_kind(DecelerationKind.VARIABLE))
    assert [int(mask.sum()) for mask in masks] == [deep + joined] * 2


@pytest.mark.parametrize(("deep", "count"), [(1, 1), (2, 3)])
def test_abrupt_falls_late_in_their_timing_join_two_late_ones(deep: int, count: int) -> None:
    """A beat decides between 29 and 31 s from onset to nadir (ours)."""
    squeezes = contractions(40)
    abrupt = replace(late(squeezes[8]), kind=DecelerationKind.VARIABLE, abrupt=True)
    falls = [*(late(one) for one in squeezes[3 : 3 + deep]), abrupt]
    facts = seen(trace(40, uterus=squeezes, decelerations=falls))
    assert int(facts.recurring_late.sum()) == count
    assert int(facts.of_kind(DecelerationKind.LATE).sum()) == count


# ---------------------------------------------------------------- beside the class


@pytest.mark.parametrize(
    ("start_s", "end_s", "words"),
    [
        (700.4, 709.2, "9 s from 0:11:40 to 0:11:50 are not relied on"),
        (700.0, 701.0, "1 s from 0:11:40 to 0:11:41 is not relied on"),
        (700.0, 701.5, "2 s from 0:11:40 to 0:11:42 are not relied on"),
        (700.0, 700.9, "under 1 s from 0:11:40 to 0:11:41 is not relied on"),
    ],
)
def test_seconds_not_relied_on_are_told_from_the_first_to_the_last(
    start_s: float, end_s: float, words: str
) -> None:
    found = judged(Standard.NICHD, trace(40, artefacts=[mother(start_s, end_s)]))
    assert any(what.startswith(words) for what in found.not_assessed), found.not_assessed


@pytest.mark.parametrize(("band_of_part", "minutes", "told"), [(NAN, 5, True), (NAN, 4, False)])
def test_nichd_variability_of_five_minutes_that_was_not_measured_is_told(
    band_of_part: float, minutes: int, told: bool
) -> None:
    each = [12.0] * 10 + [band_of_part] * minutes
    found = judged(
        Standard.NICHD,
        trace(10 + minutes, bandwidth=each),
        window=Window(0.0, 600.0 + 60 * minutes),
    )
    assert any("could not be measured" in why for why in found.refusal) is told


def test_nichd_the_deepest_of_the_long_falls_is_told_whether_longest_or_not() -> None:
    falls = [fallen(700.0, 1000.0, depth_bpm=30.0), fallen(1500.0, 1650.0, depth_bpm=55.0)]
    found = judged(Standard.NICHD, trace(40, decelerations=falls), window=WINDOW)
    (said,) = [one for one in found.reasons if one.rule == "nichd-prolonged"]
    assert said.value == 5.0
    assert "2 in the window, the deepest 55 bpm" in said.text


def test_what_is_not_recovered_is_told_in_minutes() -> None:
    fall = fallen(2100.0, 2700.0, depth_bpm=45.0, nadir_bpm=95.0)
    found = judged(Standard.NICHD, trace(50, decelerations=[fall]), window=WINDOW)
    assert "not recovered at the end: a fall of 5 min so far, 45 bpm deep, down to 95 bpm" in (
        found.beyond
    )


@pytest.mark.parametrize(("value", "said"), [(28.4, False), (28.6, True), (31.5, True),
                                             (31.6, False)])  # fmt: skip
def test_near_is_within_a_twentieth_of_a_limit(value: float, said: bool) -> None:
    """Of 30 min (FIGO 2015: more than 30): 28.5 to 31.5 (a twentieth: ours)."""
    assert figo.LATE_LONG.threshold == 30.0
    builder = ClassBuilder(figo.TABLE, window_facts(trace(40), WINDOW))
    builder.near(figo.LATE_LONG, value)
    if figo.LATE_LONG.met(value):
        builder.add(figo.LATE_LONG, value)
    assert bool(builder.close().edge) is said


@pytest.mark.parametrize(("value", "said"), [(108.9, False), (109.0, True), (111.0, True),
                                             (111.1, False)])  # fmt: skip
def test_near_is_within_1_bpm_of_a_limit_of_the_baseline(value: float, said: bool) -> None:
    """Of 110 bpm (NICHD 2008); 1 bpm: ours."""
    builder = ClassBuilder(nichd.TABLE, window_facts(trace(40), WINDOW))
    builder.near(nichd.BRADYCARDIA, value)
    if nichd.BRADYCARDIA.met(value):
        builder.add(nichd.BRADYCARDIA, value)
    assert bool(builder.close().edge) is said


def test_variabilities_are_known_whose_class_could_be_told() -> None:
    facts = seen(trace(40, bandwidth=[12.0] * 20 + [NAN] * 10 + [30.0] * 10), Window(0.0, 2400.0))
    kinds = [one.variability for one in facts.levels.variabilities]
    moderate, marked = VariabilityClass.MODERATE, VariabilityClass.MARKED
    assert kinds == [moderate, moderate, VariabilityClass.INDETERMINATE, marked]
    assert len(facts.levels.known_variabilities) == 3
    assert facts.levels.measured_minutes == 30.0
    assert len(facts.levels.variability_of(marked)) == 1


def test_a_settled_step_is_said_above_the_class_with_its_minutes() -> None:
    facts = seen(trace(40, accelerations=[acceleration(1815.0)]), steps=(STEP,))
    builder = ClassBuilder(nichd.TABLE, facts)
    say_beyond_the_letter(builder, facts)
    assert builder.close().beyond == (
        "not recovered at the end: a fall from 150 down to 120 bpm, for 15 min so far; it may be "
        "the mother's: feel her pulse",
    )


@pytest.mark.parametrize(("bandwidth", "rises", "counted"), [(4.0, 0, 1), (4.0, 1, 0),
                                                             (12.0, 0, 0)])  # fmt: skip
def test_figo_shallow_late_falls_count_with_reduced_variability_and_no_acceleration(
    bandwidth: float, rises: int, counted: int
) -> None:
    """FIGO 2015: in a tracing with no accelerations and reduced variability 10 to 15 bpm count."""
    squeezes = contractions(40)
    fall = late(squeezes[5], depth=12.0, onset_lag_s=35.0, shallow=True)
    facts = seen(
        trace(
            40,
            uterus=squeezes,
            decelerations=[fall],
            bandwidth=bandwidth,
            accelerations=[acceleration(900.0)] * rises,
        )
    )
    assert int(of_any_kind(facts).sum()) == counted


@pytest.mark.parametrize(("whole", "lost", "told"), [(0.7, 0.1, True), (1.0, 0.1, False),
                                                     (0.7, 0.0, False)])  # fmt: skip
def test_figo_falls_late_in_their_timing_of_which_a_part_was_lost_may_be_late_in_form(
    whole: float, lost: float, told: bool
) -> None:
    """FIGO 2015: late for more than 30 minutes is pathological."""
    squeezes = contractions(70)
    falls = [
        replace(
            late(one, onset_lag_s=35.0, return_s=15.0),
            abrupt=True,
            kind=DecelerationKind.VARIABLE,
            onset_to_nadir_s=20.0,
            valid_share=whole,
        )
        for one in squeezes
    ]
    findings = trace(70, uterus=squeezes, decelerations=falls, valid=1.0 - lost)
    found = judged(Standard.FIGO, findings, minutes=60.0)
    assert any("late in their timing" in why for why in found.refusal) is told


@pytest.mark.parametrize(("bandwidth", "told"), [(NAN, True), (12.0, False)])
def test_nichd_a_bradycardia_with_variability_unknown_may_be_category_iii(
    bandwidth: float, told: bool
) -> None:
    """NICHD 2008: bradycardia with absent variability is Category III."""
    found = judged(Standard.NICHD, trace(40, baseline=95.0, bandwidth=bandwidth))
    assert any("the bradycardia would make Category III" in why for why in found.refusal) is told


@pytest.mark.parametrize(("end_s", "onset_s"), [(1500.0, 1300.0), (1499.5, 1500.0)])
def test_a_fall_that_was_not_seen_back_when_a_step_came_is_its_first_part(
    end_s: float, onset_s: float
) -> None:
    open_piece = LongFall(1300.0, end_s, 20.0, 130.0, recovered=False)
    facts = seen(trace(40), steps=(STEP,))
    *others, goes_on = facts.falls._with_step([open_piece])
    assert goes_on.onset_s == onset_s
    assert others == ([] if onset_s == 1300.0 else [open_piece])
