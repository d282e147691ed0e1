"""A fault put into modules that are already loaded: the code of functions is exchanged in place.

Loading the package and collecting the tests takes seconds, running the few tests that reach a
line a tenth of one: so a process that has done the former forks, and only the fork is changed.
A changed loop, and whatever calls it, is compiled anew, which takes seconds, or run uncompiled.
"""

from __future__ import annotations

import ast
import gc
import re
import sys
from collections.abc import Iterator, Sequence
from functools import _lru_cache_wrapper
from types import CodeType, FunctionType, ModuleType

from numba.core.caching import NullCache
from numba.core.dispatcher import Dispatcher

from bench.mutation.operators import Mutant

MINE = "ebbline"


def forget() -> None:
    """Empty every kept answer of the package, so that no test reads what was found before."""
    for name, module in list(sys.modules.items()):
        if name.startswith(MINE):
            for one in list(vars(module).values()):
                if isinstance(one, _lru_cache_wrapper):
                    one.cache_clear()


def keep_no_loops() -> None:
    """Keep on disk nothing that is compiled from here on: it is made beside a fault, and a process
    that is ended while it writes leaves what no other can load."""
    from ebbline import compiled

    compiled._Cache._save_overload = lambda *_: None  # type: ignore[method-assign]


class DoesNotLoadError(Exception):
    """The changed module cannot even be loaded."""


def change(mutant: Mutant, *, compiled: bool = True) -> bool:
    """Put a fault into the loaded module. False where it cannot be done in place.

    compiled: whether loops that it changes are compiled anew; otherwise they run as they stand.
    Raises DoesNotLoadError where the module's body fails: whoever imports it notices.
    """
    old = compile(ast.parse(mutant.source), str(mutant.file), "exec")
    new = compile(mutant.tree, str(mutant.file), "exec")
    codes = dict(_changed(old, new))
    touched = _exchange(codes) if codes else _rebind(sys.modules[mutant.module], new)
    stale = _callers(touched)
    if compiled:
        _compile_anew(stale)
    else:
        _uncompile(stale)
    return bool(touched)


def _changed(old: CodeType, new: CodeType) -> Iterator[tuple[CodeType, CodeType]]:
    """Functions whose own code differs, old and new; nothing where only a module's body does."""
    was = [c for c in old.co_consts if isinstance(c, CodeType)]
    now = [c for c in new.co_consts if isinstance(c, CodeType)]
    for one, other in zip(was, now, strict=True):
        if one == other:
            continue
        # A class body is code too, but nobody holds it: only what stands in it.
        if one.co_flags & 0x1:
            yield one, other
        else:
            yield from _changed(one, other)


def _exchange(codes: dict[CodeType, CodeType]) -> set[str]:
    """Give functions their new code. Returns their names."""
    met: set[str] = set()
    for one in gc.get_objects():
        if isinstance(one, FunctionType) and one.__code__ in codes:
            one.__code__ = codes[one.__code__]
            met.add(one.__name__)
    return met


def _rebind(module: ModuleType, new: CodeType) -> set[str]:
    """Run a changed module's body aside; give what came out otherwise to all who hold the old.

    Returns the names of what changed; none where that cannot be exchanged.
    """
    aside = ModuleType(module.__name__)
    aside.__dict__.update(__file__=module.__file__, __package__=module.__package__)
    before = sys.modules[module.__name__]
    sys.modules[module.__name__] = aside
    try:
        exec(new, aside.__dict__)
    except Exception as error:
        raise DoesNotLoadError from error
    finally:
        sys.modules[module.__name__] = before
    held_before = vars(module)
    changed = {
        key: value
        for key, value in vars(aside).items()
        if not key.startswith("__")
        and key in held_before
        and _shown(value) != _shown(held_before[key])
    }
    if not changed or not all(isinstance(v, bool | int | float | str) for v in changed.values()):
        return set()
    for key, value in changed.items():
        was = held_before[key]
        for other in list(sys.modules.values()):
            held = getattr(other, "__dict__", {})
            if held.get(key) is was:
                held[key] = value
    return set(changed)


def _shown(value: object) -> str:
    """A value's content, without where it lies."""
    return re.sub(r" at 0x[0-9a-f]+", "", repr(value))


def _callers(names: set[str]) -> list[Dispatcher]:
    """Loops of these names, and those that use one of them, themselves or through others."""
    loops = [one for one in gc.get_objects() if isinstance(one, Dispatcher)]
    stale = set(names)
    while True:
        more = {
            loop.py_func.__name__
            for loop in loops
            if loop.py_func.__name__ not in stale and stale & set(loop.py_func.__code__.co_names)
        }
        if not more:
            return [loop for loop in loops if loop.py_func.__name__ in stale]
        stale |= more


def _compile_anew(loops: Sequence[Dispatcher]) -> None:
    for loop in loops:
        loop._cache = NullCache()
        loop._reset_overloads()


def _uncompile(loops: Sequence[Dispatcher]) -> None:
    """Give whoever holds a compiled loop by name the function that it was compiled from."""
    for loop in loops:
        for holder in gc.get_referrers(loop):
            if isinstance(holder, dict):
                for key in [key for key, value in holder.items() if value is loop]:
                    holder[key] = loop.py_func
