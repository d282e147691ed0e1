"""Files are written whole or not at all, and never over what was read."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from ebbline.errors import RecordingError
from ebbline.recording import files as module
from ebbline.recording import files_read, save_recording
from ebbline.recording.files import write_files, written_whole
from recording.making import labour

WAYS = ("nameless", "by a passing name")


@pytest.fixture(params=WAYS)
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Both ways of writing: with files that have no name, and where there are none."""
    if request.param != WAYS[0]:
        monkeypatch.setattr(module, "_open_nameless", lambda directory: None)
    return str(request.param)


def test_a_file_gets_the_permissions_of_any_new_file(way: str, tmp_path: Path) -> None:
    old = os.umask(0o027)
    try:
        write_files({tmp_path / "a": b"x"})
    finally:
        os.umask(old)
    assert (tmp_path / "a").stat().st_mode & 0o777 == 0o640
    assert [p.name for p in tmp_path.iterdir()] == ["a"]


def test_a_file_is_replaced_only_where_that_is_allowed(way: str, tmp_path: Path) -> None:
    write_files({tmp_path / "a": b"old"})
    write_files({tmp_path / "a": b"new"})
    with pytest.raises(RecordingError, match="already"):
        write_files({tmp_path / "a": b"newer"}, replace=False)
    assert (tmp_path / "a").read_bytes() == b"new"


def test_a_file_that_came_meanwhile_is_not_replaced(way: str, tmp_path: Path) -> None:
    with (
        pytest.raises(RecordingError, match="already"),
        written_whole(tmp_path / "a", replace=False) as part,
    ):
        part.write_bytes(b"mine")
        (tmp_path / "a").write_bytes(b"somebody else's")
    assert (tmp_path / "a").read_bytes() == b"somebody else's"
    assert [p.name for p in tmp_path.iterdir()] == ["a"]


def test_of_several_files_none_appears_when_one_cannot_be_written(way: str, tmp_path: Path) -> None:
    (tmp_path / "b").mkdir()
    with pytest.raises(RecordingError, match="this is a directory"):
        write_files({tmp_path / "a": b"x", tmp_path / "b": b"y"})
    assert [p.name for p in tmp_path.iterdir()] == ["b"]


@pytest.mark.skipif(not hasattr(os, "O_TMPFILE"), reason="no files without a name here")
def test_a_kill_leaves_nothing_behind(tmp_path: Path) -> None:
    program = (
        "import sys, time\nfrom pathlib import Path\n"
        "from ebbline.recording.files import written_whole\n"
        f"with written_whole(Path({str(tmp_path / 'a.json')!r})) as part:\n"
        "    part.write_text('half')\n    print('ready', flush=True)\n    time.sleep(60)\n"
    )
    process = subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE)
    assert process.stdout is not None
    assert process.stdout.readline() == b"ready\n"
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert list(tmp_path.iterdir()) == []


def test_all_parts_of_a_record_are_known(tmp_path: Path) -> None:
    save_recording(labour(), tmp_path / "a.hea")
    assert {p.name for p in files_read(tmp_path / "a")} == {"a.hea", "a.dat"}
    (tmp_path / "m.hea").write_text("m/2 1 4 20\none 10\ntwo 10\n")
    (tmp_path / "one.hea").write_text("one 1 4 10\nodd.bin 16 100\n")
    found = {p.name for p in files_read(tmp_path / "m.hea")}
    assert found == {"m.hea", "m.dat", "one.hea", "two.hea", "odd.bin"}
