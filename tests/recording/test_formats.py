"""The registry of formats: every line keeps the same promises."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import pytest

from ebbline.errors import MissingExtraError, RecordingError, UnforeseenError
from ebbline.extras import EXTRA_OF, missing_extra
from ebbline.recording import Context, Recording, open_recording, registry, save_recording
from ebbline.recording.model import Encoded
from ebbline.recording.registry import FORMATS, Format, files_read
from ebbline.terms import SensorKind
from recording.conformance import check_writer
from recording.making import labour, plain

ROOT = Path(__file__).parents[2]
WRITTEN = [(one, suffix) for one in FORMATS if one.writes for suffix in one.suffixes]
NAMES = [f"{one.name} {suffix}" for one, suffix in WRITTEN]


@pytest.mark.parametrize(("made", "suffix"), WRITTEN, ids=NAMES)
def test_every_writer_keeps_rates_context_gaps_and_remarks(
    made: Format, suffix: str, tmp_path: Path
) -> None:
    check_writer(made, tmp_path / f"whole{suffix}")


class Lossy(ModuleType):
    """A format that changes a recording before it is written, and says nothing."""

    def __init__(self, harm: Callable[[Recording], Recording]) -> None:
        super().__init__("lossy")
        self._harm = harm

    def read(self, path: Path) -> Recording:
        return JSON.reader().read(path)

    def encode(self, recording: Recording, path: Path) -> Encoded:
        return JSON.writer().encode(self._harm(recording), path)


JSON = next(one for one in FORMATS if one.name == "JSON")
HARMS: dict[str, Callable[[Recording], Recording]] = {
    "rate": lambda r: replace(r, channels=tuple(replace(c, rate_hz=4.0) for c in r.channels)),
    "context": lambda r: replace(r, context=Context()),
    "start": lambda r: replace(r, start=None),
    "sensor": lambda r: replace(
        r, channels=tuple(replace(c, sensor=SensorKind.UNKNOWN) for c in r.channels)
    ),
    "annotations": lambda r: replace(r, annotations=()),
    "notes": lambda r: replace(r, provenance=replace(r.provenance, notes=())),
    "last sample": lambda r: replace(
        r, channels=tuple(replace(c, samples=c.samples[:-1]) for c in r.channels)
    ),
    "decimals": lambda r: replace(
        r, channels=tuple(replace(c, samples=c.samples.round()) for c in r.channels)
    ),
}


@pytest.mark.parametrize("harm", HARMS)
def test_a_writer_that_drops_something_does_not_conform(
    harm: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lossy = Lossy(HARMS[harm])
    made = replace(JSON, module="lossy")
    real = registry.importlib.import_module
    monkeypatch.setattr(
        registry.importlib,
        "import_module",
        lambda name: lossy if name.endswith(".lossy") else real(name),
    )
    with pytest.raises(AssertionError):
        check_writer(made, tmp_path / "whole.json")


@pytest.mark.parametrize("suffix", [suffix for one in FORMATS for suffix in one.suffixes])
def test_no_two_formats_claim_a_suffix_and_the_documentation_names_it(suffix: str) -> None:
    assert sum(suffix in one.suffixes for one in FORMATS) == 1
    assert f"`{suffix}`" in (ROOT / "docs" / "formats.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(("made", "suffix"), WRITTEN, ids=NAMES)
def test_what_is_there_stays_when_it_may_not_be_replaced(
    made: Format, suffix: str, tmp_path: Path
) -> None:
    path = tmp_path / f"r{suffix}"
    files = save_recording(labour(), path, replace=False).files
    before = {file: file.read_bytes() for file in files}
    with pytest.raises(RecordingError, match=r"there (?:is|are) such"):
        save_recording(plain([140.0] * 9), path, replace=False)
    assert {file: file.read_bytes() for file in files} == before
    assert sorted(tmp_path.iterdir()) == sorted(files)
    assert set(files) <= {*files_read(path)}


def test_a_format_that_is_only_read_says_so_and_takes_its_own_options(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    picture = ModuleType("picture")
    picture.read = lambda path, speed=3: plain([100.0 + speed])  # type: ignore[attr-defined]
    monkeypatch.setattr(registry.importlib, "import_module", lambda name: picture)
    one = Format("photographed paper", (".jpg",), "picture", writes=False)
    monkeypatch.setitem(registry._BY_SUFFIX, ".jpg", one)
    assert open_recording(tmp_path / "a.jpg", speed=1).channels[0].samples[0] == 101
    assert open_recording(tmp_path / "a.jpg").channels[0].samples[0] == 103
    with pytest.raises(RecordingError, match=r"without an option 'angle'.*Choose from: speed"):
        open_recording(tmp_path / "a.jpg", angle=2)
    with pytest.raises(RecordingError, match=r"is read, not written.*Use one of: \.hea"):
        save_recording(plain([140.0]), tmp_path / "a.jpg")


def test_what_nobody_foresaw_is_told_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = ModuleType("broken")
    broken.read = lambda path: 1 // 0  # type: ignore[attr-defined]
    monkeypatch.setattr(registry.importlib, "import_module", lambda name: broken)
    with pytest.raises(UnforeseenError, match=r"a\.csv.*ZeroDivisionError.*please report it"):
        open_recording(tmp_path / "a.csv")


def test_a_missing_package_is_told_with_the_extra_that_brings_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.parquet").write_bytes(b"PAR1")
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    monkeypatch.setitem(sys.modules, "pyarrow.parquet", None)
    with pytest.raises(MissingExtraError, match=r'"pyarrow".*pip install "ebbline\[parquet\]"'):
        open_recording(tmp_path / "a.parquet")
    assert "part of it is missing" in str(missing_extra(ModuleNotFoundError("x", name="numpy")))


def test_every_extra_that_an_error_names_stands_in_the_project() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert set(EXTRA_OF.values()) <= set(project["optional-dependencies"])


def imported(path: Path) -> set[str]:
    """Top names of what a module imports, wherever in it."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            found.add(node.module or "")
    return {name.partition(".")[0] for name in found}


def test_every_package_that_is_imported_is_in_the_base_or_named_by_an_extra() -> None:
    """An import of a package that no extra names would end without a word on what to install."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    base = {re.split(r"[<>=\[]", line)[0].replace("-", "_") for line in project["dependencies"]}
    brought_along = {"yaml", "pydantic_core", "click", "ebbline"}
    known = base | brought_along | set(EXTRA_OF) | sys.stdlib_module_names
    for path in (ROOT / "src").rglob("*.py"):
        assert imported(path) <= known, path
