"""Strips on paper: what was drawn comes back; what the page does not tell is asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from bench.paper.camera import Shot, photograph
from bench.paper.draw import LOOKS, Drawn, draw
from numpy.typing import NDArray

from ebbline.errors import RecordingError
from ebbline.reading.analyse import read as analyse
from ebbline.reading.text import say
from ebbline.recording import ChannelKind, Recording, open_recording
from ebbline.recording.paper.figures import Printed, read_scale
from ebbline.recording.paper.flatten import Image, Plane
from ebbline.recording.paper.lattice import unwrapped
from ebbline.recording.paper.pictures import pictures_of
from ebbline.recording.paper.reading import (
    PaperTrace,
    _stilled,
    read_paper,
    read_papers,
    upright_papers,
)
from ebbline.recording.paper.rectify import FINEST_LINE
from ebbline.recording.paper.scale import PaperAnswers
from ebbline.recording.paper.timemarks import in_step
from ebbline.recording.paper.trace import other_pen

FloatArray = NDArray[np.float64]

RATE_HZ = 4.0
MINUTES = 12


def heart_rate(seed: int = 3, minutes: float = MINUTES) -> FloatArray:
    """A made-up trace: baseline, slow waves, two decelerations."""
    time_s = np.arange(0, minutes * 60, 1 / RATE_HZ)
    noise = np.random.default_rng(seed).normal(0, 1, len(time_s))
    smooth = np.convolve(noise, np.ones(24) / 24, "same") * 12
    dip = sum(-30 * np.exp(-(((time_s - at) / 25) ** 2)) for at in (150, 420))
    found: FloatArray = 138 + smooth + dip
    return found


def activity(minutes: float = MINUTES) -> FloatArray:
    time_s = np.arange(0, minutes * 60, 1 / RATE_HZ)
    found: FloatArray = 12 + 50 * np.maximum(0, np.sin(2 * np.pi * time_s / 200)) ** 3
    return found


def strip(fhr: FloatArray | None = None, look: str = "green") -> Drawn:
    fhr = heart_rate() if fhr is None else fhr
    return draw(fhr.copy(), activity(len(fhr) / RATE_HZ / 60), RATE_HZ, LOOKS[look], dpi=200)


def saved(image: Image, path: Path) -> Path:
    assert cv2.imwrite(str(path), image[:, :, ::-1])
    return path


@pytest.fixture(scope="session")
def scanned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A scan of twelve minutes with a gap in the fifth and sixth."""
    fhr = heart_rate()
    fhr[4 * 240 : 6 * 240] = np.nan
    shot = Shot(turn_deg=0.7, blur_px=0.5, noise=1.5, jpeg=92, table=245)
    image = photograph(strip(fhr).image, shot, np.random.default_rng(1))
    return saved(image, tmp_path_factory.mktemp("paper") / "scan.png")


@pytest.fixture(scope="session")
def read(scanned: Path) -> Recording:
    """The scan read back."""
    return open_recording(scanned, paper_speed=1)


