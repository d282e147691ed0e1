"""SIGKILL at any moment, a few times; `python -m bench.kill_live` does it hundreds of times."""

from __future__ import annotations

import asyncio

import pytest
from bench.kill_live import run

from journal.postgres import missing


@pytest.mark.parametrize("postgresql", [False, True])
def test_nothing_acknowledged_is_lost_and_no_notice_is_told_twice(postgresql: bool) -> None:
    if postgresql and missing():
        pytest.skip(missing())
    # Late notices are no claim here (a slow computer has many), so it is not waited for them long.
    found = asyncio.run(
        run(2, postgresql, seed=4, beds=2, hours=0.9, lives_s=(1.0, 5.0), quiet_s=3.0)
    )
    assert (found["lost"], found["twice"]) == (0, 0)
