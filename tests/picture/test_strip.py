"""The strip: at true scale, whole, legible, and honest about what is missing."""

from __future__ import annotations

import math
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pypdf import PdfReader

from ebbline import CAUTION
from ebbline.criteria.model import PanelReading
from ebbline.errors import ContextError
from ebbline.features.findings import Artefact, ArtefactKind
from ebbline.picture import Document, Page, draw_strip, write
from ebbline.picture.canvas import Polygon, contrast
from ebbline.picture.style import (
    BASELINE,
    FALL,
    FALL_TINT,
    GRID_FINE,
    GRID_MAJOR,
    GRID_STRONG,
    INK,
    MATERNAL_TRACE,
    OTHER_TRACE,
    PAPER,
    QUIET_INK,
    RISE,
    RISE_TINT,
    TRACE,
    WARNING,
)
from ebbline.picture.svg import UNITS_PER_CM, svg
from ebbline.reading.analyse import read
from ebbline.recording.model import Recording
from ebbline.terms import SensorKind, Window
from picture import build
from picture.look_over import (
    all_words,
    lines,
    on_a_trace,
    overprinted,
    shapes,
    texts,
    titles,
    words,
)

TRACES = (TRACE, OTHER_TRACE, MATERNAL_TRACE)
SVG = "{http://www.w3.org/2000/svg}"
HALF_HOUR = build.recording()
READ = build.reading(HALF_HOUR)


def strip(recording: Recording, **how: object) -> Document:
    return draw_strip(recording, build.reading(recording), **how)  # type: ignore[arg-type]


CASES: dict[str, Document] = {
    "1 cm/min": draw_strip(HALF_HOUR, READ, speed_cm_per_min=1),
    "2 cm/min": draw_strip(HALF_HOUR, READ, speed_cm_per_min=2),
    "3 cm/min": draw_strip(HALF_HOUR, READ),
    "1 cm/min, 30 bpm/cm": draw_strip(HALF_HOUR, READ, speed_cm_per_min=1, bpm_per_cm=30),
    "unmarked": draw_strip(HALF_HOUR, READ, speed_cm_per_min=1, marks=False),
    "long sheet": draw_strip(HALF_HOUR, READ, continuous=True),
    "40 % lost": strip(build.recording(loss=0.4), speed_cm_per_min=1),
    "no activity": strip(build.recording(with_activity=False), speed_cm_per_min=1),
    "twins": strip(
        build.recording(twins=True, maternal=True, sensor=SensorKind.PRESSURE_CATHETER),
        speed_cm_per_min=1,
    ),
    "second twin": strip(build.recording(twins=True), fetus=2),
    "two minutes": draw_strip(HALF_HOUR, READ, window=Window(100, 220)),
    "no clock": strip(build.without_clock(HALF_HOUR), speed_cm_per_min=2),
    "long name": strip(build.recording(name="A practice labour with a very long name " * 6)),
}
every_case = pytest.mark.parametrize("case", CASES)


def vertical_lines(page: Page, colours: set[str]) -> list[float]:
    """x of the grid's vertical lines in the written SVG, in cm of paper."""
    root = ET.fromstring(svg(page))
    width_cm = float(root.get("width", "").removesuffix("cm"))
    per_cm = float(root.get("viewBox", "").split()[2]) / width_cm
    found = {
        float(line.get("x1", "")) / per_cm
        for line in root.iter(f"{SVG}line")
        if line.get("x1") == line.get("x2") and line.get("stroke") in colours
    }
    return sorted(found)


@pytest.mark.parametrize("speed", [1, 2, 3])
def test_one_minute_measures_the_paper_speed_in_svg(speed: int) -> None:
    minutes = vertical_lines(
        CASES[f"{speed} cm/min"].pages[0], {GRID_MAJOR.colour, GRID_STRONG.colour}
    )
    assert len(minutes) > 8
    assert np.diff(minutes) == pytest.approx(np.full(len(minutes) - 1, float(speed)), abs=2e-3)


