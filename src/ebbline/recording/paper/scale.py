"""What the lines of a paper stand for: read from the page, said by a person, or asked for."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ebbline.errors import RecordingError
from ebbline.recording.paper.figures import ReadScale, read_scale
from ebbline.recording.paper.sheet import Paper, unread
from ebbline.recording.paper.timemarks import (
    LEAST_AGAINST,
    LEAST_MARKS,
    agreeing,
    in_step,
    pairs_at,
)

SPEEDS = (1.0, 2.0, 3.0)
"""Paper speeds, cm a minute (FIGO 2015)."""
PER_CM = (20.0, 30.0)
"""bpm a centimetre of heart-rate papers (common practice, no source)."""
LINES_CM = (0.5, 1.0)
"""Distance of upright lines on such papers (common practice, no source)."""
NEAR = 0.17
"""So far, as a share, may a measured distance be from one that papers have: a camera held aslant
makes one direction shorter, and by how much no picture tells (ours)."""
LINE_S = (1.0, 600.0)
"""Least and most seconds between upright lines that are taken from a person (ours)."""
MINUTES = (1.0, 24 * 60.0)
"""Least and most minutes of one strip that are taken from a person (ours)."""
BPM = (0.0, 300.0)
NORMAL = (110.0, 160.0)
"""Every heart-rate paper holds the normal baseline (NICHD 2008, FIGO 2015): others, such as the
activity's, are not taken for one."""


@dataclass(frozen=True, slots=True)
class PaperAnswers:
    """What a person says of the paper. None: read from the page, or asked for.

    speed: cm a minute. low, high: bpm at the lowest and highest level line of the heart-rate
    paper. line_s: seconds between two upright lines, however faint. minutes: from its left end to
    its right end. fetuses: traces on it.
    """

    speed: float | None = None
    low: float | None = None
    high: float | None = None
    line_s: float | None = None
    fetuses: int = 1
    minutes: float | None = None


def ask(what: str, where: str, option: str) -> RecordingError:
    """The error for an answer that is missing or cannot be."""
    return RecordingError(what, where=where, remedy=f"Say it: {option}.")


def check_answers(answers: PaperAnswers, where: str) -> None:
    """Refuse before any work what is missing or impossible. Raises RecordingError."""
    if answers.speed is None and answers.line_s is None and answers.minutes is None:
        raise ask("the page does not tell the paper's speed.", where, "--paper-speed 1, 2 or 3")
    if answers.speed is not None and answers.speed not in SPEEDS:
        raise ask(f"{answers.speed:g} cm/min is no paper speed.", where, "--paper-speed 1, 2 or 3")
    if answers.line_s is not None and not LINE_S[0] <= answers.line_s <= LINE_S[1]:
        raise ask(
            f"upright lines {answers.line_s:g} s apart are on no paper.",
            where,
            f"--paper-line SECONDS, from {LINE_S[0]:g} to {LINE_S[1]:g}",
        )
    if answers.minutes is not None and not MINUTES[0] <= answers.minutes <= MINUTES[1]:
        raise ask(
            f"{answers.minutes:g} minutes are on no strip.",
            where,
            f"the minutes from the paper's left end to its right, {MINUTES[0]:g} to {MINUTES[1]:g}",
        )
    if (answers.low is None) != (answers.high is None):
        raise ask("one end of the heart-rate paper alone gives no scale.", where, _RANGE)
    if answers.low is not None and answers.high is not None:
        sound = BPM[0] <= answers.low < answers.high <= BPM[1]
        if not sound:
            raise ask(f"{answers.low:g} to {answers.high:g} bpm is no range.", where, _RANGE)
    if answers.fetuses not in (1, 2):
        raise ask(f"{answers.fetuses} traces on one paper are not read.", where, "--paper-traces 2")


_RANGE = "--paper-range LOW-HIGH, the bpm of the lowest and highest line, such as 30-240"


