"""Answers against truth by stated rules; unsafe choices are flagged apart from the score."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ebbline.definitions import (
    ABSENT_BELOW_BPM,
    BASELINE_STEP_BPM,
    MARKED_ABOVE_BPM,
    MINIMAL_UPTO_BPM,
)
from ebbline.features.event_matching import Matching, Span, match
from ebbline.features.findings import VariabilityClass
from ebbline.teach.answers import (
    DECELERATION_MARKS,
    Confidence,
    ExaminationAnswer,
    InternalAnswer,
    Mark,
    MarkKind,
    StripAnswer,
)
from ebbline.teach.statistics.confusion import MISSED, NOT_THERE
from ebbline.teach.truth import ExaminationTruth, StripTruth, TrueEvent
from ebbline.terms import Lie, Position, Presentation

OURS = "scoring rule of this project, no source"
NICHD = "NICHD 2008: Macones GA, et al. Obstet Gynecol 2008;112:661-6"
FIGO = "FIGO 2015: Ayres-de-Campos D, et al. Int J Gynaecol Obstet 2015;131:13-24"

NOT_ANSWERED = "not answered"
CANNOT_BE_TOLD = "cannot be told"
NEITHER_HIT_NOR_MISS = 0.5
"""An event less visible than this share need not be found, and finding it is no fault."""


@dataclass(frozen=True, slots=True)
class Rule:
    """How one step is scored. possible: points at most; words: the rule as shown; source."""

    item: str
    possible: float
    words: str
    citation: str


_RULES = (
    Rule("lie", 1, "The lie as it truly is.", OURS),
    Rule(
        "presentation",
        3,
        "The presentation as it truly is; one kind of breech for another: three quarters, for "
        "hands cannot tell the legs.",
        OURS,
    ),
    Rule(
        "position",
        2,
        "The position exactly: all points; the neighbouring eighth (of a lie across: the side of "
        "the head): half of them.",
        OURS,
    ),
    Rule("attitude", 1, "The attitude of the head as it truly is.", OURS),
    Rule("fifths", 1, "Fifths palpable: exact all points, one fifth off half of them.", OURS),
    Rule(
        "heart sensor",
        3,
        "Last site of the heart sensor: within 3 cm of the best site all points, falling evenly "
        "to none at 10 cm.",
        OURS,
    ),
    Rule(
        "contraction sensor",
        1,
        "Last site of the contraction sensor: within 4 cm of the best site all points, falling "
        "evenly to none at 12 cm.",
        OURS,
    ),
    Rule(
        "usable signal",
        3,
        "Share of the monitored time with usable fetal signal: 80 % or more all points, falling "
        "evenly to none at 30 %. A signal loss of up to 20 % is workable.",
        FIGO + " (from memory)",
    ),
    Rule("scalp electrode", 1, "Whether a scalp electrode may be offered, by the policy.", OURS),
    Rule("pressure catheter", 1, "Whether a catheter may be offered, by the policy.", OURS),
    Rule("upper twin", 2, "Lie and presentation of the twin that lies higher, half each.", OURS),
    Rule(
        "two hearts",
        3,
        "Both rates counted within 10 bpm, one point each; the third for two that differ by more "
        "than 5 bpm: the same heart counted twice is not two.",
        OURS,
    ),
    Rule(
        "moments of listening",
        3,
        "Listened before, during and after a contraction, one point each; after it for at least "
        "60 s, else half of that point.",
        "NICE NG229, 2022: for at least one minute at once after a contraction (as quoted by RCOG, "
        "Each Baby Counts, 2015)",
    ),
    Rule(
        "counting",
        3,
        "Each count within 5 bpm of the true mean rate of those seconds: all; falling evenly to "
        "none at 20 bpm; the mean over the counts.",
        OURS,
    ),
    Rule("rate between contractions", 2, "Within 10 bpm of the true baseline.", OURS),
    Rule("falls heard", 2, "Whether the rate falls after contractions, as it truly does.", OURS),
    Rule(
        "continuous monitoring",
        2,
        "Going over to continuous monitoring where falls follow contractions or the rate is "
        "outside 110 to 160, and only then.",
        "NICE NG229, 2022 (from memory)",
    ),
    Rule(
        "baseline",
        2,
        "Within 5 bpm of the true baseline; where there is none to name, saying so.",
        NICHD + " (baseline rounded to 5 bpm)",
    ),
    Rule("variability", 2, "The class of variability.", NICHD),
    Rule("sinusoidal", 1, "Whether the pattern is sinusoidal.", NICHD),
    Rule(
        "accelerations",
        2,
        "Marks matched one to one with the truth by shared time (Jaccard index of 0.25 or more): "
        "points in proportion to F1. Nothing there and nothing marked is not counted.",
        OURS,
    ),
    Rule(
        "decelerations",
        3,
        "Decelerations found, whatever they were called: matched like accelerations, points in "
        "proportion to F1.",
        OURS,
    ),
    Rule(
        "kinds of deceleration",
        3,
        "Of the decelerations found, the share called by their kind.",
        NICHD,
    ),
    Rule("contractions", 2, "Matched like accelerations, points in proportion to F1.", OURS),
    Rule(
        "tachysystole",
        1,
        "More than five contractions in ten minutes, averaged over thirty.",
        NICHD,
    ),
    Rule(
        "class",
        3,
        "The class of the course's standard for the window. Where the truth lies within a tenth "
        "of a threshold both classes count; where signal is missing over a danger that was seen, "
        "so does the class of what was seen.",
        OURS,
    ),
    Rule(
        "measures",
        3,
        "Share of the measures this picture calls for that were chosen, less a quarter of the "
        "points for each that fits nothing. What is done within 10 minutes of being called for "
        "counts whole, falling evenly to nothing at 40. Nothing called for and nothing chosen is "
        "not counted. Unsafe ones are told apart.",
        "the sources stand beside each measure; the minutes are ours",
    ),
    Rule(
        "telling",
        2,
        "The lowest step of telling that the picture calls for, or the one above: all points; two "
        "above: half; below: none. Within 10 minutes whole, falling evenly to nothing at 40.",
        OURS,
    ),
    Rule(
        "emergency known",
        2,
        "Minutes from when it could be known to saying what it is, or to the first right act or "
        "call: whole up to the target, falling evenly to nothing at the limit beside it. A minute "
        "over either counts as within it.",
        "the targets stand beside each danger",
    ),
    Rule("help called", 3, "Minutes to the call that it asks for, scored alike.", OURS),
    Rule("first act", 3, "Minutes to the right first act, scored alike.", OURS),
    Rule("birth asked for", 2, "Minutes to asking for birth, scored alike.", OURS),
    Rule(
        "handover",
        4,
        "Share of what must be said (situation, background, assessment, recommendation), less a "
        "quarter of the points for each statement that is not true.",
        "SBAR: Haig KM, et al. Jt Comm J Qual Patient Saf 2006;32:167-75 (from memory); what must "
        "be said is ours",
    ),
)
RULES = {rule.item: rule for rule in _RULES}

HINT_LEAVES = 0.8
"""Each hint about a part of a case takes a fifth of that part's points (ours)."""