def pdf_lines(path: Path) -> list[tuple[float, float, float, float]]:
    """All straight lines of a PDF's first page, in points."""
    contents = PdfReader(path).pages[0].get_contents()
    assert contents is not None
    found = []
    begin = (0.0, 0.0)
    for numbers, operator in contents.operations:
        if operator == b"m":
            begin = (float(numbers[0]), float(numbers[1]))
        elif operator == b"l":
            found.append((*begin, float(numbers[0]), float(numbers[1])))
            begin = (float(numbers[0]), float(numbers[1]))
    return found


def test_one_minute_is_85_points_and_30_bpm_are_28_points_in_pdf(tmp_path: Path) -> None:
    """3 cm/min and 30 bpm/cm (common practice); 1 cm is 72/2.54 points (ISO 32000-1, 8.3.2.3)."""
    write(CASES["3 cm/min"], tmp_path / "strip.pdf")
    drawn = pdf_lines(tmp_path / "strip.pdf")
    rate_height = (240 - 30) / 30 / 2.54 * 72
    upright = sorted(
        {x0 for x0, y0, x1, y1 in drawn if x0 == x1 and abs(abs(y1 - y0) - rate_height) < 0.01}
    )
    every_ten_seconds = np.diff(upright)
    assert every_ten_seconds == pytest.approx(np.full(len(upright) - 1, 85.04 / 6), abs=0.01)
    paper_width = 9 * 85.0394
    level = sorted(
        {y0 for x0, y0, x1, y1 in drawn if y0 == y1 and abs(x1 - x0 - paper_width) < 0.01}
    )
    in_rate = level[-22:]
    assert np.diff(in_rate) == pytest.approx(np.full(21, 28.346 / 3), abs=0.01)


def test_a_sample_stands_where_the_grid_says() -> None:
    samples = HALF_HOUR.heart_rate().samples.copy()
    samples[:] = 140.0
    samples[int(120 * build.RATE_HZ)] = 180.0
    channel = replace(HALF_HOUR.heart_rate(), samples=samples)
    made = replace(HALF_HOUR, channels=(channel, *HALF_HOUR.channels[1:]))
    page = draw_strip(made, READ, speed_cm_per_min=3).pages[0]
    minutes = vertical_lines(page, {GRID_MAJOR.colour, GRID_STRONG.colour})
    at = np.vstack([line.points for line in lines(page, TRACE)])
    rate = at[at[:, 1] < 12]
    peak = rate[rate[:, 1].argmin()]
    assert peak[0] == pytest.approx(minutes[2], abs=2e-3)
    level = {
        text.text: text.y for text in texts(page) if text.text in ("180", "150") and text.x < 2
    }
    a_bpm = (level["150"] - level["180"]) / 30
    assert a_bpm == pytest.approx(1 / 30)
    assert rate[:, 1].max() - peak[1] == pytest.approx(40 * a_bpm, abs=1e-6)


@pytest.mark.parametrize("speed", [1, 3])
def test_no_line_is_drawn_across_lost_signal(speed: int) -> None:
    made = build.recording(loss=0.4)
    document = strip(made, speed_cm_per_min=speed)
    lost = np.flatnonzero(np.isnan(made.heart_rate().samples)) / build.RATE_HZ
    start_s, crossed = 0.0, 0
    for page in document.pages:
        minutes = vertical_lines(page, {GRID_MAJOR.colour, GRID_STRONG.colour})
        left = minutes[0]
        for line in lines(page, TRACE):
            if line.points[0, 1] > 12.6:
                continue
            times = start_s + (line.points[:, 0] - left) / speed * 60
            first, last = np.searchsorted(lost, [times[0] + 0.06, times[-1] - 0.06])
            crossed += last - first
        start_s += (27 if speed == 1 else 9) * 60
    assert crossed == 0


