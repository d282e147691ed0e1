"""A Reading in words, as a practitioner says it aloud at a review, in the trade's order.

Numbers come from the Reading as they are: nothing is measured or judged here. What was not
measured is said to be so; an empty list is only called empty for the signal that was seen.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby

from ebbline.criteria.model import (
    PANEL_LABELS,
    Classification,
    Level,
    PanelContribution,
    PanelReading,
    Reason,
)
from ebbline.criteria.panel import HALF_HOUR_BEFORE
from ebbline.definitions import HALF_HOUR_S, LEAST_SEEN_SHARE, PROLONGED_FROM_S
from ebbline.features import window as within
from ebbline.features.findings import ArtefactKind, DecelerationKind, VariabilityClass
from ebbline.reading import counts
from ebbline.reading.model import (
    ContractionSummary,
    DecelerationSummary,
    FetalReading,
    LevelFall,
    Reading,
    Review,
    TenMinutes,
)
from ebbline.recording.model import Context
from ebbline.recording.paper_format import FIRST
from ebbline.terms import SensorKind, Stage, Window, counted

NARROWEST = 40
"""Columns below which lines are no longer broken."""

_TIED = "\N{NO-BREAK SPACE}"
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:%|bpm|mmHg|min|ms|s|h|in 10 min)\b|%)")
"""Where a line is not broken: between a number and its unit."""

_SUSPICIONS = frozenset(
    (ArtefactKind.DOUBLING, ArtefactKind.HALVING, ArtefactKind.MATERNAL, ArtefactKind.FLAT)
)
"""Artefacts that may pass for a heart rate, and are therefore told one by one."""

_STRETCHES_SAID = 4
_DRIVING_POINTS = 0.1
"""A finding with fewer points is not named by itself."""

_READERS = 9


@dataclass(frozen=True, slots=True)
class Section:
    """One part of the reading: its title and its lines, the unbroken text of one item each."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Clock:
    """Says times: of the clock where the recording's start is known, else from its start."""

    start: datetime | None = None

    @classmethod
    def of(cls, reading: Reading) -> Clock:
        """The clock of a reading."""
        return cls(datetime.fromisoformat(reading.start) if reading.start else None)

    def at(self, time_s: float) -> str:
        """One time: 14:32:05 (with the day, from the second on), or 1:02:05 from the start."""
        if not math.isfinite(time_s):
            return "unknown time"
        if self.start is None:
            return elapsed(time_s)
        moment = self.start + timedelta(seconds=round(time_s))
        days = (moment.date() - self.start.date()).days
        return f"{moment:%H:%M:%S}" + (f" (day {days + 1})" if days else "")

    def stretch(self, window: Window) -> str:
        """A stretch of time: '1:00:00 to 1:30:00'."""
        return f"{self.at(window.start_s)} to {self.at(window.end_s)}"

    def stretches(self, windows: Iterable[Window]) -> str:
        """The first few stretches, and how many more there are."""
        every = tuple(windows)
        said = ", ".join(self.stretch(window) for window in every[:_STRETCHES_SAID])
        more = len(every) - _STRETCHES_SAID
        return f"{said} and {more} more" if more > 0 else said


