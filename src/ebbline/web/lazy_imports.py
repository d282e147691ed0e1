"""The heavy parts, loaded once, in one place, by one thread.

The first page must not wait for them, so they are imported inside functions. But two requests that
import parts of one package at the same time can find it half made (the interpreter breaks such a
deadlock by handing out the unfinished module), so every request that needs more than the first
page waits here. Which parts these are is read from the sources themselves.
"""

from __future__ import annotations

import ast
import importlib
import threading
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.types import ASGIApp, Receive, Scope, Send

ROOT = Path(__file__).parent
OURS = "ebbline."
LIGHT = ("/static/", "/sign-in", "/sign-out", "/account", "/health", "/help")
"""Paths that need none of them, beside the first page."""

_lock = threading.Lock()
_loaded = threading.Event()


def parts() -> list[str]:
    """Every module of ours that a function of the web pages imports when it is called."""
    found: set[str] = set()
    for path in ROOT.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_bytes())):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                found.update(_imported(node))
    return sorted(found)


def _imported(function: ast.AST) -> Iterator[str]:
    for node in ast.walk(function):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith(OURS):
            yield str(node.module)


def load() -> None:
    """Load all parts, once."""
    with _lock:
        if not _loaded.is_set():
            for name in parts():
                # What an extra is wanting for is told when it is asked for, not before.
                with suppress(ImportError):
                    importlib.import_module(name)
            _loaded.set()


class HeavyParts:
    """Lets a request on only when what it may need is loaded."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Wait for the parts, except on the light paths."""
        if not _loaded.is_set() and scope["type"] == "http":
            path = scope["path"]
            if path != "/" and not path.startswith(LIGHT):
                await run_in_threadpool(load)
        await self.app(scope, receive, send)
