"""What is made of measured excursions and waves, against the rules stated once more in loops.

Limits of length, depth and timing are those of NICHD 2008 (Macones); shares and doubts are ours,
as the modules state them, and typed here a second time. The values drawn lie on every limit and on
both sides of it.
"""

from __future__ import annotations

import itertools
import math
from statistics import median

import numpy as np
import pytest

from criteria.build import acceleration, contraction, deceleration, sinusoidal
from ebbline.features import events, half_waves, suspects
from ebbline.features import excursions as ex
from ebbline.features import sinusoidal as waves
from ebbline.features.findings import (
    NO_CONTRACTION,
    Artefact,
    ArtefactKind,
    Contraction,
    DecelerationKind,
    SinusoidalEpisode,
)

RATE = 4.0
Draw = np.random.Generator


def drawn_rows(draw: Draw, count: int) -> np.ndarray:
    """Rows of excursions with values on the limits and beside them."""
    rows = np.zeros((count, ex.COLUMNS))
    for row in rows:
        onset = draw.uniform(0.0, 3000.0)
        length = draw.choice(
            [10.0, 15.0, 16.0, 24.75, 25.0, 29.75, 30.0, 60.0, 119.75, 120.0, 200.0]
        )
        to_extreme = min(length, draw.choice([5.0, 12.0, 29.75, 30.0, 30.25, 50.0]))
        row[ex.ONSET], row[ex.END] = RATE * onset, RATE * (onset + length)
        row[ex.EXTREME] = RATE * (onset + to_extreme)
        row[ex.TO_EXTREME] = RATE * to_extreme
        row[ex.RETURN] = RATE * draw.choice([10.0, 29.75, 30.0, 30.25, 45.0])
        row[ex.AMPLITUDE] = draw.choice([7.0, 10.0, 14.9, 15.0, 22.4, 22.5, 40.0])
        row[ex.BASELINE] = draw.uniform(110.0, 160.0)
        row[ex.AREA] = draw.uniform(100.0, 9000.0)
        row[ex.VALID_SHARE] = draw.choice([0.33, 1 / 3, 0.5, 1.0])
        row[ex.WITHIN] = draw.uniform(0.0, 20.0)
        row[ex.SHOULDER_BEFORE] = draw.choice([0.0, 0.1, 8.0])
        row[ex.SHOULDER_AFTER] = draw.choice([0.0, 0.1, 25.0, 25.1])
        row[ex.OVERSHOOT] = draw.choice([0.0, 25.0, 25.1])
        row[ex.FAILS_TO_RETURN] = draw.choice([0.0, 1.0])
        row[ex.CUT] = draw.choice([0.0, 1.0, 2.0, 3.0, 4.0, 7.0])
        row[ex.SEEN_OFF] = RATE * draw.choice([6.5, 6.75, 9.75, 10.0, 40.0])
        row[ex.BY_STEPS] = draw.choice([0.0, 0.49, 0.5, 1.0])
    return rows


def its_contraction(squeezes: list[Contraction], onset: float, extreme: float) -> int:
    """The one whose peak the extreme follows most nearly by 12 s, of those in whose reach it is:
    from 20 s before its onset to 60 s after its end, begun 45 s before to 15 s after."""
    near = [
        (abs(extreme - c.peak_s - 12.0), place)
        for place, c in enumerate(squeezes)
        if c.onset_s - 20 <= extreme <= c.end_s + 60 and c.onset_s - 45 <= onset <= c.end_s + 15
    ]
    return min(near)[1] if near else NO_CONTRACTION


def certainty(row: np.ndarray, least: float, sure: float) -> float:
    clear = 1 - math.exp(-(row[ex.AMPLITUDE] - least) / 6) / 2
    doubts = (0.8 if row[ex.CUT] else 1.0) * (0.5 if row[ex.BY_STEPS] >= 0.5 else 1.0)
    return float(clear * doubts * sure * (0.25 + 0.75 * row[ex.VALID_SHARE]))


