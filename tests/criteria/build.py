"""Findings by hand: what a trace would show, without a trace.

`trace` makes the findings of a recording of whole minutes from a few words; the other functions
make single events. Everything not said is normal: baseline 140, bandwidth 12 bpm, a contraction
every 4 minutes, no decelerations, no accelerations, no signal lost.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np

from ebbline.criteria import classify
from ebbline.criteria.model import Classification, Standard
from ebbline.definitions import LATE_LAG_S, variability_class
from ebbline.features.findings import (
    NO_CONTRACTION,
    Acceleration,
    Artefact,
    ArtefactKind,
    BaselineSegment,
    Contraction,
    Curve,
    Deceleration,
    DecelerationKind,
    FetalFindings,
    Findings,
    SinusoidalEpisode,
    UterineFindings,
    VariabilitySegment,
)
from ebbline.recording.model import Context
from ebbline.terms import SensorKind, Window

MINUTE = 60.0
NAN = math.nan

Event = TypeVar("Event", Contraction, Deceleration, Acceleration, SinusoidalEpisode, Artefact)


# ---------------------------------------------------------------- events


def contraction(
    peak_s: float, *, duration_s: float = 60.0, amplitude: float = 50.0, tone: float = 10.0
) -> Contraction:
    return Contraction(
        onset_s=peak_s - duration_s / 2,
        peak_s=peak_s,
        end_s=peak_s + duration_s / 2,
        amplitude=amplitude,
        resting_tone=tone,
        valid_share=1.0,
        certainty=1.0,
    )


def contractions(
    minutes: float, *, every_s: float = 240.0, first_s: float = 120.0, duration_s: float = 60.0
) -> tuple[Contraction, ...]:
    """Contractions at even distances through a recording."""
    peaks = np.arange(first_s, minutes * MINUTE, every_s)
    return tuple(contraction(float(peak), duration_s=duration_s) for peak in peaks)


def acceleration(peak_s: float, *, duration_s: float = 30.0) -> Acceleration:
    return Acceleration(
        onset_s=peak_s - duration_s / 2,
        peak_s=peak_s,
        end_s=peak_s + duration_s / 2,
        height_bpm=20.0,
        baseline_bpm=140.0,
        onset_to_peak_s=10.0,
        abrupt=True,
        prolonged=duration_s >= 120.0,
        contraction=NO_CONTRACTION,
        valid_share=1.0,
        certainty=1.0,
    )


def deceleration(
    kind: DecelerationKind,
    onset_s: float,
    *,
    nadir_s: float,
    end_s: float,
    depth: float = 30.0,
    within: float = 10.0,
    abrupt: bool = False,
    return_s: float | None = None,
    shoulders: bool = False,
    slow_return: bool = False,
    fails_to_return: bool = False,
    shallow: bool = False,
    nadir_bpm: float | None = None,
) -> Deceleration:
    """A deceleration that belongs to no contraction yet; `trace` or `of` pairs it."""
    return Deceleration(
        kind=kind,
        onset_s=onset_s,
        nadir_s=nadir_s,
        end_s=end_s,
        depth_bpm=depth,
        nadir_bpm=140.0 - depth if nadir_bpm is None else nadir_bpm,
        baseline_bpm=140.0,
        onset_to_nadir_s=nadir_s - onset_s,
        return_s=end_s - nadir_s if return_s is None else return_s,
        abrupt=abrupt,
        contraction=NO_CONTRACTION,
        lag_s=NAN,
        onset_lag_s=NAN,
        area_bpm_s=depth * (end_s - onset_s) / 2,
        variability_within_bpm=within,
        shoulder_before=shoulders,
        shoulder_after=shoulders,
        overshoot=False,
        slow_return=slow_return,
        fails_to_return=fails_to_return,
        shallow=shallow,
        valid_share=1.0,
        certainty=1.0,
    )


def of(fall: Deceleration, its: Contraction) -> Deceleration:
    """The deceleration with its lags to a contraction (`trace` finds the index by them)."""
    return replace(fall, lag_s=fall.nadir_s - its.peak_s, onset_lag_s=fall.onset_s - its.onset_s)


def late(
    its: Contraction,
    *,
    depth: float = 25.0,
    onset_lag_s: float = 30.0,
    lag_s: float = 40.0,
    return_s: float = 40.0,
    within: float = 10.0,
    shallow: bool = False,
) -> Deceleration:
    """Gradual, its nadir well after the contraction's peak."""
    onset_s, nadir_s = its.onset_s + onset_lag_s, its.peak_s + lag_s
    end_s = nadir_s + return_s
    kind = DecelerationKind.LATE if lag_s > LATE_LAG_S else DecelerationKind.EARLY
    if end_s - onset_s >= 120.0:
        kind = DecelerationKind.PROLONGED
    made = deceleration(
        kind, onset_s, nadir_s=nadir_s, end_s=end_s, depth=depth, within=within, shallow=shallow
    )
    return of(made, its)


