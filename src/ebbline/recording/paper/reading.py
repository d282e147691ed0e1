"""A picture of a strip to its samples, every step kept so that a person can check it."""

from __future__ import annotations

import warnings
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ebbline.errors import RecordingError
from ebbline.recording.paper.corrections import (
    DRAWN_SURE,
    NONE,
    Corrections,
    Stroke,
    check_corrections,
    in_time,
    without_erased,
)
from ebbline.recording.paper.figures import ReadScale
from ebbline.recording.paper.flatten import Image
from ebbline.recording.paper.scale import (
    SAME_TIME,
    PaperAnswers,
    activity_ends,
    activity_scale,
    ask,
    check_answers,
    heart_scale,
    printed_scale,
    seconds_per_line,
)
from ebbline.recording.paper.sheet import (
    NoStripError,
    Paper,
    cornered,
    papers_of,
    relined,
    turned,
    turning,
    unread,
)
from ebbline.recording.paper.stretches import stretches
from ebbline.recording.paper.timemarks import agreeing, in_step, time_marks
from ebbline.recording.paper.trace import (
    STRONG_INK,
    Path,
    RunOn,
    Sheet,
    follow,
    pen_darkness,
    runs_on,
    sheet_of,
    without_pale,
    without_path,
)

FloatArray = NDArray[np.float64]