@dataclass(frozen=True, slots=True)
class ScoreLine:
    """One step against truth. note: what to look at again, "" when all is well.

    confidence: how sure the learner was of the answer, 0..1; None where nothing was said.
    """

    item: str
    learner: str
    truth: str
    points: float
    possible: float
    rule: str
    citation: str
    note: str = ""
    confidence: float | None = None

    @property
    def share(self) -> float:
        """Points over possible points."""
        return self.points / self.possible


@dataclass(frozen=True, slots=True)
class UnsafeChoice:
    """A choice that could have hurt someone; told apart from the score. minute: of the case."""

    choice: str
    why: str
    citation: str
    minute: float


@dataclass(frozen=True, slots=True)
class Score:
    """All lines, the unsafe choices, and what each skill showed.

    skills: skill -> share 0..1, for spaced repetition. confused: (truth, answer) pairs of terms.
    """

    lines: tuple[ScoreLine, ...]
    unsafe: tuple[UnsafeChoice, ...] = ()
    skills: tuple[tuple[str, float], ...] = ()
    confused: tuple[tuple[str, str], ...] = ()

    @property
    def points(self) -> float:
        """Sum of points."""
        return sum(line.points for line in self.lines)

    @property
    def possible(self) -> float:
        """Sum of possible points."""
        return sum(line.possible for line in self.lines)

    @property
    def share(self) -> float:
        """Points over possible; NaN when nothing was asked."""
        return self.points / self.possible if self.lines else math.nan


def joined(scores: Sequence[Score], unsafe: Sequence[UnsafeChoice] = ()) -> Score:
    """One score of several parts."""
    return Score(
        lines=tuple(line for score in scores for line in score.lines),
        unsafe=tuple(u for score in scores for u in score.unsafe) + tuple(unsafe),
        skills=tuple(skill for score in scores for skill in score.skills),
        confused=tuple(pair for score in scores for pair in score.confused),
    )


