"""Windows of real and invented labours, cut and cleaned in one and the same way.

First stage: the hour before the second stage is marked, or the first hour without a mark. Second
stage: the ten minutes from the mark on. Heart rate: missing (0) as NaN. Activity: missing as 0.
"""

from __future__ import annotations

import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ebbline.recording import open_recording
from ebbline.recording.model import ChannelKind, Recording
from ebbline.synth import invent
from ebbline.synth.population import SPREAD, Spread, course_as_it_comes
from ebbline.terms import SensorKind

FloatArray = NDArray[np.float64]

ROOT = Path(__file__).parents[2]
CTU_UHB = Path(os.environ.get("EBBLINE_SHARED", ROOT.parent / "shared")) / "data" / "ctu-uhb"
HZ = 4
STAGES = ("first", "second")
HOUR, TEN_MINUTES = 3600 * HZ, 600 * HZ
LEAST_SEEN = 0.2
"""Windows with less of the heart rate than this are left out, real and invented alike."""


@dataclass(frozen=True, slots=True, eq=False)
class Window:
    """fhr: bpm, NaN missing; toco: units; both 4 Hz. labour: recording number or seed."""

    real: bool
    labour: int
    stage: str
    fhr: FloatArray
    toco: FloatArray


def _cut(recording: Recording, labour: int, real: bool, mark_s: float | None) -> list[Window]:
    activity = recording.first(ChannelKind.UTERINE_ACTIVITY)
    fhr = recording.heart_rate().samples
    toco = np.zeros(len(fhr)) if activity is None else np.nan_to_num(activity.samples)
    mark = HOUR if mark_s is None else round(mark_s * HZ)
    made = []
    parts = {"first": slice(mark - HOUR, mark)}
    if mark_s is not None:
        parts["second"] = slice(mark, mark + TEN_MINUTES)
    for stage, part in parts.items():
        f, t = fhr[part], toco[part]
        whole = HOUR if stage == "first" else TEN_MINUTES
        if len(f) == whole and (~np.isnan(f)).mean() >= LEAST_SEEN:
            made.append(Window(real, labour, stage, f, t))
    return made


def fitted_half(number: int) -> bool:
    """Whether a recording belongs to the half that the spread was fitted on (split by number)."""
    return number % 4 == 1


@cache
def real(sensor: SensorKind) -> tuple[Window, ...]:
    """The windows of the open recordings whose header names the sensor."""
    made: list[Window] = []
    for path in sorted(CTU_UHB.glob("*.hea")):
        recording = open_recording(path)
        if recording.heart_rate().sensor is sensor:
            mark = recording.context.second_stage_start_s
            made += _cut(recording, int(path.stem), True, mark)
    return tuple(made)


def _invented(task: tuple[int, SensorKind, Spread]) -> list[Window]:
    seed, sensor, spread = task
    story = course_as_it_comes(
        seed, 71 / 60, second_stage_min=60.0, heart_sensor=sensor, spread=spread
    )
    return _cut(invent(story, seed).recording, seed, False, 3600.0)


def invented(
    sensor: SensorKind, seeds: range, spread: Spread = SPREAD, jobs: int = 1
) -> list[Window]:
    """The windows of labours as they come: an hour of the first stage, then the second."""
    tasks = [(seed, sensor, spread) for seed in seeds]
    if jobs == 1:
        return [window for task in tasks for window in _invented(task)]
    with ProcessPoolExecutor(jobs) as pool:
        return [window for part in pool.map(_invented, tasks, chunksize=8) for window in part]
