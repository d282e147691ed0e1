"""Opening recordings: the first page, uploads, the list, the samples."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request, UploadFile
from sse_starlette import EventSourceResponse
from starlette.responses import HTMLResponse, Response

from ebbline.web.changes import Change, Changes
from ebbline.web.errors import NotThereError
from ebbline.web.pages import page
from ebbline.web.principal import Principal, Role, principal_of
from ebbline.web.recordings.blind_service import read_blind_by
from ebbline.web.recordings.demo_cases import CASES, invented_recording
from ebbline.web.recordings.library import Library
from ebbline.web.recordings.schemas import (
    CardOut,
    ChannelOut,
    InventedIn,
    NameIn,
    RecordingOut,
    card_out,
    context_out,
)
from ebbline.web.samples import as_samples

router = APIRouter()

Who = Annotated[Principal, Depends(principal_of)]


def library_of(request: Request) -> Library:
    """The library of this workbench."""
    found: Library = request.app.state.library
    return found


Books = Annotated[Library, Depends(library_of)]


@router.get("/", response_class=HTMLResponse, include_in_schema=False)
def first_page(request: Request, books: Books, who: Who, search: str = "") -> HTMLResponse:
    """The first page: open a recording, or take one up again."""
    return page(
        request,
        "recordings/open.html",
        place="open",
        cards=books.cards(search),
        papers=request.app.state.papers.cards(),
        blind=read_blind_by(request.app.state.store, who.name),
        cases=CASES,
        search=search,
        most_mib=request.app.state.settings.limits.upload_bytes >> 20,
    )


@router.get("/api/recordings", tags=["recordings"])
def list_recordings(request: Request, books: Books, who: Who, search: str = "") -> list[CardOut]:
    """All opened recordings, the latest first; without classes where one reads blind."""
    blind = read_blind_by(request.app.state.store, who.name)
    return [
        card_out(replace(card, classes=()) if card.id in blind else card)
        for card in books.cards(search)
    ]


@router.post("/api/recordings", status_code=201, tags=["recordings"])
def upload(
    request: Request,
    files: list[UploadFile],
    who: Who,
    books: Books,
    paper_speed: Annotated[float | None, Form()] = None,
    paper_range: Annotated[str | None, Form()] = None,
    paper_traces: Annotated[int | None, Form()] = None,
) -> CardOut:
    """Open a recording: one file, an archive, or a header with its samples.

    Of a picture of paper: its speed in cm/min, the bpm of its lowest and highest line ("30-240")
    where the printed numbers are not read, and how many heart rates it shows.
    """
    from ebbline.recording import open_recording
    from ebbline.recording.paper_options import paper_options
    from ebbline.web.recordings.uploads import laid_out

    with laid_out(files, request.app.state.settings.limits) as path:
        recording = open_recording(
            path, **paper_options(paper_speed, paper_range, None, paper_traces)
        )
    return card_out(books.add(recording, by=who.name, invented=False))


@router.post("/api/invented", status_code=201, tags=["recordings"])
def invent(asked: InventedIn, who: Who, books: Books) -> CardOut:
    """Make one of the invented cases and open it."""
    recording = invented_recording(asked.case)
    return card_out(books.add(recording, by=who.name, invented=True))


@router.get("/api/recordings/{key}", tags=["recordings"])
def describe(key: str, books: Books) -> RecordingOut:
    """A recording's channels and context."""
    recording = books.recording(key)
    return RecordingOut(
        id=key,
        name=recording.name,
        start=recording.start,
        duration_s=recording.duration_s,
        fetuses=list(recording.fetuses),
        channels=[
            ChannelOut(
                number=number,
                kind=channel.kind.value,
                sensor=channel.sensor.value,
                fetus=channel.fetus,
                unit=channel.unit,
                label=channel.label,
                rate_hz=channel.rate_hz,
                count=len(channel.samples),
                samples_href=f"/api/recordings/{key}/channels/{number}/samples",
            )
            for number, channel in enumerate(recording.channels)
        ],
        context=context_out(recording.context),
        context_version=books.version(key),
        source=recording.provenance.source,
        notes=list(recording.provenance.notes),
    )


@router.delete(
    "/api/recordings/{key}", status_code=204, tags=["recordings"], response_class=Response
)
def remove(request: Request, key: str, who: Who, books: Books) -> Response:
    """Remove a recording with all that was written about it: by who opened it, or an admin."""
    if books.card(key).opened_by != who.name:
        needs_admin(who)
    books.remove(key)
    changed(request, key, "removed", who)
    return Response(status_code=204)


@router.put("/api/recordings/{key}/name", tags=["recordings"])
def rename(request: Request, key: str, who: Who, books: Books, wanted: NameIn) -> CardOut:
    """Give a recording another name; the one before stays on record."""
    card = books.rename(key, wanted.name, who.name)
    changed(request, key, "name", who)
    return card_out(card)


@router.get("/api/recordings/{key}/events", include_in_schema=False)
async def events(request: Request, key: str, _: Who) -> EventSourceResponse:
    """What is changed about a recording, as it happens, by whomever."""
    heard: Changes = request.app.state.changes
    return EventSourceResponse(heard.listen(key))


def changed(request: Request, key: str, what: str, who: Principal) -> None:
    """Tell every open page of a recording that something about it was changed."""
    heard: Changes = request.app.state.changes
    page_of = request.headers.get("x-ebbline-page", "")[:40]
    heard.tell(key, Change(what, who.name, page_of))


def needs_admin(who: Principal) -> None:
    """Refuse everyone but admins."""
    from fastapi import HTTPException

    if not who.may(Role.ADMIN):
        raise HTTPException(403, "only who opened a recording, or an admin, may remove it.")


@router.get(
    "/api/recordings/{key}/channels/{number}/samples",
    tags=["recordings"],
    response_class=Response,
    responses={200: {"content": {"application/octet-stream": {}}}},
)
def samples(request: Request, key: str, number: int, books: Books) -> Response:
    """One channel's samples: float32, little endian, NaN where missing."""
    channels = books.recording(key).channels
    if not 0 <= number < len(channels):
        raise NotThereError("there is no such channel.", where=f"channel {number}")
    # Samples never change, but who may see them does: ask each time, and with accounts keep none.
    guarded = request.app.state.settings.accounts
    tag = f'"{key}-{number}"'
    headers = (
        {"cache-control": "no-store"} if guarded else {"cache-control": "no-cache", "etag": tag}
    )
    if not guarded and request.headers.get("if-none-match") == tag:
        return Response(status_code=304, headers=headers)
    return as_samples(request, channels[number].samples, headers)