def elapsed(time_s: float) -> str:
    """Hours, minutes and seconds from the recording's start: '1:02:05'."""
    seconds = round(time_s)
    return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def length(seconds: float) -> str:
    """A duration with its units: '55 s', '2 min 10 s', '1 h 30 min'."""
    if math.isnan(seconds):
        return "not measured"
    whole = round(seconds)
    parts = [
        (whole // 3600, "h"),
        (whole // 60 % 60, "min"),
        (whole % 60 if whole < 3600 else 0, "s"),
    ]
    return " ".join(number(value, unit) for value, unit in parts if value) or number(0, "s")


def number(value: float, unit: str, digits: int = 0) -> str:
    """A number with its unit; 'not measured' for NaN."""
    return "not measured" if math.isnan(value) else f"{value:.{digits}f} {unit}"


def share(value: float) -> str:
    """A share 0..1 in per cent, rounded away from the reassuring ends: 0.998 is 99 %, not 100."""
    if math.isnan(value):
        return "not measured"
    percent = value * 100
    if 99 <= percent < 100 or 0 < percent < 1:
        return f"{99 if percent > 50 else 1} %"
    return number(percent, "%")


def sections(reading: Reading, fetal: FetalReading) -> tuple[Section, ...]:
    """The reading of one fetus, part by part, in the trade's order."""
    clock = Clock.of(reading)
    review = fetal.review
    sources = _Sources()
    classes = [_class(one, clock, sources) for one in fetal.classes]
    parts = (
        _first(fetal),
        Section("Signal quality", _quality(fetal, clock)),
        Section("Contractions", _contractions(review.contractions, fetal)),
        Section("Baseline", _baseline(review)),
        Section("Variability", _variability(review, _antepartum(reading))),
        Section("Accelerations", _accelerations(review)),
        Section("Decelerations", _decelerations(review, fetal, clock)),
        Section("Change over time", tuple(_column(one, clock) for one in review.columns)),
        *classes,
        Section("Class over time", _history(fetal, clock)),
        *_panel_section(fetal),
        Section("Not assessed", _not_assessed(fetal)),
        Section("Sources", tuple(sources.lines())),
    )
    return tuple(part for part in parts if part.lines)


def in_short(reading: Reading, fetal: FetalReading) -> tuple[Section, ...]:
    """The reading of one fetus on one screen: the four lines, every class, and the review's parts
    in a line each. What each rests on is in `sections`."""
    review = fetal.review
    parts = (
        ("Signal", _quality(fetal, Clock.of(reading))[:1]),
        ("Contractions", _contractions(review.contractions, fetal)[:1]),
        ("Baseline", _baseline(review)),
        ("Variability", _variability(review, _antepartum(reading))),
        ("Accelerations", _accelerations(review)),
        ("Decelerations", _decelerations(review, fetal, Clock.of(reading))),
    )
    above = frozenset(fetal.classes[0].beyond if fetal.classes else ())
    others = tuple(_class_in_short(one, above) for one in fetal.classes[1:])
    return tuple(
        part
        for part in (
            _first(fetal),
            Section("Other classes", others),
            Section("Review", tuple(f"{name}: {' '.join(lines)}" for name, lines in parts)),
        )
        if part.lines
    )


def _first(fetal: FetalReading) -> Section:
    said = fetal.four_lines
    lines = () if said is None else tuple(f"{title}: {line}" for title, line in said.titled)
    return Section("First", lines)


def _class_in_short(one: Classification, above: frozenset[str]) -> str:
    """A class with the first reason that decides it, if it is not the best one, and with what is
    beyond its letter unless that stands above."""
    decided = [reason.text for reason in one.deciding]
    why = [] if one.rank == 0 else decided or list(one.refusal)
    said = (*one.above, *why[:1], *one.below)
    new = dict.fromkeys(text for text in said if text not in above)
    return " ".join([f"{one.edition}: {one.said}.", *(sentence(upper(text)) for text in new)])


def _antepartum(reading: Reading) -> bool:
    return reading.context.stage_at(reading.window.end_s - 1.0) is Stage.ANTEPARTUM


def say(reading: Reading, *, fetus: int | None = None, width: int = 80, full: bool = True) -> str:
    """The reading as plain text, lines broken at width columns; fetus: only this one.

    full: everything, with reasons, sources and the panel; else what fits one screen.
    """
    chosen = [one for one in reading.fetuses if fetus in (None, one.fetus)]
    blocks = [_text(Section(_title(reading), _heading(reading)), width)]
    paper = tuple(note.removeprefix(FIRST) for note in reading.notes if note.startswith(FIRST))
    if paper:
        blocks.append(_text(Section(FIRST.rstrip(": "), paper), width))
    for one in chosen:
        if len(reading.fetuses) > 1:
            blocks.append(f"FETUS {one.fetus} OF {len(reading.fetuses)}")
        parts = sections(reading, one) if full else in_short(reading, one)
        blocks += [_text(part, width) for part in parts]
    if reading.notes and full:
        notes = tuple(sentence(upper(note)) for note in reading.notes)
        blocks.append(_text(Section("Notes", notes), width))
    blocks.append(_text(Section("Caution", (reading.caution,)), width))
    return "\n\n".join(blocks) + "\n"


def _text(section: Section, width: int) -> str:
    """A section as lines: the title, then each item indented, its further lines deeper."""
    broken = [
        textwrap.fill(
            _BEFORE_UNIT.sub(_TIED, line),
            max(width, NARROWEST),
            initial_indent="  ",
            subsequent_indent="    ",
            break_long_words=False,
            break_on_hyphens=False,
        )
        for line in section.lines
    ]
    return "\n".join([section.title, *broken]).replace(_TIED, " ")


def _title(reading: Reading) -> str:
    return f"Recording {reading.recording}, {length(reading.duration_s)}"


def _heading(reading: Reading) -> tuple[str, ...]:
    window = reading.window
    span = f"{elapsed(window.start_s)} to {elapsed(window.end_s)} from the start"
    clock = Clock.of(reading)
    by_clock = f", {clock.stretch(window)} by the clock" if clock.start is not None else ""
    times = (
        f"Times are of the clock; the recording starts {reading.start}."
        if clock.start is not None
        else "Times are hours:minutes:seconds from the start of the recording."
    )
    return (
        f"Window read: {span} ({length(window.duration_s)}{by_clock}).",
        times,
        _known(reading.context, window),
    )


def _known(context: Context, window: Window) -> str:
    stage = context.stage_at(window.end_s - 1.0)
    said = {
        Stage.ANTEPARTUM: "antepartum",
        Stage.FIRST: "first stage",
        Stage.SECOND: "second stage",
        Stage.UNKNOWN: "stage not known",
    }[stage]
    weeks = (
        "gestation not known"
        if context.weeks is None
        else f"{math.floor(context.weeks)} weeks of gestation"
    )
    return f"{weeks}, {said}, {_given('oxytocin running', context.oxytocin)}, " + (
        f"{_given('epidural in place', context.epidural)}."
    )


def _given(what: str, state: bool | None) -> str:
    name = what.split()[0]
    return {True: what, False: f"no {name}", None: f"{name} not known"}[state]


def _quality(fetal: FetalReading, clock: Clock) -> tuple[str, ...]:
    review = fetal.review
    lines = [
        f"Heart rate by {_sensor(fetal.findings.fetal.sensor)}: {share(review.valid_share)} of "
        f"the window valid, {_gap(review.longest_gap_s)}."
    ]
    if review.suspected:
        lines.append(f"Seen in it: {', '.join(kind.value for kind in review.suspected)}.")
    window = review.window
    suspicions = [
        one
        for one in fetal.findings.fetal.artefacts
        if one.kind in _SUSPICIONS and window.overlaps(one.start_s, one.end_s)
    ]
    for one in suspicions[:_STRETCHES_SAID]:
        stretch = clock.stretch(Window(one.start_s, one.end_s))
        sure = number(one.certainty * 100, "%")
        lines.append(f"{upper(one.kind.value)}, {stretch} (certainty {sure}): {one.why}.")
    more = suspicions[_STRETCHES_SAID:]
    return (*lines, *((f"And {len(more)} more stretches with a suspicion.",) if more else ()))


def _gap(seconds: float) -> str:
    return f"longest gap {length(seconds)}" if seconds >= 1 else "no gap of a second or more"


def _sensor(kind: SensorKind) -> str:
    return "a sensor of unknown kind" if kind is SensorKind.UNKNOWN else kind.value


def _contractions(summary: ContractionSummary, fetal: FetalReading) -> tuple[str, ...]:
    uterine = fetal.findings.uterine
    note = (sentence(upper(summary.note)),) if summary.note else ()
    if not summary.assessed:
        return ("Not assessed.", *note)
    over = summary.per_10_min_over_s
    rate = (
        f"{number(summary.per_10_min, 'in 10 min', 1)}, averaged over {length(over)}"
        if math.isfinite(summary.per_10_min) and math.isfinite(over)
        else "Rate not measured"
    )
    tachysystole = {
        True: "Tachysystole.",
        False: "No tachysystole over 30 min.",
        None: "Whether there is tachysystole cannot be told.",
    }[summary.tachysystole]
    lines = [
        f"{rate} ({counted(summary.count, 'contraction')} in the window, by "
        f"{_sensor(uterine.sensor)}). {tachysystole}"
    ]
    if summary.count:
        lines.append(
            f"Duration {_seconds(summary.duration_s)}, relaxation time "
            f"{_seconds(summary.rest_s)}, from one to the next {_seconds(summary.interval_s)} "
            "(medians)."
        )
    if uterine.sensor is SensorKind.PRESSURE_CATHETER:
        lines.append(
            f"Strength {number(summary.montevideo_units, 'Montevideo units')}, resting tone "
            f"{number(summary.resting_tone_mmhg, 'mmHg')}."
        )
    else:
        lines.append("Strength and resting tone not measured: only a pressure catheter shows them.")
    return (*lines, *note)


def _seconds(value: float) -> str:
    return number(value, "s")


def _baseline(review: Review) -> tuple[str, ...]:
    value = (
        "Indeterminate."
        if math.isnan(review.baseline_bpm)
        else f"{number(review.baseline_bpm, 'bpm')}."
    )
    note = f" {sentence(upper(review.baseline_note))}" if review.baseline_note else ""
    return (value + note,)


def _variability(review: Review, antepartum: bool) -> tuple[str, ...]:
    """Short-term variation is a number of the trace before labour; in labour it misleads."""
    said = f"{upper(review.variability.value)}, bandwidth {number(review.bandwidth_bpm, 'bpm')}."
    if antepartum:
        said += (
            f" Short-term variation {number(review.stv_ms, 'ms', 1)}, long-term variation "
            f"{number(review.ltv_bpm, 'bpm')}."
        )
    lines = [said]
    if review.sinusoidal:
        lines.append("Sinusoidal undulation: its length is told under each class.")
    elif review.sinusoidal is None:
        lines.append("Whether the pattern is sinusoidal cannot be told.")
    return tuple(lines)


def _none_seen(review: Review) -> str:
    """Says 'none' only of the signal that was there, and not without a baseline to fall from."""
    if not review.valid_share > 0:
        return "Not assessed: no valid signal."
    if review.valid_share < LEAST_SEEN_SHARE:
        valid = share(review.valid_share)
        return f"Not assessed: {valid} of the window has valid signal, and none is seen in that."
    if math.isnan(review.baseline_bpm):
        return "Not assessed: none recognised, and without a baseline none can be excluded."
    if review.valid_share < 1:
        return f"None seen in the {share(review.valid_share)} of the window with valid signal."
    return "None."


def _accelerations(review: Review) -> tuple[str, ...]:
    if not review.accelerations:
        return (_none_seen(review),)
    number_said = counts.in_short(review.accelerations, review.valid_share, review.baseline_bpm)
    return (f"{upper(number_said)} in {length(review.window.duration_s)}.",)


def _decelerations(review: Review, fetal: FetalReading, clock: Clock) -> tuple[str, ...]:
    lines = tuple(_level_fall(one, clock) for one in review.level_falls)
    if not review.decelerations:
        return lines or (_none_seen(review),)
    window = review.window
    here = within.decelerations_in(fetal.findings, window)
    lines += tuple(
        _kind(one, [fall.onset_s for fall in here if fall.kind.value == one.kind], clock)
        for one in review.decelerations
    )
    if counts.in_part(review.valid_share, review.baseline_bpm):
        lines = (
            f"At least these: {share(review.valid_share)} of the window has valid signal"
            f"{', and no baseline is known' if math.isnan(review.baseline_bpm) else ''}.",
            *lines,
        )
    return (*lines, *_together(review))


def _level_fall(one: LevelFall, clock: Clock) -> str:
    back = "recovered" if one.recovered else "not recovered"
    return (
        f"Fall to another level at {clock.at(one.onset_s)}, {number(one.depth_bpm, 'bpm')} deep, "
        f"to {number(one.to_bpm, 'bpm')}, for {length(one.duration_s)}, {back}."
    )


def _together(review: Review) -> tuple[str, ...]:
    """Whether all of them together are repetitive: FIGO counts so; nothing is said of one alone."""
    if sum(one.count for one in review.decelerations) < 2:
        return ()
    if review.repetitive is None:
        return ("All together: whether repetitive (FIGO) is not known.",)
    word = "repetitive" if review.repetitive else "not repetitive"
    busiest = (
        ""
        if math.isnan(review.repetitive_share)
        else f", with {share(review.repetitive_share)} of contractions in the busiest 20 min"
    )
    return (f"All together: {word} (FIGO){busiest}.",)


def _kind(one: DecelerationSummary, onsets_s: list[float], clock: Clock) -> str:
    shared = (
        "share of contractions not known"
        if math.isnan(one.share_of_contractions)
        else f"with {share(one.share_of_contractions)} of the window's contractions"
    )
    depth = f"depth {number(one.median_depth_bpm, 'bpm')}"
    lasting = f"lasting {_lasted(one, one.median_duration_s)}"
    if one.count > 1:
        depth += f" (deepest {number(one.deepest_bpm, 'bpm')})"
        lasting += f" (longest {_lasted(one, one.longest_s)})"
    at = ", ".join(clock.at(onset_s) for onset_s in onsets_s[:_STRETCHES_SAID])
    more = f" and {len(onsets_s) - _STRETCHES_SAID} more" if len(onsets_s) > _STRETCHES_SAID else ""
    when = [f"at {at}{more}"] if at else []
    parts = [f"{upper(one.kind)}: {one.count}", *when, shared, *_pattern(one), depth, lasting]
    concerning = f" Concerning: {', '.join(one.concerning)}." if one.concerning else ""
    return ", ".join(parts) + "." + concerning


def _lasted(one: DecelerationSummary, seconds: float) -> str:
    """How long one lasted, in minutes from two on; so long in a shorter kind is a row of falls."""
    if seconds < PROLONGED_FROM_S:
        return _seconds(seconds)
    row = one.kind != DecelerationKind.PROLONGED
    return length(seconds) + (
        ", counted as one with the falls after it, as the rate was not back between them"
        if row
        else ""
    )


def _pattern(one: DecelerationSummary) -> list[str]:
    """Whether they recur in some 20 minutes; of one alone nothing is said."""
    if one.count < 2:
        return []
    if one.recurrent is None:
        return ["recurrence not known"]
    return [
        "recurrent (NICHD, in some 20 min)"
        if one.recurrent
        else "intermittent (NICHD, in every 20 min)"
    ]


def _column(one: TenMinutes, clock: Clock) -> str:
    baseline = (
        "baseline indeterminate"
        if math.isnan(one.baseline_bpm)
        else f"baseline {number(one.baseline_bpm, 'bpm')}"
    )
    variability = f"variability {one.variability.value}"
    if one.variability is not VariabilityClass.INDETERMINATE:
        variability += f" ({number(one.bandwidth_bpm, 'bpm')})"
    contractions = (
        "contractions not assessed"
        if one.contractions is None
        else counted(one.contractions, "contraction")
    )
    seen = (one.valid_share, one.baseline_bpm)
    events = counts.both(one.accelerations, one.decelerations, *seen)
    numbers = ", ".join(
        [
            baseline,
            variability,
            events,
            contractions,
            f"{share(one.valid_share)} valid",
        ]
    )
    return f"{clock.stretch(one.window)}: {numbers}. Against the hour before: " + (
        f"{'; '.join(one.change) or 'no change'}."
    )


class _Sources:
    """Numbers the citations in the order in which they are first named."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}

    def number(self, citation: str) -> int:
        return self._numbers.setdefault(citation, len(self._numbers) + 1)

    def lines(self) -> list[str]:
        return [f"{place}. {sentence(text)}" for text, place in self._numbers.items()]


def _class(one: Classification, clock: Clock, sources: _Sources) -> Section:
    lines = [sentence(upper(text)) for text in one.above]
    lines.append(
        f"{upper(one.said)}, {clock.stretch(one.window)} ({length(one.window.duration_s)})."
    )
    lines += [sentence(upper(text)) for text in one.below if text not in one.refusal]
    lines += [sentence(f"On the edge: {text}") for text in one.edge]
    lines += [sentence(why) for why in one.not_told]
    lines += [_reason(reason, one, clock, sources) for reason in one.reasons]
    if one.not_assessed:
        lines.append(f"{counted(len(one.not_assessed), 'thing')} not seen: under Not assessed.")
    return Section(f"Class by {one.edition}", tuple(lines))


def _reason(reason: Reason, one: Classification, clock: Clock, sources: _Sources) -> str:
    decided = reason.rule in one.decided_by and reason.level is not Level.REASSURING
    decides = ", decides" if decided else ""
    worrying = reason.level in (Level.CAUTION, Level.ALARMING)
    elsewhere = worrying and reason.evidence not in ((), (one.window,))
    evidence = f" At {clock.stretches(reason.evidence)}." if elsewhere else ""
    place = f" [{sources.number(reason.citation)}]" if reason.citation else ""
    return (
        f"{upper(reason.feature)}: {reason.verdict}{decides}. "
        f"{sentence(upper(reason.text))}{evidence}{place}"
    )


def _history(fetal: FetalReading, clock: Clock) -> tuple[str, ...]:
    """Each standard's classes of the half hours up to each ten minutes, alike ones together."""
    if len(fetal.history) < 2:
        return ()
    lines = []
    for name in fetal.history[0].labels:
        runs = groupby(fetal.history, key=lambda point: point.labels[name])
        said = []
        for label, points in runs:
            ends = [clock.at(point.end_s) for point in points]
            said.append(f"{label} ({ends[0]}{f' to {ends[-1]}' if len(ends) > 1 else ''})")
        lines.append(f"{name.upper()}, half hours by their ends: {', '.join(said)}.")
    if not math.isclose(fetal.review.window.duration_s, HALF_HOUR_S):
        read = length(fetal.review.window.duration_s)
        lines.append(f"The window read above is {read} long, and may say otherwise than these.")
    return tuple(lines)


def _panel_section(fetal: FetalReading) -> tuple[Section, ...]:
    if fetal.panel is not None:
        return (Section("Panel reading", _panel(fetal.panel)),)
    if fetal.panel_silence:
        return (Section("Panel reading", (f"Not told: {fetal.panel_silence}.",)),)
    return ()


def _driven(part: PanelContribution, panel: PanelReading) -> str:
    """One part of the panel's score; the half hour before unfolds into its own greatest parts."""
    towards = f"{part.points:+.2f} points towards {'pathological' if part.points > 0 else 'normal'}"
    if part.finding == HALF_HOUR_BEFORE:
        made_of = ", ".join(f"{one.finding} {one.points:+.2f}" for one in panel.before[:3])
        return f"{upper(part.finding)}: {towards} (most of it: {made_of})."
    return f"{upper(part.finding)} {number(part.value, part.unit, 1).strip()}: {towards}."


def _panel(panel: PanelReading) -> tuple[str, ...]:
    named = PANEL_LABELS
    split = ", ".join(
        f"{share(probability)} {name}"
        for name, probability in zip(named, panel.probabilities, strict=True)
    )
    likely = panel.probabilities[named.index(panel.label)] if panel.label in named else math.nan
    about = (
        ""
        if math.isnan(likely)
        else (
            f"Of {_READERS} readers, about {round(likely * _READERS)} would probably call this "
            f"{panel.label} ({split}). "
        )
    )
    ranked = sorted(panel.contributions, key=lambda part: -abs(part.points))
    driving = [part for part in ranked if abs(part.points) >= _DRIVING_POINTS]
    rest = [part for part in ranked if abs(part.points) < _DRIVING_POINTS]
    driven = [_driven(part, panel) for part in driving]
    if rest:
        driven.append(
            f"{len(rest)} other findings: {sum(part.points for part in rest):+.2f} points together."
        )
    return (
        f"{about}This is how people read such windows, not a class of a standard.",
        *driven,
        *(sentence(warning) for warning in panel.warnings),
        f"Model {panel.model_version}, from {sentence(panel.data)}",
    )


def _not_assessed(fetal: FetalReading) -> tuple[str, ...]:
    """What the review and the classes could not see, each said once, with whose class it limits."""
    limits: dict[str, list[str]] = {upper(what): [] for what in fetal.review.not_assessed}
    for one in fetal.classes:
        for what in one.not_assessed:
            limits.setdefault(upper(what), []).append(one.standard.value.upper())
    return tuple(
        sentence(what.rstrip(".") + (f" ({', '.join(whose)})" if whose else ""))
        for what, whose in limits.items()
    ) or ("Every part of the review could be assessed on the signal that was there.",)


def of_kind(kind: str) -> str:
    """Decelerations of a kind, as said in a sentence: "late decelerations"."""
    first, _, rest = kind.partition(", ")
    return f"{first} decelerations ({rest})" if rest else f"{first} decelerations"


def upper(text: str) -> str:
    """The text with a capital at its beginning."""
    return text[:1].upper() + text[1:]


def sentence(text: str) -> str:
    """The text with a full stop at its end, where it has none."""
    return text if text.endswith((".", "!", "?")) else f"{text}."
