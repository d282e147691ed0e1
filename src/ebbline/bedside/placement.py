"""After the sensors are on: what to try when the signal is poor, and in what order.

Signal quality comes here as plain values and words, so that the examination knows nothing of
traces. The order goes from what costs the mother least to what costs her most; every step is
common practice unless a source is named.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from ebbline.bedside.sources import PRACTICE, Mark, Source
from ebbline.errors import ExaminationError
from ebbline.terms import SensorKind, Stage

FIGO_2015 = Source(
    "Ayres-de-Campos D, Spong CY, Chandraharan E. Int J Gynaecol Obstet 2015;131:13-24",
    Mark.READ,
)
FIGO_2015_LOSS = Source("FIGO 2015: signal loss up to 20 % is workable", Mark.MEMORY)

WORKABLE_SHARE = 0.80
SAME_RATE_BPM = 5.0
"""Mother and fetus within so many bpm cannot be told apart by their rates (assumption)."""
LONG_GAP_S = 60.0


class SensorTrouble(StrEnum):
    """What may be wrong with a signal, in the words that a reading of the trace uses."""

    LOST = "signal lost"
    SPIKES = "spikes"
    OUT_OF_RANGE = "out of range"
    DOUBLING = "doubling suspected"
    HALVING = "halving suspected"
    MATERNAL = "maternal rate suspected"
    FLAT = "flat line"
    NO_CONTRACTIONS = "contractions not shown"


class Brought(StrEnum):
    """What a step that was tried has brought."""

    HELPED = "helped"
    NOTHING = "nothing"
    NOT_POSSIBLE = "not possible"


@dataclass(frozen=True, slots=True)
class Tried:
    """A step that was tried, by its id, and what it brought."""

    step: str
    brought: Brought


@dataclass(frozen=True, slots=True)
class SignalNow:
    """The signal as it is now.

    heart_sensor, uterine_sensor: what measures. valid_share: usable share of the last minutes,
    0..1, NaN unknown. longest_gap_s: NaN unknown. troubles: what is suspected. tries: how often
    the sensor was already moved. tried: which steps were tried, with what they brought.
    heart_rate_bpm, maternal_pulse_bpm: NaN unknown. rises_with_contractions: the rate rises with
    pushing or contractions; None unknown.
    """

    heart_sensor: SensorKind = SensorKind.ULTRASOUND
    uterine_sensor: SensorKind = SensorKind.TOCO
    valid_share: float = math.nan
    longest_gap_s: float = math.nan
    troubles: tuple[SensorTrouble, ...] = ()
    tries: int = 0
    stage: Stage = Stage.UNKNOWN
    heart_rate_bpm: float = math.nan
    maternal_pulse_bpm: float = math.nan
    rises_with_contractions: bool | None = None
    fetuses: int = 1
    tried: tuple[Tried, ...] = ()


@dataclass(frozen=True, slots=True)
class Try:
    """One thing to try, with its reason and source. id: its handle, to tick it off by."""

    id: str
    what: str
    why: str
    source: str


@dataclass(frozen=True, slots=True)
class PlacementAdvice:
    """What to do about the signal.

    exclude_maternal: feel the mother's pulse against the trace before anything is read from it,
    with the reasons. steps: what to try, in order, without what was tried. done: what was tried,
    for the record ("gel and belt: nothing"). rest: when to stop moving the sensor and talk of other
    ways, or "". electrode, catheter: whether an internal sensor is worth discussing, with the
    reason (the check itself is `ebbline internal`). not_known: what could not be judged.
    """

    exclude_maternal: bool
    maternal_why: tuple[str, ...]
    steps: tuple[Try, ...]
    done: tuple[str, ...]
    rest: str
    electrode: bool
    electrode_why: str
    catheter: bool
    catheter_why: str
    not_known: tuple[str, ...]


def _maternal_reasons(signal: SignalNow) -> list[str]:
    reasons = []
    troubles = set(signal.troubles)
    if SensorTrouble.MATERNAL in troubles:
        reasons.append("the trace itself makes the mother's rate suspected")
    if {SensorTrouble.DOUBLING, SensorTrouble.HALVING} & troubles:
        reasons.append("a rate that jumps by about two may be the other heart")
    if signal.rises_with_contractions:
        reasons.append(
            "the rate rises with contractions or pushing: a mother's does, a fetus's tends to fall"
        )
    if signal.stage is Stage.SECOND and signal.heart_sensor is SensorKind.ULTRASOUND:
        reasons.append("in the second stage ultrasound slips to the mother's vessels more often")
    if _alike(signal):
        reasons.append(
            f"her pulse ({signal.maternal_pulse_bpm:g}) and the rate on the trace "
            f"({signal.heart_rate_bpm:g}) are too close to tell apart"
        )
    if _poor(signal) and not reasons:
        reasons.append("the signal was lost: what comes back after a loss may be another heart")
    return reasons


def _alike(signal: SignalNow) -> bool:
    """Whether her pulse was told and is too near the rate on the trace; False where unknown."""
    return abs(signal.heart_rate_bpm - signal.maternal_pulse_bpm) <= SAME_RATE_BPM


def _poor(signal: SignalNow) -> bool:
    """Whether too little of the signal serves; a loss of unknown extent counts as too much."""
    share, troubles = signal.valid_share, set(signal.troubles)
    return (
        share < WORKABLE_SHARE
        or signal.longest_gap_s > LONG_GAP_S
        or SensorTrouble.FLAT in troubles
        or (SensorTrouble.LOST in troubles and math.isnan(share))
    )


def _try(step: str, what: str, why: str, source: Source = PRACTICE) -> Try:
    return Try(step, what, why, str(source))


_PULSE = _try(
    "pulse",
    "Feel her pulse for a full minute and compare it with the sound and the number on the trace",
    "a mother's rate on the paper looks like a reassuring fetal one",
    FIGO_2015,
)
_FIND_HEART = _try(
    "fetal heart",
    "Find the fetus's own heart, by ear away from her vessels or by scan, with her pulse under "
    "the finger: two hearts must be told apart before anything is read from the trace",
    "her pulse and the trace are alike: the trace may be hers, and then nothing is known of the "
    "fetus",
    FIGO_2015,
)


_SCAN = _try(
    "scan",
    "Look for the heart with a scan and lay the sensor there",
    "what the ear did not find the eye may",
)


def _in_vain(signal: SignalNow, step: str) -> bool:
    """Whether a step was tried and did not help."""
    return any(one.step == step and one.brought is not Brought.HELPED for one in signal.tried)


def _maternal_steps(signal: SignalNow) -> list[Try]:
    """Her pulse first; once it is told and alike, the fetus's heart and not her pulse again."""
    if _alike(signal):
        return [_FIND_HEART]
    if math.isnan(signal.maternal_pulse_bpm) or math.isnan(signal.heart_rate_bpm):
        return [_PULSE]
    return []


