"""What reads files that people send: each takes bytes, and may only raise an error in words."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np

from ebbline.recording import (
    Annotation,
    Channel,
    ChannelKind,
    Context,
    Recording,
    encode_recording,
    open_recording,
)
from ebbline.recording.registry import FORMATS
from ebbline.terms import SensorKind, Stage


@dataclass(frozen=True)
class Reader:
    """A reader. seeds: sound files to spoil; take: reads one, in a directory of its own."""

    name: str
    seeds: tuple[bytes, ...]
    take: Callable[[bytes, Path], None]


@cache
def sound() -> tuple[Recording, ...]:
    """Recordings that every format holds: one plain, one with all that can be known."""
    time = np.arange(240) / 4
    heart = np.round(140 + 8 * np.sin(time), 2)
    heart[20:60] = np.nan
    first = Channel(
        ChannelKind.FETAL_HEART_RATE, heart, 4.0, SensorKind.ULTRASOUND, 1, "bpm", "FHR1"
    )
    second = replace(first, fetus=2, label="FHR2", sensor=SensorKind.SCALP_ELECTRODE)
    pressure = np.round(20 + 10 * np.sin(np.arange(60)), 1)
    activity = Channel(
        ChannelKind.UTERINE_ACTIVITY, pressure, 1.0, SensorKind.PRESSURE_CATHETER, 0, "mmHg", "UC"
    )
    known = Context(38.0, Stage.FIRST, 20.0, True, False, 2, True, False)
    remarks = (Annotation(3.0, 0.0, "examined"), Annotation(10.0, 5.0, "turned to her left"))
    return (
        Recording("plain", (first,)),
        Recording(
            "full",
            (first, second, activity),
            datetime(2031, 3, 9, 23, 58, 1, tzinfo=UTC),
            known,
            annotations=remarks,
        ),
    )


def _check(path: Path, **options: object) -> None:
    """Read, and hold what was read to what every recording is."""
    recording = open_recording(path, **options)
    assert recording.fetuses, "no fetus"
    for channel in recording.channels:
        assert len(channel.samples) > 0, "an empty channel"
        assert not np.isinf(channel.samples).any(), "an infinite sample"
    if recording.start is not None:
        assert recording.start.tzinfo is not None, "a start without a zone"
    encode_recording(recording, "again.json")


def _encoded(suffix: str) -> tuple[bytes, ...]:
    """The file itself, and for WFDB the header."""
    made = []
    for one in sound():
        contents = encode_recording(one, Path(f"r{suffix}")).contents
        made.append(list(contents.values())[-1])
    return tuple(made)


def _file(suffix: str) -> Reader:
    def take(data: bytes, place: Path) -> None:
        path = place / f"r{suffix}"
        path.write_bytes(data)
        _check(path)

    return Reader(suffix.removeprefix("."), _encoded(suffix), take)


def _wfdb() -> Reader:
    samples = [
        next(iter(encode_recording(one, Path("r.hea")).contents.values())) for one in sound()
    ]

    def take(data: bytes, place: Path) -> None:
        (place / "r.hea").write_bytes(data)
        (place / "r.dat").write_bytes(samples[len(data) % 2])
        _check(place / "r.hea")

    return Reader("hea", _encoded(".hea"), take)


def _annotations() -> Reader:
    from ebbline.recording.wfdb_annotations import encode_annotations, with_annotations

    recording = sound()[1]
    remarks = recording.annotations
    seeds = [
        encode_annotations(remarks, Path("r.atr"), 4.0),
        encode_annotations((), Path("r.atr"), 4.0),
    ]
    far = encode_annotations((*remarks, Annotation(4000.0, 0.0017, "far")), Path("r.atr"), 4.0)

    def take(data: bytes, place: Path) -> None:
        (place / "r.atr").write_bytes(data)
        encode_recording(with_annotations(recording, place / "r.atr"), "again.json")

    return Reader("atr", tuple(next(iter(s.contents.values())) for s in (*seeds, far)), take)


def _upload() -> Reader:
    from ebbline.web.recordings.uploads import laid_out
    from ebbline.web.settings import Limits

    limits = Limits()

    def packed(kind: int, members: dict[str, bytes]) -> bytes:
        made = io.BytesIO()
        with zipfile.ZipFile(made, "w", kind) as archive:
            for name, content in members.items():
                archive.writestr(name, content)
        return made.getvalue()

    def take(data: bytes, place: Path) -> None:
        class Sent:
            filename = "Smith, A 12-03.zip"
            file = io.BytesIO(data)

        with laid_out([Sent()], limits) as path:
            _check(path)

    table = _encoded(".csv")[0]
    record = {p.name: c for p, c in encode_recording(sound()[1], Path("r.hea")).contents.items()}
    kinds = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)
    seeds = [packed(kind, {"a&b.csv": table}) for kind in kinds]
    return Reader("zip", (*seeds, packed(zipfile.ZIP_DEFLATED, record)), take)


def _case() -> Reader:
    from importlib import resources

    from ebbline.teach.case import case_from_yaml
    from ebbline.teach.patient import check

    cases = sorted(
        (p.read_bytes() for p in resources.files("ebbline.teach.cases").iterdir()
         if p.name.endswith(".yaml")), key=len)  # fmt: skip

    def take(data: bytes, place: Path) -> None:
        check(case_from_yaml(data.decode("utf-8", "replace")))

    return Reader("case", tuple(cases[:: max(1, len(cases) // 8)]), take)


def _policy() -> Reader:
    from importlib import resources

    from ebbline.bedside.policy.internal import load_internal
    from ebbline.bedside.policy.measures import load_measures
    from ebbline.bedside.policy.reviews import load_reviews

    loaders = {"internal": load_internal, "measures": load_measures, "reviews": load_reviews}
    shipped = resources.files("ebbline.bedside.policy")

    def take(data: bytes, place: Path) -> None:
        from contextlib import suppress

        from ebbline.errors import EbblineError

        (place / "p.yaml").write_bytes(data)
        for load in loaders.values():
            with suppress(EbblineError):
                load(place / "p.yaml")

    seeds = tuple(shipped.joinpath(f"{name}.yaml").read_bytes() for name in loaders)
    return Reader("policy", seeds, take)


def _reading() -> Reader:
    from ebbline.codec import from_json, to_json
    from ebbline.reading.analyse import read
    from ebbline.reading.bedside_bridge import finding_words, signal_now
    from ebbline.reading.model import Reading
    from ebbline.reading.text import say

    seed = to_json(read(sound()[1]), indent=1).encode()

    def take(data: bytes, place: Path) -> None:
        reading = from_json(Reading, data.decode("utf-8", "replace"))
        say(reading)
        for fetus in reading.fetuses:
            finding_words(fetus)
            signal_now(reading, fetus, 0)

    return Reader("reading", (seed,), take)


def _step() -> Reader:
    from ebbline.teach.steps import step_from_data

    def take(data: bytes, place: Path) -> None:
        try:
            told = json.loads(data)
        except (ValueError, RecursionError):
            return
        step_from_data(told)

    return Reader("step", (b'{"step": "choose", "option": "stop the oxytocic"}',), take)


def readers() -> dict[str, Callable[[], Reader]]:
    """How each reader is made, by its name."""
    files = {s.removeprefix("."): s for one in FORMATS if one.writes for s in one.suffixes}
    made: dict[str, Callable[[], Reader]] = {
        name: (lambda suffix=suffix: _file(suffix))  # type: ignore[misc]
        for name, suffix in files.items()
        if name not in {"dat", "hea", "txt"}
    }
    return {
        "hea": _wfdb,
        **made,
        "atr": _annotations,
        "zip": _upload,
        "case": _case,
        "policy": _policy,
        "reading": _reading,
        "step": _step,
    }
