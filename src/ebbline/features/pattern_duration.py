"""How long a pattern of decelerations has lasted, looking back over the whole recording.

The standards that count minutes (FIGO 2015, NICE NG229) do not say what breaks a pattern; the
readings taken here are said where they are taken. What is worked out is kept for the few masks
that are asked for, so that asking for one more window costs little however long the recording is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import HALF_OF_CONTRACTIONS, RECURRENCE_S
from ebbline.features.event_index import index_of
from ebbline.features.findings import Findings
from ebbline.features.kept import kept
from ebbline.features.window import (
    LEAST_TO_RECUR,
    counts_of,
    cuts_of,
    pattern_of,
)
from ebbline.terms import Window

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class PatternRun:
    """A stretch without break in which more than half of contractions carry a deceleration."""

    start_s: float
    end_s: float
    carrying: int

    @property
    def duration_s(self) -> float:
        """From the first deceleration's contraction to the return of the last deceleration."""
        return self.end_s - self.start_s


@dataclass(frozen=True, slots=True, eq=False)
class _Segments:
    """The 20-minute segments of a recording that show a pattern, in order of time.

    known_from_s: until when the recording must be followed for the segment to be there.
    run: number of the run the segment belongs to. onset_s: where that run began. end_s: return of
    the last deceleration up to and with this segment. carrying: contractions of the run so far.
    """

    known_from_s: FloatArray
    run: IntArray
    onset_s: FloatArray
    end_s: FloatArray
    carrying: IntArray


@kept(64)
def _segments(findings: Findings, mask: bytes, until_s: float) -> _Segments | None:
    index = index_of(findings)
    which = np.frombuffer(mask, dtype=np.bool_)
    falls, squeezes = index.pairs
    falls, squeezes = falls[which[falls]], squeezes[which[falls]]
    if not findings.uterine.present or len(np.unique(squeezes)) < LEAST_TO_RECUR:
        return None
    pattern = pattern_of(findings, which)
    cuts = cuts_of(findings, Window(index.begins_s, until_s), RECURRENCE_S)
    with_it, of = counts_of(pattern, cuts)
    shows = (with_it >= LEAST_TO_RECUR) & (with_it > HALF_OF_CONTRACTIONS * of)
    if not shows.any():
        return None
    # A segment stands for all starts since the one before it: the contents are the same.
    known_from = np.append(cuts.starts_s[0] - 1e-6, cuts.starts_s[:-1]) + cuts.length_s
    # Ranks of the first and the last carrying contraction of each segment that shows the pattern.
    carried = pattern.counts[0]
    low, high = carried[cuts.first[shows]], carried[cuts.last[shows]] - 1
    high = np.maximum.accumulate(high)
    run = np.append(0, np.cumsum(low[1:] > high[:-1]))
    begins = np.searchsorted(run, run)
    onset_s = np.full(len(pattern.carrying), np.inf)
    end_s = np.full(len(pattern.carrying), -np.inf)
    np.minimum.at(onset_s, squeezes, index.deceleration_onset_s[falls])
    np.maximum.at(end_s, squeezes, index.deceleration_end_s[falls])
    return _Segments(
        known_from_s=known_from[shows],
        run=run,
        onset_s=onset_s[pattern.carrying][low[begins]],
        end_s=np.maximum.accumulate(end_s[pattern.carrying])[high],
        carrying=high - low[begins] + 1,
    )


def _known(findings: Findings, until_s: float, which: BoolArray) -> tuple[_Segments | None, int]:
    """The segments that show the pattern, and how many of them are known at a time."""
    index = index_of(findings)
    whole_s = max(findings.duration_s, until_s)
    if until_s - index.begins_s < RECURRENCE_S:
        whole_s = until_s
    segments = _segments(findings, which.tobytes(), whole_s)
    if segments is None:
        return None, 0
    return segments, int(np.searchsorted(segments.known_from_s, until_s))


def pattern_runs(findings: Findings, until_s: float, which: BoolArray) -> tuple[PatternRun, ...]:
    """Stretches, over the recording up to until_s, in which the pattern lasted without break.

    A 20-minute segment shows the pattern when more than half of its contractions carry a
    deceleration of the mask, and at least two do. Segments that show it and share such a
    contraction are one run, which begins with the onset of its first such contraction's
    deceleration and ends with the return of the last (or at until_s). So about ten minutes of
    contractions without decelerations break a run (our choice).
    """
    segments, known = _known(findings, until_s, which)
    if segments is None or not known:
        return ()
    last = np.append(np.flatnonzero(np.diff(segments.run[:known])), known - 1)
    return tuple(_run(segments, at, until_s) for at in last.tolist())


def _run(segments: _Segments, at: int, until_s: float) -> PatternRun:
    end_s = min(float(segments.end_s[at]), until_s)
    return PatternRun(float(segments.onset_s[at]), end_s, int(segments.carrying[at]))


def longest_run(findings: Findings, window: Window, which: BoolArray) -> PatternRun | None:
    """The longest run of the pattern that reaches into the window, looking back over everything.

    Its duration is what it had lasted by the window's end; None when no run reaches in.
    """
    segments, known = _known(findings, window.end_s, which)
    if segments is None:
        return None
    first = int(np.searchsorted(segments.end_s, window.start_s, "right"))
    if first >= known:
        return None
    ends = np.minimum(segments.end_s[first:known], window.end_s)
    at = first + int(np.argmax(ends - segments.onset_s[first:known]))
    return _run(segments, at, window.end_s)


@dataclass(frozen=True, slots=True, eq=False)
class _Chain:
    """Decelerations in order of onset; began_s: where the series of each began."""

    onset_s: FloatArray
    end_s: FloatArray
    began_s: FloatArray


@kept(64)
def _chain(findings: Findings, mask: bytes, apart_s: float) -> _Chain:
    index = index_of(findings)
    which = np.frombuffer(mask, dtype=np.bool_)
    onsets, ends = index.deceleration_onset_s[which], index.deceleration_end_s[which]
    order = np.argsort(onsets, kind="stable")
    onsets, ends = onsets[order], np.maximum.accumulate(ends[order])
    opens = np.append(True, onsets[1:] - ends[:-1] > apart_s)[: len(onsets)]
    return _Chain(onsets, ends, onsets[opens][np.cumsum(opens) - 1])


def longest_chain(
    findings: Findings, window: Window, which: BoolArray, apart_s: float
) -> Window | None:
    """The longest series of decelerations of the mask that reaches into the window.

    In a series each begins no more than apart_s after the one before has ended; contractions are
    not asked about. Its end is at most the window's; None when no deceleration of the mask reaches
    into the window.
    """
    chain = _chain(findings, which.tobytes(), apart_s)
    first = int(np.searchsorted(chain.end_s, window.start_s, "right"))
    stop = int(np.searchsorted(chain.onset_s, window.end_s))
    if first >= stop:
        return None
    ends = np.minimum(chain.end_s[first:stop], window.end_s)
    at = int(np.argmax(ends - chain.began_s[first:stop]))
    return Window(float(chain.began_s[first + at]), float(ends[at]))
