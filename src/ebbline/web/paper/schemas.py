"""What the endpoints of strips on paper send and take; kept apart so that it loads quickly."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from pydantic import BaseModel, Field

from ebbline.web.schemas import Finite

PlaceIn = tuple[Finite, Finite]
Places = Annotated[list[PlaceIn], Field(min_length=1, max_length=20_000)]


class AnswersIn(BaseModel):
    """What a person says of the paper; null: as printed, or as found.

    speed: cm/min. low, high: bpm of the lowest and highest line. line_s: seconds between upright
    lines. minutes: from the paper's left end to its right, of one picture. fetuses: heart rates.
    """

    speed: Finite | None = None
    low: Finite | None = None
    high: Finite | None = None
    line_s: Finite | None = None
    minutes: Finite | None = None
    fetuses: int = 1


class ErasedIn(BaseModel):
    """A stroke of the eraser, px of the picture."""

    places: Places
    width: Annotated[Finite, Field(gt=0, le=2000)]


class DrawnIn(BaseModel):
    """A stroke of the pen, px of the picture. fetus: whose heart rate; 0: the activity."""

    places: Places
    fetus: Annotated[int, Field(ge=0, le=2)] = 1


class PictureSaidIn(BaseModel):
    """Corrections of one picture. corners: of the heart-rate grid, from upper left clockwise."""

    corners: Annotated[list[PlaceIn], Field(min_length=4, max_length=4)] | None = None
    erased: Annotated[list[ErasedIn], Field(max_length=400)] = []
    drawn: Annotated[list[DrawnIn], Field(max_length=400)] = []


class PaperSaidIn(BaseModel):
    """Everything that is said of a strip, on top of a version; pictures in their order."""

    version: int
    answers: AnswersIn
    pictures: Annotated[list[PictureSaidIn], Field(max_length=16)]


class PictureOut(BaseModel):
    """One picture. width, height: px, upright, to which all places refer."""

    number: int
    name: str
    width: int
    height: int
    href: str


class PaperOut(BaseModel):
    """A strip on paper with what is said of it. recording_href: the last that was made of it."""

    id: str
    href: str
    name: str
    opened_at: datetime
    opened_by: str
    version: int
    author: str
    answers: AnswersIn
    pictures: list[PictureOut]
    said: list[PictureSaidIn]
    recording_href: str


class LineOut(BaseModel):
    """One trace on its picture. fetus: 0 is the activity. x, y: px; null parts the line.

    sure: certainty, 0 to 1, of each place.
    """

    fetus: int
    x: list[float | None]
    y: list[float | None]
    sure: list[float]


class PictureReadOut(BaseModel):
    """What was read on one picture. problem, remedy: why it could not be. corners: as found."""

    problem: str
    remedy: str
    corners: list[PlaceIn] | None
    lines: list[LineOut]
    said: list[str]
    minutes: list[float]


class PaperReadOut(BaseModel):
    """A strip read. problem: why it makes no recording yet. duration_s: of the whole strip.

    left_out: what stands on the pictures and was not read, in sentences to be said first; doubts:
    which minutes were read with doubt; extent: how many minutes were read of each trace.
    """

    version: int
    pictures: list[PictureReadOut]
    left_out: list[str]
    doubts: list[str]
    extent: str
    problem: str
    remedy: str
    duration_s: float


class TakeIn(BaseModel):
    """The version that was looked at when the strip was taken as a recording."""

    version: int
