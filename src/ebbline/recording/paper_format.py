"""Strips on paper: scans and photographs, read only. See `ebbline.recording.paper`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from ebbline.recording.model import Channel, ChannelKind, Provenance, Recording
from ebbline.terms import SensorKind

if TYPE_CHECKING:
    from ebbline.recording.paper.flatten import Image
    from ebbline.recording.paper.reading import PaperReading
    from ebbline.recording.paper.scale import PaperAnswers


FIRST = "From paper: "
"""So begins a note about what was not read, or with doubt: wherever the strip is read, it is said
first."""


def read(
    path: Path,
    *,
    paper_speed: float | None = None,
    paper_low: float | None = None,
    paper_high: float | None = None,
    paper_line_s: float | None = None,
    paper_traces: int = 1,
    paper_more: Sequence[Path] = (),
) -> Recording:
    """Read one strip from its pictures: pages of a file, and further files of the same strip.

    paper_speed: cm a minute. paper_low, paper_high: bpm of the lowest and highest level line, where
    the numbers beside the paper cannot be read. paper_line_s: seconds between two upright lines.
    paper_traces: heart rates on the paper, 2 for twins. paper_more: overlapping shots that follow,
    in the order of time. Raises RecordingError where the picture cannot be read, and where an
    answer is missing.
    """
    from ebbline.recording.paper.joining import joined
    from ebbline.recording.paper.pictures import pictures_of
    from ebbline.recording.paper.scale import PaperAnswers, check_answers
    from ebbline.recording.paper.sheet import NoStripError

    answers = PaperAnswers(paper_speed, paper_low, paper_high, paper_line_s, paper_traces)
    check_answers(answers, str(path))
    shots, without, empty = [], [], None
    for one in (path, *paper_more):
        pages = pictures_of(one)
        for n, page in enumerate(pages):
            where = str(one) if len(pages) == 1 else f"{one}, page {n + 1}"
            try:
                shots += _strips(page, answers, where)
            except NoStripError as error:
                # Of a report of several pages some hold words alone.
                if len(pages) == 1:
                    raise
                without.append(where)
                empty = error
    if not shots and empty is not None:
        raise empty
    found = joined(shots) if len(shots) > 1 else shots[0][1]
    left_out = tuple(f"No grid is seen on {where}: it was left out." for where in without)
    return recording_of(replace(found, not_read=(*left_out, *found.not_read)), path)


def _strips(page: Image, answers: PaperAnswers, where: str) -> list[tuple[str, PaperReading]]:
    """Every strip on a picture, from above downwards, each with its name for errors."""
    from ebbline.recording.paper.reading import read_paper

    first = read_paper(page, answers, where)
    count = first.papers[0].strips
    if count == 1:
        return [(where, first)]
    names = [f"{where}, strip {n + 1} of {count}" for n in range(count)]
    others = [read_paper(page, answers, names[n], strip=n) for n in range(1, count)]
    return list(zip(names, [first, *others], strict=True))


def parts(path: Path) -> tuple[Path, ...]:
    """All files that reading a path reads."""
    return (path,)


def recording_of(found: PaperReading, path: Path, checked_by: str = "") -> Recording:
    """What was read as a recording that says where it is from, and what it cannot tell.

    checked_by: who saw the reading laid over its picture and corrected it where need was.
    """
    channels = [
        Channel(ChannelKind.FETAL_HEART_RATE, one.values, found.rate_hz, fetus=n, unit="bpm")
        for n, one in enumerate(found.heart, start=1)
    ]
    if found.activity is not None:
        channels.append(
            Channel(
                ChannelKind.UTERINE_ACTIVITY,
                found.activity.values,
                found.rate_hz,
                SensorKind.UNKNOWN,
            )
        )
    sure = ", ".join(f"{100 * one:.0f}" for one in found.minutes)
    notes = (
        *(f"{FIRST}{one}" for one in (*found.left_out, *found.doubts)),
        "Read from paper: check it against the paper before you rely on it.",
        *((f"Laid over its picture and taken by {checked_by}.",) if checked_by else ()),
        *found.said,
        f"What lasts less than {found.pen_s:.1f} s is narrower than the pen's stroke: short-term "
        "variation is not assessed, and quick variability reads lower than it was.",
        f"Certainty of each minute, %: {sure}.",
    )
    return Recording(path.stem, tuple(channels), provenance=Provenance(str(path), "paper", notes))
