"""The model's own accuracy beside the published: does it give the studies' figures back?

Four studies are the model's own entries, and their figures only come back: that shows the
arithmetic. One was not used in making the model and is a test of it. For each study the examiner
and the prevalence are the study's; the figures are then read off the
model: the probability of the conclusion in the states it is true and false of (sensitivity,
specificity), and the probability of the states after the conclusion (PPV, NPV). The same is done
for the grips themselves, over every way they can come out, called by whether they speak for or
against: the conclusion and the grips must agree.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from ebbline.bedside.accuracy import STUDIES, Study
from ebbline.bedside.context import ExamContext, Examiner
from ebbline.bedside.engine import likelihood
from ebbline.bedside.findings_catalogue import Finding, items
from ebbline.bedside.priors import prior
from ebbline.bedside.state_groups import classes
from ebbline.bedside.states import State, states
from ebbline.terms import Stage

BoolArray = NDArray[np.bool_]
FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Figures:
    """Accuracy of a conclusion, per cent; NaN where not given."""

    sensitivity: float
    specificity: float
    ppv: float
    npv: float
    lr_positive: float


@dataclass(frozen=True, slots=True)
class CalibrationRow:
    """One study: what it published, what its rounded figures give by Bayes, what the model gives.

    printed: as published; intervals: 95 % of each, in the order sensitivity, specificity, PPV, NPV,
    NaN where neither published nor countable; implied: PPV and NPV that follow from the rounded
    sensitivity, specificity and prevalence; model: by the written conclusion; grips: by the grips
    alone (None where the study is not of what presents).
    """

    study: Study
    examiner: Examiner
    prevalence: float
    printed: Figures
    intervals: tuple[tuple[float, float], ...]
    implied: Figures
    model: Figures
    grips: Figures | None

    @property
    def an_entry(self) -> bool:
        """True where the model was made with the study: its figures only come back."""
        return self.study.used is not None


_Z = 1.959964


def wilson(share: float, count: float) -> tuple[float, float]:
    """95 % interval of a share of so many, per cent both (Wilson EB, JASA 1927;22:209-12)."""
    if count <= 0 or math.isnan(share):
        return math.nan, math.nan
    p, z2 = share / 100, _Z**2
    middle = (p + z2 / (2 * count)) / (1 + z2 / count)
    half = _Z / (1 + z2 / count) * math.sqrt(p * (1 - p) / count + z2 / (4 * count**2))
    return 100 * (middle - half), 100 * (middle + half)


def intervals(study: Study) -> tuple[tuple[float, float], ...]:
    """95 % intervals of sensitivity, specificity, PPV and NPV: published, else by Wilson's."""
    have = study.women * study.prevalence / 100
    free = study.women - have
    hit, false = have * study.sensitivity / 100, free * (1 - study.specificity / 100)
    counted = (
        wilson(study.sensitivity, have),
        wilson(study.specificity, free),
        wilson(study.ppv, hit + false),
        wilson(study.npv, study.women - hit - false),
    )
    published = (study.sensitivity_interval, study.specificity_interval)
    return (
        *(c if math.isnan(p[0]) else p for p, c in zip(published, counted, strict=False)),
        *counted[2:],
    )


def _figures(called: FloatArray, truth: BoolArray, before: FloatArray) -> Figures:
    """Accuracy of a call. called: share of the call in each state; truth: states it is true of."""
    hit, false = float((before * called)[truth].sum()), float((before * called)[~truth].sum())
    have, free = float(before[truth].sum()), float(before[~truth].sum())
    sensitivity, fall_out = hit / have, false / free
    return Figures(
        100 * sensitivity,
        100 * (1 - fall_out),
        100 * hit / (hit + false),
        100 * (free - false) / (have - hit + free - false),
        sensitivity / fall_out,
    )


def implied(study: Study) -> Figures:
    """What a study's rounded sensitivity, specificity and prevalence give by Bayes' rule."""
    se, sp, p = study.sensitivity / 100, study.specificity / 100, study.prevalence / 100
    lr = se / (1 - sp)
    if math.isnan(p):
        return Figures(study.sensitivity, study.specificity, math.nan, math.nan, lr)
    ppv = se * p / (se * p + (1 - sp) * (1 - p))
    npv = sp * (1 - p) / (sp * (1 - p) + (1 - se) * p)
    return Figures(study.sensitivity, study.specificity, 100 * ppv, 100 * npv, lr)


def _noncephalic() -> BoolArray:
    return np.asarray(classes("what presents") != 0)


def by_conclusion(findings: Sequence[Finding], truth: BoolArray, context: ExamContext) -> Figures:
    """Accuracy of one conclusion of the hands in the model."""
    return _figures(likelihood(findings, context), truth, prior(context))


def by_grips(context: ExamContext) -> Figures:
    """Accuracy of the grips for the poles, over every way in which they can come out."""
    truth = _noncephalic()
    before = prior(context)
    names = ("fundus", "brim", "poles")
    called = np.zeros(len(before))
    for answers in product(*(items()[name].outcomes for name in names)):
        said = [Finding(name, answer) for name, answer in zip(names, answers, strict=True)]
        share = likelihood(said, context)
        against = (before * share)[truth].sum() / before[truth].sum()
        if against > (before * share)[~truth].sum() / before[~truth].sum():
            called = called + share
    return _figures(called, truth, before)


