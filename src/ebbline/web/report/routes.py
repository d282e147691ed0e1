"""The report of any window: a page to choose it on, the PDF, the FHIR bundle."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from ebbline.store import now
from ebbline.terms import Window
from ebbline.web.errors import NotThereError
from ebbline.web.examination.routes import latest_examination
from ebbline.web.held import Held
from ebbline.web.pages import page
from ebbline.web.reading.service import Corrected, From, reading_with_corrections, window_asked
from ebbline.web.recordings.blind_service import refuse_blind
from ebbline.web.recordings.library import Library
from ebbline.web.recordings.routes import Books, Who

if TYPE_CHECKING:
    from ebbline.picture.canvas import Document
    from ebbline.web.reading.corrections_service import Corrections
    from ebbline.web.report.parts import ReportParts

router = APIRouter()

PREVIEW_DPI = 110


class Wanted:
    """What was chosen for a report."""

    def __init__(
        self,
        from_s: From = None,
        to_s: From = None,
        fetus: int = 1,
        speed: Annotated[int, Query(ge=1, le=3)] = 1,
        exam: bool = True,
        marks: bool = True,
        corrections: bool = True,
        identifier: Annotated[str, Query(max_length=80)] = "",
    ) -> None:
        self.from_s = from_s
        self.to_s = to_s
        self.fetus = fetus
        self.speed = speed
        self.exam = exam
        self.marks = marks
        self.corrections = corrections
        self.identifier = "".join(c for c in identifier if c.isprintable()).strip()


Choice = Annotated[Wanted, Depends()]


@router.get("/recordings/{key}/report", response_class=HTMLResponse, include_in_schema=False)
def report_page(request: Request, key: str, books: Books, who: Who) -> HTMLResponse:
    """Where a report is chosen and looked at."""
    refuse_blind(request.app.state.store, key, who.name)
    return page(
        request,
        "report/report.html",
        place="open",
        part="report",
        card=books.card(key),
        recording=books.recording(key),
        exam=latest_examination(request.app.state.store, key),
        usual=books.reading(key).window,
    )


def _document(request: Request, books: Library, key: str, who: Who, wanted: Wanted) -> Document:
    from ebbline.web.report.document import report

    parts = _parts(request, books, key, who, wanted)
    made_of = (
        key,
        *vars(wanted).values(),
        parts.recording.context,
        parts.exam_words,
        tuple(mark.id for mark in parts.marks),
        tuple((one.id, one.withdrawn_at) for one in parts.corrections),
        who.name,
    )
    held: Held[Document] = request.app.state.reports
    return held.get(made_of, lambda: report(parts))


def _parts(request: Request, books: Library, key: str, who: Who, wanted: Wanted) -> ReportParts:
    from ebbline.bedside import examine
    from ebbline.web.examination.service import context_of
    from ebbline.web.reading.marks_service import differences, mark_items
    from ebbline.web.report.parts import ReportParts

    store = request.app.state.store
    refuse_blind(store, key, who.name)
    corrections: Corrections = request.app.state.corrections
    window = window_asked(wanted.from_s, wanted.to_s)
    computed, corrected, _ = reading_with_corrections(
        books, corrections, key, window, wanted.fetus, who.name
    )
    saved = latest_examination(store, key) if wanted.exam else None
    start, end = computed.window.start_s, computed.window.end_s
    marks = [
        mark
        for mark in (mark_items(store, key, wanted.fetus, who.name) if wanted.marks else [])
        if mark.layer == "own" and mark.end_s > start and mark.start_s < end
    ]
    found = books.findings_of(key, wanted.fetus)
    return ReportParts(
        recording=books.recording(key),
        computed=computed,
        corrected=corrected if wanted.corrections else None,
        fetus=wanted.fetus,
        speed_cm_per_min=wanted.speed,
        reader=who.name,
        made_at=now(),
        exam=None if saved is None else examine(saved.findings, context_of(saved.context)),
        exam_words=""
        if saved is None
        else f"Examined by {saved.author}, {saved.made_at.astimezone():%d %b %Y, %H:%M}.",
        marks=marks,
        differences=differences(found, marks, Window(start, end)) if marks else [],
        corrections=corrections.of(key, wanted.fetus) if wanted.corrections else [],
        identifier=wanted.identifier,
    )


@router.get(
    "/api/recordings/{key}/report.pdf",
    tags=["report"],
    response_class=Response,
    responses={200: {"content": {"application/pdf": {}}}},
)
def report_pdf(request: Request, key: str, books: Books, who: Who, wanted: Choice) -> Response:
    """The report as PDF."""
    from ebbline.picture.pdf import pdf

    document = _document(request, books, key, who, wanted)
    name = _file_name(books.card(key).name)
    headers = {"content-disposition": f'attachment; filename="{name} report.pdf"'}
    return Response(pdf(document), media_type="application/pdf", headers=headers)


@router.get("/recordings/{key}/report/pages", include_in_schema=False)
def report_pages(
    request: Request, key: str, books: Books, who: Who, wanted: Choice
) -> dict[str, Any]:
    """How many pages it has, and of which window, for the preview."""
    document = _document(request, books, key, who, wanted)
    return {"pages": len(document.pages), "title": document.title}


@router.get("/recordings/{key}/report/pages/{number}.png", include_in_schema=False)
def report_preview(
    request: Request, key: str, number: int, books: Books, who: Who, wanted: Choice
) -> Response:
    """One page of the report as a picture."""
    from ebbline.picture.png import png

    pages = _document(request, books, key, who, wanted).pages
    if not 1 <= number <= len(pages):
        raise NotThereError("the report has no such page.", where=f"page {number}")
    return Response(png(pages[number - 1], PREVIEW_DPI), media_type="image/png")


@router.get("/api/recordings/{key}/fhir.json", tags=["report"], response_class=JSONResponse)
def report_fhir(
    request: Request, key: str, books: Books, corrections: Corrected, who: Who, wanted: Choice
) -> JSONResponse:
    """The reading and the channels of the window as an HL7 FHIR R4 bundle."""
    from ebbline.web.report.fhir import Corrected as CorrectedReading
    from ebbline.web.report.fhir import bundle

    refuse_blind(request.app.state.store, key, who.name)
    window = window_asked(wanted.from_s, wanted.to_s)
    computed, corrected, _ = reading_with_corrections(
        books, corrections, key, window, wanted.fetus, who.name
    )
    theirs = None
    if wanted.corrections and corrected is not None:
        standing = corrections.of(key, wanted.fetus, author=who.name, standing=True)
        theirs = CorrectedReading(corrected, who.name, standing)
    data: dict[str, Any] = bundle(
        books.recording(key),
        computed,
        corrected=theirs,
        fetus=wanted.fetus,
        identifier=wanted.identifier,
    )
    name = _file_name(books.card(key).name)
    headers = {"content-disposition": f'attachment; filename="{name} fhir.json"'}
    return JSONResponse(data, headers=headers, media_type="application/fhir+json")


def _file_name(name: str) -> str:
    return re.sub(r"[^A-Za-z0-9 ._-]+", "-", name).strip(" .") or "recording"
