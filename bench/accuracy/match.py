"""What was found against what is true, hour by hour.

Matching: a true and a found event may match when they overlap by at least a third of the shorter
one; each is used once; the pairing with the most seconds of overlap is taken.

Neutral, neither for nor against: true events that come out under the definitions' thresholds
(`counts` False), true events cut by the ends of the hour, and whatever was found that matches or
lies on them. In the table "seen", true events of which less than half reached the sensor are
neutral too; in the table "all" they count as missed. `on_near` counts what was found on true
events under the thresholds, for those who would count it as too much.

A contraction reached the sensor where the belt shows it: see `told_contractions`. What was found
in seconds in which the belt itself draws a hill as large as contractions (`drowned`) counts neither
way in the table "seen": nobody who has the trace alone can tell it; `on_drowned` counts it for
those who would.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from ebbline.definitions import (
    LEAST_EXCURSION_BPM,
    LEAST_EXCURSION_S,
    least_acceleration,
    variability_class,
)
from ebbline.features.findings import Findings, VariabilityClass
from ebbline.features.variability import LIMITS_BPM
from ebbline.recording.model import ChannelKind, Recording
from ebbline.synth import Truth
from ebbline.synth.ground_truth import NO_CONTRACTION, EventKind, TrueDeceleration

FloatArray = NDArray[np.float64]
LEAST_OVERLAP = 1 / 3
EDGE_S = 20.0
SEEN_SHARE = 0.5
CLEAR_BPM, CLEAR_S = 3.0, 3.0
CLEAR_SHARE = 0.15
LEAD_S, TOLD_TIMES, QUIET_UNITS = 20.0, 3.0, 0.5
DROWNED_SHARE, HILL_S, FOOT_S, LEAST_HILLS = 0.5, 30, 60, 3
SETTLES_S, AROUND_S, EVERY_S = 10.0, 120, 10

Span = tuple[float, float]


def pairs(true: Sequence[Span], found: Sequence[Span]) -> list[tuple[int, int]]:
    """One-to-one pairs (true, found) with the most seconds of overlap."""
    if not true or not found:
        return []
    a, b = np.array(true), np.array(found)
    overlap = np.minimum(a[:, None, 1], b[None, :, 1]) - np.maximum(a[:, None, 0], b[None, :, 0])
    shorter = np.minimum((a[:, 1] - a[:, 0])[:, None], (b[:, 1] - b[:, 0])[None, :])
    overlap = np.where(overlap >= LEAST_OVERLAP * np.maximum(shorter, 1e-9), overlap, 0.0)
    rows, columns = linear_sum_assignment(-overlap)
    return [(int(i), int(j)) for i, j in zip(rows, columns, strict=True) if overlap[i, j] > 0]


@dataclass
class Tally:
    """Counts of one finding, and the errors of what matched."""

    hit: int = 0
    missed: int = 0
    extra: int = 0
    clear_hit: int = 0
    clear_missed: int = 0
    on_near: int = 0
    on_drowned: int = 0
    onset_s: list[float] = field(default_factory=list)
    extreme_s: list[float] = field(default_factory=list)
    end_s: list[float] = field(default_factory=list)
    size: list[float] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        self.clear_hit += other.clear_hit
        self.clear_missed += other.clear_missed
        self.on_near += other.on_near
        self.on_drowned += other.on_drowned
        self.hit += other.hit
        self.missed += other.missed
        self.extra += other.extra
        for name in ("onset_s", "extreme_s", "end_s", "size"):
            getattr(self, name).extend(getattr(other, name))

    @property
    def clear_sensitivity(self) -> float:
        """Of events that stand 3 bpm and 3 s above the thresholds (contractions: 20 mmHg)."""
        total = self.clear_hit + self.clear_missed
        return self.clear_hit / total if total else float("nan")

    @property
    def sensitivity(self) -> float:
        return self.hit / (self.hit + self.missed) if self.hit + self.missed else float("nan")

    @property
    def ppv(self) -> float:
        return self.hit / (self.hit + self.extra) if self.hit + self.extra else float("nan")

    @property
    def f1(self) -> float:
        total = 2 * self.hit + self.missed + self.extra
        return 2 * self.hit / total if total else float("nan")

    @property
    def clear_f1(self) -> float:
        """Events within 3 bpm and 3 s of the thresholds (contractions: under 20 mmHg) count neither
        way."""
        total = 2 * self.clear_hit + self.clear_missed + self.extra
        return 2 * self.clear_hit / total if total else float("nan")

    @property
    def letter_f1(self) -> float:
        """To the letter: what was found on an event under the thresholds, or on a hill that the
        belt itself drew, is too much."""
        total = 2 * self.hit + self.missed + self.extra + self.on_near + self.on_drowned
        return 2 * self.hit / total if total else float("nan")


@dataclass
class Hour:
    """Everything measured in one hour. `wrong`: (kind, start, end) of misses and extras; kinds:
    (true, found, clear) as the sensors could show it, see `as_shown`; letter_kinds: as it was."""

    number: int
    pattern: str
    loss_bin: int
    loss: float
    seen: dict[str, Tally]
    everything: dict[str, Tally]
    baseline_errors: FloatArray
    baseline_10: list[float]
    variability: list[tuple[str, str, bool]]
    kinds: list[tuple[str, str, bool]]
    letter_kinds: list[tuple[str, str]]
    sinusoidal: tuple[bool, bool]
    classes: dict[str, tuple[str, str]]
    wrong: list[tuple[str, float, float]]
    seconds: float = 0.0


def _inside(span: Span, duration: float) -> bool:
    return span[0] > EDGE_S and span[1] < duration - EDGE_S


def tally(
    true: Sequence[Span],
    scored: Sequence[bool],
    clear: Sequence[bool],
    found: Sequence[Span],
    neutral: Sequence[Span],
    under: Sequence[bool],
) -> tuple[Tally, list[tuple[int, int]], list[int], list[int]]:
    """Counts for one finding; the pairs, the missed and the extra ones by index.

    Found events that pair with a true event that is not scored, or lie for their greater part
    on neutral stretches, are left out. under: true events that lie under the thresholds.
    """
    matched = pairs(true, found)
    used_true = {i for i, _ in matched}
    used_found = {j for _, j in matched}
    hits = [(i, j) for i, j in matched if scored[i]]
    missed = [i for i in range(len(true)) if scored[i] and i not in used_true]
    extra = [
        j for j in range(len(found)) if j not in used_found and not _mostly_on(found[j], neutral)
    ]
    counts = Tally(
        hit=len(hits),
        missed=len(missed),
        extra=len(extra),
        clear_hit=sum(clear[i] for i, _ in hits),
        clear_missed=sum(clear[i] for i in missed),
        on_near=sum(under[i] for i, _ in matched),
    )
    return counts, hits, missed, extra


def _mostly_on(span: Span, stretches: Sequence[Span]) -> bool:
    length = max(1e-9, span[1] - span[0])
    return any(min(span[1], b) - max(span[0], a) > 0.5 * length for a, b in stretches)


def lost_mask(truth: Truth) -> NDArray[np.bool_]:
    """One value a second: the sensor did not give the fetal rate for most of it."""
    wrong = np.zeros(round(truth.duration_s * 4), dtype=bool)
    for span in truth.artefacts:
        wrong[round(span.start_s * 4) : round(span.end_s * 4)] = True
    return np.asarray(wrong.reshape(-1, 4).mean(axis=1) > 0.5)


def score_contractions(
    truth: Truth, findings: Findings, recording: Recording, only_seen: bool = True
) -> tuple[Tally, list[tuple[str, float, float]]]:
    """Contractions, all or only those that the sensor showed."""
    true = [(c.onset_s, c.end_s) for c in truth.contractions]
    told = told_contractions(truth, recording) if only_seen else [True] * len(true)
    scored = [
        c.counts and _inside(span, truth.duration_s) and seen
        for c, span, seen in zip(truth.contractions, true, told, strict=True)
    ]
    under = [not c.counts for c in truth.contractions]
    found = findings.uterine.contractions
    clear = [c.amplitude_mmhg >= 20.0 for c in truth.contractions]
    neutral = _edges(truth.duration_s) + _not_scored(true, scored)
    result, hits, missed, extra = tally(
        true, scored, clear, [(c.onset_s, c.end_s) for c in found], neutral, under
    )
    if only_seen:
        own = drowned(truth, recording, told)
        on = [j for j in extra if own[int(found[j].onset_s) : int(found[j].end_s)].mean() > 0.5]
        extra = [j for j in extra if j not in on]
        result.extra, result.on_drowned = len(extra), len(on)
    for i, j in hits:
        t, f = truth.contractions[i], found[j]
        result.onset_s.append(f.onset_s - t.onset_s)
        result.extreme_s.append(f.peak_s - t.peak_s)
        result.end_s.append(f.end_s - t.end_s)
    wrong = [("contraction missed", *true[i]) for i in missed]
    wrong += [("contraction extra", found[j].onset_s, found[j].end_s) for j in extra]
    return result, wrong


def told_contractions(truth: Truth, recording: Recording) -> list[bool]:
    """Whether the sensor showed each true contraction, so that a reader could see it.

    It was on, and over the foot of its scale, for half of it. And what the true pressure explains
    of the channel from LEAD_S before to LEAD_S after, beside a level and a slope, is a rise that
    stands TOLD_TIMES out of the rest (standard deviations of the seconds, QUIET_UNITS at least).
    Nothing of the detector is asked. The number is ours.
    """
    channel = recording.first(ChannelKind.UTERINE_ACTIVITY)
    assert channel is not None
    given = _by_second(channel.samples, round(channel.rate_hz))
    pressure = _by_second(truth.pressure.values, round(1.0 / truth.pressure.step_s))
    shown = _shown(recording)
    told = []
    for c in truth.contractions:
        here = slice(max(0, int(c.onset_s - LEAD_S)), int(c.end_s + LEAD_S) + 1)
        y, x = given[here], pressure[here]
        n = min(len(y), len(x))
        good = np.isfinite(y[:n])
        on = bool(shown[int(c.onset_s) : int(c.end_s) + 1].mean() >= SEEN_SHARE)
        if not on or good.sum() < 30:
            told.append(False)
            continue
        y, x = y[:n][good], x[:n][good]
        design = np.column_stack((np.ones(len(x)), np.arange(len(x)), x))
        weights = np.linalg.lstsq(design, y, rcond=None)[0]
        noise = max(QUIET_UNITS, float((y - design @ weights).std()))
        told.append(bool(weights[2] * np.ptp(x) >= TOLD_TIMES * noise))
    return told


def drowned(truth: Truth, recording: Recording, told: Sequence[bool]) -> NDArray[np.bool_]:
    """One value a second: the belt itself draws a hill as large as a contraction there.

    Every EVERY_S seconds the channel of +-AROUND_S is explained by a level, a slope, the true
    pressure, and the true pressure as a wall that softens slowly (SETTLES_S) hands it on. What that
    leaves is the belt's own: hands, turns, breath, tone. Where its middle over HILL_S stands over
    that of the HILL_S before and after (FOOT_S apart) by DROWNED_SHARE of the usual rise of the
    hour's told contractions, no reader of the trace can say whether the womb made the hill. With
    less than LEAST_HILLS told contractions no hill can be like them. Nothing of the detector is
    asked. The numbers are ours.
    """
    channel = recording.first(ChannelKind.UTERINE_ACTIVITY)
    assert channel is not None
    y = _by_second(channel.samples, round(channel.rate_hz))
    x = _by_second(truth.pressure.values, round(1.0 / truth.pressure.step_s))
    n = min(len(y), len(x))
    y, x = y[:n], x[:n]
    slow = _settling(x)
    usual = _usual_rise(truth, y, x, told)
    own = np.zeros(n, dtype=bool)
    half = HILL_S // 2
    for middle in range(0, n, EVERY_S) if np.isfinite(usual) else ():
        first, last = max(0, middle - AROUND_S), min(n, middle + AROUND_S)
        good = np.isfinite(y[first:last])
        if good.sum() < AROUND_S:
            continue
        at = np.arange(last - first)
        design = np.column_stack((np.ones(len(at)), at, x[first:last], slow[first:last]))
        weights = np.linalg.lstsq(design[good], y[first:last][good], rcond=None)[0]
        left = np.full(n, np.nan)
        left[first:last] = y[first:last] - design @ weights
        feet = (
            _middle(left, middle - FOOT_S, middle - FOOT_S + HILL_S),
            _middle(left, middle + FOOT_S - HILL_S, middle + FOOT_S),
        )
        height = _middle(left, middle - half, middle + half) - max(feet)
        if height >= DROWNED_SHARE * usual:
            own[max(0, middle - half - HILL_S // 2) : middle + half + HILL_S // 2] = True
    return own


def _settling(pressure: FloatArray) -> FloatArray:
    """The pressure as a wall hands it on that hardens at once and softens over SETTLES_S."""
    slow = pressure.copy()
    for i in range(1, len(slow)):
        if np.isfinite(slow[i - 1]) and slow[i] < slow[i - 1]:
            slow[i] = slow[i - 1] + (slow[i] - slow[i - 1]) / SETTLES_S
    return slow


def _usual_rise(
    truth: Truth, given: FloatArray, pressure: FloatArray, told: Sequence[bool]
) -> float:
    """Middle rise of the channel over its told contractions, in its unit; NaN with too few."""
    rises = []
    for c, shown in zip(truth.contractions, told, strict=True):
        here = slice(max(0, int(c.onset_s - LEAD_S)), int(c.end_s + LEAD_S) + 1)
        y, x = given[here], pressure[here]
        good = np.isfinite(y) & np.isfinite(x)
        if c.counts and shown and good.sum() >= 30:
            design = np.column_stack((np.ones(good.sum()), np.arange(good.sum()), x[good]))
            rises.append(np.linalg.lstsq(design, y[good], rcond=None)[0][2] * np.ptp(x[good]))
    return float(np.median(rises)) if len(rises) >= LEAST_HILLS else float("nan")


def _middle(values: FloatArray, first: int, last: int) -> float:
    """Middle value of a stretch; NaN where less than a third of it was measured."""
    part = values[max(0, first) : max(0, last)]
    part = part[np.isfinite(part)]
    return float(np.median(part)) if 3 * len(part) >= last - first else float("nan")


def _by_second(values: FloatArray, rate: int) -> FloatArray:
    """Mean of what was measured in each second, shape (seconds,); NaN where nothing was."""
    whole = values[: len(values) // rate * rate].reshape(-1, rate)
    seen = np.isfinite(whole)
    total = np.where(seen, whole, 0.0).sum(axis=1)
    return np.where(seen.any(axis=1), total / np.maximum(seen.sum(axis=1), 1), np.nan)


def _shown(recording: Recording) -> NDArray[np.bool_]:
    """One value a second: the activity channel shows something over the foot of its scale."""
    channel = recording.first(ChannelKind.UTERINE_ACTIVITY)
    assert channel is not None
    rate = round(channel.rate_hz)
    over = np.nan_to_num(channel.samples, nan=0.0) > 0.0
    return np.asarray(over[: len(over) // rate * rate].reshape(-1, rate).mean(axis=1) > 0.5)


def _edges(duration: float) -> list[Span]:
    return [(-60.0, 2 * EDGE_S), (duration - 2 * EDGE_S, duration + 60.0)]


def _reached(span: Span, lost: NDArray[np.bool_]) -> bool:
    part = lost[int(span[0]) : max(int(span[0]) + 1, int(span[1]))]
    return bool(1 - part.mean() >= SEEN_SHARE)


def score_decelerations(
    truth: Truth, findings: Findings, only_seen: bool
) -> tuple[Tally, list[tuple[int, int]], list[tuple[str, float, float]]]:
    """Decelerations of every kind together."""
    lost = lost_mask(truth)
    true = [(d.onset_s, d.end_s) for d in truth.decelerations]
    scored = [
        d.counts
        and _inside((d.onset_s, d.end_s), truth.duration_s)
        and (not only_seen or _reached((d.onset_s, d.end_s), lost))
        for d in truth.decelerations
    ]
    clear = [
        d.depth_bpm >= LEAST_EXCURSION_BPM + CLEAR_BPM
        and d.end_s - d.onset_s >= LEAST_EXCURSION_S + CLEAR_S
        for d in truth.decelerations
    ]
    found = [d for d in findings.fetal.decelerations if not d.shallow]
    neutral = _edges(truth.duration_s) + _not_scored(true, scored)
    result, hits, missed, extra = tally(
        true,
        scored,
        clear,
        [(d.onset_s, d.end_s) for d in found],
        neutral,
        [not d.counts for d in truth.decelerations],
    )
    for i, j in hits:
        t, f = truth.decelerations[i], found[j]
        result.onset_s.append(f.onset_s - t.onset_s)
        result.extreme_s.append(f.nadir_s - t.nadir_s)
        result.end_s.append(f.end_s - t.end_s)
        result.size.append(f.depth_bpm - t.depth_bpm)
    wrong = [("deceleration missed", *true[i]) for i in missed]
    wrong += [("deceleration extra", found[j].onset_s, found[j].end_s) for j in extra]
    places = [findings.fetal.decelerations.index(found[j]) for _, j in hits]
    return result, [(i, k) for (i, _), k in zip(hits, places, strict=True)], wrong


def score_accelerations(
    truth: Truth, findings: Findings, only_seen: bool
) -> tuple[Tally, list[tuple[int, int]], list[tuple[str, float, float]]]:
    """Accelerations; shoulders and overshoots of variable decelerations are neutral."""
    lost = lost_mask(truth)
    true = [(a.onset_s, a.end_s) for a in truth.accelerations]
    scored = [
        a.counts
        and _inside((a.onset_s, a.end_s), truth.duration_s)
        and (not only_seen or _reached((a.onset_s, a.end_s), lost))
        for a in truth.accelerations
    ]
    least_bpm, least_s = least_acceleration(truth.weeks)
    clear = [
        a.height_bpm >= least_bpm + CLEAR_BPM and a.end_s - a.onset_s >= least_s + CLEAR_S
        for a in truth.accelerations
    ]
    found = findings.fetal.accelerations
    neutral = _edges(truth.duration_s) + _not_scored(true, scored)
    neutral += [(r.onset_s, r.end_s) for r in truth.rises]
    result, hits, missed, extra = tally(
        true,
        scored,
        clear,
        [(a.onset_s, a.end_s) for a in found],
        neutral,
        [not a.counts for a in truth.accelerations],
    )
    for i, j in hits:
        t, f = truth.accelerations[i], found[j]
        result.onset_s.append(f.onset_s - t.onset_s)
        result.extreme_s.append(f.peak_s - t.peak_s)
        result.end_s.append(f.end_s - t.end_s)
        result.size.append(f.height_bpm - t.height_bpm)
    wrong = [("acceleration missed", *true[i]) for i in missed]
    wrong += [("acceleration extra", found[j].onset_s, found[j].end_s) for j in extra]
    return result, hits, wrong


def as_shown(true: TrueDeceleration, found: str, told: Sequence[bool]) -> str:
    """The kind that a found one is held against.

    An early and a late deceleration differ by their contraction alone. Where the belt did not show
    it, "gradual, contraction not known" is right as well.
    """
    untold = true.contraction != NO_CONTRACTION and not told[true.contraction]
    if untold and true.kind in (EventKind.EARLY, EventKind.LATE):
        return found if found == EventKind.GRADUAL_UNPAIRED else str(true.kind)
    return str(true.kind)


def _not_scored(true: Sequence[Span], scored: Sequence[bool]) -> list[Span]:
    return [span for span, counts in zip(true, scored, strict=True) if not counts]


def baseline_errors(truth: Truth, findings: Findings) -> FloatArray:
    """Found minus true baseline, bpm, every second where one was found."""
    curve = findings.fetal.baseline_curve
    at = np.arange(len(truth.baseline.values), dtype=float)
    index = np.round((at - curve.start_s) / curve.step_s).astype(int)
    good = (index >= 0) & (index < len(curve.values))
    error = curve.values[index[good]] - truth.baseline.values[good]
    return np.asarray(error[np.isfinite(error)])


def variability_pairs(truth: Truth, findings: Findings) -> list[tuple[str, str, bool]]:
    """(true, found, clear) class of every ten minutes; sinusoidal stretches are left out.

    clear: the true bandwidth is 15 % or more away from every limit.
    """
    made = []
    for segment in findings.fetal.variability:
        if any(s.start_s < segment.end_s and s.end_s > segment.start_s for s in truth.sinusoidal):
            continue
        first, last = round(segment.start_s / 60), round(segment.end_s / 60)
        minutes = truth.bandwidth.values[first:last]
        minutes = minutes[np.isfinite(minutes)]
        if len(minutes) < 3:
            continue
        width = float(minutes.mean())
        clear = all(abs(width / limit - 1) >= CLEAR_SHARE for limit in LIMITS_BPM)
        made.append((str(variability_class(width)), str(segment.variability), clear))
    return [p for p in made if p[1] != VariabilityClass.INDETERMINATE]
