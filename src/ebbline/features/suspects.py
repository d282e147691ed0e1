"""Stretches of signal that are lost or suspect as findings, and the quality of ten minutes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ebbline.features import excursions
from ebbline.features.findings import (
    Acceleration,
    Artefact,
    ArtefactKind,
    Contraction,
    Curve,
    QualitySegment,
)
from ebbline.features.steps_down import LEVEL_SHARE, STEP_APART_S, STEP_MEAN_S, steps_down
from ebbline.signal import artefacts, maternal, quality
from ebbline.signal.resampling import RATE_HZ

FloatArray = NDArray[np.float64]

RATE = int(RATE_HZ)

LISTED_GAP_S = 15.0
"""Gaps from this length are listed as artefacts; all gaps count in the valid share."""

_KIND_OF_CODE = {
    artefacts.MISSING: ArtefactKind.DROP_OUT,
    artefacts.OUT_OF_RANGE: ArtefactKind.OUT_OF_RANGE,
    artefacts.SPIKE: ArtefactKind.SPIKE,
    artefacts.DOUBLED: ArtefactKind.DOUBLING,
    artefacts.HALVED: ArtefactKind.HALVING,
    artefacts.FLAT: ArtefactKind.FLAT,
}

NO_SIGNAL = "no signal"

_WHY = {
    artefacts.MISSING: NO_SIGNAL,
    artefacts.OUT_OF_RANGE: (f"outside {artefacts.LOWEST_BPM:.0f}-{artefacts.HIGHEST_BPM:.0f} bpm"),
    artefacts.SPIKE: "a short piece far from what lies on both sides",
    artefacts.DOUBLED: (
        "about twice the level on both sides: a slow rate may have been counted double"
    ),
    artefacts.HALVED: "about half the level on both sides: a fast rate may have been counted half",
    artefacts.FLAT: f"not one change of value in {artefacts.FLAT_S / 60:.0f} minutes or more",
}


_WHY_LASTING = {
    ArtefactKind.DOUBLING: (
        "a sudden step to twice the rate: a slow rate may be counted double; listen, feel her pulse"
    ),
    ArtefactKind.HALVING: (
        "a sudden step to half the rate: a fast rate may be counted half, or it is the mother's; "
        "listen, feel her pulse"
    ),
}

PEAKS_TOGETHER_S = 20.0
"""A rise and a contraction whose peaks lie within this are together (ours)."""

RISES_OVER_S = 1800.0
LEAST_RISES, RISES_SHARE = 4, 0.6
"""Rises with so many contractions, and with so much of all contractions, are a mother's rather than
a fetus's where the rate itself could be hers (FIGO 2015 names the sign; the numbers are ours)."""


def with_rises(
    suspect: tuple[Artefact, ...],
    rises: Sequence[Acceleration],
    contractions: Sequence[Contraction],
) -> tuple[Artefact, ...]:
    """The suspect stretches, and accelerations with most contractions at a mother's rate.

    FIGO 2015: accelerations that coincide with contractions, above all with pushing, may be the
    mother's pulse. Judged in the half hour from each contraction on, as far as it was recorded.
    """
    peaks = np.array([c.peak_s for c in contractions])
    could_be = [a for a in rises if a.baseline_bpm <= maternal.HIGH_BPM]
    if len(could_be) < LEAST_RISES or not len(peaks):
        return suspect
    tops = np.array([a.peak_s for a in could_be])
    with_one = np.abs(tops[:, None] - peaks[None, :]).min(axis=1) <= PEAKS_TOGETHER_S
    if np.count_nonzero(with_one) < LEAST_RISES:
        return suspect
    # The last half hour is whole as well: a few contractions at the end are no half hour.
    latest_s = max(peaks[0], peaks[-1] - RISES_OVER_S)
    firsts = np.append(peaks[peaks < latest_s], latest_s)
    lasts = firsts + RISES_OVER_S + 1.0
    number = peaks.searchsorted(lasts) - peaks.searchsorted(firsts)
    here = with_one & (tops >= firsts[:, None] - PEAKS_TOGETHER_S) & (tops < lasts[:, None])
    many = here.sum(axis=1) >= np.maximum(LEAST_RISES, RISES_SHARE * number)
    doubted = here[many].any(axis=0)
    found = [
        Artefact(
            ArtefactKind.MATERNAL,
            a.onset_s,
            a.end_s,
            0.4,
            "rises with the contractions at a rate that could be the mother's: feel her pulse",
        )
        for a, marked in zip(could_be, doubted.tolist(), strict=True)
        if marked
    ]
    return tuple(sorted((*suspect, *found), key=lambda artefact: artefact.start_s))


SLOPE_TO_BPM = 110.0
"""Up to here a level that the rate came down to and stayed at is said to be perhaps the mother's
(FIGO 2015 and NICHD 2008: lower than a fetus's normal baseline; ours to ask for her pulse then). A
level over it is a common baseline: up to 127 bpm a third of open recordings were suspected."""
SWAY_BPM = 5.0
"""No more than a quarter of the time may be more than this over it: falls that come back, one upon
another, are no level (ours)."""
SLOPES_S = (2 * STEP_APART_S, 90, 200)
"""The rate comes down to it at once, or within so much (ours)."""
SLOPE_CERTAINTY = 0.3
"""Of such a suspicion: less than of a sudden step, as the fetus itself does so, too (ours)."""
STAYS_S, STAYS_AT_END_S = 600.0, 240.0
"""So long the rate stays there, or so long at the end without having come back (ours)."""


