"""A server of the workbench on two cores, and timed browsers: what the benches of a class share."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx

CORES = 2
PASSWORD = "three quiet words"
SERVER = """
import os, sys
from pathlib import Path
if hasattr(os, "sched_setaffinity"):
    os.sched_setaffinity(0, set(sorted(os.sched_getaffinity(0))[:int(sys.argv[3])]))
import uvicorn
from ebbline.web.app import create_app
from ebbline.web.principal import Role
from ebbline.web.settings import Settings
learners = int(sys.argv[4])
app = create_app(Settings(store=Path(sys.argv[1]), accounts=learners > 0), warm=True)
for number in range(learners):
    app.state.accounts.add(f"learner {number:02d}", Role.READER, sys.argv[5])
print("ready", flush=True)
uvicorn.run(app, host="127.0.0.1", port=int(sys.argv[2]), log_level="warning")
"""


class Browser:
    """Keeps cookies and the page's token, and times every request."""

    def __init__(
        self, address: str, times: dict[str, list[float]], limits: httpx.Limits, timeout_s: float
    ):
        self.times = times
        self.failures: list[str] = []
        self.client = httpx.AsyncClient(base_url=address, timeout=timeout_s, limits=limits)

    async def ask(self, kind: str, method: str, path: str, **more: object) -> httpx.Response:
        begun = time.perf_counter()
        answer = await self.client.request(method, path, **more)  # type: ignore[arg-type]
        self.times[kind].append(1000 * (time.perf_counter() - begun))
        if answer.status_code >= 400:
            self.failures.append(f"{method} {path} {answer.status_code} {answer.text[:120]}")
        if found := re.search(r'name="csrf-token" content="(\w+)"', answer.text[:2000]):
            self.client.headers["x-csrf-token"] = found[1]
        return answer


@contextmanager
def serving(accounts: int = 0) -> Iterator[str]:
    """The address of a server that is up, with so many accounts; its cost is printed at the end.

    Raises RuntimeError when it does not start.
    """
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        store = str(Path(folder) / "class.sqlite")
        arguments = [store, str(port), str(CORES), str(accounts), PASSWORD]
        server = subprocess.Popen(
            [sys.executable, "-c", SERVER, *arguments], stdout=subprocess.PIPE, text=True
        )
        try:
            assert server.stdout is not None
            if server.stdout.readline().strip() != "ready":
                raise RuntimeError("The server did not start.")
            _reachable(port)
            yield f"http://127.0.0.1:{port}"
            print(f"\nServer's CPU: {_cpu_s(server.pid):.1f} s on at most {CORES} cores; "
                  f"memory {_memory_mib(server.pid):.0f} MiB")  # fmt: skip
        finally:
            server.terminate()
            try:
                server.wait(10)
            except subprocess.TimeoutExpired:
                server.kill()


def _reachable(port: int) -> None:
    for _ in range(200):
        with socket.socket() as knock:
            if knock.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)


def _cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _memory_mib(pid: int) -> float:
    found = re.search(r"VmHWM:\s+(\d+)", Path(f"/proc/{pid}/status").read_text())
    return int(found[1]) / 1024 if found else float("nan")
