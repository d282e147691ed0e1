"""Reviews that were done in time, late, or not at all, by what the record says."""

from __future__ import annotations

from ebbline.journal.on_time import reviews_kept
from journal.writing import Writer


def kept(case: Writer, name: str) -> list[tuple[bool, float | None]]:
    rows = [one for one in reviews_kept(case.entries) if one.name == name]
    return [(one.on_time, None if one.done_at is None else round(one.late_min)) for one in rows]


def by_ear() -> Writer:
    """Low risk, by ear, first stage: every 15 minutes (NICE NG229, in the shipped policy)."""
    case = Writer()
    case.write(0, "bed", bed="4")
    case.write(0, "labour", risk="low", heart_by="auscultation")
    case.write(0, "stage", stage="active first stage")
    return case


def test_a_review_done_when_due_is_on_time_and_one_ten_minutes_later_is_not() -> None:
    case = by_ear()
    case.write(0.25, "auscultation", after_bpm=140)
    case.write(0.5, "auscultation", after_bpm=138)
    case.write(0.5 + 25 / 60, "auscultation", after_bpm=136)
    assert kept(case, "heart") == [(True, 0), (True, 0), (False, 10)]


def test_the_second_stage_shortens_what_counts_as_in_time() -> None:
    case = by_ear()
    case.write(0.25, "auscultation", after_bpm=140)
    case.write(0.26, "cervix", dilatation_cm=10)
    case.write(0.5, "auscultation", after_bpm=138)
    assert kept(case, "heart") == [(True, 0), (False, 10)], "every 5 minutes from then on"


def test_what_was_due_and_never_done_is_told_at_the_end() -> None:
    case = by_ear()
    case.write(0.25, "auscultation", after_bpm=140)
    case.write(1.25, "birth", mode="spontaneous", outcome="live birth")
    assert kept(case, "heart") == [(True, 0), (False, None)]


def test_a_review_written_in_error_was_not_done() -> None:
    case = by_ear()
    wrong = case.write(0.25, "auscultation", after_bpm=140)
    case.write(0.3, "withdrawn", corrects=wrong.number, why="other bed")
    case.write(0.75, "note", note="in the bath")
    assert kept(case, "heart") == [(False, None)]
