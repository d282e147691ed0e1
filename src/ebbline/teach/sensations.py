"""What the learner's hands feel: sensations drawn from the examination's own likelihoods.

The hands perceive the poles, the back and the descent as the published accuracy of hands of that
experience says (ebbline.bedside), hindrances included; each grip then says what that perception
says. Difficulty decides how far the hands may err:

1, 2  the handbook's patient: perception is the truth, and each grip gives its likeliest feeling;
3     the poles are perceived as they are; the back may be felt an eighth away, feelings vary;
4     the poles are perceived as they are; all else errs as hands do;
5     all errs as ordinary hands do (published sensitivity and specificity).

The same grip on the same fetus always gives the same feeling, so a learner cannot vote by
feeling again.
"""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
import yaml
from numpy.typing import NDArray

from ebbline.bedside import likelihood
from ebbline.bedside.context import Hindrance
from ebbline.bedside.findings_catalogue import Finding, items
from ebbline.bedside.states import State, states
from ebbline.synth.scenario_parts import Point
from ebbline.teach import anatomy
from ebbline.teach.case import Case, Fetus


class Grip(StrEnum):
    """What the learner does with eyes, words and hands."""

    LOOK = "look"
    ASK = "ask"
    FIRST = "first grip"
    SECOND = "second grip"
    THIRD = "third grip"
    FOURTH = "fourth grip"


class Zone(StrEnum):
    """Where on the abdomen."""

    FUNDUS = "fundus"
    LEFT_FLANK = "left flank"
    RIGHT_FLANK = "right flank"
    MIDDLE = "around the umbilicus"
    LEFT_FOSSA = "left iliac fossa"
    RIGHT_FOSSA = "right iliac fossa"
    BRIM = "above the pubic bone"


GRIPS_HERE: dict[Grip, tuple[Zone, ...]] = {
    Grip.LOOK: tuple(Zone),
    Grip.ASK: tuple(Zone),
    Grip.FIRST: (Zone.FUNDUS,),
    Grip.SECOND: (
        Zone.LEFT_FLANK,
        Zone.RIGHT_FLANK,
        Zone.MIDDLE,
        Zone.LEFT_FOSSA,
        Zone.RIGHT_FOSSA,
    ),
    Grip.THIRD: (Zone.BRIM,),
    Grip.FOURTH: (Zone.BRIM,),
}
"""Where each grip tells something."""

_SIDES = ("left", "right")
_FREE = 5
"""From this difficulty on nothing holds the hands' errors back."""


@dataclass(frozen=True, slots=True)
class Sensation:
    """What was felt. told: the examination's findings it amounts to, for the debrief."""

    grip: Grip
    zone: Zone
    text: str
    told: tuple[Finding, ...]


@cache
def _words() -> dict[str, Any]:
    text = files("ebbline.teach").joinpath("sensations.yaml").read_text(encoding="utf-8")
    loaded: dict[str, Any] = yaml.safe_load(text)
    return loaded


