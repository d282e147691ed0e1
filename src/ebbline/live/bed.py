"""One watched bed: its reader, its notices, and what the pages show of it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ebbline.criteria.model import GRAVITY, Level
from ebbline.features import window as within
from ebbline.features.findings import Findings
from ebbline.live.bed_reader import BedReader, Checkpoint, Pace, Step
from ebbline.live.notice_policy import NoticePolicy
from ebbline.live.notices import NoticeWatch, Overdue
from ebbline.live.sample_store import Labour, Notice, Piece
from ebbline.reading.analyse import WINDOW_S
from ebbline.reading.four_lines import Moment, four_lines, open_fall, right_now
from ebbline.reading.model import FourLines
from ebbline.reading.summary import summarise
from ebbline.reading.text import Clock
from ebbline.recording.model import ChannelKind, Context, FloatArray
from ebbline.signal.quality import middle
from ebbline.terms import SensorKind, Stage, Window

SHOWN_S = 3600.0
"""Findings are sent to the pages for this long back: as much strip as a tablet scrolls."""

RATE_S = 5
"""The rate shown is the middle one of so many last seconds with signal (ours)."""

CURVE_STEP_S = 10
"""The baseline is drawn from a value every so many seconds."""

STAGE_WORDS = {
    Stage.ANTEPARTUM: "not in labour",
    Stage.FIRST: "first stage",
    Stage.SECOND: "second stage",
}


@dataclass(frozen=True, slots=True, eq=False)
class BedUpdate:
    """What came of reading a bed: the last state, the notices raised, what to save."""

    state: dict[str, Any]
    raised: tuple[Notice, ...]
    checkpoint: Checkpoint | None
    full: bool


@dataclass(frozen=True, slots=True)
class PlannedReview:
    """A review of a labour by its record: when it is due, and whether that is over."""

    title: str
    due_at: datetime
    overdue: bool


@dataclass(frozen=True, slots=True)
class Known:
    """What the record of a labour says now. sensors: by kind and fetus, see `BedReader.know`."""

    context: Context
    sensors: dict[tuple[ChannelKind, int], SensorKind]
    reviews: tuple[PlannedReview, ...]


class WatchedBed:
    """A labour that is read as it goes on. Times are aware datetimes or s from its start."""

    def __init__(
        self,
        labour: Labour,
        policy: NoticePolicy,
        *,
        kept: tuple[Notice, ...] = (),
        memory: dict[str, Any] | None = None,
        checkpoint: Checkpoint | None = None,
        pace: Pace | None = None,
    ) -> None:
        self.labour = labour
        self.clock = Clock(labour.started_at.astimezone())
        self.reader = BedReader(
            labour.case_number, labour.context, pace=pace, checkpoint=checkpoint
        )
        self.watch = NoticeWatch(labour.id, policy, kept, memory)
        self.overdue: tuple[Overdue, ...] = ()
        self.reviews: tuple[PlannedReview, ...] = ()
        self.state: dict[str, Any] = self._bare()
        self.remembered: dict[str, Any] = dict(memory or {})
        self.unsaved: list[Notice] = []
        self.unsaved_checkpoint: Checkpoint | None = None
        self._full: dict[int, tuple[Step, FourLines]] = {}
        self._curves: dict[int, dict[str, Any]] = {}
        self._waited_s = 0.0
        self._settled: dict[int, list[dict[str, Any]]] = {}

    def seconds(self, at: datetime) -> float:
        """A time as seconds from the labour's start."""
        return (at - self.labour.started_at).total_seconds()

    def know(self, known: Known) -> bool:
        """Take over what the record says. False where the trace is to be read anew for it."""
        self.reviews = known.reviews
        self.overdue = tuple(
            Overdue(one.title, self.seconds(one.due_at)) for one in known.reviews if one.overdue
        )
        return self.reader.know(known.context, known.sensors)

    def receive(self, piece: Piece) -> int:
        """Take samples; how many of them were new."""
        receipt = self.reader.receive(
            piece.kind, piece.fetus, piece.sensor, piece.rate_hz, piece.first, piece.samples
        )
        return receipt.fresh

    def advance(self, now_s: float) -> BedUpdate | None:
        """Read what is due; None when nothing was."""
        before_s = self.reader.final_s
        steps = self.reader.advance(now_s)
        if not steps:
            return self._waited(now_s)
        raised: list[Notice] = []
        for step in steps:
            raised += self.watch.raise_for(step, self.clock, self.overdue)
        for step in steps[-1:] if steps[-1].full else [*_last_full(steps), steps[-1]]:
            self._take(step)
        moved = self.reader.final_s > before_s
        return BedUpdate(
            self.state,
            tuple(raised),
            self.reader.checkpoint() if moved else None,
            any(step.full for step in steps),
        )

    def _waited(self, now_s: float) -> BedUpdate | None:
        """What a bed gives reason to look at from which nothing has ever come."""
        pace = self.reader.pace
        at_s = math.floor((now_s - pace.settle_s) / pace.step_s) * pace.step_s
        if self.reader.read_to_s or self.reader.trace_end_s or at_s <= self._waited_s:
            return None
        self._waited_s = at_s
        nothing = Step(at_s, False, 0.0, self.reader.context, ())
        raised = self.watch.raise_for(nothing, self.clock, self.overdue)
        if not raised:
            return None
        self.state = self._bare()
        return BedUpdate(self.state, raised, None, False)

    def _take(self, step: Step) -> None:
        fetuses = []
        for one in step.fetuses:
            window = Window(max(0.0, step.at_s - WINDOW_S), step.at_s)
            if step.full and one.classes:
                review = summarise(one.findings, window, columns=False)
                lines = four_lines(one.findings, review, one.classes[0], self.clock)
                self._full[one.fetus] = (step, lines)
                self._curves[one.fetus] = _curve(one.findings, step.at_s)
            shown = self._full.get(one.fetus)
            if shown is None:
                continue
            fetuses.append(self._fetus(step, one.findings, shown[0], shown[1], one.fetus))
        if not fetuses:
            self.state = self._bare()
            return
        gravest = max(fetuses, key=lambda f: GRAVITY.index(Level(f["level"])))
        self.state = {
            **self._bare(),
            "at_s": step.at_s,
            "final_s": self.reader.final_s,
            "level": gravest["level"],
            "fetuses": fetuses,
        }

    def _fetus(
        self, step: Step, findings: Findings, full: Step, lines: FourLines, fetus: int
    ) -> dict[str, Any]:
        whole = next(one for one in full.fetuses if one.fetus == fetus)
        window = Window(max(findings.fetal.valid.start_s, step.at_s - WINDOW_S), step.at_s)
        leading = whole.classes[0]
        fall = open_fall(findings, window)
        rate = findings.fetal.rate_curve
        there = np.flatnonzero(np.isfinite(rate.values))
        last_s = rate.start_s + float(there[-1] + 1) if len(there) else None
        base = whole.findings.fetal.baseline
        contractions = within.contraction_rate(
            whole.findings, Window(max(0.0, full.at_s - WINDOW_S), full.at_s)
        )
        known = [one for one in base if one.determinate]
        rate_bpm = _last_rate(rate.values, there)
        age_s = None if last_s is None else max(0.0, step.at_s - last_s)
        moment = None
        if rate_bpm is not None and age_s is not None:
            level_bpm = known[-1].bpm if known else math.nan
            moment = Moment(rate_bpm, RATE_S, age_s, level_bpm)
        now = right_now(findings, window, self.clock, moment)
        return {
            "fetus": fetus,
            "class_at_s": full.at_s,
            "level": max(leading.level, now.level, key=GRAVITY.index).value,
            "class_level": leading.level.value,
            "now_level": now.level.value,
            "label": leading.said,
            "classes": [
                {
                    "standard": one.standard.value,
                    "edition": one.edition,
                    "label": one.said,
                    "level": one.level.value,
                    "beyond": bool(one.beyond),
                }
                for one in whole.classes
            ],
            "lines": [
                ["Class", lines.class_line],
                ["Right now", now.line],
                ["New", lines.new_line],
                ["Not seen", lines.unseen_line],
            ],
            "recovered": now.recovered,
            "rate_bpm": rate_bpm,
            "signal_age_s": age_s,
            "baseline_bpm": known[-1].bpm if known else None,
            "contractions_per_10_min": _finite(contractions.per_10_min),
            "fall": None
            if fall is None
            else {
                "from_s": fall.onset_s,
                "nadir_bpm": round(fall.to_bpm),
                "so_far_s": fall.so_far_s,
            },
            "events": self._events(fetus, whole.findings, findings, full.at_s, step.at_s),
            "baseline": self._curves[fetus],
        }

    def _events(
        self, fetus: int, whole: Findings, newest: Findings, full_s: float, at_s: float
    ) -> list[dict[str, Any]]:
        """Events of the last hour: of the whole stretch, and from its last minute on the newest."""
        since_s = at_s - SHOWN_S
        edge_s = full_s - 60.0
        if at_s == full_s or fetus not in self._settled:
            self._settled[fetus] = self._events_in(whole, full_s - SHOWN_S, edge_s)
        settled = [one for one in self._settled[fetus] if one["start_s"] >= since_s]
        return settled + self._events_in(newest, edge_s, math.inf)

    def _events_in(self, findings: Findings, from_s: float, to_s: float) -> list[dict[str, Any]]:
        made = []
        for fall in findings.fetal.decelerations:
            if from_s <= fall.onset_s < to_s and not fall.shallow:
                made.append(self._event(fall.kind.value, fall, fall.nadir_s))
        for rise in findings.fetal.accelerations:
            if from_s <= rise.onset_s < to_s:
                made.append(self._event("acceleration", rise, rise.peak_s))
        for hill in findings.uterine.contractions:
            if from_s <= hill.onset_s < to_s:
                made.append(self._event("contraction", hill, hill.peak_s))
        return made

    def _event(self, kind: str, one: Any, turn_s: float) -> dict[str, Any]:
        return {
            "kind": kind,
            "start_s": round(one.onset_s, 1),
            "turn_s": round(turn_s, 1),
            "end_s": round(one.end_s, 1),
            "final": one.end_s <= self.reader.final_s,
        }

    def _bare(self) -> dict[str, Any]:
        labour = self.labour
        receipts = self.reader.receipts
        return {
            "labour": labour.id,
            "bed": labour.bed,
            "case": labour.case_number,
            "started_at": labour.started_at.isoformat(),
            "by_trace": labour.by_trace,
            "trace_s": self.reader.trace_end_s,
            "at_s": None,
            "final_s": 0.0,
            "level": Level.NOT_ASSESSED.value,
            "fetuses": [],
            "known": self._known(),
            "reviews": [
                {"title": one.title, "due_at": one.due_at.isoformat(), "overdue": one.overdue}
                for one in self.reviews
            ],
            "packets": {
                "late": receipts.too_late,
                "doubled": receipts.doubled,
                "contradicting": receipts.differing,
            },
        }

    def _known(self) -> list[str]:
        """What the labour is read with, in words."""
        context = self.reader.context
        said = []
        if context.second_stage_start_s is not None:
            said.append(f"second stage since {self.clock.at(context.second_stage_start_s)}")
        elif context.stage is not Stage.UNKNOWN:
            said.append(STAGE_WORDS[context.stage])
        if context.oxytocin:
            said.append("oxytocin runs")
        if context.weeks is not None:
            said.append(f"{math.floor(context.weeks)} weeks")
        said += [
            one.value
            for one in (SensorKind.SCALP_ELECTRODE, SensorKind.PRESSURE_CATHETER)
            if one in self.reader.sensors_read
        ]
        return said

    def samples(self, since_s: float, until_s: float) -> list[dict[str, Any]]:
        """The trace from since_s on for the strip: a value each quarter of a second or slower."""
        made = []
        for (kind, fetus), one in self.reader.channels():
            first, last = round(since_s * one.rate_hz), round(until_s * one.rate_hz)
            first, last = max(first, one.begins), min(last, one.ends)
            if last <= first:
                continue
            digits = 1 if kind is ChannelKind.UTERINE_ACTIVITY else 2
            made.append(
                {
                    "kind": kind.value,
                    "fetus": fetus,
                    "rate_hz": one.rate_hz,
                    "first": first,
                    "samples": [
                        None if v != v else v
                        for v in np.round(one.cut(first, last), digits).tolist()
                    ],
                }
            )
        return made

    def at(self, time_s: float) -> datetime:
        """A time in s from the labour's start as a datetime."""
        return self.labour.started_at + timedelta(seconds=time_s)


def _last_full(steps: list[Step]) -> list[Step]:
    return [step for step in steps if step.full][-1:]


def _last_rate(seconds: FloatArray, there: NDArray[np.intp]) -> int | None:
    return round(middle(seconds[there[-RATE_S:]])) if len(there) else None


def _finite(value: float) -> float | None:
    return round(value, 1) if math.isfinite(value) else None


def _curve(findings: Findings, at_s: float) -> dict[str, Any]:
    curve = findings.fetal.baseline_curve
    first = max(0, int((at_s - SHOWN_S - curve.start_s) / curve.step_s))
    first -= first % CURVE_STEP_S
    values = curve.values[first::CURVE_STEP_S]
    return {
        "start_s": curve.start_s + first * curve.step_s,
        "step_s": CURVE_STEP_S * curve.step_s,
        "bpm": [None if v != v else v for v in np.round(values, 1).tolist()],
    }
