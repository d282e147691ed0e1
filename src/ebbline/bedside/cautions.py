"""What needs a person now, and findings that do not go together.

Cautions are rules as data: when, what to say, and the source. They are worded for the team that
has the woman in its care: options and questions, never orders.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from ebbline.bedside.accuracy import skill_for
from ebbline.bedside.context import ExamContext, Fluid, Membranes, Placenta
from ebbline.bedside.engine import pairs_together, predictive
from ebbline.bedside.findings_catalogue import HEART_NOT_HEARD, Finding, Step, items
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
    emergency: nothing else is to be shown or proposed beside it.
    """

    id: str
    now: bool
    text: str
    probability: float | None
    source: str
    emergency: bool = False


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two findings that this examiner would hardly report together.

    items: the two findings; lift: how often both are reported, against two findings that have
    nothing to do with each other (1); text: in words, with what to think of.
    """

    items: tuple[str, str]
    lift: float
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
    if case.context.membranes is Membranes.INTACT:
        text = (
            "Cord felt behind intact membranes: call for help now. Guidelines list: leave the "
            "membranes whole, nothing more inside, prepare for birth as the team judges."
        )
    else:
        gone = case.context.membranes is Membranes.RUPTURED
        begins = "Cord felt, the membranes gone" if gone else "Cord felt"
        text = (
            f"{begins}: call for help now. Guidelines list: hold the presenting part off the cord, "
            "handle the cord as little as possible, knees to chest or head down on the left side, "
            "prepare for the quickest birth the team judges safe."
        )
    return Caution("cord felt", True, text, None, str(RCOG_CORD), emergency=True)


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
        emergency=True,
    )


def _bleeding(case: _Case) -> Caution | None:
    context = case.context
    if not context.bleeding or context.placenta is Placenta.NOT_LOW:
        return None
    if context.placenta is Placenta.UNKNOWN:
        return Caution(
            "bleeding, placenta",
            True,
            "Bleeding, and the place of the placenta is not known: tell the team now; no finger "
            "and no sensor inside until a scan has shown the placenta.",
            None,
            str(RCOG_PRAEVIA),
        )
    where = "placenta praevia" if context.placenta is Placenta.PRAEVIA else "a low placenta"
    return Caution(
        "bleeding, placenta",
        True,
        f"Bleeding with {where}: call for help now. No finger and no sensor inside. Guidelines "
        "list: two wide lines, blood taken and ordered, her pulse and pressure, the fetal heart, "
        "prepare for birth as the team judges.",
        None,
        str(RCOG_PRAEVIA),
        emergency=True,
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
    placenta = {
        Placenta.NOT_LOW: "",
        Placenta.UNKNOWN: " A low placenta may be why: have it looked for, no finger before.",
    }.get(case.context.placenta, f" The placenta is {case.context.placenta}: no finger inside.")
    return Caution(
        "lie across in labour",
        True,
        f"Transverse or oblique lie {when} ({percent(p)}): call the team now. The cord or an "
        f"arm may come down; it cannot be born as it lies.{placenta}",
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
        f"Footling breech suspected ({percent(p)}): tell the team at once; "
        + (
            "the membranes have ruptured: the cord may be down, listen to the heart now."
            if case.context.membranes is Membranes.RUPTURED
            else "the cord may come down when the membranes rupture."
        ),
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


def _much_fluid(case: _Case) -> Caution | None:
    """Much fluid over a part that floats: the waters may take the cord with them."""
    if case.context.fluid is not Fluid.MUCH or case.context.membranes is Membranes.RUPTURED:
        return None
    floats = case.answers.get("mobility") == "mobile" or case.answers.get("fifths") == "5"
    if not floats:
        return None
    return Caution(
        "much fluid, high part",
        False,
        "Much fluid and a presenting part that floats: the cord may come down when the membranes "
        "rupture, and the lie may change; tell the team, examine again at the rupture.",
        None,
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
    _much_fluid,
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
    return tuple(sorted(made, key=lambda c: (not c.emergency, not c.now)))


HARDLY_TOGETHER = 0.09
SELDOM_TOGETHER = 0.15
RARE_ANSWER = 0.06
SHOWN_AT_MOST = 2
"""Two findings do not go together when this examiner reports both less than 9 % as often as two
findings that have nothing to do with each other; or less than 15 % as often, and the one after the
other less than 6 % as often as the likeliest answer, the fetus lying as all findings say (which
lets a face keep its own findings). Hindered hands are granted as much more as they are dulled. At
most two such pairs are shown. All four are ours, set by `python -m bench.exam_rates`: under 5 % of
true vertices meet one."""

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


_ABSENT = ("not felt", "nothing", "none", "not noticed", "not heard", "not reached")


def contradictions(
    findings: Sequence[Finding], context: ExamContext, now: FloatArray
) -> tuple[Contradiction, ...]:
    """Pairs of findings that this examiner would hardly report together, the rarest first.

    Judged by these hands, not by faultless ones: what they often get wrong contradicts nothing. A
    finger and a scan overrule the hands and are held against each other only; what was not felt
    tells of the hands as much as of the fetus and contradicts nothing. now: probability of each
    state given all findings.
    """
    telling = [f for f in findings if len(items()[f.item].covered(f.answer)) < _count(f)]
    made = []
    clear = 1 - skill_for(context).dulling
    for pair in pairs_together(telling, context):
        one, other = pair.one, pair.other
        if pair.lift >= SELDOM_TOGETHER or _overrules(one) != _overrules(other):
            continue
        if one.answer in _ABSENT or other.answer in _ABSENT:
            continue
        fits = min(_fit(one, other, context, now), _fit(other, one, context, now))
        if pair.lift < HARDLY_TOGETHER * clear or fits < RARE_ANSWER * clear:
            made.append(_contradiction(one, other, pair.lift))
    return tuple(sorted(made, key=lambda c: c.lift)[:SHOWN_AT_MOST])


def _overrules(finding: Finding) -> bool:
    return items()[finding.item].step in (Step.VAGINAL, Step.SCAN)


def _fit(given: Finding, asked: Finding, context: ExamContext, now: FloatArray) -> float:
    """How often the asked answer follows the given one, against the likeliest answer, 0..1."""
    share = now @ predictive(asked.item, [given], context)
    said = share[list(items()[asked.item].covered(asked.answer))].sum()
    return float(said / share.max())


def _count(finding: Finding) -> int:
    return len(items()[finding.item].outcomes)


def _contradiction(first: Finding, second: Finding, lift: float) -> Contradiction:
    think = next(
        (text for pair, text in _THINK_OF if pair == {first.item, second.item}),
        "one of the two was mistaken",
    )
    pair = f"{first.item} '{first.answer}' and {second.item} '{second.answer}'"
    text = f"{pair} are seldom reported together: {think}. Feel again."
    return Contradiction((first.item, second.item), lift, text)
