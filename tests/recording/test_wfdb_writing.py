"""Writing WFDB records, checked by reading them with the `wfdb` library."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import wfdb

from ebbline.errors import RecordingError
from ebbline.recording import Channel, open_recording, save_recording
from recording.making import ACTIVITY, FETAL, labour, plain


def test_library_reads_the_same_samples_rates_units_and_start(tmp_path: Path) -> None:
    recording = labour()
    save_recording(recording, tmp_path / "made.hea")
    theirs = wfdb.rdrecord(str(tmp_path / "made"), smooth_frames=False)
    assert theirs.sig_name == ["FHR1", "FHR2", "UC", "MHR"]
    assert theirs.units == ["bpm", "bpm", "mmHg", "bpm"]
    assert theirs.fs == 1 and theirs.samps_per_frame == [4, 4, 1, 4]
    assert theirs.base_datetime.isoformat() == "2031-03-09T23:58:01.250000"
    for channel, samples in zip(recording.channels, theirs.e_p_signal, strict=True):
        np.testing.assert_array_equal(channel.samples, samples)
    assert "Gest. weeks: 37" in theirs.comments


def test_library_finds_the_checksums_right(tmp_path: Path) -> None:
    save_recording(labour(), tmp_path / "made.hea")
    theirs = wfdb.rdrecord(str(tmp_path / "made"), physical=False, smooth_frames=False)
    told = wfdb.rdheader(str(tmp_path / "made")).checksum
    found = theirs.calc_checksum(expanded=True)
    assert [(a - b) % 65536 for a, b in zip(told, found, strict=True)] == [0, 0, 0, 0]


def test_rounding_is_said(tmp_path: Path) -> None:
    saved = save_recording(plain([60000 / 431, 140.0]), tmp_path / "r.hea")
    assert len(saved.losses) == 1
    assert "FHR: samples were rounded, by at most 0.00" in saved.losses[0]


@pytest.mark.parametrize("largest", [0.02, 3.0, 120.0, 5000.0, 1e9])
def test_activity_of_any_scale_keeps_four_figures(largest: float, tmp_path: Path) -> None:
    activity = np.linspace(0, largest, 50)
    recording = plain([140.0] * 50)
    channels = (*recording.channels, Channel(ACTIVITY, activity, 4.0, unit="nd"))
    save_recording(replace(recording, channels=channels), tmp_path / "r.hea")
    again = open_recording(tmp_path / "r").channels[1].samples
    assert np.abs(again - activity).max() <= largest / 5000 + 5e-5


def test_rates_without_a_common_frame_are_refused(tmp_path: Path) -> None:
    recording = replace(
        plain([140.0] * 9),
        channels=(
            Channel(FETAL, np.full(9, 140.0), 3.14159, fetus=1),
            Channel(ACTIVITY, np.full(9, 10.0), 2.71828),
        ),
    )
    with pytest.raises(RecordingError, match=r"WFDB cannot hold channels with the rates 3\.14159"):
        save_recording(recording, tmp_path / "r.hea")
    assert list(tmp_path.iterdir()) == []


def test_name_that_wfdb_does_not_allow_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match=r"cannot be the name of a WFDB record\. Use letters"):
        save_recording(labour(), tmp_path / "two words.hea")
