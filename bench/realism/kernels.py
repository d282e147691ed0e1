"""Features of random convolution kernels: a learner that knows nothing of the trade.

After Dempster A, Petitjean F, Webb GI. ROCKET: exceptionally fast and accurate time series
classification using random convolutional kernels. Data Min Knowl Disc 2020;34:1454-95: random
weights, bias and dilation; of each kernel's answer the share above zero and the maximum.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
KERNELS = 240
LENGTH = 9


@numba.njit(cache=True)  # type: ignore[untyped-decorator]
def _answers(x, weights, bias, dilation):  # type: ignore[no-untyped-def]
    out = np.empty((len(bias), 2))
    for k in range(len(bias)):
        d = dilation[k]
        above, most, count = 0, -1e9, 0
        for i in range(0, len(x) - (LENGTH - 1) * d, 1 + d // 4):
            total = bias[k]
            for j in range(LENGTH):
                total += weights[k, j] * x[i + j * d]
            count += 1
            if total > 0:
                above += 1
            if total > most:
                most = total
        out[k, 0] = above / max(1, count)
        out[k, 1] = most
    return out


def answers(fhr: FloatArray, toco: FloatArray) -> FloatArray:
    """What the kernels make of a window; missing heart rate stands at the window's median."""
    rng = np.random.default_rng(7)
    lost = np.isnan(fhr)
    heart = (fhr - np.nanmedian(fhr)) / 15.0
    channels = (np.where(lost, 0.0, heart), lost.astype(float), toco / 25.0 - 0.5)
    found = []
    for channel in channels:
        weights = rng.standard_normal((KERNELS // 3, LENGTH))
        weights -= weights.mean(axis=1, keepdims=True)
        bias = rng.uniform(-1, 1, len(weights))
        longest = np.log2((min(len(channel), 2400) - 1) / (LENGTH - 1))
        dilation = (2 ** rng.uniform(0, longest, len(weights))).astype(np.int64)
        found.append(_answers(channel, weights, bias, dilation).ravel())
    return np.concatenate(found)
