"""Fit the spread of the population's knobs to one half of the open recordings, by simulation.

    python -m bench.realism_fit --trials 80     prints the best spread, to be put into population.py

Covariance-matrix adaptation (Hansen N. The CMA evolution strategy: a tutorial. arXiv:1604.00772)
through Optuna. A trial invents labours with the same seeds and compares, feature by feature, the
quantiles of what bench.realism measures of them with those of the half of the recordings that is
fitted on (bench.realism.windows.fitted_half). The other half is never looked at here, nor is any
detector.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from bench.realism import windows
from bench.realism.features import measure
from bench.realism.windows import Window
from ebbline.synth.population import SPREAD, Spread
from ebbline.terms import SensorKind

FloatArray = NDArray[np.float64]

FIRST_SEED = 200_000
QUANTILES = (10, 25, 50, 75, 90)
GROUPS = (
    "gaps", "heart-rate level", "variability", "shape of excursions", "activity level",
    "contractions", "heart rate with activity", "activity steps",
)  # fmt: skip
SHARES = ("falls_share", "variable_part", "late_part", "dead_belt")
KNOBS = (
    "loss", "loss_evenness", "sensor_off_per_hour", "baseline", "baseline_spread", "wander",
    "bandwidth", "bandwidth_spread", "accelerations", "falls_share", "falls_spread", "depth",
    "depth_spread", "unpaired", "prolonged", "contractions", "irregularity", "length", "gain",
    "gain_spread", "tone", "tone_spread", "noise", "noise_spread", "shifts", "belt_off",
)  # fmt: skip
SHIFTED = ("tone", "baseline")
"""Knobs that are moved by adding; the others by multiplying."""


def turned(moves: dict[str, float], start: Spread = SPREAD) -> Spread:
    """The spread with each knob moved: by half of itself at a move of 0.4 or so."""
    made: dict[str, float] = {}
    for name, move in moves.items():
        value = getattr(start, name)
        if name in SHIFTED:
            made[name] = value + 10.0 * move
        elif name in SHARES:
            odds = value / (1 - value) * np.exp(move)
            made[name] = float(odds / (1 + odds))
        else:
            made[name] = float(value * np.exp(move))
    return replace(start, **made)


def quantiles(found: list[Window]) -> dict[str, FloatArray]:
    """Quantiles over the windows of every feature of the groups that the spread governs."""
    rows = [measure(w.fhr, w.toco) for w in found]
    made = {}
    for name in sorted({n for row in rows for n in row if n.split(":")[0] in GROUPS}):
        values = np.array([row.get(name, np.nan) for row in rows])
        if np.isfinite(values).mean() > 0.6:
            made[name] = np.nanpercentile(values, QUANTILES)
    return made


def distance(real: dict[str, FloatArray], invented: dict[str, FloatArray]) -> float:
    """Mean over features of how far the quantiles lie apart, in real quartile ranges."""
    apart = []
    for name, q in real.items():
        width = max(q[3] - q[1], 0.1 * abs(q[2]), 1e-3)
        if name in invented:
            apart.append(float(np.minimum(np.abs(invented[name] - q) / width, 3.0).mean()))
    return float(np.mean(apart))


def main() -> None:
    import optuna

    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trials", type=int, default=80)
    parser.add_argument("--labours", type=int, default=28, help="labours invented to a trial")
    args = parser.parse_args()
    sensor = SensorKind.ULTRASOUND
    real = quantiles(
        [w for w in windows.real(sensor) if w.stage == "first" and windows.fitted_half(w.labour)]
    )
    seeds = range(FIRST_SEED, FIRST_SEED + args.labours)

    def tried(trial: optuna.Trial) -> float:
        moves = {name: trial.suggest_float(name, -1.2, 1.2) for name in KNOBS}
        invented = windows.invented(sensor, seeds, turned(moves))
        return distance(real, quantiles([w for w in invented if w.stage == "first"]))

    optuna.logging.set_verbosity(optuna.logging.WARNING)
    sampler = optuna.samplers.CmaEsSampler(
        x0=dict.fromkeys(KNOBS, 0.0), sigma0=0.12, seed=3, popsize=10
    )
    study = optuna.create_study(sampler=sampler)
    study.enqueue_trial(dict.fromkeys(KNOBS, 0.0))
    study.optimize(tried, n_trials=args.trials)
    print(f"distance {study.trials[0].value:.3f} before, {study.best_value:.3f} after")
    best = turned(study.best_params)
    for name in KNOBS:
        print(f"    {name}: float = {getattr(best, name):.3g}")


if __name__ == "__main__":
    main()
