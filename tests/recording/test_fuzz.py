"""The fuzzer of `bench/fuzz`: a small run of each reader, and that it notices faults."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from bench.fuzz.__main__ import input_of, outcome
from bench.fuzz.readers import Reader, readers

INPUTS = 60


@pytest.mark.parametrize("name", [name for name in readers() if name not in {"zip", "policy"}])
def test_odd_input_ends_in_an_answer_or_in_words(name: str, tmp_path: Path) -> None:
    reader = readers()[name]()
    for number in range(INPUTS):
        how = outcome(reader, input_of(reader, number), tmp_path, slow_s=30.0)
        assert how in {"read", "refused"}, f"number {number}: {how}"


def _raising(data: bytes, place: Path) -> None:
    raise KeyError("x")


def _slow(data: bytes, place: Path) -> None:
    until = time.process_time() + 0.05
    while time.process_time() < until:
        pass


def test_the_fuzzer_notices_an_unnamed_error_and_a_slow_reader(tmp_path: Path) -> None:
    assert outcome(Reader("r", (b"a",), _raising), b"", tmp_path, 1.0).startswith("KeyError")
    assert outcome(Reader("r", (b"a",), _slow), b"", tmp_path, 0.01).startswith("slow")


def test_an_input_is_the_same_each_time() -> None:
    reader = Reader("r", (b"time_s,FHR\n0,140\n" * 20,), _slow)
    assert [input_of(reader, n) for n in range(50)] == [input_of(reader, n) for n in range(50)]
    assert len({input_of(reader, n) for n in range(50)}) > 40
