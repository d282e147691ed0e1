"""One sheet of the strip: where each part stands, from the title block down to the caution."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from ebbline.picture import columns, lanes, marks, text_sheets, titles
from ebbline.picture.canvas import Anchor, Line, Page, Rect, Shape, Text, hatch
from ebbline.picture.lanes import Mark, Placed
from ebbline.picture.panels import (
    BAND_HEIGHT,
    TIME_ROW,
    activity_panel,
    cross,
    rate_panel,
    signal_band,
    time_row,
)
from ebbline.picture.paper import (
    ACTIVITY_RANGE,
    Panel,
    activity_numbers,
    numbers,
    rate_numbers,
)
from ebbline.picture.strip_request import Job
from ebbline.picture.style import (
    BASELINE,
    FALL_TINT,
    LOST,
    MATERNAL_TRACE,
    OTHER_TRACE,
    QUIET_INK,
    RISE_TINT,
    SMALL,
    TRACE,
)
from ebbline.picture.titles import Block, Sample
from ebbline.reading.model import TenMinutes
from ebbline.reading.summary import summarise
from ebbline.terms import SensorKind, Window

WIDTH, HEIGHT = 29.7, 21.0
"""A4 across, cm (ISO 216)."""
MARGIN = 0.5
SIDE = 0.95
OTHER_SIDE = 0.6
PAPER_WIDTH = WIDTH - 2 * MARGIN - SIDE - OTHER_SIDE
LEFT, RIGHT = MARGIN, WIDTH - MARGIN

_GAP = 0.12
_LEAST_GAP = 0.12
_MOST_GAP = 0.35
_KEPT_SPARE = 0.35
"""Room left free on the first page for a second row of the legend on others."""


@dataclass(frozen=True, slots=True)
class Marks:
    """The marks of the whole strip by where they stand."""

    suspect: tuple[Mark, ...]
    above: tuple[Mark, ...]
    below: tuple[Mark, ...]
    activity: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class Set:
    """The marks of one page in their lanes."""

    suspect: tuple[Placed, ...]
    above: tuple[Placed, ...]
    below: tuple[Placed, ...]
    activity: tuple[Placed, ...]


@dataclass(frozen=True, slots=True)
class Arrangement:
    """What all pages have in common, so that they can be laid edge to edge.

    lanes: how many are filled before names are shortened. head: height of the title block, and
    gap: room below it, cm. suspect, above, below, activity: lanes kept free for these marks on
    every page. complete: whether the title block held every word.
    """

    marks: Marks
    lanes: int
    columns: tuple[TenMinutes, ...]
    head: float
    gap: float
    suspect: int
    above: int
    below: int
    activity: int
    complete: bool


def arrange(job: Job, windows: Sequence[Window], lanes_wanted: int) -> Arrangement:
    """The arrangement that has room for the fullest of the pages."""
    every = _marks(job)
    sets = [_set(every, lanes_wanted, _panel(job, window)) for window in windows]
    head = _head(job, windows[0])
    tight = Arrangement(
        marks=every,
        lanes=lanes_wanted,
        columns=_columns(job),
        head=head.height,
        gap=_GAP,
        suspect=max(lanes.lane_count(one.suspect) for one in sets),
        above=max(lanes.lane_count(one.above) for one in sets),
        below=max(lanes.lane_count(one.below) for one in sets),
        activity=max(lanes.lane_count(one.activity) for one in sets),
        complete=head.complete,
    )
    spare = HEIGHT - MARGIN - titles.FOOT_HEIGHT - _contents(job, tight, windows[0]).height
    return replace(tight, gap=_GAP + min(max(spare - _KEPT_SPARE, 0.0) / 2, _MOST_GAP))


def strip_page(job: Job, arrangement: Arrangement, window: Window, number: int, pages: int) -> Page:
    """The page that shows one stretch of the strip."""
    contents = _contents(job, arrangement, window)
    width = _panel(job, window).right + OTHER_SIDE + MARGIN
    return _sheet(contents, width, number, pages, job)


def _contents(job: Job, arrangement: Arrangement, window: Window) -> Block:
    """All of a page but its foot; height: how far down it reaches."""
    placed = _set(arrangement.marks, arrangement.lanes, _panel(job, window))
    shapes: list[Shape] = list(_head(job, window).shapes)
    y = MARGIN + arrangement.head + arrangement.gap
    for part in (_rate_part, _activity_part, _numbers_part):
        block = part(job, arrangement, placed, window, y)
        shapes += block.shapes
        y += block.height
    return Block(tuple(shapes), y)


def _rate_part(job: Job, kept: Arrangement, placed: Set, window: Window, top: float) -> Block:
    """Signal band, heart rate, the names above and below it, and the times."""
    band_top = top + kept.suspect * lanes.PITCH
    y = band_top + (BAND_HEIGHT + 0.06 if job.marks else 0.0)
    y += max(kept.above * lanes.PITCH + 0.04, _LEAST_GAP)
    rate = _panel(job, window, y)
    times_top = rate.bottom + max(kept.below * lanes.PITCH + 0.04, _LEAST_GAP)
    shapes = lanes.shapes(placed.suspect, rate, band_top - 0.02, above=True)
    if job.marks:
        shapes += signal_band(job.fetal.findings.fetal.valid, rate, band_top)
        shapes.append(_row_name("signal", band_top + 0.17))
    shapes += lanes.shapes(placed.above, rate, rate.top, above=True)
    shapes += rate_panel(job, rate)
    shapes += [*numbers(rate, rate_numbers(rate, job.paper)), _axis_name("heart rate, bpm", rate)]
    shapes += lanes.shapes(placed.below, rate, rate.bottom, above=False)
    shapes += time_row(rate, job.paper.speed, job.recording.start, times_top)
    shapes.append(_row_name("h:min", times_top + 0.22))
    return Block(tuple(shapes), times_top + TIME_ROW - top)


def _activity_part(job: Job, kept: Arrangement, placed: Set, window: Window, top: float) -> Block:
    """Activity, the contractions below it, and its signal band."""
    panel = replace(
        _panel(job, window, top),
        height=job.paper.activity_height,
        lowest=ACTIVITY_RANGE[0],
        highest=ACTIVITY_RANGE[1],
    )
    shapes = activity_panel(job, panel)
    shapes += [*numbers(panel, activity_numbers(panel)), _axis_name(_activity(job), panel)]
    shapes += lanes.shapes(placed.activity, panel, panel.bottom, above=False)
    y = panel.bottom + 0.08 + kept.activity * lanes.PITCH
    if job.marks and job.activity is not None:
        shapes += signal_band(job.fetal.findings.uterine.measured, panel, y)
        shapes.append(_row_name("signal", y + 0.17))
        y += BAND_HEIGHT
    return Block(tuple(shapes), y - top)


def _numbers_part(job: Job, kept: Arrangement, placed: Set, window: Window, top: float) -> Block:
    """The ten-minute columns, or boxes for one's own reading, and the legend."""
    panel = _panel(job, window)
    if job.marks:
        y = top + 0.08 + columns.HEIGHT
        shapes = columns.shapes(kept.columns, panel, top + 0.08)
        shapes.append(_row_name("10 min", top + 0.38))
    else:
        own = titles.own_reading(panel.left, panel.left + PAPER_WIDTH, top + 0.2)
        y = top + 0.2 + own.height
        shapes = list(own.shapes)
    explained = titles.legend(_samples(job, placed), LEFT, RIGHT, y + 0.02)
    return Block((*shapes, *explained.shapes), y + explained.height + 0.05 - top)


