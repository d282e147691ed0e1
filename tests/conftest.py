"""What holds for every test."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Iterator
from functools import partial

import pytest
from hypothesis import HealthCheck, settings

from running import Ebbline

# The same examples wherever and whenever the suite runs, however loaded the computer: what fails
# once fails again. HYPOTHESIS_PROFILE=explore looks at others each time.
settings.register_profile(
    "same",
    derandomize=True,
    database=None,
    deadline=None,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile("explore", deadline=None, print_blob=True)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "same"))


@pytest.fixture(autouse=True)
def _same_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lines are broken alike wherever the tests run."""
    monkeypatch.setenv("COLUMNS", "100")


@pytest.fixture(scope="session", autouse=True)
def _passwords_are_hashed_quickly() -> Iterator[None]:
    """A hash that is slow on purpose takes a third of a second of the processor, hundreds of times.

    That it is slow where it counts is claimed in tests/web/test_gate.py.
    """
    try:
        import argon2
    except ImportError:
        yield
        return
    with pytest.MonkeyPatch.context() as patched:
        quick = partial(argon2.PasswordHasher, time_cost=1, memory_cost=64, parallelism=1)
        patched.setattr(argon2, "PasswordHasher", quick)
        yield


@pytest.fixture
def ebbline(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Ebbline:
    """Runs a command in this process; gives its exit code and what it printed."""
    from ebbline.cli.main import main

    def run(*arguments: object, answers: str = "") -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["ebbline", *map(str, arguments)])
        monkeypatch.setattr(sys, "stdin", io.StringIO(answers))
        with pytest.raises(SystemExit) as left:
            main()
        printed = capsys.readouterr()
        return left.value.code or 0, printed.out, printed.err  # type: ignore[return-value]

    return run


NEEDED = {
    "Chromium": "the pages (Debian: apt-get install chromium)",
    "PostgreSQL": "the record and units on PostgreSQL (Debian: apt-get install postgresql)",
    "nats": "several processes (Debian: apt-get install nats-server)",
    "CTU-UHB": "real recordings (put the open CTU-UHB set beside the project, see README, Data)",
}
"""A word in the reason of a skipped test, and what installing it lets be tested."""


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say how to have the tests that were skipped for want of a program."""
    skipped = terminalreporter.stats.get("skipped", [])
    for word, what in NEEDED.items():
        count = sum(word.casefold() in str(report.longrepr).casefold() for report in skipped)
        if count:
            terminalreporter.write_line(f"{count} skipped without {word}: tests of {what}")
