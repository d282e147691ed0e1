"""`/health`, for whoever watches over the workbench."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import JSONResponse

router = APIRouter(include_in_schema=False)


@router.get("/health")
def health(request: Request) -> JSONResponse:
    """Whether a small reading and the store work: 200, or 503 with which does not."""
    status, told = request.app.state.health.look()
    return JSONResponse(told, status)
