"""What lies on the paper: tints, grid, baseline, traces; and the bands and times beside it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from ebbline.features.findings import Acceleration, Curve, Deceleration
from ebbline.picture.canvas import (
    Anchor,
    Group,
    Line,
    Points,
    Polygon,
    Polyline,
    Rect,
    Shape,
    Stroke,
    Text,
    hatch,
    points,
)
from ebbline.picture.fonts import overlap, text_box, text_width, wrapped
from ebbline.picture.paper import (
    Panel,
    activity_grid,
    activity_numbers,
    label_times,
    multiples,
    rate_grid,
    rate_numbers,
)
from ebbline.picture.strip_request import Job
from ebbline.picture.style import (
    BAND,
    BASELINE,
    BODY,
    FALL_TINT,
    GUIDE,
    INK,
    LOST,
    MATERNAL_TRACE,
    OTHER_TRACE,
    PAPER,
    QUIET_INK,
    RISE_TINT,
    SMALL,
    TRACE,
)
from ebbline.picture.trace import pieces, stretches
from ebbline.recording.model import Channel

BAND_HEIGHT = 0.2
TIME_ROW = 0.37

_CLEAR = 0.06
"""Room kept between a label and a trace, cm."""
_CROSS = 0.06
_ARROW = 0.08
_ARROWS_APART_CM = 0.3
_CROSS_EVERY_CM = 1.5
_NUMBERS_EVERY_CM = 24.0
_LABEL_STEP_CM = 0.5
_NO_ACTIVITY = "no activity channel in this recording: contractions cannot be assessed"
_ALL_VALID = 0.995
_NARROW_CM = 4.0
_SEEN_CM = 26.0
"""Of a long sheet, what is before the eye at its beginning."""


def _lines(channel: Channel, panel: Panel) -> list[Points]:
    return pieces(channel.samples, channel.rate_hz, panel)


def _under(lines: Sequence[Points], stroke: Stroke) -> list[Shape]:
    return [Polyline(line, stroke) for line in lines]


def _baseline(curve: Curve, panel: Panel) -> list[Points]:
    return pieces(curve.values, 1 / curve.step_s, panel, curve.start_s)


def _tint(
    job: Job, panel: Panel, event: Acceleration | Deceleration, side: np.ufunc, colour: str
) -> list[Shape]:
    """The area between the event and the baseline, open where either is lost.

    side: np.maximum for what lies below the baseline on the sheet, np.minimum for above.
    """
    curve = job.fetal.findings.fetal.baseline_curve
    begin_s, stop_s = max(event.onset_s, panel.start_s), min(event.end_s, panel.end_s)
    if begin_s >= stop_s or len(curve.values) < 2:
        return []
    part = replace(panel, left=panel.x(begin_s), start_s=begin_s, end_s=stop_s)
    areas: list[Shape] = []
    for line in _lines(job.rate, part):
        inside = line[(line[:, 0] >= part.left) & (line[:, 0] <= part.right)]
        times_s = begin_s + (inside[:, 0] - part.left) / part.cm_per_s
        level = np.interp(
            (times_s - curve.start_s) / curve.step_s, np.arange(len(curve.values)), curve.values
        )
        # Where ten minutes have no baseline, the one that the event left is still known.
        level = np.where(np.isfinite(level), level, event.baseline_bpm)
        known = np.isfinite(level)
        if known.sum() < 2:
            continue
        x, edge = inside[known, 0], panel.y(level[known])
        reached = side(inside[known, 1], edge)
        out, back = np.column_stack([x, reached]), np.column_stack([x, edge])[::-1]
        areas.append(Polygon(np.vstack([out, back]), colour))
    return areas


def _left_levels(job: Job, panel: Panel) -> list[Shape]:
    """The level that a fall left, drawn through it where the ten minutes have no baseline."""
    fetal = job.fetal.findings.fetal
    curve = fetal.baseline_curve
    drawn: list[Shape] = []
    for fall in fetal.decelerations:
        begin_s, stop_s = max(fall.onset_s, panel.start_s), min(fall.end_s, panel.end_s)
        first = max(0, int((begin_s - curve.start_s) / curve.step_s))
        last = max(first + 1, int((stop_s - curve.start_s) / curve.step_s))
        if begin_s >= stop_s or np.isfinite(curve.values[first:last]).any():
            continue
        y = panel.y(fall.baseline_bpm)
        drawn.append(Line(panel.x(begin_s), y, panel.x(stop_s), y, BASELINE))
    return drawn


def _guides(job: Job, panel: Panel) -> list[Shape]:
    """A dotted line at each contraction's peak, to see what comes before and after it."""
    return [
        Line(panel.x(one.peak_s), panel.top, panel.x(one.peak_s), panel.bottom, GUIDE)
        for one in job.fetal.findings.uterine.contractions
        if panel.start_s <= one.peak_s <= panel.end_s
    ]


