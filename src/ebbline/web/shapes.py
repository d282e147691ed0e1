"""The shapes of what the endpoints send and take; kept apart so that they load quickly."""

from __future__ import annotations

from pydantic import BaseModel


class ItemOut(BaseModel):
    """A bracket on the strip.

    layer: computed, corrected, own or other. plot: heart, uterine or signal. turn_s: nadir or
    peak; turn_value: the rate there. details: name and words of each number. rule: why it is
    called what it is called. travel: False where keyboard travel passes over it.
    """

    id: str
    layer: str
    plot: str
    kind: str
    name: str
    title: str
    letter: str = ""
    tone: str
    start_s: float
    end_s: float
    turn_s: float | None = None
    turn_value: float | None = None
    value: float | None = None
    value_mark: bool = False
    certainty: float = 1.0
    details: list[tuple[str, str]] = []
    rule: str = ""
    note: str = ""
    author: str = ""
    human: bool = False
    struck: str = ""
    travel: bool = True


class CurveOut(BaseModel):
    """Evenly spaced values; null where unknown."""

    start_s: float
    step_s: float
    values: list[float | None]


class ColumnOut(BaseModel):
    """Ten minutes in four lines, each with shorter words for narrow columns, and its weight."""

    start_s: float
    end_s: float
    lines: list[list[str]]
    marked: list[str]


class FindingsOut(BaseModel):
    """All findings of one fetus, as drawn."""

    fetus: int
    items: list[ItemOut]
    baseline: CurveOut
    columns: list[ColumnOut]
