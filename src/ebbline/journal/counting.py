"""The heart rate from beats tapped along with it, or counted over a time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ebbline.journal.errors import JournalError

LEAST_TAPS = 8
LEAST_S = 5.0
"""Fewer taps, or a shorter time, give no rate (ours)."""

LOWEST_BPM, HIGHEST_BPM = 30.0, 300.0
"""Outside these, a hand has slipped or the beats were grouped (ours)."""

UNEVEN = 0.35
"""Share of taps that may miss or double before the rate is called uneven (ours)."""

WINDOW_TAPS = 8
"""Taps over which the lowest rate is sought: about three seconds (ours)."""

MOST_TAPS = 4000


@dataclass(frozen=True, slots=True)
class Counted:
    """A rate. plus_minus_bpm: half width of what the counting allows. uneven: why, or ""."""

    bpm: float
    plus_minus_bpm: float
    beats: int
    seconds: float
    lowest_bpm: float
    uneven: str


@dataclass(frozen=True, slots=True)
class Heard:
    """Rates around one contraction; None where too little was tapped to tell."""

    before: Counted | None
    during: Counted | None
    after: Counted | None


def rate_from_taps(taps_s: Sequence[float]) -> Counted | None:
    """The rate of beats tapped at these times; None when they are too few to tell.

    taps_s: seconds, in order. The usual interval is the median. An interval near twice or three
    times it is a beat that was not tapped, and counts as two or three; one under half of it is a
    double touch, and is joined to the next. plus_minus_bpm: two standard errors of the mean
    interval. Raises JournalError for times that do not rise.
    """
    taps = np.asarray(taps_s, float)
    if len(taps) > MOST_TAPS or not np.isfinite(taps).all() or (np.diff(taps) < 0).any():
        raise JournalError("the taps are no rising times.", where="taps")
    if len(taps) < LEAST_TAPS or taps[-1] - taps[0] < LEAST_S:
        return None
    gaps, doubled = _without_doubles(np.diff(taps))
    usual = float(np.median(gaps))
    beats_in = np.maximum(1, np.round(gaps / usual))
    missed = int((beats_in - 1).sum())
    beats = int(beats_in.sum())
    seconds = float(gaps.sum())
    single = gaps / beats_in
    error_s = 2 * float(np.std(single)) / math.sqrt(len(single))
    bpm = 60.0 * beats / seconds
    uneven = ""
    if missed + doubled > UNEVEN * beats:
        uneven = f"{missed} beats not tapped and {doubled} tapped twice, of {beats}"
    if not LOWEST_BPM <= bpm <= HIGHEST_BPM:
        return None
    rates = 60.0 / np.convolve(single, np.ones(WINDOW_TAPS - 2) / (WINDOW_TAPS - 2), "valid")
    return Counted(
        bpm,
        bpm * error_s / (seconds / beats),
        beats,
        seconds,
        float(rates.min()) if len(rates) else bpm,
        uneven,
    )


def _without_doubles(gaps: np.ndarray) -> tuple[np.ndarray, int]:
    """Intervals with each double touch joined to what follows, and how many there were."""
    usual = float(np.median(gaps))
    joined: list[float] = []
    carried, doubled = 0.0, 0
    for gap in gaps.tolist():
        if carried + gap < 0.5 * usual:
            carried += gap
            doubled += 1
            continue
        joined.append(carried + gap)
        carried = 0.0
    if carried and joined:
        joined[-1] += carried
    return np.array(joined or gaps.tolist()), doubled


def rate_from_count(beats: int, seconds: float) -> Counted:
    """The rate of beats counted over a time, give or take one beat. Raises JournalError."""
    if not 5 <= seconds <= 600 or not 1 <= beats <= MOST_TAPS:
        raise JournalError(
            f"{beats} beats in {seconds:g} s cannot be counted.",
            where="count",
            remedy="Count for 5 s to 10 min.",
        )
    bpm = 60.0 * beats / seconds
    if not LOWEST_BPM <= bpm <= HIGHEST_BPM:
        raise JournalError(
            f"{beats} beats in {seconds:g} s would be {bpm:.0f} bpm.",
            where="count",
            remedy="Check the count and the time.",
        )
    return Counted(bpm, 60.0 / seconds, beats, seconds, bpm, "")


def heard_around(taps_s: Sequence[float], begins_s: float | None, ends_s: float | None) -> Heard:
    """Rates before, through and after a contraction that was felt from begins_s to ends_s."""
    begins = math.inf if begins_s is None else begins_s
    ends = math.inf if ends_s is None else ends_s
    if ends < begins:
        raise JournalError("the contraction ends before it begins.", where="contraction")
    return Heard(
        rate_from_taps([t for t in taps_s if t < begins]),
        rate_from_taps([t for t in taps_s if begins <= t < ends]),
        rate_from_taps([t for t in taps_s if t >= ends]),
    )