_PRESENTS = (
    (Examiner.LEARNING, "thorp"),
    (Examiner.ORDINARY, "nassar"),
    (Examiner.EXPERIENCED, "lydon-rochelle"),
    (Examiner.ORDINARY, "rueangchainikhom"),
)


def _printed(study: Study) -> Figures:
    lr = study.sensitivity / (100 - study.specificity)
    return Figures(study.sensitivity, study.specificity, study.ppv, study.npv, lr)


def _presentation_row(examiner: Examiner, name: str) -> CalibrationRow:
    study = STUDIES[name]
    share = study.prevalence / 100
    context = ExamContext(weeks=39, examiner=examiner, noncephalic_share=share)
    said = [Finding("presentation", "non-cephalic")]
    return CalibrationRow(
        study,
        examiner,
        100 * share,
        _printed(study),
        intervals(study),
        implied(study),
        by_conclusion(said, _noncephalic(), context),
        by_grips(context),
    )


def _loa_row() -> CalibrationRow:
    study = STUDIES["webb"]
    context = ExamContext(
        weeks=39,
        stage=Stage.FIRST,
        earlier_births=0,
        examiner=Examiner.ORDINARY,
        noncephalic_share=1e-9,
    )
    return CalibrationRow(
        study,
        Examiner.ORDINARY,
        study.prevalence,
        _printed(study),
        intervals(study),
        implied(study),
        _at_prevalence(
            by_conclusion([Finding("position", "left front")], _among(_is_loa), context),
            study.prevalence,
        ),
        None,
    )


def _at_prevalence(figures: Figures, prevalence: float) -> Figures:
    """Predictive values at a study's own prevalence (the model's own share of LOA is 12.5 %)."""
    se, sp, p = figures.sensitivity / 100, figures.specificity / 100, prevalence / 100
    return replace(
        figures,
        ppv=100 * se * p / (se * p + (1 - sp) * (1 - p)),
        npv=100 * sp * (1 - p) / (sp * (1 - p) + (1 - se) * p),
    )


def _is_loa(state: State) -> bool:
    return state.cephalic and state.abbreviation == "LOA"


def _among(of: Callable[[State], bool]) -> BoolArray:
    return np.array([of(state) for state in states()])


def calibration() -> tuple[CalibrationRow, ...]:
    """A row for every cited study, the model's own entries first."""
    rows = [_presentation_row(examiner, name) for examiner, name in _PRESENTS]
    return (*rows[:-1], _loa_row(), rows[-1])


def _values(figures: Figures) -> tuple[float, ...]:
    return figures.sensitivity, figures.specificity, figures.ppv, figures.npv


def _cells(figures: Figures | None, digits: int) -> str:
    if figures is None:
        return "- | - | - | -"
    return " | ".join("-" if math.isnan(v) else f"{v:.{digits}f}" for v in _values(figures))


def _published_cells(row: CalibrationRow) -> str:
    """Each published figure with its interval."""
    said = []
    for value, (low, high) in zip(_values(row.printed), row.intervals, strict=True):
        if math.isnan(value):
            said.append("-")
        else:
            said.append(f"{value:.0f}" + ("" if math.isnan(low) else f" ({low:.0f}-{high:.0f})"))
    return " | ".join(said)


def outside(row: CalibrationRow) -> tuple[str, ...]:
    """Names of the model's figures that lie outside the study's intervals."""
    names = ("sensitivity", "specificity", "PPV", "NPV")
    return tuple(
        name
        for name, value, (low, high) in zip(names, _values(row.model), row.intervals, strict=True)
        if not math.isnan(low) and not low <= value <= high
    )


_HEAD = (
    "| study (examiner's level) | of | prevalence, % | | sensitivity | specificity | PPV | NPV |\n"
    "|---|---|---|---|---|---|---|---|\n"
)


def calibration_table() -> str:
    """All rows as a Markdown table, figures in per cent, 95 % intervals in brackets."""
    lines = []
    for row in calibration():
        study = row.study
        role = "entry, comes back" if row.an_entry else "**not used: a test**"
        lines += [
            f"| {study.name} ({row.examiner}) | {study.of} | {row.prevalence:.1f} | published | "
            f"{_published_cells(row)} |",
            f"| {role} | | | by Bayes from the rounded figures | {_cells(row.implied, 1)} |",
            f"| | | | **model, conclusion** | {_cells(row.model, 1)} |",
        ]
        if row.grips is not None:
            lines.append(f"| | | | model, grips | {_cells(row.grips, 1)} |")
        far = outside(row)
        lines.append(
            f"| | | | LR+ published / model | {row.printed.lr_positive:.2f} / "
            f"{row.model.lr_positive:.2f} | "
            + (f"outside the interval: {', '.join(far)} " if far else "")
            + "| | |"
        )
    return _HEAD + "\n".join(lines) + "\n"
