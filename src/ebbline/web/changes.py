"""Who changed what, told to every open page within the same breath (server-sent events).

One process: a page hears what was done through the server that it is open at.
"""

from __future__ import annotations

import asyncio
import json
import threading
from collections import defaultdict
from collections.abc import AsyncIterator
from dataclasses import asdict, dataclass
from typing import Any

from ebbline import __version__

HEARD_FOR_S = 300.0
"""A page asks anew after this long, and the gate looks at its sign-in again (our choice)."""
AGAIN_MS = 300
"""How soon a browser takes the line up again."""
MOST_WAITING = 100


@dataclass(frozen=True, slots=True)
class Change:
    """what: marks, corrections, labour, name, removed or blind. page: which page did it."""

    what: str
    by: str
    page: str = ""


class Changes:
    """Tells listeners of a recording what was changed. Safe to tell from any thread."""

    def __init__(self) -> None:
        self._listeners: defaultdict[
            str, set[tuple[asyncio.AbstractEventLoop, asyncio.Queue[Change]]]
        ] = defaultdict(set)
        self._told: defaultdict[str, int] = defaultdict(int)
        self._lock = threading.Lock()

    def number(self, key: str) -> int:
        """How many changes of a recording were told: a page that shows it knows what it missed."""
        with self._lock:
            return self._told.get(key, 0)

    def tell(self, key: str, change: Change) -> None:
        """To all who listen to this recording."""
        with self._lock:
            self._told[key] += 1
            listeners = list(self._listeners.get(key, ()))
        for loop, queue in listeners:
            loop.call_soon_threadsafe(_put, queue, change)

    async def listen(self, key: str) -> AsyncIterator[dict[str, Any]]:
        """Events for sse-starlette: first the version that runs here and
        how many changes came before, then every change.
        """
        mine = (asyncio.get_running_loop(), asyncio.Queue[Change](MOST_WAITING))
        with self._lock:
            self._listeners[key].add(mine)
            before = self._told.get(key, 0)
        try:
            hello = json.dumps({"version": __version__, "changes": before})
            yield {"event": "hello", "data": hello, "retry": AGAIN_MS}
            until = mine[0].time() + HEARD_FOR_S
            while (left := until - mine[0].time()) > 0:
                try:
                    change = await asyncio.wait_for(mine[1].get(), left)
                except TimeoutError:
                    return
                yield {"event": "change", "data": json.dumps(asdict(change))}
        finally:
            with self._lock:
                self._listeners[key].discard(mine)
                if not self._listeners[key]:
                    del self._listeners[key]


def _put(queue: asyncio.Queue[Change], change: Change) -> None:
    # A page that does not listen any more loses what it could not have shown.
    if not queue.full():
        queue.put_nowait(change)
