"""The examination: findings and context to probabilities, cautions, next steps and sites."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from ebbline import CAUTION
from ebbline.bedside.accuracy import skill_for
from ebbline.bedside.cautions import Caution, Contradiction, cautions, contradictions
from ebbline.bedside.context import ExamContext
from ebbline.bedside.engine import posterior
from ebbline.bedside.findings_catalogue import (
    Finding,
    Step,
    findings_from,
    heard_zones,
    items,
)
from ebbline.bedside.geometry import abdomen_for
from ebbline.bedside.growth import Growth, growth
from ebbline.bedside.likelihood import heart_astray
from ebbline.bedside.next_step import (
    OF_THE_LOWER_TWIN,
    NextStep,
    ScanAdvice,
    next_steps,
    scan_advice,
)
from ebbline.bedside.policy.scan import ScanPolicy, shipped_scan
from ebbline.bedside.position import PositionTold, position_told
from ebbline.bedside.priors import prior, prior_notes
from ebbline.bedside.sensors import Heard, SensorPlan, plan
from ebbline.bedside.sources import ASSUMPTION, Basis
from ebbline.bedside.state_groups import GROUPINGS, shares
from ebbline.bedside.states import State, states
from ebbline.bedside.tables import LISTENING_SPREAD_CM
from ebbline.terms import Presentation

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Chance:
    """A word with its probability, 0..1, and what it was before any finding."""

    word: str
    probability: float
    before: float


@dataclass(frozen=True, slots=True)
class StateChance:
    """One way to lie, over all attitudes and descents, with its probability, 0..1."""

    name: str
    abbreviation: str
    lie: str
    presentation: str
    position: str
    probability: float
    before: float


@dataclass(frozen=True, slots=True, eq=False)
class ExamResult:
    """What the examination comes to.

    alone: emergencies beside which nothing else is shown or proposed; else empty. cautions come
    first: what needs a person now. not_examined, not_told: what was left out of the
    examination and of the context, which never counts as 'no'. lie, presentation, back, attitude,
    descent: the probabilities of each, all summing to one. positions: the likeliest presentations
    with their positions; position_told: what of them the findings tell. noncephalic, engaged:
    probabilities, 0..1. basis: what it rests on.
    posterior: of every state, in the order of states.states().
    """

    context: ExamContext
    findings: tuple[Finding, ...]
    not_examined: tuple[str, ...]
    not_told: tuple[str, ...]
    alone: tuple[Caution, ...]
    cautions: tuple[Caution, ...]
    contradictions: tuple[Contradiction, ...]
    lie: tuple[Chance, ...]
    presentation: tuple[Chance, ...]
    back: tuple[Chance, ...]
    attitude: tuple[Chance, ...]
    descent: tuple[Chance, ...]
    positions: tuple[StateChance, ...]
    position_told: PositionTold
    noncephalic: float
    engaged: float
    next_steps: tuple[NextStep, ...]
    scan: ScanAdvice
    sensors: SensorPlan
    growth: Growth
    basis: tuple[Basis, ...]
    posterior: FloatArray
    caution: str


Given = Mapping[str, str] | Iterable[tuple[str, str]] | Iterable[Finding]
"""Findings as words: a mapping, pairs, or Finding objects. 'not examined' is left out."""


def examine(
    findings: Given,
    context: ExamContext | None = None,
    *,
    scan_policy: ScanPolicy | None = None,
) -> ExamResult:
    """What the findings of an examination come to.

    findings: item to answer (see items.items() for the words; "unclear" is an answer, an item
    that was not examined is left out). context: what is known beside them. scan_policy: when a
    scan is advised, a unit's own in place of the shipped one.

    Raises ExaminationError for words that are not known and for one item answered twice.

    >>> result = examine({"fundus": "breech", "brim": "head", "back": "left"})
    >>> result.presentation[0].word
    'vertex'
    """
    context = ExamContext() if context is None else context
    found = findings_from(findings)
    before = prior(context)
    now = posterior(found, context)
    against = contradictions(found, context, now)
    sensors = _sensors(found, context, now)
    said = cautions(found, context, now, before)
    alone = tuple(c for c in said if c.emergency)
    # With an emergency nothing else is proposed: not a grip, not a listening place.
    steps = (
        () if alone else tuple(_placed(step, sensors) for step in next_steps(found, context, now))
    )
    positions = _positions(now, before)
    return ExamResult(
        context=context,
        findings=found,
        not_examined=_not_examined(found, context),
        not_told=_not_told(context),
        alone=alone,
        cautions=said,
        contradictions=against,
        lie=_chances("lie", now, before),
        presentation=_chances("presentation", now, before),
        back=_chances("back", now, before),
        attitude=_chances("attitude", now, before),
        descent=_chances("descent", now, before, ordered=False),
        positions=positions,
        position_told=position_told(now, Presentation(positions[0].presentation)),
        noncephalic=float(1 - shares("what presents", now)[0]),
        engaged=float(now[_engaged()].sum()),
        next_steps=steps,
        scan=scan_advice(
            found,
            context,
            now,
            steps,
            shipped_scan() if scan_policy is None else scan_policy,
            emergency=bool(alone),
        ),
        sensors=sensors,
        growth=_growth(context, now),
        basis=(*_hands(context), *prior_notes(context)),
        posterior=now,
        caution=CAUTION,
    )


def _sensors(found: tuple[Finding, ...], context: ExamContext, now: FloatArray) -> SensorPlan:
    """Sites by the state and, where the heart was heard, by that place too."""
    abdomen = abdomen_for(context)
    heart = next((f for f in found if f.item == "heart"), None)
    zones = () if heart is None else heard_zones(heart.answer)
    if not zones:
        return plan(now, abdomen)
    heard = Heard(zones, LISTENING_SPREAD_CM, heart_astray(skill_for(context)))
    without = posterior([f for f in found if f.item != "heart"], context)
    return plan(now, abdomen, heard, without)


def _placed(step: NextStep, sensors: SensorPlan) -> NextStep:
    """Listening with the places where it is likeliest to be heard best."""
    if step.item != "heart":
        return step
    place = f"first {sensors.best.words}"
    if sensors.fallback is not None:
        place += f"; then {sensors.fallback.words}"
    return replace(step, place=place)


_ASKED: tuple[tuple[str, str], ...] = (
    ("weeks", "weeks of gestation"),
    ("stage", "stage of labour"),
    ("earlier_births", "earlier births"),
    ("placenta", "place of the placenta"),
    ("bleeding", "bleeding"),
    ("membranes", "membranes"),
    ("fluid", "amniotic fluid"),
    ("fundal_height_cm", "fundal height"),
)


def _not_told(context: ExamContext) -> tuple[str, ...]:
    return tuple(words for name, words in _ASKED if getattr(context, name) in (None, "unknown"))


def _growth(context: ExamContext, now: FloatArray) -> Growth:
    words, _ = GROUPINGS["descent"]
    by_word = dict(zip(words, shares("descent", now).tolist(), strict=True))
    noncephalic = float(1 - shares("what presents", now)[0])
    return growth(context, noncephalic, {n: by_word[f"{n}/5"] for n in range(6)})


def _hands(context: ExamContext) -> tuple[Basis, ...]:
    """How far the hands are trusted, and what dulls them."""
    skill = skill_for(context)
    made = list(skill.basis)
    if skill.dulling > 0:
        made.append(
            Basis(
                "hands",
                f"hindered: {100 * skill.dulling:.0f} % of what they would tell taken off",
                ASSUMPTION,
            )
        )
    return tuple(made)


_ROUTINE = (Step.LOOK, Step.FUNDUS, Step.FLANKS, Step.BRIM, Step.INLET, Step.ASK, Step.LISTEN)


def _not_examined(found: tuple[Finding, ...], context: ExamContext) -> tuple[str, ...]:
    done = {f.item for f in found}
    steps = [s for s in _ROUTINE if not (context.upper_twin and s in OF_THE_LOWER_TWIN)]
    return tuple(i.name for i in items().values() if i.step in steps and i.name not in done)


def _chances(
    grouping: str, now: FloatArray, before: FloatArray, *, ordered: bool = True
) -> tuple[Chance, ...]:
    words, _ = GROUPINGS[grouping]
    rows = [
        Chance(str(word), p, p0)
        for word, p, p0 in zip(
            words, shares(grouping, now).tolist(), shares(grouping, before).tolist(), strict=True
        )
    ]
    return tuple(sorted(rows, key=lambda c: -c.probability) if ordered else rows)


@cache
def _engaged() -> NDArray[np.bool_]:
    return np.array([state.engaged for state in states()])


@cache
def _position_classes() -> tuple[NDArray[np.intp], tuple[State, ...]]:
    """Class of each state by its name, and one state for each class."""
    found: dict[str, int] = {}
    index = [found.setdefault(state.name, len(found)) for state in states()]
    firsts = tuple(states()[index.index(i)] for i in range(len(found)))
    return np.array(index, dtype=np.intp), firsts


def _positions(now: FloatArray, before: FloatArray) -> tuple[StateChance, ...]:
    index, firsts = _position_classes()
    after, prior_shares = np.bincount(index, weights=now), np.bincount(index, weights=before)
    rows = [
        StateChance(
            state.name,
            state.abbreviation,
            state.lie.value,
            state.presentation.value,
            state.position.value,
            float(after[i]),
            float(prior_shares[i]),
        )
        for i, state in enumerate(firsts)
    ]
    return tuple(sorted(rows, key=lambda row: -row.probability))
