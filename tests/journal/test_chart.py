"""The chart of progress against the alert values of the WHO Labour Care Guide.

Source of every value: WHO Labour Care Guide: user's manual. Geneva: World Health Organization;
2020 (from memory). Written down here by hand, not taken from the table of the program.
"""

from __future__ import annotations

import math
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ebbline.errors import PolicyError
from ebbline.features.findings import DecelerationKind
from ebbline.journal.chart import chart
from ebbline.journal.chart_policy import load_chart
from ebbline.journal.trace_columns import TraceColumn
from journal.writing import Writer

ALERTS = [
    # row, kind, field, a value at which the guide asks to look, its neighbour at which not
    ("pulse", "vitals", "pulse_bpm", 59, 60),
    ("pulse", "vitals", "pulse_bpm", 120, 119),
    ("systolic", "vitals", "systolic_mmhg", 79, 80),
    ("systolic", "vitals", "systolic_mmhg", 140, 139),
    ("diastolic", "vitals", "diastolic_mmhg", 90, 89),
    ("temperature", "vitals", "temperature_c", 34.9, 35.0),
    ("temperature", "vitals", "temperature_c", 37.5, 37.4),
    ("protein", "fluids", "protein", 2, 1),
    ("acetone", "fluids", "acetone", 2, 1),
    ("contractions", "contractions", "in_10_min", 2, 3),
    ("contractions", "contractions", "in_10_min", 6, 5),
    ("lasting", "contractions", "lasting_s", 19, 20),
    ("lasting", "contractions", "lasting_s", 61, 60),
    ("caput", "cervix", "caput", 3, 2),
    ("moulding", "cervix", "moulding", 3, 2),
    ("position", "cervix", "position", "posterior", "left anterior"),
    ("position", "cervix", "position", "left posterior", "anterior"),
    ("position", "cervix", "position", "right transverse", "right anterior"),
    ("fluid", "membranes", "fluid", "thick meconium", "thin meconium"),
    ("fluid", "membranes", "fluid", "blood-stained", "clear"),
    ("posture", "posture", "posture", "supine", "left side"),
    ("companion", "support", "companion", "no", "declined"),
    ("pain-relief", "support", "pain_relief", "no", "yes"),
    ("drinking", "support", "drinking", "no", "yes"),
    ("heart", "auscultation", "before_bpm", 109, 110),
    ("heart", "auscultation", "before_bpm", 160, 159),
]


@pytest.mark.parametrize(("row", "kind", "field", "alarming", "quiet"), ALERTS)
def test_each_row_asks_to_be_looked_at_from_the_guides_value_on(
    row: str, kind: str, field: str, alarming: object, quiet: object
) -> None:
    for value, wanted in ((alarming, [row]), (quiet, [])):
        case = Writer()
        case.write(0, kind, **{field: value})
        found = chart(case.entries, case.at(0.1))
        assert [one.row for one in found.alerts] == wanted
        assert all("WHO labour care guide" in one.source for one in found.alerts)


@pytest.mark.parametrize(("cm", "hours"), [(5, 6), (6, 5), (7, 3), (8, 2.5), (9, 2)])
def test_the_cervix_asks_to_be_looked_at_after_the_guides_hours(cm: int, hours: float) -> None:
    case = Writer()
    case.write(0, "cervix", dilatation_cm=cm)
    assert not chart(case.entries, case.at(hours - 0.02)).alerts
    (alert,) = chart(case.entries, case.at(hours)).alerts
    assert alert.row == "cervix"
    assert alert.since == case.at(hours)


def test_a_centimetre_more_starts_the_clock_anew_and_half_of_one_does_not() -> None:
    case = Writer()
    case.write(0, "cervix", dilatation_cm=5)
    case.write(4, "cervix", dilatation_cm=5.5)
    assert [a.row for a in chart(case.entries, case.at(6)).alerts] == ["cervix"]
    case.write(6, "cervix", dilatation_cm=6)
    assert not chart(case.entries, case.at(6)).alerts
    assert chart(case.entries, case.at(11)).alerts


def test_below_the_active_phase_no_clock_runs() -> None:
    """The guide is begun at 5 cm."""
    case = Writer()
    case.write(0, "cervix", dilatation_cm=4)
    assert not chart(case.entries, case.at(11)).alerts


@settings(deadline=None)
@given(st.floats(5, 9), st.floats(0.5, 4))
def test_a_smaller_cervix_found_later_never_reads_better(later: float, hours: float) -> None:
    case = Writer()
    case.write(0, "cervix", dilatation_cm=9)
    before = {a.row for a in chart(case.entries, case.at(6)).alerts}
    case.write(hours, "cervix", dilatation_cm=round(later, 1))
    assert before <= {a.row for a in chart(case.entries, case.at(6)).alerts}


@pytest.mark.parametrize(("births", "hours"), [(0, 3), (1, 2), (None, 2)])
def test_the_second_stage_has_three_hours_with_a_first_child_and_two_later(
    births: int | None, hours: float
) -> None:
    case = Writer()
    if births is not None:
        case.write(0, "labour", births_before=births)
    case.write(1, "cervix", dilatation_cm=10)
    assert not chart(case.entries, case.at(1 + hours - 0.02)).alerts
    found = chart(case.entries, case.at(1 + hours)).alerts
    assert [a.row for a in found] == ["second-stage"]