def _ultrasound_steps(signal: SignalNow, best: str, fallback: str) -> list[Try]:
    # What the ear did not find the eye may, and the eye counts it too.
    steps = [_SCAN] if _poor(signal) and _in_vain(signal, "ear") else []
    if {SensorTrouble.DOUBLING, SensorTrouble.HALVING} & set(signal.troubles):
        steps.append(
            _try(
                "count",
                "Count the heart by ear for a minute",
                "ultrasound can double a slow rate and halve a fast one",
                FIGO_2015,
            )
        )
    if _poor(signal) or SensorTrouble.SPIKES in signal.troubles:
        steps += [
            _try(
                "gel",
                "See that there is gel under the whole face and the belt is snug",
                "air is deaf",
            ),
            _try(
                "ear",
                f"Find the heart by ear and lay the sensor there: {best}",
                "the sensor drifts",
            ),
            _try(
                "tilt",
                "Tilt the sensor, little by little, towards the fetal back",
                "the beam is narrow",
            ),
            _try(
                "her side",
                "Help her onto her side or upright, and look again",
                "the fetus rolls with her",
            ),
            _try(
                "fallback",
                f"Listen at the fallback: {fallback}",
                "the back may lie elsewhere than felt",
            ),
            _try(
                "follow",
                "Has the head come down or turned? Follow it down and towards the midline",
                "the site moves with descent and rotation",
            ),
            *([] if _in_vain(signal, "ear") else [_SCAN]),
            _try(
                "examine",
                "Examine her again from the fundus",
                "the lie or the position may have changed",
            ),
        ]
    return steps


