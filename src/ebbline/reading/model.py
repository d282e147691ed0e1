"""A Reading: everything that was made of one recording, ready to say, draw, save and review."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from html import escape

from ebbline.codec import same
from ebbline.criteria.model import Classification, Level, PanelReading, Standard
from ebbline.features.findings import (
    ArtefactKind,
    Findings,
    VariabilityClass,
)
from ebbline.recording.model import Context
from ebbline.recording.plausibility import YEARS
from ebbline.terms import Window


@dataclass(frozen=True, slots=True)
class ContractionSummary:
    """Contractions of a window. Numbers are NaN where they could not be measured.

    per_10_min: averaged over per_10_min_over_s seconds (30 minutes where available).
    duration_s, rest_s, interval_s: medians. montevideo_units, resting_tone_mmhg: catheter only.
    tachysystole: None where it cannot be told.
    """

    assessed: bool
    count: int
    per_10_min: float
    per_10_min_over_s: float
    duration_s: float
    interval_s: float
    rest_s: float
    resting_tone_mmhg: float
    montevideo_units: float
    tachysystole: bool | None
    note: str


@dataclass(frozen=True, slots=True)
class DecelerationSummary:
    """Decelerations of one kind in a window.

    share_of_contractions: with how many of the window's contractions, 0..1, NaN without any.
    recurrent: with 50 % or more of contractions in some 20 minutes (NICHD); None untold.
    repetitive: the same with more than 50 % (NICE counts late ones so, and variable ones of
    concern); None untold. What FIGO counts, every kind together, is `Review.repetitive`.
    longest_s: as the classes count it: until the rate was back, at most to the window's end.
    """

    kind: str
    count: int
    share_of_contractions: float
    recurrent: bool | None
    repetitive: bool | None
    median_depth_bpm: float
    deepest_bpm: float
    median_duration_s: float
    longest_s: float
    concerning: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LevelFall:
    """A sudden fall that lasted on until it is called a new baseline: it still counts as a fall.

    duration_s: by the window's end.
    """

    onset_s: float
    duration_s: float
    depth_bpm: float
    to_bpm: float
    recovered: bool


@dataclass(frozen=True, slots=True)
class TenMinutes:
    """One ten-minute column: the numbers a reader would write under the strip.

    accelerations, decelerations: None where none were seen and none could be excluded; beside
    little signal or no baseline a number is at least so many (`reading.counts`).
    """

    window: Window
    valid_share: float
    contractions: int | None
    baseline_bpm: float
    bandwidth_bpm: float
    variability: VariabilityClass
    accelerations: int | None
    decelerations: int | None
    change: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Review:
    """The window in the trade's order, in numbers.

    repetitive: whether decelerations of any kind come with more than half of the contractions of
    some 20 minutes (FIGO 2015); None untold. repetitive_share: of the busiest 20 minutes, 0..1.
    accelerations: as in `TenMinutes`.
    """

    window: Window
    valid_share: float
    longest_gap_s: float
    suspected: tuple[ArtefactKind, ...]
    contractions: ContractionSummary
    baseline_bpm: float
    baseline_note: str
    bandwidth_bpm: float
    variability: VariabilityClass
    stv_ms: float
    ltv_bpm: float
    accelerations: int | None
    decelerations: tuple[DecelerationSummary, ...]
    sinusoidal: bool | None
    columns: tuple[TenMinutes, ...]
    not_assessed: tuple[str, ...]
    level_falls: tuple[LevelFall, ...] = ()
    repetitive: bool | None = None
    repetitive_share: float = math.nan


@dataclass(frozen=True, slots=True)
class HistoryPoint:
    """Class by each standard for the 30 minutes that end at end_s; label by standard name."""

    end_s: float
    labels: dict[str, str]


@dataclass(frozen=True, slots=True)
class FourLines:
    """What is said of a window before all else: on a screen, a strip, a page, in a handover.

    standard: whose class leads (the first that the reading was asked for). label: its class.
    level: how grave the first two lines are. recovered: whether the rate is back at its baseline at
    the window's end; None where that was not seen. class_line: the class and what decides it, with
    what its letter leaves out before it. now_line: the last ten minutes. new_line: against the hour
    before. unseen_line: what could not be seen. Each line is one or a few whole sentences.
    """

    standard: Standard
    label: str
    level: Level
    recovered: bool | None
    class_line: str
    now_line: str
    new_line: str
    unseen_line: str

    @property
    def titled(self) -> tuple[tuple[str, str], ...]:
        """Each line with its title, in order."""
        return (
            ("Class", self.class_line),
            ("Right now", self.now_line),
            ("New", self.new_line),
            ("Not seen", self.unseen_line),
        )


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class FetalReading:
    """The reading of one fetus: findings of the whole, review and classes of the window.

    four_lines: None where no standard was asked for. panel_silence: why the panel says nothing.
    """

    fetus: int
    findings: Findings
    review: Review
    classes: tuple[Classification, ...]
    history: tuple[HistoryPoint, ...]
    panel: PanelReading | None
    four_lines: FourLines | None = None
    panel_silence: str = ""

    def __repr__(self) -> str:
        return f"<FetalReading of fetus {self.fetus}: {_labels(self)}>"


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Reading:
    """What `analyse.read` gives. start: ISO 8601, empty when the clock is not known.

    notes: what reading the file had to do, and assumptions. Raises ValueError for a start that is
    no possible time of a recording: a saved reading may have been changed by hand.
    """

    recording: str
    ebbline_version: str
    duration_s: float
    start: str
    context: Context
    window: Window
    fetuses: tuple[FetalReading, ...]
    notes: tuple[str, ...]
    caution: str

    def __post_init__(self) -> None:
        if self.start and datetime.fromisoformat(self.start).year not in YEARS:
            raise ValueError(f"{self.start} is not a possible start")

    def __eq__(self, other: object) -> bool:
        return same(self, other) if isinstance(other, Reading) else NotImplemented

    def __hash__(self) -> int:
        return hash((self.recording, self.start, self.window))

    def __repr__(self) -> str:
        start, end = self.window.start_s / 60, self.window.end_s / 60
        parts = "; ".join(f"fetus {one.fetus}: {_labels(one)}" for one in self.fetuses)
        return f"<Reading of {self.recording}, minutes {start:.0f} to {end:.0f}; {parts}>"

    def _repr_html_(self) -> str:
        """The four lines of every fetus, for a notebook."""
        rows = "".join(
            f"<tr><th>{escape(title)}</th><td>{escape(line)}</td></tr>"
            for one in self.fetuses
            if one.four_lines is not None
            for title, line in (("Fetus", str(one.fetus)), *one.four_lines.titled)
        )
        name = escape(f"{self.recording}")
        return f"<table><caption>{name}</caption>{rows}</table><p>{escape(self.caution)}</p>"


def _labels(one: FetalReading) -> str:
    return ", ".join(f"{c.edition} {c.said}" for c in one.classes) or "no standard asked"
