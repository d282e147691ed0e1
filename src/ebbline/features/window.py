"""What lies in a window of the recording: counts, rates, shares, recurrence.

Pure functions of Findings and a Window. Used by the criteria and by the summary of a review, so
that both say the same. How long a pattern has lasted is told by `features.pattern_duration`.

What belongs to a window: a contraction by its peak, an acceleration by its peak, a deceleration
when any part of it lies in the window, so that a fall is never lost between two windows: it is
told in both. One rule for the review, the criteria, the panel and teaching. Decelerations are
chosen by a mask (see `decelerations_of`); a contraction carries one when a deceleration of the
mask is paired with it, also when that begins just after the window's end: it belongs to the
contraction. A contraction during which the heart rate could not be read (less than half valid from
its onset to 30 s after its end) and that carries none is left out of the shares: what could not be
seen is not counted as absent.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import (
    CONCERNING_LONGER_S,
    HALF_HOUR_S,
    HALF_OF_CONTRACTIONS,
    RECURRENCE_S,
    REDUCED_BELOW_BPM,
    TACHYSYSTOLE_ABOVE,
    TEN_MINUTES_S,
)
from ebbline.features.event_index import KINDS, EventIndex, gathered
from ebbline.features.event_index import index_of as index_of
from ebbline.features.findings import (
    Acceleration,
    Contraction,
    Deceleration,
    DecelerationKind,
    Findings,
)
from ebbline.features.kept import kept
from ebbline.terms import SensorKind, Window, counted

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

LEAST_ACTIVITY = 0.5
"""Least share of a stretch with measured activity for a rate or a share to be told (our choice)."""
LEAST_TO_RECUR = 2
"""One deceleration does not recur, whatever its share of contractions (our choice)."""

BEGIN_TOGETHER_S = 60.0
"""A fall to a level and a deceleration that begin within this of each other are one (ours)."""

EDGE_S = 1e-6
"""A stretch is half-open: what lies so near its end is at its end, and not in it."""

NO_ACTIVITY = "there is no activity channel"


@dataclass(frozen=True, slots=True)
class ContractionRate:
    """Contractions in 10 minutes, averaged over a stretch that ends with the window.

    per_10_min is NaN when too little activity was measured; why then says so. count: contractions
    seen in the stretch; measured_s: seconds of it with activity signal.
    """

    per_10_min: float
    stretch: Window
    count: int
    measured_s: float
    why: str


@dataclass(frozen=True, slots=True)
class Answer:
    """Yes, no or (None) untold, with the number it rests on, the stretch, and why it is untold."""

    answer: bool | None
    value: float
    stretch: Window
    why: str


@dataclass(frozen=True, slots=True)
class ContractionShare:
    """With how many of a stretch's contractions a deceleration comes.

    unreadable: contractions left out because the heart rate could not be read through them.
    share: NaN without any readable contraction.
    """

    carrying: int
    contractions: int
    unreadable: int

    @property
    def share(self) -> float:
        """Carrying contractions over readable contractions, 0..1."""
        return self.carrying / self.contractions if self.contractions else float("nan")


@dataclass(frozen=True, slots=True)
class Montevideo:
    """Montevideo units in 10 minutes; NaN with the reason where they cannot be computed."""

    units: float
    over_s: float
    contractions: int
    why: str


# ---------------------------------------------------------------- what falls in a window


def _inside(times_s: FloatArray, window: Window) -> slice:
    first, last = times_s.searchsorted((window.start_s, window.end_s)).tolist()
    return slice(first, max(first, last))


def contractions_in(findings: Findings, window: Window) -> tuple[Contraction, ...]:
    """Contractions whose peak lies in the window, in order of time."""
    index = index_of(findings)
    places = index.contraction_order[_inside(index.contraction_peak_s, window)]
    return tuple(findings.uterine.contractions[i] for i in places.tolist())


def accelerations_in(findings: Findings, window: Window) -> tuple[Acceleration, ...]:
    """Accelerations whose peak lies in the window, in order of time."""
    index = index_of(findings)
    places = index.acceleration_order[_inside(index.acceleration_peak_s, window)]
    return tuple(findings.fetal.accelerations[i] for i in places.tolist())


def decelerations_in(
    findings: Findings, window: Window, *, shallow: bool = False
) -> tuple[Deceleration, ...]:
    """Decelerations any part of which lies in the window, in order of their nadirs.

    Shallow ones (10 to under 15 bpm) are no decelerations by definition and are left out unless
    asked for.
    """
    index = index_of(findings)
    here = (index.deceleration_onset_s < window.end_s) & (index.deceleration_end_s > window.start_s)
    places = index.deceleration_order[here]
    chosen = (findings.fetal.decelerations[i] for i in places.tolist())
    return tuple(d for d in chosen if shallow or not d.shallow)


def decelerations_of(
    findings: Findings, kinds: Iterable[DecelerationKind], *, shallow: bool = False
) -> BoolArray:
    """Mask over the recording's decelerations (in order of nadir) of the given kinds.

    Shallow ones are left out unless asked for.
    """
    index = index_of(findings)
    wanted = np.zeros(len(KINDS), dtype=np.bool_)
    wanted[[KINDS.index(kind) for kind in kinds]] = True
    mask: BoolArray = wanted[index.kind]
    return mask if shallow else mask & ~index.shallow


def valid_share(findings: Findings, window: Window) -> float:
    """Share of the window with valid heart-rate signal, 0..1 (from the minute-by-minute shares)."""
    index = index_of(findings)
    if window.duration_s <= 0:
        return 0.0
    edges = np.array((window.start_s, window.end_s))
    seconds = gathered(index.heart_edges_s, index.heart_sum_s, edges)
    return float((seconds[1] - seconds[0]) / window.duration_s)


def activity_share(findings: Findings, window: Window) -> float:
    """Share of the window with measured uterine activity, 0..1; 0 without a channel."""
    if not findings.uterine.present or window.duration_s <= 0:
        return 0.0
    return _measured_in(index_of(findings), window) / window.duration_s


def _measured_in(index: EventIndex, window: Window) -> float:
    return float(_measured_s(index, np.array([window.start_s]), window.end_s)[0])


def _measured_s(index: EventIndex, start_s: FloatArray, end_s: FloatArray | float) -> FloatArray:
    """To the microsecond: fifteen contractions in 1,800 s are five in ten minutes, and not more."""
    edges, sums = index.activity_edges_s, index.activity_sum_s
    measured_s = gathered(edges, sums, end_s) - gathered(edges, sums, start_s)
    return np.asarray(np.round(measured_s, 6), dtype=np.float64)


# ---------------------------------------------------------------- contractions


def contraction_rate(findings: Findings, window: Window) -> ContractionRate:
    """Contractions in 10 minutes, averaged over the 30 minutes that end with the window.

    Looks back before the window when it is shorter than 30 minutes, as far as the recording goes;
    stretch says how far. Time without activity signal is left out of the average; NaN when half of
    the stretch or more is missing. Source: Macones 2008, section on uterine contractions.
    """
    index = index_of(findings)
    stretch = Window(max(index.begins_s, window.end_s - HALF_HOUR_S), window.end_s)
    over_s, nothing = stretch.duration_s, float("nan")
    if not findings.uterine.present:
        return ContractionRate(nothing, stretch, 0, 0.0, NO_ACTIVITY)
    inside = _inside(index.contraction_peak_s, stretch)
    count = inside.stop - inside.start
    measured_s = _measured_in(index, stretch)
    if over_s <= 0 or measured_s < LEAST_ACTIVITY * over_s:
        return ContractionRate(nothing, stretch, count, measured_s, _too_little(measured_s, over_s))
    return ContractionRate(TEN_MINUTES_S * count / measured_s, stretch, count, measured_s, "")


def tachysystole(findings: Findings, window: Window) -> Answer:
    """More than 5 contractions in 10 minutes, averaged over 30, in any 30 minutes of the window.

    A window shorter than 30 minutes is lengthened backwards. value: the busiest rate found. The
    answer is None when it is not yes and some 30 minutes lack half of their activity signal.
    Source: Macones 2008; Ayres-de-Campos 2015.
    """
    if not findings.uterine.present:
        return Answer(None, float("nan"), window, NO_ACTIVITY)
    index = index_of(findings)
    starts, length_s = _stretches(index, index.contraction_peak_s, window, HALF_HOUR_S)
    first = np.searchsorted(index.contraction_peak_s, starts)
    last = np.searchsorted(index.contraction_peak_s, starts + length_s - EDGE_S)
    counts = (last - first).astype(np.float64)
    measured_s = _measured_s(index, starts, starts + length_s)
    enough = measured_s >= LEAST_ACTIVITY * length_s
    # Contractions that were seen were seen: with too little signal they still make a least rate.
    rates = (
        TEN_MINUTES_S * counts / np.where(enough, np.maximum(measured_s, 1.0), max(length_s, 1.0))
    )
    busiest = int(np.argmax(rates))
    value = float(rates[busiest])
    stretch = Window(float(starts[busiest]), float(starts[busiest]) + length_s)
    if value > TACHYSYSTOLE_ABOVE:
        return Answer(True, value, stretch, "")
    if not enough.all():
        why = _too_little(float(measured_s.min()), length_s)
        return Answer(None, value, stretch, why)
    return Answer(False, value, stretch, "")


def tachysystole_in_two_tens(findings: Findings, window: Window) -> Answer:
    """More than 5 contractions in each of two successive 10-minute periods of the window.

    value: the lesser count of the busiest pair. A window shorter than 20 minutes is lengthened
    backwards. None without an activity channel, or when not yes and half of the activity of some
    20 minutes was not measured. Source: Ayres-de-Campos 2015, contractions.
    """
    if not findings.uterine.present:
        return Answer(None, float("nan"), window, NO_ACTIVITY)
    index = index_of(findings)
    peaks = index.contraction_peak_s
    starts, length_s = _stretches(index, peaks, window, RECURRENCE_S, parts=2)
    if length_s < RECURRENCE_S:
        return Answer(None, float("nan"), window, "less than 20 minutes were recorded")
    edges = [np.searchsorted(peaks, starts + k * 0.5 * length_s - EDGE_S) for k in range(3)]
    lesser = np.minimum(edges[1] - edges[0], edges[2] - edges[1])
    at = int(np.argmax(lesser))
    value = float(lesser[at])
    stretch = Window(float(starts[at]), float(starts[at]) + length_s)
    if value > TACHYSYSTOLE_ABOVE:
        return Answer(True, value, stretch, "")
    measured_s = _measured_s(index, starts, starts + length_s)
    if (measured_s < LEAST_ACTIVITY * length_s).any():
        why = _too_little(float(measured_s.min()), length_s)
        return Answer(None, value, stretch, why)
    return Answer(False, value, stretch, "")


def montevideo_units(findings: Findings, window: Window) -> Montevideo:
    """Sum of (peak minus resting tone, mmHg) of the contractions in 10 minutes.

    Averaged over the window's measured time. Only a pressure catheter gives strength: for any
    other sensor units is NaN and why says so. Source: Caldeyro-Barcia and Poseiro, Clin Obstet
    Gynecol 1960;3:386-408 (from memory).
    """
    nothing, over_s = float("nan"), window.duration_s
    if not findings.uterine.present:
        return Montevideo(nothing, over_s, 0, NO_ACTIVITY)
    if findings.uterine.sensor is not SensorKind.PRESSURE_CATHETER:
        why = f"a {findings.uterine.sensor} gives no pressures; only a pressure catheter does"
        if findings.uterine.sensor is SensorKind.UNKNOWN:
            why = "the activity sensor is not known; only a pressure catheter gives pressures"
        return Montevideo(nothing, over_s, 0, why)
    measured_s = activity_share(findings, window) * over_s
    if over_s < TEN_MINUTES_S:
        return Montevideo(nothing, over_s, 0, "the window is shorter than 10 minutes")
    if measured_s < LEAST_ACTIVITY * over_s:
        return Montevideo(nothing, over_s, 0, _too_little(measured_s, over_s))
    chosen = contractions_in(findings, window)
    cut = sum(c.cut_top for c in chosen)
    why = f"{cut} contractions have a cut top: the units are at least this" if cut else ""
    units = TEN_MINUTES_S * sum(c.amplitude for c in chosen) / measured_s
    return Montevideo(units, over_s, len(chosen), why)


def _too_little(measured_s: float, over_s: float) -> str:
    return (
        f"activity was measured in only {measured_s / 60.0:.0f} of {over_s / 60.0:.0f} minutes"
        if over_s > 0
        else "the window has no length"
    )


# ---------------------------------------------------------------- decelerations and contractions


@dataclass(frozen=True, slots=True, eq=False)
class Pattern:
    """Which contractions (ordered) carry a deceleration of one mask, and their running counts.

    counts, shape (2, n + 1): contractions that carry; contractions that carry or can be read.
    """

    carrying: BoolArray
    counts: IntArray


@kept(64)
def _kept_pattern(findings: Findings, mask: bytes) -> Pattern:
    index = index_of(findings)
    which = np.frombuffer(mask, dtype=np.bool_)
    carrying = np.zeros(len(index.contraction_peak_s), dtype=np.bool_)
    falls, squeezes = index.pairs
    carrying[squeezes[which[falls]]] = True
    counts = np.zeros((2, len(carrying) + 1), dtype=np.int64)
    np.cumsum(carrying, out=counts[0, 1:])
    np.cumsum(carrying | index.readable, out=counts[1, 1:])
    return Pattern(carrying, counts)


def pattern_of(findings: Findings, which: BoolArray) -> Pattern:
    """The pattern of a mask; the few masks that are asked for are kept."""
    return _kept_pattern(findings, which.tobytes())


def _stretches(
    index: EventIndex,
    peaks_s: FloatArray,
    window: Window,
    length_s: float,
    *,
    parts: int = 1,
) -> tuple[FloatArray, float]:
    """Starts of all stretches of length_s in the window that differ in their contractions.

    With half-open stretches [t, t + length) the contents change only just after a peak is passed
    by an edge (those of the equal parts included), so the peaks, the peaks minus the edges'
    distances and the window's two extremes are enough. A window shorter than the length is
    lengthened backwards to it, as far as the recording goes; the length that results is returned.
    """
    start_s = max(index.begins_s, min(window.start_s, window.end_s - length_s))
    length_s = min(length_s, window.end_s - start_s)
    latest_s = window.end_s - length_s
    if latest_s <= start_s:
        return np.array([start_s]), length_s
    edges = np.concatenate([peaks_s - part * length_s / parts for part in range(parts + 1)])
    edges = edges[(edges > start_s) & (edges < latest_s)]
    return np.sort(np.concatenate(([start_s], edges, [latest_s]))), length_s


@dataclass(frozen=True, slots=True, eq=False)
class Cuts:
    """All stretches of one length in a window that differ in their contractions.

    first, last: places of the contractions from and up to which each stretch reaches; measured_s:
    its seconds with activity signal; enough: whether that is enough for a share to be told.
    """

    starts_s: FloatArray
    ends_s: FloatArray
    length_s: float
    first: IntArray
    last: IntArray
    measured_s: FloatArray
    enough: BoolArray


@kept(8)
def cuts_of(findings: Findings, window: Window, length_s: float) -> Cuts:
    """The stretches of a window; kept for the last few windows asked for."""
    index = index_of(findings)
    peaks = index.contraction_peak_s
    starts, length_s = _stretches(index, peaks, window, length_s)
    ends = starts + length_s
    measured_s = _measured_s(index, starts, ends)
    return Cuts(
        starts_s=starts,
        ends_s=ends,
        length_s=length_s,
        first=peaks.searchsorted(starts),
        last=peaks.searchsorted(ends - EDGE_S),
        measured_s=measured_s,
        enough=measured_s >= LEAST_ACTIVITY * length_s,
    )


def counts_of(pattern: Pattern, cuts: Cuts) -> tuple[IntArray, IntArray]:
    """Of each stretch: contractions that carry, and contractions that carry or can be read."""
    found = pattern.counts.take(cuts.last, axis=1) - pattern.counts.take(cuts.first, axis=1)
    return found[0], found[1]


def share_with_decelerations(
    findings: Findings, window: Window, which: BoolArray
) -> ContractionShare:
    """With how many of the window's contractions a deceleration of the mask comes."""
    index = index_of(findings)
    inside = _inside(index.contraction_peak_s, window)
    counts = pattern_of(findings, which).counts
    carrying, total = (counts[:, inside.stop] - counts[:, inside.start]).tolist()
    return ContractionShare(carrying, total, inside.stop - inside.start - total)


