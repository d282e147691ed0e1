"""A learner's portfolio on paper: what was played over the year, term by term, and how it went."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np

from ebbline import CAUTION
from ebbline.picture.canvas import Document
from ebbline.picture.style import QUIET_INK
from ebbline.teach.attempt_record import FinishedAttempt
from ebbline.teach.printout import SMALL_PT, TITLE_PT, Flow
from ebbline.teach.statistics.resampling import ratio_interval

RESAMPLES = 2000
LEAST_FOR_INTERVAL = 4
"""Attempts of a term from which an interval of its mean is given (ours)."""


def term_of(attempt: FinishedAttempt) -> str:
    """The term an attempt belongs to: spring (January to June) or autumn of its year (ours)."""
    half = "spring" if attempt.finished.month <= 6 else "autumn"
    return f"{half} {attempt.finished.year}"


def interval(shares: Sequence[float]) -> tuple[float, float] | None:
    """95 % percentile bootstrap interval of a mean over attempts; None for too few."""
    if len(shares) < LEAST_FOR_INTERVAL:
        return None
    return ratio_interval(shares, np.ones(len(shares)), seed=1, resamples=RESAMPLES)


def portfolio(
    learner: str, attempts: Sequence[FinishedAttempt], titles: Mapping[str, str]
) -> Document:
    """All finished attempts of a learner by term, each term with its mean and what it practised."""
    title = f"Portfolio of {learner}"
    flow = Flow(title, f"{title}. Invented patients. {CAUTION}")
    flow.words(title, size=TITLE_PT, bold=True)
    terms: dict[str, list[FinishedAttempt]] = defaultdict(list)
    for attempt in sorted(attempts, key=lambda one: one.finished):
        terms[term_of(attempt)].append(attempt)
    if not terms:
        flow.words("Nothing has been finished yet.")
    for term, own in terms.items():
        _term(flow, term, own, titles)
    flow.words(
        "Means are of all finished attempts of a term; intervals are 95 % percentile bootstrap "
        "intervals over attempts, given from four attempts on.",
        size=SMALL_PT,
        colour=QUIET_INK,
    )
    return Document(title, tuple(flow.pages()))


def _term(flow: Flow, term: str, own: Sequence[FinishedAttempt], titles: Mapping[str, str]) -> None:
    shares = [one.score.share for one in own]
    told = interval(shares)
    words = f"mean {100 * float(np.mean(shares)):.0f} % of the points"
    if told is not None:
        words += f" (95 % interval {100 * told[0]:.0f} to {100 * told[1]:.0f} %)"
    unsafe = sum(len(one.score.unsafe) for one in own)
    flow.head(f"{term[0].upper()}{term[1:]}")
    flow.words(f"{len(own)} finished, {words}; unsafe choices: {unsafe}.")
    flow.pairs(
        [
            (
                f"{one.finished:%d %b %Y}",
                f"{100 * one.score.share:.0f} %  {titles.get(one.case, one.case)}",
            )
            for one in own
        ]
    )
    skills: dict[str, list[float]] = defaultdict(list)
    for one in own:
        for skill, share in one.score.skills:
            skills[skill].append(share)
    rows = sorted(skills.items(), key=lambda row: float(np.mean(row[1])))
    flow.words("Skills, the weakest first", bold=True, after=0.02)
    flow.pairs([(k[:34], f"{100 * float(np.mean(v)):.0f} %, {len(v)} times") for k, v in rows])