SURE_MINUTE = 0.5
"""A minute surer than this is said without a word (ours)."""
RIVAL, RIVAL_S = 0.6, 20.0
"""Where, of all ink over so many seconds, less than this share is the trace's, another may be the
trace (ours)."""
EMPTY_MINUTE = 0.05
"""Less than this is no trace: the pen's width at the rim of a gap (ours)."""
FRAME_LINES, FRAME_SHARE, FRAME_BESIDE = 1.5, 0.4, 0.1
"""Nearer than so many lines to the highest one, for so great a share of the time, activity may be
the paper's frame: it is taken for it where as dark a line stands there above so great a share of
the rest, which no pen could have drawn. Of 7 papers to develop on the most was 0.003 (ours)."""
CLIPPED, CLIPPED_S = 0.93, 150.0
"""Activity beyond such a share of its paper's highest value, on either side of a gap so long at
most, is cut off in between: no contraction's peak lasts longer (ours)."""
STILL, STILL_S, CALM_S = 0.8, 45.0, 3.0
"""Activity whose median over the last keeps within so much for so long does not move at all: of 48
scans and 20 photographs to develop on the share of time with a measuring sensor came out wrong by
2 % so, by 4 % without (ours)."""
FOLD_STRAY, FOLD_BEND, FOLD_SEEN = (0.03, 0.05), (0.5, 0.75), (0.8, 0.5)
"""Level lines are relied on, and not at all: that stray by so much, in lines; whose slope changes
by so much, lines a line; that are seen in such a share of the paper's height. Without a fold none
of 8 pages had 0.01, 0.03 and under 0.98; of 9 folds that were read right the most were 0.08, 0.56
and 1; of 5 that were read a line wrong each passed one of the last limits (ours)."""
ONE_BIT_SURE = 0.3
"""Certainty of what is read from a picture of black and white alone (ours)."""
FOLD_LINES, FOLD_SURE = 2.5, 0.1
"""A fold takes its certainty from so many upright lines to either side, down to this (ours)."""
OFF_PRINT = 0.75
"""Upright lines by which a printed time may stand off its line: at the paper's ends it stands
beside it (ours)."""
LEAST_TRACE_S = 20.0
"""Less ink than this in a row tells no second trace (ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class PaperTrace:
    """One trace read back. values: on an even grid of time from start_s, NaN in gaps.

    certainty: 0..1 of every sample. x, y: place on the picture of every sample, px.
    """

    values: FloatArray
    certainty: FloatArray
    x: FloatArray
    y: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class PaperReading:
    """A picture read. rate_hz: samples a second of every trace. minutes: certainty, 0..1, of each.

    line_s: seconds between upright lines. pen_s: width of the pen's stroke in time, below which
    nothing is told apart. papers: the flat papers, heart rate first. scales: of each.
    start_s: the time printed at the left end, s, None where no times are read. said: what was read
    and taken, in sentences. not_read: what was found and left out, or not found. cut_off: sentences
    about a trace that runs on before, and beyond, what was read; "" where it does not.
    """

    rate_hz: float
    heart: tuple[PaperTrace, ...]
    activity: PaperTrace | None
    line_s: float
    pen_s: float
    minutes: FloatArray
    papers: tuple[Paper, ...]
    scales: tuple[ReadScale, ...]
    said: tuple[str, ...] = ()
    start_s: float | None = None
    cut_off: tuple[str, str] = ("", "")
    not_read: tuple[str, ...] = ()

    @property
    def left_out(self) -> tuple[str, ...]:
        """What was not read, in sentences to be said before any other."""
        empty = [
            sentence
            for name, trace in self._traces
            if np.isfinite(trace.values).any()
            for sentence in _empty(name, trace, self.rate_hz)
        ]
        return (*self.not_read, *filter(None, self.cut_off), *empty)

    @property
    def doubts(self) -> tuple[str, ...]:
        """Sentences about minutes of each trace that were read with doubt."""
        end = "read in part or with doubt: check on the paper."
        said = []
        for name, trace in self._traces:
            there = _shown(trace, self.rate_hz) >= EMPTY_MINUTE
            unsure = np.flatnonzero(there & (by_minute(trace, self.rate_hz) < SURE_MINUTE))
            whose = "" if trace is self.heart[0] else f"of the {name} "
            said += _minutes(unsure, f"{whose}was {end}", f"{whose}were {end}")
        return tuple(said)

    @property
    def extent(self) -> str:
        """How many of its minutes were read, of each trace."""
        whole = f"{len(self.heart[0].values) / self.rate_hz / 60:.0f}"
        told = {name: np.isfinite(one.values).sum() for name, one in self._traces}
        told.setdefault(ACTIVITY, 0)
        # Rounded down: what is missing is not rounded away.
        tenths = {name: int(10 * n / self.rate_hz / 60) for name, n in told.items()}
        read = [f"{name} {f'{n / 10:g}' if n else 'none'}" for name, n in tenths.items()]
        return f"Read of {whole} minutes: {', '.join(read)}."

    @property
    def _traces(self) -> list[tuple[str, PaperTrace]]:
        hearts = zip((HEART, f"second {HEART}"), self.heart, strict=False)
        below = () if self.activity is None else ((ACTIVITY, self.activity),)
        return [*hearts, *below]


HEART, ACTIVITY = "heart rate", "activity"


def read_paper(
    image: Image,
    answers: PaperAnswers,
    where: str = "",
    corrections: Corrections = NONE,
    strip: int = 0,
) -> PaperReading:
    """Read a picture of a strip. strip: which of several, from above downwards.

    Raises RecordingError where no grid, no trace or no scale is found; it says which answer is
    missing. Nothing about speed or scale is guessed: what is not on the page is asked for.
    """
    check_answers(answers, where)
    height, width = image.shape[:2]
    check_corrections(corrections, width, height, where)
    return read_papers(
        found_papers(image, answers, where, corrections, strip), answers, where, corrections
    )


def found_papers(
    image: Image, answers: PaperAnswers, where: str, corrections: Corrections, strip: int = 0
) -> list[Paper]:
    """The papers of a picture, its lines followed; by four corners alone where they cannot be."""
    corners = corrections.corners
    try:
        papers = (
            _light_or_dark(image, where, strip)
            if corners is None
            else papers_of(image, where, corners)
        )
        if papers[0].inverted:
            image = changed(image)
        one_bit = black_and_white(image)
        heart = replace(papers[0], times=time_marks(image, papers[0]), one_bit=one_bit)
        return [heart, *(_whole(image, one, where) for one in papers[1:2])]
    except RecordingError as error:
        if corners is None:
            if not black_and_white(image):
                raise
            raise type(error)(
                f"{error.what} The picture knows black and white alone: faint lines are lost, and "
                "the others are as dark as the trace.",
                where=where,
                remedy="Scan or copy the paper in grey or in colour.",
            ) from error
        if answers.minutes is None or answers.low is None or answers.high is None:
            raise RecordingError(
                error.what,
                where=where,
                remedy="The paper can be read by its four corners alone: say its minutes, and the "
                "bpm of its lowest and highest line.",
            ) from error
        return [cornered(image, corners, *PARTED)]


def changed(image: Image) -> Image:
    """Light and dark of a picture changed for each other."""
    return np.asarray(255 - image, np.uint8)


def _light_or_dark(image: Image, where: str, strip: int) -> list[Paper]:
    """The papers of a picture; of one that is mostly dark, if none are found, with light and dark
    changed: a screen may show a strip so. Raises RecordingError."""
    try:
        return upright_papers(image, where, strip)
    except RecordingError:
        if np.median(image[::8, ::8]) <= MOSTLY_DARK:
            with suppress(RecordingError):
                found = upright_papers(changed(image), where, strip)
                return [replace(one, inverted=True) for one in found]
        raise


MOSTLY_DARK = 110
"""The middle brightness, of 255, of a picture that may be light on dark (ours)."""


def black_and_white(image: Image) -> bool:
    """Whether a picture has hardly any grey or colour: a one-bit copy."""
    darkest = image[::3, ::3].min(axis=2)
    between = float(((darkest > 50) & (darkest < 205)).mean())
    return between < LEAST_GREY < float((darkest <= 50).mean())


LEAST_GREY = 0.005
"""Of a picture's pixels so many are neither black nor white where it has greys at all (ours)."""


