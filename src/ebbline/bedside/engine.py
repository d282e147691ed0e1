"""From findings to probabilities: Bayes over the states, and what each further item would tell.

Sums run over sorted values, so that the order of findings cannot matter and a mirrored
examination gives the mirrored answer to the last bit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ebbline.bedside.context import ExamContext
from ebbline.bedside.findings_catalogue import Finding, items
from ebbline.bedside.likelihood import Domain, domains_for
from ebbline.bedside.priors import prior

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


def _summed(values: FloatArray) -> FloatArray:
    """Sum over the last axis that does not depend on the order of the values."""
    if values.shape[-1] == 1:
        return values[..., 0]
    return np.asarray(np.sort(values, axis=-1).sum(axis=-1), dtype=np.float64)


def _share_said(domain: Domain, finding: Finding) -> FloatArray:
    """Share of a finding's answer by state and perception, shape (states or 1, classes)."""
    table = domain.said[finding.item]
    covered = items()[finding.item].covered(finding.answer)
    if len(covered) == table.shape[2]:
        return np.ones(table.shape[:2])
    return _summed(table[:, :, list(covered)])


def _perceived(domain: Domain, findings: Sequence[Finding]) -> FloatArray:
    """Joint share of perception and findings by state, shape (states, classes)."""
    joint = domain.confusion
    order = list(domain.said)
    for finding in sorted(
        (f for f in findings if f.item in domain.said), key=lambda f: order.index(f.item)
    ):
        joint = joint * _share_said(domain, finding)
    return joint


def likelihood(findings: Sequence[Finding], context: ExamContext) -> FloatArray:
    """Share of the findings in each state, shape (states,)."""
    made: FloatArray | None = None
    for domain in domains_for(context):
        if any(f.item in domain.said for f in findings):
            here = _summed(_perceived(domain, findings))
            made = here if made is None else made * here
    return np.ones(len(prior(context))) if made is None else made


@dataclass(frozen=True, slots=True, eq=False)
class Together:
    """How two findings go together in the eyes of all the others.

    lift: share of examinations that report both, against what they would be if the two had nothing
    to do with each other (1); the fetus lying as the other findings say.
    """

    one: Finding
    other: Finding
    lift: float


def pairs_together(findings: Sequence[Finding], context: ExamContext) -> tuple[Together, ...]:
    """Every pair of findings with its lift, in the order of the findings."""
    before = prior(context)
    domains = [d for d in domains_for(context) if any(f.item in d.said for f in findings)]
    home = {f: next(i for i, d in enumerate(domains) if f.item in d.said) for f in findings}

    def of(domain: int, kept: Sequence[Finding]) -> FloatArray:
        return _summed(_perceived(domains[domain], kept))

    whole = [of(i, [f for f in findings if home[f] == i]) for i in range(len(domains))]
    without = {
        f: of(home[f], [g for g in findings if home[g] == home[f] and g != f]) for f in findings
    }
    alone = {f: of(home[f], [f]) for f in findings}
    made = []
    for one, other in combinations(findings, 2):
        base = before.copy()
        for i, likelihood_here in enumerate(whole):
            if i not in (home[one], home[other]):
                base = base * likelihood_here
        if home[one] == home[other]:
            here = home[one]
            base = base * of(
                here, [f for f in findings if home[f] == here and f not in (one, other)]
            )
            both = of(here, [one, other])
        else:
            base = base * without[one] * without[other]
            both = alone[one] * alone[other]
        base = scaled(base)
        apart = float(base @ alone[one]) * float(base @ alone[other])
        made.append(Together(one, other, float(base @ both) / apart))
    return tuple(made)


def scaled(weights: FloatArray) -> FloatArray:
    """Weights over states scaled to sum to one."""
    return np.asarray(weights / np.sort(weights).sum(), dtype=np.float64)


def posterior(findings: Sequence[Finding], context: ExamContext) -> FloatArray:
    """Probability of each state given the findings, shape (states,), summing to one."""
    return scaled(prior(context) * likelihood(findings, context))


def predictive(item: str, findings: Sequence[Finding], context: ExamContext) -> FloatArray:
    """Share of each outcome of an item not yet examined, by state, given the findings before.

    Shape (states, outcomes), rows sum to one.
    """
    domain = next(d for d in domains_for(context) if item in d.said)
    before = [f for f in findings if f.item != item]
    joint = _perceived(domain, before)
    perception = joint / joint.sum(axis=1, keepdims=True)
    table = domain.said[item]
    if table.shape[0] == 1:
        return np.asarray(perception @ table[0], dtype=np.float64)
    return np.asarray(np.einsum("sc,sco->so", perception, table), dtype=np.float64)


def entropy_bits(probabilities: FloatArray) -> float:
    """Shannon entropy in bits."""
    p = probabilities[probabilities > 0]
    return float(-(p * np.log2(p)).sum())


@dataclass(frozen=True, slots=True)
class Worth:
    """What an item would tell: expected fall of uncertainty over some classes of states.

    gain_bits: expected fall of entropy; settles: probability that the likeliest class then
    reaches the certainty that was asked for, 0..1.
    """

    item: str
    gain_bits: float
    settles: float


def worth(
    item: str,
    findings: Sequence[Finding],
    context: ExamContext,
    now: FloatArray,
    classes: IntArray,
    settled: float,
) -> Worth:
    """What examining an item would be expected to tell about classes of states.

    now: probability of each state, shape (states,); classes: class of each state, shape (states,);
    settled: the certainty of one class that is asked for, 0..1.
    """
    said = predictive(item, findings, context)
    joint = now[:, None] * said
    count = int(classes.max()) + 1
    by_class = np.zeros((count, said.shape[1]))
    np.add.at(by_class, classes, joint)
    whole = by_class.sum(axis=0)
    share = by_class / whole
    log = np.log2(share, out=np.zeros_like(share), where=share > 0)
    after = float(-(by_class * log).sum())
    before = entropy_bits(np.bincount(classes, weights=now, minlength=count).astype(np.float64))
    settling = whole[share.max(axis=0) >= settled].sum()
    return Worth(item, max(before - after, 0.0), float(settling))
