"""What stands around the strip: title block, classes with their reasons, legend, caution."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta

from ebbline import CAUTION, __version__
from ebbline.criteria.model import Classification, Level
from ebbline.picture.canvas import (
    Anchor,
    Circle,
    Line,
    Polygon,
    Rect,
    Shape,
    Stroke,
    Text,
    points,
)
from ebbline.picture.fonts import shortened, text_width, wrapped
from ebbline.picture.paper import ACTIVITY_PER_CM
from ebbline.picture.strip_request import Job
from ebbline.picture.style import BODY, FRAME, GRID_MAJOR, HEAD, INK, PAPER, QUIET_INK, SMALL
from ebbline.reading.model import FetalReading
from ebbline.reading.text import elapsed, share
from ebbline.recording.model import ChannelKind, Recording
from ebbline.terms import SensorKind, Stage, Window

CLASS_LINES = 2
FOOT_HEIGHT = 0.36
_LINE = 0.31
_REASON_LINE = 0.27
_BAR_CM = 5
_CAUTION = 7.2
_SIGN = 0.32
_CLASS = 8.4
"""Room for the sign before a class, cm, and the size of its heading, points."""
_PANEL_WORDS = ("normal", "suspicious", "pathological")
_SPACE = 0.35
_OWN_READING = (
    "Signal quality",
    "Contractions",
    "Baseline",
    "Variability",
    "Accelerations",
    "Decelerations",
    "Change, class, why",
)
_OWN_HEIGHT = 2.6


@dataclass(frozen=True, slots=True)
class Block:
    """Shapes, how much height they took (cm), and whether every word found room."""

    shapes: tuple[Shape, ...]
    height: float
    complete: bool = True


def window_in_words(recording: Recording, window: Window) -> str:
    """'0:30:00 to 1:00:00 of 1:30:00, 12 March 2031 14:35:00 to 15:05:00 UTC'."""
    span = (
        f"{elapsed(window.start_s)} to {elapsed(window.end_s)} of {elapsed(recording.duration_s)}"
    )
    if recording.start is None:
        return f"{span}, clock time not known"
    begin, end = (
        recording.start + timedelta(seconds=round(s)) for s in (window.start_s, window.end_s)
    )
    next_day = f"{end:%d %B} " if end.date() != begin.date() else ""
    zone = f" {begin.tzname()}" if begin.tzinfo else ""
    return f"{span}, {begin.day} {begin:%B %Y %H:%M:%S} to {next_day}{end:%H:%M:%S}{zone}"


def _sensor(kind: SensorKind) -> str:
    return "sensor not known" if kind is SensorKind.UNKNOWN else kind.value


def activity_in_words(recording: Recording) -> str:
    """What the activity channel is and can show."""
    channel = recording.first(ChannelKind.UTERINE_ACTIVITY)
    if channel is None:
        return "no activity channel"
    if channel.sensor is SensorKind.PRESSURE_CATHETER:
        return "activity by pressure catheter, mmHg"
    return f"activity by {_sensor(channel.sensor)}, no unit: times only, never strength"


def facts(job: Job) -> list[str]:
    """The facts a reader must know before reading: sensors, gestation, stage, signal."""
    recording, fetal, context = job.recording, job.fetal, job.reading.context
    stage = context.stage_at(job.window.end_s - 1.0)
    words = []
    if len(recording.fetuses) > 1:
        words.append(f"fetus {fetal.fetus} of {len(recording.fetuses)}")
    words.append(f"heart rate by {_sensor(job.rate.sensor)}")
    words.append(activity_in_words(recording))
    words.append(
        "gestation not known"
        if context.weeks is None
        else f"{math.floor(context.weeks)} weeks of gestation"
    )
    words.append(
        {
            Stage.UNKNOWN: "stage not known",
            Stage.ANTEPARTUM: "antepartum",
            Stage.FIRST: "first stage",
            Stage.SECOND: "second stage",
        }[stage]
    )
    if job.marks:
        read = job.reading.window
        span = "" if read == job.window else f" ({elapsed(read.start_s)} to {elapsed(read.end_s)})"
        words.append(f"{share(fetal.review.valid_share)} valid signal in the window read{span}")
    return words


def title_block(job: Job, window: Window, left: float, right: float, top: float) -> Block:
    """Name, window and scales in one row, the facts in the next."""
    recording, paper = job.recording, job.paper
    plates = [
        f"{paper.speed} cm/min",
        f"{paper.bpm_per_cm} bpm/cm",
    ]
    shapes: list[Shape] = []
    x = right
    for words in reversed(plates):
        width = text_width(words, 9.5, bold=True) + 0.34
        x -= width
        shapes.append(Rect(x, top, width, 0.52, INK, None, 0.08))
        shapes.append(
            Text(x + width / 2, top + 0.37, words, 9.5, PAPER, True, anchor=Anchor.MIDDLE)
        )
        x -= 0.14
    if recording.first(ChannelKind.UTERINE_ACTIVITY) is not None:
        words = f"activity {ACTIVITY_PER_CM}/cm"
        shapes.append(Text(x, top + 0.37, words, BODY, QUIET_INK, anchor=Anchor.END))
        x -= text_width(words, BODY) + 0.3
    when = window_in_words(recording, window)
    room = x - left - _SPACE
    for_name = max(room - text_width(when, BODY) - _SPACE, 3.0)
    named = f"Recording {recording.name}"
    name = shortened(named, for_name, HEAD, bold=True)
    shapes.append(Text(left, top + 0.42, name, HEAD, INK, True))
    begin = left + text_width(name, HEAD, bold=True) + _SPACE
    fits = shortened(when, x - begin, BODY)
    shapes.append(Text(begin, top + 0.42, fits, BODY, INK))
    y = top + 0.86
    said = " · ".join(facts(job))
    lines = wrapped(said, right - left, BODY)
    for line in lines:
        shapes.append(Text(left, y, line, BODY, INK))
        y += _LINE
    whole = name == named and fits == when
    y -= _LINE - _REASON_LINE if _said_first(job) else 0.0
    for words, bold in _said_first(job):
        size = BODY if bold else SMALL
        lines, all_said = _first_lines(words, right - left, size, bold)
        whole = whole and all_said
        for line in lines:
            shapes.append(Text(left, y, line, size, INK, bold))
            y += _REASON_LINE
    return Block(tuple(shapes), y - _LINE + 0.12 - top, whole)


def _first_lines(words: str, width: float, size: float, bold: bool) -> tuple[list[str], bool]:
    """What is said first in as many lines as it may take, a grave one two; and whether whole."""
    lines = wrapped(words, width, size, bold=bold)
    most = 2 if bold else 1
    if len(lines) <= most:
        return lines, True
    rest = " ".join(lines[most - 1 :])
    return [*lines[: most - 1], shortened(rest, width, size, bold=bold)], False


def _said_first(job: Job) -> list[tuple[str, bool]]:
    """What stands over the classes on every sheet, and whether in bold: right now, what is new,
    what was not seen; and each other twin's classes."""
    first = job.fetal.four_lines
    if not job.marks or first is None:
        return []
    grave = first.level is Level.ALARMING
    beyond = [_sentence(text) for text in job.fetal.classes[0].beyond]
    now = " ".join([f"Right now: {first.now_line}", *beyond])
    found = [(now, grave), (f"New: {first.new_line} Not seen: {first.unseen_line}", False)]
    for other in job.reading.fetuses:
        if other.fetus != job.fetal.fetus:
            named = "; ".join(f"{one.edition}: {one.said}" for one in other.classes)
            found.append((f"Fetus {other.fetus}: {named}", False))
    return found