def upright_papers(image: Image, where: str, strip: int = 0) -> list[Paper]:
    """The papers the way round in which the numbers beside them are read.

    A picture that lies on its side, or stands on its head, is turned only where three or more
    numbers in step tell so. Raises RecordingError where no papers are found.
    """
    papers: list[Paper] = []
    problem = None
    try:
        papers = papers_of(image, where, strip=strip)
        if _numbered(papers[0], where):
            return papers
    except NoStripError:
        raise
    except RecordingError as error:
        problem = error
    for quarters in (1, 3, 2):
        try:
            found = papers_of(np.ascontiguousarray(np.rot90(image, quarters)), where, strip=strip)
        except RecordingError:
            continue
        if _numbered(found[0], where):
            to = turning(image.shape[0], image.shape[1], quarters)
            return [turned(one, to, quarters) for one in found]
    if problem is not None:
        raise problem
    return papers


def _numbered(paper: Paper, where: str) -> bool:
    """Whether the heart rate's numbers are read beside a paper, or tell that lines were lost."""
    try:
        read = printed_scale(paper, where)
    except RecordingError:
        return True
    return read is not None and read.step < 0


def _whole(image: Image, activity: Paper, where: str) -> Paper:
    """The activity paper with the lines that its trace hid, as its printed numbers tell."""
    ends = activity_ends(activity, where)
    if ends is None or ends == activity.lines[2:]:
        return activity
    return relined(image, activity, *ends)


PARTED = (60, 16)
"""Into so many lines, across and down, a paper is parted whose own are not followed (ours)."""


