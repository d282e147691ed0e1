"""The heavy parts, loaded once, in one place, by one thread.

The first page must not wait for them. But two requests that import parts of one package at the
same time can find it half made (the interpreter breaks such a deadlock by handing out the
unfinished module), so every request that needs more than the first page waits here.
"""

from __future__ import annotations

import importlib
import threading

from starlette.concurrency import run_in_threadpool
from starlette.types import ASGIApp, Receive, Scope, Send

PARTS = (
    "ebbline.reading.analyse",
    "ebbline.reading.summary",
    "ebbline.recording",
    "ebbline.features.manual_events",
    "ebbline.reading.bedside_bridge",
    "ebbline.web.reading.presenters",
    "ebbline.web.reading.reading_presenter",
    "ebbline.web.recordings.uploads",
    "ebbline.synth",
    "ebbline.web.examination.service",
    "ebbline.bedside.policy.internal",
    "ebbline.bedside.policy.reviews",
    "ebbline.picture.pdf",
    "ebbline.picture.png",
    "ebbline.web.report.document",
    "ebbline.web.report.fhir",
    "ebbline.web.teaching.presenters",
    "ebbline.teach.encounter",
    "ebbline.teach.library",
    "ebbline.teach.debrief",
    "ebbline.teach.real_cases",
    "ebbline.teach.attempt_log",
    "ebbline.teach.case_form",
    "ebbline.teach.spacing",
    "ebbline.teach.export",
    "ebbline.teach.report",
    "ebbline.teach.printout",
)
LIGHT = ("/static/", "/sign-in", "/sign-out", "/account", "/health", "/help")
"""Paths that need none of them, beside the first page."""

_lock = threading.Lock()
_loaded = threading.Event()


def load() -> None:
    """Load all parts, once."""
    with _lock:
        if not _loaded.is_set():
            for name in PARTS:
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
