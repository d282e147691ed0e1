"""Any of our frozen types to JSON and back, without loss: NaN becomes null and returns as NaN."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import datetime
from functools import cache
from typing import Any, TypeVar

import numpy as np
from cattrs import Converter, transform_error
from cattrs.strategies import configure_union_passthrough
from numpy.typing import NDArray

from ebbline.errors import EbblineError

T = TypeVar("T")


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _array_out(values: NDArray[np.float64]) -> list[Any]:
    return _listed(np.asarray(values, float).tolist())


def _listed(values: list[Any]) -> list[Any]:
    """Numbers that JSON can hold, in lists as deep as the array."""
    return [_listed(v) if isinstance(v, list) else _finite(v) for v in values]


def _array_in(values: list[float | None], _: Any) -> NDArray[np.float64]:
    return np.array([math.nan if v is None else v for v in values], dtype=np.float64)


def _number_in(value: Any) -> float:
    """A number as we save it: never infinite, nor a word that Python takes for a number."""
    if value is None:
        return math.nan
    number = float(value)
    if isinstance(value, str) or not math.isfinite(number):
        raise ValueError(f"{value!r} is not a number that is saved")
    return number


def _is_array(kind: Any) -> bool:
    return getattr(kind, "__origin__", None) is np.ndarray or kind is np.ndarray


@cache
def converter() -> Converter:
    """The one converter of the house."""
    made = Converter()
    made.register_unstructure_hook(float, _finite)
    made.register_structure_hook(float, lambda v, _: _number_in(v))
    made.register_unstructure_hook(datetime, lambda v: v.isoformat())
    made.register_structure_hook(datetime, lambda v, _: datetime.fromisoformat(v))
    made.register_unstructure_hook_func(_is_array, _array_out)
    made.register_structure_hook_func(_is_array, _array_in)
    configure_union_passthrough(str | bool | int | float | None, made)
    return made


def to_data(value: Any) -> Any:
    """Plain dicts, lists, numbers and strings, ready for any JSON writer."""
    return converter().unstructure(value)


def to_json(value: Any, *, indent: int | None = None) -> str:
    """JSON text of any of our types."""
    return json.dumps(to_data(value), ensure_ascii=False, indent=indent, allow_nan=False)


def same(one: Any, other: Any) -> bool:
    """Whether two values of our types hold the same, arrays and unknown numbers (NaN) included."""
    if isinstance(one, np.ndarray) or isinstance(other, np.ndarray):
        if not (isinstance(one, np.ndarray) and isinstance(other, np.ndarray)):
            return False
        real = one.dtype.kind == "f" and other.dtype.kind == "f"
        return bool(np.array_equal(one, other, equal_nan=real))
    if isinstance(one, float) and isinstance(other, float):
        return one == other or (math.isnan(one) and math.isnan(other))
    if is_dataclass(one) and is_dataclass(other):
        names = [field.name for field in fields(one)]
        return names == [field.name for field in fields(other)] and all(
            same(getattr(one, name), getattr(other, name)) for name in names
        )
    if isinstance(one, tuple | list) and isinstance(other, tuple | list):
        return len(one) == len(other) and all(map(same, one, other))
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    return bool(one == other)


REASONS_SHOWN = 3


def _reasons(error: Exception) -> str:
    """The first fields that do not fit, in words; how many more there are."""
    told = [
        str(line).replace(" @ $.", " at ").removesuffix(" @ $")
        for line in transform_error(error, path="$")
    ]
    more = f" and {len(told) - REASONS_SHOWN} more" if len(told) > REASONS_SHOWN else ""
    return "; ".join(told[:REASONS_SHOWN]) + more


def from_data(kind: type[T], data: Any) -> T:
    """The typed value that `to_data` came from. Raises EbblineError when data do not fit."""
    try:
        return converter().structure(data, kind)
    except Exception as error:
        raise EbblineError(
            f"this is not a saved {kind.__name__}: {_reasons(error)}.",
            remedy="Save it again with this version of Ebbline.",
        ) from error


def from_json(kind: type[T], text: str) -> T:
    """The typed value that `to_json` came from. Raises EbblineError when text does not fit."""
    try:
        data = json.loads(text)
    except json.JSONDecodeError as error:
        raise EbblineError(
            f"this is not JSON: {error.msg}.",
            where=f"line {error.lineno}, column {error.colno}",
            remedy="Check that the file is whole.",
        ) from error
    except (RecursionError, ValueError) as error:
        raise EbblineError(
            "this JSON is nested too deeply or holds a number too long to read.",
            remedy="Check where the file comes from.",
        ) from error
    return from_data(kind, data)
