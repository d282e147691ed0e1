"""What a suspicious reader would measure of an hour, by group.

Every feature is measured in the same way of real and invented windows: heart rate at 4 Hz with
NaN where the signal is missing, activity at 4 Hz with missing samples as 0.
"""

from __future__ import annotations

import itertools
import math
import warnings
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter, uniform_filter1d
from scipy.signal import find_peaks, peak_widths

FloatArray = NDArray[np.float64]
Measured = dict[str, float]

HZ = 4
PERCENTS = (5, 25, 50, 75, 95)
BANDS_HZ = (0.004, 0.008, 0.015, 0.03, 0.06, 0.12, 0.25, 0.5, 1.0, 1.5, 2.0)
SEGMENT = 1024
"""Samples of a piece of a spectrum: about four minutes."""


def _share(condition: NDArray[np.bool_]) -> float:
    return float(condition.mean()) if condition.size else math.nan


def _percentiles(name: str, values: FloatArray, at: tuple[int, ...]) -> Measured:
    if len(values) < 5:
        return {f"{name} p{p}": math.nan for p in at}
    found = np.percentile(values, at)
    return {f"{name} p{p}": float(v) for p, v in zip(at, found, strict=True)}


def _runs(same: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Lengths of the runs of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], same.astype(np.int8), [0]))))
    return edges[1::2] - edges[::2]


def _held_lengths(x: FloatArray) -> tuple[FloatArray, NDArray[np.intp]]:
    """Value and length of every stretch over which a value stays the same."""
    change = np.flatnonzero(x[1:] != x[:-1])
    starts = np.concatenate(([0], change + 1))
    return x[starts], np.diff(np.concatenate((starts, [len(x)])))


def _filled(x: FloatArray) -> FloatArray:
    seen = np.flatnonzero(~np.isnan(x))
    if not len(seen):
        return np.full(len(x), 140.0)
    return np.interp(np.arange(len(x)), seen, x[seen])


def heart_steps(fhr: FloatArray, toco: FloatArray) -> Measured:
    step = np.diff(fhr)
    step = step[~np.isnan(step)]
    moved = np.abs(step[step != 0])
    out = _percentiles("step", np.abs(step), (50, 75, 90, 99))
    out |= _percentiles("step that moves", moved, (10, 25, 50, 75, 90, 99))
    for bpm in (3, 5, 10, 20):
        out[f"steps over {bpm} bpm"] = _share(np.abs(step) > bpm)
    out["rising share"] = _share(step[step != 0] > 0)
    big = step[np.abs(step) > 5]
    out["rising share of steps over 5 bpm"] = _share(big > 0)
    values, _ = _held_lengths(np.where(np.isnan(fhr), -1.0, fhr))
    by_value = np.diff(values[values > 0])
    if len(by_value) > 50:
        turn = by_value[1:] * by_value[:-1] < 0
        out["turns per new value"] = _share(turn)
        spread = by_value.std() or 1.0
        out["kurtosis of new values"] = float(np.log1p(np.mean((by_value / spread) ** 4)))
        calm = by_value[np.abs(by_value) < 10]
        out["correlation of successive steps"] = float(np.corrcoef(calm[1:], calm[:-1])[0, 1])
    return out


def held_values(fhr: FloatArray, toco: FloatArray) -> Measured:
    values, lengths = _held_lengths(np.where(np.isnan(fhr), -1.0, fhr))
    kept = lengths[values > 0]
    out: Measured = {"mean": float(kept.mean()) if len(kept) else math.nan}
    for k in (1, 2, 3, 4, 5):
        out[f"of {k}"] = _share(kept == k)
    out["of 6 to 9"] = _share((kept > 5) & (kept < 10))
    out["of 10 or more"] = _share(kept > 9)
    out["longest"] = float(kept.max()) if len(kept) else math.nan
    rate = np.nanmedian(fhr) if (~np.isnan(fhr)).any() else math.nan
    out["against the beat"] = out["mean"] * rate / 60.0 / HZ
    out["time held for 2 s"] = float(kept[kept >= 8].sum() / max(1, kept.sum()))
    return out


