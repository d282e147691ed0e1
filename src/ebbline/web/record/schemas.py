"""What the pages of the record and its API send and get."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from pydantic import BaseModel, Field

from ebbline.journal.chain import Entry
from ebbline.journal.entries import body_data


class CaseIn(BaseModel):
    """A case to open: a bed and a case number, never a name. token: see EntryIn."""

    case: str = Field(max_length=40)
    bed: str = Field(max_length=20)
    token: str = ""


class EntryIn(BaseModel):
    """An entry to write. fields: by name; `ebbline record kinds KIND` lists them.

    token: chosen by the sender, 8 to 64 letters, digits, dashes or underscores; an entry that is
    sent again with the same token is not written again.
    """

    kind: str
    fields: dict[str, Any]
    at: datetime
    corrects: int | None = None
    token: str = ""


class EntryOut(BaseModel):
    """An entry as it stands in the record."""

    number: int
    kind: str
    title: str
    words: str
    fields: dict[str, Any]
    at: datetime
    written_at: datetime
    author: str
    corrects: int | None
    token: str
    previous: str
    hash: str


class CaseOut(BaseModel):
    """A case in the list. alerts: how many rows of the chart ask to be looked at."""

    case: str
    bed: str
    entries: int
    last_at: datetime
    closed: bool
    head: str


class TapsIn(BaseModel):
    """Beats tapped, seconds from the first; when a contraction began and ended."""

    taps_s: list[float] = Field(max_length=4000)
    begins_s: float | None = None
    ends_s: float | None = None


class CountIn(BaseModel):
    """Beats counted over a time."""

    beats: int
    seconds: float


class RateOut(BaseModel):
    """A rate heard. uneven: why the taps are no even beat, else empty."""

    bpm: float
    plus_minus_bpm: float
    beats: int
    seconds: float
    lowest_bpm: float
    uneven: str


class HeardOut(BaseModel):
    """Rates around a contraction; null where too little was tapped."""

    before: RateOut | None
    during: RateOut | None
    after: RateOut | None


class AlertOut(BaseModel):
    """What asks to be looked at, with its rule and where that is published."""

    row: str
    what: str
    rule: str
    since: datetime
    source: str


class DueOut(BaseModel):
    """A review. minutes: until it is due, negative when overdue, null when never written."""

    name: str
    title: str
    state: str
    minutes: float | None
    every_min: float
    due_at: datetime | None
    source: str
    second_reader: bool


class StateOut(BaseModel):
    """How a case stands: what asks to be looked at, what is due, who is awaited."""

    case: str
    bed: str
    entries: int
    head: str
    alerts: list[AlertOut]
    listening: list[str]
    awaited: list[str]
    reviews: list[DueOut]
    notes: list[str]


class HandoverIn(BaseModel):
    """A handover as it is given."""

    to: str = Field(max_length=80)
    changed: str = ""
    situation: str = ""
    background: str = ""
    assessment: str = ""
    recommendation: str = ""
    token: str = ""


class HandoverOut(BaseModel):
    """A handover filled from the record. number: of the last entry it rests on."""

    number: int
    since: datetime | None
    changed: str
    situation: str
    background: str
    assessment: str
    recommendation: str


class VerifiedOut(BaseModel):
    """Whether the chain of a case holds."""

    holds: bool
    entries: int
    head: str
    breaks: list[str]


def entry_out(entry: Entry) -> EntryOut:
    """An entry as data."""
    return EntryOut(
        number=entry.number,
        kind=entry.kind,
        title=entry.body.title,
        words=entry.words,
        fields=body_data(entry.body),
        at=entry.at,
        written_at=entry.written_at,
        author=entry.author,
        corrects=entry.corrects,
        token=entry.token,
        previous=entry.previous,
        hash=entry.hash,
    )


class ReviewAheadOut(BaseModel):
    """A review of a case, and when it falls due."""

    case: str
    bed: str
    title: str
    due_at: datetime
    overdue: bool