def test_thinned_trace_keeps_every_extreme() -> None:
    """At 1 cm/min a single sample out of 24 hours still reaches the same height."""
    made = build.recording(86400, loss=0.0)
    samples = made.heart_rate().samples
    samples[200_001] = 205.0
    samples[300_002] = 55.0
    document = strip(made, speed_cm_per_min=1)
    assert len(document.pages) == math.ceil(24 * 60 / 27)
    heights = np.concatenate(
        [line.points[:, 1] for page in document.pages for line in lines(page, TRACE)]
    )
    drawn = sum(len(line.points) for page in document.pages for line in lines(page, TRACE))
    rate_top = min(s.y for s in shapes(document.pages[0]) if getattr(s, "height", 0) == 8.0)
    assert heights.min() == pytest.approx(rate_top + 5 / 20, abs=1e-6)
    assert np.isclose(heights, rate_top + 155 / 20, atol=1e-6).any()
    assert drawn < 0.51 * 2 * len(samples)


@every_case
def test_speed_and_scale_and_caution_are_on_every_page_of_the_strip(case: str) -> None:
    for page in CASES[case].pages:
        said = words(page)
        assert CAUTION in said
        if "The reading in words" not in said:
            assert "cm/min" in said
            assert "bpm/cm" in said
            assert "when printed at 100 %" in said


@every_case
def test_no_two_texts_share_room(case: str) -> None:
    for page in CASES[case].pages:
        assert overprinted(page) == []


@every_case
def test_no_text_lies_on_a_trace(case: str) -> None:
    for page in CASES[case].pages:
        assert on_a_trace(page, TRACES) == []


def test_a_sheet_that_must_be_taller_than_a4_says_so() -> None:
    """Rather a taller sheet than a finding left out or the scale given up."""
    fetal = READ.fetuses[0]
    crowd = tuple(
        Artefact(ArtefactKind.HALVING, 300.0 + i, 400.0 + i, 0.7, "a crowd") for i in range(9)
    )
    found = replace(fetal.findings, fetal=replace(fetal.findings.fetal, artefacts=crowd))
    reading = replace(READ, fetuses=(replace(fetal, findings=found),))
    page = draw_strip(HALF_HOUR, reading, speed_cm_per_min=1).pages[0]
    assert page.height > 21
    assert "sheet taller than A4" in words(page)
    assert sum(text.text.startswith(("halving", "h")) for text in texts(page)) >= 9
    assert overprinted(page) == []


def test_tints_stay_on_their_side_of_the_baseline() -> None:
    """A doubled rate inside a deceleration is no part of the fall."""
    made = build.recording(loss=0.0)
    fall = build.decelerations(1800)[0]
    begin = int((fall.nadir_s - 2) * build.RATE_HZ)
    made.heart_rate().samples[begin : begin + 16] = 200.0
    page = strip(made, speed_cm_per_min=3).pages[0]
    tints = [s for s in shapes(page) if isinstance(s, Polygon) and s.fill == FALL_TINT]
    level = next(line.points[0, 1] for line in lines(page, BASELINE))
    assert tints
    assert all(tint.points[:, 1].min() >= level - 1e-6 for tint in tints)


@every_case
def test_pages_are_a4_across_unless_one_long_sheet_is_asked_for(case: str) -> None:
    for page in CASES[case].pages:
        if case == "long sheet":
            assert page.width > 90
        else:
            # Half an hour at 1 cm/min is one look: 30 cm of paper and its margins.
            wide = page.width > 29.7
            assert not wide or (round(page.width, 2) == 32.55 and "1 cm/min" in words(page))
            assert page.height == 21.0


@pytest.mark.parametrize("case", ["1 cm/min", "2 cm/min", "3 cm/min", "long sheet", "40 % lost"])
def test_every_finding_is_bracketed_and_named(case: str) -> None:
    findings = READ.fetuses[0].findings
    told = titles(CASES[case])
    said = all_words(CASES[case])
    for fall in findings.fetal.decelerations:
        assert any(one.startswith(f"{fall.kind.value} deceleration at") for one in told)
        assert fall.kind.value in said
    for name, count in (
        ("acceleration at", len(findings.fetal.accelerations)),
        ("pseudo-sinusoidal pattern at", 1),
        ("halving suspected at", 1),
        ("baseline 140 to 150 bpm at", 1),
    ):
        assert len({one for one in told if one.startswith(name)}) == count
    for number in range(1, len(findings.uterine.contractions) + 1):
        assert any(one.startswith(f"contraction {number} at") for one in told)
        assert f"contraction {number}" in said or f"\n{number}: " in said
    for name in ("acceleration", "pseudo-sinusoidal", "halving suspected", "signal lost"):
        assert name in said


