"""What a person corrects of a reading from paper: corners, ink that is no trace, a missed trace."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from bench.paper.draw import LOOKS, draw
from numpy.typing import NDArray

from ebbline.errors import RecordingError
from ebbline.recording.paper.corners import Corners
from ebbline.recording.paper.corrections import Corrections, Drawn, Erased, check_corrections
from ebbline.recording.paper.flatten import Image
from ebbline.recording.paper.reading import PaperReading, read_paper, read_papers
from ebbline.recording.paper.scale import PaperAnswers
from ebbline.recording.paper.trace import middle
from recording.test_paper import RATE_HZ, activity, heart_rate, off, strip

FloatArray = NDArray[np.float64]

MINUTES = 6
DPI = 200
GREEN = LOOKS["green"]
PX_CM = DPI / 2.54
MARGIN = 1.6 * PX_CM
SPEED_1 = PaperAnswers(speed=1.0)


def gapped() -> FloatArray:
    """Six minutes of heart rate, the third of them missing."""
    fhr = heart_rate(minutes=MINUTES)
    fhr[2 * 240 : 3 * 240] = np.nan
    return fhr


def at(minute: float, bpm: float) -> tuple[float, float]:
    """Where a value at a time lies on the drawn picture, px: 1 cm/min, 20 bpm/cm."""
    return MARGIN + minute * PX_CM, MARGIN + (GREEN.high - bpm) / GREEN.bpm_per_cm * PX_CM


def corners() -> Corners:
    low, high = GREEN.low, GREEN.high
    return at(0, high), at(MINUTES, high), at(MINUTES, low), at(0, low)


@pytest.fixture(scope="module")
def image() -> Image:
    return strip(gapped()).image


@pytest.fixture(scope="module")
def found(image: Image) -> PaperReading:
    return read_paper(image, SPEED_1)


def again(found: PaperReading, corrections: Corrections) -> PaperReading:
    """The same papers read anew with corrections."""
    return read_papers(list(found.papers), SPEED_1, "strip", corrections)


def minute(read: PaperReading, number: int) -> FloatArray:
    size = round(60 * read.rate_hz)
    return read.heart[0].values[(number - 1) * size : number * size]


def test_a_drawn_stroke_fills_a_gap_with_the_values_it_lies_on(found: PaperReading) -> None:
    drawn = Drawn((at(2.2, 130), at(2.8, 150)))
    read = again(found, Corrections(drawn=(drawn,)))
    assert np.isnan(minute(found, 3)[20:-20]).all()
    inside = minute(read, 3)[round(14 * read.rate_hz) : round(46 * read.rate_hz)]
    count = len(inside)
    truth = 130 + 20 * (np.arange(count) / read.rate_hz + 14 - 12) / 36
    assert np.abs(inside - truth).max() < 1.0
    # Nothing else changes, and a hand is not taken for the ink.
    assert np.array_equal(minute(read, 1), minute(found, 1), equal_nan=True)
    assert read.minutes[2] < 0.5
    assert "One stroke was drawn where a trace was missed, by hand." in read.said


def test_a_stroke_of_activity_leaves_the_heart_rate(found: PaperReading) -> None:
    assert found.activity is not None
    bottom = MARGIN + 8 * PX_CM + 0.9 * PX_CM + 4 * PX_CM
    y = bottom - 0.8 * 4 * PX_CM
    drawn = Drawn(((at(1, 0)[0], y), (at(2, 0)[0], y)), fetus=0)
    read = again(found, Corrections(drawn=(drawn,)))
    assert read.activity is not None
    size = round(60 * read.rate_hz)
    assert read.activity.values[size + 5 : 2 * size - 5] == pytest.approx(80, abs=1)
    assert np.array_equal(read.heart[0].values, found.heart[0].values, equal_nan=True)


def test_what_is_erased_is_missing_signal(found: PaperReading) -> None:
    erased = Erased((at(4.5, 200), at(4.5, 60)), width=0.5 * PX_CM)
    read = again(found, Corrections(erased=(erased,)))
    fifth = minute(read, 5)
    quarter = len(fifth) // 4
    assert np.isnan(fifth[quarter + 2 : 3 * quarter - 2]).all()
    assert np.isfinite(fifth[: quarter - 3]).all()
    assert np.isfinite(fifth[3 * quarter + 3 :]).all()


def test_handwriting_erased_gives_the_trace_beneath_back(image: Image) -> None:
    """Left out as long as it may be the trace; read once a person says that it is not."""
    written = image.copy()
    t = np.linspace(0, 6 * np.pi, 160)
    x, y = at(4.5, 95)
    loop = np.column_stack([x - 20 + 14 * (t * 0.2 + np.sin(2.1 * t)), y + 20 * np.cos(1.3 * t)])
    cv2.polylines(written, [np.round(loop).astype(np.int32)], False, (20, 20, 40), 3, cv2.LINE_AA)
    doubted = read_paper(written, SPEED_1)
    erased = Erased((at(4, 97), at(5.2, 97), at(5.2, 90), at(4, 90)), width=50)
    read = again(doubted, Corrections(erased=(erased,)))
    assert np.isfinite(minute(doubted, 5)).mean() < 0.6
    assert np.isfinite(minute(read, 5)).mean() > 0.95
    assert np.nanmean(off(read.heart[0].values, gapped(), read.rate_hz)) < 1.0


def test_corners_told_by_hand_read_the_same_grid(image: Image, found: PaperReading) -> None:
    read = read_paper(image, SPEED_1, "strip", Corrections(corners=corners()))
    assert len(read.heart[0].values) == len(found.heart[0].values)
    assert np.nanmean(off(read.heart[0].values, gapped(), read.rate_hz)) < 1.0
    assert "The corners of the heart-rate paper were told by hand." in read.said


def test_corners_tell_which_part_of_the_paper_is_read(image: Image) -> None:
    """From the second minute to the fifth alone."""
    some = (at(1, 210), at(5, 210), at(5, 50), at(1, 50))
    read = read_paper(image, SPEED_1, "strip", Corrections(corners=some))
    assert len(read.heart[0].values) / read.rate_hz == pytest.approx(4 * 60, abs=1)
    assert np.nanmean(off(read.heart[0].values, gapped()[240:], read.rate_hz)) < 1.0


def _without_grid() -> Image:
    """The trace alone, no line of the grid printed."""
    look = replace(GREEN, fine=GREEN.paper, strong=GREEN.paper)
    return draw(gapped(), activity(MINUTES), RATE_HZ, look, DPI).image


def test_without_a_grid_four_corners_and_both_scales_are_asked_for_and_enough() -> None:
    image = _without_grid()
    with pytest.raises(RecordingError):
        read_paper(image, SPEED_1)
    told = Corrections(corners=corners())
    with pytest.raises(RecordingError, match="four corners alone: say its minutes"):
        read_paper(image, SPEED_1, "strip", told)
    answers = PaperAnswers(low=50, high=210, minutes=MINUTES)
    read = read_paper(image, answers, "strip", told)
    assert len(read.heart[0].values) / read.rate_hz == pytest.approx(MINUTES * 60, abs=1)
    assert np.nanmean(off(read.heart[0].values, gapped(), read.rate_hz)) < 1.5
    assert any("spread evenly between four corners" in words for words in read.said)


@pytest.mark.parametrize(
    "wrong",
    [
        Corrections(corners=((0, 0), (500, 0), (0, 500), (500, 500))),
        Corrections(corners=((0, 0), (500, 0), (500, 20), (0, 20))),
        Corrections(drawn=(Drawn(((float("nan"), 3.0),)),)),
        Corrections(erased=(Erased(((5000.0, 3.0),), 5),)),
        Corrections(drawn=(Drawn(((1.0, 1.0),)),) * 500),
    ],
)
def test_corrections_that_mean_nothing_are_refused(wrong: Corrections) -> None:
    with pytest.raises(RecordingError) as told:
        check_corrections(wrong, 1000, 700, "strip")
    assert told.value.remedy


def test_the_pens_way_is_told_to_less_than_its_width() -> None:
    """A round pen of 2.5 px radius: its way comes back better than by the middle of the stroke."""
    x = np.arange(200.0)
    turns = np.cumsum(np.random.default_rng(4).normal(0, 6, 26)) + 50
    way = np.interp(x, np.arange(26) * 8.0, turns)
    radius, fine = 2.5, np.arange(0, 199, 0.05)
    at_fine = np.interp(fine, x, way)
    upper, lower = np.empty(200), np.empty(200)
    for n in range(200):
        near = np.abs(fine - n) <= radius
        rise = np.sqrt(radius**2 - (fine[near] - n) ** 2)
        upper[n], lower[n] = (at_fine[near] - rise).min(), (at_fine[near] + rise).max()
    told = middle(upper, lower, radius)
    apart, plain = np.abs(told - way)[5:-5], np.abs((upper + lower) / 2 - way)[5:-5]
    assert np.isfinite(told).all()
    assert apart.mean() < 0.75 * plain.mean()
