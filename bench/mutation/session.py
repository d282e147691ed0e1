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
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import pytest
from _pytest.runner import runtestprotocol

from bench.mutation import live_change
from bench.mutation.child import ROOT, WAITED_TIMES, forked
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
    process: int
    pipe: int
    began: float
    answer: bytes = b""


class Forking:
    """A pytest plugin: in place of running the tests, a fork runs some of them for each mutant."""

    def __init__(
        self,
        chosen: Sequence[Mutant],
        tests: Callable[[Mutant], Sequence[str]],
        limit_s: float,
        until: float,
        workers: int,
        told: Callable[[Judgement], None],
    ) -> None:
        self._chosen, self._tests, self._limit_s = chosen, tests, limit_s
        self._until, self._workers, self._told = until, workers, told
        self.judged: list[Judgement] = []
        self._killers: Counter[tuple[str, str]] = Counter()

    def pytest_runtestloop(self, session: Any) -> bool:
        """All mutants, some at a time."""
        if any(mutant.is_beside_kernels for mutant in self._chosen):
            from ebbline.precompile import warm

            warm()
        live_change.forget()
        items = {item.nodeid: item for item in session.items}
        waiting = iter(self._chosen)
        running: list[_Fork] = []
        while True:
            while len(running) < self._workers and time.monotonic() < self._until:
                mutant = next(waiting, None)
                if mutant is None:
                    break
                if (fork := self._begin(mutant, items)) is not None:
                    running.append(fork)
            if not running:
                break
            for fork in list(running):
                if self._ended(fork):
                    running.remove(fork)
            time.sleep(0.01)
        return True

    def _begin(self, mutant: Mutant, items: dict[str, Any]) -> _Fork | None:
        names = [name for name in self._tests(mutant) if name in items]
        if not names:
            self._tell(Judgement(mutant, "not reached"))
            return None
        # Whoever noticed faults in this function before is asked first.
        names.sort(key=lambda name: -min(3, self._killers[mutant.path, name]))
        most_s = math.ceil(self._limit_s)

        def act(writing: int) -> None:
            resource.setrlimit(resource.RLIMIT_CPU, (most_s, most_s + 1))
            _in_fork(mutant, [items[name] for name in names], writing)

        process, reading = forked(act)
        return _Fork(mutant, process, reading, time.monotonic())

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
            self._tell(Judgement(fork.mutant, "time", seconds=seconds))
            return True
        # A fork that dies of a signal was broken by the fault; one that ends so is a fault here.
        died = b'{"how": "killed", "by": "the interpreter"}'
        broken = b'{"how": "broken bench", "by": ""}'
        answer = json.loads(fork.answer or (died if os.WIFSIGNALED(status) else broken))
        self._tell(Judgement(fork.mutant, answer["how"], answer["by"], seconds))
        if answer["how"] == "killed":
            self._killers[fork.mutant.path, answer["by"]] += 1
        return True

    def _tell(self, judgement: Judgement) -> None:
        self.judged.append(judgement)
        self._told(judgement)


def _in_fork(mutant: Mutant, items: Sequence[Any], out: int) -> None:
    # A fork that ends soon need not look for what could be freed.
    gc.disable()
    null = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(null, stream)
    try:
        if live_change.change(mutant):
            by = next(_failing(items), "")
            how = "killed" if by else "survived"
        else:
            how, by = "elsewhere", ""
    except live_change.DoesNotLoadError:
        how, by = "killed", "the import"
    with os.fdopen(out, "w") as pipe:
        json.dump({"how": how, "by": by}, pipe)
    os._exit(0)


def _failing(items: Sequence[Any]) -> Iterator[str]:
    for item, following in zip(items, [*items[1:], None], strict=True):
        reports = runtestprotocol(item, log=False, nextitem=following)
        if any(report.failed for report in reports):
            yield item.nodeid


def run(tests: Sequence[str], plugin: Forking) -> None:
    """Collect the tests here, and let the plugin fork."""
    os.chdir(ROOT)
    words = [*tests, "-m", "not browser", "-q", "-s", "-p", "no:cacheprovider", "--no-header"]
    sys.stdout.flush()
    code = pytest.main(words, [plugin])
    if code not in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED):
        raise SystemExit(f"the tests cannot be collected: {code!r}")
