"""Readings made by hand, to be said, saved and checked."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ebbline import CAUTION
from ebbline.criteria.model import (
    Classification,
    Level,
    PanelContribution,
    PanelReading,
    Reason,
    Standard,
)
from ebbline.features.findings import (
    Artefact,
    ArtefactKind,
    Curve,
    FetalFindings,
    Findings,
    UterineFindings,
    VariabilityClass,
)
from ebbline.reading.model import (
    ContractionSummary,
    DecelerationSummary,
    FetalReading,
    HistoryPoint,
    Reading,
    Review,
    TenMinutes,
)
from ebbline.recording.model import Context
from ebbline.terms import SensorKind, Stage, Window

NAN = math.nan
HALF_HOUR = Window(3600.0, 5400.0)


def curve(step_s: float, values: list[float]) -> Curve:
    return Curve(0.0, step_s, np.array(values))


def findings(
    sensor: SensorKind = SensorKind.TOCO, artefacts: tuple[Artefact, ...] = ()
) -> Findings:
    return Findings(
        duration_s=5400.0,
        weeks=39.0,
        uterine=UterineFindings(
            present=True,
            sensor=sensor,
            contractions=(),
            tone=curve(60.0, [10.0, NAN]),
            measured=curve(60.0, [1.0, 0.0]),
            quality=(),
        ),
        fetal=FetalFindings(
            fetus=1,
            sensor=SensorKind.ULTRASOUND,
            baseline_curve=curve(1.0, [140.0, NAN]),
            rate_curve=curve(1.0, [140.0, NAN]),
            baseline=(),
            baseline_changes=(),
            bandwidth=curve(60.0, [12.0]),
            fine_bandwidth=curve(60.0, [12.0]),
            valid=curve(60.0, [0.9]),
            variability=(),
            accelerations=(),
            decelerations=(),
            sinusoidal=(),
            artefacts=artefacts,
            quality=(),
        ),
    )


def contractions(**changes: Any) -> ContractionSummary:
    given: dict[str, Any] = {
        "assessed": True,
        "count": 13,
        "per_10_min": 4.333,
        "per_10_min_over_s": 1800.0,
        "duration_s": 62.0,
        "interval_s": 137.0,
        "rest_s": 75.0,
        "resting_tone_mmhg": NAN,
        "montevideo_units": NAN,
        "tachysystole": False,
        "note": "",
    }
    return ContractionSummary(**{**given, **changes})


def late(**changes: Any) -> DecelerationSummary:
    given: dict[str, Any] = {
        "kind": "late",
        "count": 8,
        "share_of_contractions": 0.615,
        "recurrent": True,
        "repetitive": True,
        "median_depth_bpm": 22.0,
        "deepest_bpm": 31.0,
        "median_duration_s": 58.0,
        "longest_s": 84.0,
        "concerning": ("longer than 60 s",),
    }
    return DecelerationSummary(**{**given, **changes})


def column(**changes: Any) -> TenMinutes:
    given: dict[str, Any] = {
        "window": Window(3600.0, 4200.0),
        "valid_share": 0.92,
        "contractions": 4,
        "baseline_bpm": 155.0,
        "bandwidth_bpm": 4.0,
        "variability": VariabilityClass.MINIMAL,
        "accelerations": 0,
        "decelerations": 3,
        "change": ("baseline up 15 bpm", "variability from moderate to minimal"),
    }
    return TenMinutes(**{**given, **changes})


def review(**changes: Any) -> Review:
    given: dict[str, Any] = {
        "window": HALF_HOUR,
        "valid_share": 0.92,
        "longest_gap_s": 44.0,
        "suspected": (ArtefactKind.DROP_OUT,),
        "contractions": contractions(),
        "baseline_bpm": 155.0,
        "baseline_note": "",
        "bandwidth_bpm": 4.0,
        "variability": VariabilityClass.MINIMAL,
        "stv_ms": 2.34,
        "ltv_bpm": 11.0,
        "accelerations": 0,
        "decelerations": (late(),),
        "sinusoidal": False,
        "columns": (column(),),
        "not_assessed": (),
        "repetitive": True,
        "repetitive_share": 0.66,
    }
    return Review(**{**given, **changes})


def reason(**changes: Any) -> Reason:
    given: dict[str, Any] = {
        "rule": "variability.reduced",
        "feature": "variability",
        "level": Level.ALARMING,
        "verdict": "pathological",
        "text": "bandwidth under 5 bpm for 62 min, more than 50 min",
        "value": 62.0,
        "threshold": 50.0,
        "unit": "min",
        "evidence": (Window(1680.0, 5400.0),),
        "citation": "A standard, table 1",
    }
    return Reason(**{**given, **changes})


def classification(**changes: Any) -> Classification:
    given: dict[str, Any] = {
        "standard": Standard.FIGO,
        "edition": "FIGO 2015",
        "window": HALF_HOUR,
        "label": "pathological",
        "rank": 2,
        "reasons": (reason(),),
        "decided_by": ("variability.reduced",),
        "refusal": (),
        "not_assessed": (),
    }
    return Classification(**{**given, **changes})


def panel(**changes: Any) -> PanelReading:
    given: dict[str, Any] = {
        "window": HALF_HOUR,
        "probabilities": (0.1, 0.55, 0.35),
        "label": "suspicious",
        "score": 0.8,
        "contributions": (
            PanelContribution("baseline", 155.0, "bpm", 0.2),
            PanelContribution("late decelerations", 8.0, "in 30 min", 1.3),
        ),
        "model_version": "1",
        "data": "made up for a test",
        "warnings": (),
    }
    return PanelReading(**{**given, **changes})


def fetal(**changes: Any) -> FetalReading:
    given: dict[str, Any] = {
        "fetus": 1,
        "findings": findings(),
        "review": review(),
        "classes": (classification(),),
        "history": (HistoryPoint(5400.0, {"figo": "pathological"}),),
        "panel": None,
    }
    return FetalReading(**{**given, **changes})


def reading(*fetuses: FetalReading, **changes: Any) -> Reading:
    given: dict[str, Any] = {
        "recording": "invented",
        "ebbline_version": "0",
        "duration_s": 5400.0,
        "start": "",
        "context": Context(weeks=39.0, stage=Stage.FIRST, oxytocin=True),
        "window": HALF_HOUR,
        "fetuses": fetuses or (fetal(),),
        "notes": (),
        "caution": CAUTION,
    }
    return Reading(**{**given, **changes})
