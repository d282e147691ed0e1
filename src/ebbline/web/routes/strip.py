"""The strip's page, and what is drawn on it."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from ebbline.web.library import NotThereError
from ebbline.web.pages import page
from ebbline.web.routes.recordings import Books
from ebbline.web.shapes import FindingsOut

router = APIRouter()


@router.get("/recordings/{key}", response_class=HTMLResponse, include_in_schema=False)
def strip_page(request: Request, key: str, books: Books) -> HTMLResponse:
    """The strip with its reading."""
    return page(
        request,
        "strip.html",
        place="open",
        card=books.card(key),
        recording=books.recording(key),
        part="strip",
    )


@router.get("/api/recordings/{key}/findings", tags=["reading"])
def findings(key: str, books: Books, fetus: int = 1) -> FindingsOut:
    """Every computed finding of one fetus, the baseline and the ten-minute columns."""
    from ebbline.web.views import baseline_curve, column_cells, finding_items

    found = books.findings(key)
    if fetus not in found:
        raise NotThereError("there is no such fetus in this recording.", where=f"fetus {fetus}")
    one = found[fetus]
    return FindingsOut(
        fetus=fetus,
        items=finding_items(one),
        baseline=baseline_curve(one),
        columns=column_cells(books.columns(key, fetus)),
    )