class Hands:
    """The learner's hands on one variant of a case, while the fetus lies in one way."""

    def __init__(self, case: Case, fetus: Fetus, seed: int) -> None:
        self._case = case
        self._context = anatomy.context_of(case)
        self._state: State = anatomy.state_of(fetus)
        self._index = states().index(self._state)
        self._seed = seed
        self._perceived: dict[str, int] = {}

    def _chance(self, purpose: str) -> np.random.Generator:
        """A stream of its own for each purpose, the same at every visit."""
        return np.random.default_rng(
            [self._seed, self._index, zlib.crc32(f"{self._case.id}/{purpose}".encode())]
        )

    def perceive(self, domain: likelihood.Domain) -> int:
        """The class of a domain that the hands believe in."""
        if domain.name not in self._perceived:
            row = domain.confusion[self._index]
            truth = int(np.argmax(_textbook(domain.name)[self._index]))
            allowed = self._allowed(domain.name, truth, len(row))
            weights = np.where(allowed, row, 0.0)
            weights = weights / weights.sum()
            chance = self._chance(f"perceive {domain.name}")
            self._perceived[domain.name] = int(chance.choice(len(row), p=weights))
        return self._perceived[domain.name]

    def _allowed(self, domain: str, truth: int, count: int) -> NDArray[np.bool_]:
        """Which classes this difficulty lets the hands believe in, shape (count,)."""
        difficulty = self._case.difficulty
        classes: NDArray[np.intp] = np.arange(count)
        if difficulty >= _FREE or (difficulty == 4 and domain != "poles"):
            return np.ones(count, dtype=bool)
        if difficulty == 3 and domain == "back" and truth < 8:
            away = np.abs(classes - truth)
            return np.asarray((classes < 8) & (np.minimum(away, 8 - away) <= 1))
        if difficulty == 3 and domain == "descent":
            return np.asarray(np.abs(classes - truth) <= 1)
        return np.asarray(classes == truth)

    def outcome(self, item: str) -> str:
        """What one item of the examination says to these hands."""
        domain = next(d for d in likelihood.domains_for(self._context) if item in d.said)
        table = domain.said[item]
        row = table[self._index if table.shape[0] > 1 else 0, self.perceive(domain)]
        outcomes = items()[item].outcomes
        if self._case.difficulty <= 2:
            return outcomes[int(np.argmax(row))]
        return outcomes[int(self._chance(f"say {item}").choice(len(row), p=row / row.sum()))]

    def _phrase(self, lines: list[str], purpose: str, **fill: str) -> str:
        return lines[int(self._chance(f"phrase {purpose}").integers(len(lines)))].format(**fill)

    def feel(self, grip: Grip, zone: Zone) -> Sensation:
        """One grip at one place."""
        if zone not in GRIPS_HERE[grip]:
            return Sensation(grip, zone, str(_words()["wrong place"]), ())
        if grip is Grip.LOOK:
            return self._told(grip, zone, ("shape",), plain=True)
        if grip is Grip.ASK:
            return self._told(grip, zone, ("movement",), plain=True)
        if grip is Grip.FIRST:
            return self._told(grip, zone, ("fundus",))
        if grip is Grip.THIRD:
            felt = self._told(grip, zone, ("brim",))
            if felt.told[0].answer == "nothing":
                return felt
            return self._told(grip, zone, ("brim", "mobility"))
        if grip is Grip.FOURTH:
            if self.outcome("brim") == "nothing":
                return self._told(grip, zone, ("prominence",))
            return self._told(grip, zone, ("fifths", "prominence"))
        return self._second(zone)

    _SECTION = {"shape": "look", "movement": "ask"}  # noqa: RUF012

    def _told(
        self, grip: Grip, zone: Zone, names: tuple[str, ...], *, plain: bool = False
    ) -> Sensation:
        findings, parts = [], []
        for name in names:
            answer = self.outcome(name)
            findings.append(Finding(name, answer))
            section = self._SECTION.get(name, name)
            parts.append(self._phrase(_words()[section][answer], f"{name} {answer}"))
        prefix = "" if plain else self._prefix(f"{grip} {zone}")
        return Sensation(grip, zone, _joined(prefix, " ".join(parts)), tuple(findings))

    def _prefix(self, purpose: str) -> str:
        hindered = self._context.hindrances
        if Hindrance.TENSE_UTERUS in hindered:
            return self._phrase(_words()["wall"]["tense"], f"wall {purpose}")
        if Hindrance.THICK_WALL in hindered:
            return self._phrase(_words()["wall"]["thick"], f"wall {purpose}")
        return ""

    def _second(self, zone: Zone) -> Sensation:
        back, limbs, poles = (self.outcome(name) for name in ("back", "limbs", "poles"))
        findings = (
            Finding("back", back),
            Finding("limbs", limbs),
            Finding("poles", poles),
        )
        side = zone.value.split(" ")[0] if zone.value.split(" ")[0] in _SIDES else ""
        if zone in (Zone.LEFT_FOSSA, Zone.RIGHT_FOSSA):
            keys = [("fossa", _fossa(poles, side))]
        elif zone is Zone.MIDDLE:
            keys = [("flank", key) for key in _middle(back, limbs)]
        else:
            keys = [("flank", key) for key in _flank(back, limbs, poles, side)]
        parts = [
            self._phrase(_words()[section][key], f"{zone} {key}", s=side) for section, key in keys
        ]
        text = _joined(self._prefix(f"second {zone}"), " ".join(parts))
        return Sensation(Grip.SECOND, zone, text, findings)


def _joined(prefix: str, text: str) -> str:
    return prefix + text[0].lower() + text[1:] if prefix else text


