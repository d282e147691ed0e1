"""The recipe of a proxy, tried: a real nginx with TLS before a workbench. `python -m bench.proxy`.

deploy/nginx.conf is taken as it is shipped; only its ports and its certificate (self-signed, made
here) are put in. Then a browser's requests are made through it: signing in, a change, events of the
live board as they come, a device's samples over a WebSocket, and the promise of encryption. Each
claim is printed; ends with 1 where one does not hold. Needs nginx and openssl.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import re
import shutil
import socket
import ssl
import subprocess
import sys
import tempfile
import time
from collections.abc import AsyncIterator, Iterator
from datetime import UTC, datetime
from pathlib import Path

import httpx
import websockets

from ebbline.web.auth.accounts import Accounts, Role
from ebbline.web.settings import Limits
from ebbline.web.store import Store

ROOT = Path(__file__).parents[1]
NAME, WHO, PASSWORD = "workbench.example.org", "Ada Example", "three quiet words"
BED = "Bed 1"

TOLD_S = 90.0
"""A state is told some seconds after its samples, later where loops are compiled first. One that a
proxy held back would wait for its buffer to fill, which a board without devices never does."""


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def configured(folder: Path, port: int, workbench: str) -> str:
    """The shipped recipe with this run's ports and certificate, as a whole configuration."""
    recipe = (ROOT / "deploy" / "nginx.conf").read_text("utf-8")
    for shipped, here in (
        ("listen 443 ssl", f"listen 127.0.0.1:{port} ssl"),
        ("listen 80", f"listen 127.0.0.1:{free_port()}"),
        ("/etc/ssl/workbench", str(folder / "workbench")),
        ("http://127.0.0.1:8722", workbench),
    ):
        assert shipped in recipe, shipped
        recipe = recipe.replace(shipped, here)
    temporary = "".join(
        f"{one}_temp_path {folder / one};\n"
        for one in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    return (
        f"daemon off;\npid {folder / 'pid'};\nerror_log stderr warn;\nevents {{}}\n"
        f"http {{\naccess_log off;\n{temporary}{recipe}\n}}\n"
    )


@contextlib.contextmanager
def proxy(here: str) -> Iterator[tuple[str, ssl.SSLContext]]:
    """nginx before a workbench: its address, and what trusts its certificate."""
    nginx = shutil.which("nginx") or shutil.which("/usr/sbin/nginx")
    if nginx is None:
        raise SystemExit("bench.proxy: there is no nginx here (Debian: apt-get install nginx).")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        # nginx's workers are another user.
        folder.chmod(0o755)
        key, certificate = folder / "workbench.key", folder / "workbench.pem"
        subprocess.run(
            [
                *("openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"),
                *("-keyout", str(key), "-out", str(certificate), "-subj", f"/CN={NAME}"),
                *("-addext", f"subjectAltName=DNS:{NAME}"),
            ],
            check=True,
            capture_output=True,
        )
        port = free_port()
        (folder / "nginx.conf").write_text(configured(folder, port, here), "utf-8")
        running = subprocess.Popen([nginx, "-p", name, "-c", str(folder / "nginx.conf")])
        try:
            while True:
                with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port)):
                    break
                if running.poll() is not None:
                    raise SystemExit("bench.proxy: nginx did not start; what it said stands above.")
                time.sleep(0.05)
            yield f"https://{NAME}:{port}", ssl.create_default_context(cafile=certificate)
        finally:
            running.terminate()
            running.wait(20)


class _Here(httpx.AsyncHTTPTransport):
    """Connects to this computer whatever the name, and checks the certificate by the name."""

    async def handle_async_request(self, request: httpx.Request) -> httpx.Response:
        return await super().handle_async_request(
            httpx.Request(
                request.method,
                request.url.copy_with(host="127.0.0.1"),
                headers=request.headers,
                stream=request.stream,
                extensions={**request.extensions, "sni_hostname": request.url.host},
            )
        )


