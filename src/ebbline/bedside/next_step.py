"""What to do next: the step that would settle most, and when a scan is the honest answer."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ebbline.bedside.context import ExamContext, Placenta
from ebbline.bedside.engine import worth
from ebbline.bedside.findings_catalogue import UNCLEAR, Finding, Item, Step, items
from ebbline.bedside.number_words import small_percent
from ebbline.bedside.policy.scan import ScanPoint, ScanPolicy
from ebbline.bedside.state_groups import WHAT_PRESENTS, classes, decisive_classes, shares

FloatArray = NDArray[np.float64]

SETTLED = 0.95
"""What presents is called settled at this probability (ours)."""
LEAST_GAIN_BITS = 0.02
"""A step that tells less is not offered (ours)."""
WORTH_TRYING = 0.5
"""A step that settles what presents at least this probably comes before a scan (ours)."""
SCAN_FROM_WEEKS = 36.0
"""From here, or in labour, what presents must be known (common practice)."""


@dataclass(frozen=True, slots=True)
class NextStep:
    """One thing still to examine, with what it is expected to tell.

    gain_bits: expected fall of the uncertainty about presentation, position and engagement.
    settles: probability that what presents (head, breech, across) is settled afterwards, 0..1.
    place: where to listen first and next, in words; "" for other steps. only_if_indicated: an
    internal examination, never done for this alone.
    """

    item: str
    step: Step
    question: str
    how: str
    gain_bits: float
    settles: float
    place: str
    only_if_indicated: bool


@dataclass(frozen=True, slots=True)
class ScanAdvice:
    """Whether an ultrasound scan is the honest answer, and the probability that says so.

    probability: that something else presents than the likeliest. noncephalic: that no head
    presents; from_probability: the chance of that from which policy advises a scan. may_settle:
    greatest probability that one further step settles what presents. vertices_sent, missed: of
    examinations like this, the share of vertices that policy sends and of non-cephalic that it
    does not, NaN where not measured. trade: the same in words.
    """

    advised: bool
    probability: float
    noncephalic: float
    from_probability: float
    may_settle: float
    vertices_sent: float
    missed: float
    why: str
    trade: str


OF_THE_LOWER_TWIN = (Step.BRIM, Step.INLET, Step.VAGINAL)
"""What is felt at the brim and below it is the lower twin's."""


def vaginal_allowed(context: ExamContext) -> bool:
    """Whether a vaginal item may be offered: labour, no bleeding, a placenta known not to be low.

    Unknown counts as not met.
    """
    return context.in_labour and context.bleeding is False and context.placenta is Placenta.NOT_LOW


def _open(item: Item, found: set[str], context: ExamContext) -> bool:
    if item.name in found or item.step in (Step.CONCLUSION, Step.SCAN):
        return False
    if context.upper_twin and item.step in OF_THE_LOWER_TWIN:
        return False
    return item.step is not Step.VAGINAL or vaginal_allowed(context)


def _told_already(item: Item, found: set[str]) -> bool:
    """A conclusion already holds what the grips of its kind would say."""
    poles, back = {"fundus", "brim", "poles"}, {"back", "limbs"}
    return (item.name in poles and bool(found & {"presentation", "scan"})) or (
        item.name in back and bool(found & {"position", "scan-back"})
    )


def next_steps(
    findings: Sequence[Finding], context: ExamContext, now: FloatArray
) -> tuple[NextStep, ...]:
    """Steps not yet done, the one that tells most first; those that tell hardly anything left out.

    now: probability of each state given the findings, shape (states,).
    """
    found = {f.item for f in findings}
    made = []
    presents = classes("what presents")
    for item in items().values():
        if not _open(item, found, context) or _told_already(item, found):
            continue
        of_all = worth(item.name, findings, context, now, decisive_classes(), SETTLED)
        if of_all.gain_bits < LEAST_GAIN_BITS:
            continue
        settles = worth(item.name, findings, context, now, presents, SETTLED).settles
        made.append(
            NextStep(
                item.name,
                item.step,
                item.question,
                item.how,
                of_all.gain_bits,
                settles,
                "",
                item.step is Step.VAGINAL,
            )
        )
    return tuple(sorted(made, key=lambda s: (s.only_if_indicated, -s.gain_bits)))


def scan_advice(
    findings: Sequence[Finding],
    context: ExamContext,
    now: FloatArray,
    steps: Sequence[NextStep],
    policy: ScanPolicy,
    *,
    emergency: bool = False,
) -> ScanAdvice:
    """Whether to say: a scan, by the policy's point. Before 36 weeks and out of labour it may wait.

    What decides is the probability that no head presents, which holds all that these hands can
    tell; no two findings force a scan by themselves.
    """
    by_group = shares("what presents", now)
    wrong = float(1 - by_group.max())
    likeliest = WHAT_PRESENTS[int(by_group.argmax())]
    noncephalic = float(1 - by_group[0])
    hands = [s for s in steps if not s.only_if_indicated]
    may_settle = max((s.settles for s in hands), default=0.0)
    point = policy.point.from_probability
    expected = policy.expected(context)

    def answer(advised: bool, why: str) -> ScanAdvice:
        sent = missed = math.nan
        if expected is not None:
            sent, missed = expected.vertices_sent, 1 - expected.found
        return ScanAdvice(
            advised,
            wrong,
            noncephalic,
            point,
            may_settle,
            sent,
            missed,
            why,
            _trade(policy, expected, context),
        )

    if emergency:
        return answer(False, "The emergency comes first.")
    if any(f.item == "scan" and f.answer != UNCLEAR for f in findings):
        return answer(False, "A scan has shown what presents.")
    matters = context.in_labour or (context.weeks is not None and context.weeks >= SCAN_FROM_WEEKS)
    open_words = f"the chance that no head presents is {small_percent(noncephalic)}"
    if not matters:
        when = "the weeks are not known" if context.weeks is None else "it is before 36 weeks"
        return answer(
            False, f"Not for what presents yet: {when} and labour is not recorded; {open_words}."
        )
    if not findings:
        return answer(False, f"Examine first: before any finding {open_words}.")
    if noncephalic < point:
        return answer(
            False,
            f"Not for what presents: {open_words}, under the {small_percent(point)} from which "
            "policy asks for one.",
        )
    if likeliest != "head":
        return answer(
            True, f"Yes, to confirm: {open_words}, and its kind decides what the team plans."
        )
    if may_settle >= WORTH_TRYING:
        best = max(hands, key=lambda s: s.settles)
        return answer(
            False,
            f"Not yet: {open_words}; one more step ({best.item}) settles it with a probability of "
            f"{small_percent(may_settle)}.",
        )
    return answer(
        True,
        f"Yes: {open_words}; policy asks for a scan from {small_percent(point)}.",
    )


def _trade(policy: ScanPolicy, expected: ScanPoint | None, context: ExamContext) -> str:
    """What the point costs in these hands, in words."""
    if expected is None:
        return ""
    hands = f"{context.examiner} hands" + (", hindered" if context.hindrances else "")
    return (
        f"With {hands} a full examination at this point sends about "
        f"{100 * expected.vertices_sent:.0f} of 100 vertices to a scan and still misses about "
        f"{100 * (1 - expected.found):.0f} of 100 that are not head first ({policy.source})."
    )
