"""The trailing samples of one channel: whatever arrives late, twice or not at all."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ebbline.recording.channels import without_impossible
from ebbline.recording.model import Channel, ChannelKind

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Receipt:
    """What became of a packet's samples, in samples.

    fresh: new and kept. doubled: there already, with the same value. differing: there already with
    another value, which stays. too_late: for a stretch that is final, so no longer read.
    """

    fresh: int = 0
    doubled: int = 0
    differing: int = 0
    too_late: int = 0

    def __add__(self, other: Receipt) -> Receipt:
        return Receipt(
            self.fresh + other.fresh,
            self.doubled + other.doubled,
            self.differing + other.differing,
            self.too_late + other.too_late,
        )


class TrailingChannel:
    """One evenly sampled signal from some sample on; NaN where nothing has arrived.

    Places are sample numbers from the labour's start. What was received first stays: a packet
    that says otherwise is counted, not believed over the first.
    """

    def __init__(self, kind: ChannelKind, fetus: int, rate_hz: float) -> None:
        self.kind = kind
        self.fetus = fetus
        self.rate_hz = rate_hz
        self.begins = 0
        self.ends = 0
        self._samples = np.full(int(600 * rate_hz), np.nan)

    def put(self, first: int, samples: FloatArray) -> Receipt:
        """Lay a packet's samples from place `first` on. Missing samples (NaN) leave what is there.

        The caller bounds how far ahead a packet may lie, and so the memory that it can ask for.
        """
        kept, _ = without_impossible(np.asarray(samples, np.float64), self.kind, "")
        late = min(len(kept), max(0, self.begins - first))
        too_late = int(np.isfinite(kept[:late]).sum())
        kept, first = kept[late:], first + late
        if not len(kept):
            return Receipt(too_late=too_late)
        self._reach(first + len(kept))
        place = self._samples[first - self.begins : first - self.begins + len(kept)]
        given, there = np.isfinite(kept), np.isfinite(place)
        fresh = given & ~there
        again = given & there
        same = int((place[again] == kept[again]).sum())
        place[fresh] = kept[fresh]
        self.ends = max(self.ends, first + len(kept))
        return Receipt(int(fresh.sum()), same, int(again.sum()) - same, too_late)

    def cut(self, start: int, end: int) -> FloatArray:
        """The samples from place start to end, a copy, NaN where none have arrived."""
        out = np.full(max(0, end - start), np.nan)
        first, last = max(start, self.begins), min(end, self.ends)
        if last > first:
            out[first - start : last - start] = self._samples[
                first - self.begins : last - self.begins
            ]
        return out

    def forget(self, before: int) -> None:
        """Let go of the samples before a place."""
        if before <= self.begins:
            return
        left = self._samples[before - self.begins : max(before, self.ends) - self.begins].copy()
        self._samples = np.full(max(len(left), int(600 * self.rate_hz)), np.nan)
        self._samples[: len(left)] = left
        self.begins, self.ends = before, max(before, self.ends)

    def as_channel(self, template: Channel, start: int, end: int) -> Channel:
        """The samples from place start to end as a channel like the template."""
        return replace(template, samples=self.cut(start, end), rate_hz=self.rate_hz)

    def _reach(self, end: int) -> None:
        needed = end - self.begins
        if needed > len(self._samples):
            # By ten minutes more than needed, so that growing costs little and stays bounded.
            grown = np.full(needed + int(600 * self.rate_hz), np.nan)
            grown[: len(self._samples)] = self._samples
            self._samples = grown
