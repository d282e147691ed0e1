"""Lines of remarks that cannot be understood are unknown and said, never guessed."""

from __future__ import annotations

import pytest

from ebbline.recording.header_comments import understand_lines
from ebbline.terms import Stage


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("Stage: third", '"Stage: third" is not a stage of labour'),
        ("Gest. weeks: many", '"Gest. weeks: many" is not a number'),
        ("Parity  x", '"Parity: x" is not a number'),
        ("Oxytocin: perhaps", '"Oxytocin: perhaps" is neither 0 nor 1'),
        ("Start: yesterday", '"Start: yesterday" is not a date and time'),
        ("Channel 1: kind=pulse", 'the line "Channel 1" could not be understood'),
        ("Annotation x 0: text", 'the line "Annotation x 0" could not be understood'),
        ("Apgar1: 11", '"Apgar1 11" cannot be true'),
    ],
)
def test_line_that_cannot_be_understood_is_said(line: str, said: str) -> None:
    remarks = understand_lines([line])
    assert remarks.notes[0].startswith(said)
    assert remarks.context.stage is Stage.UNKNOWN
    assert remarks.outcome == {}


SILENT = ("", " ", "#", "-- Outcome measures", "!NotReadyYet!", "pH   NaN", "Pos. II.st.  -1")
UNKNOWN = ("dbID 12", "Parity -1", "Rec. type 7", "a remark: any", "Meconium  -1", "Apgar1  -1")


@pytest.mark.parametrize("line", [*SILENT, *UNKNOWN])
def test_line_that_says_nothing_to_us_is_passed_over(line: str) -> None:
    remarks = understand_lines([line])
    assert remarks.notes == ()
    assert remarks.context.parity is None
    assert remarks.second_stage_sample is None
    assert remarks.outcome == {}
