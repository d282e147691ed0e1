"""Rounding samples to whole steps, for formats that hold 16-bit numbers."""

from __future__ import annotations

import numpy as np

from ebbline.recording.model import Channel, ChannelKind, FloatArray

HEART_RATE_STEPS = 100
"""Steps per bpm."""


def rounding_loss(channel: Channel, name: str, stored: FloatArray) -> tuple[str, ...]:
    """A sentence on the largest change that rounding made, none when nothing changed."""
    change = np.abs(stored - channel.samples)
    change = change[np.isfinite(change)]
    largest = float(change.max()) if change.size else 0.0
    if largest == 0:
        return ()
    unit = "bpm" if channel.kind is not ChannelKind.UTERINE_ACTIVITY else channel.unit or "units"
    return (f"{name}: samples were rounded, by at most {largest:.3g} {unit}.",)


def finite_range(channel: Channel) -> tuple[float, float]:
    """Lowest and highest sample that is not missing; (0, 0) when all are."""
    present = channel.samples[np.isfinite(channel.samples)]
    return (float(present.min()), float(present.max())) if present.size else (0.0, 0.0)
