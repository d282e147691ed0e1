"""From rows of numbers to named events: which kind a deceleration is, and whose contraction.

Sources: NICHD 2008 (Macones et al.), FIGO 2015 (Ayres-de-Campos et al.); see criteria.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import (
    ABRUPT_BELOW_S,
    LATE_LAG_S,
    LEAST_EXCURSION_BPM,
    LEAST_EXCURSION_S,
    PROLONGED_FROM_S,
    SHALLOW_FROM_BPM,
    SLOW_RETURN_ABOVE_S,
)
from ebbline.features import contractions as hills
from ebbline.features import excursions as ex
from ebbline.features.findings import (
    NO_CONTRACTION,
    Acceleration,
    Artefact,
    ArtefactKind,
    Contraction,
    Deceleration,
    DecelerationKind,
    SinusoidalEpisode,
)

FloatArray = NDArray[np.float64]

Excursion = TypeVar("Excursion", Acceleration, Deceleration)

LEAST_SEEN_OF_LEAST, LEAST_SEEN_SHARE = 2 / 3, 1 / 3
"""An excursion of which less was seen off the baseline is not reported, as it is a gap with specks
in it: two thirds of the least duration (10 of 15 s), and a third of itself (ours, by eye on open
recordings)."""

JUMPED_SHARE, JUMPED_UNDER_S = 0.5, 30.0
"""An excursion briefer than this whose flanks both go in one step for so much of its height was
never seen to fall or to come back: rather a piece of another rate than the fetus's own. A longer
one stays, with a doubt (ours: with the joining of rests, F1 on invented hours to develop on rises
from 0.891 to 0.908 for decelerations and from 0.860 to 0.875 for accelerations)."""

FAINT_BPM, STANDS_OUT = 6.5, 6.0
"""Shallow falls are kept from this depth where they stand so many times out of the trace's
roughness: on a smooth trace 8 bpm (read as 7 and less) at every contraction are late decelerations
to any eye (NICHD 2008 sets them no least depth; the numbers are ours)."""

OTHER_RATES = (ArtefactKind.DOUBLING, ArtefactKind.HALVING, ArtefactKind.MATERNAL)
DOUBT = 0.5
"""What a suspicion about the signal under its extreme leaves of an event's certainty (ours)."""

PLATEAU_BREADTH, BLOCK_BREADTH = 0.72, 0.80
"""A hill that spends more of its length over half its height is rather a plateau (ours: of 133
contractions marked by eye on open recordings one in ten); with all but a fifth over it, it has
no flanks and is a block that a hand or a shifted belt makes (ours)."""


def contractions_from(rows: FloatArray) -> list[Contraction]:
    """Contractions from the rows of `contractions.tone_and_hills`."""
    found = []
    for row in rows.tolist():
        found.append(
            Contraction(
                onset_s=row[hills.ONSET],
                peak_s=row[hills.PEAK],
                end_s=row[hills.END],
                amplitude=row[hills.AMPLITUDE],
                resting_tone=row[hills.TONE],
                valid_share=row[hills.VALID_SHARE],
                certainty=_plausibility(row),
                cut_top=row[hills.CUT_TOP] > 0.5,
            )
        )
    return found


def _plausibility(row: list[float]) -> float:
    """How surely a hill is a contraction: seen, likely by its shape, a bell and not a plateau."""
    breadth = row[hills.BREADTH]
    bell = 1.0 if breadth <= PLATEAU_BREADTH else 0.7 if breadth <= BLOCK_BREADTH else 0.45
    return row[hills.VALID_SHARE] * row[hills.LIKELY] * bell


BEFORE_CONTRACTION_S, AFTER_CONTRACTION_S = 20.0, 60.0
"""A nadir may lie from so long before the contraction's onset to so long after its end: of a late
deceleration the nadir comes after the peak, the recovery after the end (NICHD 2008, no number)."""

EARLIEST_ONSET_S, LATEST_ONSET_S = 45.0, 15.0
"""A fall may begin so long before the contraction's onset, which a toco shows late, and so long
after its end (ours)."""

