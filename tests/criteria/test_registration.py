"""A standard is its table, its rules and its name, and nothing else lists standards."""

from __future__ import annotations

import gc
import weakref
from functools import partial
from pathlib import Path

import pytest

import ebbline.criteria
from criteria.build import Trace
from ebbline.criteria import TABLES, classify
from ebbline.criteria.model import Standard
from ebbline.terms import Window

HERE = Path(ebbline.criteria.__file__).parent


def test_every_file_of_a_table_or_of_rules_belongs_to_a_standard_and_each_has_both() -> None:
    named = {standard.value for standard in Standard}
    for folder in ("tables", "rules"):
        assert {p.stem for p in (HERE / folder).glob("*.py")} - {"__init__"} == named


@pytest.mark.parametrize("standard", Standard)
def test_a_standard_s_table_names_it_and_its_rules_answer_for_it(standard: Standard) -> None:
    table = TABLES[standard]
    assert table.standard is standard
    assert len(table.classes) >= 2
    said = classify(Trace(minutes=40).findings(), Window(600.0, 2400.0), standard)
    assert said.standard is standard
    assert said.refused or said.label in table.classes


@pytest.mark.parametrize("standard", Standard)
def test_teaching_offers_the_classes_of_the_table(standard: Standard) -> None:
    from ebbline.teach.standards import NO_CLASS, TITLES, classes_of

    assert classes_of(standard) == (*TABLES[standard].classes, NO_CLASS)
    assert TITLES[standard]


def test_what_was_worked_out_of_findings_goes_when_they_go() -> None:
    class Watched:
        """Something that lives as long as what is kept with the findings."""

    findings = Trace(minutes=40).findings()
    classify(findings, Window(600.0, 2400.0), Standard.NICHD)
    watched = Watched()
    findings._kept["watched"] = partial(id, watched)
    gone = weakref.ref(watched)
    del findings, watched
    gc.collect()
    assert gone() is None