def _crosses(lines: Sequence[Points], panel: Panel) -> list[Shape]:
    """Small crosses along the mother's pulse, that tell it from a fetus without colour."""
    drawn: list[Shape] = []
    for x in np.arange(panel.left + _CROSS_EVERY_CM / 2, panel.right, _CROSS_EVERY_CM).tolist():
        for line in lines:
            if line[0, 0] <= x <= line[-1, 0]:
                y = float(np.interp(x, line[:, 0], line[:, 1]))
                drawn += cross(x, y)
    return drawn


def cross(x: float, y: float) -> tuple[Shape, ...]:
    """The sign of the mother's pulse."""
    return (
        Line(x - _CROSS, y - _CROSS, x + _CROSS, y + _CROSS, MATERNAL_TRACE),
        Line(x - _CROSS, y + _CROSS, x + _CROSS, y - _CROSS, MATERNAL_TRACE),
    )


def is_free(box: tuple[float, float, float, float], lines: Sequence[Points]) -> bool:
    """Whether a box (left, top, right, bottom) lies wholly above or below each line, with room."""
    left, top, right, bottom = box
    for line in lines:
        near = line[(line[:, 0] >= left - _CLEAR) & (line[:, 0] <= right + _CLEAR), 1]
        if len(near) and near.min() < bottom + _CLEAR and near.max() > top - _CLEAR:
            return False
    return True


def _beside(
    words: str, line: Sequence[Points], every: Sequence[Points], panel: Panel
) -> list[Text]:
    """The name of a trace, just above or below it at the first place free of any trace."""
    width = text_width(words, BODY, bold=True)
    for x in np.arange(panel.left + 0.15, panel.right - width - 0.15, _LABEL_STEP_CM).tolist():
        own = [part[(part[:, 0] >= x) & (part[:, 0] <= x + width), 1] for part in line]
        heights = np.concatenate(own) if own else np.empty(0)
        if not len(heights):
            continue
        for y in (heights.min() - 0.2, heights.max() + 0.38):
            label = Text(x, y, words, BODY, INK, bold=True)
            box = text_box(label)
            inside = panel.top + _CLEAR < box[1] and box[3] < panel.bottom - _CLEAR
            if inside and is_free(box, every):
                return [label]
    return []


def _repeated_numbers(
    panel: Panel, values: list[tuple[float, bool]], every: Sequence[Points], taken: Sequence[Text]
) -> list[Text]:
    """On a long sheet the scale again and again, wherever no trace lies under a number."""
    drawn: list[Text] = []
    step_s = _NUMBERS_EVERY_CM / panel.cm_per_s // 60 * 60
    for time_s in multiples(step_s, panel.start_s + step_s / 2, panel.end_s - step_s / 2):
        x = panel.x(time_s) + 0.06
        near = [line for line in every if line[-1, 0] > x - 1 and line[0, 0] < x + 1]
        column: list[Text] = []
        for value, bold in values:
            y = panel.y(value) - 0.04
            text = Text(x, y, f"{value:.0f}", SMALL, QUIET_INK, bold)
            box = text_box(text)
            if box[1] > panel.top and is_free(box, near):
                column += _apart([text], [*taken, *column])
        drawn += column
    return drawn


def rate_panel(job: Job, panel: Panel) -> list[Shape]:
    """The heart-rate paper with all that lies on it."""
    fetal = job.fetal.findings.fetal
    own = _lines(job.rate, panel)
    others = [(channel, _lines(channel, panel)) for channel in job.others]
    mothers = _lines(job.maternal, panel) if job.maternal else []
    levels = _baseline(fetal.baseline_curve, panel) if job.marks else []
    every = [*own, *(line for _, lines in others for line in lines), *mothers, *levels]

    under: list[Shape] = []
    over: list[Shape] = []
    if job.marks:
        for fall in fetal.decelerations:
            under += _tint(job, panel, fall, np.maximum, FALL_TINT)
        for rise in fetal.accelerations:
            under += _tint(job, panel, rise, np.minimum, RISE_TINT)
        over += _guides(job, panel)
    for _, lines in others:
        over += _under(lines, OTHER_TRACE)
    over += [*_under(mothers, MATERNAL_TRACE), *_crosses(mothers, panel)]
    over += [*_under(levels, BASELINE), *(_left_levels(job, panel) if job.marks else ())]
    over += _under(own, TRACE)

    labels: list[Text] = []
    named = [(f"fetus {channel.fetus}", lines) for channel, lines in others]
    if others:
        named.insert(0, (f"fetus {fetal.fetus}", own))
    if mothers:
        named.append(("mother", mothers))
    for words, lines in named:
        labels += _apart(_beside(words, lines, every, panel), labels)
    if job.continuous:
        labels += _repeated_numbers(panel, rate_numbers(panel, job.paper), every, labels)
    return [
        Group(tuple(under), clip=panel.frame),
        *rate_grid(panel, job.paper),
        Group(tuple(over), clip=panel.frame),
        *labels,
    ]


def _apart(new: list[Text], old: Sequence[Text]) -> list[Text]:
    """The new labels that lie on none of the old."""
    boxes = [text_box(one) for one in old]
    return [one for one in new if not any(overlap(text_box(one), box) for box in boxes)]


