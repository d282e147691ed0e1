"""Readings of a window: the computed one, and the one with a reader's corrections."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fastapi import Depends, Query, Request

from ebbline.errors import ContextError
from ebbline.web.reading.corrections_service import Corrections

if TYPE_CHECKING:
    from ebbline.reading.model import Reading
    from ebbline.terms import Window
    from ebbline.web.recordings.library import Library

From = Annotated[float | None, Query(allow_inf_nan=False)]
SHORTEST_WINDOW_S = 60.0


def corrections_of(request: Request) -> Corrections:
    """The corrections of this workbench."""
    found: Corrections = request.app.state.corrections
    return found


Corrected = Annotated[Corrections, Depends(corrections_of)]


def window_asked(from_s: float | None, to_s: float | None) -> Window | None:
    """The window of a request; None for the usual one. Raises ContextError."""
    from ebbline.terms import Window

    if from_s is None and to_s is None:
        return None
    if from_s is None or to_s is None:
        raise ContextError("a window needs a start and an end.", where="from_s, to_s")
    if to_s - from_s < SHORTEST_WINDOW_S:
        raise ContextError(
            "the window is shorter than a minute.", remedy="Choose a longer stretch to read."
        )
    return Window(from_s, to_s)


def reading_with_corrections(
    books: Library,
    corrections: Corrections,
    key: str,
    window: Window | None,
    fetus: int,
    reader: str,
) -> tuple[Reading, Reading | None, list[str]]:
    """The computed reading, the reader's corrected one if there is one, and what no longer fits."""
    from ebbline.reading.analyse import read_findings

    books.findings_of(key, fetus)
    computed = books.reading(key, window)
    made = corrections.applied(key, fetus, reader)
    if made is None:
        return computed, None, []
    corrected = read_findings(
        books.recording(key), [made.findings], window=computed.window, by_hand=True
    )
    return computed, corrected, made.lost