def test_a_finding_across_the_page_edge_is_named_on_both_pages() -> None:
    fall = build.decelerations(1800)[1]
    middle = fall.nadir_s
    for window in (Window(middle - 120, middle), Window(middle, middle + 120)):
        document = draw_strip(HALF_HOUR, READ, window=window)
        assert any(one.startswith("variable deceleration") for one in titles(document))


def test_uncertain_findings_carry_a_question_mark() -> None:
    said = all_words(CASES["3 cm/min"])
    assert "early deceleration?" in said
    assert "late deceleration?" not in said
    assert "? certainty below 50 %" in said


def test_signal_lost_of_any_length_shows_in_the_band() -> None:
    findings = READ.fetuses[0].findings
    assert any(one.kind is ArtefactKind.DROP_OUT for one in findings.fetal.artefacts)
    assert "signal lost, share of each minute" in words(CASES["1 cm/min"].pages[0])


def test_classes_stand_with_their_deciding_reasons_and_signs() -> None:
    said = words(CASES["1 cm/min"].pages[0])
    assert "NICHD 2008: Category II" in said
    assert "Late decelerations with 3 of 10 contractions." in said
    assert "NICE NG229: no class" in said
    assert "Contractions cannot be counted" in said


def test_what_finds_no_room_is_told_on_a_further_page() -> None:
    fetal = READ.fetuses[0]
    figo = fetal.classes[1]
    sentence = "Late decelerations recur, and this sentence is long enough to fill a line. "
    long = replace(figo.reasons[0], text=sentence * 12 + "The end of it.")
    crowded = replace(figo, reasons=(long, *figo.reasons[1:]))
    reading = replace(
        READ, fetuses=(replace(fetal, classes=(fetal.classes[0], crowded, fetal.classes[2])),)
    )
    document = draw_strip(HALF_HOUR, reading, speed_cm_per_min=1)
    assert "(more on the last page)" in words(document.pages[0])
    assert "The end of it." not in words(document.pages[0])
    last = words(document.pages[-1]).replace("\n", " ")
    assert "The reading in words" in last
    assert "The end of it" in last.replace("of\nit", "of it")
    for page in document.pages:
        assert overprinted(page) == []


def test_panel_reading_is_told_apart_from_the_standards() -> None:
    panel = PanelReading(
        READ.window, (0.2, 0.5, 0.3), "suspicious", 0.1, (), "1", "nine readers", ()
    )
    reading = replace(READ, fetuses=(replace(READ.fetuses[0], panel=panel),))
    page = draw_strip(HALF_HOUR, reading, speed_cm_per_min=1).pages[0]
    assert "panel of readers: suspicious" in words(page)
    assert "not a class of a standard" in words(page).replace("\n", " ")
    assert overprinted(page) == []


def test_ten_minute_columns_tell_the_numbers() -> None:
    said = words(CASES["1 cm/min"].pages[0]).replace("\n", " ")
    assert "0:00–0:10" in said
    assert "baseline 140 bpm, variability moderate (11 bpm)" in said
    assert "baseline up 10 bpm" in said
    assert "93 % valid signal" in said


def test_sensors_gestation_and_stage_are_in_the_title_block() -> None:
    said = words(CASES["1 cm/min"].pages[0])
    assert "heart rate by ultrasound" in said
    assert "activity by toco, no unit: times only, never strength" in said
    assert "39 weeks of gestation" in said
    assert "first stage" in said
    assert "0:00:00 to 0:30:00 of 0:30:00, 12 March 2031 14:05:00 to 14:35:00 UTC" in said


def test_toco_activity_is_never_in_mmhg() -> None:
    assert "mmHg" not in all_words(CASES["1 cm/min"])
    assert "mmHg" not in " ".join(titles(CASES["1 cm/min"]))
    assert "pressure, mmHg" in all_words(CASES["twins"])