def heart_scale(paper: Paper, answers: PaperAnswers, where: str) -> tuple[ReadScale, str]:
    """What the level lines of the heart-rate paper stand for, and how it is known."""
    first, last = paper.lines[2], paper.lines[3]
    read = printed_scale(paper, where)
    if read is not None and read.step > 0:
        read = None
    if read is None and _read_reversed(paper, mirrored=False):
        raise RecordingError(
            "the picture stands on its head: the numbers beside the paper are read that way round.",
            where=where,
            remedy="Turn it by half a turn.",
        )
    if read is None and _read_reversed(paper, mirrored=True):
        raise RecordingError(
            "the picture is a mirror image: the numbers beside the paper are read in a mirror.",
            where=where,
            remedy="Mirror it back, left to right; time would run backwards.",
        )
    if answers.low is not None and answers.high is not None:
        step = -(answers.high - answers.low) / max(last - first, 1)
        told = ReadScale(answers.high - step * first, step, 0)
        off = 0.0 if read is None else abs(told.value(first) - read.value(first))
        if read is not None and max(off, abs(told.value(last) - read.value(last))) > 0.5 * abs(
            read.step
        ):
            raise ask(
                f"the numbers printed beside the paper tell {read.value(last):g} to "
                f"{read.value(first):g} bpm, not {answers.low:g} to {answers.high:g}.",
                where,
                f"{_RANGE}; without it the printed numbers are taken",
            )
        return told, f"Heart rate: {answers.low:g} to {answers.high:g} bpm, as told."
    if read is None:
        raise ask("the numbers beside the heart-rate paper could not be read.", where, _RANGE)
    low, high = read.value(last), read.value(first)
    if not (BPM[0] <= low <= NORMAL[0] and NORMAL[1] <= high <= BPM[1]):
        raise ask(
            f"the numbers beside the paper were read as {low:g} to {high:g} bpm, which is no "
            "range of heart rates: a part of the paper may lie outside the picture.",
            where,
            _RANGE,
        )
    return read, f"Heart rate: {low:g} to {high:g} bpm by {read.agreed} printed numbers in step."


def _read_reversed(paper: Paper, *, mirrored: bool) -> bool:
    """Whether numbers in step are read beside the paper turned by half a turn, or in a mirror.

    mirrored: left and right changed, or above and below.
    """
    flat = paper.flat
    ways = (slice(None), slice(None, None, -1))
    seen = [(ways[0], ways[1]), (ways[1], ways[0])] if mirrored else [(ways[1], ways[1])]
    wide = max(8, int((paper.lines[0] - flat.left) * flat.across - 0.15 * flat.down))
    for rows, columns in seen:
        turned = np.ascontiguousarray(flat.ink[rows, columns])
        for side in (slice(0, wide), slice(turned.shape[1] - wide, None)):
            if read_scale(turned, side, 0.0, flat.down) is not None:
                return True
    return False


def activity_scale(paper: Paper, where: str) -> tuple[ReadScale | None, str]:
    """What the level lines of the activity paper stand for, None where unknown, and how."""
    read = printed_scale(paper, where)
    first, last = paper.lines[2], paper.lines[3]
    if read is not None and read.step < 0 and round(read.value(last)) == 0:
        return read, (
            f"Activity: {read.value(last):g} to {read.value(first):g} by {read.agreed} printed "
            "numbers in step."
        )
    return None, "Activity was not read: the numbers beside its paper were not told."


def activity_ends(paper: Paper, where: str) -> tuple[int, int] | None:
    """The highest and the lowest level line of an activity paper by its printed numbers.

    It begins at 0 and reaches 100 at least (common practice, no source). None where the numbers are
    not read, or tell lines far from those that were found.
    """
    read = printed_scale(paper, where)
    if read is None or read.step >= 0:
        return None
    bottom = round(-read.first / read.step)
    top = min(round((100.0 - read.first) / read.step), paper.lines[2])
    far = max(abs(top - paper.lines[2]), abs(bottom - paper.lines[3]))
    return (top, bottom) if far <= MOST_ADDED else None


MOST_ADDED = 10
"""So many level lines are taken to have been missed at most (ours)."""


def printed_scale(paper: Paper, where: str) -> ReadScale | None:
    """The scale by the numbers on either side; the side with more of them in step.

    Raises RecordingError where the two sides tell different values: then a line was lost between.
    """
    flat = paper.flat
    left = int((paper.lines[0] - flat.left) * flat.across)
    right = int((paper.lines[1] - flat.left) * flat.across)
    slack = int(0.15 * flat.down)
    sides = (slice(0, max(8, left - slack)), slice(right + slack, flat.ink.shape[1]))
    found = [read_scale(flat.ink, side, flat.top, flat.down) for side in sides]
    told = [one for one in found if one is not None]
    if len(told) == 2 and (
        abs(told[0].first - told[1].first) > 0.3 * abs(told[0].step) or told[0].step != told[1].step
    ):
        raise unread("the numbers on the left and on the right tell different lines.", where)
    return max(told, key=lambda one: one.agreed, default=None)


