"""The reading of any window: computed, corrected, against one's own marks; the labour's context."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field
from starlette.responses import HTMLResponse

from ebbline.store import Store
from ebbline.terms import Stage
from ebbline.web.pages import page
from ebbline.web.reading.schemas import CorrectionOut, DifferenceOut, ReadingPairOut
from ebbline.web.reading.service import Corrected, From, reading_with_corrections, window_asked
from ebbline.web.recordings.library import Library
from ebbline.web.recordings.routes import Books, ContextOut, Who, context_out
from ebbline.web.schemas import Finite

router = APIRouter()


@router.get("/api/recordings/{key}/reading", tags=["reading"])
def reading(
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
    key: str, books: Books, corrections: Corrected, fetus: int = 1
) -> list[CorrectionOut]:
    """Everyone's corrections, with who and when, also those taken back."""
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
    blind: bool = False,
) -> HTMLResponse:
    """The panel beside the strip, as a piece of a page."""
    from ebbline.reading.text import Clock
    from ebbline.web.reading.marks_service import mark_items

    store = request.app.state.store
    marks = [m for m in mark_items(store, key, fetus, who.name) if not blind or m.layer == "own"]
    recording = books.recording(key)
    clock = Clock(recording.start)
    shared: dict[str, Any] = {
        "key": key,
        "fetus": fetus,
        "fetuses": recording.fetuses,
        "marks": marks,
        "at": clock.at,
        "context": recording.context,
        "provenance": recording.provenance,
        "stages": [stage.value for stage in Stage],
    }
    if blind:
        return page(request, "reading/panel_blind.html", **shared)
    pair = reading(key, books, corrections, who, from_s, to_s, fetus)
    return page(
        request,
        "reading/panel.html",
        pair=pair,
        differences=_differences(store, books, key, who.name, from_s, to_s, fetus),
        corrections=corrections.of(key, fetus),
        reader=who.name,
        duration_s=recording.duration_s,
        **shared,
    )


class ContextIn(BaseModel):
    """What is known of the labour; null is unknown, never 'no'."""

    weeks: Annotated[Finite | None, Field(ge=20, le=45)] = None
    stage: Stage = Stage.UNKNOWN
    second_stage_start_s: Annotated[Finite | None, Field(ge=0)] = None
    oxytocin: bool | None = None
    epidural: bool | None = None
    parity: Annotated[int | None, Field(ge=0, le=20)] = None
    meconium: bool | None = None
    fever: bool | None = None


@router.put("/api/recordings/{key}/context", tags=["reading"])
def change_context(key: str, books: Books, known: ContextIn) -> ContextOut:
    """Say what is known of the labour; everything is read anew."""
    from ebbline.recording.model import Context

    books.change_context(key, Context(**known.model_dump()))
    return context_out(books.recording(key).context)