def word_pages(job: Job) -> list[Callable[[int, int], Page]]:
    """The sheets with the reading in words, each still to be told its number."""
    height = HEIGHT - 2 * MARGIN - 0.6
    sheets = text_sheets.sheets(job.reading, job.fetal, LEFT, MARGIN, RIGHT - LEFT, height)

    def made(shapes: tuple[Shape, ...]) -> Callable[[int, int], Page]:
        return lambda number, pages: _sheet(Block(shapes, 0.0), WIDTH, number, pages, job)

    return [made(shapes) for shapes in sheets]


def _sheet(contents: Block, width: float, number: int, pages: int, job: Job) -> Page:
    """The page with its foot; taller than A4 only when what is on it needs that."""
    needed = contents.height + titles.FOOT_HEIGHT + MARGIN
    height = needed if job.continuous and contents.height else max(HEIGHT, needed)
    taller = needed > HEIGHT and not job.continuous
    note = "sheet taller than A4 · " if taller else ""
    foot = titles.foot(number, pages, LEFT, RIGHT, height - MARGIN - titles.FOOT_HEIGHT, note)
    title = f"Strip of recording {job.recording.name}, page {number} of {pages}"
    return Page(max(WIDTH, width), height, (*contents.shapes, *foot), title)


def _head(job: Job, window: Window) -> Block:
    title = titles.title_block(job, window, LEFT, RIGHT, MARGIN)
    top = MARGIN + title.height
    below = (
        titles.class_block(job.fetal, LEFT, RIGHT, top)
        if job.marks
        else titles.blind_block(LEFT, RIGHT, top)
    )
    return Block(
        (*title.shapes, *below.shapes),
        title.height + below.height,
        title.complete and below.complete,
    )


