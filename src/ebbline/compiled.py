"""How hot loops are compiled: once, cached beside the module, the same way everywhere."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, TypeVar, cast

import numba

P = ParamSpec("P")
R = TypeVar("R")


def kernel(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a loop over arrays to machine code, keeping its type for the checker."""
    compiled = numba.njit(cache=True, nogil=True, error_model="numpy")(function)
    return cast("Callable[P, R]", compiled)
