"""Workers that begin as copies of one process which has everything loaded.

Loading what a worker needs takes longer than reading a hundred recordings. On Linux it is done
once, in a process of its own, beside the loading that the command itself has to do; each worker,
also one that stands in for another that died, is then forked from it. Elsewhere forking is not safe
or not there, and each worker loads for itself.
"""

from __future__ import annotations

import sys

METHOD = "forkserver" if sys.platform == "linux" else "spawn"
"""How worker processes are begun, in the words of multiprocessing."""

_LOADED = "ebbline.cohort.worker"


def start_loading() -> None:
    """Begin the process that workers are copies of; once, however often it is called."""
    if METHOD != "forkserver":
        return
    from multiprocessing import forkserver

    forkserver.set_forkserver_preload([_LOADED])
    forkserver.ensure_running()
