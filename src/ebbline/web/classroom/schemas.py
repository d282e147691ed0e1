"""What the pages of a class send and take."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field


class ShareOut(BaseModel):
    """One answer's share in a round. right: told with the truth only."""

    option: str
    count: int
    share: float
    right: bool | None = None


class TruthOut(BaseModel):
    """What is told at the end: the right answers, the rule that decides, the panel."""

    right: list[str]
    rule: list[str]
    panel: str
    afterword: str
    to_right: int = 0
    from_right: int = 0
    both: int = 0


class StripOut(BaseModel):
    """What is on the wall, and how far it is shown. speed: seconds of labour in one."""

    number: int
    title: str
    who: str
    scene: str
    shown_s: float
    ends_s: float
    speed: int
    runs: bool


class ClassOut(BaseModel):
    """A class as it stands now, for a phone or the wall.

    round: how often it was asked; mine: this learner's answer in the open round.
    """

    code: str
    mode: str
    phase: str
    round: int
    question: str
    options: list[str]
    answered: int
    learners: int
    splits: list[list[ShareOut]]
    truth: TruthOut | None
    strip: StripOut | None
    mine: str = ""
    name: str = ""


class PlayedOut(BaseModel):
    """How far a class that plays alone is. shares: of the finished, 0..1, without names."""

    learners: int
    begun: int
    finished: int
    shares: list[float]
    said: dict[str, int]
    true: str


class AnswerIn(BaseModel):
    """An answer. strip and round: what it is meant for."""

    strip: int
    round: int
    option: Annotated[str, Field(max_length=60)]


class ActIn(BaseModel):
    """What the teacher does."""

    act: Literal["ask", "split", "truth", "run", "stop", "all"]
    speed: Annotated[int, Field(ge=1, le=60)] = 20
