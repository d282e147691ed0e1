"""How excursions are found and measured, against the same stated once more in slow loops.

The rules are those of the docstrings of `features.excursions` (numbers ours); drawn are traces
with falls of many shapes, rests, gaps and roughness.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from ebbline.features import excursions as ex

RATE = 4.0
LONG_GAP = 180
BLOCK = 240


def drawn(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Distance from the baseline (positive: down), samples that were kept, roughness by block."""
    draw = np.random.default_rng(seed)
    n = 3200
    away = draw.normal(0.0, 0.3, n)
    at = int(draw.uniform(0, 200))
    while at < n:
        down, floor, up = draw.integers(4, 200), draw.integers(0, 240), draw.integers(4, 200)
        depth = float(draw.choice([14.0, 16.0, 25.0, 60.0]))
        back = float(draw.choice([0.0, 0.0, 0.1, 0.25, 0.35, 0.7])) * depth
        shape = np.concatenate(
            [np.linspace(0, depth, down), np.full(floor, depth), np.linspace(depth, back, up)]
        )
        piece = away[at : at + len(shape)]
        piece += shape[: len(piece)]
        at += len(shape) + (0 if back else int(draw.choice([3, 15, 25, 60, 400])))
    away[::7] += draw.normal(0.0, float(draw.choice([0.0, 1.5])), len(away[::7]))
    for start in draw.integers(0, n, int(draw.choice([0, 3, 12]))):
        away[start : start + int(draw.choice([5, 40, 170, 185, 260]))] = np.nan
    if seed % 4 == 1:
        away[int(draw.uniform(1500, n)) :] = np.nan
    kept = 140.0 - away
    kept[draw.random(n) < 0.05] = np.nan
    kept[~np.isfinite(away) & (draw.random(n) < 0.9)] = np.nan
    return away, kept, draw.uniform(0.4, 4.5, n // BLOCK + 1)


def walked(away: np.ndarray, at: int, step: int, edge: float, free: int) -> tuple[int, bool]:
    """As far as the trace stays off the baseline, over gaps of 45 s; whether a gap ended it."""
    last, gap, k = at, 0, at + step
    while free <= k < len(away):
        if np.isnan(away[k]):
            gap += 1
        elif away[k] >= edge:
            last, gap = k, 0
        else:
            break
        if gap > LONG_GAP:
            break
        k += step
    cut = gap > 0 or k < 0 or k >= len(away)
    return last + max(step, 0), cut


def edge_of(rough: float) -> float:
    """Back at the baseline is within 1.2 times the roughness, 2 bpm at least and 4.5 at most."""
    return min(max(1.2 * rough, 2.0), 4.5)


def placed(
    away: np.ndarray, trusted: np.ndarray, start: int, end: int, *, left: bool, right: bool
) -> dict[str, float]:
    """Edges where the flanks, drawn on, meet the baseline, but where another excursion joins; the
    extreme is sought in trusted signal, unless that shows less than 0.7 of the highest of all."""
    part = away[start:end]
    highest = np.nanmax(part)
    sure = np.where(np.isfinite(trusted[start:end]), part, np.nan)
    if np.isfinite(sure).any() and np.nanmax(sure) >= 0.7 * highest:
        part = sure
    top = start + int(np.nanargmax(part))
    high = away[top]
    onset = float(start) if left else start - ex._drawn_on(away, start, 1, top, high, RATE)
    finish = float(end) if right else end + ex._drawn_on(away, end - 1, -1, top, high, RATE)
    return {
        "onset": max(0.0, onset),
        "end": min(float(len(away)), finish),
        "top": top,
        "high": high,
        "highest": highest,
    }


def stated(
    away: np.ndarray, trusted: np.ndarray, rough: np.ndarray, seed: float, least: float, rest: float
) -> list[dict[str, float]]:
    """Every excursion of the least amplitude and duration."""
    found: list[dict[str, float]] = []
    i, free = 0, 0
    while i < len(away):
        if not away[i] >= seed:
            i += 1
            continue
        edge = edge_of(rough[i // BLOCK])
        start, cut_start = walked(away, i, -1, edge, free)
        end, cut_end = walked(away, i, 1, edge, free)
        begin = start
        while begin < end:
            split = ex._first_split(away, begin, end, seed)
            stop = split if split >= 0 else end
            inner_left, inner_right = begin > start, stop < end
            if np.nanmax(away[begin:stop], initial=0.0) >= seed:
                one = placed(away, trusted, begin, stop, left=inner_left, right=inner_right)
                one |= {"start": begin, "stop": stop, "left": inner_left, "edge": edge}
                one["cut_left"] = cut_start and not inner_left
                # What a flank is drawn on into a gap is worth two seconds, else all of it.
                first = max(one["onset"], begin - (2.0 if cut_start else 8.0) * RATE)
                last = min(one["end"], stop + (2.0 if cut_end else 8.0) * RATE)
                if (last - first) / RATE >= least - 0.13:
                    if found and begin - found[-1]["stop"] <= rest * RATE:
                        before = found[-1]
                        low, high = sorted((before["highest"], one["highest"]))
                        if low < 0.6 * high:
                            # The lesser of two so near is the rest of the other.
                            found.pop()
                            start_too, left = int(before["start"]), bool(before["left"])
                            ends = {"left": left, "right": inner_right}
                            joined = placed(away, trusted, start_too, stop, **ends)
                            kept = ("start", "left", "cut_left")
                            one |= joined | {k: before[k] for k in kept}
                    one["cut_right"] = cut_end and not inner_right
                    one["inner_right"] = inner_right
                    if found and found[-1]["end"] > one["onset"]:
                        middle = 0.5 * (found[-1]["end"] + one["onset"])
                        inner = found[-1].get("extreme", found[-1]["top"])
                        middle = min(max(middle, inner), one["top"])
                        found[-1]["end"] = one["onset"] = middle
                    found.append(one)
            begin = stop
        i, free = max(end, i + 1), end
    return found


@pytest.mark.parametrize(("least", "rest"), [(15.0, 5.0), (15.0, -1.0), (10.0, 5.0)])
def test_excursions_are_found_where_they_are_drawn(least: float, rest: float) -> None:
    """15 bpm for 15 s (NICHD 2008), 10 for 10 before 32 weeks; edges, gaps and rests are ours."""
    number = 0
    for seed in range(16):
        away, kept, rough = drawn(seed)
        trusted = np.where(np.random.default_rng(seed).random(len(away)) < 0.7, kept, np.nan)
        trusted[:: 2 if seed % 3 else 1] = np.nan
        level = np.full(len(away), 140.0)
        rows = ex.excursions(kept, trusted, away, level, rough, BLOCK, least, least, RATE,
                             False, rest)  # fmt: skip
        meant = stated(away, trusted, rough, least, least, rest)
        assert len(rows) == len(meant), seed
        for row, one in zip(rows, meant, strict=True):
            said = [row[ex.ONSET], row[ex.END], row[ex.EXTREME], row[ex.AMPLITUDE]]
            assert said == pytest.approx([one["onset"], one["end"], one["top"], one["high"]]), seed
        number += len(rows)
    assert number > 60


def steps_of(kept: np.ndarray, first: int, last: int) -> float:
    """Greatest change between neighbours of over 22 bpm, or over more than a second, as far as the
    means of 1.5 s on both sides differ, too."""
    places = [k for k in range(first, last + 1) if np.isfinite(kept[k])]
    greatest = 0.0
    for before, after in pairwise(places):
        change = abs(kept[after] - kept[before])
        if change > 22.0 or after - before > RATE:
            left = np.nanmean(kept[max(0, before - 5) : before + 1])
            right = np.nanmean(kept[after : after + 6])
            greatest = max(greatest, min(change, abs(right - left)))
    return float(greatest)


def test_steps_are_told_from_the_levels_on_both_sides() -> None:
    draw = np.random.default_rng(21)
    for _ in range(40):
        kept = np.cumsum(draw.choice([0.0, 0.0, 3.0, -3.0, 23.0, -23.0, 22.0], 120)) + 140
        kept[draw.random(120) < 0.4] = np.nan
        assert ex._greatest_step(kept, 10, 110, RATE) == pytest.approx(steps_of(kept, 10, 110))


def test_excursions_are_measured_as_stated() -> None:
    """Area, seen share, return and cuts: by their definitions, in NumPy."""
    number = 0
    for seed in range(16):
        away, kept, rough = drawn(seed)
        trusted = np.where(np.random.default_rng(seed).random(len(away)) < 0.7, kept, np.nan)
        trusted[:: 2 if seed % 3 else 1] = np.nan
        level = 100.0 + np.arange(len(away)) / 100.0
        rows = ex.excursions(kept, trusted, away, level, rough, BLOCK, 15.0, 15.0, RATE, True, -1.0)
        for row, one in zip(rows, stated(away, trusted, rough, 15.0, 15.0, -1.0), strict=True):
            top, high, start, stop = (int(one[k]) if k != "high" else one[k]
                                      for k in ("top", "high", "start", "stop"))  # fmt: skip
            assert row[ex.BASELINE] == level[top]
            assert row[ex.FAILS_TO_RETURN] == float(one["inner_right"])
            lost = not np.isfinite(kept[stop:]).any()
            cut = 1.0 * one["cut_left"] + (2.0 + 4.0 * lost) * one["cut_right"]
            assert row[ex.CUT] == cut
            number += 1
            if row[ex.ONSET] != one["onset"]:
                continue  # Two that met in a gap were measured before they met.
            # The ends as they were before the next one met it.
            finish = placed(away, trusted, start, stop, left=bool(one["left"]),
                            right=bool(one["inner_right"]))["end"]  # fmt: skip
            inside = slice(int(row[ex.ONSET]), min(len(away), int(finish) + 1))
            seen = np.isfinite(kept[inside])
            assert row[ex.VALID_SHARE] == pytest.approx(seen.mean())
            assert row[ex.SEEN_OFF] == (seen & (away[inside] >= one["edge"])).sum()
            assert row[ex.AREA] == pytest.approx(np.nansum(np.maximum(away[inside], 0.0)))
            noise = rough[top // BLOCK]
            near = min(max(1.0, noise), 0.1 * high)
            at = np.flatnonzero(away[start:stop] >= high - near) + start
            assert finish - max(at) == pytest.approx(row[ex.RETURN] + (row[ex.END] != finish) * (
                finish - row[ex.END]))  # fmt: skip
            first, last = top, top
            while first > start and not away[first - 1] < high - 1.5 * near:
                first -= 1
            while last + 1 < stop and not away[last + 1] < high - 1.5 * near:
                last += 1
            places = [k for k in range(first, last + 1) if np.isfinite(away[k])]
            assert row[ex.EXTREME] == pytest.approx(np.mean(places))
            unsure = min(max((noise / high - 0.016) / 0.016, 0.0), 1.0)
            begins = min(at) + unsure * (row[ex.EXTREME] - min(at))
            climbed = ex._climb(away, one["onset"], row[ex.EXTREME], begins, RATE)
            assert row[ex.TO_EXTREME] == pytest.approx(climbed)
            far = 16
            left = steps_of(kept, max(0, int(one["onset"]) - far), top)
            right = steps_of(kept, top, min(len(away) - 1, int(finish) + far))
            assert row[ex.BY_STEPS] == pytest.approx(min(left, right) / high)
            for column, at_s, step, most in (
                (ex.SHOULDER_BEFORE, one["onset"], -1, 100),
                (ex.SHOULDER_AFTER, finish, 1, 100),
                (ex.OVERSHOOT, finish, 1, 480),
            ):
                assert row[column] == ex._hump(away, int(at_s), step, most, one["edge"], RATE)
    assert number > 60


@pytest.mark.parametrize("seed", range(6))
def test_a_climb_is_the_steep_part_of_the_five_second_means_drawn_on(seed: int) -> None:
    """From 10 to 85 % of the height over 0.54 of the whole, never past where the extreme begins."""
    draw = np.random.default_rng(seed)
    for _ in range(20):
        length = int(draw.integers(8, 240))
        away = np.concatenate([np.zeros(40), 0.5 * 40 * (1 - np.cos(np.linspace(0, np.pi, length))),
                               np.full(60, 40.0)]) + draw.normal(0, 0.8, length + 100)  # fmt: skip
        away[draw.random(len(away)) < float(draw.choice([0.0, 0.3]))] = np.nan
        onset, extreme = 40.0, 40.0 + length + float(draw.choice([0, 20]))
        begins = 40.0 + length * float(draw.choice([0.4, 1.0]))
        from_ = 20
        means = []
        for middle in range(from_, int(extreme) + 1):
            near = away[max(0, middle - 10) : middle + 11]
            means.append(np.nanmean(near) if np.isfinite(near).sum() > 10 else np.nan)
        mean = np.array(means)
        peak = int(np.nanargmax(mean))
        high = next(m for m in range(peak + 1) if mean[m] >= 0.85 * mean[peak])
        low = next((m + 1 for m in range(high, -1, -1) if mean[m] < 0.1 * mean[peak]), 20)
        meant = max(0.0, min((high - low) / 0.54, begins - onset))
        assert ex._climb(away, onset, extreme, begins, RATE) == pytest.approx(meant)


@pytest.mark.parametrize(("samples", "steps"), [(0, 1), (1, 1), (20, 1), (21, 2), (40, 2), (41, 3)])
def test_a_trace_has_one_roughness_for_each_step_begun_and_one_at_least(
    samples: int, steps: int
) -> None:
    steady = np.full(samples, 141.5)
    rough = ex.roughness(steady, np.full(samples, 140.0), 240, 20)
    assert rough.tolist() == [1.5 if samples else 2.0] * steps


@pytest.mark.parametrize(("before", "after", "over"), [(40, 60, 0), (16, 0, 0), (0, 40, 0),
                                                       (100, 0, 200)])  # fmt: skip
def test_humps_to_both_sides_of_a_fall_are_its_shoulders_and_its_overshoot(
    before: int, after: int, over: int
) -> None:
    """In samples at 4 a second: a shoulder of 4 to 25 s, an overshoot of up to two minutes."""
    onset, finish = 600, 800
    away = np.zeros(1800)
    away[onset:finish] = np.interp(np.arange(200), [0, 80, 120, 199], [0.0, 30.0, 30.0, 0.0])
    away[onset - before + 1 : onset + 1] = -5.0
    away[finish : finish + max(after, over)] = -5.0
    row = np.zeros(ex.COLUMNS)
    row[[ex.ONSET, ex.END, ex.AMPLITUDE]] = onset, finish, 30.0
    start, end = onset + 10, finish - 10
    ex.describe(row, 140.0 - away, away, start, end, onset + 100, 3.0, 0.4, 4.0)
    assert row[ex.SHOULDER_BEFORE] == before / 4
    assert row[ex.SHOULDER_AFTER] == (0.0 if over else after / 4)
    assert row[ex.OVERSHOOT] == max(after, over) / 4
