"""Listening at intervals: the beats to be heard, what a count comes to, and how it is scored.

The learner counts by tapping along while the labour goes on; a hand on the fundus tells when a
contraction begins and ends. NICE NG229 (2022) asks for at least one minute at once after a
contraction, every 15 minutes in the first stage and every 5 in the second.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import BASELINE_NORMAL_FROM_BPM, BASELINE_NORMAL_TO_BPM
from ebbline.synth.ground_truth import Truth
from ebbline.teach.answers import AuscultationAnswer
from ebbline.teach.scoring import Score, ScoreLine, falling, scored_line, with_confidence

FloatArray = NDArray[np.float64]

NEAR_S = 90.0
"""Listening counts as before or after a contraction up to so far from it (ours)."""

LEAST_BESIDE_S, LEAST_DURING_S = 15.0, 10.0
AFTER_FOR_S = 60.0
COUNT_WITHIN_BPM, COUNT_NONE_BPM = 5.0, 20.0
BASELINE_WITHIN_BPM = 10.0
LEAST_TAPS = 6

FALLS_FROM, NO_FALLS_UPTO = 0.5, 0.1
"""Share of contractions with a fall: from which there are some to be heard, and up to which there
are none; in between either answer counts (half of the contractions: recurrent, NICHD 2008)."""


@dataclass(frozen=True, slots=True)
class Count:
    """One listening. start_s, end_s: of the labour; bpm: as tapped, NaN with too few taps."""

    start_s: float
    end_s: float
    bpm: float
    first_s: float
    last_s: float


def beats(truth: Truth, start_s: float, end_s: float) -> FloatArray:
    """Times of the fetal heart's beats between two seconds of a labour, s, shape (n,)."""
    rate = truth.heart_rate
    at = np.arange(start_s, end_s, 0.05)
    bpm = np.interp(at, rate.start_s + np.arange(len(rate.values)) * rate.step_s, rate.values)
    turns = np.cumsum(np.nan_to_num(bpm, nan=0.0) / 60.0 * 0.05)
    return np.asarray(np.interp(np.arange(1.0, np.floor(turns[-1]) + 1), turns, at))


def hardened(truth: Truth, start_s: float, end_s: float) -> tuple[tuple[float, float], ...]:
    """Contractions that a hand on the fundus feels in a stretch: (from, to), s of the labour."""
    return tuple(
        (max(c.onset_s, start_s), min(c.end_s, end_s))
        for c in truth.contractions
        if c.counts and c.end_s > start_s and c.onset_s < end_s
    )


def counted(start_s: float, end_s: float, taps: Sequence[float]) -> Count:
    """What tapping along comes to. taps: s from the listening's start, rising."""
    if len(taps) < LEAST_TAPS or taps[-1] <= taps[0]:
        return Count(start_s, end_s, math.nan, start_s, end_s)
    bpm = 60.0 * (len(taps) - 1) / (taps[-1] - taps[0])
    return Count(start_s, end_s, bpm, start_s + taps[0], start_s + taps[-1])


def true_mean_bpm(truth: Truth, start_s: float, end_s: float) -> float:
    """The mean fetal heart rate of a stretch."""
    rate = truth.heart_rate
    values = rate.values[int(start_s / rate.step_s) : max(1, math.ceil(end_s / rate.step_s))]
    return float(np.nanmean(values)) if len(values) else math.nan


def moments(counts: Sequence[Count], truth: Truth) -> dict[str, float]:
    """Most seconds listened before, during and after one contraction."""
    found = {"before": 0.0, "during": 0.0, "after": 0.0}
    for c in truth.contractions:
        if not c.counts:
            continue
        for count in counts:
            stretches = {
                "before": (c.onset_s - NEAR_S, c.onset_s),
                "during": (c.onset_s, c.end_s),
                "after": (c.end_s, c.end_s + NEAR_S),
            }
            for name, (a, b) in stretches.items():
                shared = min(b, count.end_s) - max(a, count.start_s)
                found[name] = max(found[name], shared)
    return found


def share_with_falls(truth: Truth) -> float:
    """Share of the contractions that a fall of the rate follows; NaN without contractions."""
    numbers = [i for i, c in enumerate(truth.contractions) if c.counts]
    fallen = {d.contraction for d in truth.decelerations if d.counts}
    return sum(i in fallen for i in numbers) / len(numbers) if numbers else math.nan


def needs_continuous(truth: Truth, baseline_bpm: float) -> bool | None:
    """Whether what can be heard asks for continuous monitoring; None where both answers hold."""
    share = share_with_falls(truth)
    if not BASELINE_NORMAL_FROM_BPM <= baseline_bpm <= BASELINE_NORMAL_TO_BPM:
        return True
    if share >= FALLS_FROM:
        return True
    return False if not share > NO_FALLS_UPTO else None


def score_auscultation(
    counts: Sequence[Count], answer: AuscultationAnswer, truth: Truth, baseline_bpm: float
) -> Score:
    """Listening at intervals against the labour as it was. baseline_bpm: the true one."""
    lines = (
        _moments_line(counts, truth),
        _counting_line(counts, truth),
        *_conclusions(answer, truth, baseline_bpm),
    )
    skills = tuple((f"listening: {line.item}", line.share) for line in lines)
    return with_confidence(Score(lines, skills=skills), answer.sure)


def _moments_line(counts: Sequence[Count], truth: Truth) -> ScoreLine:
    seen = moments(counts, truth)
    after = seen["after"]
    points = float(seen["before"] >= LEAST_BESIDE_S) + float(seen["during"] >= LEAST_DURING_S)
    points += 1.0 if after >= AFTER_FOR_S else 0.5 if after >= LEAST_BESIDE_S else 0.0
    said = ", ".join(f"{name} {max(0.0, seconds):.0f} s" for name, seconds in seen.items())
    return scored_line(
        "moments of listening", points / 3, said, "before, during, after for 60 s or more"
    )


def _counting_line(counts: Sequence[Count], truth: Truth) -> ScoreLine:
    shares, said, true = [], [], []
    for count in counts:
        mean = true_mean_bpm(truth, count.first_s, count.last_s)
        true.append(f"{mean:.0f}")
        if math.isnan(count.bpm):
            shares.append(0.0)
            said.append("not counted")
            continue
        shares.append(falling(abs(count.bpm - mean), COUNT_WITHIN_BPM, COUNT_NONE_BPM))
        said.append(f"{count.bpm:.0f}")
    share = float(np.mean(shares)) if shares else 0.0
    return scored_line(
        "counting", share, ", ".join(said) or "never counted", ", ".join(true) or "-"
    )


def _conclusions(answer: AuscultationAnswer, truth: Truth, baseline_bpm: float) -> list[ScoreLine]:
    said = answer.baseline_bpm
    near = said is not None and abs(said - baseline_bpm) <= BASELINE_WITHIN_BPM
    share = share_with_falls(truth)
    falls = True if share >= FALLS_FROM else None if share > NO_FALLS_UPTO else False
    go_on = needs_continuous(truth, baseline_bpm)
    return [
        scored_line(
            "rate between contractions",
            float(near),
            "not answered" if said is None else f"{said:.0f} bpm",
            f"{baseline_bpm:.0f} bpm",
        ),
        _told("falls heard", answer.decelerations, falls),
        _told("continuous monitoring", answer.continuous, go_on),
    ]


def _told(item: str, said: bool | None, true: bool | None) -> ScoreLine:
    words = {True: "yes", False: "no", None: "not answered"}
    right = said is not None and (true is None or said == true)
    return scored_line(
        item, float(right), words[said], "either: now and then" if true is None else words[true]
    )
