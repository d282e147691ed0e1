"""What may be written into the record, and what is refused with the reason."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ebbline.journal.chain import (
    Draft,
    case_number,
    checked,
    entry_data,
    entry_from,
)
from ebbline.journal.entries import KINDS, asks, body_data, body_from, words
from ebbline.journal.entry_fields import Ask, Sort
from ebbline.journal.errors import JournalError
from journal.conftest import NOW
from journal.writing import Writer

WANTED = {
    "examination": "examination",
    "sensor": "sensors placed or moved",
    "membranes": "membranes",
    "cervix": "dilatation, station",
    "oxytocic": "oxytocic and dose",
    "posture": "position",
    "medicine": "medicine class",
    "vitals": "temperature, pulse and pressure of the mother",
    "fluids": "fluids and bladder",
    "auscultation": "auscultation",
    "review": "review with the human reading",
    "told": "who was told",
    "came": "when they came",
    "measure": "measures",
    "birth": "birth",
    "note": "notes",
}


def test_every_kind_of_entry_a_labour_asks_for_can_be_written() -> None:
    assert WANTED.keys() <= KINDS.keys()


def values(ask: Ask) -> st.SearchStrategy[Any]:
    """Anything a person could fill into a field."""
    if ask.sort is Sort.NUMBER:
        return st.floats(ask.low, ask.high)
    if ask.sort is Sort.WHOLE:
        return st.integers(int(ask.low), int(ask.high))
    if ask.sort is Sort.TRUTH:
        return st.booleans()
    if ask.sort is Sort.MOMENT:
        return st.just("2025-03-01T13:00:00+01:00")
    plain = st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=20)
    if ask.choices:
        one: st.SearchStrategy[Any] = st.sampled_from(ask.choices)
        return st.lists(one, min_size=1, max_size=3) if ask.sort is Sort.CHOICES else one
    return st.lists(plain, min_size=1) if ask.sort is Sort.CHOICES else plain


@settings(deadline=None)
@given(st.data())
def test_whatever_was_written_comes_back_the_same(data: st.DataObject) -> None:
    kind = data.draw(st.sampled_from(sorted(KINDS)))
    said = {name: data.draw(values(ask)) for name, ask in asks(KINDS[kind]).items()}
    try:
        body = body_from(kind, said)
    except JournalError as error:
        assert "must be said" in str(error) or "says nothing" in str(error)
        return
    again = body_from(kind, json.loads(json.dumps(body_data(body))))
    assert again == body
    assert words(body) or kind == "review"


def test_an_entry_and_its_hash_survive_json() -> None:
    case = Writer()
    case.write(0, "bed", bed="4")
    entry = case.write(1, "vitals", temperature_c=37.2, pulse_bpm=88)
    saved = json.loads(json.dumps({**entry_data(entry), "hash": entry.hash}))
    assert entry_from(saved) == entry


@pytest.mark.parametrize(
    ("kind", "said", "message"),
    [
        ("vitals", {"temperature_c": 3.72}, "Temperature: 3.72 °C cannot be right"),
        ("vitals", {"temperature_c": "warm"}, "'warm' is not a number"),
        ("vitals", {"temperature_c": float("nan")}, "cannot be right"),
        ("vitals", {"temperature": 37}, "Did you mean 'temperature_c'"),
        ("vitals", {}, "says nothing"),
        ("vitals", {"pulse_bpm": ""}, "says nothing"),
        ("cervix", {"dilatation_cm": 11}, "Between 0 and 10"),
        ("cervix", {"position": "left anteror"}, "Did you mean 'left anterior'"),
        ("birth", {"apgar_1": 9.5, "mode": "spontaneous"}, "not a whole number"),
        ("birth", {"apgar_1": 9}, "How: this must be said"),
        ("posture", {}, "must be said"),
        ("vital", {"pulse_bpm": 80}, "Did you mean 'vitals'"),
        ("note", {"note": "a\x00b"}, "cannot be written"),
        ("note", {"note": "x" * 4001}, "more than the 4000"),
        ("labour", {"started_at": "2025-03-01T13:00"}, "no time zone"),
        ("labour", {"started_at": "yesterday"}, "is not a time"),
        ("auscultation", {"fetus": 1}, "says nothing"),
        ("fluids", {"drunk_ml": True}, "is not a number"),
    ],
)
def test_a_slip_of_the_hand_is_refused_by_field_with_what_to_do(
    kind: str, said: dict[str, Any], message: str
) -> None:
    with pytest.raises(JournalError) as caught:
        body_from(kind, said)
    assert message in str(caught.value)


def test_a_decimal_comma_is_a_decimal_point() -> None:
    assert words(body_from("vitals", {"temperature_c": "37,2"})) == "Temperature 37.2 °C"


@pytest.mark.parametrize("said", ["Anna", "Anna Meier", "MEIER", "", "24 0117", "a" * 30, "Änna-1"])
def test_a_name_is_no_case_number(said: str) -> None:
    with pytest.raises(JournalError, match="not a case number"):
        case_number(said)


@pytest.mark.parametrize("said", ["24-0117", "b12", "L24.0117"])
def test_case_numbers_have_digits(said: str) -> None:
    assert case_number(said) == said.upper()


def test_times_need_a_zone_and_cannot_lie_ahead() -> None:
    body = body_from("note", {"note": "x"})
    with pytest.raises(JournalError, match="no time zone"):
        checked(Draft(body, datetime(2025, 3, 1, 14), "Kim"), NOW)
    with pytest.raises(JournalError, match="ahead of now"):
        checked(Draft(body, NOW + timedelta(minutes=5), "Kim"), NOW)
    assert checked(Draft(body, NOW + timedelta(minutes=1), "Kim"), NOW).author == "Kim"


def test_nobody_writes_without_a_name() -> None:
    with pytest.raises(JournalError, match="who writes"):
        checked(Draft(body_from("note", {"note": "x"}), NOW, "  "), NOW)


def test_the_zone_in_which_it_was_written_is_kept_and_the_moment_is_the_same() -> None:
    case = Writer(datetime(2025, 3, 30, 1, 30, tzinfo=UTC).astimezone())
    entry = case.write(0, "note", note="across the change of the clocks")
    saved = entry_from({**entry_data(entry), "hash": entry.hash})
    assert saved.at == entry.at and saved.at.utcoffset() == entry.at.utcoffset()


def test_what_was_written_long_after_it_happened_is_marked() -> None:
    case = Writer()
    entry = case.write(0, "note", note="x")
    assert not entry.late
    from dataclasses import replace

    assert replace(entry, written_at=entry.at + timedelta(minutes=16)).late
