"""Examinations drawn from the model itself, and how it then behaves: what it says too often.

A drawn examination is one that these hands would report of a fetus that lies in a known way. The
rates over many of them are what an examiner meets: how often findings are called contradictory
where nothing is wrong, how many heads are sent to a scan and how many breeches are not.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ebbline.bedside.cautions import contradictions
from ebbline.bedside.context import ExamContext
from ebbline.bedside.engine import posterior
from ebbline.bedside.findings_catalogue import Finding, Step, items
from ebbline.bedside.likelihood import domains_for
from ebbline.bedside.policy.scan import ScanPoint
from ebbline.bedside.priors import prior
from ebbline.bedside.state_groups import classes
from ebbline.bedside.states import State, states
from ebbline.terms import Presentation

FloatArray = NDArray[np.float64]

ROUTINE = tuple(
    item.name
    for item in items().values()
    if item.step in (Step.FUNDUS, Step.FLANKS, Step.BRIM, Step.INLET, Step.LISTEN)
)
"""The four grips with fifths and mobility, and the heart."""


def draw_examination(
    state: int,
    context: ExamContext,
    chance: np.random.Generator,
    asked: Sequence[str] = ROUTINE,
) -> tuple[Finding, ...]:
    """One examination as this examiner would report it of a state.

    state: index into states(); asked: names of items. Findings come in the order of `items()`.
    """
    found = {}
    for domain in domains_for(context):
        wanted = [item for item in domain.said if item in asked]
        if not wanted:
            continue
        perceived = chance.choice(domain.confusion.shape[1], p=domain.confusion[state])
        for item in wanted:
            table = domain.said[item]
            share = table[state if table.shape[0] > 1 else 0, perceived]
            outcome = items()[item].outcomes[chance.choice(len(share), p=share)]
            found[item] = Finding(item, outcome)
    return tuple(found[name] for name in items() if name in found)


def is_vertex(state: State) -> bool:
    """A vertex: what nearly all examinations are of."""
    return state.presentation is Presentation.VERTEX


def draw_state(
    of: Callable[[State], bool], context: ExamContext, chance: np.random.Generator
) -> int:
    """A state that something holds of, as often as it is before any finding."""
    weight = prior(context) * np.array([of(state) for state in states()])
    return int(chance.choice(len(weight), p=weight / weight.sum()))


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """The probability that no head presents after each drawn examination, and contradictions.

    vertices, noncephalic: shape (number drawn,). contradicted: share of vertices in which any two
    findings were said not to go together, 0..1; NaN where not counted.
    """

    context: ExamContext
    vertices: FloatArray
    noncephalic: FloatArray
    contradicted: float

    def at(self, from_probability: float) -> ScanPoint:
        """What a threshold gives."""
        return ScanPoint(
            from_probability,
            float((self.vertices >= from_probability).mean()),
            float((self.noncephalic >= from_probability).mean()),
        )

    def sending(self, share: float) -> ScanPoint:
        """The threshold that sends at most a share of the vertices."""
        ordered = np.sort(self.vertices)[::-1]
        allowed = int(share * len(ordered))
        # The least threshold above the first vertex that may not be sent.
        limit = np.nextafter(ordered[min(allowed, len(ordered) - 1)], 1.0)
        return self.at(float(limit))


def _not_cephalic(state: State) -> bool:
    return not state.cephalic


def drawn_examinations(
    context: ExamContext, count: int, seed: int, judged: int | None = None
) -> Drawn:
    """So many vertices and so many non-cephalic fetuses, each examined once.

    judged: of how many vertices the contradictions are counted (all where None).
    """
    chance = np.random.default_rng(seed)
    non = classes("what presents") != 0
    judged = count if judged is None else min(judged, count)
    vertices, contradicted = np.empty(count), 0
    for i in range(count):
        found = draw_examination(draw_state(is_vertex, context, chance), context, chance)
        now = posterior(found, context)
        vertices[i] = now[non].sum()
        if i < judged:
            contradicted += bool(contradictions(found, context, now))
    others = np.empty(count)
    for i in range(count):
        found = draw_examination(draw_state(_not_cephalic, context, chance), context, chance)
        others[i] = posterior(found, context)[non].sum()
    return Drawn(context, vertices, others, contradicted / judged if judged else float("nan"))