def with_confidence(score: Score, sure: Confidence) -> Score:
    """The score with the learner's confidence beside each line that it was told of."""
    told = dict(sure)
    lines = tuple(
        replace(line, confidence=told[line.item]) if line.item in told else line
        for line in score.lines
    )
    return replace(score, lines=lines)


def with_hints(score: Score, hints: int) -> Score:
    """The score of a part about which so many hints were taken."""
    if not hints:
        return score
    left = HINT_LEAVES**hints
    words = "a hint was taken" if hints == 1 else f"{hints} hints were taken"
    lines = tuple(
        replace(
            line,
            points=line.points * left,
            note=f"{line.note}; {words}: {left:.2f} of the points left".removeprefix("; "),
        )
        for line in score.lines
    )
    return replace(score, lines=lines, skills=tuple((s, v * left) for s, v in score.skills))


def scored_line(item: str, share: float, learner: str, truth: str, note: str = "") -> ScoreLine:
    """One line by its rule. item: of RULES; share: of its points, 0..1."""
    rule = RULES[item]
    return ScoreLine(
        item, learner, truth, share * rule.possible, rule.possible, rule.words, rule.citation, note
    )


_CIRCLE = (
    Position.ANTERIOR,
    Position.LEFT_ANTERIOR,
    Position.LEFT_TRANSVERSE,
    Position.LEFT_POSTERIOR,
    Position.POSTERIOR,
    Position.RIGHT_POSTERIOR,
    Position.RIGHT_TRANSVERSE,
    Position.RIGHT_ANTERIOR,
)


def eighths_apart(one: Position, other: Position) -> int:
    """Steps of 45 degrees between two positions of a longitudinal lie, 0..4."""
    steps = abs(_CIRCLE.index(one) - _CIRCLE.index(other))
    return min(steps, 8 - steps)


def _same_side(one: Position, other: Position) -> bool:
    return one.value.split(" ")[0] == other.value.split(" ")[0]


BREECHES = {
    Presentation.FRANK_BREECH,
    Presentation.COMPLETE_BREECH,
    Presentation.FOOTLING_BREECH,
}
BREECH_FOR_BREECH = 0.75


def score_examination(
    answer: ExaminationAnswer, truth: ExaminationTruth, *, items: Sequence[str] | None = None
) -> Score:
    """The hands' conclusion against how the fetus lies. items: which to ask, default all.

    The attitude is asked only where the truth has one (head presentations).
    """
    asked = items or ("lie", "presentation", "position", "attitude", "fifths")
    lines: list[ScoreLine] = []
    confused: list[tuple[str, str]] = []
    for item in asked:
        true = getattr(truth, item)
        if true is None:
            continue
        said = getattr(answer, item)
        if said is None:
            share, note = 0.0, ""
        elif item == "position" and truth.lie is not Lie.LONGITUDINAL:
            share = float(said == true) or 0.5 * _same_side(said, true)
            note = "the side of the head, not where the back looks" if share == 0.5 else ""
        elif item == "position":
            apart = eighths_apart(said, true)
            share = {0: 1.0, 1: 0.5}.get(apart, 0.0)
            note = "the neighbouring eighth" if apart == 1 else ""
        elif item == "fifths":
            apart = abs(int(said) - int(true))
            share = {0: 1.0, 1: 0.5}.get(apart, 0.0)
            note = "one fifth off" if apart == 1 else ""
        elif item == "presentation" and said != true and {said, true} <= BREECHES:
            share, note = BREECH_FOR_BREECH, "hands cannot tell how the legs lie; a scan can"
        else:
            share, note = float(said == true), ""
        if said is not None and item in ("presentation", "position"):
            confused.append((_word(item, true), _word(item, said)))
        lines.append(scored_line(item, share, _word(item, said), _word(item, true), note))
    skills = [
        (f"presentation: {truth.presentation.value}" if line.item == "presentation" else line.item,
         line.share)
        for line in lines
    ]  # fmt: skip
    made = Score(tuple(lines), skills=tuple(skills), confused=tuple(confused))
    return with_confidence(made, answer.sure)


def _word(item: str, value: object) -> str:
    if value is None:
        return NOT_ANSWERED
    if item == "fifths":
        return f"{value}/5"
    return str(value)


def falling(distance: float, full: float, none: float) -> float:
    """1 up to `full`, falling evenly to 0 at `none`."""
    return min(1.0, max(0.0, (none - distance) / (none - full)))