def is_seen(row: np.ndarray, least: float) -> bool:
    """Two thirds of the least length were seen off the baseline, to half a sample, and a third of
    the whole."""
    return row[ex.SEEN_OFF] / RATE >= least * 2 / 3 - 0.13 and row[ex.VALID_SHARE] >= 1 / 3


def labour_of(draw: Draw) -> tuple[np.ndarray, list[Contraction], np.ndarray]:
    squeezes = [contraction(float(p), duration_s=60.0) for p in np.sort(draw.uniform(0, 3300, 14))]
    return drawn_rows(draw, 40), squeezes, draw.uniform(0.2, 1.0, 3200)


@pytest.mark.parametrize("seed", range(6))
def test_decelerations_are_named_and_measured_as_stated(seed: int) -> None:
    """Macones 2008: abrupt under 30 s, prolonged from 2 min; late by over 14 s (ours)."""
    rows, squeezes, sure = labour_of(np.random.default_rng(seed))
    left = events.decelerations_from(rows, squeezes, sure, RATE)
    for row in rows:
        onset, nadir, end = (float(row[k]) / RATE for k in (ex.ONSET, ex.EXTREME, ex.END))
        place = its_contraction(squeezes, onset, nadir)
        paired, shallow = place != NO_CONTRACTION, row[ex.AMPLITUDE] < 15
        abrupt = row[ex.TO_EXTREME] / RATE < 30
        if not is_seen(row, 15.0) or (shallow and (abrupt or not paired)):
            continue
        made = left.pop(0)
        lag = nadir - squeezes[place].peak_s if paired else math.nan
        if end - onset >= 120 and not shallow:
            kind = DecelerationKind.PROLONGED
        elif abrupt:
            kind = DecelerationKind.VARIABLE
        elif not paired:
            kind = DecelerationKind.GRADUAL_UNPAIRED
        else:
            kind = DecelerationKind.LATE if lag > 14 else DecelerationKind.EARLY
        assert (made.kind, made.contraction, made.abrupt, made.shallow) == (
            kind, place, abrupt, shallow
        )  # fmt: skip
        assert (made.onset_s, made.nadir_s, made.end_s) == (onset, nadir, end)
        assert made.depth_bpm == row[ex.AMPLITUDE]
        assert made.nadir_bpm == row[ex.BASELINE] - row[ex.AMPLITUDE]
        assert made.baseline_bpm == row[ex.BASELINE]
        assert made.onset_to_nadir_s == row[ex.TO_EXTREME] / RATE
        assert made.return_s == row[ex.RETURN] / RATE
        assert made.slow_return is bool(row[ex.RETURN] / RATE > 30)
        assert made.area_bpm_s == row[ex.AREA] / RATE
        assert made.variability_within_bpm == row[ex.WITHIN]
        assert made.shoulder_before is bool(row[ex.SHOULDER_BEFORE] > 0)
        assert made.shoulder_after is bool(0 < row[ex.SHOULDER_AFTER] <= 25)
        assert made.overshoot is bool(row[ex.OVERSHOOT] > 25)
        assert made.fails_to_return is bool(row[ex.FAILS_TO_RETURN])
        assert made.valid_share == row[ex.VALID_SHARE]
        assert made.recovered is bool(row[ex.CUT] < 4)
        assert made.certainty == pytest.approx(certainty(row, 6.5, sure[min(3199, int(nadir))]))
        if paired:
            assert made.lag_s == lag
            assert made.onset_lag_s == onset - squeezes[place].onset_s
        else:
            assert math.isnan(made.lag_s) and math.isnan(made.onset_lag_s)
    assert left == []