def _electrode_steps(signal: SignalNow) -> list[Try]:
    if not (_poor(signal) or signal.troubles):
        return []
    return [
        _try(
            "lead",
            "See that the leg plate sticks and the lead is plugged in",
            "the loose lead first",
        ),
        _try("still on", "See whether the electrode is still on", "it comes off with descent"),
        _try(
            "beside",
            "Put an ultrasound sensor on beside it and compare",
            "an electrode on a fetus that has died can carry the mother's rate",
            FIGO_2015,
        ),
    ]


def _uterine_steps(signal: SignalNow) -> list[Try]:
    if SensorTrouble.NO_CONTRACTIONS not in signal.troubles:
        return []
    if signal.uterine_sensor is SensorKind.PRESSURE_CATHETER:
        return [
            _try(
                "flush",
                "Flush or reset the catheter to zero as its maker says",
                "a drift of the zero",
            ),
            _try("cough", "Ask her to cough: a spike must show", "a blocked or kinked catheter"),
        ]
    return [
        _try(
            "fundus",
            "Keep a hand on the fundus through a contraction, then lay the sensor where it "
            "hardens most",
            "the belt sits off the fundus",
        ),
        _try("zero", "Set the zero between contractions", "tone drifts when she moves"),
        _try("snug", "Tighten the belt until it lies snug, no more", "a slack belt shows nothing"),
    ]


def tried_from(given: Mapping[str, str]) -> tuple[Tried, ...]:
    """Steps ticked off, from words: step to what it brought.

    Raises ExaminationError for an unknown step or word.
    """
    words = {one.value: one for one in Brought}
    made = []
    for step, brought in given.items():
        plain = " ".join(step.strip().lower().replace("-", " ").split())
        said = " ".join(brought.strip().lower().replace("-", " ").split())
        if plain not in STEP_IDS:
            raise ExaminationError(
                f"'{step}' is no step.", where="tried", remedy=f"Known: {', '.join(STEP_IDS)}."
            )
        if said not in words:
            raise ExaminationError(
                f"'{brought}' is not what a step brings.",
                where=plain,
                remedy=f"Choose from: {', '.join(words)}.",
            )
        made.append(Tried(plain, words[said]))
    return tuple(made)


STEP_IDS = (
    "pulse",
    "fetal heart",
    "count",
    "gel",
    "ear",
    "scan",
    "tilt",
    "her side",
    "fallback",
    "follow",
    "examine",
    "lead",
    "still on",
    "beside",
    "flush",
    "cough",
    "fundus",
    "zero",
    "snug",
    "twins",
)


