"""What the endpoints of recordings send and take; kept apart so that it loads quickly."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Annotated

from pydantic import BaseModel, Field, StringConstraints

from ebbline.terms import Stage
from ebbline.web.recordings.cards import Card
from ebbline.web.schemas import Finite

if TYPE_CHECKING:
    from ebbline.recording.model import Context
    from ebbline.web.recordings.library import Known


class ClassOut(BaseModel):
    """One standard's class of one fetus in the window that the list was made from."""

    standard: str
    label: str
    rank: int
    level: str
    fetus: int


class SameOut(BaseModel):
    """Another recording with the same samples."""

    id: str
    name: str


class CardOut(BaseModel):
    """A recording in the list. problem: why it could not be read, else empty.

    format, source: of the file it came from. same_as: others with the same samples.
    """

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
    format: str
    source: str
    same_as: list[SameOut]


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
            ClassOut(standard=c.standard, label=c.label, rank=c.rank, level=c.level, fetus=c.fetus)
            for c in card.classes
        ],
        problem=card.problem,
        format=card.format,
        source=card.source,
        same_as=[SameOut(id=key, name=name) for key, name in card.same_as],
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
    """A recording without its samples. context_version: of what is known of the labour."""

    id: str
    name: str
    start: datetime | None
    duration_s: float
    fetuses: list[int]
    channels: list[ChannelOut]
    context: ContextOut
    context_version: int
    source: str
    notes: list[str]


class InventedIn(BaseModel):
    """Which invented case to make."""

    case: str


class NameIn(BaseModel):
    """Another name for a recording."""

    name: Annotated[str, StringConstraints(max_length=400)]


class ContextIn(BaseModel):
    """What is known of the labour; null is unknown, never 'no'.

    version: the version that was looked at; where another holds by now, nothing is kept (409).
    """

    version: Annotated[int, Field(ge=0)]
    weeks: Annotated[Finite | None, Field(ge=20, le=45)] = None
    stage: Stage = Stage.UNKNOWN
    second_stage_start_s: Annotated[Finite | None, Field(ge=0)] = None
    oxytocin: bool | None = None
    epidural: bool | None = None
    parity: Annotated[int | None, Field(ge=0, le=20)] = None
    meconium: bool | None = None
    fever: bool | None = None


class KnownOut(BaseModel):
    """One version of what is known: who said it and when."""

    version: int
    context: ContextOut
    author: str
    made_at: datetime | None


def known_out(known: Known) -> KnownOut:
    """A version of what is known, as data."""
    return KnownOut(
        version=known.version,
        context=context_out(known.context),
        author=known.author,
        made_at=known.made_at,
    )
