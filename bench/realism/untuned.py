"""Features nobody tuned on: what a second reader would measure, written after the generator stood.

They are in no list that the fits or the hand that turned knobs ever looked at: entropy, second
differences, runs, slopes of the spectrum, wavelet energies, coherence of heart rate and activity,
how gaps follow each other, the range of minutes. Only reported; whoever tunes on them must move
them to bench.realism.features and write others here.
"""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import NDArray
from scipy.signal import coherence, lfilter
from scipy.stats import kurtosis, skew

from bench.realism.features import HZ, FloatArray, Measured

MOST_NEIGHBOURS = 900
QUANTILES = (2, 10, 50, 90, 98)


def measure(fhr: FloatArray, toco: FloatArray) -> Measured:
    """Every feature of a window; NaN where it cannot be measured (arrays as bench.realism has)."""
    out: Measured = {}
    seen = np.flatnonzero(~np.isnan(fhr))
    filled = np.interp(np.arange(len(fhr)), seen, fhr[seen]) if len(seen) else np.zeros(len(fhr))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for name, x in (("heart rate", filled), ("activity", toco)):
            out |= {f"{name}: {k}": v for k, v in _series(x).items()}
        out |= _second_differences(fhr)
        out |= _runs(fhr, toco)
        out |= _losses(np.isnan(fhr))
        out |= _together(filled, toco)
        out |= _minutes(fhr)
    return {k: float(v) if np.isfinite(v) else float("nan") for k, v in out.items()}


