"""A strip as our own picture draws it (`ebbline.picture`), as the pixels of a printed sheet."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from ebbline.picture.canvas import Rect
from ebbline.picture.png import png
from ebbline.picture.strip import draw_strip
from ebbline.reading.analyse import read
from ebbline.recording import Channel, ChannelKind, Recording
from ebbline.terms import Window

Image = NDArray[np.uint8]

PAPER_CM, MARGIN_CM = 3.0, 0.22
TRACE_MM = 0.75 * 25.4 / 72
"""The stroke of `ebbline.picture.style.TRACE`, mm."""


def draw_ours(
    fhr: NDArray[np.float64], activity: NDArray[np.float64], rate_hz: float, speed: int, dpi: float
) -> Image:
    """Heart rate above, activity (0-100) below, on one long sheet, nothing computed on it."""
    channels = (
        Channel(ChannelKind.FETAL_HEART_RATE, fhr, rate_hz, fetus=1),
        Channel(ChannelKind.UTERINE_ACTIVITY, activity, rate_hz),
    )
    recording = Recording("half hour", channels)
    window = Window(0.0, len(fhr) / rate_hz)
    document = draw_strip(
        recording,
        read(recording, window=window),
        window=window,
        speed_cm_per_min=speed,
        marks=False,
        continuous=True,
        words=False,
    )
    page = document.pages[0]
    # The strip is cut from its sheet below the second paper: what follows are words in boxes.
    papers = [one for one in page.shapes if isinstance(one, Rect) and one.height > PAPER_CM]
    end = round((papers[1].y + papers[1].height + MARGIN_CM) / 2.54 * dpi)
    encoded = np.frombuffer(png(page, round(dpi)), np.uint8)
    return np.ascontiguousarray(cv2.imdecode(encoded, cv2.IMREAD_COLOR)[:end, :, ::-1])