def read_papers(
    papers: list[Paper], answers: PaperAnswers, where: str, corrections: Corrections = NONE
) -> PaperReading:
    """Read the traces of papers that were found, as corrected. Raises RecordingError."""
    main = papers[0]
    scale, told = heart_scale(main, answers, where)
    line_s, told_time = seconds_per_line(main, scale, answers, where)
    cut_off = _cut_off(main, line_s, corrections)
    said = [
        told,
        told_time,
        *_turned(main),
        *_tones(main),
        *_corrected(main, corrections),
    ]
    rate_hz = _rate(main, line_s)
    count = int((main.lines[1] - main.lines[0]) * line_s * rate_hz)
    clock = _Clock(line_s, rate_hz, count)
    sheet = _sheet(main, corrections)
    resting = _sheet(papers[1], corrections, rests=True) if len(papers) > 1 else None
    inks = [pen_darkness(main.flat, sheet)]
    if resting is not None:
        inks.append(pen_darkness(papers[1].flat, resting))
    # Both were written by one machine.
    dark = max(one[0] for one in inks), max(one[1] for one in inks)
    heart = _traces(main, sheet, scale, clock, answers.fetuses, dark)
    left_out: list[str] = []
    if answers.fetuses == 1:
        heart, left_out = _without_rivals(heart[0], rate_hz)
    heart = [_bent(one, main, clock) for one in heart]
    said += _folded(main, line_s)
    heart = [
        _with_drawn(one, _strokes(main, scale, clock, corrections, fetus))
        for fetus, one in enumerate(heart, start=1)
    ]
    if not np.isfinite(heart[0].values).any():
        if answers.fetuses == 1 and left_out:
            raise ask(
                "no heart-rate trace stands alone: all along other ink weighs as much.",
                where,
                "--paper-traces 2, if the paper shows two heart rates; else erase in the workbench "
                "what is no trace",
            )
        raise unread("no trace was found on the heart-rate paper.", where)
    if len(heart) > 1 and np.isfinite(heart[1].values).sum() < LEAST_TRACE_S * rate_hz:
        raise unread("only one heart-rate trace was found, and two were asked for.", where)
    if len(heart) > 1:
        said += _meetings(heart[0], heart[1], rate_hz, sheet.pen / main.flat.down * abs(scale.step))
    activity = None
    scales = [scale]
    below = None
    if len(papers) > 1:
        below, told = activity_scale(papers[1], where)
        (left_out if below is None else said).append(told)
    if below is not None and resting is not None:
        scales.append(below)
        [activity] = _traces(papers[1], resting, below, clock, 1, dark)
        activity, clipped = _clipped(activity, below.value(papers[1].lines[2]), rate_hz)
        activity = _bent(_stilled(activity, rate_hz), papers[1], clock)
        said += clipped
        if _along_frame(activity, below, papers[1], resting):
            activity = replace(activity, values=np.full(clock.count, np.nan))
            left_out.append(
                "Activity was not read: what was followed runs along its paper's highest line, as "
                "the paper's frame does."
            )
        elif not np.isfinite(activity.values).any():
            left_out.append("Activity was not read: no trace was found on its paper.")
        activity = _with_drawn(activity, _strokes(papers[1], below, clock, corrections, 0))
    elif len(papers) < 2:
        left_out.append("Activity was not read: no paper of it was found below the heart rate's.")
    minutes = by_minute(heart[0], rate_hz)
    pen_s = sheet.pen / main.flat.across * line_s
    return PaperReading(
        rate_hz,
        tuple(heart),
        activity,
        line_s,
        pen_s,
        minutes,
        tuple(papers[: len(scales)]),
        tuple(scales),
        tuple(said),
        _printed_start(main, line_s),
        cut_off,
        tuple(left_out),
    )


def _printed_start(paper: Paper, line_s: float) -> float | None:
    """The time printed at the paper's left end, s; None where it is not read, or runs otherwise."""
    printed = in_step(paper.times)
    if printed is None or abs(60 * printed.per_line / line_s - 1) > SAME_TIME:
        return None
    # The seconds from line to line are known better than two times tell them.
    told = agreeing(paper.times, line_s / 60, off=OFF_PRINT)
    return None if told is None else 60 * told.first + line_s * paper.lines[0]


def _along_frame(trace: PaperTrace, scale: ReadScale, paper: Paper, sheet: Sheet) -> bool:
    """Whether a trace that keeps near the highest line is the frame rather than a trace.

    Activity cut off at its highest value runs there too, but a frame stands there also where the
    pen is elsewhere.
    """
    beneath = scale.value(paper.lines[2] + FRAME_LINES)
    told = trace.values[np.isfinite(trace.values)]
    if not len(told) or float((told > beneath).mean()) <= FRAME_SHARE:
        return False
    top = (paper.lines[2] - paper.flat.top) * paper.flat.down - sheet.top
    band = sheet.ink[: max(1, round(top + FRAME_LINES / 3 * paper.flat.down))]
    inked = np.asarray((band > STRONG_INK).any(axis=0))
    path = follow(sheet)
    elsewhere = np.asarray(path.y > top + FRAME_LINES * paper.flat.down)
    return not elsewhere.any() or float(inked[elsewhere].mean()) > FRAME_BESIDE