def off(values: FloatArray, truth: FloatArray, rate_hz: float) -> FloatArray:
    """Distance of what was read from what was drawn, sample by sample."""
    times = round(RATE_HZ / rate_hz)
    drawn = truth[: len(truth) // times * times].reshape(-1, times).mean(axis=1)
    count = min(len(drawn), len(values))
    found: FloatArray = np.abs(values[:count] - drawn[:count])
    return found


def test_a_scan_gives_back_heart_rate_activity_and_times(read: Recording) -> None:
    heart = read.heart_rate()
    assert read.duration_s == pytest.approx(MINUTES * 60, abs=1)
    assert np.nanmean(off(heart.samples, heart_rate(), heart.rate_hz)) < 1.0
    below = read.first(ChannelKind.UTERINE_ACTIVITY)
    assert below is not None
    assert np.nanmean(off(below.samples, activity(), below.rate_hz)) < 2.0


def test_activity_that_moves_less_than_paper_tells_does_not_move() -> None:
    """A sensor that has come off writes a level line: its reading may not look like a measure."""
    restless = np.random.default_rng(2).normal(0, 0.2, 480)
    level = 10 + restless
    level[:200] += np.linspace(0, 20, 200)
    level[300] = np.nan
    trace = PaperTrace(level, level, level, level)
    found = _stilled(trace, 2.0).values
    assert np.ptp(found[210:300]) == 0
    assert np.ptp(found[301:]) == 0
    assert np.isnan(found[300])
    assert np.array_equal(found[:190], level[:190])


def with_activity(below: FloatArray, frame: bool = False) -> Image:
    """Twelve minutes with that activity; frame: with a dark line along its paper's highest one."""
    drawn = draw(heart_rate(), below, RATE_HZ, LOOKS["green"], dpi=200)
    if frame:
        px = drawn.dpi / 25.4
        top, left = round(drawn.image.shape[0] - 56 * px + px), round(16 * px)
        drawn.image[top : top + 6, left : drawn.image.shape[1] - left] = 20
    return drawn.image


def restless() -> FloatArray:
    """Activity that rests at 78 and is cut off at 100 a third of the time."""
    time_s = np.arange(0, MINUTES * 60, 1 / RATE_HZ)
    wave = np.maximum(0, np.sin(2 * np.pi * time_s / 200)) ** 1.2
    found: FloatArray = np.clip(78 + 45 * wave, 0, 100)
    return found


def test_activity_cut_off_at_its_highest_line_is_not_taken_for_the_frame() -> None:
    found = read_paper(with_activity(restless()), PaperAnswers(speed=1.0))
    assert found.activity is not None
    assert np.isfinite(found.activity.values).mean() > 0.97
    assert np.nanmean(off(found.activity.values, restless(), found.rate_hz)) < 2.0
    assert found.left_out == ()


def test_minutes_of_activity_read_with_doubt_are_told_beside_those_of_the_heart_rate() -> None:
    found = read_paper(with_activity(restless()), PaperAnswers(speed=1.0))
    assert found.activity is not None
    assert found.doubts == ()
    minute = (np.arange(len(found.activity.values)) / found.rate_hz // 60).astype(int)
    sure = [np.where(np.isin(minute, few), 0.3, 0.9) for few in ([6], [1, 2, 3])]
    heart, below = (
        replace(one, certainty=c)
        for one, c in zip((found.heart[0], found.activity), sure, strict=True)
    )
    assert replace(found, heart=(heart,), activity=below).doubts == (
        "Minute 7 was read in part or with doubt: check on the paper.",
        "Minutes 2 to 4 of the activity were read in part or with doubt: check on the paper.",
    )


@pytest.mark.parametrize("below", [restless(), np.full(MINUTES * 240, np.nan)])
def test_the_frame_is_never_read_as_activity_and_that_is_said_first(
    below: FloatArray, tmp_path: Path
) -> None:
    """A contraction that never ends, or none at all, would both be a danger unseen."""
    path = saved(with_activity(below, frame=True), tmp_path / "frame.png")
    recording = open_recording(path, paper_speed=1)
    channel = recording.first(ChannelKind.UTERINE_ACTIVITY)
    assert channel is None or np.isnan(channel.samples).all()
    assert recording.provenance.notes[0].startswith("From paper: Activity was not read")
    # On the terminal before any class.
    words = " ".join(say(analyse(recording), full=False).split())
    assert words.index("Activity was not read") < words.index("Class:")


def test_a_printed_line_is_not_read_as_activity_where_no_pen_has_written() -> None:
    below = restless()
    below[: 8 * 240] = np.nan
    found = read_paper(with_activity(below), PaperAnswers(speed=1.0))
    assert found.activity is not None
    assert np.isnan(found.activity.values[: round(470 * found.rate_hz)]).all()
    assert found.left_out == ("Minutes 1 to 8 show no activity.",)
    none = read_paper(with_activity(np.full(len(below), np.nan)), PaperAnswers(speed=1.0))
    assert none.left_out == ("Activity was not read: no trace was found on its paper.",)
    assert none.extent == "Read of 12 minutes: heart rate 12, activity none."


def test_a_printed_line_is_not_read_as_heart_rate_where_no_pen_has_written() -> None:
    nothing = draw(np.full(MINUTES * 240, np.nan), restless(), RATE_HZ, LOOKS["green"], dpi=200)
    with pytest.raises(RecordingError, match="no trace was found"):
        read_paper(nothing.image, PaperAnswers(speed=1.0))


def test_a_picture_finer_than_the_pen_needs_is_laid_flat_smaller_and_over_its_trace() -> None:
    image = draw(heart_rate(), activity(), RATE_HZ, LOOKS["green"], dpi=600).image
    found = read_paper(image, PaperAnswers(speed=1.0))
    assert found.papers[0].flat.down == pytest.approx(FINEST_LINE)
    [heart] = found.heart
    assert np.nanmean(off(heart.values, heart_rate(), found.rate_hz)) < 1.0
    there = np.isfinite(heart.values) & np.isfinite(heart.x)
    rows, columns = (np.round(one[there]).astype(int) for one in (heart.y, heart.x))
    # Black beneath what was read, on the picture as it came.
    assert np.mean(image[rows, columns].max(axis=1) < 100) > 0.9


def test_missing_ink_is_missing_signal(read: Recording) -> None:
    heart = read.heart_rate()
    within = heart.samples[round(245 * heart.rate_hz) : round(355 * heart.rate_hz)]
    assert np.isnan(within).all()
    around = heart.samples[: round(235 * heart.rate_hz)]
    assert np.isfinite(around).mean() > 0.97


def test_a_reading_from_paper_says_so_minute_by_minute(read: Recording) -> None:
    notes = " ".join(read.provenance.notes)
    for said in (
        "Read from paper",
        "short-term variation is not assessed",
        "Certainty of each minute",
        "From paper: Minutes 5, 6 show no heart rate.",
        "30 s apart",
    ):
        assert said in notes


def test_a_photograph_held_aslant_gives_the_same(tmp_path: Path) -> None:
    shot = Shot(
        tilt_deg=12, pan_deg=-8, turn_deg=2, curl=0.01, light=0.3, blur_px=0.7, noise=2, jpeg=88
    )
    image = photograph(strip().image, shot, np.random.default_rng(2))
    found = open_recording(saved(image, tmp_path / "photo.jpg"), paper_speed=1)
    heart = found.heart_rate()
    assert found.duration_s == pytest.approx(MINUTES * 60, abs=1)
    assert np.nanmean(off(heart.samples, heart_rate(), heart.rate_hz)) < 2.0


def folded(share: float) -> Image:
    """A strip with a fold at its middle, so high as a share of the picture."""
    image = strip().image
    tall, wide = image.shape[:2]
    x, y = np.meshgrid(np.arange(wide, dtype=np.float32), np.arange(tall, dtype=np.float32))
    y += np.float32(share * tall) * np.maximum(0, 1 - np.abs(x / wide - 0.5) / 0.05)
    return np.asarray(cv2.remap(image, x, y.astype(np.float32), cv2.INTER_LINEAR), np.uint8)


def test_a_shallow_fold_is_laid_flat() -> None:
    found = read_paper(folded(0.01), PaperAnswers(speed=1.0))
    apart = off(found.heart[0].values, heart_rate(), found.rate_hz)
    middle = len(apart) // 2
    assert np.nanmean(apart[middle - 60 : middle + 60]) < 1.0


def test_a_fold_over_which_lines_cannot_be_told_is_a_doubt() -> None:
    found = read_paper(folded(0.03), PaperAnswers(speed=1.0))
    apart = off(found.heart[0].values, heart_rate(), found.rate_hz)
    size = round(60 * found.rate_hz)
    wrong = [n for n in range(12) if np.nanmean(apart[n * size : (n + 1) * size]) > 2]
    assert wrong
    assert all(found.minutes[n] < 0.5 for n in wrong)
    assert [one for one in found.said if "not followed surely" in one]
    assert found.minutes[[0, 1, 10, 11]].min() > 0.9


def test_speed_is_asked_for_never_guessed(scanned: Path) -> None:
    with pytest.raises(RecordingError, match=r"--paper-speed 1, 2 or 3"):
        open_recording(scanned)


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ({"paper_speed": 4}, "--paper-speed"),
        ({"paper_speed": 1, "paper_low": 50}, "--paper-range"),
        ({"paper_speed": 1, "paper_low": 210, "paper_high": 50}, "--paper-range"),
        ({"paper_line_s": 0}, "--paper-line"),
        ({"paper_speed": 1, "paper_traces": 3}, "--paper-traces"),
    ],
)
def test_answers_that_no_paper_has_are_refused(
    options: dict[str, float], told: str, scanned: Path
) -> None:
    with pytest.raises(RecordingError, match=told):
        open_recording(scanned, **options)