def _panel(job: Job, window: Window, top: float = 0.0) -> Panel:
    """The heart-rate paper of a page; without its top only its times count."""
    paper = job.paper
    return Panel(
        MARGIN + SIDE,
        top,
        paper.rate_height,
        window.start_s,
        window.end_s,
        paper.cm_per_s,
        paper.lowest_bpm,
        paper.highest_bpm,
    )


def _marks(job: Job) -> Marks:
    high, low = marks.off_scale(job.rate, _panel(job, job.window))
    above = [*high, *marks.second_stage(job.reading.context)]
    below = list(low)
    active: list[Mark] = []
    suspect: list[Mark] = []
    if job.marks:
        findings = job.fetal.findings
        above += marks.rises(findings.fetal)
        below += marks.falls(findings.fetal)
        active += marks.contractions(findings.uterine)
        suspect += marks.artefacts(findings.fetal.artefacts, job.paper.cm_per_s)
    return Marks(tuple(suspect), tuple(above), tuple(below), tuple(active))


def _columns(job: Job) -> tuple[TenMinutes, ...]:
    """The columns of the stretch that is drawn, which may be another than the one read."""
    review = job.fetal.review
    if not job.marks:
        return ()
    if review.window == job.window:
        return review.columns
    return summarise(job.fetal.findings, job.window).columns


def _set(every: Marks, wanted: int, panel: Panel) -> Set:
    return Set(
        lanes.place(every.suspect, panel, wanted),
        lanes.place(every.above, panel, wanted),
        lanes.place(every.below, panel, wanted),
        lanes.place(every.activity, panel, 1),
    )


def _activity(job: Job) -> str:
    if job.activity is None:
        return "activity"
    catheter = job.activity.sensor is SensorKind.PRESSURE_CATHETER
    return "pressure, mmHg" if catheter else "activity, no unit"


def _axis_name(name: str, panel: Panel) -> Text:
    """What the numbers at the left count, written upwards beside them."""
    middle = (panel.top + panel.bottom) / 2
    return Text(MARGIN + 0.28, middle, name, SMALL, QUIET_INK, anchor=Anchor.MIDDLE, turn=-90)


def _row_name(name: str, y: float) -> Text:
    return Text(MARGIN + SIDE - 0.08, y, name, SMALL, QUIET_INK, anchor=Anchor.END)


def _samples(job: Job, placed: Set) -> list[Sample]:
    """The legend of what this page shows."""
    several = bool(job.others) or job.maternal is not None
    found = [
        Sample(
            f"fetus {job.fetal.fetus}" if several else "heart rate",
            lambda x, y: (Line(x, y, x + 0.6, y, TRACE),),
        )
    ]
    found += [
        Sample(f"fetus {other.fetus}", lambda x, y: (Line(x, y, x + 0.6, y, OTHER_TRACE),))
        for other in job.others
    ]
    if job.maternal is not None:
        found.append(
            Sample(
                "mother",
                lambda x, y: (Line(x, y, x + 0.6, y, MATERNAL_TRACE), *cross(x + 0.3, y)),
            )
        )
    if job.marks:
        found += [
            Sample("baseline", lambda x, y: (Line(x, y, x + 0.6, y, BASELINE),)),
            Sample("deceleration", lambda x, y: (Rect(x, y - 0.1, 0.6, 0.2, FALL_TINT),)),
            Sample("acceleration", lambda x, y: (Rect(x, y - 0.1, 0.6, 0.2, RISE_TINT),)),
            Sample(
                "signal lost, share of each minute",
                lambda x, y: (hatch(Rect(x, y - 0.1, 0.6, 0.2), LOST, spacing=0.07),),
            ),
        ]
    found += [Sample(words) for words in _letters(placed)]
    if any(not one.mark.sure for one in _all(placed)):
        found.append(Sample(f"? certainty below {marks.SURE * 100:.0f} %"))
    return found


def _all(placed: Set) -> list[Placed]:
    return [*placed.suspect, *placed.above, *placed.below, *placed.activity]


def _letters(placed: Set) -> list[str]:
    """What the letters stand for that had to be used for want of room."""
    used = [
        one.mark.letter
        for one in _all(placed)
        if one.mark.letter and one.name == one.mark.names[-1]
    ]
    return list(dict.fromkeys(used))
