"""The strip's page, and what is drawn on it: findings, marks, corrections."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

from fastapi import APIRouter, Body, Request
from starlette.responses import HTMLResponse

from ebbline.store import Store
from ebbline.web.pages import page
from ebbline.web.reading.corrections_service import Corrections
from ebbline.web.reading.marks_service import KINDS, add_mark, mark_items, withdraw_mark
from ebbline.web.reading.schemas import BlindOut, ChangeIn, FindingsOut, MarkIn
from ebbline.web.reading.service import Corrected
from ebbline.web.recordings.blind_service import reads_blind, refuse_blind, set_blind, spells
from ebbline.web.recordings.library import Library
from ebbline.web.recordings.routes import Books, Who, changed

router = APIRouter()


@router.get("/recordings/{key}", response_class=HTMLResponse, include_in_schema=False)
def strip_page(request: Request, key: str, books: Books, who: Who) -> HTMLResponse:
    """The strip with its reading."""
    return page(
        request,
        "reading/strip.html",
        place="open",
        card=books.card(key),
        recording=books.recording(key),
        part="strip",
        mark_kinds=list(KINDS.values()),
        blind=reads_blind(request.app.state.store, key, who.name),
        changes=request.app.state.changes.number(key),
    )


@router.get("/api/recordings/{key}/findings", tags=["reading"])
def findings(
    request: Request,
    key: str,
    books: Books,
    corrections: Corrected,
    who: Who,
    fetus: int = 1,
) -> FindingsOut:
    """What is drawn: computed findings, the reader's corrections, and marks.

    While the reader reads blind: their own marks only, nothing computed and nobody else's.
    """
    return _drawn(request.app.state.store, books, corrections, key, fetus, who.name)


def _drawn(
    store: Store,
    books: Library,
    corrections: Corrections,
    key: str,
    fetus: int,
    reader: str,
) -> FindingsOut:
    from ebbline.reading.summary import summarise
    from ebbline.terms import Window
    from ebbline.web.reading.presenters import baseline_curve, column_cells, finding_items

    computed = books.findings_of(key, fetus)
    marks = mark_items(store, key, fetus, reader)
    if reads_blind(store, key, reader):
        own = [mark for mark in marks if mark.layer == "own"]
        return FindingsOut(fetus=fetus, items=own, baseline=None, columns=[])
    items = finding_items(computed)
    corrected = corrections.applied(key, fetus, reader)
    if corrected is not None:
        for item in items:
            item.struck = corrected.struck.get(item.id, "")
        items += corrected.items
    shown = computed if corrected is None else corrected.findings
    columns = summarise(shown, Window(0.0, computed.duration_s)).columns
    return FindingsOut(
        fetus=fetus,
        items=items + marks,
        baseline=baseline_curve(computed),
        columns=column_cells(columns),
    )


@router.post("/api/recordings/{key}/blind", tags=["reading"])
def read_blind(
    request: Request,
    key: str,
    books: Books,
    who: Who,
    blind: Annotated[bool, Body(embed=True)],
) -> list[BlindOut]:
    """Begin reading blind, or break it; both are kept with the time."""
    books.card(key)
    store = request.app.state.store
    set_blind(store, key, who.name, blind)
    changed(request, key, "blind", who)
    return [BlindOut(**asdict(one)) for one in spells(store, key)]


@router.post("/api/recordings/{key}/marks", status_code=201, tags=["reading"])
def mark(
    request: Request,
    key: str,
    books: Books,
    corrections: Corrected,
    who: Who,
    made: MarkIn,
) -> FindingsOut:
    """Keep a mark or a note of one's own, and draw anew."""
    books.findings_of(key, made.fetus)
    store = request.app.state.store
    add_mark(store, key, books.card(key).duration_s, who, made)
    changed(request, key, "marks", who)
    return _drawn(store, books, corrections, key, made.fetus, who.name)


@router.post("/api/recordings/{key}/marks/{number}/withdraw", tags=["reading"])
def unmark(
    request: Request,
    key: str,
    number: int,
    books: Books,
    corrections: Corrected,
    who: Who,
    fetus: Annotated[int, Body(embed=True)] = 1,
) -> FindingsOut:
    """Take a mark of one's own back."""
    store = request.app.state.store
    withdraw_mark(store, key, number, who)
    changed(request, key, "marks", who)
    return _drawn(store, books, corrections, key, fetus, who.name)


@router.post("/api/recordings/{key}/corrections", status_code=201, tags=["reading"])
def correct(
    request: Request,
    key: str,
    books: Books,
    corrections: Corrected,
    who: Who,
    change: ChangeIn,
    fetus: int = 1,
) -> FindingsOut:
    """Correct a computed finding; the criteria run again at once."""
    refuse_blind(request.app.state.store, key, who.name)
    corrections.keep(key, fetus, who, change)
    changed(request, key, "corrections", who)
    store = request.app.state.store
    return _drawn(store, books, corrections, key, fetus, who.name)


@router.post("/api/recordings/{key}/corrections/{number}/withdraw", tags=["reading"])
def uncorrect(
    request: Request,
    key: str,
    number: int,
    books: Books,
    corrections: Corrected,
    who: Who,
    fetus: Annotated[int, Body(embed=True)] = 1,
) -> FindingsOut:
    """Take a correction of one's own back; it stays on record."""
    corrections.withdraw(key, number, who)
    changed(request, key, "corrections", who)
    store = request.app.state.store
    return _drawn(store, books, corrections, key, fetus, who.name)
