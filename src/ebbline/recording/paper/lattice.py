"""The grid followed by its phase: which line, and how far between lines, every pixel lies.

A grid is two combs of lines. Multiplied by a wave of the comb's frequency and smoothed, the picture
of a comb leaves its phase, which grows by one turn a line wherever the paper bends to: curl, lens
and creases are told to a fraction of a pixel, and no line needs to be seen whole. Method: Takeda M,
Ina H, Kobayashi S. J Opt Soc Am 1982;72:156-60 (phase of a fringe pattern by its Fourier carrier).
"""

from __future__ import annotations

import heapq
import itertools
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel
from ebbline.recording.paper.flatten import Plane

Field = NDArray[np.float64]
"""Shape (height, width) of the picture it belongs to."""

PERIODS = (7.0, 220.0)
"""Least and most distance of two lines, px (ours): at 75 dpi 3 mm, at 600 dpi 9 mm."""
LEAST_ALIKE = 0.04
"""So alike, of 1, must a picture be to itself a line further (ours)."""
LEAST_SHARE = 0.18
"""Of how alike the strongest lines make it, so much must the faint ones between them (ours)."""
_ACROSS, _ALONG = 0.9, 2.5
"""Width of the smoothing across the lines and along them, in periods (ours)."""
PEN_MARK = 9.0
"""Darkness given to what is known to be a pen's: it stays known when the picture shrinks."""
MEANS = 5.0
"""A wave is smoothed on so many means a period (ours)."""
_FAINT = 0.4
"""A wave fainter than so much of a strong one counts less and less (ours)."""
_MOST_RIDGE, _PALE = 1.6, 0.1
"""Darker than so many usual lines and a little is a pen's stroke, not a line (ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class Comb:
    """One family of lines, told on nodes `step` px apart.

    period: px between lines, about. lines: line number of every node, shape (rows, columns).
    strength: 0..1 how clearly the comb is seen there.
    """

    period: float
    step: int
    lines: Field
    strength: Field

    def at(self, x: Field, y: Field) -> Field:
        """Line numbers at places of the picture, px."""
        return sampled(self.lines, x / self.step, y / self.step)


def sampled(nodes: Field, column: Field, row: Field) -> Field:
    """A field between its nodes, by straight lines; beyond them as it goes on at the rim."""
    column, row = np.broadcast_arrays(column, row)
    found: Field = _between(np.ascontiguousarray(nodes), np.ravel(column), np.ravel(row)).reshape(
        column.shape
    )
    return found


@kernel
def _between(nodes: Field, column: Field, row: Field) -> Field:
    rows, columns = nodes.shape
    found = np.empty(len(column))
    for n in range(len(column)):
        j = min(max(int(np.floor(column[n])), 0), columns - 2)
        i = min(max(int(np.floor(row[n])), 0), rows - 2)
        b, a = column[n] - j, row[n] - i
        upper = nodes[i, j] * (1 - b) + nodes[i, j + 1] * b
        lower = nodes[i + 1, j] * (1 - b) + nodes[i + 1, j + 1] * b
        found[n] = upper * (1 - a) + lower * a
    return found


def period_of(
    ink: Plane, axis: int, *, even: bool = False, free: Plane | None = None
) -> float | None:
    """Distance of the lines that cross an axis (1: upright lines, along x), px; None if unseen.

    The finest comb that is clearly seen is taken: of a paper with strong and faint lines all lines
    stand on it. even: as if no pen had written there, and all lines were about as strong. free:
    see `even_ridges`.
    """
    lined = even_ridges(ink, axis, free) if even else ridges(np.minimum(ink, 1.0), axis)
    length = lined.shape[axis]
    pieces = _pieces(lined, axis)
    size = 1 << (length - 1).bit_length() + 1
    window = np.hanning(length)
    spectra = np.abs(np.fft.rfft(pieces * window, size, axis=1)) ** 2
    power = spectra.mean(axis=0)
    alike = np.fft.irfft(power)[: length // 2]
    # The window tapers what lies far apart: as much must be alike at every distance.
    taper = np.fft.irfft(np.abs(np.fft.rfft(window, size)) ** 2)[: length // 2]
    alike = alike / np.maximum(taper, taper[0] * 0.02) * taper[0] / max(float(alike[0]), 1e-12)
    lags = np.arange(int(PERIODS[0]), int(min(PERIODS[1], length / 5)) + 1)
    if not len(lags):
        return None
    peaks = [
        lag
        for lag in lags
        if alike[lag] > LEAST_ALIKE and alike[lag] == alike[max(4, lag - 4) : lag + 5].max()
    ]
    if not peaks:
        return None
    most = max(float(alike[lag]) for lag in peaks)
    combs = [lag for lag in peaks if _is_comb(alike, int(lag), most)]
    first = min(combs) if combs else max(peaks, key=lambda lag: float(alike[lag]))
    return _sharper(power, size, int(first))


def _is_comb(alike: NDArray[np.float64], lag: int, most: float) -> bool:
    """True when the picture is like itself one, two and three lines further, and less between."""
    for times in (1, 2, 3):
        centre = times * lag
        if centre + times + 1 >= len(alike):
            return times > 1
        near = float(alike[centre - times : centre + times + 1].max())
        half = round((times - 0.5) * lag)
        between = float(alike[half - 1 : half + 2].max())
        if near < LEAST_SHARE * most or between > 0.7 * near:
            return False
    return True


def _sharper(power: NDArray[np.float64], size: int, lag: int) -> float:
    """The period near a whole lag, from the highest harmonic that still stands out."""
    period = float(lag)
    for harmonic in (1, 2, 3):
        centre = harmonic * size / period
        reach = max(2, round(0.35 * centre / harmonic / 3))
        low, high = int(centre - reach), int(centre + reach) + 1
        if low < 1 or high + 1 >= len(power):
            break
        best = low + int(power[low:high].argmax())
        around = power[best - 1 : best + 2]
        bend = around[0] - 2 * around[1] + around[2]
        if bend >= 0 or power[best] < 4 * np.median(power[low - reach : high + reach]):
            continue
        shift = 0.5 * (around[0] - around[2]) / bend
        period = harmonic * size / (best + float(np.clip(shift, -0.5, 0.5)))
    return period


def ridges(ink: Plane, axis: int, length: int = 13) -> Plane:
    """Ink that lies in lines across the axis: what is long the other way."""
    smooth = cv2.blur(ink, (1, length) if axis == 1 else (length, 1))
    return smooth - cv2.blur(smooth, (9, 1) if axis == 1 else (1, 9))


def pen_free(ink: Plane) -> Plane:
    """1 where only paper and lines are, 0 at what is much darker than lines: pen, print."""
    marked = ink >= PEN_MARK / 4
    plain = np.where(marked, np.float32(0.0), ink)
    usual = max(_usual_ridge(plain, 0), _usual_ridge(plain, 1))
    dark = ((cv2.blur(plain, (3, 3)) > _MOST_RIDGE * usual + _PALE) | marked).astype(np.uint8)
    free: Plane = (cv2.dilate(dark, np.ones((5, 5), np.uint8)) == 0).astype(np.float32)
    return free


def _usual_ridge(ink: Plane, axis: int) -> float:
    """How far a strong line of the grid rises: about one pixel in thirty lies on such a line."""
    return max(float(np.quantile(ridges(ink, axis)[::3, ::3], 0.97)), 1e-3)


def even_ridges(ink: Plane, axis: int, free: Plane | None = None) -> Plane:
    """The same as if no pen had written there, and strong lines no stronger than faint ones.

    free: what is free of the pen (`pen_free`), where that is known already.
    """
    free = pen_free(ink) if free is None else free
    along, across = ((1, 13), (9, 1)) if axis == 1 else ((13, 1), (1, 9))
    # Means over what is free of a pen alone.
    share = cv2.blur(free, along)
    smooth = cv2.blur(ink * free, along) / np.maximum(share, 1e-3)
    known = (share > 0.25).astype(np.float32)
    beside = cv2.blur(smooth * known, across) / np.maximum(cv2.blur(known, across), 1e-3)
    lined = (smooth - beside) * known * share
    rising = lined[::3, ::3]
    rising = rising[rising > 1e-4]
    most = 2.0 * float(np.quantile(rising, 0.8)) if len(rising) else 1.0
    # What lies beside a strong line is paler than paper to a mean: no line is there.
    return np.clip(lined, 0.0, most).astype(np.float32)


def _pieces(lined: Plane, axis: int, count: int = 48) -> NDArray[np.float64]:
    """Profiles along the axis, each the mean of a strip of rows: shape (count, length)."""
    across = lined if axis == 1 else lined.T
    edges = np.linspace(0, len(across), count + 1).astype(int)
    pairs = itertools.pairwise(edges)
    means = [across[a:b].mean(axis=0) for a, b in pairs if b > a]
    profiles = np.array(means, dtype=np.float64)
    centred: NDArray[np.float64] = profiles - profiles.mean(axis=1, keepdims=True)
    return centred


def demodulated(
    lined: Plane, axis: int, period: float, spread: tuple[float, float], step: int = 1
) -> tuple[NDArray[np.complex64], Plane]:
    """The comb's wave at every `step` px, and how strong it is against all that is there.

    spread: width of the smoothing in px, along x and along y.
    """
    along = np.arange(lined.shape[axis], dtype=np.float64)
    angle = 2 * np.pi * along / period
    across = (1, -1) if axis == 1 else (-1, 1)
    # What is left of the wave changes slowly: five means a period tell it, and smooth quickly.
    shrink = max(1, int(period / MEANS)) if step > 1 else 1

    def smooth(plane: Plane) -> Plane:
        if shrink == 1:
            return cv2.GaussianBlur(plane, (0, 0), spread[0], sigmaY=spread[1])
        rows, columns = (max(2, -(-length // shrink)) for length in plane.shape)
        reach = columns * shrink - plane.shape[1], rows * shrink - plane.shape[0]
        whole = cv2.copyMakeBorder(plane, 0, reach[1], 0, reach[0], cv2.BORDER_REPLICATE)
        few = cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA)
        return cv2.GaussianBlur(few, (0, 0), spread[0] / shrink, sigmaY=spread[1] / shrink)

    def carried(turn: NDArray[np.float64]) -> Plane:
        return smooth(lined * turn.astype(np.float32).reshape(across))

    found = carried(np.cos(angle)) - 1j * carried(np.sin(angle))
    level = smooth(np.abs(lined)) + 1e-4
    size = np.abs(found)
    # On blank paper chance looks like a comb, but a faint one.
    few = 1 if step > 1 else 4
    usual = _FAINT * float(np.quantile(size[::few, ::few], 0.9)) + 1e-9
    strength = (size / level * np.minimum(1.0, (size / usual) ** 2)).astype(np.float32)
    wave: NDArray[np.complex64] = found.astype(np.complex64)
    if step == 1:
        return wave, strength
    # The middle of the first mean lies half a mean in.
    x, y = (
        ((np.arange(0, length, step) + 0.5) / shrink - 0.5).astype(np.float32)
        for length in (lined.shape[1], lined.shape[0])
    )
    x, y = np.meshgrid(x, y)
    planes = (np.ascontiguousarray(wave.real), np.ascontiguousarray(wave.imag), strength)
    real, imaginary, seen = (
        cv2.remap(one, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE) for one in planes
    )
    wave = (real + 1j * imaginary).astype(np.complex64)
    return wave, seen


def comb(lined: Plane, axis: int, period: float, where: Plane | None = None) -> Comb:
    """Line numbers of a comb over the whole picture, from the phase at its frequency.

    lined: its lines alone (`even_ridges`). where: 1 where the comb's paper lies, else 0; the
    numbers run on smoothly beyond.
    """
    if where is not None:
        lined = lined * where
    spread = (_ACROSS * period, _ALONG * period)
    step = max(2, int(period / 2.5))
    nodes, seen = demodulated(lined, axis, period, spread if axis == 1 else spread[::-1], step)
    rows, columns = np.arange(0, lined.shape[0], step), np.arange(0, lined.shape[1], step)
    strength = seen.astype(np.float64)
    if where is not None:
        strength = strength * where[np.ix_(rows, columns)]
    phase = unwrapped(np.angle(nodes).astype(np.float64), np.ascontiguousarray(strength))
    strength = strength * trusted(phase, strength)
    phase = smoothed(phase, strength, axis, period / step)
    place = (columns[None, :] if axis == 1 else rows[:, None]) / period
    return Comb(period, step, place + phase / (2 * np.pi), strength)


@kernel
def running_median(rows: Field, window: int) -> Field:
    """The median of every place with its neighbours in the same row, the rims repeated.

    window: how many of them, odd.
    """
    height, width = rows.shape
    half = window // 2
    found = np.empty(rows.shape)
    held = np.empty(window)
    for i in range(height):
        for n in range(window):
            held[n] = rows[i, min(max(n - half, 0), width - 1)]
        held.sort()
        found[i, 0] = held[half]
        for j in range(1, width):
            gone = rows[i, max(j - 1 - half, 0)]
            new = rows[i, min(j + half, width - 1)]
            n = np.searchsorted(held, gone)
            while n + 1 < window and held[n + 1] < new:
                held[n] = held[n + 1]
                n += 1
            while n > 0 and held[n - 1] > new:
                held[n] = held[n - 1]
                n -= 1
            held[n] = new
            found[i, j] = held[half]
    return found


@kernel
def unwrapped(phase: Field, strength: Field) -> Field:
    """The phase without its jumps, told from the clearest node outwards, the clearest first."""
    rows, columns = phase.shape
    told = np.full(phase.shape, np.nan)
    # What is no number is never told, and nothing is told from it: two side by side would be met
    # for ever.
    met = np.isnan(phase)
    first_i, first_j = 0, 0
    for i in range(rows):
        for j in range(columns):
            if strength[i, j] > strength[first_i, first_j]:
                first_i, first_j = i, j
    told[first_i, first_j] = phase[first_i, first_j]
    met[first_i, first_j] = True
    order = [(-strength[first_i, first_j], first_i, first_j)]
    while len(order) > 0:
        _, i, j = heapq.heappop(order)
        here = told[i, j]
        for side in range(4):
            a = i + (side == 1) - (side == 0)
            b = j + (side == 3) - (side == 2)
            if 0 <= a < rows and 0 <= b < columns and not met[a, b]:
                met[a, b] = True
                turns = np.round((here - phase[a, b]) / (2 * np.pi))
                told[a, b] = phase[a, b] + 2 * np.pi * turns
                heapq.heappush(order, (-strength[a, b], a, b))
    return told


def sheet_through(phase: Field, strength: Field) -> Field:
    """The smooth sheet through most of the phase, its strays left aside.

    Paper bends slowly; beside words and beyond the paper's rim the phase runs off by whole turns.
    """
    rows, columns = np.linspace(-1, 1, phase.shape[0]), np.linspace(-1, 1, phase.shape[1])
    powers = [(a, b) for a in range(6) for b in range(3) if a + 2 * b < 7]
    every = max(1, phase.size // 6000)
    i, j = np.unravel_index(np.arange(0, phase.size, every), phase.shape)
    some = np.stack([columns[j] ** a * rows[i] ** b for a, b in powers], axis=-1)
    told = phase.ravel()[::every]
    weight = np.clip(strength.ravel()[::every], 0.0, 1.0) ** 2
    off = np.zeros(len(told))
    fit: Field = np.zeros(len(powers))
    for _ in range(8):
        fit = fitted(some, told, weight / (1.0 + (off / (0.15 * 2 * np.pi)) ** 2))
        off = told - some @ fit
    found: Field = np.zeros(phase.shape)
    for b in range(3):
        along = sum(f * columns**a for f, (a, own) in zip(fit, powers, strict=True) if own == b)
        found += np.multiply.outer(rows**b, along)
    return found


def trusted(phase: Field, strength: Field) -> Field:
    """1 where the phase lies near the smooth sheet through all of it, 0 where it was lost."""
    away = np.abs(phase - sheet_through(phase, strength))
    near: Field = (away < LOST * 2 * np.pi).astype(np.float64)
    return near


def fitted(terms: Field, told: Field, weight: Field) -> Field:
    """Factors of the terms, shape (n, count), that come nearest to what is told, weighted."""
    weighed = terms * weight[:, None]
    square = weighed.T @ terms
    # So little as to move nothing: terms that nothing is told of stay at none.
    square += np.eye(len(square)) * (1e-9 * float(np.trace(square)) / len(square) + 1e-300)
    return np.asarray(np.linalg.solve(square, weighed.T @ told), np.float64)


LOST = 0.55
"""Turns by which the phase may lie off the smooth sheet before it counts as lost (ours)."""


def blurred(field: Field, wide: float, tall: float) -> Field:
    """A field under a Gaussian of so many nodes along x and y; a wide one on fewer nodes."""
    fewer = [max(1, int(spread / WIDE)) for spread in (tall, wide)]
    size = [max(8, -(-length // by)) for length, by in zip(field.shape, fewer, strict=True)]
    if size[0] >= field.shape[0] and size[1] >= field.shape[1]:
        return np.asarray(cv2.GaussianBlur(field, (0, 0), wide, sigmaY=tall), np.float64)
    rows, columns = (min(a, b) for a, b in zip(size, field.shape, strict=True))
    few = cv2.resize(field, (columns, rows), interpolation=cv2.INTER_AREA)
    few = cv2.GaussianBlur(
        few, (0, 0), wide * columns / field.shape[1], sigmaY=tall * rows / field.shape[0]
    )
    whole = cv2.resize(few, field.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(whole, np.float64)


WIDE = 3.0
"""Nodes of a Gaussian's spread that tell it (ours)."""


