"""What excuses a surviving fault names one that can still be made; a fault at import is seen."""

import ast
import os
import time
from pathlib import Path
from types import FunctionType

import bench.mutation
import pytest
import yaml
from bench.mutation import live_change
from bench.mutation.__main__ import gone
from bench.mutation.child import at_most, run_apart
from bench.mutation.operators import Mutant, mutants

import ebbline.errors
from ebbline.features import steps_down

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


def fault(function: str, before: str, after: str) -> Mutant:
    """A fault in the module of steps down."""
    source = Path(steps_down.__file__).read_text(encoding="utf-8")
    return next(
        one
        for one in mutants(source, "features/steps_down.py")
        if (one.function, one.before, one.after) == (function, before, after)
    )


def test_a_number_of_a_module_is_exchanged_in_place_for_all_that_use_it() -> None:
    """In a process of its own; the loop that uses it then runs uncompiled, and with it."""
    one = fault("module", "15.0", "22.5")
    assert one.given == ["LEAST_STEP_BPM"]
    process = os.fork()
    if process == 0:
        held = live_change.change(one, compiled=False) and steps_down.LEAST_STEP_BPM == 22.5
        plain = isinstance(steps_down._found, FunctionType)
        os._exit(0 if held and plain else 1)
    assert os.waitstatus_to_exitcode(os.waitpid(process, 0)[1]) == 0
    assert steps_down.LEAST_STEP_BPM == 15.0


def test_a_test_that_takes_too_long_on_the_processor_is_broken_off() -> None:
    with pytest.raises(TimeoutError, match=r"more than 0\.05 s"), at_most(0.05):
        until = time.process_time() + 5.0
        while time.process_time() < until:
            pass
