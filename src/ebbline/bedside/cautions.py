"""What needs a person now, and findings that do not go together.

Cautions are rules as data: when, what to say, and the source. They are worded for the team that
has the woman in its care: options and questions, never orders.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ebbline.bedside.context import ExamContext, Examiner, Membranes, Placenta
from ebbline.bedside.engine import likelihood
from ebbline.bedside.findings_catalogue import HEART_NOT_HEARD, Finding, items
from ebbline.bedside.number_words import percent, weeks_words
from ebbline.bedside.sources import PRACTICE, Mark, Source
from ebbline.bedside.states import BREECHES, State, states
from ebbline.terms import Lie, Presentation

FloatArray = NDArray[np.float64]

RCOG_CORD = Source("RCOG Green-top Guideline 50, Umbilical Cord Prolapse, 2014", Mark.MEMORY)
RCOG_PRAEVIA = Source("RCOG Green-top Guideline 27a, Placenta Praevia, 2018", Mark.MEMORY)
RCOG_BREECH = Source("RCOG Green-top Guideline 20b, Management of Breech, 2017", Mark.MEMORY)
ACOG_106 = Source("ACOG Practice Bulletin 106, 2009", Mark.MEMORY)


@dataclass(frozen=True, slots=True)
class Caution:
    """Something that needs a person. now: at once. probability: what it rests on, or None.

    id: a stable handle; text: what was found and what guidelines list; source: where it stands.
    """

    id: str
    now: bool
    text: str
    probability: float | None
    source: str


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two findings that no single way of lying explains, or only a rare one.

    items: the two findings; explained: how much of the two the best common state explains
    together, against each alone, 0..1; only_if: the rare presentation that would explain both, or
    ""; text: in words, with what to think of.
    """

    items: tuple[str, str]
    explained: float
    only_if: str
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class _Case:
    answers: dict[str, str]
    context: ExamContext
    now: FloatArray
    before: FloatArray

    def chance(self, of: Callable[[State], bool]) -> float:
        """Probability of the states that something holds of."""
        return float(self.now[_where(of)].sum())

    def before_chance(self, of: Callable[[State], bool]) -> float:
        """The same before any finding."""
        return float(self.before[_where(of)].sum())


@cache
def _where(of: Callable[[State], bool]) -> NDArray[np.bool_]:
    """States that something holds of, shape (states,)."""
    return np.array([of(state) for state in states()])


def _lies_across(state: State) -> bool:
    return state.lie is not Lie.LONGITUDINAL


def _is_footling(state: State) -> bool:
    return state.presentation is Presentation.FOOTLING_BREECH


def _is_breech(state: State) -> bool:
    return state.presentation in BREECHES


def _is_deflexed(state: State) -> bool:
    return state.presentation in (Presentation.FACE, Presentation.BROW)


def _is_high(state: State) -> bool:
    return state.descent >= 4


def _is_common(state: State) -> bool:
    return not _is_deflexed(state)


LIKELY = 0.5
POSSIBLE = 0.15
RAISED_TIMES = 5.0
RAISED_LEAST = 0.01
"""A rare presentation is suspected when it is likelier than 1 in 100 and has become at least
five times likelier by the findings, or when it is possible (15 %) outright (assumption)."""


def _suspected(case: _Case, of: Callable[[State], bool]) -> float | None:
    p, p0 = case.chance(of), case.before_chance(of)
    raised = p >= RAISED_LEAST and p >= RAISED_TIMES * p0
    return p if p >= POSSIBLE or raised else None


def _cord(case: _Case) -> Caution | None:
    if case.answers.get("part") != "cord":
        return None
    return Caution(
        "cord felt",
        True,
        "Cord felt: call for help now. Guidelines list: hold the presenting part off the cord, "
        "handle the cord as little as possible, knees to chest or head down on the left side, "
        "prepare for the quickest birth the team judges safe.",
        None,
        str(RCOG_CORD),
    )


def _not_heard(case: _Case) -> Caution | None:
    if case.answers.get("heart") != HEART_NOT_HEARD:
        return None
    return Caution(
        "heart not heard",
        True,
        "Fetal heart not heard: have it looked for now by another means (ultrasound), with the "
        "mother's pulse under the finger; tell the team.",
        None,
        str(PRACTICE),
    )


