"""What is said of a labour and cannot be true counts as unknown, with a note that says so."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from ebbline.recording.limits import MAX_DURATION_S
from ebbline.recording.model import Annotation, Context
from ebbline.terms import counted

BOUNDS = {"weeks": (15.0, 46.0), "parity": (0.0, 25.0)}
"""Completed weeks of gestation and earlier births that can be true (common practice, no source)."""
YEARS = range(1900, 2200)
"""Years a recording can have been made in: room on both sides for clocks that are wrong (ours)."""
SHOWN = {
    "weeks": "a gestation of {} weeks",
    "parity": "a parity of {}",
}


def believable(context: Context, duration_s: float) -> tuple[Context, tuple[str, ...]]:
    """The context without what cannot be true, and a note for each thing that was left out."""
    notes: list[str] = []
    for name, (least, most) in BOUNDS.items():
        value = getattr(context, name)
        if value is not None and not least <= value <= most:
            notes.append(SHOWN[name].format(_short(value)) + " cannot be true: counts as unknown.")
            nothing: dict[str, None] = {name: None}
            context = replace(context, **nothing)  # type: ignore[arg-type]
    second = context.second_stage_start_s
    if second is not None and not 0 <= second <= duration_s:
        notes.append(
            f"the second stage is said to begin {second:g} s from the start, outside the "
            "recording: counts as unknown."
        )
        context = replace(context, second_stage_start_s=None)
    return context, tuple(notes)


def _short(value: float) -> str:
    try:
        return f"{value:g}"
    except OverflowError:
        return "more than 1e308"


def possible_start(start: datetime | None) -> tuple[datetime | None, tuple[str, ...]]:
    """The start where a recording can have been made then, else None and a note."""
    if start is None or start.year in YEARS:
        return start, ()
    return None, (f"a start in the year {start.year} cannot be true: counts as unknown.",)


def placed(annotations: tuple[Annotation, ...]) -> tuple[tuple[Annotation, ...], tuple[str, ...]]:
    """The annotations that have a possible time and duration, and notes on the others."""
    notes = []
    kept = [a for a in annotations if abs(a.time_s) <= MAX_DURATION_S]
    if len(kept) < len(annotations):
        notes.append(f"{len(annotations) - len(kept)} annotations without a time were left out.")
    wrong = [i for i, a in enumerate(kept) if not 0 <= a.duration_s <= MAX_DURATION_S]
    for i in wrong:
        kept[i] = replace(kept[i], duration_s=0.0)
    if wrong:
        notes.append(
            f"{counted(len(wrong), 'annotation')} of impossible duration: it counts as unknown."
        )
    return (tuple(kept) if notes else annotations), tuple(notes)