def sign(level: Level, x: float, y: float, size: float = 0.11) -> Shape:
    """The shape of a level: ring, disc, triangle, square; never told by colour alone."""
    match level:
        case Level.REASSURING:
            return Circle(x, y, size * 0.9, INK)
        case Level.CAUTION:
            return Polygon(points([(x, y - size), (x + size, y + size), (x - size, y + size)]), INK)
        case Level.ALARMING:
            return Rect(x - size, y - size, 2 * size, 2 * size, INK)
        case Level.NOT_ASSESSED:
            return Circle(x, y, size * 0.9, None, Stroke(INK, 0.7))


def deciding(one: Classification) -> list[str]:
    """Why this class: the reasons that decided, then why no more is told."""
    # The heading says "no class" already.
    untold = one.not_told if one.at_least else one.refusal
    why = [*(reason.text for reason in one.deciding), *untold]
    return why or ["Nothing was found that would make it otherwise."]


@dataclass(frozen=True, slots=True)
class _Column:
    """One column under the facts: a heading behind a sign, a time, and sentences."""

    level: Level | None
    head: str
    window: Window
    words: str


def _columns(fetal: FetalReading) -> list[_Column]:
    found = [
        _Column(
            one.level,
            f"{one.edition}: {one.said}",
            one.window,
            " ".join(map(_sentence, deciding(one))),
        )
        for one in fetal.classes
    ]
    if fetal.panel is not None:
        named = zip(_PANEL_WORDS, fetal.panel.probabilities, strict=True)
        split = ", ".join(f"{share(part)} {word}" for word, part in named)
        words = f"How readers would probably split, not a class of a standard: {split}."
        found.append(
            _Column(None, f"panel of readers: {fetal.panel.label}", fetal.panel.window, words)
        )
    return found