def test_a_range_that_the_printed_numbers_deny_is_refused(scanned: Path) -> None:
    """A wrong scale is worse than a refusal."""
    with pytest.raises(RecordingError, match=r"printed beside the paper tell 50 to 210"):
        open_recording(scanned, paper_speed=1, paper_low=30, paper_high=240)


def test_a_speed_at_which_no_paper_has_such_lines_is_refused(tmp_path: Path) -> None:
    """10 bpm in 0.5 cm and upright lines 0.62 cm apart are no paper's."""
    image = strip().image
    wider = cv2.resize(image, None, fx=1.25, fy=1.0)
    with pytest.raises(RecordingError, match="--paper-line"):
        open_recording(saved(np.asarray(wider), tmp_path / "wide.png"), paper_speed=1)


def test_numbers_cut_off_are_asked_for(tmp_path: Path) -> None:
    image = strip().image
    px = 200 / 2.54
    cut = image[:, round(1.45 * px) : -round(1.45 * px)]
    path = saved(cut, tmp_path / "cut.png")
    with pytest.raises(RecordingError, match="--paper-range"):
        open_recording(path, paper_speed=1)


def _blank(tmp_path: Path) -> Path:
    return saved(np.full((900, 1400, 3), 250, np.uint8), tmp_path / "blank.png")