USUAL_LAG_S = 12.0
"""Among several contractions a nadir belongs to the one whose peak it follows most nearly by this:
between early ones (0) and late ones (over LATE_LAG_S) (ours)."""


class Pairing:
    """Finds the contraction an excursion belongs to: the one whose reach its nadir lies in."""

    def __init__(self, contractions: Sequence[Contraction]) -> None:
        self._contractions = contractions
        self._peaks = np.array([c.peak_s for c in contractions])

    def of(self, onset_s: float, extreme_s: float) -> int:
        """Index of the contraction, or NO_CONTRACTION."""
        best, least = NO_CONTRACTION, math.inf
        first = int(np.searchsorted(self._peaks, extreme_s - 240.0)) if len(self._peaks) else 0
        for index in range(first, len(self._contractions)):
            contraction = self._contractions[index]
            if contraction.peak_s > extreme_s + 60.0:
                break
            begins, ends = contraction.onset_s, contraction.end_s
            if not begins - BEFORE_CONTRACTION_S <= extreme_s <= ends + AFTER_CONTRACTION_S:
                continue
            if not begins - EARLIEST_ONSET_S <= onset_s <= ends + LATEST_ONSET_S:
                continue
            distance = abs(extreme_s - contraction.peak_s - USUAL_LAG_S)
            if distance < least:
                best, least = index, distance
        return best


def _certainty(row: list[float], least_bpm: float, sure: float) -> float:
    """How surely an excursion is one: clear of the least amplitude, seen whole, on a baseline
    that is itself sure (`sure`, 0..1)."""
    clear = 1.0 - 0.5 * math.exp(-(row[ex.AMPLITUDE] - least_bpm) / 6.0)
    cut = 0.8 if row[ex.CUT] > 0 else 1.0
    jumped = DOUBT if row[ex.BY_STEPS] >= JUMPED_SHARE else 1.0
    return clear * cut * jumped * sure * (0.25 + 0.75 * row[ex.VALID_SHARE])


def _seen(row: list[float], least_s: float, rate_hz: float) -> bool:
    enough = row[ex.SEEN_OFF] / rate_hz >= LEAST_SEEN_OF_LEAST * least_s - ex.ROUNDING_S
    return enough and row[ex.VALID_SHARE] >= LEAST_SEEN_SHARE


def between_jumps(rows: FloatArray, rate_hz: float) -> NDArray[np.bool_]:
    """Which rows of `excursions.excursions` are brief and come and go in steps, shape (rows,)."""
    brief = rows[:, ex.END] - rows[:, ex.ONSET] < JUMPED_UNDER_S * rate_hz
    return np.asarray(brief & (rows[:, ex.BY_STEPS] >= JUMPED_SHARE))


def deceleration_kind(
    duration_s: float, lag_s: float, *, abrupt: bool, shallow: bool, paired: bool
) -> DecelerationKind:
    """The kind of a deceleration; lag_s: nadir minus the peak of its contraction, if paired."""
    if duration_s >= PROLONGED_FROM_S and not shallow:
        return DecelerationKind.PROLONGED
    if abrupt:
        return DecelerationKind.VARIABLE
    if not paired:
        return DecelerationKind.GRADUAL_UNPAIRED
    return DecelerationKind.LATE if lag_s > LATE_LAG_S else DecelerationKind.EARLY


