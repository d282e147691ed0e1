"""The older FIGO classes, the ones the readers of the recordings used, as best they can be stated.

Guidelines for the use of fetal monitoring. Int J Gynaecol Obstet 1987;25:159-67 (all thresholds
from memory, not re-read). Used to compare with the readers only: no class shown to a user comes
from here.
"""

from __future__ import annotations

import numpy as np

from ebbline.features.findings import DecelerationKind, Findings
from ebbline.terms import Window

LEAST_VALID_SHARE = 0.4
SEVERE_DEPTH_BPM, SEVERE_S = 60.0, 60.0


def classify_1987(findings: Findings, window: Window) -> int | None:
    """1 normal, 2 suspicious, 3 pathological; None where too little could be seen."""
    fetal = findings.fetal
    first, last = int(window.start_s // 60), int(np.ceil(window.end_s / 60))
    valid = fetal.valid.values[first:last]
    levels = fetal.baseline_curve.values[int(window.start_s) : int(window.end_s)]
    levels = levels[np.isfinite(levels)]
    if valid.mean() < LEAST_VALID_SHARE or not len(levels):
        return None
    baseline = float(np.median(levels))
    band = fetal.bandwidth.values[first:last]
    band = band[np.isfinite(band)]
    width = float(band.mean()) if len(band) else np.nan
    inside = [
        d
        for d in fetal.decelerations
        if window.start_s <= d.nadir_s < window.end_s and not d.shallow
    ]
    severe = [
        d
        for d in inside
        if d.kind is DecelerationKind.VARIABLE
        and (d.nadir_bpm < 70.0 or d.depth_bpm >= SEVERE_DEPTH_BPM)
        and d.duration_s >= SEVERE_S
    ]
    prolonged = [d for d in inside if d.kind is DecelerationKind.PROLONGED]
    late = [d for d in inside if d.kind is DecelerationKind.LATE]
    if (
        baseline < 100
        or baseline > 170
        or width < 5
        or severe
        or len(late) >= 3
        or any(d.duration_s > 180 or d.depth_bpm >= 30 for d in prolonged)
    ):
        return 3
    if baseline < 110 or baseline > 150 or width < 10 or width > 25 or inside:
        return 2
    return 1
