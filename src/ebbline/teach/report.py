"""The class report: questions, agreement, confusion of terms, progress, unsafe choices."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ebbline.criteria.model import Standard
from ebbline.statistics.agreement import (
    MISSING,
    Agreement,
    Scale,
    Weighting,
    cohen,
    fleiss,
    krippendorff_alpha,
)
from ebbline.teach.answers import MarkKind
from ebbline.teach.attempt_record import (
    FinishedAttempt,
    as_progress,
    by_learner_and_case,
    by_learner_and_item,
    class_ratings,
)
from ebbline.teach.portfolio import calibration_words, confidences, growth_words, skill_shares
from ebbline.teach.standards import TITLES, classes_of
from ebbline.teach.statistics.calibration import Calibration, calibration
from ebbline.teach.statistics.confusion import MISSED, NOT_THERE, Confusion, confusion
from ebbline.teach.statistics.growth import Growth, growth
from ebbline.teach.statistics.items import ItemStatistic, item_statistics
from ebbline.teach.statistics.progress import AttemptLevel, progress
from ebbline.teach.statistics.reliability import Reliability, reliability
from ebbline.terms import counted

RESAMPLES = 1000
_MARKS = tuple(kind.value for kind in MarkKind)
_VARIABILITIES = tuple(
    f"{word} variability" for word in ("absent", "minimal", "moderate", "marked", "indeterminate")
)


@dataclass(frozen=True, slots=True)
class StandardAgreement:
    """How the class's readers agreed on the classes of one standard.

    with_truth: answers pooled over learners against the truth; among: of the learners with one
    another. units: cases (each variant by itself) that two learners or more have read.
    """

    standard: str
    title: str
    units: int
    learners: int
    with_truth: tuple[Agreement, ...]
    among: tuple[Agreement, ...]


@dataclass(frozen=True, slots=True)
class ClassReport:
    """Everything a teacher is shown of a class.

    classes: (standard's title, confusion of its classes). unsafe: (choice, times), the commonest
    first.
    """

    attempts: int
    learners: tuple[str, ...]
    items: tuple[ItemStatistic, ...]
    agreement: tuple[StandardAgreement, ...]
    marks: Confusion
    variability: Confusion
    classes: tuple[tuple[str, Confusion], ...]
    progress: tuple[AttemptLevel, ...]
    unsafe: tuple[tuple[str, int], ...]
    reliability: Reliability
    calibration: Calibration
    growth: tuple[Growth, ...]


def class_report(attempts: Iterable[FinishedAttempt], *, resamples: int = RESAMPLES) -> ClassReport:
    """The report of finished attempts. Questions and agreement rest on first attempts only."""
    every = tuple(attempts)
    pairs = [pair for attempt in every for pair in attempt.score.confused]
    marks = {*_MARKS, MISSED, NOT_THERE}
    return ClassReport(
        attempts=len(every),
        learners=tuple(sorted({attempt.learner for attempt in every})),
        items=item_statistics(by_learner_and_item(every)),
        agreement=tuple(
            made
            for standard in Standard
            for made in (_agreement(standard, every, resamples),)
            if made is not None
        ),
        marks=confusion((p for p in pairs if set(p) <= marks), (*_MARKS, MISSED, NOT_THERE)),
        variability=confusion((p for p in pairs if set(p) <= set(_VARIABILITIES)), _VARIABILITIES),
        classes=_class_confusions(every),
        progress=progress(as_progress(every)),
        unsafe=tuple(
            Counter(u.choice for attempt in every for u in attempt.score.unsafe).most_common()
        ),
        reliability=reliability(by_learner_and_case(every)),
        calibration=calibration(confidences(every)),
        growth=growth(skill_shares(every)),
    )


MOSTLY = 0.8
"""Fleiss' kappa needs everybody's answer: it is taken of the learners who read at least so much."""


def _complete(ratings: Sequence[Sequence[int]]) -> list[list[int]]:
    """The ratings of the learners who answered most units, for a coefficient without gaps."""
    columns = [list(column) for column in zip(*ratings, strict=True)]
    kept = [c for c in columns if sum(a != MISSING for a in c) >= MOSTLY * len(ratings)]
    return [list(row) for row in zip(*kept, strict=True)] if len(kept) >= 2 else []


def _class_confusions(
    attempts: Sequence[FinishedAttempt],
) -> tuple[tuple[str, Confusion], ...]:
    made = []
    for standard in Standard:
        words = classes_of(standard)
        pairs = [
            pair
            for attempt in attempts
            if attempt.standard == standard.value
            for pair in attempt.score.confused
            if set(pair) <= set(words)
        ]
        if pairs:
            made.append((TITLES[standard], confusion(pairs, words)))
    return tuple(made)


def _agreement(
    standard: Standard, attempts: Sequence[FinishedAttempt], resamples: int
) -> StandardAgreement | None:
    own = [attempt for attempt in attempts if attempt.standard == standard.value]
    words = classes_of(standard)
    (learners, ratings), truth = class_ratings(own, words)
    if not ratings:
        return None
    said = [answer for row in ratings for answer in row]
    true = [t for row, t in zip(ratings, truth, strict=True) for _ in row]
    cases = [unit for unit, row in enumerate(ratings) for _ in row]
    count = len(words)
    # "No class" is an answer like any other, but has no place in the order of the classes.
    ordered = count - 1

    def without(answers: Sequence[int]) -> list[int]:
        return [MISSING if answer == ordered else answer for answer in answers]

    ordinal = Scale.ORDINAL if ordered > 2 else Scale.NOMINAL
    return StandardAgreement(
        standard=standard.value,
        title=TITLES[standard],
        units=sum(sum(answer != MISSING for answer in row) >= 2 for row in ratings),
        learners=len(learners),
        with_truth=(
            cohen(said, true, count, groups=cases, resamples=resamples),
            cohen(
                without(said),
                without(true),
                ordered,
                weighting=Weighting.QUADRATIC,
                groups=cases,
                resamples=resamples,
            ),
        ),
        among=(
            fleiss(_complete(ratings), count, resamples=resamples),
            krippendorff_alpha(ratings, count, scale=Scale.NOMINAL, resamples=resamples),
            *(
                (
                    krippendorff_alpha(
                        [without(row) for row in ratings],
                        ordered,
                        scale=ordinal,
                        resamples=resamples,
                    ),
                )
                if ordinal is Scale.ORDINAL
                else ()
            ),
        ),
    )


def report_text(report: ClassReport) -> str:
    """The report as plain text for a terminal."""
    learners = counted(len(report.learners), "learner")
    lines = [f"{counted(report.attempts, 'finished attempt')} of {learners}", ""]
    if not report.attempts:
        return lines[0] + "\n"
    lines.append("QUESTIONS (first attempts)")
    lines.append(f"  {'question':52s} learners difficulty discrimination upper-lower")
    for item in report.items:
        lines.append(
            f"  {item.item[:52]:52s} {item.learners:8d} {item.difficulty:10.2f} "
            f"{item.discrimination:14.2f} {item.upper_lower:11.2f}"
            + (f"  {item.note}" if item.note else "")
        )
    lines += ["", "AGREEMENT ON THE CLASS (95 % bootstrap intervals over cases)"]
    for one in report.agreement:
        lines.append(
            f"  {one.title}: {one.units} cases read by two or more, {one.learners} learners"
        )
        for name, found in (("with the truth", one.with_truth), ("among learners", one.among)):
            for made in found:
                lines.append(f"    {name}: {made.coefficient} {_interval(made)}")
    for title, table in (
        ("MARKS TAKEN FOR OTHERS", report.marks),
        ("VARIABILITY TAKEN FOR ANOTHER", report.variability),
        *((f"CLASSES OF {title} TAKEN FOR OTHERS", table) for title, table in report.classes),
    ):
        mistakes = table.commonest_mistakes[:8]
        if mistakes:
            lines += ["", title]
            lines += [f"  {n:4d} x {true} said to be {said}" for true, said, n in mistakes]
    lines += ["", "RELIABILITY", f"  {reliability_words(report.reliability)}"]
    lines += ["", "HOW SURE AGAINST HOW RIGHT", f"  {calibration_words(report.calibration)}"]
    if grown := growth_lines(report):
        lines += ["", "GROWTH BY SKILL (least first; 95 % bootstrap intervals over learners)"]
        lines += [f"  {words}" for words in grown]
    lines += ["", "PROGRESS (median and quartiles of the score)"]
    for level in report.progress:
        lines.append(
            f"  attempt {level.number}: {100 * level.median:.0f} % ({100 * level.lower:.0f} to "
            f"{100 * level.upper:.0f} %)"
            f", {level.learners} learners, {level.unsafe_each:.1f} unsafe choices each"
        )
    if report.unsafe:
        lines += ["", "UNSAFE CHOICES"]
        lines += [f"  {n:4d} x {choice}" for choice, n in report.unsafe]
    return "\n".join(lines) + "\n"


def growth_lines(report: ClassReport) -> list[str]:
    """Growth of each skill in a line, where it can be told."""
    return [growth_words(one) for one in report.growth if one.per_month == one.per_month]


def reliability_words(made: Reliability) -> str:
    """Reliability in a line."""
    basis = f"{made.learners} learners, {made.items} cases"
    if made.alpha != made.alpha:
        return f"not defined ({made.note}; here {basis})"
    return (
        f"alpha {made.alpha:.2f} ({made.low:.2f} to {made.high:.2f}), phi {made.phi:.2f}; standard "
        f"error of a learner's mean {100 * made.sem:.1f} points among learners, "
        f"{100 * made.sem_absolute:.1f} against a pass mark ({basis})"
    )


def _interval(made: Agreement) -> str:
    if made.value != made.value:
        return f"not defined ({made.note})"
    if made.low != made.low:
        return f"{made.value:.2f} (no interval)" + (f"; {made.note}" if made.note else "")
    return f"{made.value:.2f} ({made.low:.2f} to {made.high:.2f})" + (
        f"; {made.note}" if made.note else ""
    )
