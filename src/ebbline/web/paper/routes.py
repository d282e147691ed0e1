"""Strips on paper: pictures in, what was read laid over them, corrections, a recording."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Depends, Form, Request, UploadFile
from starlette.responses import HTMLResponse, Response

from ebbline.errors import EbblineError
from ebbline.web.errors import StaleError
from ebbline.web.pages import page
from ebbline.web.paper.schemas import (
    AnswersIn,
    LineOut,
    PaperOut,
    PaperReadOut,
    PaperSaidIn,
    PictureOut,
    PictureReadOut,
    PictureSaidIn,
    TakeIn,
)
from ebbline.web.paper.service import PaperCard, Papers, PictureRead
from ebbline.web.recordings.routes import Books, Who, needs_admin
from ebbline.web.recordings.schemas import CardOut, card_out

if TYPE_CHECKING:
    from ebbline.recording.paper.reading import PaperReading, PaperTrace

router = APIRouter()


def papers_of(request: Request) -> Papers:
    """The strips on paper of this workbench."""
    found: Papers = request.app.state.papers
    return found


Kept = Annotated[Papers, Depends(papers_of)]


@router.get("/papers/{key}", response_class=HTMLResponse, include_in_schema=False)
def paper_page(request: Request, key: str, kept: Kept, _: Who) -> HTMLResponse:
    """The picture with what was read laid over it."""
    return page(request, "paper/paper.html", place="open", paper=kept.card(key))


@router.post("/api/papers", status_code=201, tags=["paper"])
def upload(
    request: Request,
    files: list[UploadFile],
    who: Who,
    kept: Kept,
    paper_speed: Annotated[float | None, Form()] = None,
    paper_range: Annotated[str | None, Form()] = None,
    paper_traces: Annotated[int | None, Form()] = None,
) -> PaperOut:
    """Keep the pictures of one strip, in the order of time, to be read and corrected.

    What is said of the paper can be said later too: its speed in cm/min, the bpm of its lowest and
    highest line ("30-240"), and how many heart rates it shows.
    """
    from ebbline.recording.paper_options import paper_options
    from ebbline.web.recordings.uploads import laid_out_each

    told = paper_options(paper_speed, paper_range, None, paper_traces)
    answers = AnswersIn(
        speed=told.get("paper_speed"),
        low=told.get("paper_low"),
        high=told.get("paper_high"),
        fetuses=told.get("paper_traces", 1),
    )
    with laid_out_each(files, request.app.state.settings.limits) as paths:
        key = kept.add(paths, answers.model_dump(), by=who.name)
    return _paper(kept.card(key))


@router.get("/api/papers", tags=["paper"])
def list_papers(kept: Kept, _: Who) -> list[PaperOut]:
    """All strips on paper, the latest first."""
    return [_paper(card) for card in kept.cards()]


@router.get("/api/papers/{key}", tags=["paper"])
def describe(key: str, kept: Kept, _: Who) -> PaperOut:
    """A strip's pictures, and what is said of them."""
    return _paper(kept.card(key))


@router.get(
    "/api/papers/{key}/pictures/{number}",
    tags=["paper"],
    response_class=Response,
    responses={200: {"content": {"image/jpeg": {}}}},
)
def picture(key: str, number: int, kept: Kept, _: Who) -> Response:
    """One picture, as JPEG."""
    return Response(
        kept.view(key, number), media_type="image/jpeg", headers={"cache-control": "no-store"}
    )


@router.get("/api/papers/{key}/reading", tags=["paper"])
def reading(key: str, kept: Kept, _: Who) -> PaperReadOut:
    """What is read on each picture as it is corrected now; seconds, where it is not yet known."""
    return _read(kept, kept.card(key))


@router.put("/api/papers/{key}", tags=["paper"])
def say(key: str, asked: PaperSaidIn, kept: Kept, who: Who) -> PaperOut:
    """Say anew what holds of the paper: its scale, corners, what is no trace, what was missed."""
    said: dict[str, Any] = asked.model_dump(include={"answers", "pictures"})
    return _paper(kept.say(key, asked.version, said, by=who.name))


@router.post("/api/papers/{key}/recording", status_code=201, tags=["paper"])
def take(key: str, asked: TakeIn, kept: Kept, books: Books, who: Who) -> CardOut:
    """Open what was read, as it is corrected, as a new recording."""
    card = kept.card(key)
    if card.version != asked.version:
        raise StaleError(
            "this strip was corrected since you looked at it.",
            where=card.name,
            remedy="Load the page anew and look at it.",
        )
    made = books.add(kept.recording(card, by=who.name), by=who.name, invented=False)
    kept.taken(key, card.version, made.id)
    return card_out(made)


