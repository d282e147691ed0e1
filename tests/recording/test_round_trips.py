"""What is written in any format is read back: samples, gaps, rates, twins, and what is known."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from ebbline.recording import Recording, open_recording, save_recording
from recording.making import assert_same, labour, recordings
from shared_data import CTU_UHB, needs_ctu_uhb

SUFFIXES = (".hea", ".edf", ".csv", ".tsv", ".parquet", ".json")
few = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_everything_known_of_a_labour_survives_a_round_trip(suffix: str, tmp_path: Path) -> None:
    saved = save_recording(labour(), tmp_path / f"made{suffix}")
    assert saved.losses == ()
    assert all(path.is_file() for path in saved.files)
    again = open_recording(saved.files[-1])
    assert_same(labour(), again)
    assert "made for a test." in again.provenance.notes
    assert [c.label for c in again.channels] == ["FHR1", "FHR2", "UC", "MHR"]


@needs_ctu_uhb
@pytest.mark.parametrize("suffix", SUFFIXES)
def test_real_recordings_survive_a_round_trip_without_loss(suffix: str, tmp_path: Path) -> None:
    """CTU-UHB Intrapartum Cardiotocography Database (Chudacek V, et al. 2014), every 46th."""
    for header in sorted(CTU_UHB.glob("*.hea"))[::46]:
        recording = open_recording(header)
        assert save_recording(recording, tmp_path / f"real{suffix}").losses == ()
        assert_same(recording, open_recording(tmp_path / f"real{suffix}"))


@pytest.mark.parametrize("suffix", SUFFIXES)
@few
@given(recording=recordings())
def test_any_pattern_of_gaps_and_rates_survives_a_round_trip(
    suffix: str, tmp_path: Path, recording: Recording
) -> None:
    path = tmp_path / f"made{suffix}"
    saved = save_recording(recording, path)
    assert saved.losses == tuple(
        f"the heart rate of fetus {c.fetus} has no usable sample."
        for c in recording.channels
        if c.fetus > 1 and (c.samples != c.samples).all()
    )
    assert_same(recording, open_recording(path))