def recurrent(
    findings: Findings, window: Window, which: BoolArray, also: tuple[Window, ...] = ()
) -> Answer:
    """Whether decelerations come with half or more of contractions in any 20 minutes (NICHD).

    value: the highest share found in a 20-minute segment inside the window (a shorter window is
    lengthened backwards). At least two contractions must carry one. None when untold: there is no
    activity channel, or a segment that could hide the pattern lacks half of its activity signal.
    also: falls that lasted on as a level; each counts as one deceleration more, and every
    contraction in it carries one, where the mask has any itself.
    Source: Macones 2008, definition of recurrent and intermittent decelerations.
    """
    return _with_contractions(findings, window, which.tobytes(), also)[0]


def repetitive(
    findings: Findings, window: Window, which: BoolArray, also: tuple[Window, ...] = ()
) -> Answer:
    """Whether decelerations come with over half of contractions in any 20 minutes (FIGO, NICE).

    The standards do not say of which stretch; that of `recurrent` is taken (our choice), so that
    ten quiet minutes beside them do not make a pattern none. Otherwise as `recurrent`. Source:
    Ayres-de-Campos 2015, "repetitive decelerations"; NICE NG229 (from memory).
    """
    return _with_contractions(findings, window, which.tobytes(), also)[1]


@kept(32)
def _with_contractions(
    findings: Findings, window: Window, mask: bytes, also: tuple[Window, ...]
) -> tuple[Answer, Answer]:
    """With half or more, and with over half of the contractions; kept, since each standard asks."""
    index = index_of(findings)
    which = np.frombuffer(mask, dtype=np.bool_)
    start_s = min(window.start_s, window.end_s - RECURRENCE_S)
    asked = Window(max(index.begins_s, start_s), window.end_s)
    seen = which & (index.deceleration_onset_s < asked.end_s)
    seen &= index.deceleration_end_s > asked.start_s
    # A deceleration that a level begins with is that fall, told twice.
    apart = seen.copy()
    for level in also:
        apart &= np.abs(index.deceleration_onset_s - level.start_s) >= BEGIN_TOGETHER_S
    number = int(np.count_nonzero(apart))
    if number + (len(also) if number else 0) < LEAST_TO_RECUR:
        few = Answer(False, float("nan"), asked, "")
        return few, few
    if not findings.uterine.present:
        unknown = Answer(None, float("nan"), asked, NO_ACTIVITY)
        return unknown, unknown
    cuts = cuts_of(findings, window, RECURRENCE_S)
    pattern = _kept_pattern(findings, mask)
    with_it, of = counts_of(_with_levels(index, pattern, also) if also else pattern, cuts)
    shares = with_it / np.maximum(of, 1)
    counted = cuts.enough & (with_it >= LEAST_TO_RECUR)
    # Each deceleration without a contraction may have come with one that was not recorded.
    nadirs = np.sort(index.deceleration_nadir_s[seen & index.alone])
    alone = nadirs.searchsorted(cuts.ends_s) - nadirs.searchsorted(cuts.starts_s)
    maybe = (with_it + alone) / np.maximum(of + alone, 1)
    hidden = (alone > 0) & (with_it + alone >= LEAST_TO_RECUR)
    half = HALF_OF_CONTRACTIONS
    least = _answered(
        index, cuts, shares, counted & (shares >= half), hidden & (maybe >= half), seen, asked
    )
    return least, _answered(
        index, cuts, shares, counted & (shares > half), hidden & (maybe > half), seen, asked
    )


