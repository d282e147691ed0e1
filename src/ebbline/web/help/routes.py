"""Keys, signs and words of the pages; and the list of endpoints."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from ebbline.web.pages import page

router = APIRouter(include_in_schema=False)


@router.get("/help", response_class=HTMLResponse)
def help_page(request: Request) -> HTMLResponse:
    """What the keys, signs and words mean, and where programs find the same."""
    paths = request.app.openapi()["paths"]
    endpoints = [
        (method.upper(), path, told.get("description") or told.get("summary", ""))
        for path, methods in sorted(paths.items())
        for method, told in methods.items()
    ]
    return page(request, "help/help.html", endpoints=endpoints)
