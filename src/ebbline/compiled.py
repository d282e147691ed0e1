"""How hot loops are compiled: once, and kept where they can be, the same way everywhere.

Compiled loops lie beside the modules where that can be written (`ebbline compile`, run by whoever
installs, makes them for everybody). A user who may not write there reads them, and keeps what is
wanting in a cache of their own: `$NUMBA_CACHE_DIR`, `$CACHE_DIRECTORY` (as a service manager gives
it), `$XDG_CACHE_HOME/ebbline`, `~/.cache/ebbline`, or a private directory among the temporary ones.
Where nothing can be written the loops are compiled in each process, with one warning.
"""

from __future__ import annotations

import inspect
import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any, ParamSpec, TypeVar, cast

import numba
from numba.core.caching import (
    CompileResultCacheImpl,
    FunctionCache,
    IndexDataCacheFile,
    InTreeCacheLocator,
    UserProvidedCacheLocator,
)
from numba.core.dispatcher import Dispatcher

P = ParamSpec("P")
R = TypeVar("R")


def kernel(function: Callable[P, R]) -> Callable[P, R]:
    """Compile a loop over arrays to machine code, keeping its type for the checker."""
    compiled = numba.njit(nogil=True, error_model="numpy")(function)
    # With compiling turned off it is the function itself.
    if isinstance(compiled, Dispatcher):
        vars(compiled)["_cache"] = _Cache(function)
    return cast("Callable[P, R]", compiled)


@cache
def own_place() -> Path | None:
    """The user's own directory for compiled loops, made; None where none can be written."""
    for place in _candidates():
        with suppress(OSError):
            place.mkdir(parents=True, exist_ok=True, mode=0o700)
            # What is read from here is run: it must be ours alone.
            if hasattr(os, "getuid") and place.stat().st_uid != os.getuid():
                continue
            tempfile.TemporaryFile(dir=place).close()
            return place
    return None


def _candidates() -> Iterator[Path]:
    for name in ("CACHE_DIRECTORY", "XDG_CACHE_HOME"):
        if said := os.environ.get(name, "").split(":")[0]:
            yield Path(said) / "ebbline"
    with suppress(RuntimeError):
        yield Path.home() / ".cache" / "ebbline"
    number = os.getuid() if hasattr(os, "getuid") else 0
    yield Path(tempfile.gettempdir()) / f"ebbline-{number}"


class _OwnLocator(InTreeCacheLocator):
    """In the user's own directory."""

    def __init__(self, function: Any, file: str) -> None:
        super().__init__(function, file)
        place = own_place()
        if place is not None:
            self._cache_path = str(place / self.get_suitable_cache_subpath(file))


class _BesideLocator(InTreeCacheLocator):
    """Beside the module, though nothing can be written there: to be read only."""

    @classmethod
    def from_function(cls, function: Any, file: str) -> _BesideLocator:
        """Always found."""
        return cls(function, file)


class _Impl(CompileResultCacheImpl):
    _locator_classes = [  # noqa: RUF012
        UserProvidedCacheLocator,
        InTreeCacheLocator,
        _OwnLocator,
        _BesideLocator,
    ]


class _Cache(FunctionCache):
    """One function's cache: read from beside its module too, and never a reason to fail."""

    _impl_class = _Impl

    def __init__(self, function: Any) -> None:
        super().__init__(function)
        beside = InTreeCacheLocator(function, inspect.getfile(function))
        self._beside = None
        if beside.get_cache_path() != self.cache_path:
            self._beside = IndexDataCacheFile(
                beside.get_cache_path(), self._impl.filename_base, beside.get_source_stamp()
            )

    def _load_overload(self, sig: Any, target_context: Any) -> Any:
        found = None
        # A spoiled cache is none: what it held is compiled anew, and written over it.
        with suppress(Exception):
            found = super()._load_overload(sig, target_context)
        if found is None and self._beside is not None:
            with suppress(Exception):
                data = self._beside.load(self._index_key(sig, target_context.codegen()))
                found = None if data is None else self._impl.rebuild(target_context, data)
        if found is None:
            _TOLD.compiling()
        return found

    def _save_overload(self, sig: Any, data: Any) -> None:
        try:
            try:
                super()._save_overload(sig, data)
            except OSError:
                raise
            except Exception:
                # The index is spoiled: begin it anew.
                self._cache_file.flush()
                super()._save_overload(sig, data)
        except OSError as error:
            _TOLD.not_kept(f"{self.cache_path}: {error.strerror or error}")


class _Told:
    """What is said on stderr, each once in a process."""

    def __init__(self) -> None:
        self.loops = 0
        self._warned = False

    def compiling(self) -> None:
        """Before a loop is compiled: the first time a line, on a terminal a count."""
        self.loops += 1
        line = "ebbline: compiling for this computer, half a minute or more, this once"
        with suppress(OSError, ValueError, AttributeError):
            if sys.stderr.isatty():
                print(f"\r{line} ({self.loops})", end="", file=sys.stderr, flush=True)
                if self.loops == 1:
                    import atexit

                    atexit.register(print, file=sys.stderr)
            elif self.loops == 1:
                print(f"{line}...", file=sys.stderr, flush=True)

    def not_kept(self, why: str) -> None:
        """What was compiled cannot be kept: every start will take as long."""
        if self._warned:
            return
        self._warned = True
        with suppress(OSError, ValueError, AttributeError):
            print(
                f"ebbline: compiled loops cannot be kept ({why}); every start will compile anew. "
                "Give a directory that can be written: NUMBA_CACHE_DIR=/var/cache/ebbline.",
                file=sys.stderr,
                flush=True,
            )


_TOLD = _Told()


def compiled_here() -> int:
    """How many loops this process compiled, because no cache had them."""
    return _TOLD.loops


def places() -> list[Path]:
    """Where the compiled loops that this process uses are kept."""
    loops: list[Any] = [
        one
        for module in list(sys.modules.values())
        if getattr(module, "__name__", "").startswith("ebbline.")
        for one in vars(module).values()
        if isinstance(one, Dispatcher)
    ]
    return sorted({Path(one._cache.cache_path) for one in loops})
