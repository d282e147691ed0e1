"""The numbers printed beside the paper: digits told by shape, believed where they agree.

No digit is believed alone. Numbers beside level lines stand in even steps from the top down: the
line through them is sought that most of them lie on, and fewer than three in step tell nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import combinations, pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from ebbline.recording.paper.flatten import Plane
from ebbline.recording.paper.stretches import stretches

Shape = NDArray[np.uint8]
_SIZE = (20, 28)
LEAST_IN_STEP = 3
"""So many numbers must lie on one line before a scale is read from them (ours)."""
TALL_LINE_PX = 90.0
"""Distance of two level lines, px, at which numbers are looked at (ours)."""
STEPS = (-5.0, -10.0, -20.0, -25.0, -30.0, -50.0, -2.5, -40.0)
"""Values from one level line to the next, downwards, that papers have (common practice, ours)."""


@dataclass(frozen=True, slots=True)
class Printed:
    """A number and where it stands: its line number among the level lines."""

    value: float
    line: float


@dataclass(frozen=True, slots=True)
class ReadScale:
    """Values by line number: value = first + step * line. agreed: numbers that lie on it."""

    first: float
    step: float
    agreed: int

    def value(self, line: float) -> float:
        """What a level line stands for."""
        return self.first + self.step * line

    def value_of(self, lines: NDArray[np.float64]) -> NDArray[np.float64]:
        """The same of many places, in lines."""
        found: NDArray[np.float64] = self.first + self.step * lines
        return found


def read_scale(ink: Plane, columns: slice, top: float, down: float) -> ReadScale | None:
    """The scale told by the numbers within some columns of a flat paper, or None.

    ink: the flat paper with its margins; top: line number of its upper edge; down: px a line.
    """
    found = [Printed(value, top + row / down) for value, row in _numbers(ink[:, columns], down)]
    best: ReadScale | None = None
    for one, other in combinations(found, 2):
        lines = other.line - one.line
        if abs(lines) < 0.8:
            continue
        rough = (other.value - one.value) / lines
        step = min(STEPS, key=lambda known: abs(known - rough))
        if abs(rough - step) > 0.06 * abs(step):
            continue
        first = one.value - step * one.line
        agreed = [p for p in found if abs(first + step * p.line - p.value) < 0.22 * abs(step)]
        lines_met = {round(p.line * 2) for p in agreed}
        if len(lines_met) >= LEAST_IN_STEP and (best is None or len(lines_met) > best.agreed):
            # Numbers stand on whole lines: the first value is that of a line, not of a place.
            exact = float(np.median([p.value - step * round(p.line) for p in agreed]))
            best = ReadScale(exact, step, len(lines_met))
    return best


def _numbers(ink: Plane, down: float) -> list[tuple[float, float]]:
    """Whole numbers on a stretch of paper with the row of their middle."""
    found = [
        (float(digits), row)
        # A dark table beside the paper, or bold print, leaves the other numbers pale.
        for share in (DARK, PALE)
        for digits, row, _ in _words(ink, down, WITHIN_NUMBER, share)
        # None is printed with a 0 before it. 100, 110 and 180 in a mirror, or on their head, are
        # 001, 011 and 081: as evenly in step as themselves.
        if len(digits) <= 3 and (digits == "0" or digits[0] != "0")
    ]
    return [
        one
        for n, one in enumerate(found)
        if not any(one[0] == f[0] and abs(one[1] - f[1]) < 0.2 * down for f in found[:n])
    ]


def digits_in(ink: Plane, down: float) -> list[tuple[str, float]]:
    """Digits that stand together, a colon between them or none, and the column of their middle."""
    found = [
        (digits, column)
        # In small print a colon runs together with what stands beside it, but is paler.
        for share in (DARK, DARKER)
        for digits, _, column in _words(ink, down, WITHIN_TIME, share)
    ]
    return list(dict.fromkeys(found))


WITHIN_NUMBER, WITHIN_TIME = 0.6, 0.9
"""Heights of a digit by which two of one number, and of one time with its colon, stand apart at
most (ours)."""


PALE, DARK, DARKER = 0.24, 0.42, 0.65
"""Print is so dark, as a share of the darkest there is (ours)."""


def _words(
    ink: Plane, down: float, within: float, share: float = DARK
) -> list[tuple[str, float, float]]:
    """Digits that stand together on a stretch of paper; the row and the column of their middle."""
    # Small print is looked at enlarged: its strokes are thinner than two pixels.
    larger = max(1.0, TALL_LINE_PX / down)
    least = max(0.2, share * float(np.quantile(ink[::3, ::3], 0.998)))
    found = []
    for first, last in _printed_on(ink > least, round(down)):
        piece = cv2.resize(
            ink[:, first:last], None, fx=larger, fy=larger, interpolation=cv2.INTER_CUBIC
        )
        dark = (piece > least).astype(np.uint8)
        found += [
            (digits, row / larger, first + column / larger)
            for digits, row, column in _digits_on(dark, piece, down * larger, within)
        ]
    return found


def _printed_on(dark: NDArray[np.bool_], beside: int) -> list[tuple[int, int]]:
    """Stretches of columns with ink, and a little beside them: most of a margin is blank."""
    wide = np.convolve(dark.any(axis=0), np.ones(2 * beside + 1), "same") > 0
    return stretches(wide)


def _digits_on(
    dark: Shape, ink: Plane, down: float, within: float
) -> list[tuple[str, float, float]]:
    """The same on one stretch, at the size at which it is looked at."""
    marks = _marks(dark, ink, down)
    used: set[int] = set()
    found = []
    for n, start in enumerate(marks):
        if start[4] in used:
            continue
        word = [start]
        # Marks stand from left to right.
        for other in marks[n + 1 :]:
            last = word[-1]
            gap = other[0] - (last[0] + last[2])
            if gap > 2 * last[3]:
                break
            level = abs((other[1] + other[3] / 2) - (last[1] + last[3] / 2)) < 0.35 * last[3]
            tall = 0.75 < other[3] / last[3] < 1.33
            if other[4] not in used and level and tall and -0.2 * last[3] < gap < within * last[3]:
                word.append(other)
        used.update(one[4] for one in word)
        if len(word) > 4:
            continue
        digits = [_digit(dark[y : y + h, x : x + w]) for x, y, w, h, _ in word]
        if all(digit is not None for digit in digits):
            row = float(np.mean([y + h / 2 for _, y, _, h, _ in word]))
            column = (word[0][0] + word[-1][0] + word[-1][2]) / 2
            found.append(("".join(map(str, digits)), row, column))
    return found


def _marks(dark: Shape, ink: Plane, down: float) -> list[tuple[int, int, int, int, int]]:
    """Marks as tall as print: x, y, width, height and a number of each, from left to right.

    Digits that run together are parted where the least ink joins them.
    """
    count, _, stats, _ = cv2.connectedComponentsWithStats(dark, connectivity=8)
    found = []
    for x, y, w, h, area in stats[1:count].tolist():
        if not (
            0.10 * down <= h <= 0.75 * down and 0.12 * h <= w <= 3.2 * h and area > 0.12 * w * h
        ):
            continue
        parts = max(1, round(w / (0.75 * h)))
        edges = [0]
        for n in range(1, parts):
            centre, reach = n * w / parts, max(1, round(0.18 * h))
            low = max(edges[-1] + 1, round(centre) - reach)
            columns = ink[y : y + h, x + low : x + round(centre) + reach + 1].sum(axis=0)
            edges.append(low + int(columns.argmin()))
        edges.append(w)
        found += [(x + a, y, b - a, h) for a, b in pairwise(edges)]
    return [(*mark, n) for n, mark in enumerate(sorted(found))]


def _digit(shape: NDArray[np.uint8]) -> int | None:
    """The digit most like a shape, None when none is like it."""
    rows, columns = np.flatnonzero(shape.any(axis=1)), np.flatnonzero(shape.any(axis=0))
    if not len(rows):
        return None
    shape = shape[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    height, width = shape.shape
    slim = width / height
    drawn = _normal(shape)
    best, likeness = None, 0.0
    for digit, template, template_slim in _templates():
        if abs(slim - template_slim) > 0.28:
            continue
        alike = float((drawn * template).sum())
        if alike > likeness:
            best, likeness = digit, alike
    return best if likeness > 0.62 else None


def _normal(shape: NDArray[np.uint8]) -> NDArray[np.float32]:
    """A shape at one size, blurred, with mean 0 and length 1."""
    scaled = cv2.resize(shape.astype(np.float32), _SIZE, interpolation=cv2.INTER_AREA)
    scaled = cv2.GaussianBlur(scaled, (0, 0), 1.3)
    scaled = scaled - scaled.mean()
    found: NDArray[np.float32] = scaled / max(float(np.linalg.norm(scaled)), 1e-6)
    return found


@cache
def _templates() -> tuple[tuple[int, NDArray[np.float32], float], ...]:
    """Digits as typefaces of several kinds write them."""
    found = []
    faces = (
        cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX, cv2.FONT_HERSHEY_COMPLEX,
        cv2.FONT_HERSHEY_PLAIN,
    )  # fmt: skip
    for digit in range(10):
        for face in faces:
            for thick in (2, 5, 8):
                canvas = np.zeros((120, 120), np.uint8)
                scale = 5.0 if face == cv2.FONT_HERSHEY_PLAIN else 3.0
                cv2.putText(canvas, str(digit), (20, 100), face, scale, 255, thick, cv2.LINE_AA)
                found.append(_cut(digit, canvas))
        for path in _fonts():
            found.append(_cut(digit, _typed(digit, path)))
    return tuple(found)


def _typed(digit: int, path: str) -> NDArray[np.uint8]:
    from PIL import Image, ImageDraw, ImageFont

    image = Image.new("L", (120, 120), 0)
    ImageDraw.Draw(image).text((20, 10), str(digit), 255, font=ImageFont.truetype(path, 80))
    return np.asarray(image)


def _fonts() -> list[str]:
    """Typefaces that come with the libraries."""
    import importlib.resources as resources

    found = []
    for package, folder, names in (
        ("font_source_sans_pro", "files", ("SourceSansPro-Regular.ttf", "SourceSansPro-Bold.ttf")),
        ("reportlab", "fonts", ("Vera.ttf", "VeraBd.ttf")),
    ):
        for name in names:
            path = resources.files(package) / folder / name
            if path.is_file():
                found.append(str(path))
    return found


def _cut(digit: int, canvas: NDArray[np.uint8]) -> tuple[int, NDArray[np.float32], float]:
    rows, columns = np.flatnonzero(canvas.any(axis=1)), np.flatnonzero(canvas.any(axis=0))
    cut = (canvas[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1] > 127).astype(np.uint8)
    return digit, _normal(cut), cut.shape[1] / cut.shape[0]
