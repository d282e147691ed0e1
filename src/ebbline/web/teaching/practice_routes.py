"""Practice from one's errors: ten short strips of one term or the other, told at once.

Nothing of it is kept: a strip is decided by its two terms, its seed and its number.
"""

from __future__ import annotations

import secrets
from functools import lru_cache
from typing import TYPE_CHECKING, Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, HTTPException, Query, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from ebbline.web.pages import page
from ebbline.web.principal import Role
from ebbline.web.samples import as_samples
from ebbline.web.teaching.attempts_in_play import TRACES
from ebbline.web.teaching.routes import Kept, Who, mistakes_of
from ebbline.web.teaching.schemas import PracticeStripOut, PracticeVerdictOut, TraceOut

if TYPE_CHECKING:
    from ebbline.recording.model import Channel, FloatArray
    from ebbline.teach.practice import ShortStrip
    from ebbline.terms import Window

router = APIRouter()

LARGEST_SEED = 9_999

Term = Annotated[str, Query(max_length=40)]
Seed = Annotated[int, Query(ge=0, le=LARGEST_SEED)]


@router.get("/teach/practice", response_class=HTMLResponse, include_in_schema=False)
def practice_page(
    request: Request, who: Who, kept: Kept, one: Term = "", other: Term = "", seed: int = -1
) -> Response:
    """Ten strips of two terms; without them, what there is to choose from."""
    from ebbline.teach.practice import PAIRS, can_contrast

    asked = bool(one or other)
    if asked and can_contrast(one, other) and not 0 <= seed <= LARGEST_SEED:
        drawn = {"one": one, "other": other, "seed": secrets.randbelow(LARGEST_SEED + 1)}
        return RedirectResponse(f"/teach/practice?{urlencode(drawn)}", 303)
    going = asked and can_contrast(one, other)
    return page(
        request,
        "teaching/practice.html",
        place="teach",
        pair=(one, other) if going else None,
        seed=seed,
        unknown=f"{one or 'nothing'} and {other or 'nothing'}" if asked and not going else "",
        mistakes=() if going else mistakes_of(kept, who.name),
        pairs=PAIRS,
        teacher=who.may(Role.TEACHER),
    )


@lru_cache(maxsize=64)
def _made(one: str, other: str, seed: int, number: int) -> ShortStrip:
    from ebbline.teach.practice import short_strip

    return short_strip((one, other), seed, number)


def _shown(channel: Channel, window: Window) -> FloatArray:
    """The samples of the window: what went before could tell the answer, or another one."""
    return channel.samples[
        round(window.start_s * channel.rate_hz) : round(window.end_s * channel.rate_hz)
    ]


def _baseline(strip: ShortStrip) -> FloatArray:
    return strip.truth.baseline.values[round(strip.window.start_s) : round(strip.window.end_s)]


@router.get("/api/teach/practice/{number}", tags=["teaching"])
def practice_strip(number: int, one: Term, other: Term, seed: Seed) -> PracticeStripOut:
    """One short strip, unmarked; its samples lie at the traces' addresses."""
    made = _made(one, other, seed, number)
    query = urlencode({"one": one, "other": other, "seed": seed})
    return PracticeStripOut(
        duration_s=made.window.duration_s,
        traces=[
            TraceOut(
                kind=TRACES[channel.kind.value],
                unit=channel.unit,
                sensor=channel.sensor.value,
                rate_hz=channel.rate_hz,
                count=len(_shown(channel, made.window)),
                samples_href=f"/api/teach/practice/{number}/{TRACES[channel.kind.value]}?{query}",
            )
            for channel in made.recording.channels
            if channel.kind.value in TRACES
        ],
    )


@router.get("/api/teach/practice/{number}/verdict", tags=["teaching"])
def verdict(number: int, one: Term, other: Term, seed: Seed, said: Term) -> PracticeVerdictOut:
    """Whether the answer is right, why, and what the strip truly shows."""
    from ebbline.web.teaching.presenters import practice_items

    made = _made(one, other, seed, number)
    return PracticeVerdictOut(
        right=said == made.answer,
        answer=made.answer,
        why=made.why,
        items=practice_items(made),
        baseline={
            "start_s": 0.0,
            "step_s": 1.0,
            "values": [round(v, 1) for v in _baseline(made).tolist()],
        },
    )


@router.get(
    "/api/teach/practice/{number}/{kind}",
    tags=["teaching"],
    response_class=Response,
    responses={200: {"content": {"application/octet-stream": {}}}},
)
def practice_samples(
    request: Request, number: int, kind: str, one: Term, other: Term, seed: Seed
) -> Response:
    """One channel of a short strip (heart or uterine): float32, little endian."""
    made = _made(one, other, seed, number)
    for channel in made.recording.channels:
        if TRACES.get(channel.kind.value) == kind:
            return as_samples(request, _shown(channel, made.window))
    raise HTTPException(404, "there is no such trace.")
