"""Practice from one's errors: ten short strips that show one term or the other.

What a learner takes for something else (late for variable decelerations, minimal for moderate
variability) becomes strips in random order, each with one answer beyond doubt and the numbers that
tell it.
"""

from __future__ import annotations

import zlib
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from ebbline.definitions import ABRUPT_BELOW_S, PROLONGED_FROM_S
from ebbline.errors import ScenarioError
from ebbline.recording.model import Recording
from ebbline.synth.engine import LabourEngine
from ebbline.synth.ground_truth import EventKind, TrueDeceleration, Truth
from ebbline.synth.scenario import Scenario
from ebbline.synth.scenario_parts import Behaviour, ProlongedFall
from ebbline.terms import Window

STRIPS = 10
SHOWN_MIN = 8.0
MADE_MIN = 16.0
MOST_DRAWS = 40

_CALM = Scenario(
    bandwidth_bpm=11.0,
    behaviour=Behaviour.STEADY,
    accelerations_per_hour=0.0,
    contractions_per_10_min=3.2,
    signal_loss=0.0,
    doubling_per_hour=0.0,
    halving_per_hour=0.0,
    placental_vulnerability=0.02,
)
_FALLS: dict[str, tuple[EventKind, dict[str, object]]] = {
    "early deceleration": (
        EventKind.EARLY,
        {"early_share": 1.0, "early_depth_bpm": 26.0, "contraction_s": 100.0},
    ),
    "late deceleration": (
        EventKind.LATE,
        {"late_share": 1.0, "late_depth_bpm": 30.0, "placental_vulnerability": 0.15},
    ),
    "variable deceleration": (
        EventKind.VARIABLE,
        {"variable_share": 1.0, "variable_depth_bpm": 42.0, "slow_return_share": 0.0},
    ),
    "prolonged deceleration": (EventKind.PROLONGED, {}),
}
_WIDTHS = {
    "absent variability": 1.0,
    "minimal variability": 3.8,
    "moderate variability": 13.0,
    "marked variability": 36.0,
}

TERMS = (*_FALLS, *_WIDTHS)
"""What can be practised; both terms of a pair are falls, or both are variabilities."""


@dataclass(frozen=True, slots=True, eq=False)
class ShortStrip:
    """One strip. answer: one of the two terms; why: the numbers that tell; number: from 1."""

    number: int
    recording: Recording
    truth: Truth
    window: Window
    choices: tuple[str, str]
    answer: str
    why: str


@dataclass(frozen=True, slots=True)
class Mixed:
    """Two terms of which one was taken for the other, so many times."""

    pair: tuple[str, str]
    times: int


def mixed_up(confused: Iterable[tuple[str, str]]) -> tuple[Mixed, ...]:
    """The mistakes (truth, said) that can be practised, the commonest first."""
    counts = Counter(
        _in_order(*pair) for pair in confused if pair[0] != pair[1] and can_contrast(*pair)
    )
    return tuple(
        Mixed(pair, times) for pair, times in sorted(counts.items(), key=lambda c: (-c[1], c[0]))
    )


def _in_order(one: str, other: str) -> tuple[str, str]:
    first, second = sorted((one, other), key=TERMS.index)
    return first, second


PAIRS = tuple((one, other) for group in (_FALLS, _WIDTHS) for one, other in combinations(group, 2))
"""Every pair that can be practised."""


def can_contrast(one: str, other: str) -> bool:
    """Whether two terms can be set against one another."""
    return one != other and any(one in group and other in group for group in (_FALLS, _WIDTHS))


def contrasting(
    pair: tuple[str, str], seed: int, *, strips: int = STRIPS
) -> tuple[ShortStrip, ...]:
    """Short strips of either term, half each, in random order; the same for the same seed.

    Raises ScenarioError for terms that cannot be contrasted.
    """
    return tuple(short_strip(pair, seed, number, strips=strips) for number in range(1, strips + 1))