def score_site(item: str, distance_cm: float | None) -> Score:
    """One sensor's last site. item: "heart sensor" or "contraction sensor". None: not placed."""
    full, none = (3.0, 10.0) if item == "heart sensor" else (4.0, 12.0)
    if distance_cm is None:
        line = scored_line(item, 0.0, "not placed", "best site shown on the abdomen")
    else:
        share = falling(distance_cm, full, none)
        line = scored_line(
            item, share, f"{distance_cm:.1f} cm away", "best site shown on the abdomen"
        )
    return Score((line,), skills=((item, line.share),))


def score_usable(usable_share: float) -> Score:
    """Share of the monitored time with usable fetal signal, NaN when nothing was monitored."""
    if math.isnan(usable_share):
        line = scored_line("usable signal", 0.0, "never monitored", "80 % or more")
    else:
        share = falling(1 - usable_share, 0.2, 0.7)
        line = scored_line(
            "usable signal", share, f"{100 * usable_share:.0f} % usable", "80 % or more"
        )
    return Score((line,), skills=(("usable signal", line.share),))


def score_internal(
    answer: InternalAnswer, *, electrode: bool | None = None, catheter: bool | None = None
) -> Score:
    """The learner's yes or no against the policy's. None: not asked."""
    lines = []
    for item, said, true in (
        ("scalp electrode", answer.electrode, electrode),
        ("pressure catheter", answer.catheter, catheter),
    ):
        if true is None:
            continue
        word = {True: "may be offered", False: "not now", None: NOT_ANSWERED}
        lines.append(scored_line(item, float(said == true), word[said], word[true]))
    made = Score(tuple(lines), skills=tuple((line.item, line.share) for line in lines))
    return with_confidence(made, answer.sure)


def score_strip(answer: StripAnswer, truth: StripTruth, *, kinds_known: bool = True) -> Score:
    """A blind reading against the truth of the same window.

    kinds_known: False where nobody's truth tells the events apart (recorded cases), and then
    neither events nor numbers are scored, only the class.
    """
    parts = [_score_class(answer, truth)]
    if kinds_known:
        parts = [_score_numbers(answer, truth), _score_marks(answer.marks, truth), *parts]
    return with_confidence(joined(parts), answer.sure)


def score_unread() -> Score:
    """A strip that was asked for and not read: nothing found counts as nothing right."""
    items = (
        "baseline", "variability", "sinusoidal", "contractions", "accelerations",
        "decelerations", "class",
    )  # fmt: skip
    return Score(
        tuple(scored_line(item, 0.0, NOT_ANSWERED, "see the worked reading") for item in items)
    )


def _bpm(value: float | None) -> str:
    if value is None:
        return NOT_ANSWERED
    return CANNOT_BE_TOLD if math.isnan(value) else f"{value:.0f} bpm"


def _yes_no(value: bool | None) -> str:
    return NOT_ANSWERED if value is None else ("yes" if value else "no")


def _score_numbers(answer: StripAnswer, truth: StripTruth) -> Score:
    said = math.nan if answer.no_baseline else answer.baseline_bpm
    if said is None:
        right = False
    elif math.isnan(said) or not truth.baseline_told:
        right = math.isnan(said) and not truth.baseline_told
    else:
        right = abs(said - truth.baseline_bpm) <= BASELINE_STEP_BPM
    lines = [scored_line("baseline", float(right), _bpm(said), _bpm(truth.baseline_bpm))]

    variability = answer.variability
    accepted = truth.variability_accepted
    lines.append(
        scored_line(
            "variability",
            float(variability in accepted),
            NOT_ANSWERED if variability is None else str(variability),
            " or ".join(accepted),
        )
    )
    lines.append(
        scored_line(
            "sinusoidal",
            float(answer.sinusoidal == truth.sinusoidal),
            _yes_no(answer.sinusoidal),
            _yes_no(truth.sinusoidal),
        )
    )
    if truth.tachysystole is not None:
        lines.append(
            scored_line(
                "tachysystole",
                float(answer.tachysystole == truth.tachysystole),
                _yes_no(answer.tachysystole),
                _yes_no(truth.tachysystole),
            )
        )
    confused = []
    if variability is not None:
        true_word = str(variability if variability in accepted else accepted[0])
        confused.append((f"{true_word} variability", f"{variability} variability"))
    skills = [(_skill(line, truth), line.share) for line in lines]
    return Score(tuple(lines), skills=tuple(skills), confused=tuple(confused))