def standing_out(rows: FloatArray, rough: FloatArray, block: int) -> FloatArray:
    """Rows of falls without those under SHALLOW_FROM_BPM that the trace's own roughness could make.

    rough: typical distance of the trace from its 15-s mean in each block of samples.
    """
    around = rough[np.minimum(rows[:, ex.EXTREME].astype(np.int64) // block, len(rough) - 1)]
    size = rows[:, ex.AMPLITUDE]
    return rows[(size >= SHALLOW_FROM_BPM) | (size >= STANDS_OUT * around)]


def decelerations_from(
    rows: FloatArray,
    contractions: Sequence[Contraction],
    sure: FloatArray,
    rate_hz: float,
) -> list[Deceleration]:
    """Decelerations with kind and contraction from the rows of `excursions.excursions`.

    sure: certainty of the baseline each second.
    """
    pairing = Pairing(contractions)
    found = []
    for row in rows.tolist():
        if not _seen(row, LEAST_EXCURSION_S, rate_hz):
            continue
        onset_s, nadir_s, end_s = (row[k] / rate_hz for k in (ex.ONSET, ex.EXTREME, ex.END))
        depth = row[ex.AMPLITUDE]
        to_nadir_s = row[ex.TO_EXTREME] / rate_hz
        index = pairing.of(onset_s, nadir_s)
        lag_s = onset_lag_s = math.nan
        if index != NO_CONTRACTION:
            lag_s = nadir_s - contractions[index].peak_s
            onset_lag_s = onset_s - contractions[index].onset_s
        abrupt = to_nadir_s < ABRUPT_BELOW_S
        shallow = depth < LEAST_EXCURSION_BPM
        if shallow and (abrupt or index == NO_CONTRACTION):
            continue
        kind = deceleration_kind(
            end_s - onset_s, lag_s, abrupt=abrupt, shallow=shallow, paired=index != NO_CONTRACTION
        )
        return_s = row[ex.RETURN] / rate_hz
        after_s = row[ex.SHOULDER_AFTER]
        found.append(
            Deceleration(
                kind=kind,
                onset_s=onset_s,
                nadir_s=nadir_s,
                end_s=end_s,
                depth_bpm=depth,
                nadir_bpm=row[ex.BASELINE] - depth,
                baseline_bpm=row[ex.BASELINE],
                onset_to_nadir_s=to_nadir_s,
                return_s=return_s,
                abrupt=abrupt,
                contraction=index,
                lag_s=lag_s,
                onset_lag_s=onset_lag_s,
                area_bpm_s=row[ex.AREA] / rate_hz,
                variability_within_bpm=row[ex.WITHIN],
                shoulder_before=row[ex.SHOULDER_BEFORE] > 0,
                shoulder_after=0 < after_s <= 25.0,
                overshoot=row[ex.OVERSHOOT] > 25.0,
                slow_return=return_s > SLOW_RETURN_ABOVE_S,
                fails_to_return=row[ex.FAILS_TO_RETURN] > 0,
                shallow=shallow,
                valid_share=row[ex.VALID_SHARE],
                certainty=_certainty(row, FAINT_BPM, sure[min(len(sure) - 1, int(nadir_s))]),
                recovered=row[ex.CUT] < ex.NOT_RECOVERED,
            )
        )
    return found


def accelerations_from(
    rows: FloatArray,
    contractions: Sequence[Contraction],
    decelerations: Sequence[Deceleration],
    sure: FloatArray,
    least: tuple[float, float],
    rate_hz: float,
) -> list[Acceleration]:
    """Accelerations from the rows of `excursions.excursions` on the mirrored signal.

    least: height (bpm) and length (s) of the rule for this gestation. A short low rise that
    touches a variable deceleration is its shoulder, not an acceleration.
    """
    pairing = Pairing(contractions)
    least_bpm, least_s = least
    found = []
    edges = np.array(
        [
            t
            for d in decelerations
            if d.kind is DecelerationKind.VARIABLE
            for t in (d.onset_s, d.end_s)
        ]
    )
    for row in rows.tolist():
        if not _seen(row, least_s, rate_hz):
            continue
        onset_s, peak_s, end_s = (row[k] / rate_hz for k in (ex.ONSET, ex.EXTREME, ex.END))
        height = row[ex.AMPLITUDE]
        if len(edges) and height < 1.5 * least_bpm and end_s - onset_s < 25.0:
            near = min(float(np.min(np.abs(edges - onset_s))), float(np.min(np.abs(edges - end_s))))
            if near < 6.0:
                continue
        to_peak_s = row[ex.TO_EXTREME] / rate_hz
        found.append(
            Acceleration(
                onset_s=onset_s,
                peak_s=peak_s,
                end_s=end_s,
                height_bpm=height,
                baseline_bpm=row[ex.BASELINE],
                onset_to_peak_s=to_peak_s,
                abrupt=to_peak_s < ABRUPT_BELOW_S,
                prolonged=end_s - onset_s >= PROLONGED_FROM_S,
                contraction=pairing.of(onset_s, peak_s),
                valid_share=row[ex.VALID_SHARE],
                certainty=_certainty(row, least_bpm, sure[min(len(sure) - 1, int(peak_s))]),
            )
        )
    return found


def doubted(events: Sequence[Excursion], artefacts: Sequence[Artefact]) -> list[Excursion]:
    """Events with less certainty where their extreme lies in a stretch that may be another rate."""
    spans = [(a.start_s, a.end_s) for a in artefacts if a.kind in OTHER_RATES]
    found = []
    for event in events:
        at_s = event.peak_s if isinstance(event, Acceleration) else event.nadir_s
        doubtful = any(start_s <= at_s <= end_s for start_s, end_s in spans)
        found.append(replace(event, certainty=DOUBT * event.certainty) if doubtful else event)
    return found


def not_doubled(
    accelerations: Sequence[Acceleration], artefacts: Sequence[Artefact]
) -> list[Acceleration]:
    """Accelerations without those of which half or more may be a rate counted double: such signal
    tells nothing of the fetus, and a rise that reassures least of all."""
    spans = [(a.start_s, a.end_s) for a in artefacts if a.kind is ArtefactKind.DOUBLING]

    def own(one: Acceleration) -> bool:
        on = sum(max(0.0, min(one.end_s, e) - max(one.onset_s, s)) for s, e in spans)
        return on < 0.5 * one.duration_s

    return [one for one in accelerations if own(one)]


def not_of_waves(
    excursions: Sequence[Excursion], waves: Sequence[SinusoidalEpisode]
) -> list[Excursion]:
    """Excursions without the crests and troughs of a sinusoidal undulation.

    A crest lasts half a period and rises by the amplitude; what is longer than a period or twice
    as high is something else (FIGO 2015: a sinusoidal pattern is described as such, not as a row
    of accelerations).
    """
    return [
        excursion
        for excursion in excursions
        if not any(_is_wave(excursion, wave) for wave in waves)
    ]


LONGEST_PERIOD_S = 20.0
"""Of three cycles a minute: the frequency of an undulation may wander (NICHD 2008: 3 to 5)."""


def _is_wave(excursion: Acceleration | Deceleration, wave: SinusoidalEpisode) -> bool:
    middle_s = 0.5 * (excursion.onset_s + excursion.end_s)
    size = excursion.height_bpm if isinstance(excursion, Acceleration) else excursion.depth_bpm
    return (
        wave.start_s <= middle_s <= wave.end_s
        and excursion.duration_s <= max(60.0 / wave.cycles_per_min, LONGEST_PERIOD_S)
        and size <= 2.0 * wave.amplitude_bpm
    )


SURE_RISE, LEAST_RISES, RISE_EACH_S = 0.5, 2, 1200.0
"""An undulation is pseudo-sinusoidal with so many accelerations as sure as this, and one in so
long: a single doubtful rise within an hour of sine must not make it read better (ours)."""


def with_accelerations(
    waves: Sequence[SinusoidalEpisode], accelerations: Sequence[Acceleration]
) -> tuple[SinusoidalEpisode, ...]:
    """Undulations during which the fetus accelerates are pseudo-sinusoidal (FIGO 2015)."""
    peaks = np.array([a.peak_s for a in accelerations if a.certainty >= SURE_RISE])
    found = []
    for wave in waves:
        rises = int(((peaks >= wave.start_s) & (peaks <= wave.end_s)).sum())
        enough = max(LEAST_RISES, (wave.end_s - wave.start_s) / RISE_EACH_S)
        found.append(replace(wave, pseudo=True) if rises >= enough else wave)
    return tuple(found)
