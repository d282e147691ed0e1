"""The record under load: writes per second, and kill -9 at any moment.

    python -m bench.journal                     # SQLite, and PostgreSQL where it is installed
    python -m bench.journal --kills 300 --server-kills 30 --page

Writers acknowledge each entry through a pipe only after the store has answered. They are killed
with signal 9 after a random time, and on PostgreSQL the server with all its processes too; then
the record is opened anew: every acknowledged entry must stand in it once, and the chain must hold.
The whole is done once with the seed that is printed.
"""

from __future__ import annotations

import argparse
import os
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

from ebbline.errors import EbblineError
from ebbline.journal.chain import Draft
from ebbline.journal.entries import body_from
from ebbline.journal.store import Journal

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))
PAGE = Path(__file__).parent.parent / "docs" / "record.md"
BEGINS, ENDS = "<!-- measured: bench.journal -->", "<!-- end of measured -->"
CASE = "24-0117"
WRITERS = 3


def draft(token: str) -> Draft:
    body = body_from("vitals", {"pulse_bpm": 88, "temperature_c": 37.1})
    return Draft(body, datetime.now(UTC), "writer", token=token)


def speed(place: str, seconds: float = 4.0) -> tuple[float, float]:
    """Acknowledged entries per second of one writer, and the slowest of a hundred in ms."""
    journal = Journal(place)
    journal.open_case("S-1", "1", author="writer")
    taken = []
    ends = time.perf_counter() + seconds
    while time.perf_counter() < ends:
        before = time.perf_counter()
        journal.append("S-1", draft(""))
        taken.append(time.perf_counter() - before)
    journal.close()
    return len(taken) / sum(taken), 1000 * statistics.quantiles(taken, n=100)[98]


def write_until_killed(place: str, pipe: int, who: str) -> None:
    """A writer: one entry after the other; its token goes down the pipe when it is safe."""
    number = 0
    try:
        journal = Journal(place)
        os.write(pipe, b"open\n")
        while True:
            token = f"{who}-{number:08d}"
            journal.append(CASE, draft(token))
            os.write(pipe, f"{token}\n".encode())
            number += 1
    except EbblineError:
        # The server was killed under it: what was acknowledged before must stand.
        os._exit(3)


def round_of_writers(
    place: str, turn: int, rng: random.Random, strike: Callable[[], None] | None
) -> set[str]:
    """Start writers, kill them (or the server) at a random moment; what they acknowledged."""
    reading, writing = os.pipe()
    children = []
    for n in range(WRITERS):
        pid = os.fork()
        if pid == 0:
            os.close(reading)
            try:
                write_until_killed(place, writing, f"t{turn:04d}w{n}")
            finally:
                os._exit(4)
        children.append(pid)
    os.close(writing)
    said = b""
    # Now and then they are killed while they still open the record.
    while rng.random() > 0.02 and said.count(b"open\n") < WRITERS:
        said += os.read(reading, 4096)
    time.sleep(rng.uniform(0.0, 0.3))
    if strike is not None:
        strike()
    rng.shuffle(children)
    for pid in children:
        os.kill(pid, 9)
        time.sleep(rng.uniform(0, 0.01))
    for pid in children:
        os.waitpid(pid, 0)
    with os.fdopen(reading, "rb") as pipe:
        said += pipe.read()
    return {line for line in said.decode().split("\n")[:-1] if line != "open"}


def kills(place: str, count: int, seed: int, strike: Callable[[], None] | None) -> dict[str, int]:
    """Kill again and again; what was acknowledged, what was lost, what stands twice."""
    rng = random.Random(seed)
    journal = Journal(place)
    if CASE not in {one.case for one in journal.cases()}:
        journal.open_case(CASE, "4", author="writer")
    journal.close()
    acknowledged: set[str] = set()
    broken = refused = 0
    rounds = max(1, count // (1 if strike else WRITERS))
    for turn in range(rounds):
        acknowledged |= round_of_writers(place, seed * 1000 + turn, rng, strike)
        # A case holds only so many entries: what was written is looked at on the way.
        if turn % 20 == 19 or turn == rounds - 1:
            again = Journal(place)
            broken += len(again.verify(CASE).breaks)
            again.close()
    again = Journal(place)
    tokens = [entry.token for entry in again.entries(CASE)]
    try:
        again.append(CASE, draft("after-all-kills"))
    except EbblineError:
        refused = 1
    again.close()
    return {
        "kills": rounds * (1 if strike else WRITERS),
        "acknowledged": len(acknowledged),
        "lost": len(acknowledged - set(tokens)),
        "twice": len(tokens) - len(set(tokens)),
        "breaks": broken,
        "refused after": refused,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--server-kills", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--page", action="store_true", help="write the table into docs/record.md")
    asked = parser.parse_args()
    rows = []
    with ExitStack() as stack, tempfile.TemporaryDirectory() as folder:
        sqlite = str(Path(folder) / "speed.sqlite")
        rate, slow = speed(sqlite)
        found = kills(str(Path(folder) / "kill.sqlite"), asked.kills, asked.seed, None)
        rows.append(("SQLite, writers killed", rate, slow, found))
        from journal.postgres import missing, running

        why = missing()
        if why:
            print(f"PostgreSQL: not measured: {why}")
        else:
            server = stack.enter_context(running())
            rate, slow = speed(server.fresh("speed"))
            found = kills(server.fresh("writers"), asked.kills, asked.seed, None)
            rows.append(("PostgreSQL, writers killed", rate, slow, found))

            def strike() -> None:
                server.crash()
                server.start()

            found = kills(server.fresh("server"), asked.server_kills, asked.seed, strike)
            rows.append(("PostgreSQL, server killed", float("nan"), float("nan"), found))
    table = render(rows, asked.seed)
    print(table)
    if asked.page:
        text = PAGE.read_text()
        head, rest = text.split(BEGINS, 1)
        PAGE.write_text(f"{head}{BEGINS}\n\n{table}\n\n{ENDS}{rest.split(ENDS, 1)[1]}")
    bad = [r for r in rows if r[3]["lost"] or r[3]["twice"] or r[3]["breaks"]]
    sys.exit(1 if bad else 0)


def render(rows: list[tuple[str, float, float, dict[str, int]]], seed: int) -> str:
    lines = [
        "| store | entries/s, one writer | 99 % within | kill -9 | acknowledged | lost | twice | "
        "broken links |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for name, rate, slow, found in rows:
        fast = "" if rate != rate else f"{rate:.0f}"
        within = "" if slow != slow else f"{slow:.1f} ms"
        lines.append(
            f"| {name} | {fast} | {within} | {found['kills']} | {found['acknowledged']} | "
            f"{found['lost']} | {found['twice']} | {found['breaks']} |"
        )
    lines.append("")
    load = os.getloadavg()[1] / (os.cpu_count() or 1)
    lines.append(
        f"{WRITERS} writers at once on one case, seed {seed}; {os.cpu_count()} cores, on which "
        f"{load:.1f} programs a core waited (the disk is shared with them)."
    )
    return "\n".join(lines)


if __name__ == "__main__":
    main()
