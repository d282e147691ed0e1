"""The handover: what changed first, filled from the record, nothing reassuring about gaps."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from ebbline.journal.chart import chart
from ebbline.journal.chart_sheet import chart_sheets
from ebbline.journal.entries import HandoverGiven
from ebbline.journal.handover import handover
from ebbline.journal.handover_sheet import HandoverHead, handover_sheet
from ebbline.picture.canvas import Document, Group, Text
from ebbline.picture.pdf import pdf
from ebbline.reading.analyse import read
from ebbline.synth import Scenario, invent
from journal.labour import ten_hours
from journal.writing import Writer


def test_what_changed_since_the_last_handover_comes_first_and_in_it_what_alarms() -> None:
    case = ten_hours()
    found = handover(case.entries, case.at(9.5))
    assert found.since == case.at(5.5)
    assert found.changed[0] == "Since the handover at 08:00 to Noor:"
    assert found.changed[1].startswith("NEW: Fluid thick meconium, since 10:00")
    assert any("NEW: Temperature 37.9" in line for line in found.changed)
    assert not any("Cervix, station: Dilatation 6 cm" in line for line in found.changed)
    assert any("Dilatation 10 cm" in line for line in found.changed)


def test_a_correction_since_the_last_handover_is_told() -> None:
    case = Writer()
    case.write(0, "bed", bed="4")
    old = case.write(1, "cervix", dilatation_cm=8)
    case.write(2, "handover", to="Noor")
    case.write(3, "cervix", dilatation_cm=6, corrects=old.number)
    (_, line, *_) = handover(case.entries, case.at(4)).changed
    assert line.startswith("CORRECTED: entry 2 of 03:30: Dilatation 6 cm")


def test_without_an_earlier_handover_it_says_so() -> None:
    case = Writer()
    case.write(0, "bed", bed="4")
    assert handover(case.entries, case.at(1)).changed == (
        "No earlier handover stands in the record.",
    )


def test_what_was_not_written_is_never_told_as_well() -> None:
    case = Writer()
    case.write(0, "bed", bed="4")
    found = handover(case.entries, case.at(1))
    said = " ".join((*found.situation, *found.background, *found.assessment))
    for thing in (
        "Weeks not written",
        "Stage of labour not written",
        "Membranes: not written",
        "Risk: not written",
        "Cervix: not written",
        "temperature not written",
        "No trace was read",
    ):
        assert thing in said
    assert any(line.startswith("NOT WRITTEN YET") for line in found.recommendation)


def test_who_was_called_and_has_not_come_stands_first_in_what_to_do() -> None:
    case = ten_hours()
    found = handover(case.entries, case.at(9.5)).recommendation
    assert found[0].startswith("AWAITED: consultant, told at 10:06 about thick meconium")
    assert not any("registrar" in line for line in found)


def test_overdue_reviews_are_told_with_how_long() -> None:
    case = ten_hours()
    found = handover(case.entries, case.at(9.5)).recommendation
    assert any(line.startswith("OVERDUE") and "continuous trace" in line for line in found), found


def test_the_four_lines_of_every_fetus_stand_in_it() -> None:
    from dataclasses import replace

    case = ten_hours()
    scenario = Scenario.from_words("40 minutes, 40 weeks, recurrent late")
    recording = replace(invent(scenario, seed=5).recording, start=case.at(8.5))
    reading = read(recording)
    (one,) = reading.fetuses
    twins = replace(reading, fetuses=(one, replace(one, fetus=2)))
    found = handover(case.entries, case.at(9.5), reading=twins)
    assert one.four_lines is not None
    for fetus in (1, 2):
        for title, line in one.four_lines.titled:
            said = f"{title} (fetus {fetus}), trace to {case.at(8.5 + 2 / 3):%H:%M:%S}: {line}"
            assert said in (found.situation if title == "Class" else found.assessment)
    assert any("late decelerations" in line.lower() for line in found.situation)


def texts(document: Document) -> list[Text]:
    found = []
    stack = [shape for page in document.pages for shape in page.shapes]
    while stack:
        shape = stack.pop()
        if isinstance(shape, Group):
            stack += shape.shapes
        elif isinstance(shape, Text):
            found.append(shape)
    return found


def sheet(case: Writer, hours: float, **more: str) -> Document:
    made = handover(case.entries, case.at(hours))
    head = HandoverHead(
        made.case, made.bed, case.at(hours), "Noor", len(case.entries), case.entries[-1].hash, False
    )
    return handover_sheet(HandoverGiven(to="Sam", **{**made.parts(), **more}), head)


def test_ten_hours_of_labour_fit_on_one_sheet() -> None:
    case = ten_hours()
    document = sheet(case, 9.5)
    assert len(document.pages) == 1
    assert case.entries[-1].hash[:16] in " ".join(t.text for t in texts(document))


def test_what_does_not_fit_goes_on_a_second_sheet_and_nothing_is_cut() -> None:
    long = "\n".join(f"Line {n} of what the person added by hand." for n in range(150))
    document = sheet(ten_hours(), 9.5, assessment=long)
    assert len(document.pages) > 1
    said = [t.text for t in texts(document)]
    assert all(f"Line {n} of what the person added by hand." in said for n in range(150))
    assert "continued" in said


def test_the_sheets_read_as_text_by_an_independent_reader(tmp_path: Path) -> None:
    """poppler's pdftotext."""
    case = ten_hours()
    made = chart(case.entries, case.at(9.5))
    for document, wanted in (
        (sheet(case, 9.5), "Fluid thick meconium"),
        (chart_sheets(made, "24-0117", "4", case.at(9.5)), "Chart of progress, case 24-0117"),
    ):
        path = tmp_path / "sheet.pdf"
        path.write_bytes(pdf(document))
        try:
            done = subprocess.run(
                ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
            )
        except FileNotFoundError:
            pytest.skip("pdftotext (poppler-utils) is not installed")
        assert wanted in done.stdout


def test_every_text_on_the_chart_stays_on_its_sheet() -> None:
    from ebbline.picture.fonts import text_box

    case = ten_hours()
    document = chart_sheets(chart(case.entries, case.at(30)), "24-0117", "4", case.at(30))
    assert len(document.pages) == 3
    for page in document.pages:
        for shape in page.shapes:
            if isinstance(shape, Text):
                left, top, right, bottom = text_box(shape)
                assert left >= 0 and top >= 0, shape
                assert right <= page.width and bottom <= page.height, shape


def test_the_rules_on_the_chart_are_those_of_the_table() -> None:
    case = ten_hours()
    document = chart_sheets(chart(case.entries, case.at(9.5)), "24-0117", "4", case.at(9.5))
    said = [t.text for t in texts(document)]
    assert said.count("! +++ or more") == 2 and said.count("! ++ or more") == 2
    assert "! under 60; 120 or more" in said and "! under 110; 160 or more" in said


def test_the_rows_of_the_chart_end_above_its_foot_however_much_alarms() -> None:
    from ebbline.journal.chart_sheet import FOOT, HEIGHT

    case = ten_hours()
    case.write(9.2, "vitals", pulse_bpm=130, systolic_mmhg=150, diastolic_mmhg=95)
    case.write(9.2, "fluids", protein=3, acetone=3)
    case.write(9.3, "cervix", dilatation_cm=10, caput=3, moulding=3, position="posterior")
    case.write(9.3, "posture", posture="supine")
    document = chart_sheets(chart(case.entries, case.at(9.5)), "24-0117", "4", case.at(9.5))
    plan = next(t for t in texts(document) if t.text == "Plan")
    assert plan.y < HEIGHT - FOOT + 0.05