def _answered(
    index: EventIndex,
    cuts: Cuts,
    shares: FloatArray,
    yes: BoolArray,
    maybe: BoolArray,
    seen: BoolArray,
    asked: Window,
) -> Answer:
    """The stretch with the highest share of those that answer yes, of all where none does.

    maybe: the stretches that would, had every deceleration come with a contraction.
    """
    at = int(np.argmax(np.where(yes, shares, -1.0) if yes.any() else shares))
    if yes[at]:
        return Answer(True, float(shares[at]), _cut(cuts, at), "")
    why = _why_untold(index, cuts, seen, maybe)
    if why:
        return Answer(None, float("nan"), asked, why)
    return Answer(False, float(shares[at]), _cut(cuts, at), "")


def _cut(cuts: Cuts, at: int) -> Window:
    return Window(float(cuts.starts_s[at]), float(cuts.starts_s[at]) + cuts.length_s)


def _with_levels(index: EventIndex, pattern: Pattern, also: tuple[Window, ...]) -> Pattern:
    """The pattern, every contraction in those stretches carrying."""
    carrying = pattern.carrying.copy()
    for stretch in also:
        carrying[_inside(index.contraction_peak_s, stretch)] = True
    counts = np.zeros_like(pattern.counts)
    np.cumsum(carrying, out=counts[0, 1:])
    np.cumsum(carrying | index.readable, out=counts[1, 1:])
    return Pattern(carrying, counts)


