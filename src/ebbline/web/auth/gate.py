"""Who is asking, may they, and is the request really theirs.

One gate stands before every page: sign-in where accounts are asked for, tokens against forged
requests, and headers that forbid scripts, styles and requests from anywhere but here. What a route
adds is only the role it needs. Host names (against DNS rebinding) are checked before, by Starlette.
"""

from __future__ import annotations

import hmac
from collections.abc import Callable
from ipaddress import ip_address
from urllib.parse import parse_qs, quote, unquote, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from ebbline.web.auth.accounts import Accounts
from ebbline.web.principal import Principal, Role, clean_name
from ebbline.web.refusals import refuse, wants_data
from ebbline.web.settings import Settings
from ebbline.web.tokens import (
    NAME_COOKIE,
    THEME_COOKIE,
    TOKEN_COOKIE,
    cookies_of,
    csrf_token,
    hash_of,
)

CSRF_HEADER = "x-csrf-token"
CSRF_FIELD = "csrf_token"
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
FORM_BYTES = 64 * 1024
DEVICE_PATHS = ("/api/live/push", "/api/live/stream")
"""Where devices send: they have a token of their own and no session that could be forged."""
CLASS_PATHS = ("/join", "/api/join")
"""Where learners come in by a code, without an account."""
PUBLIC_PATHS = ("/static/", "/sign-in", "/api/sign-in", "/health", *CLASS_PATHS)
GUEST_PATHS = ("/static/", "/teach", "/api/teach", "/account/look", "/help", *CLASS_PATHS)
"""What a learner without an account reaches."""

HSTS = b"max-age=31536000"
"""Said over TLS only: a browser that has been here once comes back encrypted for a year (RFC 6797;
the length is ours). Sub-domains are not this program's to speak for."""

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


class Gate:
    """Stands before everything; see the module's words."""

    def __init__(
        self,
        app: ASGIApp,
        *,
        settings: Settings,
        secret: bytes,
        accounts: Accounts,
        guest: Callable[[str], Principal | None],
    ) -> None:
        self.app = app
        self.settings = settings
        self.secret = secret
        self.accounts = accounts
        self.guest = guest

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let pass, or refuse in words; always with the security headers."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            if self._takes_devices(scope):
                await self.app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = list(message["headers"])
                present = {k.lower() for k, _ in headers}
                if scope.get("scheme") == "https":
                    headers.append((b"strict-transport-security", HSTS))
                for name, value in SECURITY_HEADERS.items():
                    if name.encode() not in present:
                        headers.append((name.encode(), value.encode()))
                if b"cache-control" not in present:
                    quiet = b"no-cache" if scope["path"].startswith("/static/") else b"no-store"
                    headers.append((b"cache-control", quiet))
                message = {**message, "headers": headers}
            await send(message)

        if self._takes_devices(scope):
            await self.app(scope, receive, with_headers)
            return
        refusal, receive = await self._judge(scope, receive)
        await (refusal or self.app)(scope, receive, with_headers)

    def _takes_devices(self, scope: Scope) -> bool:
        return scope["path"] in DEVICE_PATHS and (
            not self.settings.classes_only or _from_here(scope)
        )

    async def _judge(self, scope: Scope, receive: Receive) -> tuple[Response | None, Receive]:
        cookies = cookies_of(scope)
        visit = cookies.get(TOKEN_COOKIE, "")
        scope["ebbline.visit"] = visit
        scope["ebbline.theme"] = cookies.get(THEME_COOKIE, "")
        scope["ebbline.principal"] = await self._principal(cookies, visit)
        path = scope["path"]
        public = path.startswith(PUBLIC_PATHS)
        who = scope["ebbline.principal"]
        guest = who is not None and bool(who.guest)
        if guest and not path.startswith(GUEST_PATHS):
            return refuse(scope, 403, "this is not open to guests of a class."), receive
        if not guest and self.settings.classes_only and not _from_here(scope):
            # Without accounts everyone is admin: the network gets the classes' pages alone.
            scope["ebbline.principal"] = None
            if path == "/":
                return RedirectResponse("/join", 303), receive
            if not path.startswith(("/static/", *CLASS_PATHS)):
                return refuse(scope, 403, "from here only a class can be joined."), receive
        if scope["method"] not in SAFE_METHODS:
            problem, receive = await self._forged(scope, receive, visit)
            if problem:
                return refuse(scope, 403, problem, "Load the page again and repeat."), receive
        if scope["ebbline.principal"] is None and not public:
            if wants_data(scope) or scope["method"] not in SAFE_METHODS:
                return refuse(scope, 401, "please sign in first."), receive
            asked = scope["path"] + (
                f"?{query}" if (query := scope["query_string"].decode()) else ""
            )
            back = quote(asked, safe="/")
            return RedirectResponse(f"/sign-in?then={back}", 303), receive
        return None, receive

    async def _principal(self, cookies: dict[str, str], visit: str) -> Principal | None:
        if visit and (guest := self.guest(hash_of(visit))) is not None:
            return guest
        if not self.settings.accounts:
            name = clean_name(unquote(cookies.get(NAME_COOKIE, "")))
            return Principal(name or "reader at this computer", Role.ADMIN)
        if not visit:
            return None
        return await run_in_threadpool(self.accounts.signed_in, hash_of(visit))

    async def _forged(
        self, scope: Scope, receive: Receive, visit: str
    ) -> tuple[str | None, Receive]:
        headers = Headers(scope=scope)
        site = headers.get("sec-fetch-site")
        if site and site not in ("same-origin", "none"):
            return "the request came from another site.", receive
        origin = headers.get("origin")
        if origin and urlsplit(origin).netloc.lower() != headers.get("host", "").lower():
            return "the request came from another site.", receive
        token = headers.get(CSRF_HEADER, "")
        form = headers.get("content-type", "").startswith("application/x-www-form-urlencoded")
        if not token and form:
            body, receive = await _buffered(receive)
            if body is None:
                return "the form is too large.", receive
            token = parse_qs(body.decode("utf-8", "replace")).get(CSRF_FIELD, [""])[0]
        expected = csrf_token(self.secret, visit)
        if not visit or not hmac.compare_digest(token.encode(), expected.encode()):
            return "the page's token is missing or out of date.", receive
        return None, receive


def _from_here(scope: Scope) -> bool:
    """Whether a request comes from this computer itself."""
    address = str((scope.get("client") or ("127.0.0.1",))[0])
    try:
        return ip_address(address).is_loopback
    except ValueError:
        return address in ("localhost", "testclient")


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


def local_path(path: str) -> str:
    """A path on this site to go on to after signing in; the first page for anything else."""
    parts = urlsplit(path)
    safe = path.startswith("/") and not path.startswith(("//", "/\\"))
    return path if safe and not parts.netloc and not parts.scheme else "/"
