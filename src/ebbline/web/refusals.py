"""Refusals in words, as data or as plain text, before any page is reached."""

from __future__ import annotations

from starlette.responses import JSONResponse, Response
from starlette.types import Scope


def wants_data(scope: Scope) -> bool:
    """True where the answer should be JSON rather than a page."""
    return str(scope["path"]).startswith("/api/")


def refuse(scope: Scope, status: int, what: str, remedy: str = "") -> Response:
    """A refusal in words, as data or as plain text."""
    if wants_data(scope):
        return JSONResponse({"what": what, "where": "", "remedy": remedy}, status)
    return Response(f"{what} {remedy}".strip(), status, media_type="text/plain; charset=utf-8")