def quantisation(fhr: FloatArray, toco: FloatArray) -> Measured:
    v = fhr[~np.isnan(fhr)]
    out: Measured = {}
    for k in range(4):
        out[f"heart rate at {k}/4"] = _share(np.round(v * 4) % 4 == k)
    out["heart rate off the quarter"] = _share(np.abs(v * 4 - np.round(v * 4)) > 0.01)
    band = v[(v > 100) & (v < 160)]
    counts = np.unique(np.round(band * 4), return_counts=True)[1]
    out["values used between 100 and 160"] = len(counts) / 240
    if len(counts) > 5:
        share = counts / counts.sum()
        out["evenness of values"] = float(-(share * np.log(share)).sum() / math.log(len(band)))
    shown = toco[toco > 0]
    out["activity at the half"] = _share(np.round(shown * 2) % 2 == 1)
    out["activity off the half"] = _share(np.abs(shown * 2 - np.round(shown * 2)) > 0.01)
    return out


def gaps(fhr: FloatArray, toco: FloatArray) -> Measured:
    lost = np.isnan(fhr)
    lengths, seen = _runs(lost) / HZ, _runs(~lost) / HZ
    out = {"share": _share(lost), "number": float(len(lengths))}
    out |= _percentiles("gap", lengths, (10, 25, 50, 75, 90))
    out |= _percentiles("stretch", seen, (10, 25, 50, 75, 90))
    out["longest gap"] = float(lengths.max()) if len(lengths) else 0.0
    out["islands under 3 s"] = _share(seen < 3)
    out["share lost in gaps over 15 s"] = float(
        lengths[lengths > 15].sum() / max(0.25, lost.sum() / HZ)
    )
    minutes = lost[: len(lost) // 240 * 240].reshape(-1, 240).mean(axis=1)
    out["unevenness by minute"] = float(minutes.std())
    out["whole minutes"] = _share(minutes < 0.01)
    if minutes.std() > 0 and len(minutes) > 4:
        out["minute to minute"] = float(np.corrcoef(minutes[1:], minutes[:-1])[0, 1])
    smooth = uniform_filter1d(toco, 40)
    if lost.any() and smooth.std() > 1:
        out["with activity"] = float(np.corrcoef(lost, smooth)[0, 1])
    lost_at = np.flatnonzero(np.diff(lost.astype(int)) == 1)
    back_at = np.flatnonzero(np.diff(lost.astype(int)) == -1) + 1
    if len(lost_at) > 5 and len(back_at) > 5:
        middle = _filled(median_filter(_filled(fhr), 241, mode="nearest"))
        out |= _percentiles("last value off", np.abs(fhr[lost_at] - middle[lost_at]), (50, 90))
        out |= _percentiles("first value off", np.abs(fhr[back_at] - middle[back_at]), (50, 90))
        tails = [len(np.unique(fhr[max(0, i - 7) : i + 1])) for i in lost_at]
        heads = [len(np.unique(fhr[i : i + 8])) for i in back_at]
        out["values in the last 2 s"] = float(np.mean(tails))
        out["values in the first 2 s"] = float(np.mean(heads))
    return out


def heart_level(fhr: FloatArray, toco: FloatArray) -> Measured:
    v = fhr[~np.isnan(fhr)]
    out = _percentiles("rate", v, (1, 5, 25, 50, 75, 95, 99))
    if len(v) > 100:
        out["least"], out["most"] = float(v.min()), float(v.max())
        z = (v - v.mean()) / (v.std() or 1.0)
        out["spread"], out["skew"] = float(v.std()), float((z**3).mean())
        out["kurtosis"] = float(np.log1p((z**4).mean()))
    return out


def _minutes(fhr: FloatArray) -> FloatArray:
    return fhr[: len(fhr) // 240 * 240].reshape(-1, 240)


def variability(fhr: FloatArray, toco: FloatArray) -> Measured:
    minutes = _minutes(fhr)
    whole = minutes[np.isnan(minutes).mean(axis=1) < 0.2]
    out: Measured = {}
    if len(whole) < 5:
        return out
    ranges = np.nanpercentile(whole, 95, axis=1) - np.nanpercentile(whole, 5, axis=1)
    out |= _percentiles("bandwidth", ranges, (10, 25, 50, 75, 90))
    out["bandwidth minute to minute"] = float(np.corrcoef(ranges[1:], ranges[:-1])[0, 1])
    epochs = np.nanmean(fhr[: len(fhr) // 15 * 15].reshape(-1, 15), axis=1)
    stv = np.abs(np.diff(60000 / epochs))
    out |= _percentiles("3.75 s variation", stv[~np.isnan(stv)], (25, 50, 75, 95))
    second = np.nanmean(fhr[: len(fhr) // 4 * 4].reshape(-1, 4), axis=1)
    for lag in (1, 2, 4, 8, 16, 32, 64):
        moved = np.abs(second[lag:] - second[:-lag])
        out[f"change over {lag} s"] = float(np.nanmedian(moved))
        out[f"change over {lag} s, tail"] = float(
            np.nanpercentile(moved, 95) / max(0.1, np.nanmedian(moved))
        )
    levels = np.nanmedian(whole, axis=1)
    out["minute level change"] = float(np.median(np.abs(np.diff(levels))))
    out["minute level spread"] = float(levels.std())
    return out


def _bands(x: FloatArray, usable: NDArray[np.bool_]) -> FloatArray | None:
    at = np.fft.rfftfreq(SEGMENT, 1 / HZ)
    window = np.hanning(SEGMENT)
    found = []
    for start in range(0, len(x) - SEGMENT + 1, SEGMENT // 2):
        here = slice(start, start + SEGMENT)
        if usable[here].mean() < 0.9:
            continue
        part = x[here] - x[here].mean()
        power = np.abs(np.fft.rfft(part * window)) ** 2 / SEGMENT
        found.append(
            [
                power[(at >= a) & (at < b + (b == 2.0))].mean()
                for a, b in itertools.pairwise(BANDS_HZ)
            ]
        )
    return np.log10(np.array(found) + 1e-6) if len(found) >= 2 else None


def _spectrum(x: FloatArray, usable: NDArray[np.bool_]) -> Measured:
    bands = _bands(x, usable)
    if bands is None:
        return {}
    names = [f"{a:g} to {b:g} Hz" for a, b in itertools.pairwise(BANDS_HZ)]
    out = {}
    for name, column in zip(names, bands.T, strict=True):
        out[name] = float(np.median(column))
        out[f"{name}, spread"] = float(column.std())
    relative = np.median(bands - bands[:, 3:4], axis=0)
    out |= {f"{n}, relative": float(v) for n, v in zip(names, relative, strict=True)}
    return out


def heart_spectrum(fhr: FloatArray, toco: FloatArray) -> Measured:
    return _spectrum(_filled(fhr), ~np.isnan(fhr))


def autocorrelation(fhr: FloatArray, toco: FloatArray) -> Measured:
    out: Measured = {}
    x = fhr - median_filter(_filled(fhr), 481, mode="nearest")
    for lag in (1, 2, 3, 4, 6, 8, 12, 20, 40, 80, 160, 240, 480):
        a, b = x[lag:], x[:-lag]
        seen = ~np.isnan(a) & ~np.isnan(b)
        if seen.sum() > 500 and a[seen].std() > 0 and b[seen].std() > 0:
            out[f"heart rate at {lag / HZ:g} s"] = float(np.corrcoef(a[seen], b[seen])[0, 1])
    if toco.std() > 1:
        for lag in (1, 2, 4, 8, 20, 40, 80, 160, 320, 480, 600, 720, 960):
            out[f"activity at {lag / HZ:g} s"] = float(np.corrcoef(toco[lag:], toco[:-lag])[0, 1])
    return out


def excursions(fhr: FloatArray, toco: FloatArray) -> Measured:
    """Falls and rises from the running median: how many, how deep, how long, how steep."""
    out: Measured = {}
    smooth = uniform_filter1d(_filled(fhr), 9)
    coarse = smooth[::4]
    middle = median_filter(coarse, 301, mode="nearest")
    hours = len(fhr) / HZ / 3600
    seen = ~np.isnan(fhr[::4][: len(coarse)])
    for name, away in (("fall", middle - coarse), ("rise", coarse - middle)):
        out[f"{name}: share beyond 10 bpm"] = _share(away[seen] > 10)
        out[f"{name}: share beyond 25 bpm"] = _share(away[seen] > 25)
        tops, about = find_peaks(away, height=12, prominence=10, distance=8)
        out[f"{name}s an hour"] = len(tops) / hours
        if len(tops) < 3:
            continue
        width, _, left, right = peak_widths(away, tops, rel_height=0.5)
        steep = np.gradient(coarse)
        out |= _percentiles(f"{name}: size", about["prominences"], (25, 50, 75, 95))
        out |= _percentiles(f"{name}: half width", width, (25, 50, 75, 95))
        lead = (tops - left) / np.maximum(width, 0.5)
        out |= _percentiles(f"{name}: share of the way in", lead, (25, 50, 75))
        slopes = [
            (np.abs(steep[max(0, int(a)) : t + 1]).max(), np.abs(steep[t : int(b) + 2]).max())
            for a, t, b in zip(left, tops, right, strict=True)
        ]
        table = np.array(slopes)
        out |= _percentiles(f"{name}: steepest in", table[:, 0], (25, 50, 75))
        out |= _percentiles(f"{name}: steepest out", table[:, 1], (25, 50, 75))
        out[f"{name}: sharpness"] = float(np.median(about["prominences"] / np.maximum(width, 1)))
        lost = [
            np.isnan(fhr[4 * int(a) : 4 * int(b) + 4]).mean()
            for a, b in zip(left, right, strict=True)
        ]
        out[f"{name}: lost within"] = float(np.mean(lost))
    return out


def jumps(fhr: FloatArray, toco: FloatArray) -> Measured:
    """Where the rate leaps: how far, in which ratio, how long it stays, whether it comes back."""
    out: Measured = {}
    values, _lengths = _held_lengths(np.where(np.isnan(fhr), -1.0, fhr))
    both = (values[1:] > 0) & (values[:-1] > 0)
    ratio = values[1:][both] / values[:-1][both]
    leap = np.abs(np.log(ratio)) > math.log(1.08)
    out["leaps per 1000 values"] = 1000 * _share(leap)
    out["leaps down, share"] = _share(ratio[leap] < 1)
    out["leaps of half or double"] = _share(np.abs(np.log2(ratio[leap])) > 0.85)
    at = np.flatnonzero(leap)
    if len(at) > 3:
        size = np.abs(np.log(ratio[at]))
        out |= _percentiles("leap", size, (25, 50, 75, 95))
        out["leaps that come in pairs"] = _share(np.diff(at) < 4)
    middle = median_filter(_filled(fhr)[::2], 121, mode="nearest")
    off = np.abs(np.log(fhr[::2][: len(middle)] / middle))
    for limit in (0.1, 0.2, 0.35, 0.6):
        out[f"share off the minute by {limit:g}"] = _share(off[~np.isnan(off)] > limit)
    low = fhr[~np.isnan(fhr)]
    out["under 80"] = _share(low < 80)
    out["over 200"] = _share(low > 200)
    return out


def complexity(fhr: FloatArray, toco: FloatArray) -> Measured:
    """Permutation entropy of heart rate and activity at several scales."""
    out: Measured = {}
    second_f = _filled(fhr)
    for name, x in (("heart rate", second_f), ("activity", toco)):
        if x.std() < 0.5:
            continue
        for scale in (1, 2, 4, 8, 20, 40, 80):
            y = x[: len(x) // scale * scale].reshape(-1, scale).mean(axis=1)
            if len(y) < 60:
                continue
            code = (
                (y[:-2] < y[1:-1]).astype(int)
                + 2 * (y[1:-1] < y[2:])
                + 4 * (y[:-2] < y[2:])
                + 8 * (y[:-2] == y[1:-1])
                + 16 * (y[1:-1] == y[2:])
            )
            share = np.bincount(code, minlength=32) / len(code)
            share = share[share > 0]
            out[f"{name} at {scale / HZ:g} s"] = float(-(share * np.log(share)).sum())
    return out


def toco_level(fhr: FloatArray, toco: FloatArray) -> Measured:
    out = _percentiles("level", toco, (1, 5, 25, 50, 75, 90, 95, 99))
    out["zero"] = _share(toco == 0)
    out["under 5"] = _share(toco < 5)
    out["most"] = float(toco.max())
    out["at the top"] = _share(toco >= 99.5)
    out["spread"] = float(toco.std())
    tens = toco[: len(toco) // 1200 * 1200].reshape(-1, 1200)
    floor = np.percentile(tens, 10, axis=1)
    out["floor spread"] = float(floor.std())
    out["floor change"] = float(np.median(np.abs(np.diff(floor))))
    return out


def toco_steps(fhr: FloatArray, toco: FloatArray) -> Measured:
    step = np.abs(np.diff(toco))
    live = step[(toco[1:] > 0) & (toco[:-1] > 0)]
    out = _percentiles("step", live, (50, 75, 90, 95, 99))
    for units in (2, 5, 10, 20):
        out[f"steps over {units}"] = _share(live > units)
    values, lengths = _held_lengths(toco)
    kept = lengths[values > 0]
    out["held mean"] = float(np.log1p(kept.mean())) if len(kept) else math.nan
    for k in (1, 2, 3, 4):
        out[f"held {k}"] = _share(kept == k)
    out["held 20 or more"] = _share(kept >= 20)
    out["longest held"] = float(np.log1p(lengths.max()))
    out["still share"] = _share(live == 0)
    return out


def toco_spectrum(fhr: FloatArray, toco: FloatArray) -> Measured:
    return _spectrum(toco, toco > 0)


def contractions(fhr: FloatArray, toco: FloatArray) -> Measured:
    out: Measured = {}
    second = toco[: len(toco) // HZ * HZ].reshape(-1, HZ).mean(axis=1)
    smooth = uniform_filter1d(second, 11)
    if smooth.std() < 0.5:
        return {"an hour": 0.0}
    tops, about = find_peaks(smooth, prominence=8, distance=25)
    out["an hour"] = len(tops) / (len(toco) / HZ / 3600)
    if len(tops) < 4:
        return out
    width, _, left, right = peak_widths(smooth, tops, rel_height=0.5)
    wide, _, first, _last = peak_widths(smooth, tops, rel_height=0.85)
    out |= _percentiles("height", about["prominences"], PERCENTS)
    out |= _percentiles("half width", width, PERCENTS)
    out |= _percentiles("width low down", wide, (25, 50, 75))
    out |= _percentiles("share of the rise", (tops - left) / np.maximum(width, 1), (25, 50, 75))
    out |= _percentiles("share of the rise low down", (tops - first) / np.maximum(wide, 1), (50,))
    apart = np.diff(tops)
    out |= _percentiles("interval", apart, PERCENTS)
    out["interval unevenness"] = float(apart.std() / apart.mean())
    out["height unevenness"] = float(about["prominences"].std() / about["prominences"].mean())
    rough = second - smooth
    on = np.zeros(len(second), dtype=bool)
    for a, b in zip(left, right, strict=True):
        on[int(a) : int(b) + 1] = True
    if on.any() and (~on).any():
        out["roughness on"] = float(np.log(rough[on].std() + 0.01))
        out["roughness off"] = float(np.log(rough[~on].std() + 0.01))
    return out


def bursts(fhr: FloatArray, toco: FloatArray) -> Measured:
    """How unevenly movement of activity and heart rate is spread over time."""
    out: Measured = {}
    for name, x in (("heart rate", _filled(fhr)), ("activity", toco)):
        for scale in (4, 20, 80):
            y = x[: len(x) // scale * scale].reshape(-1, scale).mean(axis=1)
            moved = np.diff(y)
            spread = moved.std()
            if spread > 0.05:
                out[f"{name}: kurtosis at {scale / HZ:g} s"] = float(
                    np.log1p(np.mean((moved / spread) ** 4))
                )
        still = np.abs(x - uniform_filter1d(x, 21))
        by_half = still[: len(still) // 120 * 120].reshape(-1, 120).mean(axis=1)
        out |= _percentiles(f"{name}: roughness by half minute", np.log(by_half + 0.01), PERCENTS)
        if by_half.std() > 0:
            out[f"{name}: roughness from half minute to half minute"] = float(
                np.corrcoef(by_half[1:], by_half[:-1])[0, 1]
            )
    return out


def crossed(fhr: FloatArray, toco: FloatArray) -> Measured:
    """Correlation of heart rate with activity at lags, of roughness with activity."""
    out: Measured = {}
    n = len(toco) // 8 * 8
    heart = np.nanmean(np.where(np.isnan(fhr), np.nan, fhr)[:n].reshape(-1, 8), axis=1)
    heart = heart - median_filter(_filled(heart), 151, mode="nearest")
    belt = toco[:n].reshape(-1, 8).mean(axis=1)
    belt = belt - uniform_filter1d(belt, 151)
    if belt.std() < 1:
        return out
    found = []
    for lag_s in (-60, -30, -10, 0, 10, 20, 30, 40, 60, 90):
        k = lag_s // 2
        a = heart[max(0, k) : len(heart) + min(0, k)]
        b = belt[max(0, -k) : len(belt) + min(0, -k)]
        seen = ~np.isnan(a)
        if seen.sum() > 100:
            r = float(np.corrcoef(a[seen], b[seen])[0, 1])
            out[f"heart rate {lag_s} s after activity"] = r
            found.append(r)
    if found:
        out["least"], out["most"] = min(found), max(found)
    return out


def differences(fhr: FloatArray, toco: FloatArray) -> Measured:
    """Changes over several lags: quantiles, and whether they look the same run backwards."""
    out: Measured = {}
    for name, x in (("heart rate", fhr), ("activity", toco)):
        second = np.nanmean(x[: len(x) // HZ * HZ].reshape(-1, HZ), axis=1)
        for lag in (1, 4, 16, 60):
            moved = second[lag:] - second[:-lag]
            moved = moved[~np.isnan(moved)]
            if len(moved) < 200 or moved.std() < 0.05:
                continue
            out |= _percentiles(f"{name} over {lag} s", moved, (2, 25, 75, 98))
            z = moved / moved.std()
            out[f"{name} over {lag} s, skew"] = float((z**3).mean())
            out[f"{name} over {lag} s, kurtosis"] = float(np.log1p((z**4).mean()))
    seen = fhr[~np.isnan(fhr)]
    digits = np.bincount((np.round(seen) % 10).astype(int), minlength=10) / max(1, len(seen))
    out |= {f"last digit {k}": float(share) for k, share in enumerate(digits)}
    return out


HEART: dict[str, Callable[[FloatArray, FloatArray], Measured]] = {
    "sample steps": heart_steps,
    "held values": held_values,
    "gaps": gaps,
    "heart-rate level": heart_level,
    "variability": variability,
    "heart-rate spectrum": heart_spectrum,
    "shape of excursions": excursions,
    "leaps": jumps,
}
ACTIVITY: dict[str, Callable[[FloatArray, FloatArray], Measured]] = {
    "activity level": toco_level,
    "activity steps": toco_steps,
    "activity spectrum": toco_spectrum,
    "contractions": contractions,
}
BOTH: dict[str, Callable[[FloatArray, FloatArray], Measured]] = {
    "quantisation": quantisation,
    "autocorrelation": autocorrelation,
    "complexity": complexity,
    "bursts": bursts,
    "heart rate with activity": crossed,
    "differences": differences,
}
GROUPS = HEART | ACTIVITY | BOTH


def measure(fhr: FloatArray, toco: FloatArray) -> Measured:
    """Every feature of a window, named "group: feature"; NaN where it cannot be measured.

    fhr: bpm at 4 Hz, NaN where missing; toco: units at 4 Hz.
    """
    out: Measured = {}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for group, function in GROUPS.items():
            out |= {f"{group}: {name}": value for name, value in function(fhr, toco).items()}
    return out