def _noise(tmp_path: Path) -> Path:
    noise = np.random.default_rng(5).integers(0, 255, (500, 800, 3), dtype=np.uint8)
    return saved(noise, tmp_path / "noise.png")


def _no_trace(tmp_path: Path) -> Path:
    return saved(strip(np.full(12 * 240, np.nan)).image, tmp_path / "empty.png")


def _damaged(tmp_path: Path) -> Path:
    path = tmp_path / "damaged.png"
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(99))
    return path


@pytest.mark.parametrize("make", [_blank, _noise, _no_trace, _damaged])
def test_what_cannot_be_read_is_refused_with_a_reason(
    make: Callable[[Path], Path], tmp_path: Path
) -> None:
    with pytest.raises(RecordingError) as told:
        open_recording(make(tmp_path), paper_speed=1)
    assert told.value.remedy


def test_a_speed_that_the_printed_times_deny_is_refused(tmp_path: Path) -> None:
    """Paper of 3 cm/min with a time every two minutes, told to be of 1 cm/min."""
    path = saved(strip(look="orange").image, tmp_path / "fast.png")
    with pytest.raises(RecordingError, match="which is not 1 cm/min, as told, but 3"):
        open_recording(path, paper_speed=1)


def test_a_picture_on_its_head_is_turned_whatever_range_is_told(tmp_path: Path) -> None:
    """Read as it stands, time would run backwards and a fall be a rise."""
    path = saved(np.ascontiguousarray(strip().image[::-1, ::-1]), tmp_path / "head.png")
    found = open_recording(path, paper_speed=1, paper_low=50, paper_high=210)
    heart = found.heart_rate()
    assert np.nanmean(off(heart.samples, heart_rate(), heart.rate_hz)) < 1.0
    assert "turned by half a turn" in " ".join(found.provenance.notes)


def test_a_picture_on_its_side_is_turned_and_laid_over_where_its_trace_is() -> None:
    image = np.ascontiguousarray(np.rot90(strip().image))
    found = read_paper(image, PaperAnswers(speed=1.0))
    heart = found.heart[0]
    assert np.nanmean(off(heart.values, heart_rate(), found.rate_hz)) < 1.0
    there = np.isfinite(heart.x)
    x, y = (np.round(one[there]).astype(int) for one in (heart.x, heart.y))
    assert np.median(image[y, x].max(axis=1)) < 100


def test_a_coloured_line_longer_than_the_trace_is_not_taken_for_it() -> None:
    """A dashed baseline may run on where a short trace has ended: black ink is never left out."""
    share = np.zeros((60, 200), np.float32)
    share[20:24, :50] = 1.0
    share[40:44, ::2] = 1.0
    black = share.copy()
    black[40:44] *= 0.5
    assert not other_pen(share, share, black)[20:24, :50].any()


