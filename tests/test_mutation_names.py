"""What excuses a surviving fault names one that can still be made; a fault at import is seen."""

import ast
from pathlib import Path

import bench.mutation
import yaml
from bench.mutation.__main__ import gone
from bench.mutation.child import run_apart

import ebbline.errors

HARMLESS = Path(bench.mutation.__file__).with_name("harmless.yaml")


def test_every_excused_fault_can_still_be_made() -> None:
    assert gone(yaml.safe_load(HARMLESS.read_text(encoding="utf-8"))) == []


def test_an_excuse_of_code_that_is_gone_is_told() -> None:
    name = "criteria/panel.py::no_such_function: 1 -> 2"
    assert gone({name: "for nothing", "criteria/gone.py::f: 1 -> 2": "likewise"}) == [
        name,
        "criteria/gone.py::f: 1 -> 2",
    ]


def test_a_fault_at_import_is_seen_although_the_package_is_loaded_here(tmp_path: Path) -> None:
    """The sound module's test passes before that of the changed value fails."""
    words = tmp_path / "test_words.py"
    words.write_text(
        "from ebbline import errors\n"
        "def test_what_is_unchanged(): assert issubclass(errors.ScenarioError, Exception)\n"
        "def test_what_is_changed(): assert not hasattr(errors, 'FAULT')\n",
        encoding="utf-8",
    )
    path = Path(ebbline.errors.__file__)
    faulty = ast.parse(path.read_text(encoding="utf-8") + "\nFAULT = 1\n")
    how, by = run_apart([str(words), "-x"], 60.0, ("ebbline.errors", path, faulty), compiled=True)
    assert (how, by.rpartition("::")[2]) == ("failed", "test_what_is_changed")
