"""A whole archive on a Dask cluster: batches out, tables back, only what changed read again."""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.resources import files
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ebbline import CAUTION, __version__
from ebbline.cohort.fork_server import METHOD, start_loading
from ebbline.cohort.results import Results, RunFacts
from ebbline.cohort.sources import Source, find_sources
from ebbline.cohort.work import failed, read_batch, to_tables
from ebbline.criteria import TABLES as STANDARDS
from ebbline.errors import EbblineError
from ebbline.reading.analyse import ALL_STANDARDS

if TYPE_CHECKING:
    import pyarrow as pa

    from ebbline.criteria.model import Standard

BATCH = 12
"""Recordings a task: few enough that a lost worker costs little, enough to pay for the way."""

AHEAD = 3
"""Tasks under way a worker: bounds what waits in memory, whatever the archive's size."""

WORKERS_LOST = 6
"""So often may workers die under one task before its recordings are tried one by one (ours)."""

LOOK_S, ALONE_S = 5.0, 20.0
"""How often it is looked whether workers are there, and how long none may be (ours)."""

_READS = ("recording", "signal", "features", "criteria", "reading", "cohort")
_READS_TOO = ("compiled.py", "definitions.py", "errors.py", "terms.py")
"""The rooms and modules that turn bytes into classes."""

Progress = Callable[[int, int], None]
"""Told how many recordings are done, of how many."""


@dataclass(frozen=True, slots=True)
class Summary:
    """What a run did. read: newly; kept: from the run before; failed: of all, with reasons."""

    recordings: int
    read: int
    kept: int
    failed: int
    folder: Path


def run_archive(
    where: str,
    out: str | Path,
    *,
    standards: Sequence[Standard] = ALL_STANDARDS,
    scheduler: str = "",
    workers: int = 0,
    force: bool = False,
    progress: Progress = lambda done, of: None,
) -> Summary:
    """Read every recording of an archive into the tables of a folder.

    where: a folder, a glob or an fsspec address. scheduler: address of a Dask scheduler whose
    workers have Ebbline and see the same addresses; "" starts workers here, one a core unless
    told. Results that are there already are gone on with: only recordings that are new or changed
    are read. Raises EbblineError for a place that cannot be read or written.
    """
    sources = find_sources(where)
    results = Results(Path(out))
    facts = RunFacts(
        ebbline_version=__version__,
        code=code_fingerprint(),
        where=where,
        standards=tuple(str(one) for one in standards),
        editions=tuple(STANDARDS[one].edition for one in standards),
        caution=CAUTION,
    )
    done = results.begin(facts, force=force)
    wanted = [one for one in sources if done.get(one.recording) != one.fingerprint]
    progress(len(sources) - len(wanted), len(sources))
    if wanted:
        if not scheduler:
            start_loading()
        count = len(sources) - len(wanted)
        for batch, tables in _read_all(scheduler, workers, wanted, standards):
            results.add(batch, tables)
            count += len(batch)
            progress(count, len(sources))
    results.finish(sources)
    return Summary(
        recordings=len(sources),
        read=len(wanted),
        kept=len(sources) - len(wanted),
        failed=_failed(results.folder),
        folder=results.folder,
    )


class _WorkersGoneError(Exception):
    """No worker is left, and none has come back for a while."""


def _read_all(
    scheduler: str, workers: int, sources: Sequence[Source], standards: Sequence[Standard]
) -> Iterator[tuple[list[Source], dict[str, pa.Table]]]:
    """Each batch with its tables, as they come, on as many clusters after one another as it takes.

    A cluster here whose workers are all gone is made anew; one that is somebody else's is not.
    """
    left = {one.recording: one for one in sources}
    for tries_left in reversed(range(WORKERS_LOST)):
        try:
            with _client(scheduler, workers, len(left)) as client:
                for batch, tables in _read_on(client, list(left.values()), standards):
                    for one in batch:
                        del left[one.recording]
                    yield batch, tables
            return
        except _WorkersGoneError as error:
            if scheduler or not tries_left:
                raise EbblineError(
                    "no worker is left to read with.",
                    where=scheduler,
                    remedy="Start workers, and run this again: it goes on where it ended.",
                ) from error


