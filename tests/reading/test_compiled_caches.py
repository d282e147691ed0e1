"""Compiled loops are kept where they can be, and nowhere is no reason to fail."""

from __future__ import annotations

import os
import shutil
import stat
import subprocess
import sys
from pathlib import Path

import pytest

KERNEL = """
import numpy as np
from ebbline.compiled import compiled_here, kernel, places


@kernel
def total(values):
    found = 0.0
    for one in values:
        found += one
    return found


if __name__ == "__main__":
    import ebbline.house
    print(ebbline.house.total(np.ones(3)), compiled_here())
    print(*places())
"""


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """A package with one loop, as if it were installed for everybody."""
    made = tmp_path / "installed" / "ebbline"
    made.mkdir(parents=True)
    ours = Path(__file__).parents[2] / "src" / "ebbline"
    shutil.copy(ours / "compiled.py", made / "compiled.py")
    (made / "__init__.py").write_text("")
    (made / "house.py").write_text(KERNEL)
    return made


def run(house: Path, home: Path, **more: str) -> subprocess.CompletedProcess[str]:
    bare = {"PATH": os.environ["PATH"], "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(
        [sys.executable, str(house / "house.py")],
        capture_output=True,
        text=True,
        check=True,
        env={**bare, "PYTHONPATH": str(house.parent), "HOME": str(home), **more},
    )


def no_writing(folder: Path) -> None:
    """Not even root writes into a file in place of a folder."""
    shutil.rmtree(folder / "__pycache__", ignore_errors=True)
    (folder / "__pycache__").write_text("")


def test_what_is_compiled_beside_the_modules_is_compiled_once_unless_spoiled(
    house: Path, tmp_path: Path
) -> None:
    first, then = run(house, tmp_path), run(house, tmp_path)
    assert first.stdout.split()[:2] == ["3.0", "1"]
    assert "compiling for this computer" in first.stderr
    assert then.stdout.split()[:2] == ["3.0", "0"]
    assert then.stderr == ""
    for kept in (house / "__pycache__").glob("house.total*"):
        kept.write_bytes(b"spoiled")
    assert run(house, tmp_path).stdout.split()[:2] == ["3.0", "1"], "a spoiled cache is none"


def test_who_may_not_write_the_installation_keeps_a_cache_of_their_own(
    house: Path, tmp_path: Path
) -> None:
    no_writing(house)
    first, then = run(house, tmp_path), run(house, tmp_path)
    assert first.stdout.split()[1] == "1"
    assert then.stdout.split()[1] == "0"
    assert str(tmp_path / ".cache" / "ebbline") in then.stdout
    assert stat.S_IMODE((tmp_path / ".cache" / "ebbline").stat().st_mode) == 0o700


def test_a_service_manager_gives_the_cache_of_a_user_without_a_home(
    house: Path, tmp_path: Path
) -> None:
    no_writing(house)
    given = tmp_path / "var-cache"
    given.mkdir()
    said = run(house, Path("/dev/null/nobody"), CACHE_DIRECTORY=str(given))
    assert str(given) in said.stdout


def test_without_any_place_it_runs_and_says_so_once(house: Path, tmp_path: Path) -> None:
    no_writing(house)
    nowhere = "/dev/null/nowhere"
    # The temporary directory's own entry is taken by a file.
    (tmp_path / f"ebbline-{os.getuid()}").write_text("")
    done = run(house, Path(nowhere), TMPDIR=str(tmp_path), XDG_CACHE_HOME=nowhere)
    assert done.stdout.split()[:2] == ["3.0", "1"]
    assert done.stderr.count("cannot be kept") == 1
    assert "Traceback" not in done.stderr


def test_what_others_compiled_is_read_where_nothing_can_be_written(
    house: Path, tmp_path: Path
) -> None:
    """Compiled ahead by whoever installed; root may write everywhere, so the probe that asks
    whether a folder can be written is made to fail."""
    run(house, tmp_path)
    nowhere = "/dev/null/nowhere"
    (tmp_path / f"ebbline-{os.getuid()}").write_text("")
    done = run(
        house, Path(nowhere), TMPDIR=str(tmp_path), XDG_CACHE_HOME=nowhere, NOTHING_WRITTEN="1"
    )
    assert done.stdout.split()[:2] == ["3.0", "0"]
    assert done.stderr == ""
