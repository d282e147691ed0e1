"""What is compiled at install is all that a reading runs."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

EXAMPLE = Path(__file__).parents[2] / "examples" / "labour.csv"

AFTERWARDS = f"""
import sys
from numba.core.dispatcher import Dispatcher
from ebbline.reading.analyse import read
from ebbline.recording import open_recording

read(open_recording({str(EXAMPLE)!r}))
loops = [
    one
    for module in list(sys.modules.values())
    if getattr(module, "__name__", "").startswith("ebbline.")
    for one in vars(module).values()
    if isinstance(one, Dispatcher)
]
loaded = sum(sum(one.stats.cache_hits.values()) for one in loops)
compiled = {{one.__name__ for one in loops if sum(one.stats.cache_misses.values())}}
print(loaded, sorted(compiled))
"""


def test_after_warming_a_reading_loads_its_loops_and_compiles_none() -> None:
    subprocess.run([sys.executable, "-m", "ebbline.precompile"], check=True)
    done = subprocess.run(
        [sys.executable, "-c", AFTERWARDS], check=True, capture_output=True, text=True
    )
    loaded, compiled = done.stdout.split(maxsplit=1)
    assert int(loaded) > 15
    assert compiled.strip() == "[]"