def seconds_per_line(
    paper: Paper, scale: ReadScale, answers: PaperAnswers, where: str
) -> tuple[float, str]:
    """Seconds between upright lines, and how they are known.

    The printed numbers tell a level line's distance in cm for each scale that papers have, the
    picture how much farther apart upright lines are: one scale alone makes them 0.5 or 1 cm.
    """
    if answers.line_s is not None:
        told = f"Time: upright lines are {answers.line_s:g} s apart, as told."
        return answers.line_s, told + _against(paper, answers.line_s)
    if answers.minutes is not None:
        line_s = answers.minutes * 60 / (paper.lines[1] - paper.lines[0])
        return line_s, (
            f"Time: {answers.minutes:g} minutes from the left end to the right, as told: upright "
            f"lines are {line_s:.3g} s apart." + _against(paper, line_s)
        )
    assert answers.speed is not None
    line_s, told = _by_speed(paper, scale, answers.speed, where)
    printed = in_step(paper.times)
    if printed is not None:
        own_s = 60 * printed.per_line
        if abs(own_s / line_s - 1) < SAME_TIME:
            return line_s, f"{told} {printed.agreed} times printed along the paper agree."
        agree = agreeing(paper.times, line_s / 60)
        others = agree is None or agree.agreed < printed.agreed
        # Three numbers stand in step by chance here and there, seldom at another paper's speed.
        least = LEAST_MARKS if _of_speeds(own_s / line_s) else LEAST_AGAINST
        if others and printed.agreed >= least:
            raise _denied(
                f"{printed.agreed} times printed along the paper tell {own_s:.3g} s from one "
                f"upright line to the next, which is not {answers.speed:g} cm/min, as told, but "
                f"{answers.speed * line_s / own_s:.3g}.",
                line_s,
                where,
            )
    if pairs_at(paper.times, line_s / 60):
        return line_s, f"{told} {FEW}"
    printed_at = [s for s in SPEEDS if pairs_at(paper.times, line_s / 60 * answers.speed / s)]
    if printed_at:
        raise _denied(
            f"two times printed along the paper tell {printed_at[0]:g} cm/min, not "
            f"{answers.speed:g} cm/min, as told.",
            line_s,
            where,
        )
    return line_s, f"{told} {UNCHECKED}"


def _denied(what: str, line_s: float, where: str) -> RecordingError:
    """The speed that was told is denied by what is printed."""
    return RecordingError(
        what,
        where=where,
        remedy=f"Say the speed that the paper was printed at, or, to insist, --paper-line "
        f"{line_s:g}: the seconds between two neighbouring upright lines.",
    )


def _of_speeds(times: float) -> bool:
    """Whether two speeds of paper differ by so many times."""
    return any(
        one != other and abs(times * one / other - 1) < SAME_TIME
        for one in SPEEDS
        for other in SPEEDS
    )


FEW = "Too few times printed along the paper were read to be sure of that speed: check it."
UNCHECKED = (
    "No times printed along the paper confirm that speed: a wrong one makes every duration wrong."
)


def _against(paper: Paper, line_s: float) -> str:
    """A warning where the times printed along the paper deny what a person insists on."""
    printed = in_step(paper.times)
    if printed is None or abs(60 * printed.per_line / line_s - 1) < SAME_TIME:
        return ""
    return (
        f" {printed.agreed} times printed along the paper tell {60 * printed.per_line:.3g} s "
        "instead: check it."
    )


SAME_TIME = 0.1
"""Share by which the seconds between upright lines by printed times and by what was told may differ
and still be the same (ours): the next speed differs by half."""


def _by_speed(paper: Paper, scale: ReadScale, speed: float, where: str) -> tuple[float, str]:
    fitting = [
        (per_cm, cm)
        for per_cm in PER_CM
        for cm in LINES_CM
        if abs(math.log(paper.wide / paper.tall * abs(scale.step) / per_cm / cm)) < NEAR
    ]
    if len(fitting) != 1:
        raise ask(
            f"upright lines stand {paper.wide / paper.tall:.2f} times as far apart as level lines "
            f"of {abs(scale.step):g} bpm: which time that is, the page does not tell.",
            where,
            "--paper-line SECONDS, the time between two neighbouring upright lines",
        )
    [(per_cm, cm)] = fitting
    line_s = cm * 60 / speed
    return line_s, (
        f"Time: at {speed:g} cm/min, as told, and {per_cm:g} bpm/cm two neighbouring "
        f"upright lines are {line_s:g} s apart: check it on the paper."
    )
