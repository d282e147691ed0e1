"""Numba's compiler with a type that the checker can follow."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., Any])


def compiled(function: F) -> F:
    """The function compiled for speed, kept on disk between runs."""
    return cast(F, numba.njit(cache=True)(function))
