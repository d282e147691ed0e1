"""From a sentence of the trade to knobs: "recurrent late, minimal variability, 39 weeks"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from ebbline.errors import ScenarioError
from ebbline.synth.scenario_parts import BaselineShift, Behaviour, Point, ProlongedFall, Spell
from ebbline.terms import SensorKind, Stage

Knobs = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Word:
    """One phrase that can be said, and the knobs it turns."""

    phrase: str
    group: str
    knobs: Knobs


def _steady(bandwidth: float, **more: Any) -> Knobs:
    return {"bandwidth_bpm": bandwidth, "behaviour": Behaviour.STEADY, **more}


_SPARSE = {"accelerations_per_hour": 1.5}
_NONE = {"accelerations_per_hour": 0.0}

VOCABULARY: tuple[Word, ...] = (
    Word("normal", "whole", {}),
    Word("reassuring", "whole", {"accelerations_per_hour": 18.0}),
    Word("deteriorating", "whole", {"reserve_loss": 0.65}),
    Word("antepartum", "whole", {
        "stage": Stage.ANTEPARTUM, "contractions_per_10_min": 0.5, "contraction_mmhg": 18.0}),
    Word("early labour", "whole", {
        "contractions_per_10_min": 2.2, "contraction_mmhg": 35.0, "contraction_s": 65.0,
        "contraction_irregularity": 0.35}),
    Word("first stage", "whole", {"stage": Stage.FIRST}),
    Word("second stage", "whole", {
        "stage": Stage.SECOND, "pushing": True, "contractions_per_10_min": 4.2,
        "contraction_mmhg": 60.0, "contraction_s": 82.0}),
    Word("tachycardia", "baseline", {"baseline_bpm": 172.0}),
    Word("bradycardia", "baseline", {"baseline_bpm": 101.0}),
    Word("severe bradycardia", "baseline", {"baseline_bpm": 88.0}),
    Word("rising baseline", "baseline", {
        "baseline_shifts": (BaselineShift(20.0, 158.0, 15.0), BaselineShift(50.0, 172.0, 20.0))}),
    Word("falling baseline", "baseline", {
        "baseline_bpm": 148.0, "baseline_shifts": (BaselineShift(25.0, 128.0, 8.0),)}),
    Word("change of baseline", "baseline", {
        "baseline_shifts": (BaselineShift(25.0, 158.0, 2.0),)}),
    Word("terminal bradycardia", "baseline", {
        "baseline_shifts": (BaselineShift(40.0, 75.0, 2.0),)}),
    Word("wandering baseline", "baseline", {"baseline_wander_bpm": 6.0}),
    Word("absent variability", "variability", _steady(1.1, **_NONE)),
    Word("minimal variability", "variability", _steady(3.6, **_SPARSE)),
    Word("reduced variability", "variability", _steady(3.6, **_SPARSE)),
    Word("moderate variability", "variability", _steady(9.0)),
    Word("normal variability", "variability", _steady(9.0)),
    Word("marked variability", "variability", _steady(34.0, accelerations_per_hour=4.0)),
    Word("increased variability", "variability", _steady(34.0, accelerations_per_hour=4.0)),
    Word("sinusoidal", "variability", {
        "sinusoidal": (Spell(0.0, 2880.0),), "bandwidth_bpm": 8.0, **_NONE,
        "behaviour": Behaviour.STEADY}),
    Word("pseudo-sinusoidal", "variability", {"pseudo_sinusoidal": (Spell(10.0, 30.0),)}),
    Word("quiet sleep", "behaviour", {"behaviour": Behaviour.QUIET}),
    Word("active sleep", "behaviour", {"behaviour": Behaviour.ACTIVE}),
    Word("cycling", "behaviour", {"behaviour": Behaviour.CYCLING}),
    Word("no accelerations", "accelerations", _NONE),
    Word("few accelerations", "accelerations", {"accelerations_per_hour": 4.0}),
    Word("accelerations", "accelerations", {"accelerations_per_hour": 18.0}),
    Word("many accelerations", "accelerations", {"accelerations_per_hour": 28.0}),
    Word("prolonged accelerations", "accelerations", {"prolonged_acceleration_share": 0.25}),
    Word("prolonged deceleration", "decelerations", {"prolonged": (ProlongedFall(18.0),)}),
    Word("prolonged decelerations", "decelerations", {"prolonged_per_hour": 2.0}),
    Word("no decelerations", "decelerations", {
        "late_share": 0.0, "early_share": 0.0, "variable_share": 0.0}),
    Word("shallow", "decelerations", {
        "late_depth_bpm": 18.0, "early_depth_bpm": 17.0, "variable_depth_bpm": 24.0}),
    Word("deep", "decelerations", {
        "late_depth_bpm": 45.0, "early_depth_bpm": 32.0, "variable_depth_bpm": 68.0}),
    Word("with shoulders", "decelerations", {"shoulder_share": 1.0}),
    Word("without shoulders", "decelerations", {"shoulder_share": 0.0}),
    Word("with overshoot", "decelerations", {"overshoot_share": 0.8, "shoulder_share": 0.0}),
    Word("slow return", "decelerations", {"slow_return_share": 0.8}),
    Word("variability lost within", "decelerations", {"variability_lost_within": True}),
    Word("tachysystole", "contractions", {
        "contractions_per_10_min": 6.4, "contraction_s": 66.0, "oxytocin": True}),
    Word("hypertonus", "contractions", {"resting_tone_mmhg": 28.0}),
    Word("coupling", "contractions", {"coupling_share": 0.5}),
    Word("irregular contractions", "contractions", {"contraction_irregularity": 0.45}),
    Word("weak contractions", "contractions", {"contraction_mmhg": 25.0}),
    Word("strong contractions", "contractions", {"contraction_mmhg": 70.0}),
    Word("no contractions", "contractions", {"contractions_per_10_min": 0.0}),
    Word("oxytocin", "care", {"oxytocin": True, "contractions_per_10_min": 4.4}),
    Word("epidural", "care", {"epidural": True}),
    Word("opioid", "care", {"opioid_at_min": 5.0}),
    Word("magnesium", "care", {"magnesium": True}),
    Word("fever", "care", {"fever": True}),
    Word("pushing", "care", {"pushing": True, "stage": Stage.SECOND}),
    Word("ultrasound", "sensors", {"heart_sensor": SensorKind.ULTRASOUND}),
    Word("electrode", "sensors", {
        "heart_sensor": SensorKind.SCALP_ELECTRODE, "signal_loss": 0.005}),
    Word("scalp electrode", "sensors", {
        "heart_sensor": SensorKind.SCALP_ELECTRODE, "signal_loss": 0.005}),
    Word("toco", "sensors", {"activity_sensor": SensorKind.TOCO}),
    Word("catheter", "sensors", {"activity_sensor": SensorKind.PRESSURE_CATHETER}),
    Word("pressure catheter", "sensors", {"activity_sensor": SensorKind.PRESSURE_CATHETER}),
    Word("maternal pulse", "sensors", {"maternal_pulse": True}),
    Word("good signal", "sensors", {"signal_loss": 0.01}),
    Word("poor signal", "sensors", {"signal_loss": 0.3}),
    Word("noisy toco", "sensors", {"toco_noise": 2.2}),
    Word("weak toco", "sensors", {"toco_gain": 0.35}),
    Word("sensor off site", "sensors", {"ultrasound_at": Point(0.5, -4.0)}),
    Word("doubling", "sensors", {"doubling_per_hour": 6.0}),
    Word("halving", "sensors", {"halving_per_hour": 6.0}),
    Word("maternal capture", "sensors", {"maternal_capture_per_hour": 4.0}),
)  # fmt: skip

QUANTIFIERS = {"recurrent": 0.85, "intermittent": 0.3, "occasional": 0.12}
"""Share of contractions: NICHD calls 50 % or more recurrent."""
KINDS = {"late": "late_share", "early": "early_share", "variable": "variable_share"}

NUMBERS: tuple[tuple[str, str, str, float], ...] = (
    ("N weeks", "weeks", r"(\d+(?:\.\d+)?) weeks?", 1.0),
    ("N hours", "hours", r"(\d+(?:\.\d+)?) hours?", 1.0),
    ("N minutes", "hours", r"(\d+(?:\.\d+)?) min(?:utes)?", 1 / 60),
    ("N % loss", "signal_loss", r"(\d+(?:\.\d+)?) ?% loss", 0.01),
    ("baseline N", "baseline_bpm", r"baseline (\d+(?:\.\d+)?)(?: bpm)?", 1.0),
    ("bandwidth N", "bandwidth_bpm", r"bandwidth (\d+(?:\.\d+)?)(?: bpm)?", 1.0),
    ("N contractions in 10 minutes", "contractions_per_10_min",
     r"(\d+(?:\.\d+)?) contractions?(?: in 10 min(?:utes)?)?", 1.0),
    ("N Hz", "rate_hz", r"(\d+(?:\.\d+)?) ?hz", 1.0),
)  # fmt: skip
"""Phrases with a number: how to say it, the knob, the pattern, the factor."""

_FILLER = {
    *("decelerations", "deceleration", "with", "and", "a", "the", "at", "for", "fetus", "in"),
    "labour",
}
_BY_PHRASE = {word.phrase: word for word in VOCABULARY}


def words_known() -> dict[str, tuple[str, ...]]:
    """Every phrase that can be said, by group."""
    groups: dict[str, list[str]] = {}
    for word in VOCABULARY:
        groups.setdefault(word.group, []).append(word.phrase)
    groups["decelerations"] += [f"{q} {k}" for q in QUANTIFIERS for k in KINDS]
    groups["numbers"] = [said for said, _, _, _ in NUMBERS]
    return {group: tuple(phrases) for group, phrases in groups.items()}


MOST_WORDS_CHARACTERS = 1000
"""Of one chapter: what is longer is no sentence, and the search for near words would not end."""


def knobs_of(words: str, carried: Knobs) -> Knobs:
    """The knobs that a sentence turns. Raises ScenarioError with the nearest known words.

    carried: knobs of the chapter before that hold on.
    """
    if len(words) > MOST_WORDS_CHARACTERS:
        raise ScenarioError(
            f"{len(words)} characters are too many for one chapter.",
            where=f'"{words.strip()[:40]}..."',
            remedy=f"Say it in {MOST_WORDS_CHARACTERS} at most.",
        )
    knobs = dict(carried)
    said: set[str] = set()
    for phrase in _phrases(words):
        if not _by_number(phrase, knobs, said):
            _by_words(phrase, words, knobs, said)
    return _fitted(knobs)


def _phrases(words: str) -> list[str]:
    text = re.sub(r"\s+", " ", words.strip().lower())
    text = re.sub(r"\blabor\b", "labour", text)
    return [p.strip() for p in re.split(r"[,;]|\band\b", text) if p.strip()]


def _by_number(phrase: str, knobs: Knobs, said: set[str]) -> bool:
    for _, knob, pattern, factor in NUMBERS:
        found = re.fullmatch(pattern, phrase)
        if found:
            knobs[knob] = float(found[1]) * factor
            said.add(knob)
            return True
    return False


def _by_words(phrase: str, whole: str, knobs: Knobs, said: set[str]) -> None:
    left = phrase.split()
    while left:
        for length in range(len(left), 0, -1):
            head = " ".join(left[:length])
            if _take(head, knobs, said):
                left = left[length:]
                break
        else:
            if left[0] in _FILLER:
                left = left[1:]
                continue
            raise _unknown(" ".join(left), whole)


def _take(head: str, knobs: Knobs, said: set[str]) -> bool:
    if head in _BY_PHRASE:
        turned = _BY_PHRASE[head].knobs
        knobs.update({k: v for k, v in turned.items() if k not in said})
        return True
    if _by_number(head, knobs, said):
        return True
    parts = head.split()
    if len(parts) == 2 and parts[0] in QUANTIFIERS and parts[1] in KINDS:
        knobs[KINDS[parts[1]]] = QUANTIFIERS[parts[0]]
        return True
    return False


def _unknown(rest: str, whole: str) -> ScenarioError:
    return ScenarioError(
        f'"{rest}" is not a word of the generator.',
        where=f'"{whole.strip()}"',
        remedy=(_advice(rest) + " `ebbline invent --words` lists them all.").strip(),
    )


def _advice(rest: str) -> str:
    """What may have been meant, in phrases that can be said as they stand."""
    said = set(rest.split())
    known = [phrase for group in words_known().values() for phrase in group]
    near = get_close_matches(rest, known, 3, 0.85)
    kind = next((kind for kind in KINDS if kind in said), None)
    if kind and not near:
        return "Say how often: " + ", ".join(f'"{q} {kind}"' for q in QUANTIFIERS) + "."
    alike = {w for one in said for w in get_close_matches(one, sorted(_SINGLE), 2, 0.8)}
    near = (
        near
        or [phrase for phrase in known if _SINGLE & said & set(phrase.split())]
        or get_close_matches(rest, known, 3, 0.6)
        or [phrase for phrase in known if alike & set(phrase.split())]
    )
    return "Perhaps " + ", ".join(f'"{n}"' for n in near[:3]) + "." if near else ""


_SINGLE = {w for word in VOCABULARY for w in word.phrase.split()} - _FILLER - {"no", "of", "off"}
"""Words of the phrases that say something alone."""


PRETERM_BANDWIDTH_BPM, PRETERM_BASELINE_BPM = 6.5, 146.0
"""Before 32 weeks variability is less and the baseline higher than at term (Dawes GS, et al.;
from memory)."""


SLOW_CONTRACTION_S = 92.0
"""Late in the first stage contractions are long; only a slow one gives a gradual mirror image."""


def _fitted(knobs: Knobs) -> Knobs:
    """What follows from what was said: shares that fit together, the fetus's age."""
    shares = {k: knobs[k] for k in KINDS.values() if k in knobs}
    total = sum(shares.values())
    if total > 1:
        knobs |= {k: 0.98 * v / total for k, v in shares.items()}
    if knobs.get("early_share", 0.0) > 0:
        knobs["contraction_s"] = max(knobs.get("contraction_s", 0.0), SLOW_CONTRACTION_S)
    if knobs.get("weeks", 39.0) < 32:
        knobs.setdefault("bandwidth_bpm", PRETERM_BANDWIDTH_BPM)
        knobs.setdefault("baseline_bpm", PRETERM_BASELINE_BPM)
    return knobs