def smoothed(phase: Field, strength: Field, axis: int, per_line: float) -> Field:
    """The phase over all nodes, each told by those around it as far as they agree.

    per_line: nodes between two lines. Nodes where the comb is faint take it from those around them,
    near ones first. Pen and print pull the phase a little wherever they cross the lines, the paper
    itself bends over many: what strays a little alone is calmed, along the lines farther than
    across them; what bends more, as a crease does, stays.
    """
    weight = np.clip(strength, 0.0, 1.0) ** 2
    weight = np.where(weight > 0.25 * np.quantile(weight, 0.9), weight, 0.0)
    base = sheet_through(phase, strength)
    rest = phase - base
    found = np.zeros_like(phase)
    settled = np.zeros_like(phase)
    for width in (1.2, 4.0, 12.0, 36.0):
        mass = blurred(weight, width, width)
        value = blurred(weight * rest, width, width) / np.maximum(mass, 1e-12)
        share = np.clip(mass / (0.15 * weight.max() + 1e-12), 0.0, 1.0) * (1.0 - settled)
        found += share * value
        settled += share
    spread = (CALM_ACROSS * per_line, CALM_ALONG * per_line)
    wide, tall = spread if axis == 1 else spread[::-1]
    mass = blurred(weight, wide, tall) + 1e-6
    calm = np.zeros_like(found)
    for _ in range(2):
        # The second time what was bent away at the rims comes back.
        left = weight * (found - calm)
        calm += blurred(left, wide, tall) / mass
    stray = blurred(np.abs(found - calm), 0.5 * wide, 0.5 * tall)
    bent = np.clip((stray / (2 * np.pi) - STRAY) / STRAY, 0.0, 1.0)
    whole: Field = base + calm + bent * (found - calm)
    return whole


CALM_ACROSS, CALM_ALONG = 2.5, 5.0
"""Lines over which the phase is calmed, across them and along them (ours)."""
STRAY = 0.04
"""Turns by which the phase may stray and still be calmed; at twice as much it stays (ours)."""
