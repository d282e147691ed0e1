"""What excuses a surviving fault names one that can still be made."""

from pathlib import Path

import bench.mutation
import yaml
from bench.mutation.__main__ import gone

HARMLESS = Path(bench.mutation.__file__).with_name("harmless.yaml")


def test_every_excused_fault_can_still_be_made() -> None:
    assert gone(yaml.safe_load(HARMLESS.read_text(encoding="utf-8"))) == []


def test_an_excuse_of_code_that_is_gone_is_told() -> None:
    name = "criteria/panel.py::no_such_function: 1 -> 2"
    assert gone({name: "for nothing", "criteria/gone.py::f: 1 -> 2": "likewise"}) == [
        name,
        "criteria/gone.py::f: 1 -> 2",
    ]