def _read_on(
    client: Any, sources: Sequence[Source], standards: Sequence[Standard]
) -> Iterator[tuple[list[Source], dict[str, pa.Table]]]:
    """The same on one cluster; never more under way than the bound."""
    distributed = _distributed()
    rest = iter(sources)
    under_way: dict[Any, list[Source]] = {}

    def send(batch: list[Source]) -> None:
        future = client.submit(read_batch, batch, standards, pure=False, retries=WORKERS_LOST)
        under_way[future] = batch

    def send_next() -> None:
        if batch := list(islice(rest, BATCH)):
            send(batch)

    for _ in range(AHEAD * max(1, _workers(client))):
        send_next()
    alone_since = time.monotonic()
    while under_way:
        try:
            distributed.wait(list(under_way), timeout=LOOK_S, return_when="FIRST_COMPLETED")
        except TimeoutError:
            if _workers(client):
                alone_since = time.monotonic()
            elif time.monotonic() - alone_since > ALONE_S:
                raise _WorkersGoneError from None
            continue
        for future in [one for one in under_way if one.done()]:
            batch = under_way.pop(future)
            try:
                # A result whose worker died meanwhile is made again by the scheduler.
                tables = future.result(timeout=ALONE_S)
            except TimeoutError:
                under_way[future] = batch
                continue
            except distributed.KilledWorker:
                if len(batch) > 1:
                    for one in batch:
                        send([one])
                    continue
                tables = _lost(batch[0])
            future.release()
            yield batch, tables
            send_next()
        alone_since = time.monotonic()


def _workers(client: Any) -> int:
    return len(client.scheduler_info(n_workers=-1)["workers"])


def _lost(source: Source) -> dict[str, pa.Table]:
    """The row of a recording under which every worker died."""
    rows = failed(
        source,
        "the worker that read it ended, each time it was tried.",
        "",
        "Try it alone with `ebbline read`; it may be too large for the memory of a worker.",
    )
    return to_tables(rows)


@contextmanager
def _client(scheduler: str, workers: int, tasks: int) -> Iterator[Any]:
    """A client of the scheduler named, or of workers started here and ended afterwards."""
    import dask

    distributed = _distributed()
    dask.config.set({"distributed.scheduler.allowed-failures": WORKERS_LOST})
    if scheduler:
        try:
            client = distributed.Client(scheduler, timeout="10s")
        except (OSError, ValueError) as error:
            raise EbblineError(
                "there is no Dask scheduler at this address.",
                where=scheduler,
                remedy="Start one with `dask scheduler`, or leave --scheduler out.",
            ) from error
        with client:
            yield client
        return
    count = workers or max(1, min(_cores(), -(-tasks // BATCH)))
    with (
        dask.config.set(
            {
                "distributed.worker.daemon": True,
                "distributed.worker.multiprocessing-method": METHOD,
                "distributed.worker.http.routes": [],
                "distributed.scheduler.http.routes": [],
            }
        ),
        distributed.LocalCluster(
            n_workers=count,
            threads_per_worker=1,
            processes=True,
            dashboard_address=None,
            host="127.0.0.1",
            silence_logs=50,
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        yield client


def _distributed() -> Any:
    """Dask's cluster library, which is not typed."""
    import distributed

    return distributed


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def code_fingerprint() -> str:
    """Changes when anything that turns bytes into classes changes."""
    digest = hashlib.sha256(__version__.encode())
    root = Path(str(files("ebbline")))
    for room in _READS:
        for path in sorted((root / room).rglob("*")):
            if path.suffix in (".py", ".json") and path.is_file():
                digest.update(path.name.encode() + path.read_bytes())
    for name in _READS_TOO:
        digest.update(name.encode() + (root / name).read_bytes())
    return digest.hexdigest()[:16]


def _failed(folder: Path) -> int:
    import pyarrow.parquet as pq

    return int(pq.read_metadata(folder / "failures.parquet").num_rows)
