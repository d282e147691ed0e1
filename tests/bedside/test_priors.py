"""What is expected before any finding, against the cited figures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ebbline.bedside import ExamContext, Fluid, Placenta, states
from ebbline.bedside.priors import cephalic_share, prior, prior_notes
from ebbline.bedside.state_groups import shares
from ebbline.terms import Lie, Presentation, Stage

TERM = ExamContext(weeks=39)


def presents(context: ExamContext) -> dict[str, float]:
    return dict(
        zip(("head", "breech", "across"), shares("what presents", prior(context)), strict=True)
    )


@pytest.mark.parametrize(("weeks", "share"), [(22, 0.47), (36, 0.94), (40, 0.94)])
def test_cephalic_presentation_by_weeks(weeks, share):
    """Acta Obstet Gynecol Scand 2015;94:660-3: 47 % at 22 weeks, 94 % at 36, then level."""
    assert cephalic_share(weeks) == pytest.approx(share)
    assert presents(ExamContext(weeks=weeks))["head"] == pytest.approx(share)


def test_cephalic_presentation_only_rises_from_22_to_36_weeks():
    found = [cephalic_share(w) for w in np.arange(22, 36.1, 0.5)]
    assert found == sorted(found)


def test_transverse_lie_at_term_is_about_three_in_a_thousand():
    """0.3 % (common practice)."""
    now = prior(TERM)
    across = sum(p for s, p in zip(states(), now, strict=True) if s.lie is Lie.TRANSVERSE)
    assert across == pytest.approx(0.003, abs=0.0005)


def test_a_first_birth_is_breech_more_often_than_a_second_or_third():
    """Ford JB, et al. BJOG 2010;117:830-6 (from memory): 4.2, 2.2, 1.9 %."""
    found = [presents(replace(TERM, earlier_births=n))["breech"] for n in (0, 1, 2)]
    assert found[0] / found[1] == pytest.approx(4.2 / 2.2, rel=0.06)
    assert found[1] / found[2] == pytest.approx(2.2 / 1.9, rel=0.06)


def test_a_breech_comes_again_three_times_as_often():
    """Ford 2010 (from memory): adjusted relative risk 3.2."""
    once = presents(replace(TERM, previous_breech=True))["breech"]
    assert once / presents(TERM)["breech"] == pytest.approx(3.2, rel=0.15)


def test_four_births_raise_the_transverse_lie_tenfold():
    """Williams Obstetrics (from memory)."""
    many = presents(replace(TERM, earlier_births=4))["across"]
    some = presents(replace(TERM, earlier_births=2))["across"]
    assert many / some == pytest.approx(10, rel=0.1)


def test_little_fluid_raises_breech():
    """Macharey G, et al. 2017 (from memory): adjusted odds ratio 1.42."""
    little = presents(replace(TERM, fluid=Fluid.LITTLE))["breech"]
    usual = presents(TERM)["breech"]
    odds = little / (1 - little) / (usual / (1 - usual))
    assert odds == pytest.approx(1.42, rel=0.05)


@pytest.mark.parametrize("change", [{"fluid": Fluid.MUCH}, {"placenta": Placenta.PRAEVIA}])
def test_what_has_no_figure_is_neutral_and_said(change):
    context = replace(TERM, **change)
    assert presents(context) == pytest.approx(presents(TERM))
    assert any("left neutral" in note.text for note in prior_notes(context))


def test_loa_at_the_onset_is_an_eighth_of_vertices_as_155_of_1250_found():
    """Ahmad A, et al. Ultrasound Obstet Gynecol 2014;43:176-82: 12.4 %."""
    context = ExamContext(weeks=39, stage=Stage.FIRST, earlier_births=0)
    now = prior(context)
    vertex = np.array([s.presentation is Presentation.VERTEX for s in states()])
    loa = np.array([s.abbreviation == "LOA" for s in states()])
    assert now[loa].sum() / now[vertex].sum() == pytest.approx(155 / 1250, abs=0.015)


def test_deep_heads_have_turned_to_the_front():
    """Gardberg M, et al. 1998 (from memory): about 5 % posterior at birth."""
    now = prior(ExamContext(weeks=39, stage=Stage.SECOND))

    def posterior_share(fifths: int) -> float:
        chosen = [
            (s, p)
            for s, p in zip(states(), now, strict=True)
            if s.presentation is Presentation.VERTEX and s.descent == fifths
        ]
        behind = sum(p for s, p in chosen if s.position.value.endswith("posterior"))
        return behind / sum(p for _, p in chosen)

    assert posterior_share(5) == pytest.approx(0.37, abs=0.05)
    assert posterior_share(0) == pytest.approx(0.05, abs=0.02)


def test_face_is_one_in_six_hundred_and_mostly_mentum_anterior():
    """Williams Obstetrics (from memory)."""
    now = prior(TERM)
    face = [(s, p) for s, p in zip(states(), now, strict=True) if s.presentation == "face"]
    whole = sum(p for _, p in face)
    assert whole / presents(TERM)["head"] == pytest.approx(1 / 600)
    front = sum(p for s, p in face if s.position.value.endswith("anterior"))
    assert front / whole == pytest.approx(0.65)


def test_left_and_right_are_alike_before_any_finding():
    now = prior(TERM)
    left = sum(p for s, p in zip(states(), now, strict=True) if s.position.startswith("left"))
    right = sum(p for s, p in zip(states(), now, strict=True) if s.position.startswith("right"))
    assert left == pytest.approx(right, abs=1e-15)


def test_a_units_own_prevalence_stands_in_for_the_curve():
    assert presents(replace(TERM, noncephalic_share=0.02))["head"] == pytest.approx(0.98)