def _series(x: FloatArray) -> Measured:
    out: Measured = {}
    if x.std() < 0.3:
        return out
    second = x[: len(x) // HZ * HZ].reshape(-1, HZ).mean(axis=1)
    # Fluctuation left after lines are taken off boxes of growing length (detrended fluctuation).
    walk = np.cumsum(second - second.mean())
    sizes = (4, 8, 16, 32, 64, 128)
    left = []
    for size in sizes:
        boxes = walk[: len(walk) // size * size].reshape(-1, size)
        time = np.arange(size) - (size - 1) / 2
        slope = boxes @ time / (time @ time)
        off = boxes - boxes.mean(axis=1, keepdims=True) - slope[:, None] * time
        left.append(np.log(np.sqrt((off**2).mean()) + 1e-9))
    out["fluctuation, short"] = np.polyfit(np.log(sizes[:3]), left[:3], 1)[0]
    out["fluctuation, long"] = np.polyfit(np.log(sizes[3:]), left[3:], 1)[0]
    # Haar wavelets: share of the energy at each scale, and its kurtosis.
    smooth = second - second.mean()
    energies = []
    for level in range(7):
        pairs = smooth[: len(smooth) // 2 * 2].reshape(-1, 2)
        detail, smooth = (pairs[:, 0] - pairs[:, 1]) / 2**0.5, pairs.sum(axis=1) / 2**0.5
        energies.append((detail**2).mean())
        if len(detail) > 30:
            out[f"wavelet kurtosis at {2**level} s"] = np.log1p(kurtosis(detail, fisher=False))
    whole = np.log(np.array(energies) + 1e-9)
    out |= {f"wavelet energy at {2**k} s": v for k, v in enumerate(whole - whole.mean())}
    # Slopes of the spectrum, its entropy and its centre.
    power = np.abs(np.fft.rfft((x - x.mean()) * np.hanning(len(x)))) ** 2
    at = np.fft.rfftfreq(len(x), 1 / HZ)
    for low, high in ((0.004, 0.03), (0.03, 0.2), (0.2, 1.0), (1.0, 1.9)):
        here = (at > low) & (at < high)
        out[f"slope from {low:g} Hz"] = np.polyfit(np.log(at[here]), np.log(power[here] + 1e-9), 1)[
            0
        ]
    here = (at > 0.01) & (at < 0.5)
    share = power[here] / power[here].sum()
    out["spectral entropy"] = -(share * np.log(share + 1e-12)).sum() / np.log(len(share))
    out["spectral centre"] = (at[here] * share).sum()
    # Sample entropy of two-second means, Poincare widths, linear prediction.
    half = second[: len(second) // 2 * 2].reshape(-1, 2).mean(axis=1)[:MOST_NEIGHBOURS]
    out["sample entropy"] = _sample_entropy((half - half.mean()) / (half.std() + 1e-9))
    step = np.diff(second)
    out["Poincare ratio"] = step.std() / (np.std(second[1:] + second[:-1]) + 1e-9)
    z = (second - second.mean()) / second.std()
    lags = np.column_stack([z[4 - k : len(z) - k] for k in range(1, 5)])
    weights, *_ = np.linalg.lstsq(lags, z[4:], rcond=None)
    out |= {f"prediction weight {k + 1}": w for k, w in enumerate(weights)}
    missed = z[4:] - lags @ weights
    out["prediction error, kurtosis"] = np.log1p(kurtosis(missed, fisher=False))
    out["prediction error, skew"] = skew(missed)
    # How often the curve crosses its own running mean; how uneven these crossings are.
    for memory_s in (10, 60):
        keep = np.exp(-1 / memory_s)
        mean = lfilter([1 - keep], [1, -keep], second - second[0]) + second[0]
        crossed = np.flatnonzero(np.diff(np.sign(second - mean)) != 0)
        apart = np.diff(crossed)
        out[f"crossings of the mean over {memory_s} s"] = len(crossed) / len(second)
        if len(apart) > 10:
            out[f"unevenness of crossings over {memory_s} s"] = apart.std() / apart.mean()
    return out


def _sample_entropy(z: FloatArray, reach: float = 0.2) -> float:
    apart = np.abs(z[:, None] - z[None])
    two = np.maximum(apart[:-2, :-2], apart[1:-1, 1:-1]) < reach
    three = two & (apart[2:, 2:] < reach)
    pairs, triples = two.sum() - len(two), three.sum() - len(three)
    return float(-np.log(max(1, triples) / max(1, pairs)))


def _second_differences(fhr: FloatArray) -> Measured:
    out: Measured = {}
    for every in (1, 4, 8):
        x = fhr[: len(fhr) // every * every].reshape(-1, every).mean(axis=1)
        bend = x[2:] - 2 * x[1:-1] + x[:-2]
        bend = bend[~np.isnan(bend)]
        if len(bend) > 50:
            spread = np.percentile(bend, QUANTILES)
            out |= {
                f"bend over {every / HZ:g} s p{p}": v
                for p, v in zip(QUANTILES, spread, strict=True)
            }
            out[f"bend over {every / HZ:g} s, still"] = np.mean(bend == 0)
    return out


def _runs(fhr: FloatArray, toco: FloatArray) -> Measured:
    out: Measured = {}
    for name, x in (("heart rate", fhr), ("activity", toco)):
        rising = np.sign(np.diff(x[~np.isnan(x)][::2]))
        edges = np.flatnonzero(np.diff(rising) != 0)
        lengths = np.diff(edges)
        signs = rising[edges[1:]] if len(edges) > 1 else rising[:0]
        for sign, word in ((1, "rising"), (-1, "falling"), (0, "still")):
            found = lengths[signs == sign]
            if len(found) > 20:
                out[f"{name}: {word} runs, mean"] = found.mean()
                out[f"{name}: {word} runs, longest tenth"] = np.percentile(found, 90)
    used, times = np.unique(np.round(fhr[~np.isnan(fhr)]), return_counts=True)
    share = times / max(1, times.sum())
    out["entropy of whole values"] = -(share * np.log(share)).sum() if len(used) else np.nan
    return out


def _losses(lost: NDArray[np.bool_]) -> Measured:
    out: Measured = {}
    if not 0.0 < lost.mean() < 1.0:
        return out
    for lag_s in (2, 5, 15, 60, 300):
        k = lag_s * HZ
        if len(lost) > 2 * k:
            out[f"loss after loss {lag_s} s"] = np.corrcoef(lost[k:], lost[:-k])[0, 1]
    begins = np.flatnonzero(np.diff(lost.astype(int)) == 1)
    if len(begins) > 5:
        wait = np.diff(begins) / HZ
        out["unevenness of gaps' beginnings"] = wait.std() / wait.mean()
        out["waits in turn"] = np.corrcoef(np.log(wait[1:]), np.log(wait[:-1]))[0, 1]
        per_minute = np.histogram(begins, np.arange(0, len(lost) + 1, 60 * HZ))[0]
        out["gaps a minute, variance to mean"] = per_minute.var() / max(1e-9, per_minute.mean())
        out["minutes with one gap"] = np.mean(per_minute == 1)
    return out


def _together(heart: FloatArray, toco: FloatArray) -> Measured:
    if toco.std() < 1 or heart.std() < 0.3:
        return {}
    a, b = (x[: len(x) // HZ * HZ].reshape(-1, HZ).mean(axis=1) for x in (heart, toco))
    at, shared = coherence(a, b, fs=1.0, nperseg=min(256, len(a) // 2))
    out: Measured = {}
    for low, high in ((0.003, 0.01), (0.01, 0.03), (0.03, 0.1), (0.1, 0.4)):
        here = (at >= low) & (at < high)
        if here.any():
            out[f"coherence from {low:g} Hz"] = shared[here].mean()
    out["movement together"] = np.corrcoef(np.abs(np.diff(a)), np.abs(np.diff(b)))[0, 1]
    return out


def _minutes(fhr: FloatArray) -> Measured:
    minutes = fhr[: len(fhr) // 240 * 240].reshape(-1, 240)
    ranges = np.nanmax(minutes, axis=1) - np.nanmin(minutes, axis=1)
    ranges = ranges[~np.isnan(ranges)]
    if len(ranges) < 5:
        return {}
    found = np.percentile(ranges, (10, 25, 50, 75, 90))
    out = {f"range of minutes p{p}": v for p, v in zip((10, 25, 50, 75, 90), found, strict=True)}
    out["range of minutes, evenness"] = ranges.std() / ranges.mean()
    return out