def test_a_mirror_image_is_refused_whatever_range_is_told(tmp_path: Path) -> None:
    path = saved(np.ascontiguousarray(strip().image[:, ::-1]), tmp_path / "mirror.png")
    with pytest.raises(RecordingError, match="mirror image"):
        open_recording(path, paper_speed=1, paper_low=50, paper_high=210)


def beside(numbers: dict[int, int], dark: float = 1.0) -> Plane:
    """Numbers in print at some level lines, 40 px from one to the next, right of a dark table."""
    ink = np.zeros((40 * 20, 200), np.uint8)
    ink[:, :40] = 255
    shade = round(255 * dark)
    for line, value in numbers.items():
        place = (90, 40 * line + 6)
        cv2.putText(ink, str(value), place, cv2.FONT_HERSHEY_SIMPLEX, 0.6, shade, 2, cv2.LINE_AA)
    return ink.astype(np.float32) / 255


def test_numbers_that_look_alike_in_a_mirror_are_no_mirror_image() -> None:
    """001, 011 and 081 are as evenly in step as 100, 110 and 180, but no paper prints them."""
    upright = beside({4: 180, 11: 110, 12: 100})
    for turned in (upright[:, ::-1], upright[::-1], upright[::-1, ::-1]):
        assert read_scale(np.ascontiguousarray(turned), slice(None), 0.0, 40.0) is None
    found = read_scale(upright, slice(None), 0.0, 40.0)
    assert found is not None
    assert (found.first, found.step) == (220.0, -10.0)


def test_numbers_paler_than_a_dark_table_are_read() -> None:
    found = read_scale(beside({2: 200, 4: 180, 6: 160, 8: 140}, 0.4), slice(None), 0.0, 40.0)
    assert found is not None
    assert (found.first, found.step, found.agreed) == (220.0, -10.0, 4)


