"""Costly things kept for a while, each made once at a time."""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from typing import Any, Generic, TypeVar

from cachetools import LRUCache

T = TypeVar("T")


class Held(Generic[T]):
    """A bounded memory: the least lately used goes first. Safe to use from several threads."""

    def __init__(self, most: int) -> None:
        self._kept: LRUCache[Hashable, T] = LRUCache(most)
        self._making: dict[Hashable, threading.Lock] = {}
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """The kept thing, or a new one."""
        with self._lock:
            if key in self._kept:
                return self._kept[key]
            making = self._making.setdefault(key, threading.Lock())
        with making:
            with self._lock:
                if key in self._kept:
                    return self._kept[key]
            try:
                made = make()
            finally:
                with self._lock:
                    self._making.pop(key, None)
            with self._lock:
                self._kept[key] = made
            return made

    def forget(self, wanted: Callable[[Any], bool]) -> None:
        """Drop the things whose key is wanted gone."""
        with self._lock:
            for key in [k for k in self._kept if wanted(k)]:
                del self._kept[key]