def test_no_activity_channel_is_said_and_never_drawn_as_none() -> None:
    said = all_words(CASES["no activity"])
    assert "no activity channel in this recording: contractions cannot be assessed" in said
    assert not any(one.startswith("contraction") for one in titles(CASES["no activity"]))


def test_unknown_clock_is_said() -> None:
    assert "clock time not known" in all_words(CASES["no clock"])
    assert "· 14:" not in all_words(CASES["no clock"])


def test_second_stage_is_marked_where_it_begins() -> None:
    context = replace(READ.context, second_stage_start_s=900.0)
    document = draw_strip(HALF_HOUR, replace(READ, context=context), speed_cm_per_min=1)
    assert "second stage begins" in all_words(document)


def test_hidden_marks_leave_nothing_computed_behind() -> None:
    document = CASES["unmarked"]
    said = all_words(document).lower()
    for word in ("category", "suspicious", "pathological", "late", "bpm,", "valid", "140 bpm"):
        assert word not in said.replace("heart rate, bpm", ""), word
    assert titles(document) == []
    for page in document.pages:
        assert lines(page, BASELINE) == []
        assert len(lines(page, TRACE)) > 1


def test_twins_differ_in_weight_and_name_not_in_dashes() -> None:
    page = CASES["twins"].pages[0]
    assert OTHER_TRACE.width >= 2 * TRACE.width
    assert not OTHER_TRACE.dash
    assert not TRACE.dash
    assert lines(page, OTHER_TRACE)
    assert {"fetus 1", "fetus 2", "mother"} <= {text.text for text in texts(page) if text.bold}
    assert "fetus 1 of 2" in words(page)
    assert "fetus 2 of 2" in words(CASES["second twin"].pages[0])


def test_values_beyond_the_paper_are_named() -> None:
    made = build.recording(loss=0.0)
    made.heart_rate().samples[2000:2100] = 233.0
    made.heart_rate().samples[3000:3050] = 38.0
    document = strip(made, speed_cm_per_min=1)
    assert "above the scale: 233" in all_words(document)
    assert "below the scale: 38" in all_words(document)


def test_pages_follow_each_other_without_a_break() -> None:
    document = draw_strip(HALF_HOUR, READ, speed_cm_per_min=3)
    spans = [
        next(t.text for t in texts(page) if " of 0:30:00" in t.text) for page in document.pages
    ]
    assert [span.split(" of ")[0] for span in spans] == [
        "0:00:00 to 0:09:00",
        "0:09:00 to 0:18:00",
        "0:18:00 to 0:27:00",
        "0:27:00 to 0:30:00",
    ]
    tops = {
        min(s.y for s in shapes(page) if getattr(s, "height", 0) == 7.0) for page in document.pages
    }
    assert len(tops) == 1


def test_long_sheet_repeats_the_scale() -> None:
    page = CASES["long sheet"].pages[0]
    assert sum(text.text == "180" for text in texts(page)) > 4


@pytest.mark.parametrize(
    ("how", "message"),
    [
        ({"speed_cm_per_min": 4}, "Choose 1, 2 or 3 cm/min"),
        ({"bpm_per_cm": 25}, "Choose 20 or 30 bpm/cm"),
        ({"fetus": 2}, "fetus 2 was not read.*Choose one of: 1"),
        ({"window": Window(2000, 2100)}, "Choose times between 0 and 1800"),
        ({"window": Window(60, 60)}, "not in the recording"),
        ({"window": Window(-5, 60)}, "not in the recording"),
    ],
)
def test_what_cannot_be_drawn_is_told_in_words(how: dict[str, object], message: str) -> None:
    with pytest.raises(ContextError, match=message):
        draw_strip(HALF_HOUR, READ, **how)  # type: ignore[arg-type]


