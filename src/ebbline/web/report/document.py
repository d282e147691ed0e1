"""The report of a window: title block, labour, examination, reading, marks, reasons, strip.

One document of the drawing model, so that it is the same as PDF and as a preview on the page.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from ebbline import CAUTION, __version__
from ebbline.bedside import ExamResult
from ebbline.criteria.model import Classification
from ebbline.picture.abdomen import draw_abdomen
from ebbline.picture.canvas import Anchor, Document, Line, Page, Shape, Text
from ebbline.picture.fonts import shortened, wrapped
from ebbline.picture.strip import draw_strip
from ebbline.picture.style import FRAME, INK, QUIET_INK
from ebbline.reading.text import Clock, Section, length, sections
from ebbline.recording.model import Recording
from ebbline.terms import Window
from ebbline.web.reading.schemas import ItemOut
from ebbline.web.report.first_page import first_page
from ebbline.web.report.parts import (
    BODY_SIZE,
    BOTTOM,
    HEAD_SIZE,
    HEIGHT,
    LEADING,
    MARGIN,
    TITLE_SIZE,
    TOP,
    WIDTH,
    ReportParts,
    fetal_of,
)


def report(parts: ReportParts) -> Document:
    """The whole report: one page that says it all first, then the appendix.

    Raises ContextError for what cannot be drawn.
    """
    first = first_page(parts, *_head(parts))
    text = _Flow((f"Appendix: {_head(parts)[0]}", _head(parts)[1]))
    for section in _sections(parts):
        text.section(section)
    pages = [first, *text.pages()]
    if parts.exam is not None:
        pages += list(draw_abdomen([parts.exam]).pages)
    shown = parts.corrected or parts.computed
    strip = draw_strip(
        parts.recording,
        shown,
        fetus=parts.fetus,
        window=shown.window,
        speed_cm_per_min=parts.speed_cm_per_min,
        words=False,
        even=True,
    )
    return Document(
        f"Report of {parts.recording.name}, {Clock.of(shown).stretch(shown.window)}",
        (*pages, *strip.pages),
        author=parts.reader,
        made_at=parts.made_at,
    )


def _sections(parts: ReportParts) -> list[Section]:
    clock = Clock.of(parts.computed)
    found = [Section("Summary", tuple(_summary(parts, clock)))]
    found.append(Section("The labour, as told", tuple(_labour(parts.recording))))
    if parts.exam is not None:
        found.append(Section("Examination", tuple(_examination(parts.exam, parts.exam_words))))
    whose = parts.corrected or parts.computed
    found += [
        part if part.title != "Sources" else Section("Where the rules are published", part.lines)
        for part in sections(whose, fetal_of(whose, parts.fetus))
    ]
    if parts.corrections:
        found.append(Section("Corrections", tuple(_corrections(parts, clock))))
    if parts.marks:
        found.append(Section("The reader's marks and notes", tuple(_marks(parts.marks, clock))))
    if parts.differences:
        found.append(
            Section(
                "Marks against the computed findings",
                tuple(
                    f"{clock.at(d.start_s)}: {d.words} ({d.verdict})." for d in parts.differences
                ),
            )
        )
    notes = (*parts.computed.notes, f"Read by Ebbline {__version__}.", CAUTION)
    found.append(Section("Notes, version and caution", notes))
    return found


def _summary(parts: ReportParts, clock: Clock) -> list[str]:
    computed = fetal_of(parts.computed, parts.fetus)
    lines = [
        f"Window {clock.stretch(parts.computed.window)}, "
        f"{length(parts.computed.window.duration_s)}; strip at {parts.speed_cm_per_min} cm/min."
    ]
    mine: Sequence[Classification] = ()
    if parts.corrected is not None:
        mine = fetal_of(parts.corrected, parts.fetus).classes
    for number, one in enumerate(computed.classes):
        said = f"{one.edition}: {one.said} as computed"
        if mine:
            said += f"; {mine[number].said} with the corrections of {parts.reader}"
        lines.append(said + ".")
    return lines


def _labour(recording: Recording) -> list[str]:
    known = recording.context
    told = [
        ("weeks of gestation", None if known.weeks is None else f"{known.weeks:g}"),
        ("stage at the end", None if known.stage.value == "unknown" else known.stage.value),
        ("births before", None if known.parity is None else str(known.parity)),
        *(
            (name, None if value is None else "yes" if value else "no")
            for name, value in (
                ("oxytocin", known.oxytocin),
                ("epidural", known.epidural),
                ("meconium", known.meconium),
                ("fever", known.fever),
            )
        ),
    ]
    lines = ["; ".join(f"{name}: {value}" for name, value in told if value is not None)]
    unknown = [name for name, value in told if value is None]
    lines.append("Not known: " + ", ".join(unknown) if unknown else "")
    sensors = ", ".join(
        f"{c.kind.value}{f' of fetus {c.fetus}' if c.fetus else ''} by {c.sensor.value}"
        for c in recording.channels
    )
    lines.append(f"Sensors: {sensors}")
    if recording.provenance.source:
        source = dict.fromkeys((recording.provenance.source, recording.provenance.format))
        lines.append(f"File: {' '.join(source)}".strip())
    return [f"{line}." for line in lines if line]


def _examination(exam: ExamResult, words: str) -> list[str]:
    found = "; ".join(f"{one.item}: {one.answer}" for one in exam.findings) or "nothing yet"
    likely = ", ".join(
        f"{one.word} {one.probability:.0%}" for one in exam.presentation if one.probability > 0.02
    )
    place = exam.positions[0]
    lines = [words, *(caution.text for caution in exam.cautions)]
    lines += [one.text for one in exam.contradictions]
    lines += [
        f"Found: {found}.",
        f"Presents: {likely}. Likeliest position: {place.name} ({place.probability:.0%}).",
        f"Heart-rate sensor: {exam.sensors.best.words}. "
        f"Contraction sensor: {exam.sensors.contraction.words}.",
        exam.scan.why,
    ]
    if exam.not_examined:
        lines.append("Not examined: " + ", ".join(exam.not_examined) + ".")
    return lines


def _corrections(parts: ReportParts, clock: Clock) -> list[str]:
    lines = []
    for one in parts.corrections:
        at = one.change.start_s if one.change.start_s is not None else one.change.target_start_s
        said = f"{clock.at(at or 0.0)}: {one.words}, by {one.author}, {_moment(one.made_at)}"
        if one.withdrawn_at is not None:
            said += f"; taken back by {one.withdrawn_by}, {_moment(one.withdrawn_at)}"
        lines.append(said + (f". {one.change.note}" if one.change.note else "."))
    return lines


def _marks(marks: Sequence[ItemOut], clock: Clock) -> list[str]:
    lines = []
    for one in marks:
        height = f" at {one.value:.0f} bpm" if one.value is not None else ""
        stretch = clock.stretch(Window(one.start_s, one.end_s))
        note = f": {one.note}" if one.note else ""
        lines.append(f"{stretch}: {one.title}{height}, by {one.author}{note}.")
    return lines


def _moment(at: datetime) -> str:
    return f"{at.astimezone():%d %b %Y, %H:%M}"


def _head(parts: ReportParts) -> tuple[str, list[str]]:
    recording = parts.recording
    start = "" if recording.start is None else f", from {recording.start:%d %b %Y, %H:%M}"
    about = [
        f"{length(recording.duration_s)}{start}. Fetus {parts.fetus}.",
        f"Report made by {parts.reader}, {_moment(parts.made_at)}.",
    ]
    if parts.identifier:
        about.insert(0, f"Identifier, as given for this report: {parts.identifier}.")
    return f"Report of {recording.name}", about


class _Flow:
    """Sets sections one below the other on as many upright pages as they need."""

    def __init__(self, head: tuple[str, list[str]]) -> None:
        self._title, self._about = head
        self._pages: list[list[Shape]] = []
        self._y = 0.0
        self._turn()

    def _turn(self) -> None:
        wide = WIDTH - 2 * MARGIN
        shapes: list[Shape] = [
            Text(
                MARGIN,
                1.95,
                shortened(self._title, wide, TITLE_SIZE, bold=True),
                TITLE_SIZE,
                INK,
                True,
            )
        ]
        y = 2.5
        for words in self._about:
            shapes.append(Text(MARGIN, y, shortened(words, wide, BODY_SIZE), BODY_SIZE, QUIET_INK))
            y += BODY_SIZE * LEADING
        shapes.append(Line(MARGIN, y - 0.12, WIDTH - MARGIN, y - 0.12, FRAME))
        self._pages.append(shapes)
        self._y = max(TOP, y + 0.55)

    def section(self, section: Section) -> None:
        """The title and every line, broken where the page is full."""
        lines = [w for line in section.lines for w in self._broken(line)]
        if self._y + (HEAD_SIZE + 2 * BODY_SIZE) * LEADING > BOTTOM:
            self._turn()
        self._put(section.title, HEAD_SIZE, bold=True)
        for indent, words in lines:
            if self._y > BOTTOM:
                self._turn()
                self._put(f"{section.title}, continued", HEAD_SIZE, bold=True)
            self._put(words, BODY_SIZE, indent=indent)
        self._y += 0.22

    def _broken(self, line: str) -> list[tuple[float, str]]:
        upper = line[:1].upper() + line[1:]
        broken = wrapped(upper, WIDTH - 2 * MARGIN - 0.5, BODY_SIZE)
        return [(0.0 if n == 0 else 0.5, words) for n, words in enumerate(broken)]

    def _put(self, words: str, size: float, *, bold: bool = False, indent: float = 0.0) -> None:
        self._pages[-1].append(Text(MARGIN + indent, self._y, words, size, INK, bold))
        self._y += size * LEADING

    def pages(self) -> list[Page]:
        """The finished pages, numbered, with the caution at the foot of each."""
        made = []
        foot = HEIGHT - 0.9
        for number, shapes in enumerate(self._pages, 1):
            count = f"{number} / {len(self._pages)}"
            caution = shortened(CAUTION, WIDTH - 2 * MARGIN - 1.6, 7.0)
            feet: list[Shape] = [
                Line(MARGIN, foot - 0.4, WIDTH - MARGIN, foot - 0.4, FRAME),
                Text(MARGIN, foot, caution, 7.0, QUIET_INK),
                Text(WIDTH - MARGIN, foot, count, 7.0, QUIET_INK, anchor=Anchor.END),
            ]
            made.append(Page(WIDTH, HEIGHT, (*shapes, *feet), self._title))
        return made