def advise(
    signal: SignalNow, best: str = "the best point", fallback: str = "the other side"
) -> PlacementAdvice:
    """What to try, in order, for the signal as it is.

    best, fallback: where the sensor should lie, in words (from sensors.plan).
    """
    reasons = _maternal_reasons(signal)
    steps = _maternal_steps(signal) if reasons else []
    on_skin = signal.heart_sensor in (SensorKind.ULTRASOUND, SensorKind.UNKNOWN)
    steps += _ultrasound_steps(signal, best, fallback) if on_skin else _electrode_steps(signal)
    steps += _uterine_steps(signal)
    if signal.fetuses > 1 and steps:
        steps.append(
            _try(
                "twins",
                "Twins: see that the two rates differ; if they run together, one heart is "
                "heard twice",
                "two sensors on one fetus",
                FIGO_2015,
            )
        )
    electrode, electrode_why = _electrode(signal, on_skin)
    catheter, catheter_why = _catheter(signal)
    tried = {one.step for one in signal.tried}
    return PlacementAdvice(
        bool(reasons),
        tuple(reasons),
        tuple(step for step in steps if step.id not in tried),
        tuple(f"{one.step}: {one.brought}" for one in signal.tried),
        _rest(signal),
        electrode,
        electrode_why,
        catheter,
        catheter_why,
        _not_known(signal),
    )


ENOUGH_TRIES = 2
HER_REST_AFTER = 4
"""After so many steps or moves in vain her rest comes first (ours)."""


def _rest(signal: SignalNow) -> str:
    """When to stop moving the sensor; "" where it is too early to say."""
    in_vain = sum(one.brought is not Brought.HELPED for one in signal.tried)
    if max(in_vain, signal.tries) < HER_REST_AFTER or not (_poor(signal) or _alike(signal)):
        return ""
    return (
        "Her rest counts: stop moving the sensor. Talk with her and the team about other ways: "
        "listening by ear, a scan, an electrode after its check (common practice). Until then the "
        "trace tells nothing of the fetus."
    )


_MOVES = ("ear", "scan", "tilt", "fallback", "follow", "examine", "fundus")


def _moves(signal: SignalNow) -> int:
    """How often the sensor was moved: as told, or as the steps ticked off say."""
    return max(signal.tries, sum(one.step in _MOVES for one in signal.tried))


def _electrode(signal: SignalNow, on_skin: bool) -> tuple[bool, str]:
    if not on_skin:
        return False, "The heart rate already comes from an electrode."
    if signal.stage not in (Stage.FIRST, Stage.SECOND):
        return False, "Only in labour; the stage is not recorded as labour."
    if not _poor(signal):
        if math.isnan(signal.valid_share):
            return False, "How much of the signal is usable is not known."
        return False, (
            f"{100 * signal.valid_share:.0f} % of the signal is usable: {FIGO_2015_LOSS}."
        )
    if _moves(signal) < ENOUGH_TRIES:
        return False, (
            f"Not before the sensor was moved at least {ENOUGH_TRIES} times (moved so far: "
            f"{_moves(signal)}; common practice)."
        )
    return True, (
        "The signal stays poor after the sensor was moved: worth discussing with the team and "
        "with her. Check first: ebbline internal electrode."
    )


def _catheter(signal: SignalNow) -> tuple[bool, str]:
    if signal.uterine_sensor is SensorKind.PRESSURE_CATHETER:
        return False, "Pressure already comes from a catheter."
    if SensorTrouble.NO_CONTRACTIONS not in signal.troubles:
        return (
            False,
            "Nothing was told of contractions that do not show (outside, strength never does).",
        )
    if signal.stage not in (Stage.FIRST, Stage.SECOND):
        return False, "Only in labour; the stage is not recorded as labour."
    if _moves(signal) < ENOUGH_TRIES:
        return False, f"Not before the sensor was moved at least {ENOUGH_TRIES} times."
    return True, (
        "Contractions cannot be shown from outside: worth discussing where their timing or "
        "strength decides something. Check first: ebbline internal catheter."
    )


def _not_known(signal: SignalNow) -> tuple[str, ...]:
    unknown = []
    if math.isnan(signal.valid_share):
        unknown.append("the usable share of the signal")
    if math.isnan(signal.maternal_pulse_bpm):
        unknown.append("the mother's pulse")
    if signal.stage is Stage.UNKNOWN:
        unknown.append("the stage of labour")
    if signal.heart_sensor is SensorKind.UNKNOWN:
        unknown.append("what measures the heart rate (taken as ultrasound)")
    return tuple(unknown)