def _clipped(trace: PaperTrace, most: float, rate_hz: float) -> tuple[PaperTrace, list[str]]:
    """Activity whose trace leaves the paper above, and comes back, as its highest value there.

    A trace cut off at the highest line cannot be told from the paper's frame.
    """
    values, sure = trace.values.copy(), trace.certainty.copy()
    there = np.flatnonzero(np.isfinite(values))
    filled = 0
    for a, b in pairwise(there):
        if 1 < b - a <= CLIPPED_S * rate_hz and min(values[a], values[b]) > CLIPPED * most:
            values[a + 1 : b] = most
            sure[a + 1 : b] = DRAWN_SURE
            filled += int(b - a - 1)
    if not filled:
        return trace, []
    told = f"{filled / rate_hz:.0f} s of activity run along its highest line or above: taken as "
    return replace(trace, values=values, certainty=sure), [f"{told}{most:g}."]


def _steady(paper: Paper, u: FloatArray) -> FloatArray:
    """How far the paper's level lines can be relied on at upright line numbers u, 0..1.

    On a fold lines may be taken for their neighbours, and stand evenly again between its two rims:
    what strays tells of all that is near.
    """
    if paper.strays is None:
        return np.ones(len(u))
    strays = paper.strays
    told = np.max(
        [
            np.clip((of - good) / (bad - good), 0.0, 1.0)
            for of, (good, bad) in (
                (np.abs(strays.shared) + strays.apart, FOLD_STRAY),
                (strays.bend, FOLD_BEND),
                (strays.seen, FOLD_SEEN),
            )
        ],
        axis=0,
    )
    per_line = (len(told) - 1) / (strays.u[-1] - strays.u[0])
    reach = max(1, round(FOLD_LINES * per_line))
    around = np.pad(told, reach, mode="edge")
    most = np.lib.stride_tricks.sliding_window_view(around, 2 * reach + 1).max(axis=1)
    found: FloatArray = 1.0 - (1.0 - FOLD_SURE) * np.interp(u, strays.u, most)
    return found


def _bent(trace: PaperTrace, paper: Paper, clock: _Clock) -> PaperTrace:
    """The trace with less certainty where its paper's lines stray."""
    times = np.asarray((np.arange(clock.count) + 0.5) / clock.rate_hz, np.float64)
    steady = _steady(paper, paper.lines[0] + times / clock.line_s)
    if paper.one_bit:
        steady = np.minimum(steady, ONE_BIT_SURE)
    return replace(trace, certainty=trace.certainty * steady)


def _folded(paper: Paper, line_s: float) -> list[str]:
    """A sentence about the minutes in which the paper's lines stray."""
    minutes = (paper.lines[1] - paper.lines[0]) * line_s / 60
    middles = np.arange(0.05, minutes, 0.1)
    lost = _steady(paper, paper.lines[0] + middles * 60 / line_s) < SURE_MINUTE
    which = np.unique(np.floor(middles[lost]).astype(int) + 1)
    if not len(which):
        return []
    return [
        f"About minute {_named(which.tolist())} the level lines are not followed surely (a fold, "
        "a stain, faint print): one may have been taken for its neighbour. Check the values on the "
        "paper."
    ]