async def claims(address: str, trusted: ssl.SSLContext) -> AsyncIterator[tuple[str, bool]]:
    """What holds through the proxy, one after another."""
    async with httpx.AsyncClient(
        base_url=address, transport=_Here(verify=trusted), timeout=60.0
    ) as browser:
        page = await browser.get("/")
        yield (
            "an unknown visitor is sent to the sign-in",
            page.headers["location"].startswith("/sign-in"),
        )
        page = await browser.get("/sign-in")
        promised = page.headers.get("strict-transport-security", "")
        yield f"Strict-Transport-Security: {promised}", "max-age=" in promised
        browser.headers["x-csrf-token"] = token(page.text)
        # As browsers say it: with the port, which the workbench holds against its own name.
        browser.headers["origin"] = address
        said = {"name": WHO, "password": PASSWORD}
        page = await browser.post("/sign-in", data=said)
        cookie = page.headers.get("set-cookie", "")
        yield "signing in works", page.status_code == 303
        yield "the sign-in's cookie is for TLS only", "secure" in cookie.lower()
        page = await browser.get("/")
        browser.headers["x-csrf-token"] = token(page.text)
        answer = await browser.post("/api/live/beds", json={"bed": BED, "case": "C-1"})
        yield f"a change is taken from {address}", answer.status_code == 201
        other = await browser.post(
            "/api/live/devices",
            json={"bed": BED, "name": "other"},
            headers={"origin": f"https://{NAME}"},
        )
        yield "one from the same name on another port is refused", other.status_code == 403
        device = (await browser.post("/api/live/devices", json={"bed": BED, "name": "one"})).json()
        async with browser.stream("GET", "/api/live/events") as events:
            lines = events.aiter_lines()
            yield (
                "a device's samples are kept over a WebSocket",
                await sent(address, trusted, device["token"]),
            )
            yield "their state comes as an event, not held back", await told_of(lines)


def token(page: str) -> str:
    found = re.search(r'name="csrf-token" content="(\w+)"', page)
    return found[1] if found else ""


async def told_of(lines: AsyncIterator[str]) -> bool:
    """Whether the next state of the bed comes within its time."""

    async def wait() -> bool:
        async for line in lines:
            if line.startswith("data:") and BED in line:
                return True
        return False

    try:
        return await asyncio.wait_for(wait(), TOLD_S)
    except TimeoutError:
        return False


async def sent(address: str, trusted: ssl.SSLContext, device: str) -> bool:
    """A packet of a quarter of a minute, acknowledged."""
    packet = {
        "start": datetime.now(UTC).isoformat(),
        "rate_hz": 4.0,
        "sequence": 7,
        "channels": [
            {
                "kind": "fetal heart rate",
                "fetus": 1,
                "sensor": "ultrasound",
                "samples": [140.0] * 60,
            }
        ],
    }
    port = int(address.rsplit(":", 1)[1])
    async with websockets.connect(
        address.replace("https", "wss") + "/api/live/stream",
        ssl=trusted,
        host="127.0.0.1",
        port=port,
        additional_headers={"authorization": f"bearer {device}"},
    ) as socket_:
        await socket_.send(json.dumps(packet))
        return bool(json.loads(await socket_.recv()) == {"kept": True, "sequence": 7})


async def run(address: str, trusted: ssl.SSLContext) -> bool:
    sound = True
    async for what, holds in claims(address, trusted):
        print(f"{'holds ' if holds else 'FAILS '} {what}", flush=True)
        sound &= holds
    return sound


@contextlib.contextmanager
def workbench() -> Iterator[str]:
    """`ebbline serve` as the recipe says it, with one account."""
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder) / "w.sqlite"
        Accounts(Store(store), Limits()).add(WHO, Role.ADMIN, PASSWORD)
        words = ["serve", "--port", "0", "--store", str(store), "--accounts"]
        words += ["--name", NAME, "--proxy", "127.0.0.1"]
        running = subprocess.Popen(
            [sys.executable, "-m", "ebbline", *words], stdout=subprocess.PIPE, text=True
        )
        try:
            assert running.stdout is not None
            for line in running.stdout:
                if found := re.search(r"http://127\.0\.0\.1:\d+", line):
                    yield found[0]
                    return
            raise SystemExit("bench.proxy: the workbench did not start.")
        finally:
            running.terminate()
            running.wait(60)


def main() -> int:
    with workbench() as here, proxy(here) as (address, trusted):
        return 0 if asyncio.run(run(address, trusted)) else 1


if __name__ == "__main__":
    sys.exit(main())
