"""What must hold of any examination, whatever was found."""

from __future__ import annotations

import random

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from ebbline.bedside import (
    ExamContext,
    Examiner,
    Finding,
    Fluid,
    Hindrance,
    examine,
    items,
)
from ebbline.bedside.engine import likelihood, posterior, predictive, worth
from ebbline.bedside.findings_catalogue import UNCLEAR, findings_from
from ebbline.bedside.geometry import abdomen_for
from ebbline.bedside.likelihood import domains_for, mirrored_outcome
from ebbline.bedside.priors import prior
from ebbline.bedside.sensors import site_map
from ebbline.bedside.state_groups import decisive_classes
from ebbline.bedside.states import mirror_order
from ebbline.terms import Stage

contexts = st.builds(
    ExamContext,
    weeks=st.one_of(st.none(), st.floats(22, 42)),
    earlier_births=st.one_of(st.none(), st.integers(0, 8)),
    previous_breech=st.sampled_from([None, True, False]),
    stage=st.sampled_from(Stage),
    fluid=st.sampled_from(Fluid),
    examiner=st.sampled_from(Examiner),
    hindrances=st.lists(st.sampled_from(Hindrance), max_size=3, unique=True).map(tuple),
)


@st.composite
def examinations(draw, most: int = 8) -> list[Finding]:
    names = draw(st.lists(st.sampled_from(list(items())), max_size=most, unique=True))
    return [Finding(n, draw(st.sampled_from(items()[n].answers))) for n in names]


def mirrored_finding(one: Finding) -> Finding:
    """The finding of a mirrored abdomen, as a fine or coarse answer."""
    item = items()[one.item]
    mirrored = {mirrored_outcome(one.item, item.outcomes[i]) for i in item.covered(one.answer)}
    answer = next(
        a for a in item.answers if {item.outcomes[i] for i in item.covered(a)} == mirrored
    )
    return Finding(one.item, answer)


@settings(max_examples=60, deadline=None)
@given(examinations(), contexts)
def test_probabilities_sum_to_one_and_none_is_lost(found, context):
    now = posterior(found, context)
    assert np.isclose(now.sum(), 1.0, atol=1e-12)
    assert (now >= 0).all()
    assert np.isfinite(now).all()


@settings(max_examples=60, deadline=None)
@given(examinations(), contexts, st.randoms(use_true_random=False))
def test_the_order_of_findings_does_not_matter(found, context, chance: random.Random):
    shuffled = found.copy()
    chance.shuffle(shuffled)
    assert np.array_equal(posterior(found, context), posterior(shuffled, context))


@settings(max_examples=60, deadline=None)
@given(examinations(), contexts, st.data())
def test_a_finding_never_lowers_the_state_that_predicts_it_best(found, context, data):
    """By how far each state predicts it, given what was found before."""
    free = [name for name in items() if name not in {f.item for f in found}]
    name = data.draw(st.sampled_from(free))
    answer = data.draw(st.sampled_from(items()[name].answers))
    before = posterior(found, context)
    after = posterior([*found, Finding(name, answer)], context)
    covered = list(items()[name].covered(answer))
    best = int(predictive(name, found, context)[:, covered].sum(axis=1).argmax())
    assert after[best] >= before[best] * (1 - 1e-9)


@settings(max_examples=40, deadline=None)
@given(contexts, st.data())
def test_a_first_finding_never_lowers_the_state_it_is_likeliest_in(context, data):
    name = data.draw(st.sampled_from(list(items())))
    answer = data.draw(st.sampled_from(items()[name].answers))
    share = likelihood([Finding(name, answer)], context)
    best = int(share.argmax())
    assert posterior([Finding(name, answer)], context)[best] >= prior(context)[best] * (1 - 1e-12)


@settings(max_examples=60, deadline=None)
@given(examinations(), contexts)
def test_a_mirrored_examination_gives_the_mirrored_answer_to_the_last_bit(found, context):
    mirrored = [mirrored_finding(f) for f in found]
    now, then = posterior(found, context), posterior(mirrored, context)
    assert np.array_equal(now[mirror_order()], then)
    abdomen = abdomen_for(context)
    one, other = site_map(now, abdomen), site_map(then, abdomen)
    assert np.array_equal(one.weights[:, ::-1], other.weights)


@settings(max_examples=40, deadline=None)
@given(examinations(), contexts, st.data())
def test_unclear_moves_nothing_and_neither_does_not_examined(found, context, data):
    free = [name for name in items() if name not in {f.item for f in found}]
    name = data.draw(st.sampled_from(free))
    before = posterior(found, context)
    unclear = posterior([*found, Finding(name, UNCLEAR)], context)
    assert np.allclose(before, unclear, atol=1e-12)
    left_out = findings_from([*((f.item, f.answer) for f in found), (name, "not examined")])
    assert {f.item for f in left_out} == {f.item for f in found}


@settings(max_examples=40, deadline=None)
@given(examinations(most=5), contexts, st.data())
def test_expected_information_is_never_negative_nor_more_than_there_is(found, context, data):
    free = [name for name in items() if name not in {f.item for f in found}]
    name = data.draw(st.sampled_from(free))
    now = posterior(found, context)
    said = worth(name, found, context, now, decisive_classes(), 0.95)
    assert 0 <= said.gain_bits <= np.log2(decisive_classes().max() + 1)
    assert -1e-9 <= said.settles <= 1 + 1e-9


@settings(max_examples=30, deadline=None)
@given(examinations(most=5), contexts, st.data())
def test_what_an_item_will_say_is_a_probability_in_every_state(found, context, data):
    free = [name for name in items() if name not in {f.item for f in found}]
    rows = predictive(data.draw(st.sampled_from(free)), found, context)
    assert np.allclose(rows.sum(axis=1), 1.0, atol=1e-9)
    assert (rows >= 0).all()


@settings(max_examples=20, deadline=None)
@given(contexts)
def test_every_table_is_made_of_probabilities(context):
    for domain in domains_for(context):
        assert np.allclose(domain.confusion.sum(axis=1), 1.0, atol=1e-9)
        for table in domain.said.values():
            assert np.allclose(table.sum(axis=2), 1.0, atol=1e-9)
            assert (table >= 0).all()


@settings(max_examples=25, deadline=None)
@given(examinations(), contexts)
def test_any_examination_comes_to_a_result(found, context):
    result = examine(found, context)
    for chances in (result.lie, result.presentation, result.back, result.attitude, result.descent):
        assert np.isclose(sum(c.probability for c in chances), 1.0, atol=1e-9)
    assert np.isclose(sum(p.probability for p in result.positions), 1.0, atol=1e-9)
    assert np.isclose(result.sensors.map.weights.sum(), 1.0, atol=1e-9)