def _stilled(trace: PaperTrace, rate_hz: float) -> PaperTrace:
    """Activity that moves by less than paper tells as one that does not move at all.

    A sensor that has come off writes a level line. The unrest of its reading is not the sensor's:
    it would look like one that measures.
    """
    size = round(CALM_S * rate_hz) | 1
    around = np.pad(trace.values, size // 2, constant_values=np.nan)
    with warnings.catch_warnings():
        # Gaps have no median.
        warnings.simplefilter("ignore", RuntimeWarning)
        calm = np.nanmedian(np.lib.stride_tricks.sliding_window_view(around, size), axis=1)
    calm = np.where(np.isfinite(trace.values), calm, np.nan)
    values = trace.values.copy()
    start, low, high = 0, np.inf, -np.inf
    for n, here in enumerate((*calm, np.nan)):
        low, high = min(low, here), max(high, here)
        if np.isfinite(here) and high - low <= STILL:
            continue
        if n - start >= STILL_S * rate_hz:
            values[start:n] = np.median(values[start:n])
        start = n if np.isfinite(here) else n + 1
        low, high = (here, here) if np.isfinite(here) else (np.inf, -np.inf)
    return replace(trace, values=values)


def _sheet(paper: Paper, corrections: Corrections, *, rests: bool = False) -> Sheet:
    sheet = sheet_of(paper.flat, paper.lines, followed=paper.followed, rests=rests)
    return without_erased(sheet, paper.flat, paper.warp, corrections.erased)


def _strokes(
    paper: Paper, scale: ReadScale, clock: _Clock, corrections: Corrections, fetus: int
) -> list[Stroke]:
    """What was drawn of one trace, in time."""
    grid = (clock.line_s, clock.rate_hz, clock.count)
    return [
        in_time(one, paper.warp, scale, paper.lines[0], grid)
        for one in corrections.drawn
        if one.fetus == fetus
    ]


def _with_drawn(trace: PaperTrace, strokes: list[Stroke]) -> PaperTrace:
    """The trace with what a person has drawn in place of what was read there."""
    values, sure, x, y = (one.copy() for one in (trace.values, trace.certainty, trace.x, trace.y))
    for stroke in strokes:
        values[stroke.samples] = stroke.values
        sure[stroke.samples] = DRAWN_SURE
        x[stroke.samples], y[stroke.samples] = stroke.x, stroke.y
    return PaperTrace(values, sure, x, y)


RUNS_ON = 0.5
"""From so many distances of two lines on, ink that runs on beyond the last one is told: of 14
pictures that were read whole none had 0.1, of one that lost its end it was 2.1 (ours)."""
LEAVES = 0.12
"""Less of a line than this does not count as reaching the picture's edge (ours)."""


def _cut_off(paper: Paper, line_s: float, corrections: Corrections) -> tuple[str, str]:
    """A sentence for each end at which the trace runs on beyond the lines that were followed."""
    if corrections.corners is not None or not paper.followed:
        # A person has told where the strip begins and ends.
        return "", ""

    def told(on: RunOn, where: str) -> str:
        if on.lines <= RUNS_ON and not (on.leaves and on.lines > LEAVES):
            return ""
        if on.leaves:
            return (
                f"The trace runs on {where} line that was followed, reaches the picture's edge and "
                "goes on outside it: what lies there was not read. Photograph it again with the "
                "strip's end on the picture, or add a shot that overlaps this one."
            )
        return (
            f"The trace runs on {where} line that was followed, for {on.lines * line_s:.0f} s at "
            "least: that part, and all that may follow it, was not read. Move the corners of the "
            "paper there, or photograph it again."
        )

    before, beyond = runs_on(paper.flat, paper.lines)
    return told(before, "before the first"), told(beyond, "beyond the last")


def _turned(paper: Paper) -> list[str]:
    """A sentence where the picture was turned to be read."""
    if not paper.quarters:
        return []
    how = "by half a turn" if paper.quarters == 2 else "by a quarter turn"
    return [f"The picture was turned {how}: its printed numbers are read that way round."]


def _tones(paper: Paper) -> list[str]:
    """Sentences where the picture is light on dark, or has no greys."""
    said = []
    if paper.inverted:
        said.append("The picture is light on dark: it was read with light and dark changed.")
    if paper.one_bit:
        said.append(
            "The picture knows black and white alone: its grid is as dark as its trace, and a line "
            "may have been taken for it. Nothing read from it is sure: scan the paper in grey."
        )
    return said


def _corrected(paper: Paper, corrections: Corrections) -> list[str]:
    """Sentences about what a person has corrected."""
    said = []
    if not paper.followed:
        said.append(
            "The printed lines were not followed: time and values are spread evenly between four "
            "corners told by hand, and what is curled or bent between them reads wrong."
        )
    elif corrections.corners is not None:
        said.append("The corners of the heart-rate paper were told by hand.")
    for strokes, what in (
        (corrections.erased, "erased as no trace"),
        (corrections.drawn, "drawn where a trace was missed"),
    ):
        if strokes:
            count = f"{len(strokes)} strokes were" if len(strokes) > 1 else "One stroke was"
            said.append(f"{count} {what}, by hand.")
    return said


@dataclass(frozen=True, slots=True)
class _Clock:
    """The even grid of time of all traces, from the first upright line on."""

    line_s: float
    rate_hz: float
    count: int


def _rate(paper: Paper, line_s: float) -> float:
    """Samples a second that the paper tells apart: 4, 2 or 1."""
    per_s = paper.flat.across / line_s
    return 4.0 if per_s >= 3.2 else 2.0 if per_s >= 1.6 else 1.0


def _traces(
    paper: Paper,
    sheet: Sheet,
    scale: ReadScale,
    clock: _Clock,
    fetuses: int,
    dark: tuple[float, float],
) -> list[PaperTrace]:
    """The traces of one paper, the clearest first. dark: how dark the pen is (`pen_darkness`)."""
    found = []
    for n in range(fetuses):
        path = without_pale(follow(sheet), paper.flat, sheet, dark)
        found.append(_sampled(path, sheet, paper, scale, clock))
        if n + 1 < fetuses:
            sheet = without_path(sheet, path)
    return found


def _sampled(path: Path, sheet: Sheet, paper: Paper, scale: ReadScale, clock: _Clock) -> PaperTrace:
    """A path on the grid of time: means of the columns that a sample spans, gaps left open."""
    flat = paper.flat
    row = path.y + sheet.top
    columns = np.arange(len(row)) + sheet.left
    line = flat.top + row / flat.down
    seconds = (flat.left + columns / flat.across - paper.lines[0]) * clock.line_s
    bins = np.floor(seconds * clock.rate_hz).astype(int)
    there = np.isfinite(row) & (bins >= 0) & (bins < clock.count)
    number = np.bincount(bins[there], None, clock.count)

    def mean(of: FloatArray) -> FloatArray:
        total = np.bincount(bins[there], of[there], clock.count)
        return np.where(number > 0, total / np.maximum(number, 1), np.nan)

    values = _bridged(mean(scale.first + scale.step * line), clock.rate_hz)
    i = np.clip(np.round(np.nan_to_num(row)).astype(int), 0, flat.x.shape[0] - 1)
    j = np.clip(columns, 0, flat.x.shape[1] - 1)
    return PaperTrace(
        values,
        np.nan_to_num(_bridged(mean(path.sure), clock.rate_hz)),
        mean(flat.x[i, j].astype(np.float64)),
        mean(flat.y[i, j].astype(np.float64)),
    )


def _bridged(values: FloatArray, rate_hz: float) -> FloatArray:
    """Samples between two columns of the paper: paper coarser than the grid of time has none."""
    there = np.flatnonzero(np.isfinite(values))
    filled = values.copy()
    for a, gap in zip(there[:-1], np.diff(there), strict=True):
        if 1 < gap <= max(2, round(0.5 * rate_hz)):
            filled[a : a + gap] = np.linspace(values[a], values[a + gap], gap, endpoint=False)
    return filled


def _without_rivals(trace: PaperTrace, rate_hz: float) -> tuple[list[PaperTrace], list[str]]:
    """The trace without stretches where other ink weighs as much: handwriting, a stamp.

    Which of the two is the trace is not guessed: those stretches are missing signal.
    """
    size = max(1, round(RIVAL_S * rate_hz))
    there = np.isfinite(trace.values).astype(float)
    window = np.ones(size)
    share = np.convolve(trace.certainty * there, window, "same") / np.maximum(
        np.convolve(there, window, "same"), 1.0
    )
    lost = (share < RIVAL) & (there > 0)
    if not lost.any():
        return [trace], []
    seconds = float(lost.sum()) / rate_hz
    told = (
        f"{seconds:.0f} s of heart rate were left out: other ink there weighs as much as the trace."
    )
    if lost.sum() > SECOND_SHARE * there.sum():
        told += f" {SECOND}"
    return [replace(trace, values=np.where(lost, np.nan, trace.values))], [told]


SECOND_SHARE = 0.3
"""Other ink that weighs as much for such a share of the trace may be a second one (ours)."""
SECOND = (
    "It may be a second trace, of a twin or of the mother's pulse: say --paper-traces 2 if the "
    "paper shows two."
)


def _meetings(one: PaperTrace, other: PaperTrace, rate_hz: float, pen_bpm: float) -> list[str]:
    """A sentence about where two traces meet and part: their ink does not tell which is which."""
    apart = np.abs(one.values - other.values)
    # Beneath one stroke the second trace is not seen.
    parted = apart > PENS_APART * pen_bpm
    rows = [(a, b) for a, b in stretches(parted) if b - a >= LEAST_APART_S * rate_hz]
    met = [
        (before[1] + after[0]) / 2
        for before, after in pairwise(rows)
        if np.nanmin(apart[before[1] - 1 : after[0] + 1]) <= PENS_APART * pen_bpm
        or after[0] - before[1] <= LEAST_APART_S * rate_hz
    ]
    if not met:
        return []
    minutes = list(dict.fromkeys(int(at / rate_hz / 60) + 1 for at in met))
    return [
        f"The two traces meet or cross in minute {_named(minutes)}: which of them goes on as "
        "which the paper does not tell. From there on fetus 1 and fetus 2 may have changed places: "
        "check on the paper."
    ]


PENS_APART, LEAST_APART_S = 1.5, 4.0
"""Two traces meet that stand no more than so many strokes apart, and have parted when they stand
farther apart for so long (ours)."""


def by_minute(trace: PaperTrace, rate_hz: float) -> FloatArray:
    """How sure each minute is, 0..1: the mean over its samples, of which missing ones count 0."""
    return _minute_means(np.where(np.isfinite(trace.values), trace.certainty, 0.0), rate_hz)


def _minute_means(values: FloatArray, rate_hz: float) -> FloatArray:
    size = round(60 * rate_hz)
    return np.array([values[start : start + size].mean() for start in range(0, len(values), size)])


def _named(minutes: list[int]) -> str:
    """Numbers of minutes, three or more in a row as one; beyond twelve the others are counted."""
    gaps = [n for n in range(1, len(minutes)) if minutes[n] != minutes[n - 1] + 1]
    said, told = [], 0
    for a, b in pairwise([0, *gaps, len(minutes)]):
        row = minutes[a:b]
        said += [f"{row[0]} to {row[-1]}"] if len(row) > 2 else [*map(str, row)]
        told += len(row)
        if len(said) >= MOST_NAMED and told < len(minutes):
            return f"{', '.join(said)} and {len(minutes) - told} others"
    return ", ".join(said)


MOST_NAMED = 12
"""So many minutes, or rows of them, are named (ours)."""


def _shown(trace: PaperTrace, rate_hz: float) -> FloatArray:
    """The share of each minute in which a trace was read."""
    return _minute_means(np.isfinite(trace.values).astype(np.float64), rate_hz)


def _minutes(which: NDArray[np.int64], one: str, several: str) -> list[str]:
    if not len(which):
        return []
    named = _named((which + 1).tolist())
    return [f"Minute {named} {one}" if len(which) == 1 else f"Minutes {named} {several}"]


def _empty(name: str, trace: PaperTrace, rate_hz: float) -> list[str]:
    """A sentence about minutes in which no trace was read."""
    which = np.flatnonzero(_shown(trace, rate_hz) < EMPTY_MINUTE)
    return _minutes(which, f"shows no {name}.", f"show no {name}.")
