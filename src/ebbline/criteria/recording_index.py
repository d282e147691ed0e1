"""What all standards ask of a recording, worked out once for all windows."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ebbline.criteria import limits
from ebbline.criteria.baseline_levels import BaselineLevels
from ebbline.criteria.falls import Falls
from ebbline.criteria.lower_levels import LowerLevels
from ebbline.criteria.minute_variability import MinuteVariability
from ebbline.criteria.recovery import Recovery
from ebbline.criteria.variability_runs import MINUTE_S
from ebbline.features.findings import Artefact, ArtefactKind, Findings, minutes_from
from ebbline.features.kept import kept

FloatArray = NDArray[np.float64]

NOT_THE_FETUS = frozenset({ArtefactKind.MATERNAL, ArtefactKind.DOUBLING, ArtefactKind.HALVING})


class RecordingFacts:
    """Arrays over the whole recording, made once and used by every window and standard."""

    def __init__(self, findings: Findings) -> None:
        self.findings = findings
        self._by_clock: dict[int, MinuteVariability] = {}
        self.recovery = Recovery(findings)

    @cached_property
    def falls(self) -> Falls:
        """The decelerations."""
        return Falls(self.findings)

    @cached_property
    def levels(self) -> BaselineLevels:
        """The baseline of its stretches."""
        return BaselineLevels(self.findings, self.falls)

    @cached_property
    def lower(self) -> LowerLevels:
        """The lower levels that its rate fell to."""
        return LowerLevels(self.findings)

    def minutes_from(self, start_s: float) -> MinuteVariability:
        """The variability by minutes of which one begins at start_s; kept for each such clock."""
        moving = self.findings.fetal.moving_bandwidth
        step_s = moving.step_s if len(moving.values) else MINUTE_S
        clock = round((start_s - moving.start_s) / step_s) % round(MINUTE_S / step_s)
        found = self._by_clock.get(clock)
        if found is None:
            curve = minutes_from(moving, self.findings.fetal.bandwidth, start_s)
            found = self._by_clock.setdefault(
                clock, MinuteVariability(curve, self.falls, self.lower.drops)
            )
        return found

    @cached_property
    def _reliable(self) -> tuple[FloatArray, FloatArray]:
        """Edges of the minutes, and the seconds of reliable heart rate gathered up to each.

        A minute's share is that of its valid samples, and no more than what suspicions of the
        mother's, a doubled or a halved rate leave of it.
        """
        valid = self.findings.fetal.valid
        shares = np.nan_to_num(np.asarray(valid.values, np.float64))
        starts = valid.start_s + valid.step_s * np.arange(len(shares))
        doubtful_s = np.zeros(len(shares))
        for artefact in self.suspected:
            first = max(0, int((artefact.start_s - valid.start_s) // valid.step_s))
            last = min(len(shares), int((artefact.end_s - valid.start_s) // valid.step_s) + 1)
            part = starts[first:last]
            overlap = np.minimum(part + valid.step_s, artefact.end_s) - np.maximum(
                part, artefact.start_s
            )
            doubtful_s[first:last] += np.maximum(overlap, 0.0)
        shares = np.minimum(shares, np.maximum(0.0, 1.0 - doubtful_s / valid.step_s))
        edges = np.append(starts, valid.start_s + valid.step_s * len(shares))
        return edges, np.concatenate(([0.0], np.cumsum(shares * valid.step_s)))

    def reliable_shares(self, starts_s: FloatArray, length_s: float) -> FloatArray:
        """Shares of stretches of one length with heart rate that can be relied on."""
        if length_s <= 0:
            return np.zeros(len(starts_s))
        edges, sums = self._reliable
        gathered = np.interp(starts_s + length_s, edges, sums) - np.interp(starts_s, edges, sums)
        # Half of the signal is half of it wherever the window begins.
        shares: FloatArray = np.round(gathered / length_s, 9)
        return shares

    @cached_property
    def suspected(self) -> tuple[Artefact, ...]:
        """Stretches whose rate is not relied on."""
        return tuple(
            a
            for a in self.findings.fetal.artefacts
            if a.kind in NOT_THE_FETUS and limits.SUSPECT.met(a.certainty)
        )


@kept(4)
def recording_facts(findings: Findings) -> RecordingFacts:
    """The facts of a recording; kept for the last few findings asked for."""
    return RecordingFacts(findings)