def class_block(fetal: FetalReading, left: float, right: float, top: float) -> Block:
    """One column for each standard: its class, and the reasons that decided."""
    found = _columns(fetal)
    if not found:
        return Block((), 0.0)
    width = (right - left + _SPACE) / len(found) - _SPACE
    shapes: list[Shape] = [Line(left, top, right, top, GRID_MAJOR)]
    complete, most = True, 0
    for i, one in enumerate(found):
        x = left + i * (width + _SPACE)
        if one.level is not None:
            shapes.append(sign(one.level, x + 0.11, top + 0.25))
        fits = shortened(one.head, width - _SIGN, _CLASS, bold=True)
        shapes.append(Text(x + _SIGN, top + 0.35, fits, _CLASS, INK, True))
        span = f"{elapsed(one.window.start_s)} to {elapsed(one.window.end_s)}"
        free = width - _SIGN - text_width(fits, _CLASS, bold=True) - 0.2
        if text_width(span, SMALL) <= free:
            shapes.append(Text(x + width, top + 0.35, span, SMALL, QUIET_INK, anchor=Anchor.END))
        lines = wrapped(one.words, width - _SIGN, SMALL)
        if len(lines) > CLASS_LINES:
            complete = False
            cut = " ".join(lines[CLASS_LINES - 1 :])
            lines[CLASS_LINES - 1 :] = [_told_later(cut, width - _SIGN)]
        for n, line in enumerate(lines):
            shapes.append(Text(x + _SIGN, top + 0.64 + n * _REASON_LINE, line, SMALL, INK))
        complete = complete and fits == one.head
        most = max(most, len(lines))
    return Block(tuple(shapes), 0.48 + most * _REASON_LINE, complete)


def _told_later(text: str, width: float) -> str:
    more = " (more on the last page)"
    return shortened(text, width - text_width(more, SMALL), SMALL) + more


def _sentence(text: str) -> str:
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."


def blind_block(left: float, right: float, top: float) -> Block:
    """In place of the classes when the computed marks are hidden."""
    words = "Computed marks, numbers and classes are hidden on this strip: read it first yourself."
    return Block(
        (
            Line(left, top, right, top, GRID_MAJOR),
            Text(left, top + 0.38, words, 8.4, INK, italic=True),
        ),
        0.5,
    )


def own_reading(left: float, right: float, top: float) -> Block:
    """Empty boxes for reading the strip oneself, in the order of a review."""
    width = (right - left) / len(_OWN_READING)
    shapes: list[Shape] = []
    for i, words in enumerate(_OWN_READING):
        x = left + i * width
        shapes.append(Rect(x, top, width, _OWN_HEIGHT, None, FRAME))
        shapes.append(Text(x + 0.12, top + 0.32, words, BODY, QUIET_INK))
    return Block(tuple(shapes), _OWN_HEIGHT)


@dataclass(frozen=True, slots=True)
class Sample:
    """An entry of the legend: words, and what draws its sample, 0.6 cm wide, from x around y."""

    words: str
    draw: Callable[[float, float], tuple[Shape, ...]] | None = None


def legend(samples: Sequence[Sample], left: float, right: float, top: float) -> Block:
    """Line samples and letters, in as many rows as they need."""
    shapes: list[Shape] = []
    x, y = left, top + 0.24
    for one in samples:
        icon = 0.72 if one.draw else 0.0
        width = icon + text_width(one.words, SMALL)
        if x + width > right and x > left:
            x, y = left, y + 0.3
        if one.draw:
            shapes += one.draw(x, y - 0.08)
        shapes.append(Text(x + icon, y, one.words, SMALL, QUIET_INK))
        x += width + 0.4
    return Block(tuple(shapes), y - top + 0.1)


def foot(
    page: int, pages: int, left: float, right: float, top: float, note: str = ""
) -> tuple[Shape, ...]:
    """The standing caution, a bar to check the printed scale by, and the page's number.

    note: said before the number. All of it is FOOT_HEIGHT high.
    """
    number = f"{note}Ebbline {__version__} · page {page} of {pages}"
    words = f"{_BAR_CM} cm when printed at 100 %"
    y = top + 0.22
    x = right - text_width(number, SMALL) - 0.5 - text_width(words, SMALL) - 0.15 - _BAR_CM
    shapes: list[Shape] = [
        Text(left, top + 0.3, CAUTION, _CAUTION, INK, True),
        Text(right, top + 0.3, number, SMALL, QUIET_INK, anchor=Anchor.END),
        Line(x, y, x + _BAR_CM, y, FRAME),
        Line(x, y - 0.1, x, y + 0.1, FRAME),
        Line(x + _BAR_CM, y - 0.1, x + _BAR_CM, y + 0.1, FRAME),
        Text(x + _BAR_CM + 0.15, top + 0.3, words, SMALL, QUIET_INK),
    ]
    return tuple(shapes)
