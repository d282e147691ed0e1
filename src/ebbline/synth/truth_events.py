"""Truth from the noise-free tracks: where each event begins, peaks and ends, and what it counts as.

Definitions: NICHD 2008 (Macones et al. Obstet Gynecol 2008;112:661-6).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import (
    ABRUPT_BELOW_S,
    BASELINE_CHANGE_S,
    LATE_LAG_S,
    LEAST_EXCURSION_BPM,
    LEAST_EXCURSION_S,
    PROLONGED_FROM_S,
    SLOW_RETURN_ABOVE_S,
    least_acceleration,
)
from ebbline.synth.ground_truth import (
    NO_CONTRACTION,
    EventKind,
    Mechanism,
    TrueAcceleration,
    TrueContraction,
    TrueDeceleration,
    TrueRise,
)
from ebbline.synth.shapes import STEP_HZ

FloatArray = NDArray[np.float64]

DEPARTURE_SHARE = 0.05
DEPARTURE_LEAST_BPM = 1.0
NEAR_EXTREME_SHARE = 0.10
NEAR_EXTREME_BPM = 2.0
LEAST_KEPT_BPM = 5.0
FLOOR_SHARE = 0.75
"""A sudden fall is at its floor when it has fallen this share of its depth."""
SADDLE_SHARE = 0.4
"""Two humps are two events when the rate between them comes back to this share of the smaller
(chosen: a reader sees two then)."""

PAPER_MM_S = 2.0
"""A millimetre of trace paper at 3 cm/min: what is shorter no pen draws and no eye separates."""

NEAR_BPM, NEAR_S = 3.0, 3.0
"""So little short of the definitions' thresholds a reader may see an event or not (ours)."""

WELL_BEFORE_PEAK_S = 10.0
"""A nadir with the peak comes no sooner than this before it (ours: more than head compression's
spread)."""

SURELY_ABRUPT_S, SURELY_GRADUAL_S = 20.0, 22.0
CLEAR_BPM, CLEAR_S = 3.0, 4.0
"""So far from a threshold an event or its kind is clear (ours)."""


@dataclass(frozen=True, slots=True)
class CordEvent:
    """What the cord's compression put into the tracks (seconds)."""

    start_s: float
    end_s: float
    shoulder_before: bool
    shoulder_after: bool
    overshoot: bool


def events(curve: FloatArray, split_share: float = SADDLE_SHARE) -> list[tuple[int, int, int]]:
    """(onset, extreme, end) sample indices of each hump of a curve that is zero between events.

    Humps are split where the curve between them comes down to split_share of the smaller one.
    """
    above = np.concatenate(([False], curve > DEPARTURE_LEAST_BPM, [False]))
    edges = np.flatnonzero(above[1:] != above[:-1])
    found: list[tuple[int, int, int]] = []
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        for left, right in _split(curve, int(start), int(stop), split_share):
            top = left + int(np.argmax(curve[left:right]))
            if curve[top] < LEAST_KEPT_BPM:
                continue
            level = max(DEPARTURE_LEAST_BPM, DEPARTURE_SHARE * curve[top])
            low_left = np.flatnonzero(curve[left:top] <= level)
            low_right = np.flatnonzero(curve[top:right] <= level)
            onset = left + int(low_left[-1]) + 1 if len(low_left) else left
            end = top + int(low_right[0]) if len(low_right) else right
            found.append((int(onset), int(top), int(end)))
    return found


def _split(curve: FloatArray, start: int, stop: int, share: float) -> list[tuple[int, int]]:
    pieces: list[tuple[int, int]] = []
    waiting = [(start, stop)]
    while waiting:
        left, right = waiting.pop()
        part = curve[left:right]
        best, at = share, -1
        if len(part) > 8:
            before = np.maximum.accumulate(part)
            after = np.maximum.accumulate(part[::-1])[::-1]
            smaller = np.minimum(before, after)
            ratio = np.where(smaller >= LEAST_KEPT_BPM, part / np.maximum(smaller, 1e-9), 1.0)
            at = int(np.argmin(ratio))
            best = float(ratio[at])
        if at > 0 and best < share:
            waiting += [(left + at, right), (left, left + at)]
        else:
            pieces.append((left, right))
    return sorted(pieces)