GREY_STEPS = [
    ("trace on fine grid", TRACE.colour, GRID_FINE.colour, 7.0),
    ("trace on minute lines", TRACE.colour, GRID_MAJOR.colour, 7.0),
    ("trace on strong lines", TRACE.colour, GRID_STRONG.colour, 4.5),
    ("trace on the tint of a fall", TRACE.colour, FALL_TINT, 7.0),
    ("trace on the tint of a rise", TRACE.colour, RISE_TINT, 7.0),
    ("other fetus on paper", OTHER_TRACE.colour, PAPER, 3.0),
    ("one fetus on the other", TRACE.colour, OTHER_TRACE.colour, 3.0),
    ("mother on paper", MATERNAL_TRACE.colour, PAPER, 7.0),
    ("baseline on the tint of a fall", BASELINE.colour, FALL_TINT, 3.0),
    ("baseline on minute lines", BASELINE.colour, GRID_MAJOR.colour, 3.0),
    *((f"text {ink} on paper", ink, PAPER, 7.0) for ink in (INK, QUIET_INK, FALL, RISE, WARNING)),
]


@pytest.mark.parametrize(("what", "ink", "ground", "least"), GREY_STEPS)
def test_inks_stand_apart_in_greyscale(what: str, ink: str, ground: str, least: float) -> None:
    """WCAG 2.2: 7:1 for text (1.4.6), 3:1 for what must be told apart in a figure (1.4.11)."""
    assert contrast(ink, ground) >= least, what


def test_written_strip_is_whole_in_every_format(tmp_path: Path) -> None:
    document = CASES["1 cm/min"]
    svgs = write(document, tmp_path / "strip.svg")
    assert [path.name for path in svgs] == ["strip.svg"]
    assert all(CAUTION in path.read_text() for path in svgs)
    write(document, tmp_path / "strip.pdf")
    read = PdfReader(tmp_path / "strip.pdf")
    assert CAUTION in read.pages[0].extract_text().replace("\n", " ")
    assert "1 cm/min" in read.pages[0].extract_text()
    pngs = write(document, tmp_path / "strip.png", dpi=50)
    assert all(path.stat().st_size > 10_000 for path in pngs)


def test_svg_needs_no_style_sheet_and_no_script() -> None:
    """So that it can be shown under a strict content security policy."""
    text = svg(CASES["twins"].pages[0])
    assert "style=" not in text
    assert "<script" not in text
    assert "href" not in text
    assert UNITS_PER_CM == 100


def test_drawing_model_loads_nothing_of_traces() -> None:
    """The abdomen is drawn with it, and the examination knows nothing of traces."""
    code = "import ebbline.picture, sys; print([m for m in sys.modules if 'recording' in m])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def odd(samples: np.ndarray, rate_hz: float = 4.0) -> Recording:
    """A recording of nothing but these heart-rate samples."""
    channel = replace(HALF_HOUR.heart_rate(), samples=samples, rate_hz=rate_hz)
    return Recording("odd", (channel,))


ODD = {
    "one sample": odd(np.where(np.arange(2400) == 1200, 140.0, np.nan)),
    "every other sample": odd(np.where(np.arange(2400) % 2, 140.0, np.nan)),
    "flat": odd(np.full(2400, 140.0)),
    "all beyond the paper": odd(np.full(2400, 290.0)),
    "in and out of the paper": odd(np.where(np.arange(2400) % 8 < 4, 290.0, 100.0)),
    "ten seconds": odd(np.full(40, 140.0)),
    "one sample in ten seconds": odd(np.full(120, 140.0), 0.1),
    "250 samples a second": odd(np.full(60_000, 140.0), 250.0),
}


def test_a_window_without_any_valid_sample_is_drawn_empty() -> None:
    reading = read(ODD["flat"])
    document = draw_strip(odd(np.full(2400, np.nan)), reading)
    assert all(lines(page, TRACE) == [] for page in document.pages)


@pytest.mark.parametrize("name", ODD)
@pytest.mark.parametrize("speed", [1, 3])
def test_odd_recordings_are_drawn_whole(name: str, speed: int, tmp_path: Path) -> None:
    recording = ODD[name]
    document = draw_strip(recording, read(recording), speed_cm_per_min=speed)
    for page in document.pages:
        assert overprinted(page) == []
        assert page.height == 21.0
        ET.fromstring(svg(page))
    assert write(document, tmp_path / "strip.pdf")
