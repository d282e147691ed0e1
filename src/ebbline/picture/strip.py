"""The strip: a recording and its reading on grid paper at true scale."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ebbline.definitions import HALF_HOUR_S
from ebbline.errors import ContextError
from ebbline.picture.canvas import Document, Page
from ebbline.picture.page import HEIGHT, PAPER_WIDTH, arrange, strip_page, word_pages
from ebbline.picture.paper import scale
from ebbline.picture.strip_request import Job
from ebbline.reading.model import Reading
from ebbline.recording.model import Recording
from ebbline.terms import Window

_LONGEST_CM = 480.0
"""Of one long sheet: a PDF holds no page above 508 cm."""
_LANES = 2
"""Lanes for the marks of a kind, filled before their names are shortened."""
_FEWER_LANES = 1
"""The same where otherwise a sheet would be higher than A4."""


def draw_strip(
    recording: Recording,
    reading: Reading,
    *,
    fetus: int = 1,
    window: Window | None = None,
    speed_cm_per_min: int = 3,
    bpm_per_cm: int | None = None,
    marks: bool = True,
    continuous: bool = False,
    words: bool = True,
    even: bool = False,
) -> Document:
    """The strip of one fetus, others beside it lighter, on as many pages as it needs.

    window: what is drawn, s from the recording's start; by default the window of the reading.
    speed_cm_per_min: 1, 2 or 3. bpm_per_cm: 20 or 30, by default what usually goes with the
    speed (30 at 3 cm/min, else 20). marks: False leaves out all that was computed, for reading
    it oneself first. continuous: one long sheet, as from a roll, instead of A4 pages across.

    One minute measures speed_cm_per_min centimetres when printed at 100 %. Lost signal stays a
    gap. Every finding of the window is bracketed and named. Sheets with the reading in words
    follow where the title block has no room for all of it, unless words is False. even: share the
    window evenly among its sheets, so that none is a stub.

    Raises ContextError for a window outside the recording, a speed or scale no paper has, or a
    fetus that was not read.
    """
    fetal = next((one for one in reading.fetuses if one.fetus == fetus), None)
    if fetal is None or fetus not in recording.fetuses:
        raise ContextError(
            f"fetus {fetus} was not read.",
            where=recording.name,
            remedy="Choose one of: " + ", ".join(str(one.fetus) for one in reading.fetuses) + ".",
        )
    job = Job(
        recording,
        reading,
        fetal,
        _checked(window or reading.window, recording),
        scale(speed_cm_per_min, bpm_per_cm),
        marks,
        continuous,
    )
    return _document(job, words, even)


def _checked(window: Window, recording: Recording) -> Window:
    end_s = min(window.end_s, recording.duration_s)
    if not 0 <= window.start_s < end_s:
        raise ContextError(
            f"the window {window.start_s:.0f} to {window.end_s:.0f} s is not in the recording.",
            where=recording.name,
            remedy=f"Choose times between 0 and {recording.duration_s:.0f} s.",
        )
    return Window(window.start_s, end_s)


def _windows(job: Job, even: bool) -> list[Window]:
    """The stretch of each page: whole minutes, as many as a page holds, or evenly shared."""
    room = _LONGEST_CM if job.continuous else PAPER_WIDTH
    # A half hour at 1 cm/min is one look: its sheet is then a little wider than A4.
    if job.paper.speed == 1 and not job.continuous and job.window.duration_s <= HALF_HOUR_S:
        room = max(room, job.window.duration_s / 60.0)
    each_s = 60 * math.floor(room / job.paper.speed + 1e-9)
    if even:
        pages = math.ceil(job.window.duration_s / each_s - 1e-9)
        each_s = 60 * math.ceil(job.window.duration_s / pages / 60 - 1e-9)
    starts = np.arange(job.window.start_s, job.window.end_s, each_s).tolist()
    return [Window(one, min(one + each_s, job.window.end_s)) for one in starts]


def _document(job: Job, words: bool, even: bool) -> Document:
    pages = _pages(job, _LANES, words, even)
    if not job.continuous and _highest(pages) > HEIGHT:
        pages = min(pages, _pages(job, _FEWER_LANES, words, even), key=_highest)
    return Document(f"Recording {job.recording.name}, {job.paper.speed} cm/min", tuple(pages))


def _pages(job: Job, lanes: int, words: bool, even: bool) -> list[Page]:
    windows = _windows(job, even)
    laid = arrange(job, windows, lanes)
    more = word_pages(job) if words and job.marks and not laid.complete else []
    total = len(windows) + len(more)
    pages = [strip_page(job, laid, window, n + 1, total) for n, window in enumerate(windows)]
    return [*pages, *(made(len(windows) + n + 1, total) for n, made in enumerate(more))]


def _highest(pages: Sequence[Page]) -> float:
    return max(page.height for page in pages)
