"""A case as the pages show it: record, reading, chart, reviews and listening together."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from ebbline.bedside.policy.reviews import Due, DueState, ReviewsDue
from ebbline.criteria.model import Level
from ebbline.errors import EbblineError
from ebbline.journal.chain import Entry, case_number
from ebbline.journal.chart import Alert, Chart, chart
from ebbline.journal.due import ReviewAhead, case_reviews, reviews_ahead
from ebbline.journal.entries import Bed, Told, Trace
from ebbline.journal.handover import Handover, awaited, handover
from ebbline.journal.listening import Asked, ListeningState, Urgency, listening
from ebbline.journal.standing import last_of, standing
from ebbline.journal.store import CaseCard, Journal
from ebbline.reading.four_lines import class_line

if TYPE_CHECKING:
    from ebbline.journal.trace_columns import TraceColumn
    from ebbline.reading.model import Reading
    from ebbline.recording.model import Recording
    from ebbline.web.recordings.library import Library

GRAVE = (Urgency.AT_ONCE, Urgency.TRACE)
STALE = timedelta(minutes=30)
"""From when the page says how old the reading is (ours: the usual window)."""


AHEAD = timedelta(hours=1)
"""Reviews that fall due within this stand on the list of all beds (ours)."""

FRESH = timedelta(minutes=1)
"""How long the reading of a running trace stands on the record's pages (ours)."""

MOST_RUNNING = 24


