"""Does the advice find what is wrong with a sensor? `python -m bench.advice_walk [--count 20]`.

Each trouble is walked through on invented labours whose sensor really lies wrong: a fetus is drawn
from the model and examined by ordinary hands without the ear; its heart lies where that fetus's
heart lies, the sensor somewhere else. A reading shows the trouble when it uses under 80 % of the
signal and less than the same labour gives with its sensors laid right (some women move more), or
suspects the mother's rate, or finds no contractions (or a hand tells that it feels some). The
labour is read, the advice asked, its first step done, the labour read again with the sensor as
that step leaves it, and so on. A trouble
is found when the reading no longer shows it and the sensor truly follows the fetus. What a step
does to the sensor is said below (ours). The aim: found within four steps in nine of ten.
"""

from __future__ import annotations

import argparse
import math
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ebbline.bedside import ExamContext, ExamResult, examine
from ebbline.bedside.geometry import Point as Place
from ebbline.bedside.geometry import abdomen_for, site
from ebbline.bedside.placement import Brought, SensorTrouble, SignalNow, Tried, advise
from ebbline.bedside.simulation import draw_examination, draw_state
from ebbline.bedside.states import states
from ebbline.bedside.tables import LISTENING_SPREAD_CM
from ebbline.errors import RecordingError
from ebbline.reading.analyse import read
from ebbline.reading.bedside_bridge import signal_now
from ebbline.synth import Point, Scenario, invent
from ebbline.terms import Stage

DEVELOP_SEED, LOCKED_SEED = 1, 83_000
MOST_STEPS = 8
WITHIN = 4
EAR_FINDS = 0.9
"""Share of listenings that find the heart at all (ours)."""
SCAN_FINDS, SCAN_SPREAD_CM = 0.98, 1.0
"""The same of a scan, and how far the sensor then lies off (ours)."""
BELT_DEAF_CM = 12.0
"""A belt so far off the fundus shows under a tenth of its best (`ebbline.synth.sensors`)."""
HOURS = 0.4
GRIPS = ("fundus", "back", "limbs", "brim", "mobility", "fifths", "prominence")
Chance = np.random.Generator


@dataclass(frozen=True, slots=True)
class Bed:
    """One woman: the examination, the true place of the heart, the labour as it is monitored."""

    exam: ExamResult
    heart: Point
    scenario: Scenario
    seed: int


def _bed(seed: int) -> tuple[Bed, Chance]:
    chance = np.random.default_rng(seed)
    context = ExamContext(weeks=39, stage=Stage.FIRST)
    state = draw_state(lambda s: s.descent >= 2, context, chance)
    found = draw_examination(state, context, chance, GRIPS)
    place = site(states()[state], abdomen_for(context), 1.0 if chance.random() < 0.5 else -1.0)
    heart = Point(place.x_cm + chance.normal(0, 1.5), place.y_cm + chance.normal(0, 1.5))
    scenario = Scenario(
        hours=HOURS,
        stage=Stage.FIRST,
        heart_at=heart,
        ultrasound_at=heart,
        doubling_per_hour=0.0,
        halving_per_hour=0.0,
    )
    return Bed(examine(found, context), heart, scenario, seed), chance


def _shifted(bed: Bed, dx: float, dy: float) -> Scenario:
    return replace(bed.scenario, ultrasound_at=Point(bed.heart.x_cm + dx, bed.heart.y_cm + dy))


def _wrong_side(bed: Bed) -> Scenario:
    out = bed.heart.x_cm
    return _shifted(bed, -2 * out if abs(out) >= 5 else math.copysign(11.0, -out or 1.0), 0)


def _gone_down(bed: Bed) -> Scenario:
    return _shifted(bed, 3.0, 10.0)


def _mother_turned(bed: Bed) -> Scenario:
    return _shifted(bed, math.copysign(10.5, bed.heart.x_cm or 1.0), 2.0)


def _on_her_vessels(bed: Bed) -> Scenario:
    return replace(_shifted(bed, -9.0, 8.0), maternal_capture_per_hour=20.0)


def _dry(bed: Bed) -> Scenario:
    return replace(bed.scenario, signal_loss=0.6)


def _belt_low(bed: Bed) -> Scenario:
    low = bed.scenario.fundus_at
    return replace(bed.scenario, toco_at=Point(low.x_cm + 8, low.y_cm - 26), contraction_mmhg=35.0)


TROUBLES: dict[str, Callable[[Bed], Scenario]] = {
    "on the wrong side": _wrong_side,
    "heart gone down": _gone_down,
    "she has turned": _mother_turned,
    "on her vessels": _on_her_vessels,
    "no gel": _dry,
    "belt off the fundus": _belt_low,
}


def _sought(bed: Bed, now: Scenario, chance: Chance, finds: float, spread: float) -> Scenario:
    """The sensor where the heart was found, with a share and a spread; else left as it was."""
    if chance.random() > finds:
        return now
    at = Point(bed.heart.x_cm + chance.normal(0, spread), bed.heart.y_cm + chance.normal(0, spread))
    return replace(now, ultrasound_at=at, maternal_capture_per_hour=0.0)


