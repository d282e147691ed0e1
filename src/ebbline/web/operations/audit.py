"""The trail: every change that was asked for, every refusal, every fault; who, when, how it ended.

Of an address only its pattern is kept (`/api/record/cases/{case}/entries`), with the key of a
recording where there is one, which is random and names nobody. What was written about a labour, and
by whom, stands in the labour record's own chain.
"""

from __future__ import annotations

import logging
import time
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from ebbline.web.operations.log import event

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
WORTH_TELLING = frozenset({401, 403, 409, 413, 503, 507})
"""Refusals that are logged of a mere look, too; a wrong address is not."""


class Audit:
    """Tells the log how requests ended."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, and tell what came of it."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        status = 500
        began = time.monotonic()

        async def watched(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        try:
            await self.app(scope, receive, watched)
        finally:
            if scope["method"] not in SAFE_METHODS or status >= 500 or status in WORTH_TELLING:
                _tell(scope, status, time.monotonic() - began)


def _tell(scope: Scope, status: int, seconds: float) -> None:
    principal = scope.get("ebbline.principal")
    path = getattr(scope.get("route"), "path", "")
    # Of a class nothing is kept, in the log neither: no name, no address of a phone.
    guest = path.startswith(("/join", "/api/join")) or bool(principal and principal.guest)
    told: dict[str, Any] = {
        "who": "a guest of a class" if guest else "" if principal is None else principal.name,
        "address": scope["client"][0] if scope.get("client") and not guest else "",
        "method": scope["method"],
        "page": path or "(none)",
        "status": status,
        "ms": round(1000 * seconds),
    }
    key = scope.get("path_params", {}).get("key")
    if key and "/recordings/" in path:
        told["recording"] = key
    if status >= 500:
        event("fault", level=logging.ERROR, **told)
    elif status >= 400:
        event("refused", level=logging.WARNING, **told)
    else:
        event("change", **told)
