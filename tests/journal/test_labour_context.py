"""What is written into the record is what the trace is read with, from then on."""

from __future__ import annotations

from ebbline.journal.labour_context import labour_context, sensors_in_place
from ebbline.recording.model import ChannelKind, Context
from ebbline.terms import SensorKind, Stage
from journal.writing import Writer


def test_full_dilatation_begins_the_second_stage_of_the_trace() -> None:
    case = Writer()
    case.write(0, "stage", stage="active first stage")
    case.write(2, "cervix", dilatation_cm=8)
    first = labour_context(case.entries, case.at(1), case.at(3))
    assert first.stage_at(3600.0) is Stage.FIRST
    case.write(4, "cervix", dilatation_cm=10)
    context = labour_context(case.entries, case.at(1), case.at(5))
    assert context.second_stage_start_s == 3 * 3600.0, "on the trace's clock, which began at 1 h"
    assert context.stage_at(3 * 3600.0 - 1) is Stage.FIRST
    assert context.stage_at(3 * 3600.0) is Stage.SECOND


def test_a_smaller_cervix_found_later_does_not_end_the_second_stage() -> None:
    case = Writer()
    case.write(1, "cervix", dilatation_cm=10)
    case.write(2, "cervix", dilatation_cm=9)
    assert labour_context(case.entries, case.at(0), case.at(3)).second_stage_start_s == 3600.0


def test_what_was_written_in_error_counts_no_longer() -> None:
    case = Writer()
    wrong = case.write(1, "stage", stage="pushing")
    case.write(1.1, "withdrawn", corrects=wrong.number, why="other bed")
    assert labour_context(case.entries, case.at(0), case.at(2)) == Context()


def test_oxytocin_runs_until_it_is_stopped_and_silence_stays_unknown() -> None:
    case = Writer()
    case.write(0, "labour", weeks=38, births_before=1)
    context = labour_context(case.entries, case.at(0), case.at(1), Context(weeks=40))
    assert (context.weeks, context.parity, context.oxytocin) == (38, 1, None)
    case.write(1, "oxytocic", action="started", dose_mu_per_min=2)
    assert labour_context(case.entries, case.at(0), case.at(1)).oxytocin is True
    case.write(2, "oxytocic", action="stopped")
    assert labour_context(case.entries, case.at(0), case.at(2)).oxytocin is False


def test_the_sensor_placed_last_stands_until_it_is_taken_off() -> None:
    heart = (ChannelKind.FETAL_HEART_RATE, 1)
    case = Writer()
    case.write(1, "sensor", sensor="ultrasound", action="placed")
    case.write(2, "sensor", sensor="scalp electrode", action="placed")
    case.write(3, "sensor", sensor="ultrasound", action="taken off")
    case.write(3, "sensor", sensor="pressure catheter", action="placed")
    assert sensors_in_place(case.entries, case.at(1)) == {heart: SensorKind.ULTRASOUND}
    assert sensors_in_place(case.entries, case.at(3)) == {
        heart: SensorKind.SCALP_ELECTRODE,
        (ChannelKind.UTERINE_ACTIVITY, 0): SensorKind.PRESSURE_CATHETER,
    }
