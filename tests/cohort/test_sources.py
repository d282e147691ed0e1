"""Which files of a folder are recordings, and when one counts as changed."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from ebbline.cohort.sources import find_sources
from ebbline.errors import RecordingError


def test_a_wfdb_record_is_one_recording_with_its_signal_file(archive: Path):
    found = {one.recording: one for one in find_sources(str(archive))}
    assert set(found) == {"quiet/calm", "busy/late", "busy/short", "busy/broken"}
    assert [Path(name).suffix for name in found["quiet/calm"].files] == [".hea", ".dat"]


def test_a_glob_and_a_single_file_are_archives_too(archive: Path):
    assert [one.recording for one in find_sources(f"{archive}/*/*.csv")] == ["busy/short"]
    [single] = find_sources(str(archive / "quiet" / "calm.hea"))
    assert single.recording == "calm"


def test_a_signal_file_that_changes_changes_the_fingerprint(tmp_path: Path):
    (tmp_path / "a.hea").write_text("a 0")
    (tmp_path / "a.dat").write_bytes(b"1234")
    [before] = find_sources(str(tmp_path))
    os.utime(tmp_path / "a.dat", (1, 1))
    [after] = find_sources(str(tmp_path))
    assert before.fingerprint != after.fingerprint


def test_a_link_is_the_file_that_it_leads_to_and_a_broken_one_is_not_left_out(tmp_path: Path):
    kept, folder = tmp_path / "kept.csv", tmp_path / "linked"
    kept.write_text("x")
    folder.mkdir()
    (folder / "a.csv").symlink_to(kept)
    (folder / "gone.csv").symlink_to(tmp_path / "nowhere.csv")
    (folder / "b.csv").symlink_to(tmp_path, target_is_directory=True)
    before = {one.recording: one for one in find_sources(str(folder))}
    assert set(before) == {"a", "gone"}
    os.utime(kept, (1, 1))
    after = {one.recording: one for one in find_sources(f"{folder}/*.csv")}
    assert after["a"].fingerprint != before["a"].fingerprint
    assert after["gone"].fingerprint == before["gone"].fingerprint


def test_two_files_of_one_name_keep_their_endings(tmp_path: Path):
    for suffix in (".csv", ".edf"):
        (tmp_path / f"a{suffix}").write_text("x")
    assert [one.recording for one in find_sources(str(tmp_path))] == ["a.csv", "a.edf"]


@pytest.mark.parametrize("name", ["nowhere", "empty"])
def test_a_place_without_recordings_is_told(tmp_path: Path, name: str):
    (tmp_path / "empty").mkdir()
    with pytest.raises(RecordingError, match="there is no"):
        find_sources(str(tmp_path / name))