def _why_untold(index: EventIndex, cuts: Cuts, seen: BoolArray, maybe: BoolArray) -> str:
    """Why it cannot be said that the decelerations seen do not recur; '' when it can."""
    poor = ~cuts.enough
    if poor.any():
        # A stretch too poor in signal can hide the pattern only where decelerations are.
        begun = np.sort(index.deceleration_onset_s[seen]).searchsorted(cuts.ends_s)
        over = np.sort(index.deceleration_end_s[seen]).searchsorted(cuts.starts_s)
        hiding = poor & (begun - over >= LEAST_TO_RECUR)
        if hiding.any():
            return _too_little(float(cuts.measured_s[hiding].min()), cuts.length_s)
    number = int(np.count_nonzero(seen))
    if maybe.any():
        alone = int(np.count_nonzero(seen & index.alone))
        of = "the one deceleration" if number == 1 else f"{alone} of {number} decelerations"
        return f"no contraction was recorded with {of}"
    inside = _inside(
        index.contraction_peak_s, Window(float(cuts.starts_s[0]), float(cuts.ends_s[-1]))
    )
    contractions = inside.stop - inside.start
    unread = contractions - int(np.count_nonzero(index.readable[inside]))
    if unread > HALF_OF_CONTRACTIONS * contractions:
        of = counted(contractions, "contraction")
        return f"the heart rate could not be read through {unread} of {of}"
    return ""


