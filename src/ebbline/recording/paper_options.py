"""What a person says of a strip on paper, as options of `open_recording`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ebbline.errors import ContextError


def paper_options(
    speed: float | None,
    bpm_range: str | None,
    line_s: float | None,
    traces: int | None,
    more: Sequence[str] = (),
) -> dict[str, Any]:
    """The options given, by their names in `open_recording`; those left out are not in it."""
    found: dict[str, Any] = {}
    if speed is not None:
        found["paper_speed"] = speed
    if bpm_range is not None:
        found["paper_low"], found["paper_high"] = _range(bpm_range)
    if line_s is not None:
        found["paper_line_s"] = line_s
    if traces is not None:
        found["paper_traces"] = traces
    if more:
        found["paper_more"] = tuple(map(Path, more))
    return found


def _range(text: str) -> tuple[float, float]:
    low, _, high = text.replace("–", "-").partition("-")
    try:
        return float(low), float(high)
    except ValueError:
        raise ContextError(
            f"'{text}' is not a range of heart rates.",
            where="the range of the paper",
            remedy="Write the bpm of the lowest and of the highest line, as 30-240.",
        ) from None