def drawn(rate: FloatArray) -> FloatArray:
    """The rate as trace paper shows it: the mean of a millimetre, shape as given (4 Hz)."""
    if not len(rate):
        return rate
    length = int(PAPER_MM_S * STEP_HZ) | 1
    padded = np.pad(rate, length // 2, mode="edge")
    return np.convolve(padded, np.full(length, 1.0 / length), "valid")


def meant_or_made(
    curve: FloatArray, away: FloatArray, least_bpm: float, least_s: float
) -> list[tuple[tuple[int, int, int], FloatArray]]:
    """Humps in order of time, each with the track that shows it: the curve of the events that were
    meant, or the drawn rate itself (away). A meant event that is none without help, and over whose
    time the drawn rate makes one, is that one."""
    own = events(curve)
    sure = [
        bool(curve[extreme] >= least_bpm and end - onset >= least_s * STEP_HZ)
        for onset, extreme, end in own
    ]
    more = of_the_rate_itself(away, own, sure, least_bpm, least_s)
    meant = [
        (hump, curve)
        for hump, is_sure in zip(own, sure, strict=True)
        if is_sure or not any(hump[0] <= extreme < hump[2] for _, extreme, _ in more)
    ]
    return sorted(meant + [(hump, away) for hump in more], key=lambda event: event[0])


def of_the_rate_itself(
    away: FloatArray,
    own: list[tuple[int, int, int]],
    sure: list[bool],
    least_bpm: float,
    least_s: float,
) -> list[tuple[int, int, int]]:
    """Humps (onset, extreme, end) that only the fluctuation, or it with a small event, makes.

    away: distance of the drawn rate from the baseline, 0 where it is on the other side. A reader
    has the rate before him and not its causes: what leaves the baseline by `least_bpm` for
    `least_s` (NEAR_BPM and NEAR_S less, so that near ones are known) is an event whatever made it.
    own: the events that were meant, of which the sure ones are events without help.
    """
    return [
        (onset, extreme, end)
        for onset, extreme, end in events(away)
        if away[extreme] >= least_bpm - NEAR_BPM
        and end - onset >= (least_s - NEAR_S) * STEP_HZ
        and not any(
            is_sure and start <= extreme < stop
            for (start, _, stop), is_sure in zip(own, sure, strict=True)
        )
    ]


def _near(curve: FloatArray, onset: int, top: int) -> int:
    close = curve[top] - max(NEAR_EXTREME_BPM, NEAR_EXTREME_SHARE * curve[top])
    return onset + int(np.argmax(curve[onset : top + 1] >= close))


def _left_extreme(curve: FloatArray, onset: int, top: int, end: int) -> int:
    close = curve[top] - max(NEAR_EXTREME_BPM, NEAR_EXTREME_SHARE * curve[top])
    return end - int(np.argmax(curve[top:end][::-1] >= close))


def paired(contractions: tuple[TrueContraction, ...], onset_s: float, nadir_s: float) -> int:
    """Index of the contraction an event belongs to: the last that began before the nadir and
    had not been over for 30 s at the onset, unless the nadir comes well before its peak and an
    earlier one will do; NO_CONTRACTION if none."""
    chosen = NO_CONTRACTION
    for index, contraction in enumerate(contractions):
        if contraction.onset_s - 5.0 <= nadir_s and onset_s <= contraction.end_s + 30.0:
            if contraction.onset_s - 15.0 > onset_s:
                continue
            if chosen != NO_CONTRACTION and nadir_s < contraction.peak_s - WELL_BEFORE_PEAK_S:
                continue
            chosen = index
    return chosen


def decelerations(
    total: FloatArray,
    parts: dict[Mechanism, FloatArray],
    baseline: FloatArray,
    contractions: tuple[TrueContraction, ...],
    cord_events: list[CordEvent],
    variability_lost: FloatArray,
    away: FloatArray,
) -> tuple[TrueDeceleration, ...]:
    """Every fall of total (bpm below baseline, 4 Hz), and of the drawn rate itself (away).

    parts: what each mechanism gave to the total. A fall counts by what the drawn rate does.
    """
    made = []
    for (onset, nadir, end), curve in meant_or_made(
        total, away, LEAST_EXCURSION_BPM, LEAST_EXCURSION_S
    ):
        shares = {m: float(track[onset:end].sum()) for m, track in parts.items()}
        mechanism = max(shares, key=lambda m: shares[m])
        if shares[mechanism] < 0.5 * float(away[onset:end].sum()) and curve is away:
            mechanism = Mechanism.FLUCTUATION
        made.append(
            _deceleration(
                curve,
                onset,
                nadir,
                end,
                mechanism,
                baseline,
                contractions,
                cord_events,
                variability_lost,
                float(away[onset:end].max()),
            )
        )
    return tuple(made)


def _deceleration(
    curve: FloatArray,
    onset: int,
    nadir: int,
    end: int,
    mechanism: Mechanism,
    baseline: FloatArray,
    contractions: tuple[TrueContraction, ...],
    cord_events: list[CordEvent],
    variability_lost: FloatArray,
    shown_bpm: float,
) -> TrueDeceleration:
    start = _near(curve, onset, nadir)
    left = _left_extreme(curve, onset, nadir, end)
    depth = min(float(curve[nadir]), shown_bpm)
    onset_s, start_s, nadir_s, end_s = (int(i) / STEP_HZ for i in (onset, start, nadir, end))
    duration = end_s - onset_s
    to_start, to_nadir = start_s - onset_s, nadir_s - onset_s
    to_floor = float(np.argmax(curve[onset : nadir + 1] >= FLOOR_SHARE * depth)) / STEP_HZ
    index = paired(contractions, onset_s, nadir_s)
    lag = nadir_s - contractions[index].peak_s if index != NO_CONTRACTION else math.nan

    kind, clear = _kind(mechanism, depth, duration, to_floor, to_start, to_nadir, lag)
    cord = [c for c in cord_events if c.start_s < end_s + 5.0 and c.end_s > onset_s - 5.0]
    return TrueDeceleration(
        kind=kind,
        mechanism=mechanism,
        onset_s=onset_s,
        nadir_start_s=start_s,
        nadir_s=nadir_s,
        end_s=end_s,
        depth_bpm=depth,
        baseline_bpm=float(baseline[min(onset // STEP_HZ, len(baseline) - 1)]),
        contraction=index,
        lag_s=lag,
        shoulder_before=any(c.shoulder_before for c in cord),
        shoulder_after=any(c.shoulder_after for c in cord),
        overshoot=any(c.overshoot for c in cord),
        slow_return=kind is EventKind.VARIABLE and end_s - left / STEP_HZ > SLOW_RETURN_ABOVE_S,
        variability_lost=bool(variability_lost[onset:end].mean() > 0.5),
        counts=depth >= LEAST_EXCURSION_BPM and duration >= LEAST_EXCURSION_S,
        clear=bool(
            clear
            and depth >= LEAST_EXCURSION_BPM + CLEAR_BPM
            and duration >= LEAST_EXCURSION_S + CLEAR_S
        ),
    )


def _kind(
    mechanism: Mechanism,
    depth: float,
    duration: float,
    to_floor: float,
    to_start: float,
    to_nadir: float,
    lag: float,
) -> tuple[EventKind, bool]:
    sudden = mechanism in (Mechanism.CORD, Mechanism.SUSTAINED, Mechanism.FLUCTUATION)
    if duration >= PROLONGED_FROM_S and depth >= LEAST_EXCURSION_BPM:
        # Answers to two contractions that run together may be read as one fall or as two.
        return EventKind.PROLONGED, sudden and duration >= PROLONGED_FROM_S + 3 * CLEAR_S
    away = duration < PROLONGED_FROM_S - 3 * CLEAR_S
    # A sudden fall with a flat, ragged or sloping floor reaches the floor long before its lowest
    # point: NICHD counts to the beginning of the nadir. A smooth bell has one lowest point.
    if (to_floor if sudden else to_nadir) < ABRUPT_BELOW_S:
        return EventKind.VARIABLE, away and to_start < SURELY_ABRUPT_S
    away = away and to_nadir >= ABRUPT_BELOW_S + CLEAR_S and to_start >= SURELY_GRADUAL_S
    if lag != lag:
        return EventKind.GRADUAL_UNPAIRED, away
    # Lags of head compression and of placental flow overlap: the definition decides, not the cause.
    late = lag > LATE_LAG_S
    return (EventKind.LATE if late else EventKind.EARLY), away and abs(lag - LATE_LAG_S) >= CLEAR_S


def rises(curve: FloatArray) -> tuple[TrueRise, ...]:
    """Shoulders and overshoots, from their track (bpm above baseline, 4 Hz)."""
    return tuple(
        TrueRise(onset / STEP_HZ, end / STEP_HZ, float(curve[peak]))
        for onset, peak, end in events(curve)
    )


def accelerations(
    curve: FloatArray,
    baseline: FloatArray,
    contractions: tuple[TrueContraction, ...],
    weeks: float,
    away: FloatArray,
) -> tuple[TrueAcceleration, ...]:
    """Every rise of the track of fetal activity (bpm above baseline, 4 Hz), and of the drawn rate
    itself (away). A rise counts by what the drawn rate does."""
    least_bpm, least_s = least_acceleration(weeks)
    made = []
    for (onset, peak, end), track in meant_or_made(curve, away, least_bpm, least_s):
        start = _near(track, onset, peak)
        # What the drawn rate does not show is not seen by a perfect reader either.
        height = min(float(track[peak]), float(away[onset:end].max()))
        duration = (end - onset) / STEP_HZ
        abrupt = (start - onset) / STEP_HZ < ABRUPT_BELOW_S
        made.append(
            TrueAcceleration(
                kind=EventKind.PROLONGED_ACCELERATION
                if duration >= PROLONGED_FROM_S
                else EventKind.ACCELERATION,
                onset_s=onset / STEP_HZ,
                peak_start_s=start / STEP_HZ,
                peak_s=peak / STEP_HZ,
                end_s=end / STEP_HZ,
                height_bpm=height,
                baseline_bpm=float(baseline[min(onset // STEP_HZ, len(baseline) - 1)]),
                contraction=paired(contractions, onset / STEP_HZ, peak / STEP_HZ),
                counts=bool(
                    height >= least_bpm
                    and least_s <= duration < BASELINE_CHANGE_S
                    and (abrupt or duration >= PROLONGED_FROM_S)
                ),
            )
        )
    return tuple(made)
