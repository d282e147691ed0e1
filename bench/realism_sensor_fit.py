"""Fit what a sensor does to one half of the open recordings, the labours themselves held fixed.

    python -m bench.realism_sensor_fit belt             the belt of a device that averages
    python -m bench.realism_sensor_fit stepped-belt     of one that goes in half seconds
    python -m bench.realism_sensor_fit ultrasound       ultrasound that averages
    python -m bench.realism_sensor_fit beat-by-beat     the electrode, and ultrasound by the beat

Covariance-matrix adaptation (Hansen N. The CMA evolution strategy: a tutorial. arXiv:1604.00772).
Labours are invented once; a trial replays their sensor alone with other habits and compares
features of bench.realism with those of the half that is fitted on: how far quantiles lie apart,
and the energy distance of each group (Szekely GJ, Rizzo ML. J Stat Plan Inference
2013;143:1249-72), which also sees how features go together. The other half is never looked at
here, nor is any detector.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bench.realism import features, windows
from bench.realism.windows import HOUR, Window
from ebbline.synth import engine, sensors
from ebbline.synth.activity_sensor import SMOOTH_BELT, STEPPED_BELT, ActivitySensor, Belt
from ebbline.synth.heart_sensor import CORRELATING, TRIGGERED, Hearkening, HeartSensor
from ebbline.synth.population import as_they_come
from ebbline.synth.streams import Streams
from ebbline.terms import SensorKind

FloatArray = NDArray[np.float64]
Form = Belt | Hearkening

FIRST_SEED, LABOURS, POPULATION, SIGMA, FURTHEST = 200_000, 36, 14, 0.25, 2.2
PERCENTS = (5, 10, 25, 50, 75, 90, 95)
SHARES = {
    "quickness", "shake_quickness", "smooth", "good", "bad", "locked", "drop", "wrong",
    "wrong_before", "late", "odd", "tremble",
}  # fmt: skip
"""Habits between 0 and 1: moved by their odds; the others by their logarithm."""
HEART = ("sample steps", "held values", "gaps", "leaps", "heart-rate spectrum")
ACTIVITY = tuple(features.ACTIVITY)
STARTS: dict[str, Form] = {
    "belt": SMOOTH_BELT,
    "stepped-belt": STEPPED_BELT,
    "ultrasound": CORRELATING,
    "beat-by-beat": TRIGGERED,
}


@dataclass(frozen=True, slots=True, eq=False)
class Taken:
    """What a labour's sensor was given: its seed, kind, and arguments."""

    seed: int
    sensor: SensorKind
    given: tuple[Any, ...]


def averages(window: Window) -> bool:
    """Whether a device that averages made the window (it gives activity in halves)."""
    shown = window.toco[window.toco > 0]
    return len(shown) > 100 and float((np.round(shown * 2) % 2 == 1).mean()) > 0.1


def taken(seed: int, sensor: SensorKind, heart: bool) -> Taken:
    """Invent a labour and keep what its heart-rate sensor (its belt) was given."""
    kept: list[tuple[Any, ...]] = []
    room = HeartSensor if heart else ActivitySensor
    give = room.give

    def keeping(self: Any, *given: Any) -> Any:
        kept.append(given)
        return give(self, *given)

    room.give = keeping  # type: ignore[assignment]
    try:
        scenario = as_they_come(seed, heart_sensor=sensor)
        engine.LabourEngine(scenario, seed).advance(60.0)
    finally:
        room.give = give  # type: ignore[method-assign]
    return Taken(seed, sensor, kept[0])


def replayed(labour: Taken, form: Form) -> FloatArray:
    """What the sensor gives under other habits."""
    of = Streams(labour.seed).of
    device = sensors.device_of(of("device"), labour.sensor)
    if isinstance(form, Hearkening):
        noises = of("heart sensor"), of("heart noise")
        return HeartSensor(of("device"), *noises, device, form, form).give(*labour.given)[0]
    HeartSensor(of("device"), of("heart sensor"), of("heart noise"), device)
    noises = of("activity sensor"), of("activity faults")
    return np.nan_to_num(ActivitySensor(of("device"), *noises, device, form).give(*labour.given))


def measured(samples: FloatArray, heart: bool) -> dict[str, float]:
    """The features of the groups that this sensor governs."""
    other = np.zeros(len(samples))
    pair = (samples, other) if heart else (other, samples)
    return {
        f"{group}: {name}": value
        for group in (HEART if heart else ACTIVITY)
        for name, value in features.GROUPS[group](*pair).items()
    }


