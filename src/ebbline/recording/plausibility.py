"""What is said of a labour and cannot be true counts as unknown, with a note that says so."""

from __future__ import annotations

import math
from dataclasses import replace

from ebbline.recording.model import Annotation, Context

BOUNDS = {"weeks": (15.0, 46.0), "parity": (0.0, 25.0)}
"""Completed weeks of gestation and earlier births that can be true (common practice, no source)."""
SHOWN = {
    "weeks": "a gestation of {:g} weeks",
    "parity": "a parity of {:g}",
}


def believable(context: Context, duration_s: float) -> tuple[Context, tuple[str, ...]]:
    """The context without what cannot be true, and a note for each thing that was left out."""
    notes: list[str] = []
    for name, (least, most) in BOUNDS.items():
        value = getattr(context, name)
        if value is not None and not (math.isfinite(value) and least <= value <= most):
            notes.append(SHOWN[name].format(value) + " cannot be true: counts as unknown.")
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


def placed(annotations: tuple[Annotation, ...]) -> tuple[tuple[Annotation, ...], tuple[str, ...]]:
    """The annotations that have a time, and a note when some have not."""
    kept = tuple(a for a in annotations if math.isfinite(a.time_s))
    if len(kept) == len(annotations):
        return annotations, ()
    return kept, (f"{len(annotations) - len(kept)} annotations without a time were left out.",)
