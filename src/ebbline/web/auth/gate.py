"""Who is asking, may they, and is the request really theirs.

One gate stands before every page: host names (against DNS rebinding), sign-in where accounts are
asked for, tokens against forged requests, and headers that forbid scripts, styles and requests
from anywhere but here. What a route adds is only the role it needs.
"""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING
from urllib.parse import parse_qs, quote, unquote, urlsplit

from fastapi import HTTPException, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from ebbline.web.settings import Settings

if TYPE_CHECKING:
    from ebbline.web.auth.accounts import Accounts

TOKEN_COOKIE = "ebbline_visit"
NAME_COOKIE = "ebbline_reader"
THEME_COOKIE = "ebbline_theme"
CSRF_HEADER = b"x-csrf-token"
CSRF_FIELD = "csrf_token"
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
FORM_BYTES = 64 * 1024
PUBLIC_PATHS = ("/static/", "/sign-in", "/health")

SECURITY_HEADERS = {
    "content-security-policy": (
        "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
        "connect-src 'self'; font-src 'self'; object-src 'none'; base-uri 'none'; "
        "form-action 'self'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
}


class Role(StrEnum):
    """What an account may do; each role includes the ones before it."""

    READER = "reader"
    TEACHER = "teacher"
    ADMIN = "admin"

    @property
    def rank(self) -> int:
        """Place in the order reader, teacher, admin."""
        return list(Role).index(self)


@dataclass(frozen=True, slots=True)
class Principal:
    """Who is asking. account_id: None on a workbench without accounts, or before sign-in."""

    name: str
    role: Role
    account_id: int | None = None

    def may(self, role: Role) -> bool:
        """True when this role is enough."""
        return self.role.rank >= role.rank


def principal_of(request: Request) -> Principal:
    """Who is asking; every route behind the gate has one."""
    found: Principal | None = request.scope.get("ebbline.principal")
    if found is None:
        raise HTTPException(401, "Please sign in first.")
    return found


def needs(role: Role) -> Callable[[Request], Principal]:
    """A dependency for routes: lets only accounts with this role pass."""

    def check(request: Request) -> Principal:
        principal = principal_of(request)
        if not principal.may(role):
            raise HTTPException(403, f"This needs the role '{role}'; yours is '{principal.role}'.")
        return principal

    return check


def hash_of(token: str) -> str:
    """What is kept of a browser's token."""
    return hashlib.sha256(token.encode()).hexdigest()


def csrf_token(secret: bytes, visit: str) -> str:
    """The token that a page's own requests carry."""
    return hmac.new(secret, b"csrf:" + visit.encode(), hashlib.sha256).hexdigest()


def cookies_of(scope: Scope) -> dict[str, str]:
    """The cookies of a request; none when they cannot be parsed."""
    raw = b"; ".join(v for k, v in scope["headers"] if k == b"cookie").decode("latin-1")
    try:
        return {k: m.value for k, m in SimpleCookie(raw).items()}
    except CookieError:
        return {}


def _header(scope: Scope, name: bytes) -> str:
    return next((v.decode("latin-1") for k, v in scope["headers"] if k == name), "")


def set_cookie(
    response: Response, scope: Scope, name: str, value: str, *, max_age: int | None = None
) -> None:
    """A cookie that scripts cannot read and other sites cannot send along."""
    response.set_cookie(
        name,
        value,
        max_age=max_age,
        httponly=True,
        samesite="lax",
        secure=scope.get("scheme") == "https",
    )


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
        declared = _header(scope, b"content-length")
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


def wants_data(scope: Scope) -> bool:
    """True where the answer should be JSON rather than a page."""
    return str(scope["path"]).startswith("/api/")


def refuse(scope: Scope, status: int, what: str, remedy: str = "") -> Response:
    """A refusal in words, as data or as plain text."""
    if wants_data(scope):
        return JSONResponse({"what": what, "where": "", "remedy": remedy}, status)
    return Response(f"{what} {remedy}".strip(), status, media_type="text/plain; charset=utf-8")


class Gate:
    """Stands before everything; see the module's words."""

    def __init__(
        self, app: ASGIApp, *, settings: Settings, secret: bytes, accounts: Accounts
    ) -> None:
        self.app = app
        self.settings = settings
        self.secret = secret
        self.accounts = accounts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let pass, or refuse in words; always with the security headers."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = list(message["headers"])
                present = {k.lower() for k, _ in headers}
                for name, value in SECURITY_HEADERS.items():
                    if name.encode() not in present:
                        headers.append((name.encode(), value.encode()))
                if b"cache-control" not in present:
                    quiet = b"no-cache" if scope["path"].startswith("/static/") else b"no-store"
                    headers.append((b"cache-control", quiet))
                message = {**message, "headers": headers}
            await send(message)

        refusal, receive = await self._judge(scope, receive)
        await (refusal or self.app)(scope, receive, with_headers)

    async def _judge(self, scope: Scope, receive: Receive) -> tuple[Response | None, Receive]:
        if not self._host_known(scope):
            return refuse(
                scope,
                421,
                "this workbench is not known by that host name.",
                "The operator can add it with --name.",
            ), receive
        cookies = cookies_of(scope)
        visit = cookies.get(TOKEN_COOKIE, "")
        scope["ebbline.visit"] = visit
        scope["ebbline.theme"] = cookies.get(THEME_COOKIE, "")
        scope["ebbline.principal"] = await self._principal(cookies, visit)
        public = scope["path"].startswith(PUBLIC_PATHS)
        if scope["method"] not in SAFE_METHODS:
            problem, receive = await self._forged(scope, receive, visit)
            if problem:
                return refuse(scope, 403, problem, "Load the page again and repeat."), receive
        if scope["ebbline.principal"] is None and not public:
            if wants_data(scope) or scope["method"] not in SAFE_METHODS:
                return refuse(scope, 401, "please sign in first."), receive
            back = quote(scope["path"], safe="/")
            return RedirectResponse(f"/sign-in?then={back}", 303), receive
        return None, receive

    def _host_known(self, scope: Scope) -> bool:
        host = _header(scope, b"host")
        name = host.rsplit(":", 1)[0] if host.rsplit("]", 1)[-1].count(":") == 1 else host
        return name.lower() in self.settings.names

    async def _principal(self, cookies: dict[str, str], visit: str) -> Principal | None:
        if not self.settings.accounts:
            name = clean_name(unquote(cookies.get(NAME_COOKIE, "")))
            return Principal(name or "reader at this computer", Role.ADMIN)
        if not visit:
            return None
        return await run_in_threadpool(self.accounts.signed_in, hash_of(visit))

    async def _forged(
        self, scope: Scope, receive: Receive, visit: str
    ) -> tuple[str | None, Receive]:
        site = _header(scope, b"sec-fetch-site")
        if site and site not in ("same-origin", "none"):
            return "the request came from another site.", receive
        origin = _header(scope, b"origin")
        if origin and urlsplit(origin).netloc.lower() != _header(scope, b"host").lower():
            return "the request came from another site.", receive
        token = _header(scope, CSRF_HEADER)
        form = _header(scope, b"content-type").startswith("application/x-www-form-urlencoded")
        if not token and form:
            body, receive = await _buffered(receive)
            if body is None:
                return "the form is too large.", receive
            token = parse_qs(body.decode("utf-8", "replace")).get(CSRF_FIELD, [""])[0]
        expected = csrf_token(self.secret, visit)
        if not visit or not hmac.compare_digest(token.encode(), expected.encode()):
            return "the page's token is missing or out of date.", receive
        return None, receive


async def _buffered(receive: Receive) -> tuple[bytes | None, Receive]:
    body = b""
    while True:
        message = await receive()
        body += message.get("body", b"")
        if len(body) > FORM_BYTES:
            return None, receive
        if message["type"] == "http.disconnect" or not message.get("more_body", False):
            break
    replayed: list[Message] = [{"type": "http.request", "body": body, "more_body": False}]

    async def again() -> Message:
        return replayed.pop() if replayed else await receive()

    return body, again


def clean_name(name: str) -> str:
    """A display name without control characters, at most 60 long."""
    return "".join(c for c in name if c.isprintable()).strip()[:60]


def new_visit() -> str:
    """A token for a browser's visit."""
    return secrets.token_urlsafe(32)


def local_path(path: str) -> str:
    """A path on this site to go on to after signing in; the first page for anything else."""
    parts = urlsplit(path)
    safe = path.startswith("/") and not path.startswith(("//", "/\\"))
    return path if safe and not parts.netloc and not parts.scheme else "/"
