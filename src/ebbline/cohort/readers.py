"""Readings that people gave of the recordings, from a CSV file, window by window.

Two forms are read. The general one has a row a reading:

    recording,reader,start_min,end_min,class        class: 0 or a word that follows, ...
    1001,anna,0,30,suspicious

and that of the CTU-UHB expert annotations (rec_id, expert_id, eval_step1..3; 1 normal,
2 suspicious, 3 pathological, -1 not given): steps 1 and 2 are minutes 0 to 30 and 30 to 60, step 3
is the second stage.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from ebbline.cohort.rows import SECOND_STAGE
from ebbline.errors import EbblineError

CLASSES = ("normal", "suspicious", "pathological")
"""Classes that readers choose from, from good to bad."""

_STEPS = {"eval_step1": (0.0, 1800.0), "eval_step2": (1800.0, 3600.0)}
_SECOND = "eval_step3"


@dataclass(frozen=True, slots=True)
class GivenReading:
    """One person's class of one window. rank: 0 best. The second stage has no times of its own."""

    recording: str
    reader: str
    window: str
    start_s: float
    end_s: float
    rank: int


def given_readings(path: Path) -> list[GivenReading]:
    """All readings of a file; of a window that one person read twice the first counts.

    Raises EbblineError with the line where one cannot be understood.
    """
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            rows = csv.DictReader(file)
            heads = set(rows.fieldnames or ())
            if {"rec_id", "expert_id"} <= heads:
                found = [one for n, row in enumerate(rows, 2) for one in _expert(row, path, n)]
            elif {"recording", "reader", "start_min", "end_min", "class"} <= heads:
                found = [_general(row, path, n) for n, row in enumerate(rows, 2)]
            else:
                raise EbblineError(
                    "the columns of this file are not those of readings.",
                    where=str(path),
                    remedy="Name them recording, reader, start_min, end_min, class.",
                )
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise EbblineError(
            f"these readings cannot be read: {getattr(error, 'strerror', None) or error}.",
            where=str(path),
            remedy="Name a CSV file in UTF-8.",
        ) from error
    first: dict[tuple[str, str, str, float], GivenReading] = {}
    for one in found:
        first.setdefault((one.recording, one.reader, one.window, one.start_s), one)
    return list(first.values())


def _expert(row: dict[str, str], path: Path, line: int) -> Iterator[GivenReading]:
    for column in (*_STEPS, _SECOND):
        said = _number(row.get(column), path, line, column)
        if said in (1, 2, 3):
            window = SECOND_STAGE if column == _SECOND else ""
            start_s, end_s = _STEPS.get(column, (-1.0, -1.0))
            yield GivenReading(
                row["rec_id"].strip(),
                row["expert_id"].strip(),
                window,
                start_s,
                end_s,
                int(said) - 1,
            )


def _general(row: dict[str, str], path: Path, line: int) -> GivenReading:
    said = (row["class"] or "").strip().casefold()
    if said not in CLASSES:
        raise EbblineError(
            f'"{said}" is not a class that readers give.',
            where=f"{path}, line {line}",
            remedy=f"Write one of: {', '.join(CLASSES)}.",
        )
    return GivenReading(
        row["recording"].strip(),
        row["reader"].strip(),
        "",
        60 * _number(row["start_min"], path, line, "start_min"),
        60 * _number(row["end_min"], path, line, "end_min"),
        CLASSES.index(said),
    )


def _number(text: str | None, path: Path, line: int, column: str) -> float:
    try:
        return float(text or "")
    except ValueError as error:
        raise EbblineError(
            f'"{text}" is not a number.',
            where=f"{path}, line {line}, column {column}",
            remedy="Correct the file.",
        ) from error
