"""The front door for Python: recordings in, readings out, in the words of the command line.

Every function takes plain values (paths, arrays, frames, words) and says which argument was wrong.
Frames need pandas: pip install "ebbline[frames]".
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, fields, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from ebbline.bedside import ExamResult
from ebbline.bedside import examine as _examine
from ebbline.criteria.asked import chosen_standards
from ebbline.criteria.study import AnyStandard
from ebbline.criteria.study import modified as modified
from ebbline.errors import ContextError, EbblineError, MissingExtraError, RecordingError
from ebbline.reading.analyse import ALL_STANDARDS
from ebbline.reading.analyse import read as _read
from ebbline.reading.model import Reading as _Reading
from ebbline.reading.text import say
from ebbline.recording.channels import tidy
from ebbline.recording.model import Channel, ChannelKind, Context, Provenance, Recording
from ebbline.recording.registry import open_recording
from ebbline.synth import Labour, Scenario, Story
from ebbline.synth import invent as _invent
from ebbline.terms import SensorKind, Stage, Window

if TYPE_CHECKING:
    import pandas as pd

    from ebbline.picture.canvas import Document

Source = Recording | str | Path
Asked = str | Window | tuple[float, float] | None


class Reading(_Reading):
    """A reading that tells itself, lists its events and draws its strip.

    `reading.fetuses[0].classes` are the classes with their reasons, `.findings` all that was found;
    `ebbline.codec.to_json(reading)` saves it, and equal readings hold the same, numbers and all.
    """

    __slots__ = ("_recording",)
    _recording: Recording | None

    def summary(self, *, full: bool = False, width: int = 88) -> str:
        """The reading in words: the four lines first; full: everything, with sources."""
        return say(self, width=width, full=full)

    def events(self) -> pd.DataFrame:
        """Every acceleration, deceleration and contraction, a row each, times in seconds."""
        return events(self)

    def plot(self, *, speed: int = 1) -> Document:
        """The strip with what was found, in cm a minute, as a drawing that a notebook shows.

        Raises ContextError for a reading that came from another process without its recording.
        """
        recording = getattr(self, "_recording", None)
        if recording is None:
            raise ContextError(
                "this reading has no samples with it.",
                where="reading",
                remedy="Draw it with ebbline.plot(recording, reading).",
            )
        return plot(recording, self, speed=speed)


def _with_recording(reading: _Reading, recording: Recording) -> Reading:
    made = Reading(**{one.name: getattr(reading, one.name) for one in fields(reading)})
    object.__setattr__(made, "_recording", recording)
    return made


def open(path: str | Path, **options: Any) -> Recording:
    """Open a recording of any format that is read; a name without ending is a WFDB record.

    >>> recording = ebbline.open("examples/labour.csv")

    Raises RecordingError: what is wrong, where, and what to do.
    """
    return open_recording(path, **options)


def from_arrays(
    fhr: ArrayLike,
    uc: ArrayLike | None = None,
    *,
    rate_hz: float,
    maternal: ArrayLike | None = None,
    start: datetime | None = None,
    name: str = "from arrays",
    heart_sensor: str = "unknown",
    activity_sensor: str = "unknown",
    **context: Any,
) -> Recording:
    """A recording from samples in memory.

    fhr: bpm, shape (n,), or (fetuses, n) for twins; NaN or 0 where signal is missing. uc: uterine
    activity. maternal: the mother's pulse, bpm. rate_hz: samples a second of all of them. start:
    time-zone-aware. sensors: "ultrasound", "scalp electrode"; "toco", "pressure catheter".
    context: weeks, stage, parity, ... as `read` takes them.

    >>> ebbline.from_arrays(np.full(7200, 140.0), rate_hz=4.0, weeks=39)
    """
    if not (isinstance(rate_hz, int | float) and math.isfinite(rate_hz) and rate_hz > 0):
        raise RecordingError(
            f"{rate_hz!r} is not a number of samples a second.",
            where="rate_hz",
            remedy="Give a positive number, such as 4.0.",
        )
    if start is not None and start.tzinfo is None:
        raise ContextError(
            "a start without its time zone is no moment.",
            where="start",
            remedy="Give it one: datetime(..., tzinfo=ZoneInfo('Europe/Prague')).",
        )
    rates = np.atleast_2d(_samples(fhr, "fhr"))
    heart, activity = (
        _sensor(heart_sensor, "heart_sensor"),
        _sensor(activity_sensor, "activity_sensor"),
    )
    channels = [
        Channel(
            ChannelKind.FETAL_HEART_RATE,
            np.where(row == 0, np.nan, row),
            float(rate_hz),
            heart,
            fetus=n,
            unit="bpm",
        )
        for n, row in enumerate(rates, 1)
    ]
    for values, kind, sensor, argument in (
        (uc, ChannelKind.UTERINE_ACTIVITY, activity, "uc"),
        (maternal, ChannelKind.MATERNAL_HEART_RATE, SensorKind.MATERNAL_PULSE, "maternal"),
    ):
        if values is not None:
            channels.append(Channel(kind, _samples(values, argument), float(rate_hz), sensor))
    made = Recording(
        name,
        tuple(channels),
        start,
        _context(Context(), context),
        Provenance("memory", "arrays"),
    )
    return tidy(made, name)


def from_frame(
    frame: pd.DataFrame, *, rate_hz: float | None = None, name: str = "from a frame", **context: Any
) -> Recording:
    """A recording from a DataFrame with columns "fhr" (or "fhr1", "fhr2"), "uc", "maternal".

    rate_hz: samples a second; without it the index must be evenly spaced times or seconds.

    >>> ebbline.from_frame(pd.DataFrame({"fhr": values, "uc": activity}), rate_hz=4.0)
    """
    columns = {str(column).casefold(): column for column in frame.columns}
    hearts = [columns[key] for key in ("fhr", "fhr1", "fhr2", "fhr3") if key in columns]
    if not hearts:
        raise RecordingError(
            f"no column of the fetal heart rate among: {', '.join(map(str, frame.columns))}.",
            where="frame",
            remedy='Name it "fhr"; of twins "fhr1" and "fhr2".',
        )
    start = None
    if rate_hz is None:
        rate_hz, start = _rate_of(frame.index)
    return from_arrays(
        np.stack([frame[one].to_numpy(float) for one in hearts]),
        frame[columns["uc"]].to_numpy(float) if "uc" in columns else None,
        rate_hz=rate_hz,
        maternal=frame[columns["maternal"]].to_numpy(float) if "maternal" in columns else None,
        start=start,
        name=name,
        **context,
    )


def read(
    source: Source,
    window: Asked = None,
    standards: str | Iterable[str | AnyStandard] = ALL_STANDARDS,
    *,
    history: bool = True,
    **context: Any,
) -> Reading:
    """Read a recording, or a file of one.

    window: "last 30 min", "0:30-1:00" (hours:minutes from the start), (1800, 3600) seconds, or
    None for the last half hour. standards: "nichd,figo" or a list, in which `ebbline.modified` may
    stand. context: what is known of the
    labour, in place of what the file says: weeks, stage ("first", "second", "antepartum"),
    oxytocin, epidural, parity, meconium, fever, second_stage_start_s.

    >>> reading = ebbline.read("examples/labour.csv", window="last 30 min", weeks=39)

    Raises ContextError naming the argument that cannot be used, RecordingError for the recording.
    """
    chosen = chosen_standards(standards)
    recording = source if isinstance(source, Recording) else open_recording(_path(source))
    if context:
        recording = replace(recording, context=_context(recording.context, context))
    made = _read(
        recording,
        window=_window(window, recording.duration_s),
        standards=chosen,
        history=history,
    )
    return _with_recording(made, recording)


def summary(reading: _Reading, *, full: bool = False, width: int = 88) -> str:
    """A reading in words: the four lines first; full: everything, with sources."""
    return say(reading, width=width, full=full)


def events(reading: _Reading) -> pd.DataFrame:
    """Every acceleration, deceleration and contraction, a row each, times in seconds."""
    rows = []
    for fetal in reading.fetuses:
        found = fetal.findings
        whose = {"recording": reading.recording, "fetus": fetal.fetus}
        for a in found.fetal.accelerations:
            rows.append(
                whose | _event("acceleration", a.onset_s, a.peak_s, a.end_s, a.height_bpm, a)
            )
        for d in found.fetal.decelerations:
            rows.append(whose | _event(str(d.kind), d.onset_s, d.nadir_s, d.end_s, d.depth_bpm, d))
        if fetal is reading.fetuses[0]:
            for c in found.uterine.contractions:
                made = _event("contraction", c.onset_s, c.peak_s, c.end_s, c.amplitude, c)
                rows.append(whose | {"fetus": 0} | made)
    columns = ["recording", "fetus", "event", "onset_s", "peak_s", "end_s", "size", "certainty"]
    return _pandas().DataFrame(rows, columns=columns).sort_values("onset_s", ignore_index=True)


def plot(recording: Recording, reading: _Reading | None = None, *, speed: int = 1) -> Document:
    """The strip as a drawing that a notebook shows; `ebbline.picture.files.write` saves it."""
    from ebbline.picture.strip import draw_strip

    return draw_strip(recording, reading or _read(recording), speed_cm_per_min=speed)


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Readings:
    """Many recordings read: a frame of classes, one of events, one of what could not be read."""

    classes: pd.DataFrame
    events: pd.DataFrame
    errors: pd.DataFrame

    def __repr__(self) -> str:
        return (
            f"<Readings of {self.classes['source'].nunique()} recordings, {len(self.events)} "
            f"events, {len(self.errors)} not read>"
        )


def read_many(
    paths: Iterable[str | Path],
    *,
    jobs: int = 1,
    window: Asked = None,
    standards: str | Iterable[str | AnyStandard] = ALL_STANDARDS,
    **context: Any,
) -> Readings:
    """Read many files, on several processes; one that cannot be read stops nothing.

    For whole archives, with tables on disk: `ebbline archive` (docs/archive.md).

    >>> readings = ebbline.read_many(Path("recordings").glob("*.hea"), jobs=2)
    """
    if jobs < 1:
        raise ContextError(
            f"{jobs} is no number of processes.", where="jobs", remedy="Give 1 or more."
        )
    chosen = chosen_standards(standards)
    tasks = [(str(path), window, chosen, context) for path in paths]
    # The first is read here: where processes are forked, they then begin with its loops loaded.
    done = [_one(task) for task in (tasks if jobs == 1 else tasks[:1])]
    if rest := tasks[len(done) :]:
        with ProcessPoolExecutor(min(jobs, len(rest))) as pool:
            done += pool.map(_one, rest, chunksize=max(1, len(rest) // (8 * jobs)))
    pandas = _pandas()
    return Readings(
        classes=pandas.DataFrame(
            [row for one in done for row in one[0]],
            columns=["source", "recording", "fetus", "start_s", "end_s", "standard", "edition",
                     "label", "rank", "decided_by"],
        ),
        events=pandas.concat([one[1] for one in done if one[1] is not None], ignore_index=True)
        if any(one[1] is not None for one in done)
        else pandas.DataFrame(columns=["source", "recording", "fetus", "event", "onset_s"]),
        errors=pandas.DataFrame(
            [row for one in done for row in one[2]], columns=["source", "what", "where", "remedy"]
        ),
    )  # fmt: skip


def compare(before: Readings, after: Readings) -> pd.DataFrame:
    """The windows whose class differs between two sets of readings, a row each."""
    keys = ["source", "fetus", "start_s", "end_s", "standard"]
    both = before.classes.merge(after.classes, on=keys, suffixes=("_before", "_after"))
    return both[both["label_before"] != both["label_after"]].reset_index(drop=True)


def examine(findings: Mapping[str, Any], **options: Any) -> ExamResult:
    """What the findings of the hands come to; see `ebbline.bedside.examine`.

    >>> ebbline.examine({"fundus": "breech", "back": "left", "fifths": "3"})
    """
    return _examine(dict(findings), **options)


def invent(words: str | Scenario | Story, seed: int = 1) -> Labour:
    """A virtual labour from a sentence of the trade, with its truth.

    >>> labour = ebbline.invent("39 weeks, recurrent late, minimal variability", seed=5)
    """
    return _invent(Story.from_words(words) if isinstance(words, str) else words, seed=seed)


# ---------------------------------------------------------------- arguments in plain words


def _samples(values: ArrayLike, argument: str) -> np.ndarray[Any, np.dtype[np.float64]]:
    try:
        found = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise RecordingError(
            f"these are not numbers: {error}.", where=argument, remedy="Give an array of numbers."
        ) from error
    if found.ndim not in (1, 2) or (found.ndim == 2 and argument != "fhr") or not found.size:
        raise RecordingError(
            f"an array of shape {found.shape} holds no channel.",
            where=argument,
            remedy="Give one row of samples; of twins' fhr one row each.",
        )
    return found


def _sensor(word: str, argument: str) -> SensorKind:
    try:
        return SensorKind(word)
    except ValueError as error:
        raise ContextError(
            f"{word!r} is not a sensor.",
            where=argument,
            remedy=f"Choose from: {', '.join(SensorKind)}.",
        ) from error


def _rate_of(index: Any) -> tuple[float, datetime | None]:
    """Samples a second of an index of times or seconds, and its start where it has a zone."""
    pandas = _pandas()
    times = index.to_numpy()
    is_clock = isinstance(index, pandas.DatetimeIndex)
    try:
        seconds = (index - index[0]).total_seconds().to_numpy() if is_clock else times.astype(float)
        steps = np.diff(seconds)
    except (TypeError, ValueError, IndexError):
        steps = np.array([])
    even = len(steps) > 0 and steps[0] > 0 and np.allclose(steps, steps[0], rtol=1e-3)
    if not even or (not is_clock and np.array_equal(times, np.arange(len(times)))):
        raise RecordingError(
            "the frame's index does not tell how many samples a second there are.",
            where="rate_hz",
            remedy="Say rate_hz=4.0, or give an index of evenly spaced times.",
        )
    start = index[0].to_pydatetime() if is_clock and index.tz is not None else None
    return float(1 / np.mean(steps)), start


def _path(source: Any) -> str | Path:
    if isinstance(source, str | Path):
        return source
    raise ContextError(
        f"a {type(source).__name__} is neither a recording nor a path.",
        where="source",
        remedy="Give a path, or a recording from ebbline.open, from_arrays or from_frame.",
    )


_LAST = re.compile(r"last\s+(\d{1,4})\s*min(?:utes?)?")
_SPAN = re.compile(r"(\d{1,3}):(\d{2})\s*-\s*(\d{1,3}):(\d{2})")


def _window(asked: Any, duration_s: float) -> Window | None:
    if asked is None or isinstance(asked, Window):
        return asked
    if isinstance(asked, str):
        if last := _LAST.fullmatch(asked.strip().lower()):
            return Window(max(0.0, duration_s - 60.0 * int(last[1])), duration_s)
        if span := _SPAN.fullmatch(asked.strip()):
            hours, minutes, to_hours, to_minutes = map(int, span.groups())
            return Window(3600.0 * hours + 60 * minutes, 3600.0 * to_hours + 60 * to_minutes)
    elif isinstance(asked, tuple | list) and len(asked) == 2:
        try:
            return Window(float(asked[0]), float(asked[1]))
        except (TypeError, ValueError):
            pass
    raise ContextError(
        f"{asked!r} is not a window.",
        where="window",
        remedy='Write "last 30 min", "0:30-1:00", or (start, end) in seconds.',
    )


def _context(given: Context, said: Mapping[str, Any]) -> Context:
    known = {one.name for one in fields(Context)}
    for name in said:
        if name not in known:
            raise ContextError(
                f"{name!r} is nothing that is known of a labour.",
                where=name,
                remedy=f"Choose from: {', '.join(sorted(known))}.",
            )
    values = dict(said)
    if isinstance(values.get("stage"), str):
        try:
            values["stage"] = Stage(values["stage"])
        except ValueError as error:
            raise ContextError(
                f"{values['stage']!r} is not a stage.",
                where="stage",
                remedy=f"Choose from: {', '.join(Stage)}.",
            ) from error
        values.setdefault("second_stage_start_s", None)
    return replace(given, **values)


def _event(
    kind: str, onset_s: float, peak_s: float, end_s: float, size: float, one: Any
) -> dict[str, Any]:
    return {
        "event": kind,
        "onset_s": onset_s,
        "peak_s": peak_s,
        "end_s": end_s,
        "size": size,
        "certainty": one.certainty,
    }


_Task = tuple[str, Asked, tuple[AnyStandard, ...], dict[str, Any]]
_Done = tuple[list[dict[str, Any]], Any, list[dict[str, str]]]


def _one(task: _Task) -> _Done:
    path, window, standards, context = task
    try:
        reading = read(path, window, standards, history=False, **context)
    except EbblineError as error:
        told = {"source": path, "what": error.what, "where": error.where, "remedy": error.remedy}
        return [], None, [told]
    rows = [
        {
            "source": path,
            "recording": reading.recording,
            "fetus": fetal.fetus,
            "start_s": reading.window.start_s,
            "end_s": reading.window.end_s,
            "standard": str(one.standard),
            "edition": one.edition,
            "label": one.label,
            "said": one.said,
            "rank": one.rank,
            "decided_by": list(one.decided_by),
        }
        for fetal in reading.fetuses
        for one in fetal.classes
    ]
    found = events(reading)
    found.insert(0, "source", path)
    return rows, found, []


def _pandas() -> Any:
    try:
        import pandas
    except ModuleNotFoundError as error:
        raise MissingExtraError(
            "frames need pandas, which is not installed.",
            remedy='Install it with: pip install "ebbline[frames]".',
        ) from error
    return pandas
