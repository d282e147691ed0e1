"""The examination: the drawn abdomen, probabilities, sensor sites, checks, reviews."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import Any

from fastapi import APIRouter, Request
from sqlalchemy import select
from starlette.responses import HTMLResponse

from ebbline.store import Store
from ebbline.web.examination.models import StoredExamination
from ebbline.web.examination.schemas import (
    ExamContextIn,
    ExamIn,
    ExamOut,
    InternalIn,
    InternalOut,
    ReviewsIn,
    ReviewsOut,
    SavedExamOut,
)
from ebbline.web.pages import page
from ebbline.web.recordings.library import Library
from ebbline.web.recordings.routes import Books, Who

router = APIRouter()


@router.get("/examination", response_class=HTMLResponse, include_in_schema=False)
def examination_page(request: Request) -> HTMLResponse:
    """An examination by itself; nothing of it is kept."""
    return _page(request, place="examination", saved=None, key="")


@router.get("/recordings/{key}/examination", response_class=HTMLResponse, include_in_schema=False)
def recording_examination_page(request: Request, key: str, books: Books) -> HTMLResponse:
    """The examination that goes with a recording."""
    recording = books.recording(key)
    saved = latest_examination(request.app.state.store, key)
    if saved is None:
        known = recording.context
        context = ExamContextIn(
            weeks=known.weeks,
            stage=known.stage,
            earlier_births=known.parity,
            fetuses=min(max(len(recording.fetuses), 1), 2),
        )
    else:
        context = saved.context
    return _page(
        request,
        place="open",
        saved=saved,
        key=key,
        context=context,
        card=books.card(key),
        recording=recording,
        part="examination",
    )


def _page(
    request: Request,
    *,
    place: str,
    saved: SavedExamOut | None,
    key: str,
    context: ExamContextIn | None = None,
    **more: Any,
) -> HTMLResponse:
    from ebbline.bedside.number_words import weeks_words
    from ebbline.bedside.policy.internal import load_internal
    from ebbline.bedside.policy.reviews import load_reviews
    from ebbline.web.examination.questions import questions
    from ebbline.web.examination.service import steps

    lists = load_internal()
    planned = load_reviews()
    known = context or ExamContextIn()
    return page(
        request,
        "examination/examination.html",
        place=place,
        key=key,
        saved=saved,
        known=known,
        known_weeks="" if known.weeks is None else weeks_words(known.weeks),
        steps=steps(),
        questions=[asdict(one) for one in questions()],
        facts=list(lists.facts.values()),
        sensors=lists.sensors,
        asked={name: sorted({line.fact for line in lines}) for name, lines in lists.lines.items()},
        review_kinds=planned.kinds,
        risk_factors=planned.risk_factors,
        **more,
    )


def latest_examination(store: Store, key: str) -> SavedExamOut | None:
    """The examination last kept with a recording."""
    with store.session() as session:
        row = session.scalar(
            select(StoredExamination)
            .where(StoredExamination.recording_id == key)
            .order_by(StoredExamination.id.desc())
            .limit(1)
        )
    return None if row is None else _saved(row)


def _saved(row: StoredExamination) -> SavedExamOut:
    return SavedExamOut(
        id=row.id,
        findings=row.answers["findings"],
        tried=row.answers.get("tried", {}),
        context=ExamContextIn(**row.answers["context"]),
        author=row.author,
        made_at=row.made_at,
    )


def _outcome(asked: ExamIn, books: Library, key: str) -> ExamOut:
    from ebbline.web.examination.service import examined, outcome

    signal = None
    if key:
        from ebbline.bedside.placement import tried_from
        from ebbline.reading.bedside_bridge import signal_now

        reading = books.reading(key)
        signal = signal_now(reading, reading.fetuses[0])
        signal = replace(signal, tried=tried_from(asked.tried))
    return outcome(examined(asked), signal)


@router.post("/api/examine", tags=["examination"])
def examine(asked: ExamIn, books: Books, recording: str = "") -> ExamOut:
    """What the findings so far come to. recording: one whose signal is judged beside them."""
    return _outcome(asked, books, recording)


@router.post("/examination/outcome", response_class=HTMLResponse, include_in_schema=False)
def outcome_part(
    request: Request, asked: ExamIn, books: Books, recording: str = ""
) -> HTMLResponse:
    """The same as a piece of a page."""
    return page(request, "examination/outcome.html", out=_outcome(asked, books, recording))


@router.post("/api/internal", tags=["examination"])
def check_internal(asked: InternalIn) -> InternalOut:
    """Check an internal sensor against the list; unknown counts as not met."""
    from ebbline.web.examination.service import internal

    return internal(asked)


@router.post("/examination/internal", response_class=HTMLResponse, include_in_schema=False)
def internal_part(request: Request, asked: InternalIn) -> HTMLResponse:
    """The same as a piece of a page."""
    from ebbline.web.examination.service import internal

    return page(request, "examination/internal.html", out=internal(asked))


@router.post("/api/reviews", tags=["examination"])
def reviews(asked: ReviewsIn) -> ReviewsOut:
    """Which reviews are due at a given time."""
    from ebbline.web.examination.service import reviews as due

    return due(asked)


@router.post("/examination/reviews", response_class=HTMLResponse, include_in_schema=False)
def reviews_part(request: Request, asked: ReviewsIn) -> HTMLResponse:
    """The same as a piece of a page."""
    from ebbline.web.examination.service import reviews as due

    return page(request, "examination/reviews.html", out=due(asked))


@router.post("/api/recordings/{key}/examinations", status_code=201, tags=["examination"])
def keep(request: Request, key: str, asked: ExamIn, books: Books, who: Who) -> SavedExamOut:
    """Keep an examination with a recording; earlier ones stay."""
    from ebbline.bedside.placement import tried_from
    from ebbline.web.examination.service import examined

    books.card(key)
    examined(asked)
    tried_from(asked.tried)
    row = StoredExamination(
        recording_id=key, answers=asked.model_dump(mode="json"), author=who.name
    )
    with request.app.state.store.session() as session:
        session.add(row)
    return _saved(row)


@router.get("/api/recordings/{key}/examinations", tags=["examination"])
def kept(request: Request, key: str, books: Books) -> list[SavedExamOut]:
    """All kept examinations of a recording, the latest last."""
    books.card(key)
    with request.app.state.store.session() as session:
        rows = session.scalars(
            select(StoredExamination)
            .where(StoredExamination.recording_id == key)
            .order_by(StoredExamination.id)
        ).all()
    return [_saved(row) for row in rows]