def most_decelerations(findings: Findings, window: Window, which: BoolArray) -> tuple[int, Window]:
    """The most decelerations of the mask in any 20 minutes of the window, and where.

    What is left to count when contractions are not known; by itself no recurrence.
    """
    index = index_of(findings)
    onsets = np.sort(index.deceleration_onset_s[which])
    starts, length_s = _stretches(index, onsets, window, RECURRENCE_S)
    counts = np.searchsorted(onsets, starts + length_s) - np.searchsorted(onsets, starts)
    at = int(np.argmax(counts))
    return int(counts[at]), Window(float(starts[at]), float(starts[at]) + length_s)


# ---------------------------------------------------------------- concerning features


def concerning_features(findings: Findings, deceleration: Deceleration) -> tuple[str, ...]:
    """Concerning characteristics of a variable deceleration, in the trade's words.

    Longer than 60 s; reduced variability within; failure or slowness to return to the baseline;
    loss of shouldering that earlier variable decelerations of the recording had.
    Source: NICE NG229 (2022), section 1.4 (from memory).
    """
    found = []
    if deceleration.duration_s > CONCERNING_LONGER_S:
        found.append("longer than 60 s")
    if deceleration.variability_within_bpm < REDUCED_BELOW_BPM:
        found.append("reduced variability within")
    if deceleration.fails_to_return:
        found.append("fails to return to the baseline")
    elif deceleration.slow_return:
        found.append("slow return to the baseline")
    shouldered = deceleration.shoulder_before or deceleration.shoulder_after
    if not shouldered and shouldering_from_s(findings) < deceleration.onset_s:
        found.append("loss of shouldering")
    return tuple(found)


@kept(8)
def shouldering_from_s(findings: Findings) -> float:
    """From when on shouldering was there to be lost; infinity when it never was.

    It is there once two variable decelerations of the recording had a shoulder (our choice: one
    alone may be chance).
    """
    ends = sorted(
        fall.end_s
        for fall in findings.fetal.decelerations
        if fall.kind is DecelerationKind.VARIABLE and (fall.shoulder_before or fall.shoulder_after)
    )
    return ends[1] if len(ends) > 1 else float("inf")