def with_levels(
    suspect: tuple[Artefact, ...], rate: Curve, sure_of_source: bool
) -> tuple[Artefact, ...]:
    """The suspect stretches, and lower levels that the rate came down to and stayed at.

    A fetus whose signal is lost is followed by the mother's within seconds, or (as a mean of both
    is told) over a minute or two; by the trace alone that is no different from a fall that does not
    come back (FIGO 2015: a maternal rate may be told as fetal bradycardia). sure_of_source: there
    is a maternal rate to hold it against.
    """
    if sure_of_source:
        return suspect
    ends_s = rate.start_s + rate.step_s * len(rate.values)
    known = [(a.start_s, a.end_s) for a in suspect if a.kind is ArtefactKind.MATERNAL]
    found = []
    for slope_s in SLOPES_S:
        for step in steps_down(rate, slope_s // 2):
            until_s = min(step.until_s, ends_s)
            lasted_s = until_s - step.start_s
            if lasted_s < (STAYS_AT_END_S if step.until_s > ends_s else STAYS_S):
                continue
            seen = rate.known(step.start_s + slope_s, until_s)
            if len(seen) < STEP_MEAN_S or (seen > SLOPE_TO_BPM + SWAY_BPM).mean() > LEVEL_SHARE:
                continue
            level_bpm = float(np.median(seen))
            if not maternal.LOW_BPM <= level_bpm <= SLOPE_TO_BPM:
                continue
            if any(start_s < until_s and end_s > step.start_s for start_s, end_s in known):
                continue
            known.append((step.start_s, until_s))
            why = (
                f"came down from {step.from_bpm:.0f} to {level_bpm:.0f} bpm, in the range of a "
                "mother's pulse, and stayed: feel her pulse"
            )
            found.append(
                Artefact(ArtefactKind.MATERNAL, step.start_s, until_s, SLOPE_CERTAINTY, why)
            )
    return tuple(sorted((*suspect, *found), key=lambda artefact: artefact.start_s))


def suspect_stretches(
    kept: FloatArray,
    code: NDArray[np.int8],
    coincident: NDArray[np.int64],
    suspect: bool,
) -> tuple[Artefact, ...]:
    """Lost and suspect stretches in order of time.

    kept, code: from `artefacts.usable`; coincident: stretches that were the mother's; suspect: no
    maternal channel, so that a step to a mother's rate is told.
    """
    found = []
    present = np.bincount(code, minlength=8)
    for value, kind in _KIND_OF_CODE.items():
        if not present[value]:
            continue
        lost = value in (artefacts.MISSING, artefacts.FLAT)
        least = int(LISTED_GAP_S * RATE) if lost else 1
        for start, end in quality.runs(code, value, least, RATE).tolist():
            sure = 1.0 if lost or value == artefacts.OUT_OF_RANGE else 0.6
            found.append(Artefact(kind, start / RATE_HZ, end / RATE_HZ, sure, _WHY[value]))
    found += [
        Artefact(
            ArtefactKind.MATERNAL,
            start / RATE_HZ,
            end / RATE_HZ,
            0.9,
            f"within {maternal.COINCIDENT_BPM:.0f} bpm of the maternal pulse: left out",
        )
        for start, end in coincident.tolist()
    ]
    if suspect:
        found += [
            Artefact(
                ArtefactKind.MATERNAL,
                start / RATE_HZ,
                end / RATE_HZ,
                0.4,
                "a sudden step to another level in the range of a mother's pulse",
            )
            for start, end in maternal.low_plateaus(kept, RATE).tolist()
        ]
    for start, end, twice in maternal.multiples(kept, RATE).tolist():
        kind = ArtefactKind.DOUBLING if twice else ArtefactKind.HALVING
        found.append(Artefact(kind, start / RATE_HZ, end / RATE_HZ, 0.4, _WHY_LASTING[kind]))
    found.sort(key=lambda artefact: artefact.start_s)
    return tuple(found)


def other_pieces(rows: Sequence[FloatArray]) -> tuple[Artefact, ...]:
    """Brief excursions that come and go in steps (`events.between_jumps`) as suspect stretches."""
    return tuple(
        Artefact(
            ArtefactKind.SPIKE,
            row[excursions.ONSET] / RATE_HZ,
            row[excursions.END] / RATE_HZ,
            0.4,
            "a brief piece at another level, entered and left in steps: not counted as an event",
        )
        for part in rows
        for row in part.tolist()
    )


def suspicions(artefacts: tuple[Artefact, ...]) -> dict[int, list[ArtefactKind]]:
    """Kinds suspected in each ten minutes, by the segment's number."""
    found: dict[int, list[ArtefactKind]] = {}
    for artefact in artefacts:
        first = int(artefact.start_s // quality.SEGMENT_S)
        last = int(max(artefact.start_s, artefact.end_s - 1e-6) // quality.SEGMENT_S)
        for segment in range(first, last + 1):
            kinds = found.setdefault(segment, [])
            if artefact.kind not in kinds:
                kinds.append(artefact.kind)
    return found


def quality_segments(
    table: FloatArray, count: int, suspected: dict[int, list[ArtefactKind]]
) -> tuple[QualitySegment, ...]:
    """Rows of `quality.segments` as findings; suspected: kinds by number of the segment."""
    return tuple(
        QualitySegment(
            start_s=number * quality.SEGMENT_S,
            end_s=min((number + 1) * quality.SEGMENT_S, count / RATE_HZ),
            valid_share=row[0],
            longest_gap_s=row[1] / RATE_HZ,
            suspected=tuple(suspected.get(number, ())),
        )
        for number, row in enumerate(table.tolist())
    )