def early(its: Contraction, *, depth: float = 20.0) -> Deceleration:
    """Gradual, its nadir at the contraction's peak."""
    made = deceleration(
        DecelerationKind.EARLY,
        its.peak_s - 32.0,
        nadir_s=its.peak_s,
        end_s=its.peak_s + 32.0,
        depth=depth,
    )
    return of(made, its)


def variable(
    at: Contraction | float,
    *,
    duration_s: float = 40.0,
    depth: float = 30.0,
    within: float = 10.0,
    shoulders: bool = False,
    slow_return: bool = False,
    fails_to_return: bool = False,
    nadir_bpm: float | None = None,
) -> Deceleration:
    """Abrupt; with a contraction, or at a time (then with none)."""
    nadir_s = at.peak_s if isinstance(at, Contraction) else at
    onset_s = nadir_s - 10.0
    made = deceleration(
        DecelerationKind.PROLONGED if duration_s >= 120.0 else DecelerationKind.VARIABLE,
        onset_s,
        nadir_s=nadir_s,
        end_s=onset_s + duration_s,
        depth=depth,
        within=within,
        abrupt=True,
        return_s=15.0,
        shoulders=shoulders,
        slow_return=slow_return,
        fails_to_return=fails_to_return,
        nadir_bpm=nadir_bpm,
    )
    return of(made, at) if isinstance(at, Contraction) else made


def gradual(nadir_s: float, *, duration_s: float = 80.0, depth: float = 25.0) -> Deceleration:
    """Gradual, no contraction known."""
    kind = DecelerationKind.GRADUAL_UNPAIRED
    if duration_s >= 120.0:
        kind = DecelerationKind.PROLONGED
    return deceleration(
        kind, nadir_s - duration_s / 2, nadir_s=nadir_s, end_s=nadir_s + duration_s / 2, depth=depth
    )


def sinusoidal(start_s: float, end_s: float, *, pseudo: bool = False) -> SinusoidalEpisode:
    return SinusoidalEpisode(start_s, end_s, 4.0, 8.0, pseudo, 0.9)


def mother(start_s: float, end_s: float, *, certainty: float = 0.9) -> Artefact:
    """A stretch whose rate may be the mother's."""
    return Artefact(ArtefactKind.MATERNAL, start_s, end_s, certainty, "as fast as her pulse")


# ---------------------------------------------------------------- a recording


@dataclass(frozen=True)
class Trace:
    """What a recording of whole minutes would show; `findings` makes it.

    baseline: one value, or one for each ten minutes (NaN: indeterminate). bandwidth, valid,
    activity: one value, or one for each minute. present: whether there is an activity channel.
    start_s: before it nothing was recorded. rate: bpm of every second (None: not known).
    """

    minutes: int = 40
    baseline: float | Sequence[float] = 140.0
    bandwidth: float | Sequence[float] = 12.0
    uterus: Sequence[Contraction] | None = None
    decelerations: Iterable[Deceleration] = ()
    accelerations: Iterable[Acceleration] = ()
    undulation: Iterable[SinusoidalEpisode] = ()
    artefacts: Iterable[Artefact] = ()
    valid: float | Sequence[float] = 1.0
    activity: float | Sequence[float] = 1.0
    sensor: SensorKind = SensorKind.TOCO
    present: bool = True
    weeks: float | None = 39.0
    start_s: float = 0.0
    rate: Sequence[float] | None = None

    def moved(self, by_s: float) -> Trace:
        """The same, so much later."""
        squeezes = contractions(self.minutes) if self.uterus is None else self.uterus
        return replace(
            self,
            uterus=tuple(_moved(one, by_s) for one in squeezes),
            decelerations=tuple(_moved(one, by_s) for one in self.decelerations),
            accelerations=tuple(_moved(one, by_s) for one in self.accelerations),
            undulation=tuple(_moved(one, by_s) for one in self.undulation),
            artefacts=tuple(_moved(one, by_s) for one in self.artefacts),
            start_s=self.start_s + by_s,
        )

    def findings(self) -> Findings:
        """The findings."""
        minutes, start_s = self.minutes, self.start_s
        band = _each(self.bandwidth, minutes)
        activity = self.activity if self.present else 0.0
        squeezes = contractions(minutes) if self.uterus is None else tuple(self.uterus)
        squeezes = squeezes if self.present else ()
        falls = sorted(self.decelerations, key=lambda fall: fall.onset_s)
        blank = Curve(start_s, 1.0, np.full(int(minutes * MINUTE), NAN))
        return Findings(
            duration_s=start_s + minutes * MINUTE,
            weeks=self.weeks,
            uterine=UterineFindings(
                present=self.present,
                sensor=self.sensor if self.present else SensorKind.UNKNOWN,
                contractions=squeezes,
                tone=blank,
                measured=Curve(start_s, MINUTE, _each(activity, minutes)),
                quality=(),
            ),
            fetal=FetalFindings(
                fetus=1,
                sensor=SensorKind.ULTRASOUND,
                baseline_curve=blank,
                rate_curve=blank
                if self.rate is None
                else Curve(start_s, 1.0, np.asarray(self.rate, dtype=np.float64)),
                baseline=_baselines(
                    _each(self.baseline, math.ceil(minutes / 10)), minutes, start_s
                ),
                baseline_changes=(),
                bandwidth=Curve(start_s, MINUTE, band),
                fine_bandwidth=Curve(start_s, MINUTE, band),
                valid=Curve(start_s, MINUTE, _each(self.valid, minutes)),
                variability=_variabilities(band, start_s),
                accelerations=tuple(sorted(self.accelerations, key=lambda one: one.peak_s)),
                decelerations=tuple(_paired(fall, squeezes) for fall in falls),
                sinusoidal=tuple(self.undulation),
                artefacts=tuple(self.artefacts),
                quality=(),
            ),
        )


