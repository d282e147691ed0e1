"""What the list of recordings shows of each: made once, kept with it, searched."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from ebbline.criteria.model import Level
from ebbline.web.recordings.models import StoredRecording

if TYPE_CHECKING:
    from ebbline.reading.model import Reading


@dataclass(frozen=True, slots=True)
class ClassWord:
    """One standard's class of one fetus, for a list. rank: -1 when refused. level: how grave."""

    standard: str
    label: str
    rank: int
    level: str
    fetus: int


@dataclass(frozen=True, slots=True)
class Card:
    """What the list shows of one recording. valid_share: of the window, of the poorest fetus.

    format, source: of the file it came from. same_as: (id, name) of others with the same samples.
    """

    id: str
    name: str
    opened_at: datetime
    opened_by: str
    invented: bool
    duration_s: float
    fetuses: int
    valid_share: float | None
    window_s: tuple[float, float] | None
    classes: tuple[ClassWord, ...]
    problem: str
    format: str
    source: str
    same_as: tuple[tuple[str, str], ...] = ()


def summary_of(reading: Reading) -> dict[str, Any]:
    """What is kept of a reading for the list."""
    share = min(fetal.review.valid_share for fetal in reading.fetuses)
    return {
        "fetuses": len(reading.fetuses),
        "valid_share": share if math.isfinite(share) else None,
        "window_s": [reading.window.start_s, reading.window.end_s],
        "classes": [
            {
                "standard": c.standard.value,
                "label": c.said,
                "rank": c.rank,
                "level": c.level.value,
                "fetus": fetal.fetus,
            }
            for fetal in reading.fetuses
            for c in fetal.classes
        ],
    }


def _level_by(kept: dict[str, Any]) -> str:
    """How grave a class is that was kept before its level was: by its place among the classes."""
    if kept["rank"] < 0:
        return (Level.CAUTION if kept["label"].startswith("at least") else Level.NOT_ASSESSED).value
    return (Level.REASSURING, Level.CAUTION, Level.ALARMING)[min(kept["rank"], 2)].value


def card_of(row: StoredRecording, same_as: tuple[tuple[str, str], ...] = ()) -> Card:
    """The card of a stored recording."""
    said = row.summary
    window = said.get("window_s")
    came_from = row.header.get("provenance", {})
    return Card(
        id=row.id,
        name=row.name,
        opened_at=row.opened_at,
        opened_by=row.opened_by,
        invented=row.invented,
        duration_s=row.duration_s,
        fetuses=said.get("fetuses", 0),
        valid_share=said.get("valid_share"),
        window_s=(window[0], window[1]) if window else None,
        classes=tuple(ClassWord(**{"level": _level_by(c), **c}) for c in said.get("classes", [])),
        problem=said.get("problem", ""),
        format="invented" if row.invented else came_from.get("format", ""),
        source="" if row.invented else came_from.get("source", ""),
        same_as=same_as,
    )


def searched(card: Card) -> str:
    """The words of a card that a search looks through."""
    words = [card.name, card.opened_by, card.format, card.source]
    words += ["invented"] if card.invented else []
    words += [f"{c.standard} {c.label}" for c in card.classes]
    return " ".join(words).casefold()