def done(step: str, bed: Bed, now: Scenario, chance: Chance) -> Scenario:
    """The labour as a step leaves the sensors; a step that only looks changes nothing."""
    at, heart = now.ultrasound_at, bed.heart
    if step in ("ear", "fetal heart", "examine"):
        return _sought(bed, now, chance, EAR_FINDS, LISTENING_SPREAD_CM)
    if step == "scan":
        return _sought(bed, now, chance, SCAN_FINDS, SCAN_SPREAD_CM)
    if step == "gel":
        return replace(now, signal_loss=min(now.signal_loss, 0.03))
    if step == "tilt":
        nearer = Point(
            at.x_cm + 0.3 * (heart.x_cm - at.x_cm), at.y_cm + 0.3 * (heart.y_cm - at.y_cm)
        )
        return replace(now, ultrasound_at=nearer)
    if step == "fallback" and bed.exam.sensors.fallback is not None:
        place: Place = bed.exam.sensors.fallback.point
        return replace(now, ultrasound_at=Point(place.x_cm, place.y_cm))
    if step == "follow":
        return replace(now, ultrasound_at=Point(0.7 * at.x_cm, at.y_cm - 4.0))
    if step == "fundus":
        top = now.fundus_at
        return replace(
            now, toco_at=Point(top.x_cm + chance.normal(0, 1.5), top.y_cm + chance.normal(0, 1.5))
        )
    return now


def judged(bed: Bed, now: Scenario, step: int) -> tuple[SignalNow, bool]:
    """The signal as it is read, and whether the sensor truly follows the fetus."""
    labour = invent(now, bed.seed * 31 + step)
    try:
        reading = read(labour.recording, history=False)
        signal = signal_now(reading, reading.fetuses[0])
    except RecordingError:
        # Not one sample can be used: all of the signal is lost.
        signal = SignalNow(valid_share=0.0, troubles=(SensorTrouble.LOST,), stage=Stage.FIRST)
    belt = now.toco_at.distance_cm(now.fundus_at)
    if belt > BELT_DEAF_CM and SensorTrouble.NO_CONTRACTIONS not in signal.troubles:
        # The hand on the fundus feels what the paper does not show, and tells.
        signal = replace(signal, troubles=(*signal.troubles, SensorTrouble.NO_CONTRACTIONS))
    off = now.ultrasound_at.distance_cm(bed.heart)
    return signal, off <= 5.5 and now.maternal_capture_per_hour == 0.0


def _usual(bed: Bed, step: int) -> float:
    """The share that this labour gives with its sensors laid right."""
    signal, _ = judged(bed, bed.scenario, step)
    return signal.valid_share


WITHIN_USUAL = 0.05
"""So much less than usual still counts as the usual (ours)."""


def _wrong(signal: SignalNow, usual: float) -> bool:
    return bool(
        not signal.valid_share >= min(0.8, usual - WITHIN_USUAL)
        or {SensorTrouble.MATERNAL, SensorTrouble.NO_CONTRACTIONS} & set(signal.troubles)
    )


def walk(trouble: str, seed: int) -> int | None:
    """Steps until the trouble was found; None where the reading never showed it; 99 in vain."""
    bed, chance = _bed(seed)
    now = TROUBLES[trouble](bed)
    signal, _ = judged(bed, now, 0)
    if not _wrong(signal, _usual(bed, 0)):
        return None
    plan = bed.exam.sensors
    fallback = plan.fallback.words if plan.fallback is not None else "the other side"
    tried: list[Tried] = []
    pulse = math.nan
    for count in range(1, MOST_STEPS + 1):
        asked = replace(signal, tried=tuple(tried), maternal_pulse_bpm=pulse)
        steps = advise(asked, plan.best.words, fallback).steps
        if not steps:
            return 99
        step = steps[0].id
        if step == "pulse":
            pulse = now.maternal_bpm + chance.normal(0, 1.5)
        now = done(step, bed, now, chance)
        signal, true = judged(bed, now, count)
        if true and not _wrong(signal, _usual(bed, count)):
            return count
        tried.append(Tried(step, Brought.NOTHING))
    return 99


def main() -> None:
    """Walk through every trouble and print how soon it was found."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--count", type=int, default=20)
    asked.add_argument("--seed", type=int, default=LOCKED_SEED)
    given = asked.parse_args()
    print(f"{given.count} labours for each trouble, seeds from {given.seed}.\n")
    print("| trouble | shown by the reading | found within 4 steps | steps: how often |")
    print("|---|---|---|---|")
    all_shown = all_found = 0
    for k, trouble in enumerate(TROUBLES):
        # Other women for each trouble.
        steps = [walk(trouble, given.seed + 1000 * k + i) for i in range(given.count)]
        shown = [s for s in steps if s is not None]
        found = sum(s <= WITHIN for s in shown)
        all_shown, all_found = all_shown + len(shown), all_found + found
        said = ", ".join(
            f"{'in vain' if s == 99 else s}: {n}" for s, n in sorted(Counter(shown).items())
        )
        print(f"| {trouble} | {len(shown)} of {given.count} | {found} of {len(shown)} | {said} |")
    share = 100 * all_found / all_shown if all_shown else math.nan
    print(f"\nAll: {all_found} of {all_shown} ({share:.0f} %) within {WITHIN} steps; aim 90 %.")


if __name__ == "__main__":
    main()