def trace(minutes: int = 40, **words: Any) -> Findings:
    """The findings of a `Trace` of these words."""
    return Trace(minutes, **words).findings()


def _moved(event: Event, by_s: float) -> Event:
    """An event with every time of the recording so much later."""
    times = ("start_s", "onset_s", "nadir_s", "peak_s", "end_s")
    return replace(event, **{t: getattr(event, t) + by_s for t in times if hasattr(event, t)})


def _each(values: float | Sequence[float], count: int) -> np.ndarray:
    return np.broadcast_to(np.asarray(values, dtype=np.float64), (count,)).copy()


def _paired(fall: Deceleration, squeezes: Sequence[Contraction]) -> Deceleration:
    """The deceleration with the index of its contraction; gradual without it is unpaired."""
    for index, one in enumerate(squeezes):
        if abs(one.peak_s + fall.lag_s - fall.nadir_s) < 1e-6:
            return replace(fall, contraction=index)
    alone = {DecelerationKind.EARLY, DecelerationKind.LATE}
    kind = DecelerationKind.GRADUAL_UNPAIRED if fall.kind in alone else fall.kind
    return replace(fall, kind=kind, contraction=NO_CONTRACTION, lag_s=NAN, onset_lag_s=NAN)


def _baselines(values: np.ndarray, minutes: int, start_s: float) -> tuple[BaselineSegment, ...]:
    found = []
    for ten, bpm in enumerate(values.tolist()):
        known = not math.isnan(bpm)
        found.append(
            BaselineSegment(
                start_s=start_s + ten * 600.0,
                end_s=start_s + min((ten + 1) * 600.0, minutes * MINUTE),
                bpm=5.0 * math.floor(bpm / 5.0 + 0.5) if known else NAN,
                mean_bpm=bpm,
                baseline_s=500.0 if known else 60.0,
                spread_bpm=1.0 if known else NAN,
                determinate=known,
                why="" if known else "60 s of baseline in these ten minutes",
                carried_from_s=NAN,
            )
        )
    return tuple(found)


def _variabilities(band: np.ndarray, start_s: float) -> tuple[VariabilitySegment, ...]:
    found = []
    for first in range(0, len(band), 10):
        part = band[first : first + 10]
        seen = part[np.isfinite(part)]
        mean = float(seen.mean()) if len(seen) else NAN
        found.append(
            VariabilitySegment(
                start_s=start_s + first * MINUTE,
                end_s=start_s + (first + len(part)) * MINUTE,
                bandwidth_bpm=mean,
                variability=variability_class(mean),
                stv_ms=6.0,
                ltv_bpm=10.0,
                measured_minutes=len(seen),
                certainty=1.0,
            )
        )
    return tuple(found)


# ---------------------------------------------------------------- asking for the class


def last(findings: Findings, minutes: float = 30.0) -> Window:
    """The window of the last minutes of a recording."""
    return Window(findings.duration_s - minutes * MINUTE, findings.duration_s)


def judged(
    standard: Standard,
    findings: Findings,
    *,
    minutes: float = 30.0,
    window: Window | None = None,
    context: Context | None = None,
) -> Classification:
    """The class of the last minutes (or of a window)."""
    asked = last(findings, minutes) if window is None else window
    return classify(findings, asked, standard, context)


def rules_of(found: Classification) -> set[str]:
    """Ids of the lines that were stated."""
    return {reason.rule for reason in found.reasons}