def activity_panel(job: Job, panel: Panel) -> list[Shape]:
    """The activity paper with its trace, or in words that there is none."""
    grid = activity_grid(panel, job.paper)
    if job.activity is None:
        return [*grid, *_in_the_middle(_NO_ACTIVITY, panel)]
    lines = _lines(job.activity, panel)
    guides = _guides(job, panel) if job.marks else []
    repeated = (
        _repeated_numbers(panel, activity_numbers(panel), lines, []) if job.continuous else []
    )
    on_paper = Group((*guides, *_under(lines, TRACE)), clip=panel.frame)
    return [*grid, on_paper, *_beyond(job.activity, panel), *repeated]


def _in_the_middle(words: str, panel: Panel) -> list[Shape]:
    """Words in the middle of a panel, on a ground of their own so that no line runs through.

    Of a panel too narrow for them they stand at its right.
    """
    if panel.width < _NARROW_CM:
        beside = panel.right + 0.8
        return [Text(beside, (panel.top + panel.bottom) / 2, words, BODY, INK)]
    seen = min(panel.width, _SEEN_CM)
    lines = wrapped(words, seen - 0.4, BODY)
    top = (panel.top + panel.bottom) / 2 - 0.17 * len(lines)
    drawn: list[Shape] = []
    for n, line in enumerate(lines):
        label = Text(panel.left + seen / 2, top + n * 0.34, line, BODY, INK, anchor=Anchor.MIDDLE)
        left, above, right, below = text_box(label)
        drawn += [Rect(left - 0.1, above, right - left + 0.2, below - above, PAPER), label]
    return drawn


def _beyond(channel: Channel, panel: Panel) -> list[Shape]:
    """An arrowhead inside the edge over each stretch that leaves the paper there."""
    samples = channel.samples
    drawn: list[Shape] = []
    for excess, edge, inwards in (
        (samples > panel.highest, panel.top, 1.0),
        (samples < panel.lowest, panel.bottom, -1.0),
    ):
        for begin, end in stretches(excess, _ARROWS_APART_CM / panel.cm_per_s * channel.rate_hz):
            middle_s = (begin + end) / 2 / channel.rate_hz
            if panel.start_s <= middle_s <= panel.end_s:
                drawn += arrowhead(panel.x(middle_s), edge, inwards)
    return drawn


def arrowhead(x: float, edge: float, inwards: float) -> tuple[Shape, ...]:
    """The sign of a trace that goes on beyond the paper; inwards: 1 downwards, -1 upwards."""
    foot = edge + inwards * _ARROW * 1.6
    return (Polygon(points([(x, edge), (x - _ARROW, foot), (x + _ARROW, foot)]), INK),)


def signal_band(curve: Curve, panel: Panel, top: float) -> list[Shape]:
    """For each minute, solid from below as much as was valid, hatched above as much as was lost."""
    drawn: list[Shape] = []
    for i, share in enumerate(curve.values.tolist()):
        begin = max(curve.start_s + i * curve.step_s, panel.start_s)
        end = min(curve.start_s + (i + 1) * curve.step_s, panel.end_s)
        if end <= begin:
            continue
        share = 0.0 if math.isnan(share) else share
        x, width = panel.x(begin), (end - begin) * panel.cm_per_s
        solid = BAND_HEIGHT * (1.0 if share >= _ALL_VALID else share)
        drawn.append(Rect(x, top + BAND_HEIGHT - solid, width, solid, BAND))
        if solid < BAND_HEIGHT:
            drawn.append(hatch(Rect(x, top, width, BAND_HEIGHT - solid), LOST, spacing=0.07))
    drawn.append(Rect(panel.left, top, panel.width, BAND_HEIGHT, None, Stroke(QUIET_INK, 0.4)))
    return drawn


def time_row(panel: Panel, speed: int, start: datetime | None, top: float) -> list[Shape]:
    """Times from the recording's start, and of the clock where it is known."""
    drawn: list[Shape] = []
    free_from = -math.inf
    for time_s in label_times(panel.start_s, panel.end_s, speed):
        minutes = round(time_s / 60)
        since = f"{minutes // 60}:{minutes % 60:02d}"
        clock = f"· {_clock(start, time_s)}" if start else ""
        first, second = text_width(since, BODY, bold=True) + 0.06, text_width(clock, SMALL)
        left = max(
            min(panel.x(time_s) - (first + second) / 2, panel.right - first - second), panel.left
        )
        if left < free_from:
            continue
        free_from = left + first + second + 0.2
        drawn.append(Text(left, top + 0.22, since, BODY, INK, bold=True))
        if clock:
            drawn.append(Text(left + first, top + 0.22, clock, SMALL, QUIET_INK))
    return drawn


def _clock(start: datetime, time_s: float) -> str:
    moment = start + timedelta(seconds=round(time_s))
    return f"{moment:%H:%M:%S}" if moment.second else f"{moment:%H:%M}"