@dataclass(frozen=True, slots=True)
class CaseState:
    """A case at a moment. reading_problem: why there is no reading of its trace, else empty.

    running: its trace comes from a source that runs.
    """

    case: str
    bed: str
    now: datetime
    entries: tuple[Entry, ...]
    held: tuple[Entry, ...]
    chart: Chart
    due: ReviewsDue | None
    second_reader: frozenset[str]
    heard: ListeningState
    awaited: tuple[tuple[Entry, Told], ...]
    reading: Reading | None
    reading_problem: str
    running: bool

    @property
    def overdue(self) -> tuple[Due, ...]:
        """Reviews that are overdue or due now."""
        rows = self.due.reviews if self.due else ()
        return tuple(r for r in rows if r.state in (DueState.OVERDUE, DueState.DUE))

    @property
    def dangers(self) -> tuple[Alert, ...]:
        """What the chart asks to be looked at."""
        return self.chart.alerts

    @property
    def asked(self) -> tuple[Asked, ...]:
        """What listening asks for, while the heart is watched by ear."""
        if self.heard.by_trace:
            return tuple(one for one in self.heard.asked if one.urgency is Urgency.AT_ONCE)
        return self.heard.asked

    @property
    def grave(self) -> int:
        """How many things want somebody now."""
        told = sum(one.urgency in GRAVE for one in self.asked)
        traces = sum(level is Level.ALARMING for level, _ in self.trace_lines)
        return len(self.dangers) + told + len(self.awaited) + traces

    @property
    def trace_lines(self) -> list[tuple[Level, str]]:
        """The class line of each fetus whose trace is not as hoped, with how grave it is.

        Where another standard calls worst what the leading one does not, its line stands first.
        """
        fetuses = self.reading.fetuses if self.reading else ()
        found = []
        for number, one in enumerate(fetuses, 1):
            whose = f"Fetus {number}: " if len(fetuses) > 1 else ""
            lines = one.four_lines
            if lines is None or lines.level not in (Level.ALARMING, Level.CAUTION):
                continue
            if lines.level is not Level.ALARMING:
                found += [
                    (Level.ALARMING, f"{whose}{class_line(other)}")
                    for other in one.classes[1:]
                    if other.level is Level.ALARMING
                ]
            found.append((lines.level, f"{whose}{lines.class_line}"))
        return found

    @property
    def reading_age_min(self) -> int | None:
        """Minutes since the end of the reading's window; None where it has no clock."""
        if self.reading is None or not self.reading.start:
            return None
        start = datetime.fromisoformat(self.reading.start)
        if start.tzinfo is None:
            return None
        ends = start + timedelta(seconds=self.reading.window.end_s)
        return max(0, int((self.now - ends).total_seconds() // 60))


TraceSource = Callable[[str], "Recording | None"]
"""Gives the trace of a case so far, or None where it has none."""


class Records:
    """The record of this workbench, opened when it is first asked for.

    A trace that runs comes from a source that is added; before any, and for cases without one, the
    recording that the record itself names is read.
    """

    def __init__(
        self,
        place: str | Path,
        library: Library,
        now: Callable[[], datetime] = lambda: datetime.now(UTC),
    ) -> None:
        self._place = place
        self._library = library
        self._now = now
        self._journal: Journal | None = None
        self._sources: list[TraceSource] = []
        self._running: dict[str, tuple[datetime, Recording, Reading]] = {}

    def add_trace_source(self, source: TraceSource) -> None:
        """Ask this for the trace of a case before the record's own."""
        self._sources.append(source)

    @property
    def journal(self) -> Journal:
        """The open record."""
        if self._journal is None:
            self._journal = Journal(self._place, now=self._now)
        return self._journal

    def close(self) -> None:
        """Give it back, where it was opened."""
        if self._journal is not None:
            self._journal.close()

    def now(self) -> datetime:
        """The present, in the zone of this computer."""
        return self._now().astimezone()

    def board(self, *, closed: bool = False) -> list[tuple[CaseCard, CaseState]]:
        """Every case with how it stands, the gravest first, then by bed."""
        cards = self.journal.cases(closed=closed)
        both = [(card, self.state(card.case)) for card in cards]
        return sorted(both, key=lambda one: -one[1].grave)

    def reviews(self) -> list[tuple[CaseCard, ReviewAhead]]:
        """Reviews of all open cases that are overdue or soon due, in the order of their times."""
        now = self.now()
        found = [
            (card, one)
            for card in self.journal.cases()
            for one in reviews_ahead(self.journal.entries(card.case), now)
            if one.due_at <= now + AHEAD
        ]
        return sorted(found, key=lambda pair: pair[1].due_at)

    def state(self, case: str) -> CaseState:
        """How a case stands now. Raises NoSuchCaseError."""
        case = case_number(case)
        entries = self.journal.entries(case)
        now = self.now()
        held = tuple(one for one in standing(entries) if one.at <= now)
        reading, problem = self.reading(case, held)
        reviews = case_reviews(entries, now)
        bed = last_of(held, Bed)
        return CaseState(
            case=case,
            bed=bed[1].bed if bed else "",
            now=now,
            entries=entries,
            held=held,
            chart=chart(entries, now, trace=_columns(reading)),
            due=reviews.due,
            second_reader=reviews.second_reader,
            heard=listening(entries, now),
            awaited=tuple(awaited(held)),
            reading=reading,
            reading_problem=problem,
            running=case in self._running,
        )

    def handover(self, state: CaseState) -> Handover:
        """The handover of a case, filled."""
        return handover(state.entries, state.now, reading=state.reading)

    def recording(self, case: str, held: tuple[Entry, ...]) -> Recording | None:
        """The recording of a case, with its clock; None where it has none."""
        running = self._run(case)
        if running is not None:
            return running[0]
        found = last_of(held, Trace)
        if found is None:
            return None
        body = found[1]
        recording = self._library.recording(body.place)
        if recording.start is None and body.starts_at is not None:
            recording = replace(recording, start=body.starts_at)
        return recording

    def reading(self, case: str, held: tuple[Entry, ...]) -> tuple[Reading | None, str]:
        """The reading of the case's trace, and why there is none."""
        found = last_of(held, Trace)
        try:
            running = self._run(case)
            if running is not None:
                return running[1], ""
            if found is None:
                return None, ""
            reading = self._library.reading(found[1].place)
        except EbblineError as error:
            return None, f"The trace of this case cannot be read: {error.what}"
        if not reading.start and found[1].starts_at is not None:
            reading = replace(reading, start=found[1].starts_at.isoformat())
        return reading, ""

    def _run(self, case: str) -> tuple[Recording, Reading] | None:
        """A running trace with its reading, read again when it is older than a minute."""
        from ebbline.reading.analyse import read

        now = self._now()
        kept = self._running.get(case)
        if kept is not None and timedelta(0) <= now - kept[0] < FRESH:
            return kept[1], kept[2]
        for source in self._sources:
            recording = source(case)
            if recording is not None and recording.fetuses:
                reading = read(recording)
                # Only so many traces are held: those asked for last.
                self._running.pop(case, None)
                while len(self._running) >= MOST_RUNNING:
                    self._running.pop(next(iter(self._running)))
                self._running[case] = (now, recording, reading)
                return recording, reading
        self._running.pop(case, None)
        return None


def _columns(reading: Reading | None) -> tuple[TraceColumn, ...]:
    from ebbline.journal.trace_columns import columns_of

    return columns_of(reading) if reading is not None else ()
