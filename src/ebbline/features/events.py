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
    PROLONGED_FROM_S,
    SHALLOW_FROM_BPM,
    SLOW_RETURN_ABOVE_S,
)
from ebbline.features import contractions as hills
from ebbline.features import excursions as ex
from ebbline.features.findings import (
    NO_CONTRACTION,
    Acceleration,
    Contraction,
    Deceleration,
    DecelerationKind,
    SinusoidalEpisode,
)
from ebbline.terms import SensorKind

FloatArray = NDArray[np.float64]

Excursion = TypeVar("Excursion", Acceleration, Deceleration)

LEAST_SEEN_S, LEAST_SEEN_SHARE = 5.0, 0.22
"""An excursion of which less was seen is not reported: it is a gap with specks in it."""


def contractions_from(rows: FloatArray, sensor: SensorKind, floor: float) -> list[Contraction]:
    """Contractions from the rows of `contractions.tone_and_hills`."""
    found = []
    for row in rows.tolist():
        over = row[hills.AMPLITUDE] / floor
        certainty = row[hills.VALID_SHARE] * (1.0 - math.exp(-0.5 * over))
        found.append(
            Contraction(
                onset_s=row[hills.ONSET],
                peak_s=row[hills.PEAK],
                end_s=row[hills.END],
                amplitude=row[hills.AMPLITUDE],
                resting_tone=row[hills.TONE],
                valid_share=row[hills.VALID_SHARE],
                certainty=certainty,
                cut_top=row[hills.CUT_TOP] > 0.5,
            )
        )
    return found


class Pairing:
    """Finds the contraction an excursion belongs to: the one whose reach its nadir lies in.

    A nadir may lie from 30 s before a contraction's peak (early onset, variable) to 70 s after
    its end (late); among several, the one whose peak is nearest to 15 s before the nadir.
    """

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
            if not contraction.onset_s - 20.0 <= extreme_s <= contraction.end_s + 60.0:
                continue
            if onset_s > contraction.end_s + 15.0 or onset_s < contraction.onset_s - 45.0:
                continue
            distance = abs(extreme_s - contraction.peak_s - 12.0)
            if distance < least:
                best, least = index, distance
        return best


def _certainty(row: list[float], least_bpm: float, sure: float) -> float:
    """How surely an excursion is one: clear of the least amplitude, seen whole, on a baseline
    that is itself sure (`sure`, 0..1)."""
    clear = 1.0 - 0.5 * math.exp(-(row[ex.AMPLITUDE] - least_bpm) / 6.0)
    cut = 0.8 if row[ex.CUT] > 0 else 1.0
    return clear * cut * sure * (0.25 + 0.75 * row[ex.VALID_SHARE])


def _seen(row: list[float], rate_hz: float) -> bool:
    seen_s = row[ex.VALID_SHARE] * (row[ex.END] - row[ex.ONSET]) / rate_hz
    return seen_s >= LEAST_SEEN_S and row[ex.VALID_SHARE] >= LEAST_SEEN_SHARE


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
        if not _seen(row, rate_hz):
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
                certainty=_certainty(row, SHALLOW_FROM_BPM, sure[min(len(sure) - 1, int(nadir_s))]),
                recovered=row[ex.CUT] < ex.NOT_RECOVERED,
            )
        )
    return found


def accelerations_from(
    rows: FloatArray,
    contractions: Sequence[Contraction],
    decelerations: Sequence[Deceleration],
    sure: FloatArray,
    least_bpm: float,
    rate_hz: float,
) -> list[Acceleration]:
    """Accelerations from the rows of `excursions.excursions` on the mirrored signal.

    A short low rise that touches a variable deceleration is its shoulder, not an acceleration.
    """
    pairing = Pairing(contractions)
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
        if not _seen(row, rate_hz):
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


def _is_wave(excursion: Acceleration | Deceleration, wave: SinusoidalEpisode) -> bool:
    middle_s = 0.5 * (excursion.onset_s + excursion.end_s)
    size = excursion.height_bpm if isinstance(excursion, Acceleration) else excursion.depth_bpm
    return (
        wave.start_s <= middle_s <= wave.end_s
        and excursion.duration_s <= 60.0 / wave.cycles_per_min
        and size <= 2.0 * wave.amplitude_bpm
    )


def with_accelerations(
    waves: Sequence[SinusoidalEpisode], accelerations: Sequence[Acceleration]
) -> tuple[SinusoidalEpisode, ...]:
    """Undulations during which the fetus accelerates are pseudo-sinusoidal (FIGO 2015)."""
    return tuple(
        replace(wave, pseudo=True)
        if any(wave.start_s <= a.peak_s <= wave.end_s for a in accelerations)
        else wave
        for wave in waves
    )