class Target:
    """How far invented features lie from the real ones that it was made from."""

    def __init__(self, rows: list[dict[str, float]]) -> None:
        names = sorted({name for row in rows for name in row})
        table = np.array([[row.get(name, np.nan) for name in names] for row in rows])
        kept = np.isfinite(table).mean(axis=0) > 0.6
        self._names = [name for name, k in zip(names, kept, strict=True) if k]
        self._real = np.nanpercentile(table[:, kept], PERCENTS, axis=0)
        width = np.maximum(self._real[4] - self._real[2], (self._real[6] - self._real[0]) / 4)
        self._width = np.maximum(width, 1e-3 * np.abs(self._real[3]) + 1e-9)
        groups = [name.split(": ")[0] for name in self._names]
        self._columns = [
            [k for k, g in enumerate(groups) if g == group] for group in sorted(set(groups))
        ]
        self._scaled = self._scale(table[:, kept])

    def _scale(self, table: FloatArray) -> FloatArray:
        apart = (table - self._real[3]) / self._width
        return np.clip(np.where(np.isfinite(apart), apart, 0.0), -4.0, 4.0)

    def __call__(self, rows: list[dict[str, float]]) -> float:
        table = np.array([[row.get(name, np.nan) for name in self._names] for row in rows])
        apart = np.abs(np.nanpercentile(table, PERCENTS, axis=0) - self._real) / self._width
        apart = np.where(np.isfinite(apart), np.minimum(apart, 3.0), 2.0).mean(axis=0)
        scaled = self._scale(table)
        total = 0.0
        for columns in self._columns:
            a, b = self._scaled[:, columns], scaled[:, columns]
            energy = 2 * _between(a, b) - _between(a, a) - _between(b, b)
            total += float(apart[columns].mean()) + 3 * energy / np.sqrt(len(columns))
        return total / len(self._columns)


def _between(a: FloatArray, b: FloatArray) -> float:
    return float(np.sqrt(((a[:, None] - b[None]) ** 2).sum(axis=-1)).mean())


def moved(start: Form, names: list[str], moves: FloatArray) -> Form:
    """The habits with each of the named ones moved."""
    made: dict[str, float] = {}
    for name, move in zip(names, moves, strict=True):
        value = float(getattr(start, name))
        odds = value / (1 - value) * np.exp(move)
        made[name] = float(odds / (1 + odds)) if name in SHARES else float(value * np.exp(move))
    return replace(start, **made)  # type: ignore[arg-type]


def fit(start: Form, distance: Callable[[Form], float], seconds: float) -> tuple[Form, float]:
    """The best habits found in so many seconds, and their distance."""
    from cmaes import CMA

    names = [n for n, v in asdict(start).items() if isinstance(v, float) and 0.0 < v != 1.0]
    search = CMA(np.zeros(len(names)), SIGMA, seed=1, population_size=POPULATION)
    best, least = start, distance(start)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        told = []
        for _ in range(POPULATION):
            moves = np.clip(search.ask(), -FURTHEST, FURTHEST)
            form = moved(start, names, moves)
            found = distance(form) + 0.002 * float(moves @ moves)
            told.append((moves, found))
            if found < least:
                best, least = form, found
        search.tell(told)
    return best, least


def _distance(target: Target, labours: list[Taken], heart: bool, form: Form) -> float:
    return target([measured(replayed(labour, form)[:HOUR], heart) for labour in labours])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("sensor", choices=tuple(STARTS))
    parser.add_argument("--minutes", type=float, default=5.0)
    args = parser.parse_args()
    start = STARTS[args.sensor]
    heart, averaging = isinstance(start, Hearkening), start in (SMOOTH_BELT, CORRELATING)
    kind = SensorKind.ULTRASOUND if averaging else SensorKind.SCALP_ELECTRODE
    real = [
        w
        for sensor in sensors.DEVICE_SHARES
        for w in windows.real(sensor)
        if w.stage == "first" and windows.fitted_half(w.labour) and averages(w) == averaging
    ]
    target = Target([measured(w.fhr if heart else w.toco, heart) for w in real])
    seeds = range(FIRST_SEED, FIRST_SEED + LABOURS)
    wanted = [
        seed
        for seed in seeds
        if sensors.device_of(Streams(seed).of("device"), kind).averaging == averaging
    ]
    labours = [taken(seed, kind, heart) for seed in wanted]
    distance = partial(_distance, target, labours, heart)
    print(f"{len(real)} real, {len(labours)} invented; distance {distance(start):.3f} before")
    best, least = fit(start, distance, 60 * args.minutes)
    print(f"{least:.3f} after\n{best}")


if __name__ == "__main__":
    main()