def short_strip(
    pair: tuple[str, str], seed: int, number: int, *, strips: int = STRIPS
) -> ShortStrip:
    """One of the strips that `contrasting` gives. number: 1 to strips.

    Raises ScenarioError for terms that cannot be contrasted, and for another number.
    """
    if not can_contrast(*pair):
        raise ScenarioError(
            f"{pair[0]!r} and {pair[1]!r} cannot be practised against each other.",
            where="practice",
            remedy="Choose two of: " + ", ".join(_FALLS) + "; or two of: " + ", ".join(_WIDTHS),
        )
    if not 1 <= number <= strips:
        raise ScenarioError(
            f"there is no strip {number}.", where="practice", remedy=f"There are 1 to {strips}."
        )
    pair = _in_order(*pair)
    chance = np.random.default_rng([zlib.crc32("/".join(pair).encode()), seed])
    order = chance.permutation(strips)
    seeds = chance.integers(0, 2**31 - 1, size=strips)
    return _strip(number, pair[order[number - 1] % 2], pair, int(seeds[number - 1]))


def _strip(number: int, answer: str, pair: tuple[str, str], seed: int) -> ShortStrip:
    for draw in range(MOST_DRAWS):
        chance = np.random.default_rng([seed, draw])
        knobs: dict[str, object] = {"baseline_bpm": float(chance.integers(118, 152))}
        if answer in _FALLS:
            knobs |= _FALLS[answer][1]
        else:
            knobs["bandwidth_bpm"] = _WIDTHS[answer]
        if answer == "prolonged deceleration":
            at, length = chance.uniform(9.0, 11.5), chance.uniform(2.6, 4.2)
            knobs["prolonged"] = (ProlongedFall(at, length, chance.uniform(30.0, 55.0)),)
        engine = LabourEngine(replace(_CALM, **knobs), seed + draw)  # type: ignore[arg-type]
        engine.advance(MADE_MIN)
        labour = engine.labour()
        found = _shows(answer, labour.truth)
        if found is not None:
            window, why = found
            return ShortStrip(number, labour.recording, labour.truth, window, pair, answer, why)
    raise ScenarioError(
        f"no strip of {MOST_DRAWS} showed {answer} beyond doubt.",
        where="practice",
        remedy="Take another seed.",
    )


def _shows(answer: str, truth: Truth) -> tuple[Window, str] | None:
    start_s = 60.0 * (MADE_MIN - SHOWN_MIN)
    window = Window(start_s, start_s + 60.0 * SHOWN_MIN)
    inside = [
        d for d in truth.decelerations if d.end_s > window.start_s and d.onset_s < window.end_s
    ]
    if answer in _WIDTHS:
        if any(d.depth_bpm >= 8 for d in inside):
            return None
        minutes = truth.bandwidth.values[int(window.start_s // 60) : int(window.end_s // 60)]
        width = float(np.nanmean(minutes))
        low, high = {
            "absent variability": (0.0, 1.8),
            "minimal variability": (3.0, 4.6),
            "moderate variability": (8.0, 20.0),
            "marked variability": (28.0, 60.0),
        }[answer]
        if not low <= width <= high:
            return None
        return window, f"{width:.0f} bpm from trough to peak: {answer}."
    kind = _FALLS[answer][0]
    clear = [d for d in inside if d.kind is kind and d.clear and d.counts]
    if not clear or any(d.kind is not kind for d in inside):
        return None
    return window, _why(answer, clear[0], truth)


def _why(answer: str, fall: TrueDeceleration, truth: Truth) -> str:
    sudden = answer in ("variable deceleration", "prolonged deceleration")
    down = (fall.nadir_start_s if sudden else fall.nadir_s) - fall.onset_s
    gradual = "gradual" if down >= ABRUPT_BELOW_S else "abrupt"
    words = f"{down:.0f} s from onset to nadir: {gradual} (border {ABRUPT_BELOW_S:.0f} s)"
    if answer == "prolonged deceleration":
        length = fall.end_s - fall.onset_s
        return f"It lasts {length:.0f} s: prolonged from {PROLONGED_FROM_S:.0f} s on."
    if 0 <= fall.contraction < len(truth.contractions) and answer != "variable deceleration":
        lag = fall.nadir_s - truth.contractions[fall.contraction].peak_s
        words += f"; the nadir comes {abs(lag):.0f} s {'after' if lag >= 0 else 'before'} the peak"
    return f"{words}: {answer}."