@pytest.mark.parametrize(
    ("least", "seed"), list(itertools.product([(15.0, 15.0), (10.0, 10.0)], range(4)))
)
def test_accelerations_are_measured_as_stated_and_shoulders_are_none(
    least: tuple[float, float], seed: int
) -> None:
    """Macones 2008: 15 bpm and 15 s, 10 and 10 before 32 weeks; low brief rises (under 1.5 times
    the least height, under 25 s) within 6 s of a variable fall's edge are its shoulders (ours)."""
    draw = np.random.default_rng(seed)
    rows, squeezes, sure = labour_of(draw)
    falls = []
    for row in rows[::2]:
        edge = float(row[ex.END]) / RATE + draw.choice([5.9, 6.0, 6.1])
        kind = draw.choice(
            [DecelerationKind.VARIABLE, DecelerationKind.VARIABLE, DecelerationKind.LATE]
        )
        falls.append(deceleration(kind, edge, nadir_s=edge + 10, end_s=edge + 40))
    for row in rows[1::4]:
        edge = float(row[ex.ONSET]) / RATE - draw.choice([5.9, 6.1])
        falls.append(
            deceleration(DecelerationKind.VARIABLE, edge - 40, nadir_s=edge - 20, end_s=edge)
        )
    edges = [
        t for f in falls if f.kind is DecelerationKind.VARIABLE for t in (f.onset_s, f.end_s)
    ]  # fmt: skip
    left = events.accelerations_from(rows, squeezes, falls, sure, least, RATE)
    for row in rows:
        onset, peak, end = (float(row[k]) / RATE for k in (ex.ONSET, ex.EXTREME, ex.END))
        beside = any(abs(edge - t) < 6 for edge in edges for t in (onset, end))
        shoulder = beside and row[ex.AMPLITUDE] < 1.5 * least[0] and end - onset < 25
        if not is_seen(row, least[1]) or shoulder:
            continue
        made = left.pop(0)
        assert (made.onset_s, made.peak_s, made.end_s) == (onset, peak, end)
        assert (made.height_bpm, made.baseline_bpm) == (row[ex.AMPLITUDE], row[ex.BASELINE])
        assert made.onset_to_peak_s == row[ex.TO_EXTREME] / RATE
        assert made.abrupt is bool(row[ex.TO_EXTREME] / RATE < 30)
        assert made.prolonged is bool(end - onset >= 120)
        assert made.contraction == its_contraction(squeezes, onset, peak)
        assert made.valid_share == row[ex.VALID_SHARE]
        assert made.certainty == pytest.approx(certainty(row, least[0], sure[min(3199, int(peak))]))
    assert left == []


def test_a_brief_piece_that_comes_and_goes_in_steps_is_between_jumps() -> None:
    rows = drawn_rows(np.random.default_rng(9), 200)
    meant = [
        (row[ex.END] - row[ex.ONSET]) / RATE < 30 and row[ex.BY_STEPS] >= 0.5 for row in rows
    ]  # fmt: skip
    assert events.between_jumps(rows, RATE).tolist() == meant
    assert 0 < sum(meant) < 200
    made = suspects.other_pieces([rows[:2], rows[2:3]])
    assert [(one.start_s, one.end_s) for one in made] == [
        (row[ex.ONSET] / 4, row[ex.END] / 4) for row in rows[:3]
    ]
    assert {one.kind for one in made} == {ArtefactKind.SPIKE}


