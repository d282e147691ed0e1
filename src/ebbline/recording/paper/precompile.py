"""Fills the compiled caches of this package's loops. See `ebbline.precompile`."""

from __future__ import annotations

import numpy as np

from ebbline.recording.paper.flatten import darkness
from ebbline.recording.paper.lattice import running_median, sampled, unwrapped
from ebbline.recording.paper.trace import Sheet, follow


def warm() -> None:
    """Run every loop once on a few pixels."""
    darkness(np.full((8, 8, 3), 200, np.uint8), np.full((8, 8, 3), 255.0, np.float32))
    field = np.zeros((8, 8))
    unwrapped(field, field)
    sampled(field, field, field)
    running_median(field, 3)
    ink = np.zeros((8, 8), np.float32)
    ink[4] = 1.0
    follow(Sheet(ink, 0, 0, 1.0))
