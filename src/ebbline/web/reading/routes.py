"""The reading of any window: computed, corrected, against one's own marks; the labour's context."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from ebbline.store import Store
from ebbline.terms import Stage
from ebbline.web.pages import page
from ebbline.web.reading.schemas import CorrectionOut, DifferenceOut, ReadingPairOut
from ebbline.web.reading.service import Corrected, From, reading_with_corrections, window_asked
from ebbline.web.recordings.blind_service import reads_blind, refuse_blind, spells
from ebbline.web.recordings.library import Library
from ebbline.web.recordings.routes import Books, Who, changed
from ebbline.web.recordings.schemas import ContextIn, KnownOut, known_out

router = APIRouter()


@router.get("/api/recordings/{key}/reading", tags=["reading"])
def reading(
    request: Request,
    key: str,
    books: Books,
    corrections: Corrected,
    who: Who,
    from_s: From = None,
    to_s: From = None,
    fetus: int = 1,
) -> ReadingPairOut:
    """The reading of a window (the last half hour when none is given), computed and corrected."""
    from ebbline.web.reading.reading_presenter import said

    refuse_blind(request.app.state.store, key, who.name)
    window = window_asked(from_s, to_s)
    computed, corrected, lost = reading_with_corrections(
        books, corrections, key, window, fetus, who.name
    )
    fetal = next(one for one in computed.fetuses if one.fetus == fetus)
    return ReadingPairOut(
        computed=said(computed, fetal, "computed"),
        corrected=None if corrected is None else said(corrected, corrected.fetuses[0], who.name),
        lost=lost,
    )


@router.get("/api/recordings/{key}/corrections", tags=["reading"])
def list_corrections(
    request: Request, key: str, books: Books, corrections: Corrected, who: Who, fetus: int = 1
) -> list[CorrectionOut]:
    """Everyone's corrections, with who and when, also those taken back."""
    refuse_blind(request.app.state.store, key, who.name)
    books.findings_of(key, fetus)
    return corrections.of(key, fetus)


@router.get("/api/recordings/{key}/differences", tags=["reading"])
def compare(
    request: Request,
    key: str,
    books: Books,
    who: Who,
    from_s: From = None,
    to_s: From = None,
    fetus: int = 1,
) -> list[DifferenceOut]:
    """One's own marks against the computed findings of a window."""
    refuse_blind(request.app.state.store, key, who.name)
    return _differences(request.app.state.store, books, key, who.name, from_s, to_s, fetus)


def _differences(
    store: Store,
    books: Library,
    key: str,
    reader: str,
    from_s: float | None,
    to_s: float | None,
    fetus: int,
) -> list[DifferenceOut]:
    from ebbline.web.reading.marks_service import differences, mark_items

    window = window_asked(from_s, to_s) or books.reading(key).window
    marks = mark_items(store, key, fetus, reader)
    return differences(books.findings_of(key, fetus), marks, window.start_s, window.end_s)


@router.get("/recordings/{key}/panel", response_class=HTMLResponse, include_in_schema=False)
def panel(
    request: Request,
    key: str,
    books: Books,
    corrections: Corrected,
    who: Who,
    from_s: From = None,
    to_s: From = None,
    fetus: int = 1,
) -> HTMLResponse:
    """The panel beside the strip, as a piece of a page."""
    from ebbline.reading.text import Clock
    from ebbline.web.reading.marks_service import mark_items

    store = request.app.state.store
    blind = reads_blind(store, key, who.name)
    marks = [m for m in mark_items(store, key, fetus, who.name) if not blind or m.layer == "own"]
    recording = books.recording(key)
    clock = Clock(recording.start)
    shared: dict[str, Any] = {
        "key": key,
        "fetus": fetus,
        "fetuses": recording.fetuses,
        "marks": marks,
        "at": clock.at,
        "known": books.known_before(key),
        "spells": spells(store, key),
        "reader": who.name,
        "provenance": recording.provenance,
        "stages": [stage.value for stage in Stage],
    }
    if blind:
        return page(request, "reading/panel_blind.html", **shared)
    pair = reading(request, key, books, corrections, who, from_s, to_s, fetus)
    return page(
        request,
        "reading/panel.html",
        pair=pair,
        differences=_differences(store, books, key, who.name, from_s, to_s, fetus),
        corrections=corrections.of(key, fetus),
        **shared,
    )


@router.put("/api/recordings/{key}/context", tags=["reading"])
def change_context(
    request: Request, key: str, books: Books, who: Who, known: ContextIn
) -> KnownOut:
    """Say what is known of the labour; everything is read anew.

    Answers 409 with what holds now where someone else said something in the meantime.
    """
    from ebbline.recording.model import Context

    context = Context(**known.model_dump(exclude={"version"}))
    kept = books.change_context(key, context, version=known.version, by=who.name)
    changed(request, key, "labour", who)
    return known_out(kept)


@router.get("/api/recordings/{key}/context", tags=["reading"])
def list_context(key: str, books: Books) -> list[KnownOut]:
    """Everything that was said of the labour, with who and when, the oldest first."""
    return [known_out(one) for one in books.known_before(key)]
