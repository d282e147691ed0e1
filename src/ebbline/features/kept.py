"""Results worked out from findings, kept with the findings themselves and gone when they go.

A cache of its own would keep the findings of every recording that a server was ever asked for.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, partial, wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")
K = TypeVar("K", bound="KeepsResults")


class KeepsResults:
    """Base of what results are kept with: one slot that is no field, so that it is neither saved
    nor compared nor copied."""

    __slots__ = ("_kept",)
    _kept: dict[str, Callable[..., Any]]


def kept(size: int) -> Callable[[Callable[Concatenate[K, P], R]], Callable[Concatenate[K, P], R]]:
    """Keep the last `size` results of a function of findings (and hashable arguments) with them."""

    def decorate(function: Callable[Concatenate[K, P], R]) -> Callable[Concatenate[K, P], R]:
        name = f"{function.__module__}.{function.__qualname__}"

        @wraps(function)
        def answer(findings: K, /, *args: P.args, **kwargs: P.kwargs) -> R:
            store: dict[str, Callable[..., R]] | None = getattr(findings, "_kept", None)
            if store is None:
                store = {}
                object.__setattr__(findings, "_kept", store)
            cached = store.get(name)
            if cached is None:
                cached = store.setdefault(name, lru_cache(size)(partial(function, findings)))
            return cached(*args, **kwargs)

        return answer

    return decorate
