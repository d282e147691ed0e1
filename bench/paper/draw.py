"""A plain way to draw a strip, apart from `ebbline.picture`: other grids, inks and widths."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]


@dataclass(frozen=True)
class Look:
    """One kind of paper. Colours are red, green, blue; widths in mm."""

    paper: tuple[int, int, int]
    fine: tuple[int, int, int]
    strong: tuple[int, int, int]
    ink: tuple[int, int, int]
    fine_mm: float
    strong_mm: float
    trace_mm: float
    line_s: float
    strong_every: int
    speed: int
    bpm_per_cm: int
    low: int
    high: int


LOOKS = {
    "orange": Look((255, 252, 246), (250, 205, 170), (240, 160, 110), (25, 25, 30), .12, .25, .35,
                   10, 6, 3, 30, 30, 240),
    "green": Look((250, 255, 250), (190, 225, 195), (130, 190, 140), (30, 30, 60), 0.15, 0.3, 0.4,
                  30, 2, 1, 20, 50, 210),
    "grey": Look((255, 255, 255), (205, 205, 205), (150, 150, 150), (0, 0, 0), 0.12, 0.22, 0.3,
                 30, 2, 1, 20, 50, 210),
    "black": Look((255, 255, 255), (150, 150, 150), (90, 90, 90), (0, 0, 0), 0.1, 0.16, 0.45,
                  10, 6, 3, 30, 30, 240),
}  # fmt: skip


@dataclass(frozen=True)
class Drawn:
    """A drawn strip and where it stands: px a second, left edge, bpm at a row."""

    image: Image
    dpi: float
    look: Look


def draw(
    fhr: NDArray[np.float64],
    activity: NDArray[np.float64],
    rate_hz: float,
    look: Look,
    dpi: float = 300.0,
    start_min: int = 0,
) -> Drawn:
    """Heart rate above, activity (0-100) below, numbers beside and times beneath."""
    px = dpi / 2.54
    cm_s = look.speed / 60
    seconds = len(fhr) / rate_hz
    margin = 1.6
    rate_cm = (look.high - look.low) / look.bpm_per_cm
    gap_cm, activity_cm = 0.9, 4.0
    width = round((2 * margin + seconds * cm_s) * px)
    height = round((2 * margin + rate_cm + gap_cm + activity_cm) * px)
    image = np.empty((height, width, 3), np.uint8)
    image[:] = look.paper
    left, top = margin * px, margin * px
    bottom = top + rate_cm * px
    top2 = bottom + gap_cm * px
    bottom2 = top2 + activity_cm * px
    right = left + seconds * cm_s * px

    def line(
        x1: float, y1: float, x2: float, y2: float, colour: tuple[int, int, int], mm: float
    ) -> None:
        _line(image, x1, y1, x2, y2, colour, mm / 10 * px)

    count = int(seconds / look.line_s + 1e-6)
    for strong in (False, True):
        colour = look.strong if strong else look.fine
        mm = look.strong_mm if strong else look.fine_mm
        for n in range(count + 1):
            if (n % look.strong_every == 0) == strong:
                x = left + n * look.line_s * cm_s * px
                line(x, top, x, bottom, colour, mm)
                line(x, top2, x, bottom2, colour, mm)
        for bpm in range(look.low, look.high + 1, 10):
            if (bpm % look.bpm_per_cm == look.low % look.bpm_per_cm) == strong:
                y = bottom - (bpm - look.low) / look.bpm_per_cm * px
                line(left, y, right, y, colour, mm)
        for value in range(0, 101, 10):
            if (value % 50 == 0) == strong:
                y = bottom2 - value / 100 * activity_cm * px
                line(left, y, right, y, colour, mm)
    size = px / 118.0
    for bpm in range(look.low, look.high + 1, look.bpm_per_cm):
        y = bottom - (bpm - look.low) / look.bpm_per_cm * px
        for x in (left - 1.15 * px, right + 0.2 * px):
            _write(image, str(bpm), x, y, size, look.ink)
    for value in range(0, 101, 20):
        y = bottom2 - value / 100 * activity_cm * px
        _write(image, str(value), left - 1.15 * px, y, size, look.ink)
    for minute in range(0, int(seconds // 60) + 1, 10 if look.speed == 1 else 2):
        x = left + minute * 60 * cm_s * px
        _write(
            image,
            f"{(start_min + minute) // 60}:{(start_min + minute) % 60:02d}",
            x,
            bottom + 0.45 * px,
            size,
            look.ink,
        )
    times = left + (np.arange(len(fhr)) + 0.5) / rate_hz * cm_s * px
    y = bottom - (fhr - look.low) / look.bpm_per_cm * px
    y[(fhr < look.low) | (fhr > look.high)] = np.nan
    _trace(image, times, y, look.ink, look.trace_mm / 10 * px)
    y2 = bottom2 - np.clip(activity, 0, 100) / 100 * activity_cm * px
    _trace(image, times, y2, look.ink, look.trace_mm / 10 * px)
    return Drawn(image, dpi, look)


_SHIFT = 4


def _line(
    image: Image,
    x1: float,
    y1: float,
    x2: float,
    y2: float,
    colour: tuple[int, int, int],
    width: float,
) -> None:
    """A line of any width, blended where it is thinner than a pixel."""
    thick = max(1, round(width))
    share = min(1.0, width / thick)
    drawn = tuple(round(255 + (c - 255) * share) for c in colour)
    one, other = (round(x1 * 16), round(y1 * 16)), (round(x2 * 16), round(y2 * 16))
    cv2.line(image, one, other, drawn, thick, cv2.LINE_AA, _SHIFT)


def _trace(
    image: Image,
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    colour: tuple[int, int, int],
    width: float,
) -> None:
    there = np.isfinite(y)
    edges = np.flatnonzero(np.diff(np.r_[0, there.astype(np.int8), 0]))
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        at = np.column_stack([x[a:b], y[a:b]])
        if len(at) == 1:
            at = np.vstack([at, at + np.array([1.0, 0.0])])
        cv2.polylines(
            image,
            [np.round(at * 16).astype(np.int32)],
            False,
            colour,
            max(1, round(width)),
            cv2.LINE_AA,
            _SHIFT,
        )


def _write(
    image: Image, text: str, x: float, y: float, size: float, colour: tuple[int, int, int]
) -> None:
    scale = 0.85 * size
    (_, tall), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, scale, max(1, round(2 * size)))
    cv2.putText(
        image,
        text,
        (round(x), round(y + tall / 2)),
        cv2.FONT_HERSHEY_SIMPLEX,
        scale,
        colour,
        max(1, round(2 * size)),
        cv2.LINE_AA,
    )
