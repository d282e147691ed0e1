"""One pytest session that has collected an area's tests, and forks for every fault."""

from __future__ import annotations

import gc
import json
import math
import os
import resource
import signal
import sys
import time
from collections import Counter, deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import pytest
from _pytest.runner import runtestprotocol

from bench.mutation import live_change
from bench.mutation.child import PLAIN_S, ROOT, WAITED_TIMES, Brief, forked
from bench.mutation.operators import Mutant


@dataclass
class Judgement:
    """How one mutant fared: "killed", "survived", "time", "elsewhere" (it cannot be put in place);
    by: the test that noticed."""

    mutant: Mutant
    how: str
    by: str = ""
    seconds: float = 0.0


@dataclass
class _Fork:
    mutant: Mutant
    compiled: bool
    process: int
    pipe: int
    began: float
    answer: bytes = b""


class Forking(Brief):
    """A pytest plugin: in place of running the tests, a fork runs some of them for each mutant.

    tests: those of a mutant, by whether loops are compiled. Uncompiled ones (none, where the mutant
    lies in no loop) are asked first: that takes no compiling, and what they assert of the function
    holds of what is compiled from it. An error of another kind may be Python's alone (an index out
    of bounds): whether the compiled loop fails, too, is then asked of the same test first.
    """

    def __init__(
        self,
        chosen: Sequence[Mutant],
        tests: Callable[[Mutant, bool], Sequence[str]],
        limit_s: float,
        until: float,
        workers: int,
        told: Callable[[Judgement], None],
    ) -> None:
        super().__init__()
        self._chosen, self._tests, self._limit_s = chosen, tests, limit_s
        self._until, self._workers, self._told = until, workers, told
        self.judged: list[Judgement] = []
        self._killers: Counter[tuple[str, str]] = Counter()
        self._waiting: deque[tuple[Mutant, bool, str]] = deque()

    def pytest_runtestloop(self, session: Any) -> bool:
        """All mutants, some at a time."""
        if any(mutant.is_beside_kernels for mutant in self._chosen):
            from ebbline.precompile import warm

            warm()
        live_change.forget()
        items = {item.nodeid: item for item in session.items}
        self._waiting.extend((mutant, False, "") for mutant in self._chosen)
        running: list[_Fork] = []
        while True:
            while len(running) < self._workers and self._waiting and time.monotonic() < self._until:
                if (fork := self._begin(*self._waiting.popleft(), items)) is not None:
                    running.append(fork)
            if not running:
                break
            for fork in list(running):
                if self._ended(fork):
                    running.remove(fork)
            time.sleep(0.01)
        return True

    def _begin(
        self, mutant: Mutant, compiled: bool, first: str, items: dict[str, Any]
    ) -> _Fork | None:
        """A fork for a mutant, which asks one test before all; None where none reaches it."""
        names = [name for name in self._tests(mutant, compiled) if name in items]
        if not names and not compiled:
            compiled = True
            names = [name for name in self._tests(mutant, compiled) if name in items]
        if not names:
            self._tell(Judgement(mutant, "not reached"))
            return None
        # Whoever noticed faults in this function before is asked first.
        names.sort(key=lambda name: -min(3, self._killers[mutant.path, name]))
        names = [*([first] if first else ()), *(name for name in names if name != first)]
        most_s = math.ceil(self._limit_s)

        def act(writing: int) -> None:
            resource.setrlimit(resource.RLIMIT_CPU, (most_s, most_s + 1))
            self.each_s = math.inf if compiled else PLAIN_S
            _in_fork(mutant, [items[name] for name in names], writing, compiled=compiled)

        process, reading = forked(act)
        return _Fork(mutant, compiled, process, reading, time.monotonic())

    def _ended(self, fork: _Fork) -> bool:
        late = time.monotonic() - fork.began > WAITED_TIMES * self._limit_s
        try:
            piece = os.read(fork.pipe, 1 << 16)
        except BlockingIOError:
            if not late:
                return False
            piece = b""
        if piece:
            fork.answer += piece
            return False
        if late:
            os.killpg(fork.process, signal.SIGKILL)
        os.close(fork.pipe)
        _, status = os.waitpid(fork.process, 0)
        seconds = time.monotonic() - fork.began
        if late or (os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGXCPU):
            if fork.compiled:
                self._tell(Judgement(fork.mutant, "time", seconds=seconds))
            else:
                self._waiting.appendleft((fork.mutant, True, ""))
            return True
        # A fork that dies of a signal was broken by the fault; one that ends so is a fault here.
        died = b'{"how": "killed", "by": "the interpreter"}'
        broken = b'{"how": "broken bench", "by": ""}'
        answer = json.loads(fork.answer or (died if os.WIFSIGNALED(status) else broken))
        if not fork.compiled and answer["how"] not in {"killed", "elsewhere"}:
            self._waiting.appendleft((fork.mutant, True, answer["by"]))
            return True
        self._tell(Judgement(fork.mutant, answer["how"], answer["by"], seconds))
        if answer["how"] == "killed":
            self._killers[fork.mutant.path, answer["by"]] += 1
        return True

    def _tell(self, judgement: Judgement) -> None:
        self.judged.append(judgement)
        self._told(judgement)


def _in_fork(mutant: Mutant, items: Sequence[Any], out: int, *, compiled: bool) -> None:
    # A fork that ends soon need not look for what could be freed.
    gc.disable()
    live_change.keep_no_loops()
    null = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(null, stream)
    try:
        if live_change.change(mutant, compiled=compiled):
            by, asserted = next(_failing(items), ("", False))
            how = "killed" if by and (compiled or asserted) else "asked" if by else "survived"
        else:
            how, by = "elsewhere", ""
    except live_change.DoesNotLoadError:
        how, by = "killed", "the import"
    with os.fdopen(out, "w") as pipe:
        json.dump({"how": how, "by": by}, pipe)
    os._exit(0)


def _failing(items: Sequence[Any]) -> Iterator[tuple[str, bool]]:
    """Names of tests that fail, and whether by what they assert."""
    for item, following in zip(items, [*items[1:], None], strict=True):
        reports = runtestprotocol(item, log=False, nextitem=following)
        failed = [report for report in reports if report.failed]
        if failed:
            yield item.nodeid, _asserted(failed[0])


def _asserted(report: Any) -> bool:
    crash = getattr(report.longrepr, "reprcrash", None)
    said = "" if crash is None else crash.message
    return said.startswith(("assert", "AssertionError", "Failed: DID NOT"))


def run(tests: Sequence[str], plugin: Forking) -> None:
    """Collect the tests here, and let the plugin fork."""
    os.chdir(ROOT)
    words = [*tests, "-m", "not browser", "-q", "-s", "-p", "no:cacheprovider", "--no-header"]
    sys.stdout.flush()
    code = pytest.main(words, [plugin])
    if code not in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED):
        raise SystemExit(f"the tests cannot be collected: {code!r}")