def _skill(line: ScoreLine, truth: StripTruth) -> str:
    if line.item == "variability":
        return f"{truth.variability_accepted[0]} variability"
    if line.item == "sinusoidal" and truth.sinusoidal:
        return "sinusoidal pattern"
    if line.item == "sinusoidal":
        return "no sinusoidal pattern"
    return line.item


def _spans(events: Sequence[TrueEvent]) -> list[Span]:
    return [
        Span(
            event.start_s,
            event.end_s,
            required=not event.borderline and event.visible_share >= NEITHER_HIT_NOR_MISS,
        )
        for event in events
    ]


def _found(matching: Matching) -> str:
    asked = len(matching.pairs) + len(matching.missed)
    return (
        f"{len(matching.pairs)} of {asked} found, {len(matching.extra)} marked that are not there"
    )


def _score_marks(marks: Sequence[Mark], truth: StripTruth) -> Score:
    lines: list[ScoreLine] = []
    skills: list[tuple[str, float]] = []
    confused: list[tuple[str, str]] = []
    for item, kinds in (
        ("contractions", (MarkKind.CONTRACTION,)),
        ("accelerations", (MarkKind.ACCELERATION,)),
        ("decelerations", DECELERATION_MARKS),
    ):
        own = [mark for mark in marks if mark.kind in kinds]
        events = [event for event in truth.events if event.kind in kinds]
        matching = match([Span(m.start_s, m.end_s) for m in own], _spans(events))
        there = sum(span.required for span in _spans(events))
        if not there and not own:
            continue  # nothing to find and nothing marked: no skill was shown
        lines.append(scored_line(item, matching.f1, _found(matching), f"{there} to find"))
        named = [
            (events[e].kind.value, own[m].kind.value) for m, e in matching.pairs if events[e].clear
        ]
        confused += named
        confused += [(events[e].kind.value, MISSED) for e in matching.missed]
        confused += [(NOT_THERE, own[m].kind.value) for m in matching.extra]
        if item != "decelerations":
            skills.append((kinds[0].value, matching.f1))
            continue
        if any(e.clear and s.required for e, s in zip(events, _spans(events), strict=True)):
            right = sum(true == said for true, said in named)
            share = right / len(named) if named else 0.0
            lines.append(
                scored_line(
                    "kinds of deceleration",
                    share,
                    f"{right} of {len(named)} found called by their kind",
                    ", ".join(sorted({event.kind.value for event in events})),
                )
            )
        skills += _kind_skills(named, [events[e].kind.value for e in matching.missed])
    return Score(tuple(lines), skills=tuple(skills), confused=tuple(confused))


def _kind_skills(
    named: Sequence[tuple[str, str]], missed: Sequence[str]
) -> list[tuple[str, float]]:
    kinds = sorted({true for true, _ in named} | set(missed))
    return [
        (
            kind,
            sum(true == said == kind for true, said in named)
            / (sum(true == kind for true, _ in named) + sum(one == kind for one in missed)),
        )
        for kind in kinds
    ]


def _score_class(answer: StripAnswer, truth: StripTruth) -> Score:
    standard = answer.standard.value
    if standard not in truth.labels:
        return Score(())
    true = truth.labels[standard]
    accepted = truth.accepted_labels.get(standard, (true,))
    said = answer.label or NOT_ANSWERED
    right = said in accepted
    note = "the truth lies on a border: " + " or ".join(accepted) if len(accepted) > 1 else ""
    line = scored_line("class", float(right), said, true, note)
    confused = ((true, said),) if answer.label and not right else ((true, true),) if right else ()
    return Score((line,), skills=((f"class by {standard}", line.share),), confused=confused)


def variability_accepted(
    bandwidth_bpm: float, margin_bpm: float = 1.0
) -> tuple[VariabilityClass, ...]:
    """The classes that a true bandwidth allows; both where it lies within margin of a border.

    Borders: NICHD 2008 (see `definitions`).
    """
    if math.isnan(bandwidth_bpm):
        return (VariabilityClass.INDETERMINATE,)
    borders = (
        (ABSENT_BELOW_BPM, VariabilityClass.ABSENT),
        (MINIMAL_UPTO_BPM, VariabilityClass.MINIMAL),
        (MARKED_ABOVE_BPM, VariabilityClass.MODERATE),
        (math.inf, VariabilityClass.MARKED),
    )
    accepted: list[VariabilityClass] = []
    below = -math.inf
    for border, kind in borders:
        if below - margin_bpm <= bandwidth_bpm < border + margin_bpm:
            inside = below <= bandwidth_bpm < border
            accepted.insert(0, kind) if inside else accepted.append(kind)
        below = border
    return tuple(accepted)
