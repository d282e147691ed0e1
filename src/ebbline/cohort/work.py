"""What a worker does: a batch of sources to Arrow tables. A bad file is a row of failures."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from ebbline.cohort.rows import Rows, rows_of
from ebbline.cohort.schema import TABLES, arrow_schema
from ebbline.cohort.sources import Source
from ebbline.errors import EbblineError
from ebbline.recording import open_recording

if TYPE_CHECKING:
    import pyarrow as pa

    from ebbline.criteria.model import Standard


_HERE = "file://"


def read_batch(sources: Sequence[Source], standards: Sequence[Standard]) -> dict[str, pa.Table]:
    """The rows of some sources, by table."""
    rows = Rows()
    for source in sources:
        rows.extend(read_source(source, standards))
    return to_tables(rows)


def to_tables(rows: Rows) -> dict[str, pa.Table]:
    """The same rows as Arrow tables, by name."""
    import pyarrow as pa

    return {
        table.name: pa.Table.from_pylist(getattr(rows, table.name), schema=arrow_schema(table))
        for table in TABLES
    }


def read_source(source: Source, standards: Sequence[Standard]) -> Rows:
    """The rows of one recording, or one row that says why it cannot be read."""
    try:
        with ExitStack() as stack:
            recording = open_recording(_local(source, stack))
            return rows_of(
                recording, source.recording, source.address, source.fingerprint, standards
            )
    except EbblineError as error:
        return failed(source, error.what, error.where, error.remedy)
    except Exception as error:
        # One bad file never stops the rest: what nobody foresaw is a row too, with its name.
        what = f"reading it failed in a way that nobody foresaw: {type(error).__name__}: {error}."
        return failed(source, what, "", "Report it, with the file if it may be shared.")


def failed(source: Source, what: str, place: str, remedy: str) -> Rows:
    """The row of a recording that could not be read."""
    row = {
        "recording": source.recording,
        "address": source.address,
        "fingerprint": source.fingerprint,
        "what": what,
        "place": place,
        "remedy": remedy,
    }
    return Rows(failures=[row])


def _local(source: Source, stack: ExitStack) -> Path:
    """The file where it lies on this machine, or fetched into a folder with what belongs to it."""
    if source.address.startswith(_HERE):
        return Path(source.address.removeprefix(_HERE))
    from fsspec.core import url_to_fs

    folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="ebbline-archive-")))
    for address in source.files:
        system, path = url_to_fs(address)
        system.get_file(path, str(folder / Path(path).name))
    return folder / Path(source.address).name
