"""No larger body than a path allows."""

from __future__ import annotations

import contextlib

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from ebbline.web.refusals import refuse
from ebbline.web.settings import Settings


class BodyLimit:
    """Refuses a body larger than its path allows, before and while it comes in."""

    def __init__(self, app: ASGIApp, settings: Settings, upload_paths: tuple[str, ...]) -> None:
        self.app = app
        self.limits = settings.limits
        self.upload_paths = upload_paths

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, counting."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        upload = scope["path"] in self.upload_paths
        most = self.limits.upload_bytes if upload else self.limits.body_bytes
        refusal = refuse(
            scope,
            413,
            f"that is too large: at most {most // (1 << 20)} MiB are taken here.",
            "Send a smaller file, or ask the operator to raise the limit.",
        )
        declared = Headers(scope=scope).get("content-length", "")
        if declared.isdigit() and int(declared) > most:
            await refusal(scope, receive, send)
            return
        taken = 0
        over = False

        async def counted() -> Message:
            nonlocal taken, over
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > most:
                over = True
                raise _TooLargeError
            return message

        async def unless_over(message: Message) -> None:
            if not over:
                await send(message)

        with contextlib.suppress(_TooLargeError):
            await self.app(scope, counted, unless_over)
        if over:
            await refusal(scope, receive, send)


class _TooLargeError(Exception):
    """The body went over its limit while it came in."""
