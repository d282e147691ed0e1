"""The workbench as an application: what is put together, and in which order."""

from __future__ import annotations

import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

from fastapi import FastAPI, HTTPException, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException as StarletteHTTPException
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.responses import JSONResponse, Response

from ebbline import CAUTION, __version__
from ebbline.errors import EbblineError
from ebbline.journal.errors import ConflictError, NoSuchCaseError
from ebbline.store import StoreError, StoreFullError
from ebbline.web.auth.accounts import Accounts
from ebbline.web.auth.body_limit import BodyLimit
from ebbline.web.auth.gate import Gate
from ebbline.web.changes import Changes
from ebbline.web.classroom.service import Classes
from ebbline.web.errors import BlindError, NotThereError, StaleError
from ebbline.web.held import Held
from ebbline.web.lazy_imports import HeavyParts
from ebbline.web.live.service import LiveService
from ebbline.web.operations.audit import Audit
from ebbline.web.operations.health import Health
from ebbline.web.pages import mount_static, page
from ebbline.web.paper.service import Papers
from ebbline.web.reading.corrections_service import Corrections
from ebbline.web.record.service import Records
from ebbline.web.recordings.library import Library, StaleContextError
from ebbline.web.recordings.schemas import known_out
from ebbline.web.recordings.uploads import clear_left_behind
from ebbline.web.refusals import wants_data
from ebbline.web.routers import ROUTERS, UPLOAD_PATHS
from ebbline.web.settings import Settings
from ebbline.web.store import Store
from ebbline.web.teaching.groups import Groups

HELD_REPORTS = 4
STATUS: list[tuple[type[EbblineError], int]] = [
    (NotThereError, 404),
    (NoSuchCaseError, 404),
    (ConflictError, 409),
    (StaleError, 409),
    (BlindError, 409),
    (StoreFullError, 507),
    (StoreError, 503),
]
"""What a request is answered with; everything else in words is 422."""
WARM_AFTER_S = 0.5
"""The first page goes before the loading of the heavy parts."""


def create_app(settings: Settings, *, warm: bool = False) -> FastAPI:
    """The whole application on one store.

    warm: load the heavy parts in the background once the server is up, so that the first page
    need not wait for them and the first reading comes as quickly as the next.
    """
    store = Store(settings.store)
    library = Library(store, settings.limits)

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        later = threading.Timer(WARM_AFTER_S, library.warm)
        later.daemon = True
        if warm:
            clear_left_behind()
            later.start()
        if settings.mllp:
            await app.state.live.listen_hl7("127.0.0.1", settings.mllp)
        yield
        later.cancel()
        app.state.health.close()
        await app.state.live.close()
        app.state.records.close()
        app.state.classes.close_all()
        store.close()

    app = FastAPI(
        title="Ebbline workbench",
        version=__version__,
        description=CAUTION,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        lifespan=lifespan,
    )
    app.state.settings = settings
    app.state.store = store
    app.state.library = library
    app.state.changes = Changes()
    app.state.corrections = Corrections(store, library)
    app.state.records = Records(
        settings.record or settings.store.with_name("record.sqlite"), library
    )
    app.state.live = LiveService(settings, app.state.records)
    app.state.papers = Papers(store)
    app.state.health = Health(store)
    app.state.reports = Held(HELD_REPORTS)
    app.state.secret = store.secret()
    app.state.accounts = Accounts(store, settings.limits)
    app.state.classes = Classes()
    app.state.groups = Groups(store)
    for router in ROUTERS:
        app.include_router(router)
    mount_static(app)
    app.add_exception_handler(EbblineError, _told)
    app.add_exception_handler(StarletteHTTPException, _http)
    app.add_exception_handler(RequestValidationError, _not_valid)
    app.add_exception_handler(Exception, _unforeseen)
    app.add_middleware(HeavyParts)
    app.add_middleware(BodyLimit, settings=settings, upload_paths=UPLOAD_PATHS)
    app.add_middleware(
        Gate,
        settings=settings,
        secret=app.state.secret,
        accounts=app.state.accounts,
        guest=lambda token: app.state.classes.guest(token) or app.state.groups.guest(token),
    )
    app.add_middleware(
        TrustedHostMiddleware, allowed_hosts=list(settings.names), www_redirect=False
    )
    # The last that is added stands before all others.
    app.add_middleware(Audit)
    return app


def _answer(
    request: Request, status: int, what: str, where: str = "", remedy: str = "", **more: Any
) -> Response:
    if wants_data(request.scope):
        return JSONResponse({"what": what, "where": where, "remedy": remedy, **more}, status)
    return page(request, "problem.html", status=status, what=what, where=where, remedy=remedy)


async def _told(request: Request, error: Exception) -> Response:
    assert isinstance(error, EbblineError)
    status = next((code for kind, code in STATUS if isinstance(error, kind)), 422)
    more = _both(error) if isinstance(error, StaleContextError) else {}
    return _answer(request, status, error.what, error.where, error.remedy, **more)


def _both(error: StaleContextError) -> dict[str, Any]:
    """What holds now, so that the page can show it beside what was to be kept."""
    return {"kept": known_out(error.kept).model_dump(mode="json")}


async def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException | StarletteHTTPException)
    words = {404: "there is nothing at this address.", 405: "that cannot be done here."}
    return _answer(request, error.status_code, words.get(error.status_code, str(error.detail)))


async def _not_valid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first: dict[str, Any] = error.errors()[0]
    where = ".".join(str(part) for part in first["loc"] if part not in ("body", "query", "path"))
    return _answer(request, 422, f"{first['msg']}.", where, "Correct it and send it again.")


async def _unforeseen(request: Request, _: Exception) -> Response:
    """What nobody foresaw: the server's log has it, the page does not."""
    return _answer(
        request,
        500,
        "something went wrong inside the workbench; nothing was changed by it.",
        "",
        "What happened is in the log of whoever runs it.",
    )
