"""What one forked process does: pytest on chosen tests, with one module changed in memory."""

from __future__ import annotations

import ast
import contextlib
import importlib.abc
import importlib.machinery
import importlib.util
import json
import math
import os
import pickle
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Generator, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

from bench.mutation.live_change import forget, keep_no_loops

ROOT = Path(__file__).parents[2]

PLAIN_S = 2.0
"""A test is run with loops uncompiled where it needs no more seconds of the processor so."""

WAITED_TIMES = 20.0
"""A fork that has not used its seconds of the processor is waited for so many times as long."""


class Changed(importlib.abc.MetaPathFinder):
    """Gives one module the changed tree in place of its source."""

    def __init__(self, name: str, path: Path, tree: ast.Module) -> None:
        self._name, self._path, self._tree = name, path, tree

    def find_spec(self, name: str, path: Any = None, target: Any = None) -> Any:
        """The spec of the one module; nothing for any other."""
        if name != self._name:
            return None
        tree = self._tree

        class Loader(importlib.machinery.SourceFileLoader):
            def get_code(self, fullname: str) -> Any:
                return compile(tree, self.path, "exec", dont_inherit=True)

        return importlib.util.spec_from_file_location(
            name, self._path, loader=Loader(name, str(self._path))
        )


class Brief:
    """A pytest plugin: a test, or what it needs, that takes longer than each_s fails."""

    def __init__(self, each_s: float = math.inf) -> None:
        self.each_s = each_s

    @pytest.hookimpl(wrapper=True)
    def pytest_pyfunc_call(self) -> Generator[None, object, object]:
        """The test itself."""
        with at_most(self.each_s):
            return (yield)

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self) -> Generator[None, object, object]:
        """What it needs."""
        with at_most(self.each_s):
            return (yield)


class Stopwatch(Brief):
    """Keeps the processor's seconds of each test that passes, and what failed first."""

    def __init__(self, each_s: float = math.inf) -> None:
        super().__init__(each_s)
        self.seconds: dict[str, float] = {}
        self.failed = ""
        self._began = 0.0
        self._passes = True

    def pytest_runtest_logstart(self) -> None:
        """A test begins, and finds nothing that another worked out: what it reaches it tells."""
        forget()
        self._passes = True
        self._began = time.process_time()

    def pytest_runtest_logfinish(self, nodeid: str) -> None:
        """A test has ended, with its set-up and tear-down."""
        if self._passes:
            self.seconds[nodeid] = time.process_time() - self._began

    def pytest_runtest_logreport(self, report: Any) -> None:
        """What failed first."""
        if report.failed:
            self._passes = False
            self.failed = self.failed or report.nodeid


@contextlib.contextmanager
def at_most(seconds: float) -> Iterator[None]:
    """What takes longer on the processor is broken off with a TimeoutError."""

    def end(*_: object) -> None:
        raise TimeoutError(f"more than {seconds:g} s of the processor")

    if math.isinf(seconds):
        yield
        return
    before = signal.signal(signal.SIGPROF, end)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    except TimeoutError as error:
        # Where it was broken off tells nothing, and may be no line that pytest could show.
        raise TimeoutError(str(error)) from None
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def preload() -> None:
    """Import what every child needs and no mutant changes, once, before forking."""
    import hypothesis
    import numba
    import numpy
    import pydantic
    import typer  # noqa: F401

    _ = (hypothesis, numba, numpy, pydantic)


def forked(act: Callable[[int], None]) -> tuple[int, int]:
    """Fork, and let the fork act on the pipe that it writes to. Returns it and where to read.

    It leads a group of its own, ends with 3 where it does not end itself, and is read without
    waiting.
    """
    reading, writing = os.pipe()
    process = os.fork()
    if process == 0:
        os.close(reading)
        # The fork must never come back into the parent's loop.
        with contextlib.suppress(BaseException):
            os.setpgrp()
            act(writing)
        os._exit(3)
    os.close(writing)
    os.set_blocking(reading, False)
    return process, reading


def run(
    words: Sequence[str],
    limit_s: float,
    change: tuple[str, Path, ast.Module] | None = None,
    *,
    compiled: bool = True,
    each_s: float = math.inf,
) -> tuple[str, Stopwatch]:
    """Run pytest in a fork. Returns "passed", "failed" or "time", and the stopwatch.

    limit_s: of the processor, so that a loaded machine judges as a quiet one does; each_s: the same
    of one test.
    """
    most_s = math.ceil(limit_s)

    def act(writing: int) -> None:
        resource.setrlimit(resource.RLIMIT_CPU, (most_s, most_s + 1))
        _child(words, change, compiled, each_s, writing)

    process, reading = forked(act)
    until = time.monotonic() + WAITED_TIMES * limit_s
    answer = b""
    while time.monotonic() < until:
        with contextlib.suppress(BlockingIOError):
            piece = os.read(reading, 1 << 20)
            if not piece:
                break
            answer += piece
            continue
        time.sleep(0.02)
    else:
        answer = b""
        os.killpg(process, signal.SIGKILL)
    os.close(reading)
    late = time.monotonic() >= until
    _, status = os.waitpid(process, 0)
    watch = Stopwatch()
    if late or (os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGXCPU):
        return "time", watch
    try:
        told = json.loads(answer)
    except ValueError:
        # It ended without an answer: the change broke the interpreter or the imports.
        return "failed", watch
    watch.seconds, watch.failed = told["seconds"], told["failed"]
    return ("passed" if told["code"] == 0 else "failed"), watch


def run_apart(
    words: Sequence[str], limit_s: float, change: tuple[str, Path, ast.Module], *, compiled: bool
) -> tuple[str, str]:
    """As `run`, in a process that has loaded nothing of the package: "passed", "failed" or "time",
    and what failed first. What a module works out at import can be changed only there.
    """
    asked = pickle.dumps((tuple(words), limit_s, change, compiled))
    words_of_child = [sys.executable, "-m", "bench.mutation.child"]
    made = subprocess.run(words_of_child, input=asked, stdout=subprocess.PIPE, cwd=ROOT, check=True)
    how, failed = json.loads(made.stdout)
    return how, failed


def _child(
    words: Sequence[str],
    change: tuple[str, Path, ast.Module] | None,
    compiled: bool,
    each_s: float,
    out: int,
) -> None:
    import numba

    null = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(null, stream)
    os.chdir(ROOT)
    if not compiled:
        numba.config.DISABLE_JIT = True
    if change is not None:
        keep_no_loops()
        sys.meta_path.insert(0, Changed(*change))
    watch = Stopwatch(each_s)
    code = pytest.main([*words, "-q", "-p", "no:cacheprovider", "-p", "no:randomly"], [watch])
    told = {"code": int(code), "seconds": watch.seconds, "failed": watch.failed}
    with os.fdopen(out, "w") as pipe:
        json.dump(told, pipe)
    os._exit(0)


if __name__ == "__main__":
    preload()
    asked_words, asked_limit_s, asked_change, asked_compiled = pickle.load(sys.stdin.buffer)
    answer, stopwatch = run(asked_words, asked_limit_s, asked_change, compiled=asked_compiled)
    json.dump((answer, stopwatch.failed), sys.stdout)
