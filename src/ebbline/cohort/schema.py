"""The tables of an archive: every column once, with its type, unit and meaning.

docs/archive.md and the metadata of the Parquet files are made from these lines.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pyarrow as pa


class Kind(StrEnum):
    """Types of a column, as Parquet names them."""

    TEXT = "string"
    TEXTS = "list of strings"
    NUMBER = "double"
    WHOLE = "int32"
    YES_NO = "bool"
    NUMBERS_BY_NAME = "map of string to double"


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, type, and what it holds, with the unit."""

    name: str
    kind: Kind
    meaning: str


@dataclass(frozen=True, slots=True)
class TableSchema:
    """One table: what a row is, its columns, and the columns that its rows are sorted by."""

    name: str
    row: str
    columns: tuple[Column, ...]
    order: tuple[str, ...]


def _texts(*columns: tuple[str, str]) -> tuple[Column, ...]:
    return tuple(Column(name, Kind.TEXT, meaning) for name, meaning in columns)


def _numbers(*columns: tuple[str, str]) -> tuple[Column, ...]:
    return tuple(Column(name, Kind.NUMBER, meaning) for name, meaning in columns)


_WHOSE = (
    Column("recording", Kind.TEXT, "name of the recording: its path below the archive's root"),
    Column("fetus", Kind.WHOLE, "number of the fetus: 1, 2, ...; 0 for what is the mother's"),
)
_WINDOW = (
    Column("window", Kind.TEXT, '"half hour", "last half hour" or "second stage"'),
    *_numbers(
        ("start_s", "start of the window, seconds from the recording's start"),
        ("end_s", "end of the window, seconds from the recording's start"),
    ),
)

RECORDINGS = TableSchema(
    "recordings",
    "a recording that could be read, and one for each fetus of it",
    (
        *_WHOSE,
        *_texts(
            ("address", "where the file lies"),
            ("fingerprint", "changes when one of the recording's files changes"),
            ("format", "format of the file"),
            ("start", "start with its time zone, ISO 8601; empty when not known"),
        ),
        *_numbers(("duration_s", "length, seconds"), ("rate_hz", "heart-rate samples a second")),
        *_texts(
            ("heart_sensor", "sensor of the heart rate"),
            ("activity_sensor", "sensor of the uterine activity; empty without a channel"),
        ),
        Column("maternal_rate", Kind.YES_NO, "a channel of the mother's pulse is there"),
        *_numbers(
            ("weeks", "completed weeks of gestation; null when not known"),
            ("second_stage_start_s", "start of the second stage, seconds; null when not known"),
        ),
        *_texts(("stage", "stage of labour at the end of the recording, as far as known")),
        Column("parity", Kind.WHOLE, "births before; null when not known"),
        *_numbers(("valid_share", "share of the whole with a usable heart rate, 0 to 1")),
        Column("accelerations", Kind.WHOLE, "accelerations in the whole"),
        Column("decelerations", Kind.WHOLE, "decelerations in the whole"),
        Column("contractions", Kind.WHOLE, "contractions in the whole; null without a channel"),
        Column("outcome", Kind.NUMBERS_BY_NAME, "what the file says of the outcome, by its names"),
        Column("notes", Kind.TEXTS, "what reading the file had to do, and assumptions"),
        *_texts(("caution", "the standing caution")),
    ),
    ("recording", "fetus"),
)