def _bleeding(case: _Case) -> Caution | None:
    context = case.context
    if not context.bleeding or context.placenta is Placenta.NOT_LOW:
        return None
    known = (
        "the place of the placenta is not known"
        if context.placenta is Placenta.UNKNOWN
        else f"the placenta is {context.placenta}"
    )
    return Caution(
        "bleeding, placenta",
        True,
        f"Bleeding, and {known}: no finger and no sensor inside until a scan has shown the "
        "placenta; tell the team now.",
        None,
        str(RCOG_PRAEVIA),
    )


def _praevia(case: _Case) -> Caution | None:
    context = case.context
    if context.bleeding or context.placenta not in (Placenta.LOW, Placenta.PRAEVIA):
        return None
    return Caution(
        "placenta low",
        False,
        f"Placenta {context.placenta}: no vaginal examination and nothing inside without the "
        "team's word.",
        None,
        str(RCOG_PRAEVIA),
    )


def _across(case: _Case) -> Caution | None:
    p = _suspected(case, _lies_across)
    if p is None:
        return None
    ruptured = case.context.membranes is Membranes.RUPTURED
    if not (case.context.in_labour or ruptured):
        return Caution(
            "lie across",
            False,
            f"Transverse or oblique lie is possible ({percent(p)}): tell the team before labour or "
            "rupture of the membranes; have it scanned, the placenta with it.",
            p,
            str(PRACTICE),
        )
    when = "in labour" if case.context.in_labour else "with ruptured membranes"
    return Caution(
        "lie across in labour",
        True,
        f"Transverse or oblique lie {when} ({percent(p)}): call the team now. The cord or an "
        "arm may come down; it cannot be born as it lies.",
        p,
        str(RCOG_CORD),
    )


def _footling(case: _Case) -> Caution | None:
    p = case.chance(_is_footling)
    if p < 0.25:
        return None
    return Caution(
        "footling breech",
        case.context.in_labour or case.context.membranes is Membranes.RUPTURED,
        f"Footling breech suspected ({percent(p)}): tell the team at once; the cord may come down "
        "when the membranes rupture.",
        p,
        str(RCOG_BREECH),
    )


def _breech(case: _Case) -> Caution | None:
    p = _suspected(case, _is_breech)
    weeks = case.context.weeks
    if p is None or not (case.context.in_labour or (weeks is not None and weeks >= 36)):
        return None
    if case.context.in_labour:
        return Caution(
            "breech in labour",
            True,
            f"Breech possible in labour ({percent(p)}): tell the team now and have it scanned.",
            p,
            str(RCOG_BREECH),
        )
    return Caution(
        "breech near term",
        False,
        f"Breech possible ({percent(p)}): have it scanned; guidelines list turning it from outside "
        "and the ways of birth to talk over.",
        p,
        str(RCOG_BREECH),
    )


def _deflexed(case: _Case) -> Caution | None:
    felt = case.answers.get("part") in ("face", "brow")
    p = _suspected(case, _is_deflexed)
    if p is None and not felt:
        return None
    p = case.chance(_is_deflexed)
    return Caution(
        "face or brow",
        case.context.in_labour,
        f"Face or brow suspected ({percent(p)}): tell the team; no electrode and no vacuum on a "
        "face; a chin to the back does not come through.",
        p,
        str(PRACTICE),
    )


def _high_with_rupture(case: _Case) -> Caution | None:
    if case.context.membranes is not Membranes.RUPTURED:
        return None
    p = case.chance(_is_high)
    if p < LIKELY or not {"fifths", "mobility", "station"} & set(case.answers):
        return None
    return Caution(
        "high with ruptured membranes",
        False,
        f"Membranes ruptured and the presenting part still high ({percent(p)} at 4/5 or 5/5): the "
        "cord may come down; listen to the heart now, and tell the team.",
        p,
        str(RCOG_CORD),
    )