def test_grey_of_sixteen_bits_and_clear_ground_are_seen_as_they_look(tmp_path: Path) -> None:
    grey = np.linspace(0, 65535, 256).astype(np.uint16).reshape(16, 16)
    assert cv2.imwrite(str(tmp_path / "deep.png"), grey)
    [seen] = pictures_of(tmp_path / "deep.png")
    assert np.abs(seen[:, :, 0].astype(int) - grey // 257).max() <= 1
    assert cv2.imwrite(str(tmp_path / "clear.png"), np.zeros((8, 8, 4), np.uint8))
    [ground] = pictures_of(tmp_path / "clear.png")
    assert (ground == 255).all()


def test_two_strips_on_one_page_are_not_read_as_one(tmp_path: Path) -> None:
    """Their times begin anew, and their traces differ: how they follow is not guessed."""
    page = np.vstack([strip().image, strip(heart_rate(9)).image])
    path = saved(page, tmp_path / "two.png")
    with pytest.raises(RecordingError, match="strip 2 of 2"):
        open_recording(path, paper_speed=1)


def test_a_trace_that_runs_on_beyond_the_last_line_is_told_as_cut_off() -> None:
    """Missing signal never reassures: an end that was lost may not look like the strip's end."""
    answers = PaperAnswers(speed=1.0)
    paper = upright_papers(strip().image, "strip")[0]
    assert not [one for one in read_papers([paper], answers, "strip").left_out if "runs on" in one]
    first, last, top, bottom = paper.lines
    for lines, where in (
        ((first, last - 3, top, bottom), "beyond the last line"),
        ((first + 3, last, top, bottom), "before the first line"),
    ):
        said = read_papers([replace(paper, lines=lines)], answers, "strip").left_out
        assert [one for one in said if "runs on" in one and where in one]


def test_a_trace_that_leaves_the_picture_is_said_to_go_on_outside_it() -> None:
    """How long it goes on there nobody sees: no number of seconds is invented."""
    image = strip().image
    px = 200 / 2.54
    cut = np.ascontiguousarray(image[:, : round((1.6 + 0.5 * 16.3) * px)])
    said = read_paper(cut, PaperAnswers(speed=1.0)).cut_off[1]
    assert "reaches the picture's edge and goes on outside it" in said
    assert " s " not in said
    beyond = read_paper(cut, PaperAnswers(speed=1.0)).papers[0].flat
    assert not beyond.black[beyond.outside].any()


def test_a_speed_that_three_printed_times_deny_is_asked_for() -> None:
    """Six minutes of 3 cm/min hold few times: told to be of 1 cm/min they are not believed."""
    image = strip(heart_rate(minutes=6), look="orange").image
    with pytest.raises(RecordingError, match="which is not 1 cm/min, as told, but 3"):
        read_paper(image, PaperAnswers(speed=1.0))


def test_a_speed_that_hardly_any_printed_time_confirms_is_a_doubt(read: Recording) -> None:
    assert "Too few times printed along the paper" in " ".join(read.provenance.notes)
    image = strip(heart_rate(minutes=8)).image
    said = " ".join(read_paper(image, PaperAnswers(speed=1.0)).said)
    assert "No times printed along the paper confirm that speed" in said


def test_a_speed_that_two_printed_times_deny_is_asked_for() -> None:
    with pytest.raises(RecordingError, match=r"two times .* tell 1 cm/min, not 2 cm/min"):
        read_paper(strip().image, PaperAnswers(speed=2.0))


def test_a_picture_that_is_light_on_dark_is_read_and_said_to_be() -> None:
    found = read_paper(255 - strip().image, PaperAnswers(speed=1.0))
    assert np.nanmean(off(found.heart[0].values, heart_rate(), found.rate_hz)) < 1.0
    assert [one for one in found.said if "light on dark" in one]


def test_a_copy_of_one_bit_is_refused_with_why() -> None:
    grey = draw(heart_rate(), activity(), RATE_HZ, LOOKS["black"], dpi=200).image[:, :, 0]
    image = np.repeat(np.where(grey > 150, 255, 0).astype(np.uint8)[:, :, None], 3, axis=2)
    with pytest.raises(RecordingError, match="black and white alone") as told:
        read_paper(image, PaperAnswers(speed=3.0))
    assert "in grey or in colour" in (told.value.remedy or "")


def test_nothing_read_from_a_copy_of_one_bit_is_sure() -> None:
    """Its grid is as dark as its trace: a level line may hide a fall."""
    grey = strip().image.min(axis=2)
    image = np.repeat(np.where(grey > 225, 255, 0).astype(np.uint8)[:, :, None], 3, axis=2)
    found = read_paper(image, PaperAnswers(speed=1.0))
    assert [one for one in found.said if "black and white alone" in one]
    assert found.minutes.max() < 0.5


def test_a_picture_of_a_screen_with_moire_is_refused_not_failed() -> None:
    image = cv2.resize(strip().image, None, fx=0.6, fy=0.6, interpolation=cv2.INTER_AREA)
    y, x = np.mgrid[: image.shape[0], : image.shape[1]]
    wavy = image * (0.9 + 0.1 * np.sin(1.9 * x + 0.1 * y))[:, :, None]
    try:
        found = read_paper(np.clip(wavy, 0, 255).astype(np.uint8), PaperAnswers(speed=1.0))
    except RecordingError as error:
        assert error.remedy
    else:
        assert np.nanmean(off(found.heart[0].values, heart_rate(), found.rate_hz)) < 2.0


@pytest.mark.parametrize("pen", [(30, 40, 160), (150, 30, 40)])
def test_a_coloured_pen_that_runs_on_is_told_as_cut_off(pen: tuple[int, int, int]) -> None:
    """Missing signal never reassures, whatever the pen's colour."""
    coloured = replace(LOOKS["green"], ink=pen)
    image = draw(heart_rate(), activity(), RATE_HZ, coloured, dpi=200).image
    answers = PaperAnswers(speed=1.0)
    paper = upright_papers(image, "strip")[0]
    assert not [one for one in read_papers([paper], answers, "strip").left_out if "runs on" in one]
    first, last, top, bottom = paper.lines
    cut = replace(paper, lines=(first, last - 3, top, bottom))
    assert [
        one for one in read_papers([cut], answers, "strip").left_out if "beyond the last" in one
    ]


def test_a_phase_that_is_no_number_is_met_once() -> None:
    """Lines that run off to infinity must not be looked at for ever: the memory would run out."""
    phase, strength = np.zeros((4, 5)), np.ones((4, 5))
    phase[2, 2:4] = np.nan
    found = unwrapped(phase, strength)
    assert np.array_equal(np.isnan(found), np.isnan(phase))


def test_times_out_of_step_tell_nothing() -> None:
    """Numbers that agree on no speed are words, not times."""
    told = [Printed(10.0 * n, 20.0 * n) for n in range(4)]
    found = in_step([*told, Printed(59.0, 3.0), Printed(7.0, 41.0)])
    assert found is not None
    assert found.agreed == 4
    assert found.per_line == pytest.approx(0.5)
    assert in_step([Printed(7.0, 0.0), Printed(3.0, 20.0), Printed(55.0, 31.0)]) is None


def test_handwriting_is_left_out_not_read_as_heart_rate(tmp_path: Path) -> None:
    """A loop of pen beside the trace: what is read is the trace, or missing."""
    image = strip().image.copy()
    t = np.linspace(0, 6 * np.pi, 160)
    loop = np.column_stack([700 + 14 * (t * 0.7 + np.sin(2.1 * t)), 500 + 20 * np.cos(1.3 * t)])
    cv2.polylines(image, [np.round(loop).astype(np.int32)], False, (20, 20, 40), 3, cv2.LINE_AA)
    heart = open_recording(saved(image, tmp_path / "written.png"), paper_speed=1).heart_rate()
    wrong = off(heart.samples, heart_rate(), heart.rate_hz) > 15
    assert wrong.mean() < 0.01
    assert np.isfinite(heart.samples).mean() > 0.6


def test_twins_are_two_traces(tmp_path: Path) -> None:
    first, second = heart_rate(), heart_rate(seed=8) * 0.5 + 95
    image = strip(first).image
    both = np.minimum(image, strip(second).image)
    found = open_recording(saved(both, tmp_path / "twins.png"), paper_speed=1, paper_traces=2)
    assert found.fetuses == (1, 2)
    means = sorted(float(np.nanmedian(found.heart_rate(n).samples)) for n in (1, 2))
    assert means == pytest.approx(sorted([np.median(first), np.median(second)]), abs=3)


def test_twins_whose_traces_cross_may_have_changed_places() -> None:
    """Two lines of one ink that cross do not tell which goes on as which."""
    first = heart_rate(minutes=8)
    second = 2 * 138 - first + np.linspace(-25, 25, len(first))
    both = np.minimum(strip(first).image, strip(second).image)
    found = read_paper(both, PaperAnswers(speed=1.0, fetuses=2))
    assert [one for one in found.said if "may have changed places" in one]
    alone = read_paper(both, PaperAnswers(speed=1.0))
    assert [one for one in alone.left_out if "--paper-traces 2" in one]


def test_twins_that_keep_apart_are_told_without_that_doubt() -> None:
    both = np.minimum(strip(heart_rate()).image, strip(heart_rate(8) * 0.3 + 135).image)
    found = read_paper(both, PaperAnswers(speed=1.0, fetuses=2))
    assert not [one for one in found.said if "changed places" in one]


def test_two_traces_are_not_made_of_one(scanned: Path) -> None:
    with pytest.raises(RecordingError, match="only one heart-rate trace"):
        open_recording(scanned, paper_speed=1, paper_traces=2)


def test_overlapping_shots_are_joined_by_what_they_share(tmp_path: Path) -> None:
    fhr = heart_rate(minutes=20)
    parts = [fhr[: 12 * 240], fhr[9 * 240 :]]
    paths = [saved(strip(one).image, tmp_path / f"shot{n}.png") for n, one in enumerate(parts)]
    found = open_recording(paths[0], paper_speed=1, paper_more=paths[1:])
    heart = found.heart_rate()
    assert found.duration_s == pytest.approx(20 * 60, abs=1)
    assert np.nanmean(off(heart.samples, fhr, heart.rate_hz)) < 1.0


def test_shots_that_share_nothing_are_not_joined(tmp_path: Path) -> None:
    paths = [saved(strip(heart_rate(seed)).image, tmp_path / f"shot{seed}.png") for seed in (3, 9)]
    with pytest.raises(RecordingError, match="cannot be joined"):
        open_recording(paths[0], paper_speed=1, paper_more=paths[1:])


def test_a_page_of_a_pdf_is_read_as_a_picture_is(tmp_path: Path) -> None:
    from PIL import Image as Pillow

    path = tmp_path / "page.pdf"
    Pillow.fromarray(strip().image).save(path, resolution=200.0)
    heart = open_recording(path, paper_speed=1).heart_rate()
    assert np.nanmean(off(heart.samples, heart_rate(), heart.rate_hz)) < 1.0
