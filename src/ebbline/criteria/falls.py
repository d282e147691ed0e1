"""The decelerations of a recording as columns, and which of them count as what."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import LATE_LAG_S
from ebbline.features import window as within
from ebbline.features.findings import DecelerationKind, Findings
from ebbline.terms import Window

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


DEEP_EARLY_BPM = 40.0
"""Early decelerations are shallow; one so deep is by its timing early and by its depth none (common
practice, no source)."""


class Falls:
    """The recording's decelerations as columns, in the order of `features.window.index_of`."""

    def __init__(self, findings: Findings) -> None:
        self._findings = findings
        order = within.index_of(findings).deceleration_order.tolist()
        items = tuple(findings.fetal.decelerations[i] for i in order)
        rows = np.array(
            [
                (
                    d.onset_s,
                    d.end_s,
                    d.nadir_bpm,
                    d.onset_lag_s,
                    d.lag_s,
                    d.return_s,
                    d.variability_within_bpm,
                    d.abrupt,
                    d.shallow,
                    d.contraction >= 0,
                )
                for d in items
            ],
            dtype=np.float64,
        ).reshape(len(items), 10)
        columns = rows.T
        self.items = items
        self.kind = tuple(d.kind for d in items)
        self.onset_s: FloatArray = columns[0]
        self.end_s: FloatArray = columns[1]
        self.nadir_bpm: FloatArray = columns[2]
        self.onset_lag_s: FloatArray = columns[3]
        self.lag_s: FloatArray = columns[4]
        self.return_s: FloatArray = columns[5]
        self.within_bpm: FloatArray = columns[6]
        self.abrupt: BoolArray = columns[7] > 0
        self.shallow: BoolArray = columns[8] > 0
        self.paired: BoolArray = columns[9] > 0

    def of(self, *kinds: DecelerationKind) -> BoolArray:
        """Mask of kinds, shallow ones left out."""
        return np.array([k in kinds for k in self.kind], dtype=np.bool_) & ~self.shallow

    def share_of(self, where: Window) -> float:
        """Share of a stretch that falls take, 0..1."""
        inside = np.minimum(self.end_s, where.end_s) - np.maximum(self.onset_s, where.start_s)
        taken_s = float(np.maximum(inside, 0.0)[~self.shallow].sum())
        return min(1.0, taken_s / max(where.duration_s, 1.0))

    @cached_property
    def late(self) -> BoolArray:
        """Late (NICHD, NICE): of that kind, or prolonged, gradual and late in its timing.

        A late deceleration that goes on for two minutes is called prolonged (NICHD 2008); that it
        lasts longer cannot make it weigh less, so it still counts as late.
        """
        prolonged = self.of(DecelerationKind.PROLONGED)
        long_and_late = prolonged & ~self.abrupt & self.paired & (self.lag_s > LATE_LAG_S)
        return self.of(DecelerationKind.LATE) | long_and_late

    @cached_property
    def shallow_late(self) -> BoolArray:
        """Gradual, late, 10 to under 15 bpm deep: NICHD sets no depth for a late deceleration."""
        late = np.array([k is DecelerationKind.LATE for k in self.kind], dtype=np.bool_)
        return late & self.shallow

    @cached_property
    def variable(self) -> BoolArray:
        """Variable (NICHD, NICE): of that kind, or prolonged with an abrupt onset (see `late`)."""
        prolonged = self.of(DecelerationKind.PROLONGED)
        return self.of(DecelerationKind.VARIABLE) | (prolonged & self.abrupt)

    @cached_property
    def late_but_abrupt(self) -> BoolArray:
        """Abrupt, and late in their timing: variable by name, and beside late ones their pattern.

        A beat more or less decides between 29 and 31 s from onset to nadir; the pattern of late
        ones is no rarer for it (ours).
        """
        return self.variable & self.paired & (self.lag_s > LATE_LAG_S)

    @cached_property
    def prolonged(self) -> BoolArray:
        """Prolonged (NICHD): two minutes or more."""
        return self.of(DecelerationKind.PROLONGED)

    @cached_property
    def unpaired(self) -> BoolArray:
        """Gradual, and no contraction known: early or late cannot be told."""
        prolonged = self.of(DecelerationKind.PROLONGED) & ~self.abrupt & ~self.paired
        return self.of(DecelerationKind.GRADUAL_UNPAIRED) | prolonged

    @cached_property
    def early(self) -> BoolArray:
        """Early (NICHD)."""
        return self.of(DecelerationKind.EARLY)

    @cached_property
    def deep_early(self) -> BoolArray:
        """Early in their timing, and too deep to be called so and no more (ours).

        A fall that grows longer or deeper may turn from abrupt to gradual: it is no milder for it.
        """
        depth_bpm = np.array([one.depth_bpm for one in self.items], dtype=np.float64)
        return self.early & (depth_bpm >= DEEP_EARLY_BPM)

    def of_kind(self, kind: DecelerationKind) -> BoolArray:
        """The decelerations that count as a kind: prolonged ones that began so among them."""
        match kind:
            case DecelerationKind.LATE:
                return self.late
            case DecelerationKind.VARIABLE:
                return self.variable
            case DecelerationKind.GRADUAL_UNPAIRED:
                return self.unpaired
            case _:
                return self.of(kind)

    @cached_property
    def concerning(self) -> BoolArray:
        """Variable decelerations, and early ones too deep for that, with any concerning
        characteristic (NICE).

        Every prolonged one is among them, however it began: none of two minutes weighs less than
        a variable one of over a minute (our reading).
        """
        return self.prolonged | self._with_concern(self.variable | self.deep_early)

    @cached_property
    def concerning_or_untold(self) -> BoolArray:
        """The same, and gradual ones with such a characteristic whose contraction is not known.

        Whether they are late or variable cannot be told: they break no series (ours).
        """
        return self.concerning | self._with_concern(self.unpaired)

    def _with_concern(self, which: BoolArray) -> BoolArray:
        """Those of a mask that have any concerning characteristic."""
        return np.array(
            [
                bool(asked and within.concerning_features(self._findings, fall))
                for asked, fall in zip(which.tolist(), self.items, strict=True)
            ],
            dtype=np.bool_,
        )