def _early(case: _Case) -> Caution | None:
    weeks = case.context.weeks
    if weeks is None or weeks >= 37 or not case.context.in_labour:
        return None
    return Caution(
        "labour before 37 weeks",
        True,
        f"Labour at {weeks_words(weeks)} weeks: tell the team now.",
        None,
        str(PRACTICE),
    )


_RULES = (
    _cord,
    _not_heard,
    _bleeding,
    _across,
    _footling,
    _breech,
    _deflexed,
    _early,
    _high_with_rupture,
    _praevia,
)


def cautions(
    findings: Sequence[Finding], context: ExamContext, now: FloatArray, before: FloatArray
) -> tuple[Caution, ...]:
    """All cautions that apply, those that need a person at once first.

    now, before: probability of each state with and without the findings, shape (states,).
    """
    case = _Case({f.item: f.answer for f in findings}, context, now, before)
    made = [caution for rule in _RULES if (caution := rule(case)) is not None]
    return tuple(sorted(made, key=lambda c: not c.now))


EXPLAINED_LEAST = 0.12
"""Two findings contradict when the best state explains less than this of them together
(assumption)."""

_THINK_OF: tuple[tuple[frozenset[str], str], ...] = (
    (
        frozenset({"heart", "brim"}),
        "the wrong pole was felt, a second fetus, or the heart heard through the other side",
    ),
    (
        frozenset({"heart", "fundus"}),
        "the wrong pole was felt, a second fetus, or the heart heard through the other side",
    ),
    (frozenset({"heart", "presentation"}), "the wrong pole was felt, or a second fetus"),
    (
        frozenset({"fundus", "brim"}),
        "two poles alike: one was mistaken, or there is a second fetus",
    ),
    (frozenset({"heart", "back"}), "the back was mistaken for the limbs, or the mother's pulse"),
    (frozenset({"back", "limbs"}), "one of the two was mistaken, or there is a second fetus"),
)


def contradictions(findings: Sequence[Finding], context: ExamContext) -> tuple[Contradiction, ...]:
    """Pairs of findings that no single state explains, the worst first.

    Judged as the handbook's faultless hands would find, for a doubtful hand contradicts nothing.
    """
    ideal = ExamContext(
        weeks=context.weeks,
        examiner=Examiner.TEXTBOOK,
        fundal_height_cm=context.fundal_height_cm,
        girth_cm=context.girth_cm,
        symphysis_to_umbilicus_cm=context.symphysis_to_umbilicus_cm,
    )
    telling = [f for f in findings if len(items()[f.item].covered(f.answer)) < _count(f)]
    alone = [likelihood([f], ideal) for f in telling]
    common = _where(_is_common)
    made = []
    for first, second in combinations(range(len(telling)), 2):
        one, other = telling[first], telling[second]
        if _share_perception(one.item, other.item):
            together = likelihood([one, other], ideal)
        else:
            together = alone[first] * alone[second]
        best = float(alone[first].max() * alone[second].max())
        explained = float(together[common].max()) / best
        if explained < EXPLAINED_LEAST:
            rare = float(together.max()) / best >= EXPLAINED_LEAST
            made.append(_contradiction(one, other, explained, rare))
    return tuple(sorted(made, key=lambda c: c.explained))


def _count(finding: Finding) -> int:
    return len(items()[finding.item].outcomes)


_PERCEPTIONS = (
    {"fundus", "brim", "poles", "presentation"},
    {"back", "limbs", "prominence", "position"},
    {"fifths", "mobility"},
    {"posterior-fontanelle", "anterior-fontanelle", "suture", "chin", "sacrum"},
)


def _share_perception(one: str, other: str) -> bool:
    return any({one, other} <= together for together in _PERCEPTIONS)


def _contradiction(first: Finding, second: Finding, explained: float, rare: bool) -> Contradiction:
    think = next(
        (text for pair, text in _THINK_OF if pair == {first.item, second.item}),
        "one of the two was mistaken",
    )
    pair = f"{first.item} '{first.answer}' and {second.item} '{second.answer}'"
    if rare:
        text = f"{pair} fit each other only in a face or brow; else {think}. Feel again, or scan."
    else:
        text = f"{pair} do not go together: {think}. Feel again, or scan."
    return Contradiction((first.item, second.item), explained, "face or brow" if rare else "", text)
