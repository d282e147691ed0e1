"""Opening recordings: the first page, uploads, the list, the samples."""

from __future__ import annotations

import gzip
from datetime import datetime
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Depends, Request, UploadFile
from pydantic import BaseModel
from starlette.responses import HTMLResponse, Response

from ebbline.web.errors import NotThereError
from ebbline.web.pages import page
from ebbline.web.principal import Principal, Role, principal_of
from ebbline.web.recordings.demo_cases import CASES, invented_recording
from ebbline.web.recordings.library import Card, Library

if TYPE_CHECKING:
    from ebbline.recording.model import Context

router = APIRouter()

Who = Annotated[Principal, Depends(principal_of)]


def library_of(request: Request) -> Library:
    """The library of this workbench."""
    found: Library = request.app.state.library
    return found


Books = Annotated[Library, Depends(library_of)]


class ClassOut(BaseModel):
    """One standard's class of one fetus in the window that the list was made from."""

    standard: str
    label: str
    rank: int
    fetus: int


class CardOut(BaseModel):
    """A recording in the list. problem: why it could not be read, else empty."""

    id: str
    href: str
    name: str
    opened_at: datetime
    opened_by: str
    invented: bool
    duration_s: float
    fetuses: int
    valid_share: float | None
    window_s: tuple[float, float] | None
    classes: list[ClassOut]
    problem: str


def card_out(card: Card) -> CardOut:
    """The card as data."""
    return CardOut(
        id=card.id,
        href=f"/recordings/{card.id}",
        name=card.name,
        opened_at=card.opened_at,
        opened_by=card.opened_by,
        invented=card.invented,
        duration_s=card.duration_s,
        fetuses=card.fetuses,
        valid_share=card.valid_share,
        window_s=card.window_s,
        classes=[
            ClassOut(standard=c.standard, label=c.label, rank=c.rank, fetus=c.fetus)
            for c in card.classes
        ],
        problem=card.problem,
    )


class ChannelOut(BaseModel):
    """One channel's description. samples_href: its samples, float32 little endian, NaN missing."""

    number: int
    kind: str
    sensor: str
    fetus: int
    unit: str
    label: str
    rate_hz: float
    count: int
    samples_href: str


class ContextOut(BaseModel):
    """What is known of the labour; null is unknown."""

    weeks: float | None
    stage: str
    second_stage_start_s: float | None
    oxytocin: bool | None
    epidural: bool | None
    parity: int | None
    meconium: bool | None
    fever: bool | None


def context_out(context: Context) -> ContextOut:
    """The context as data."""
    return ContextOut(
        weeks=context.weeks,
        stage=context.stage.value,
        second_stage_start_s=context.second_stage_start_s,
        oxytocin=context.oxytocin,
        epidural=context.epidural,
        parity=context.parity,
        meconium=context.meconium,
        fever=context.fever,
    )


class RecordingOut(BaseModel):
    """A recording without its samples."""

    id: str
    name: str
    start: datetime | None
    duration_s: float
    fetuses: list[int]
    channels: list[ChannelOut]
    context: ContextOut
    source: str
    notes: list[str]


@router.get("/", response_class=HTMLResponse, include_in_schema=False)
def first_page(request: Request, books: Books, search: str = "") -> HTMLResponse:
    """The first page: open a recording, or take one up again."""
    return page(
        request,
        "recordings/open.html",
        place="open",
        cards=books.cards(search),
        cases=CASES,
        search=search,
        most_mib=request.app.state.settings.limits.upload_bytes >> 20,
    )


@router.get("/health", include_in_schema=False)
def health() -> dict[str, str]:
    """For the operator's proxy: answers while the workbench runs."""
    return {"state": "running"}


@router.get("/api/recordings", tags=["recordings"])
def list_recordings(books: Books, search: str = "") -> list[CardOut]:
    """All opened recordings, the latest first."""
    return [card_out(card) for card in books.cards(search)]


@router.post("/api/recordings", status_code=201, tags=["recordings"])
def upload(request: Request, files: list[UploadFile], who: Who, books: Books) -> CardOut:
    """Open a recording: one file, an archive, or a header with its samples."""
    from ebbline.recording import open_recording
    from ebbline.web.recordings.uploads import laid_out

    with laid_out(files, request.app.state.settings.limits) as path:
        recording = open_recording(path)
    return card_out(books.add(recording, by=who.name, invented=False))


class InventedIn(BaseModel):
    """Which invented case to make."""

    case: str


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
        source=recording.provenance.source,
        notes=list(recording.provenance.notes),
    )


@router.delete(
    "/api/recordings/{key}", status_code=204, tags=["recordings"], response_class=Response
)
def remove(key: str, who: Who, books: Books) -> Response:
    """Remove a recording with all that was written about it: by who opened it, or an admin."""
    if books.card(key).opened_by != who.name:
        needs_admin(who)
    books.remove(key)
    return Response(status_code=204)


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
    import numpy as np

    channels = books.recording(key).channels
    if not 0 <= number < len(channels):
        raise NotThereError("there is no such channel.", where=f"channel {number}")
    raw = channels[number].samples.astype("<f4")
    body = np.ascontiguousarray(raw).tobytes()
    headers = {"cache-control": "private, max-age=86400, immutable"}
    if "gzip" in request.headers.get("accept-encoding", ""):
        body = gzip.compress(body, compresslevel=1)
        headers |= {"content-encoding": "gzip", "vary": "accept-encoding"}
    return Response(body, media_type="application/octet-stream", headers=headers)
