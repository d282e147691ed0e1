"""Is the workbench well: it reads ten minutes, and asks its store. Looked at anew once a minute."""

from __future__ import annotations

import threading
import time
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from typing import Any

from sqlalchemy import text

from ebbline.store import Store

AGAIN_AFTER_S = 60.0
WAIT_S = 5.0
"""A watchdog need not wait longer: what takes more is not ready (our choice)."""


class Health:
    """Answers with what a small reading and the store said last."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="health")
        self._lock = threading.Lock()
        self._looking: Future[dict[str, str]] | None = None
        self._at = -AGAIN_AFTER_S

    def look(self) -> tuple[int, dict[str, str]]:
        """HTTP status and words: 200 where all is well, 503 where it is not, or not yet."""
        with self._lock:
            done = self._looking is not None and self._looking.done()
            if self._looking is None or (done and time.monotonic() - self._at > AGAIN_AFTER_S):
                self._looking = self._worker.submit(self._judged)
                self._at = time.monotonic()
            looking = self._looking
        try:
            found = looking.result(WAIT_S)
        except NotYet:
            return 503, {"state": "starting", "reading": "not yet", "store": "not yet"}
        well = set(found.values()) == {"well"}
        if not well:
            with self._lock:
                # What is not well is looked at again by the next who asks.
                self._at = -AGAIN_AFTER_S
        return (200 if well else 503), {"state": "running" if well else "not well", **found}

    def _judged(self) -> dict[str, str]:
        return {"reading": _said(read_a_little), "store": _said(self._ask)}

    def _ask(self) -> None:
        with self._store.session() as session:
            session.execute(text("SELECT 1")).scalar_one()

    def close(self) -> None:
        """End the worker."""
        self._worker.shutdown(wait=False, cancel_futures=True)


def _said(look: Any) -> str:
    import logging

    try:
        look()
    except Exception as error:
        # Told to the log whole, to who asks by its kind only: no address, no path.
        logging.getLogger("ebbline.events").exception("health")
        return f"fails: {type(error).__name__}"
    return "well"


def read_a_little() -> None:
    """Ten minutes at 140 bpm with no other finding must be read as just that."""
    from ebbline.web.lazy_imports import load

    load()

    import numpy as np

    from ebbline.reading.analyse import read
    from ebbline.recording.model import Channel, ChannelKind, Recording

    level = 140.0 + 5.0 * np.sin(np.arange(2400) / 7.0)
    heart = Channel(ChannelKind.FETAL_HEART_RATE, level, 4.0, fetus=1)
    activity = Channel(ChannelKind.UTERINE_ACTIVITY, np.full(2400, 14.0), 4.0)
    review = read(Recording("health", (heart, activity)), history=False).fetuses[0].review
    if not abs(review.baseline_bpm - 140.0) <= 5.0:
        raise ArithmeticError("a made-up trace at 140 bpm is not read as one")