def test_shallow_falls_are_kept_where_they_stand_out_of_the_roughness() -> None:
    """From 10 bpm always; under it from six times the roughness about them (ours)."""
    rows = drawn_rows(np.random.default_rng(10), 200)
    rough = np.random.default_rng(11).choice([7.0 / 6.0, 1.0, 1.2, 3.0], 40)
    kept = events.standing_out(rows, rough, 240)
    meant = [
        row
        for row in rows
        if row[ex.AMPLITUDE] >= 10
        or row[ex.AMPLITUDE] >= 6 * rough[min(39, int(row[ex.EXTREME]) // 240)]
    ]
    assert 0 < len(meant) < 200
    assert kept.tolist() == [row.tolist() for row in meant]


def test_an_event_under_a_suspicion_of_another_rate_is_half_as_sure() -> None:
    """By its extreme, borders of the stretch among it; other artefacts doubt nothing."""
    for kind, half in (
        (ArtefactKind.DOUBLING, True),
        (ArtefactKind.HALVING, True),
        (ArtefactKind.MATERNAL, True),
        (ArtefactKind.SPIKE, False),
        (ArtefactKind.DROP_OUT, False),
    ):
        stretch = Artefact(kind, 100.0, 200.0, 0.9, "")
        for at in (99.9, 100.0, 150.0, 200.0, 200.1):
            rise = acceleration(at)
            fall = deceleration(DecelerationKind.VARIABLE, at - 9, nadir_s=at, end_s=at + 30)
            inside = half and 100 <= at <= 200
            for event in events.doubted([rise, fall], [stretch]):
                assert event.certainty == (0.5 if inside else 1.0)


def test_crests_and_troughs_of_a_wave_are_no_events_of_their_own() -> None:
    """With the middle in it, no longer than its period (20 s at least) and no higher than twice
    its amplitude."""
    for per_min in (2.5, 3.0, 4.0):
        wave = SinusoidalEpisode(600.0, 1200.0, per_min, 8.0, False, 0.9)
        period = max(20.0, 60.0 / per_min)
        for middle, length, size in itertools.product(
            (599.9, 600.0, 900.0, 1200.0, 1200.1), (10.0, period, period + 0.1), (15.9, 16.0, 16.1)
        ):
            start, end = middle - length / 2, middle + length / 2
            fall = deceleration(
                DecelerationKind.VARIABLE, start, nadir_s=middle, end_s=end, depth=size
            )
            rise = events.replace(acceleration(middle, duration_s=length), height_bpm=size)
            part = 600 <= 0.5 * (start + end) <= 1200 and end - start <= period and size <= 16
            assert events.not_of_waves([fall], [wave]) == ([] if part else [fall])
            part = 600 <= 0.5 * (rise.onset_s + rise.end_s) <= 1200 and size <= 16
            part = part and rise.end_s - rise.onset_s <= period
            assert events.not_of_waves([rise], [wave]) == ([] if part else [rise])


@pytest.mark.parametrize("minutes", [15.0, 40.0, 45.0, 60.0])
def test_an_undulation_with_sure_accelerations_is_pseudosinusoidal(minutes: float) -> None:
    """FIGO 2015; two of them, and one in 20 minutes (ours)."""
    wave = sinusoidal(600.0, 600.0 + 60.0 * minutes)
    for number, sure in itertools.product(range(5), (0.49, 0.5)):
        peaks = [600.0, wave.end_s, 700.0, 800.0, 900.0][:number]
        rises = [events.replace(acceleration(p), certainty=sure) for p in peaks]
        outside = [acceleration(599.9), acceleration(wave.end_s + 0.1)]
        (made,) = events.with_accelerations([wave], [*rises, *outside])
        assert made.pseudo is (sure >= 0.5 and number >= max(2, minutes / 20.0))


# ---------------------------------------------------------------- whose rate it is


def test_rises_with_most_contractions_at_a_mothers_rate_are_doubted_as_stated() -> None:
    """Four and 60 % of the contractions of half an hour, each within 20 s of its peak, on a
    baseline that a mother's rate reaches (the sign: FIGO 2015; numbers ours)."""
    draw = np.random.default_rng(12)
    doubted_at_all = 0
    for _ in range(150):
        count = int(draw.choice([3, 6, 12, 20]))
        peaks = np.sort(draw.uniform(0, draw.choice([900.0, 2500.0, 6000.0]), count))
        squeezes = [contraction(float(p)) for p in peaks]
        rises = [
            events.replace(
                acceleration(float(p + draw.choice([-20.0, -20.1, 0.0, 20.0, 20.1]))),
                baseline_bpm=float(draw.choice([100.0, 120.0, suspects.maternal.HIGH_BPM,
                                                suspects.maternal.HIGH_BPM + 0.1])),
            )
            for p in peaks
            if draw.random() < draw.choice([0.5, 0.8, 1.0])
        ]  # fmt: skip
        mine = [r for r in rises if r.baseline_bpm <= suspects.maternal.HIGH_BPM]
        near = [r for r in mine if min(abs(r.peak_s - p) for p in peaks) <= 20]
        meant = set()
        latest = max(peaks[0], peaks[-1] - 1800)
        for first in (*(p for p in peaks if p < latest), latest):
            last = first + 1801
            number = sum(first <= p < last for p in peaks)
            here = [r for r in near if first - 20 <= r.peak_s < last]
            if len(here) >= max(4, 0.6 * number):
                meant |= {r.onset_s for r in here}
        before = (Artefact(ArtefactKind.SPIKE, 50.0, 60.0, 0.9, ""),)
        found = suspects.with_rises(before, rises, squeezes)
        assert [a.start_s for a in found] == sorted(a.start_s for a in found)
        told = [a for a in found if a.kind is ArtefactKind.MATERNAL]
        assert {a.start_s for a in told} == meant
        assert all(a.certainty == 0.4 for a in told)
        assert all(any((a.start_s, a.end_s) == (r.onset_s, r.end_s) for r in mine) for a in told)
        assert before[0] in found
        doubted_at_all += bool(told)
    assert 10 < doubted_at_all < 140
    assert suspects.with_rises(before, rises, []) == before


def test_a_suspicion_is_told_of_every_ten_minutes_that_it_touches() -> None:
    def stretch(kind: ArtefactKind, start: float, end: float) -> Artefact:
        return Artefact(kind, start, end, 0.9, "")

    spike, lost = ArtefactKind.SPIKE, ArtefactKind.DROP_OUT
    found = suspects.suspicions(
        (
            stretch(spike, 590.0, 600.0),
            stretch(spike, 10.0, 20.0),
            stretch(lost, 599.0, 1801.0),
            stretch(spike, 1800.0, 1800.0),
        )
    )
    assert found == {0: [spike, lost], 1: [lost], 2: [lost], 3: [lost, spike]}
    table = np.array([[0.5, 40.0, 0.0], [1.0, 0.0, 0.0]])
    one, two = suspects.quality_segments(table, 3000, {1: [lost]})
    assert (one.start_s, one.end_s, one.valid_share, one.longest_gap_s) == (0.0, 600.0, 0.5, 10.0)
    assert (two.start_s, two.end_s, two.suspected) == (600.0, 750.0, (lost,))
    assert one.suspected == ()


# ---------------------------------------------------------------- undulations


def stated_runs(wave: list[bool], passable: list[bool]) -> list[tuple[int, int]]:
    """Stretches that are waves, joined over one that is none, or over up to three passable ones."""
    runs: list[tuple[int, int]] = []
    for place, is_wave in enumerate(wave):
        if not is_wave:
            continue
        between = passable[runs[-1][1] + 1 : place] if runs else []
        if runs and (len(between) <= 1 or (len(between) <= 3 and all(between))):
            runs[-1] = (runs[-1][0], place)
        else:
            runs.append((place, place))
    return runs


@pytest.mark.parametrize("seed", range(5))
def test_undulations_are_runs_of_stretches_with_one_dominating_frequency(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """NICHD 2008: 3 to 5 cycles a minute for 20 minutes; what counts as one frequency is ours."""
    draw = np.random.default_rng(seed)
    made = 0
    for _ in range(40):
        rows = np.column_stack(
            [
                draw.choice([3.0, 4.0, 5.0], 30),
                draw.choice([3.9, 4.0, 20.0, 20.0, 20.0, 56.0, 56.1], 30),
                draw.choice([0.0, 0.54, 0.55, 0.7, 0.7, 0.7], 30),
                draw.choice([0.04, 0.05, 0.08, 0.09, 0.2, 0.21], 30),
                draw.choice([0.44, 0.45, 0.74, 0.75, 0.9], 30),
            ]
        )
        # Where there is no line there is none with its neighbours either.
        rows[rows[:, 2] == 0, 3:] = 0.0
        halves = np.column_stack(
            [
                draw.choice([4.9, 5.0, 8.0, 12.0, 12.1], 30),
                draw.choice([10.0, 30.0], 30),
                draw.choice([0.59, 0.6, 0.84, 0.85], 30),
                draw.choice([0.79, 0.8], 30),
            ]
        )
        monkeypatch.setattr(waves, "undulation", lambda _, rows=rows: rows.copy())
        monkeypatch.setattr(waves, "half_waves", lambda *_, halves=halves: halves.copy())
        told, wave, passable = rows.copy(), [], []
        for row, half in zip(told, halves, strict=True):
            even = half[2] >= 0.85 and half[3] >= 0.8 and 5 <= half[0] <= 12
            if even and row[2] == 0:
                row[:] = (30 / half[0], half[1], half[3], 0.0, half[3])
            steady = row[2] >= 0.55 and row[2] + row[3] >= 0.75
            wave.append((steady or even or row[4] >= 0.75) and 4 <= row[1] <= 56)
            passable.append(row[2] == 0 or row[4] >= 0.45 or half[2] >= 0.6)
        left = list(waves.episodes(np.full(2000, 140.0)))
        for first, last in stated_runs(wave, passable):
            if (last - first) * 60 + 180 < 600:
                continue
            one = left.pop(0)
            part = [row for row in told[first : last + 1] if row[2] > 0]
            assert (one.start_s, one.end_s) == (first * 60, last * 60 + 180)
            assert one.cycles_per_min == pytest.approx(median(r[0] for r in part))
            assert one.amplitude_bpm == pytest.approx(median(r[1] for r in part) / 2)
            assert one.pseudo is bool(median(r[3] / r[2] for r in part) > 0.12)
            assert one.certainty == pytest.approx(min(1.0, median(max(r[2], r[4]) for r in part)))
            made += 1
        assert left == []
    assert made > 10
    assert waves.episodes(np.full(179, 140.0)) == ()


def test_the_drift_is_taken_off_by_running_means() -> None:
    """Each second's mean of three less that of 41, of what there is; none where half is lost."""
    draw = np.random.default_rng(13)
    second = 140 + np.cumsum(draw.normal(0, 1, 300))
    second[draw.random(300) < 0.35] = np.nan
    second[100:150] = np.nan
    found = half_waves._without_drift(second)
    for i in range(300):
        near = second[max(0, i - 1) : i + 2]
        wide = second[max(0, i - 20) : i + 21]
        if np.isnan(second[i]) or np.isfinite(wide).mean() < 0.5:
            assert np.isnan(found[i])
        else:
            assert found[i] == pytest.approx(np.nanmean(near) - np.nanmean(wide))


def test_the_longest_gap_is_the_longest_run_of_what_is_lost() -> None:
    draw = np.random.default_rng(14)
    for _ in range(50):
        values = np.where(draw.random(30) < 0.5, np.nan, 1.0)
        runs = [len(list(g)) for lost, g in itertools.groupby(np.isnan(values[3:28])) if lost]
        assert half_waves._longest_gap(values, 3, 27) == max(runs, default=0)


def test_a_wave_turns_where_it_has_been_left_by_enough() -> None:
    """A zigzag by hand: the swing of 2 is roughness, those of 10 and 8 are half waves."""
    zigzag = np.array([0, 5, 10, 8, 9, 8, 10.5, 5, 2, np.nan, 6, 10, 4, 0.0])
    turns = np.empty(20, dtype=np.int64)
    number = half_waves._turning_points(zigzag, 3.0, turns)
    assert turns[:number].tolist() == [0, 6, 8, 11]
    number = half_waves._turning_points(-zigzag, 3.0, turns)
    assert turns[:number].tolist() == [0, 6, 8, 11]
    # Of one that falls first, the first turn is where it was highest.
    number = half_waves._turning_points(np.array([1.0, 2.0, 0.0, -4.0, -5.0, 1.0]), 3.0, turns)
    assert turns[:number].tolist() == [1, 4]


@pytest.mark.parametrize("seed", range(12))
def test_half_waves_are_measured_between_the_turns(seed: int) -> None:
    """A row against its parts in NumPy, on waves with noise and gaps."""
    draw = np.random.default_rng(seed)
    time = np.arange(420.0)
    period = float(draw.choice([8.0, 13.0, 15.0, 20.0, 24.0]))
    second = 140 + draw.uniform(1, 12) * np.sin(2 * np.pi * time / period)
    second += draw.normal(0, draw.choice([0.1, 2.0]), 420)
    for at in draw.integers(0, 400, int(draw.choice([0, 4, 16]))):
        second[at : at + int(draw.choice([3, 5, 12]))] = np.nan
    rows = half_waves.half_waves(second, 180, 60)
    assert rows.shape == (5, half_waves.COLUMNS)
    fast = half_waves._without_drift(second)
    for place, row in enumerate(rows):
        part = fast[60 * place : 60 * place + 180]
        seen = np.isfinite(part)
        spread = np.sqrt(np.mean(part[seen] ** 2)) if seen.any() else 0.0
        turns = np.empty(180, dtype=np.int64)
        number = half_waves._turning_points(part, 0.9 * spread, turns)
        ends = list(itertools.pairwise(turns[:number].tolist()))
        heights = [abs(part[b] - part[a]) for a, b in ends]
        told = regular = unlike = whole = 0.0
        for (a, b), height in zip(ends, heights, strict=True):
            runs = [len(list(g)) for lost, g in itertools.groupby(np.isnan(part[a:b])) if lost]
            if max(runs, default=0) > 4:
                continue
            told += b - a
            if 0.5 * np.median(heights) <= height <= 1.7 * np.median(heights) and 4 <= b - a <= 13:
                regular += b - a
            centre, swing = 0.5 * (part[a] + part[b]), 0.5 * (part[a] - part[b])
            piece = part[a:b]
            drawn = centre + swing * np.cos(np.pi * np.arange(b - a) / (b - a))
            unlike += np.nansum((piece - drawn) ** 2)
            whole += np.nansum((piece - centre) ** 2)
        if seen.sum() < 90 or spread < 0.7 or number < 5 or told < 72:
            assert not row.any()
            continue
        assert row[half_waves.LENGTH] == np.median(np.diff(turns[:number]))
        assert row[half_waves.HEIGHT] == pytest.approx(np.median(heights))
        assert row[half_waves.REGULAR] == pytest.approx(regular / told)
        assert row[half_waves.ROUND] == pytest.approx(1 - unlike / whole)


@pytest.mark.parametrize(("apart_s", "kept"), [(5.75, 0), (6.0, 1)])
@pytest.mark.parametrize("before", [True, False])
def test_a_low_rise_six_seconds_from_a_variable_fall_is_no_shoulder_of_it(
    apart_s: float, kept: int, before: bool
) -> None:
    """Six seconds: ours."""
    row = drawn_rows(np.random.default_rng(0), 1)
    onset, end = (400.0, 420.0)
    row[0, [ex.ONSET, ex.END, ex.EXTREME, ex.TO_EXTREME]] = 1600.0, 1680.0, 1640.0, 40.0
    row[0, [ex.AMPLITUDE, ex.VALID_SHARE, ex.SEEN_OFF]] = 15.0, 1.0, 60.0
    from_s = end + apart_s if before else onset - apart_s - 50.0
    fall = deceleration(
        DecelerationKind.VARIABLE, from_s, nadir_s=from_s + 20.0, end_s=from_s + 50.0
    )
    found = events.accelerations_from(row, [], [fall], np.ones(900), (15.0, 15.0), RATE)
    assert len(found) == kept


def test_what_is_lost_beyond_the_last_place_is_no_gap_of_the_stretch() -> None:
    values = np.array([math.nan, 1.0, 1.0, math.nan])
    assert half_waves._longest_gap(values, 1, 2) == 0
