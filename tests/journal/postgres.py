"""A PostgreSQL of one's own: made in a temporary directory, on a socket there, gone afterwards."""

from __future__ import annotations

import contextlib
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

PORT = 54329
"""Only the name of the socket's file: nothing listens on the network."""


def binaries() -> Path | None:
    """Debian's directory of the newest PostgreSQL that is installed, or None."""
    found = sorted(
        Path("/usr/lib/postgresql").glob("*/bin/postgres"), key=lambda p: float(p.parts[-3])
    )
    return found[-1].parent if found else None


def missing() -> str:
    """Why no server can be started here; empty when one can."""
    if binaries() is None:
        return "PostgreSQL is not installed (/usr/lib/postgresql/*/bin)"
    if os.getuid() == 0:
        if shutil.which("runuser") is None:
            return "PostgreSQL refuses to run as root, and there is no runuser"
        if "postgres" not in {one.pw_name for one in pwd.getpwall()}:
            return "PostgreSQL refuses to run as root, and there is no user postgres"
    return ""


class Server:
    """A running server. url: of its database; `crash` and `start` for whoever tests power cuts."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.data = home / "data"
        self.user = "postgres" if os.getuid() == 0 else pwd.getpwuid(os.getuid()).pw_name
        self.url = f"postgresql://{self.user}@/postgres?host={home}&port={PORT}"
        self._run("initdb", "-D", self.data, "-A", "trust", "-U", self.user, "-E", "UTF8", "-N")
        self.start()

    def _run(self, program: str, *arguments: str | Path) -> None:
        found = binaries()
        assert found is not None
        words = [str(found / program), *map(str, arguments)]
        if os.getuid() == 0:
            words = ["runuser", "-u", "postgres", "--", *words]
        done = subprocess.run(words, check=False, capture_output=True, text=True, cwd="/")
        if done.returncode:
            raise RuntimeError(f"{' '.join(words)}: {done.stdout} {done.stderr}")

    def start(self) -> None:
        """Start it, and wait until it answers (after a crash, until it has recovered)."""
        options = f"-c listen_addresses='' -k {self.home} -p {PORT} -c max_connections=40"
        log = self.home / "log"
        self._run("pg_ctl", "-D", self.data, "-w", "-t", "60", "-l", log, "-o", options, "start")

    def crash(self) -> None:
        """Kill -9 of the server and all its processes, none being started meanwhile."""
        pid = int((self.data / "postmaster.pid").read_text().split()[0])
        os.kill(pid, signal.SIGSTOP)
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
        for one in (*map(int, children), pid):
            with contextlib.suppress(ProcessLookupError):
                os.kill(one, signal.SIGKILL)
            while _state(one) != "Z":
                time.sleep(0.005)
        # Where nobody reaps the dead, PostgreSQL would take their numbers for the living.
        for lock in (self.data / "postmaster.pid", self.home / f".s.PGSQL.{PORT}.lock"):
            lock.unlink(missing_ok=True)

    def stop(self) -> None:
        """Stop it at once."""
        self._run("pg_ctl", "-D", self.data, "-m", "immediate", "-w", "stop")

    def fresh(self, name: str) -> str:
        """The address of a new, empty database."""
        self._run("createdb", "-h", self.home, "-p", str(PORT), "-U", self.user, name)
        return self.url.replace("@/postgres?", f"@/{name}?")


def _state(pid: int) -> str:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[-1].split()[0]
    except OSError:
        return "Z"


@contextmanager
def running() -> Iterator[Server]:
    """A server while this lasts."""
    home = Path(tempfile.mkdtemp(prefix="record-postgresql-"))
    if os.getuid() == 0:
        shutil.chown(home, "postgres")
    try:
        server = Server(home)
        try:
            yield server
        finally:
            server.stop()
    finally:
        shutil.rmtree(home, ignore_errors=True)
