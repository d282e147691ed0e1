"""Stretches of a row in which something holds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def stretches(holds: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First place of each stretch that holds, and the place after its last."""
    edges = np.flatnonzero(np.diff(np.r_[False, holds, False].astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