HALF_HOURS = TableSchema(
    "half_hours",
    "a window of a fetus: each half hour from the start, the last one, the second stage",
    (
        *_WHOSE,
        *_WINDOW,
        *_texts(("stage", "stage of labour at the window's end")),
        *_numbers(
            ("valid_share", "share with a usable heart rate, 0 to 1"),
            ("longest_gap_s", "longest gap, seconds"),
        ),
        Column("suspected", Kind.TEXTS, "what is suspected of the signal"),
        *_numbers(
            ("contractions_per_10_min", "null where not measured"),
            ("baseline_bpm", "baseline, bpm, rounded to 5; null when indeterminate"),
            ("bandwidth_bpm", "mean bandwidth of the measured minutes, bpm"),
        ),
        *_texts(("variability", "class of the variability")),
        Column("tachysystole", Kind.YES_NO, "null where it cannot be told"),
        Column("sinusoidal", Kind.YES_NO, "null where it cannot be told"),
        Column("accelerations", Kind.WHOLE, "in the window; null where none could be excluded"),
        *(
            Column(name, Kind.WHOLE, meaning)
            for name, meaning in (
                ("early", "early decelerations; these null where none could be excluded"),
                ("late", "late decelerations"),
                ("variable", "variable decelerations"),
                ("prolonged", "prolonged decelerations"),
                ("unpaired", "gradual decelerations whose contraction is not known"),
            )
        ),
        *_numbers(
            ("deepest_bpm", "depth of the deepest deceleration, bpm; null without any"),
            ("longest_s", "length of the longest deceleration, seconds; null without any"),
            ("panel_normal", "share of a panel of readers that would say normal; null when silent"),
            ("panel_suspicious", "the same for suspicious"),
            ("panel_pathological", "the same for pathological"),
        ),
        Column("not_assessed", Kind.TEXTS, "what could not be assessed"),
    ),
    ("recording", "fetus", "start_s", "end_s", "window"),
)

CLASSES = TableSchema(
    "classes",
    "a class by one standard of one window of a fetus",
    (
        *_WHOSE,
        *_WINDOW,
        *_texts(
            ("standard", "the standard"),
            ("edition", "its edition, with what was changed in it for a study"),
            (
                "said",
                'the class as it is shown: its word, "no class", or "at least ..." where no more '
                "than that is certain",
            ),
            ("label", 'the class in the standard\'s word, or "no class"'),
        ),
        Column("rank", Kind.WHOLE, "0 best, rising; -1 without a class"),
        Column("decided_by", Kind.TEXTS, "rules that put it in this class"),
        Column("features", Kind.TEXTS, "the features that those rules look at"),
        Column("reasons", Kind.TEXTS, "the deciding reasons in sentences"),
        Column("refusal", Kind.TEXTS, "why there is no class"),
        Column("not_assessed", Kind.TEXTS, "what the class rests on that could not be seen"),
    ),
    ("recording", "fetus", "start_s", "end_s", "window", "standard"),
)

FINDINGS = TableSchema(
    "findings",
    "an acceleration, deceleration, contraction, baseline change, sinusoidal stretch or artefact",
    (
        *_WHOSE,
        *_texts(
            (
                "finding",
                '"acceleration", "deceleration", "contraction", "baseline change", "sinusoidal" or '
                '"artefact"',
            ),
            ("kind", "its kind: of the deceleration, of the artefact; else empty"),
        ),
        *_numbers(
            ("onset_s", "onset, seconds from the recording's start"),
            ("peak_s", "nadir or peak, seconds; null where there is none"),
            ("end_s", "end, seconds"),
            ("size", "depth or height in bpm, amplitude of a contraction in the channel's unit"),
            ("lag_s", "nadir after the contraction's peak, seconds; null when not paired"),
            ("valid_share", "share of it that was seen, 0 to 1"),
            ("certainty", "0 to 1"),
        ),
        Column(
            "contraction", Kind.WHOLE, "its contraction by number in the recording; null unpaired"
        ),
    ),
    ("recording", "fetus", "finding", "onset_s", "end_s", "kind"),
)

FAILURES = TableSchema(
    "failures",
    "a file that could not be read, with the reason",
    _texts(
        ("recording", "name of the recording"),
        ("address", "where the file lies"),
        ("fingerprint", "changes when one of the recording's files changes"),
        ("what", "what is wrong"),
        ("place", "where in it"),
        ("remedy", "what to do"),
    ),
    ("recording",),
)

TABLES = (RECORDINGS, HALF_HOURS, CLASSES, FINDINGS, FAILURES)


def arrow_schema(table: TableSchema) -> pa.Schema:
    """The table's schema for Parquet, each column with its meaning."""
    import pyarrow as pa

    kinds = {
        Kind.TEXT: pa.string(),
        Kind.TEXTS: pa.list_(pa.string()),
        Kind.NUMBER: pa.float64(),
        Kind.WHOLE: pa.int32(),
        Kind.YES_NO: pa.bool_(),
        Kind.NUMBERS_BY_NAME: pa.map_(pa.string(), pa.float64()),
    }
    return pa.schema(
        [
            pa.field(one.name, kinds[one.kind], metadata={"meaning": one.meaning})
            for one in table.columns
        ],
        metadata={"row": table.row},
    )