def _other(side: str) -> str:
    return _SIDES[1 - _SIDES.index(side)]


def _fossa(poles: str, side: str) -> str:
    if poles == f"head {side} fossa":
        return "ball"
    return "bulk" if poles == f"head upper {_other(side)}" else "empty"


def _middle(back: str, limbs: str) -> list[str]:
    keys = []
    if back == "front":
        keys.append("smooth middle")
    if back == "across":
        keys.append("bar")
    if limbs == "across":
        keys.append("small across")
    elif limbs == "both sides":
        keys.append("small")
    return keys or ["empty"]


def _flank(back: str, limbs: str, poles: str, side: str) -> list[str]:
    keys = []
    if poles == f"head {side} flank":
        keys.append("ball")
    elif poles == f"head {_other(side)} flank":
        keys.append("bulk")
    elif poles == f"head upper {side}":
        keys.append("ball high")
    elif poles == f"head {_other(side)} fossa":
        keys.append("bulk high")
    smooth = {f"{side} front": "smooth front", side: "smooth side", f"{side} far": "smooth far"}
    if back in smooth:
        keys.append(smooth[back])
    if limbs in (side, "both sides"):
        keys.append("small")
    return keys or ["empty"]


@cache
def _textbook(domain: str) -> NDArray[np.float64]:
    """Truth to perception of hands that do not err, shape (states, classes)."""
    from ebbline.bedside.context import ExamContext, Examiner

    exact = ExamContext(examiner=Examiner.TEXTBOOK)
    return next(d for d in likelihood.domains_for(exact) if d.name == domain).confusion


NEEDED: dict[str, tuple[tuple[Grip, Zone], ...]] = {
    "back": ((Grip.SECOND, Zone.LEFT_FLANK), (Grip.SECOND, Zone.RIGHT_FLANK)),
    "limbs": ((Grip.SECOND, Zone.LEFT_FLANK), (Grip.SECOND, Zone.RIGHT_FLANK)),
    "poles": ((Grip.SECOND, Zone.LEFT_FLANK), (Grip.SECOND, Zone.RIGHT_FLANK)),
}
"""Places that must both have been felt before an item counts as examined."""


def findings_of(sensations: tuple[Sensation, ...]) -> tuple[Finding, ...]:
    """What the felt sensations amount to, as findings of the examination."""
    done = {(s.grip, s.zone) for s in sensations}
    found: dict[str, Finding] = {}
    for sensation in sensations:
        for finding in sensation.told:
            if all(place in done for place in NEEDED.get(finding.item, ())):
                found[finding.item] = finding
    return tuple(found.values())


@dataclass(frozen=True, slots=True)
class Heard:
    """What is heard at a place. clear: 0 nothing .. 3 best; bpm: as counted, NaN if not."""

    text: str
    clear: int
    bpm: float


_OFF_AXIS = ((13.0, 3), (23.0, 2), (33.0, 1))
"""Angle between the ear's line and the heart, degrees: up to which it is heard how well. The
ultrasound sensor loses half of its signal at 32 degrees (ebbline.synth), so that what is heard
clearly also records clearly."""


def hear(
    place: Point,
    site: anatomy.HeartSite,
    heart_bpm: float,
    maternal_bpm: float,
    chance: np.random.Generator,
) -> Heard:
    """Listening for half a minute at a place, with a hand on the mother's pulse."""
    distance = anatomy.nearest_cm(place, site.spots)
    angle = math.degrees(math.atan2(distance, site.depth_cm))
    clear = next((level for limit, level in _OFF_AXIS if angle <= limit), 0)
    if clear >= 2:
        counted = 2.0 * round((heart_bpm + chance.normal(0.0, 3.0)) / 2.0)
        sound = (
            "Clear and close, a quick double beat"
            if clear == 3
            else "Faint but steady, like a watch under a pillow"
        )
        return Heard(f"{sound}. You count about {counted:.0f} in a minute.", clear, counted)
    if clear == 1:
        return Heard(
            "A hint of a quick beat, too faint to count. It must be near, but not here.",
            1,
            math.nan,
        )
    counted = round(maternal_bpm + chance.normal(0.0, 2.0))
    return Heard(
        f"No quick beat. A soft rushing in time with the mother's own pulse, about {counted:.0f}.",
        0,
        math.nan,
    )
