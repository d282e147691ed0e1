"""The reading of any window: computed, corrected, against one's own marks; the labour's context."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, UploadFile
from starlette.responses import HTMLResponse, Response

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
    return differences(books.findings_of(key, fetus), marks, window)


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


@router.get(
    "/api/recordings/{key}/marks.atr",
    tags=["reading"],
    response_class=Response,
    responses={200: {"content": {"application/octet-stream": {}}}},
)
def marks_file(request: Request, key: str, books: Books, who: Who, fetus: int = 1) -> Response:
    """One's own marks as WFDB annotations."""
    from ebbline.web.reading.annotations import annotations_of, file_of
    from ebbline.web.reading.marks_service import mark_items

    books.findings_of(key, fetus)
    marks = mark_items(request.app.state.store, key, fetus, who.name)
    own = [one for one in marks if one.layer == "own"]
    return _atr(file_of(annotations_of(own), books.recording(key)), "marks")


@router.get(
    "/api/recordings/{key}/findings.atr",
    tags=["reading"],
    response_class=Response,
    responses={200: {"content": {"application/octet-stream": {}}}},
)
def findings_file(
    request: Request, key: str, books: Books, corrections: Corrected, who: Who, fetus: int = 1
) -> Response:
    """The findings as WFDB annotations; the first one says whose corrections are in them."""
    from ebbline.reading.marks import annotations_of
    from ebbline.recording.model import Annotation
    from ebbline.web.reading.annotations import file_of

    refuse_blind(request.app.state.store, key, who.name)
    computed, corrected, _ = reading_with_corrections(
        books, corrections, key, None, fetus, who.name
    )
    whose = "findings as computed by Ebbline"
    if corrected is not None:
        whose = f"findings of Ebbline with the corrections of {who.name}"
    # A note at the very first sample is taken by some readers for a definition, and left out.
    found = [Annotation(1.0, 0.0, whose), *annotations_of(corrected or computed)]
    return _atr(file_of(found, books.recording(key)), "findings")


def _atr(data: bytes, name: str) -> Response:
    headers = {"content-disposition": f'attachment; filename="{name}.atr"'}
    return Response(data, media_type="application/octet-stream", headers=headers)


@router.post("/api/recordings/{key}/annotations", status_code=201, tags=["reading"])
def take_annotations(
    request: Request, key: str, books: Books, who: Who, file: UploadFile, fetus: int = 1
) -> dict[str, int]:
    """Take the annotations of a WFDB file in as one's own marks and notes; all of them or none."""
    from ebbline.web.reading.annotations import marks_in
    from ebbline.web.reading.marks_service import add_marks

    books.findings_of(key, fetus)
    recording = books.recording(key)
    made = marks_in(file.file.read(), file.filename or "the file", recording, fetus)
    add_marks(request.app.state.store, key, recording.duration_s, who, made)
    changed(request, key, "marks", who)
    return {"marks": len(made)}