@router.delete("/api/papers/{key}", status_code=204, tags=["paper"], response_class=Response)
def remove(key: str, kept: Kept, who: Who) -> Response:
    """Remove a strip's pictures and corrections: by who opened it, or an admin.

    Recordings that were made of it stay.
    """
    if kept.card(key).opened_by != who.name:
        needs_admin(who)
    kept.remove(key)
    return Response(status_code=204)


def _paper(card: PaperCard) -> PaperOut:
    pictures = [
        PictureOut(
            number=one.number,
            name=one.name,
            width=one.width,
            height=one.height,
            href=f"/api/papers/{card.id}/pictures/{one.number}",
        )
        for one in card.pictures
    ]
    return PaperOut(
        id=card.id,
        href=f"/papers/{card.id}",
        name=card.name,
        opened_at=card.opened_at,
        opened_by=card.opened_by,
        version=card.version,
        author=card.author,
        answers=AnswersIn(**card.said["answers"]),
        pictures=pictures,
        said=[PictureSaidIn(**one) for one in card.said["pictures"]],
        recording_href=f"/recordings/{card.recording_id}" if card.recording_id else "",
    )


def _read(kept: Papers, card: PaperCard) -> PaperReadOut:
    read = kept.read(card)
    pictures = [_picture(one) for one in read]
    left_out = [said for one in read if one.reading for said in _more_strips(one.reading)]
    problem, remedy, duration_s = "", "", 0.0
    doubts: tuple[str, ...] = ()
    extent = ""
    try:
        whole = kept.joined(card)
        duration_s = len(whole.heart[0].values) / whole.rate_hz
        left_out += whole.left_out
        doubts, extent = whole.doubts, whole.extent
    except EbblineError as error:
        problem = f"{error.where}: {error.what}" if len(pictures) > 1 else error.what
        remedy = error.remedy
    return PaperReadOut(
        version=card.version,
        pictures=pictures,
        left_out=left_out,
        doubts=list(doubts),
        extent=extent,
        problem=problem,
        remedy=remedy,
        duration_s=duration_s,
    )


def _picture(one: PictureRead) -> PictureReadOut:
    found, problem = one.reading, one.problem
    if found is None:
        return PictureReadOut(
            problem=problem.what if problem else "",
            remedy=problem.remedy if problem else "",
            corners=None,
            lines=[],
            said=[],
            minutes=[],
        )
    lines = [_line(trace, fetus) for fetus, trace in enumerate(found.heart, start=1)]
    if found.activity is not None:
        lines.append(_line(found.activity, 0))
    return PictureReadOut(
        problem="",
        remedy="",
        corners=_corners(found),
        lines=lines,
        said=[*_more_strips(found), *found.left_out, *found.said, *found.doubts],
        minutes=[round(float(one), 2) for one in found.minutes],
    )


def _more_strips(found: PaperReading) -> list[str]:
    """A sentence where more strips stand on the picture than the one that is read here."""
    count = found.papers[0].strips
    if count == 1:
        return []
    return [
        f"{count} strips stand on this picture, one below the other: only the first is read here. "
        "Open a picture of each of them."
    ]


def _line(trace: PaperTrace, fetus: int) -> LineOut:
    import numpy as np

    # A sample without a value, or between two columns of the picture, has no place of its own.
    there = np.isfinite(trace.values)
    known = np.flatnonzero(np.isfinite(trace.x) & np.isfinite(trace.y))
    at = np.arange(len(there))
    if len(known):
        x, y = (np.interp(at, known, one[known]) for one in (trace.x, trace.y))
    else:
        x = y = np.zeros(len(there))

    def told(values: Any) -> list[float | None]:
        return [round(float(v), 1) if t else None for v, t in zip(values, there, strict=True)]

    return LineOut(
        fetus=fetus,
        x=told(x),
        y=told(y),
        sure=[round(float(one), 2) for one in np.nan_to_num(trace.certainty)],
    )


def _corners(found: PaperReading) -> list[tuple[float, float]]:
    import numpy as np

    paper = found.papers[0]
    left, right, top, bottom = (float(one) for one in paper.lines)
    x, y = paper.warp.original(
        np.array([left, right, right, left]), np.array([top, top, bottom, bottom])
    )
    return [(round(float(a), 1), round(float(b), 1)) for a, b in zip(x, y, strict=True)]
