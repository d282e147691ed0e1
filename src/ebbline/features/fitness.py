"""What the sampling rate of each channel is fit for, and findings without what it is not.

A heart rate told once a minute is "100 % valid" and shows neither variability nor whether a fall
was abrupt; what cannot be seen must not read as its absence.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import OURS, Number
from ebbline.features.findings import (
    NO_CONTRACTION,
    Curve,
    Deceleration,
    DecelerationKind,
    Findings,
    VariabilityClass,
)

FloatArray = NDArray[np.float64]

VARIABILITY_FROM_HZ = Number(
    1.0, "Hz", OURS, "the band of a minute, and a fall under 30 s, want a sample a second or so"
)
SHORT_TERM_FROM_HZ = Number(
    2.0, "Hz", OURS, "means of 3.75 s want several samples each, else they are single values"
)
CONTRACTIONS_FROM_HZ = Number(
    0.2, "Hz", OURS, "a contraction of 45 s wants nine samples for onset, peak and end"
)

VARIABILITY_UPTO_BPM = Number(
    2.0,
    "bpm",
    OURS,
    "values further apart make a band of 5 bpm of a trace with none",
)

LEAST_VALUES = 5

_SLACK = 0.99
"""A rate this share of a limit still meets it: clocks of files are not exact."""


def fit_for(rate_hz: float, least_hz: float) -> bool:
    """Whether a channel's rate is enough; a rate that is not known counts as enough."""
    return math.isnan(rate_hz) or rate_hz >= _SLACK * least_hz


def unfit_words(findings: Findings) -> tuple[str, ...]:
    """What the rates of the channels leave unassessed, each as a clause; () where all is fit."""
    heart, activity = findings.fetal.rate_hz, findings.uterine.rate_hz
    said = []
    if not fit_for(heart, VARIABILITY_FROM_HZ):
        said.append(
            f"variability, and whether falls were abrupt: the heart rate has {_every(heart)}, "
            f"and {VARIABILITY_FROM_HZ:g} a second is needed"
        )
    if findings.fetal.step_bpm > VARIABILITY_UPTO_BPM:
        said.append(
            f"variability: the heart rate is told to {findings.fetal.step_bpm:g} bpm, and to "
            f"{VARIABILITY_UPTO_BPM:g} is needed"
        )
    if findings.uterine.present and not fit_for(activity, CONTRACTIONS_FROM_HZ):
        said.append(
            f"contractions: the activity has {_every(activity)}, and one in "
            f"{1 / CONTRACTIONS_FROM_HZ:.0f} s is needed"
        )
    return tuple(said)


def _every(rate_hz: float) -> str:
    return f"one sample in {1.0 / rate_hz:.0f} s" if rate_hz < 0.6 else f"{rate_hz:g} samples a s"


def step_of(samples: FloatArray) -> float:
    """Least difference between the values of a channel; NaN with fewer than five of them.

    A trace of four values or fewer is a constructed one, of which its rounding cannot be told.
    """
    values = np.unique(samples[np.isfinite(samples)])
    return float(np.diff(values).min()) if len(values) >= LEAST_VALUES else math.nan


def limited(
    findings: Findings, heart_hz: float, activity_hz: float, step_bpm: float = math.nan
) -> Findings:
    """The findings with the rates of their channels, and without what these are not fit for.

    step_bpm: of the heart rate, see `step_of`.
    """
    fetal = replace(findings.fetal, rate_hz=heart_hz, step_bpm=step_bpm)
    uterine = replace(findings.uterine, rate_hz=activity_hz)
    if not fit_for(heart_hz, SHORT_TERM_FROM_HZ):
        fetal = replace(
            fetal, variability=tuple(replace(v, stv_ms=math.nan) for v in fetal.variability)
        )
    if not fit_for(heart_hz, VARIABILITY_FROM_HZ) or step_bpm > VARIABILITY_UPTO_BPM:
        fetal = replace(
            fetal,
            bandwidth=_unknown(fetal.bandwidth),
            fine_bandwidth=_unknown(fetal.fine_bandwidth),
            moving_bandwidth=_unknown(fetal.moving_bandwidth),
            moving_fine_bandwidth=_unknown(fetal.moving_fine_bandwidth),
            variability=tuple(
                replace(
                    one,
                    bandwidth_bpm=math.nan,
                    variability=VariabilityClass.INDETERMINATE,
                    stv_ms=math.nan,
                    ltv_bpm=math.nan,
                    measured_minutes=0,
                    certainty=0.0,
                )
                for one in fetal.variability
            ),
            sinusoidal=(),
        )
    if not fit_for(activity_hz, CONTRACTIONS_FROM_HZ):
        uterine = replace(
            uterine,
            contractions=(),
            measured=replace(uterine.measured, values=np.zeros_like(uterine.measured.values)),
        )
        fetal = replace(fetal, decelerations=tuple(map(_unpaired, fetal.decelerations)))
    return replace(findings, fetal=fetal, uterine=uterine)


def _unknown(curve: Curve) -> Curve:
    return replace(curve, values=np.full_like(curve.values, np.nan))


def _unpaired(fall: Deceleration) -> Deceleration:
    gradual = fall.kind in (DecelerationKind.EARLY, DecelerationKind.LATE)
    return replace(
        fall,
        kind=DecelerationKind.GRADUAL_UNPAIRED if gradual else fall.kind,
        contraction=NO_CONTRACTION,
        lag_s=math.nan,
        onset_lag_s=math.nan,
    )