def test_the_second_stage_ends_with_the_last_child() -> None:
    case = Writer()
    case.write(0, "labour", fetuses=2, births_before=0)
    case.write(0, "stage", stage="second stage")
    case.write(1, "birth", mode="spontaneous", fetus=1)
    assert [a.row for a in chart(case.entries, case.at(4)).alerts] == ["second-stage"]
    case.write(1.5, "birth", mode="spontaneous", fetus=2)
    assert not chart(case.entries, case.at(4)).alerts


def test_an_alert_holds_until_a_better_value_is_written_and_time_does_not_end_it() -> None:
    case = Writer()
    case.write(0, "vitals", temperature_c=37.8)
    case.write(1, "vitals", temperature_c=38.1)
    (alert,) = chart(case.entries, case.at(9)).alerts
    assert alert.since == case.at(0)
    case.write(9, "vitals", pulse_bpm=88)
    assert chart(case.entries, case.at(9)).alerts
    case.write(9.5, "vitals", temperature_c=37.0)
    assert not chart(case.entries, case.at(10)).alerts


def test_what_was_written_in_error_or_corrected_is_not_on_the_chart() -> None:
    case = Writer()
    wrong = case.write(0, "vitals", pulse_bpm=188)
    case.write(0, "vitals", pulse_bpm=88, corrects=wrong.number)
    row = chart(case.entries, case.at(1)).row("pulse")
    assert row is not None
    assert [cell.words for cell in row.cells] == ["88"]


def test_a_chart_on_which_nothing_was_written_says_so_of_every_row() -> None:
    case = Writer()
    case.write(0, "bed", bed="4")
    found = chart(case.entries, case.at(1))
    assert len(found.empty) == sum(len(part.rows) for part in found.sections)


def test_a_rate_heard_after_a_contraction_is_not_hidden_by_a_good_one_before() -> None:
    case = Writer()
    case.write(0, "auscultation", before_bpm=140, after_bpm=90)
    assert [a.row for a in chart(case.entries, case.at(1)).alerts] == ["heart"]


def column(
    case: Writer, hours: float, *, share: float = 1.0, bpm: float = 140, **falls: int
) -> TraceColumn:
    return TraceColumn(
        1,
        case.at(hours),
        case.at(hours + 0.5),
        share,
        bpm,
        {DecelerationKind[name]: n for name, n in falls.items()},
        3.5,
        50,
    )


def test_late_decelerations_of_the_trace_ask_to_be_looked_at() -> None:
    case = Writer()
    trace = [column(case, 0, LATE=2, VARIABLE=3)]
    found = chart([], case.at(1), trace=trace)
    assert [a.row for a in found.alerts] == ["falls"]
    assert "2 late, 3 variable" in found.alerts[0].what


def test_variable_and_early_ones_do_not() -> None:
    case = Writer()
    assert not chart([], case.at(1), trace=[column(case, 0, VARIABLE=4, EARLY=1)]).alerts


def test_hearing_no_fall_does_not_end_what_the_trace_showed() -> None:
    case = Writer()
    case.write(1, "auscultation", before_bpm=140, falls=False)
    found = chart(case.entries, case.at(2), trace=[column(case, 0, LATE=1)])
    assert [a.row for a in found.alerts] == ["falls"]


def test_no_decelerations_are_not_said_of_a_trace_that_was_mostly_lost() -> None:
    case = Writer()
    lost = column(case, 0.5, share=0.3, bpm=math.nan)
    found = chart([], case.at(2), trace=[column(case, 0, LATE=1), lost])
    assert [a.row for a in found.alerts] == ["falls"]
    row = found.row("falls")
    assert row is not None and len(row.cells) == 1


@settings(deadline=None)
@given(st.integers(1, 9), st.integers(0, 9))
def test_more_late_decelerations_never_read_better(few: int, more: int) -> None:
    case = Writer()
    less = chart([], case.at(1), trace=[column(case, 0, LATE=few)]).alerts
    many = chart([], case.at(1), trace=[column(case, 0, LATE=few + more)]).alerts
    assert len(many) >= len(less) == 1


@pytest.mark.parametrize(
    ("find", "put", "said"),
    [
        ("{below: 110, source: who}", "{below: 110, at_least: 3, source: who}", "one comparison"),
        ("hours: 2.5", "hours: 0", "cannot be a limit"),
        ("heart:", "hart:", "no row 'hart'"),
        ("{cm: 6,", "{cm: 5,", "Give each of 0 to 9 once"),
    ],
)
def test_a_units_own_table_is_checked_with_its_line(
    tmp_path: Path, find: str, put: str, said: str
) -> None:
    import ebbline.journal.policies as shipped

    text = (Path(shipped.__file__).parent / "chart.yaml").read_text()
    assert find in text
    own = tmp_path / "chart.yaml"
    own.write_text(text.replace(find, put))
    with pytest.raises(PolicyError, match=said) as caught:
        load_chart(own)
    assert "line" in str(caught.value)


def test_a_half_hour_that_is_not_over_is_on_the_chart() -> None:
    case = Writer()
    found = chart([], case.at(0.3), trace=[column(case, 0, LATE=1)])
    assert [a.row for a in found.alerts] == ["falls"]


def test_entries_to_come_are_not_on_the_chart_yet() -> None:
    case = Writer()
    case.write(2, "vitals", pulse_bpm=130)
    assert not chart(case.entries, case.at(1)).alerts
    assert chart(case.entries, case.at(2) + timedelta(seconds=1)).alerts
