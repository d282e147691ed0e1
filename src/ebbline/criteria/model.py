"""What the criteria answer: a class with its reasons, or a refusal with its reasons."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from ebbline.terms import Window


class Standard(StrEnum):
    """The published criteria that can be asked for."""

    NICHD = "nichd"
    FIGO = "figo"
    NICE = "nice"
    NST = "nst"


class Level(StrEnum):
    """How a single reason weighs, common to all standards, for ordering and drawing."""

    REASSURING = "reassuring"
    CAUTION = "caution"
    ALARMING = "alarming"
    NOT_ASSESSED = "not assessed"


GRAVITY = (Level.REASSURING, Level.NOT_ASSESSED, Level.CAUTION, Level.ALARMING)
"""The levels, the gravest last: what was not seen is graver than what reassures."""


@dataclass(frozen=True, slots=True)
class Reason:
    """One rule applied to one feature.

    rule: id of the line in the standard's table. feature: the trade's word ("baseline").
    verdict: the standard's own word for this feature ("amber", "not Category I"). text: what was
    found against which threshold, in a sentence. value, threshold, unit: the numbers compared
    (NaN where the rule is not numeric). evidence: stretches of the recording it rests on.
    citation: where the rule is published, with "(from memory)" where so marked.
    """

    rule: str
    feature: str
    level: Level
    verdict: str
    text: str
    value: float
    threshold: float
    unit: str
    evidence: tuple[Window, ...]
    citation: str


@dataclass(frozen=True, slots=True)
class Classification:
    """The class one standard gives one window.

    label: the standard's word ("Category II", "suspicious", "reactive"), or "no class" when
    refused; said: the same as it is to be shown, which leads with what is certain. rank: 0 best,
    rising; -1 when refused. reasons: all that were applied, the ones that decide first.
    decided_by: rule ids that put it in this class (or in the one it is at least in). refusal: why
    no class is given. at_best: the best class, withheld because the rate may not be the fetus's,
    or "". not_assessed: what the class rests on that could not be seen. at_least: where
    no class is given, the worst that is certain ("suspicious"), or "". beyond: what the letter of
    the standard leaves out and a careful reader would say, to be shown above the class. edge: what
    would change the class if it were a little more or less ("176 s; red from 180 s"). doubts: what
    of `beyond` asks whose rate it is.
    """

    standard: Standard
    edition: str
    window: Window
    label: str
    rank: int
    reasons: tuple[Reason, ...]
    decided_by: tuple[str, ...]
    refusal: tuple[str, ...]
    not_assessed: tuple[str, ...]
    at_least: str = ""
    beyond: tuple[str, ...] = ()
    edge: tuple[str, ...] = ()
    at_best: str = ""
    doubts: tuple[str, ...] = ()

    @property
    def said(self) -> str:
        """The class as it is shown: "at least suspicious" where no more than that is certain, and
        "at best normal, if this is the fetus" where whose rate it is is in question."""
        if self.at_least:
            return f"at least {self.at_least}"
        return f"at best {self.at_best}, if this is the fetus" if self.at_best else self.label

    @property
    def above(self) -> tuple[str, ...]:
        """What is said before the class: danger first, so nothing before the worst class itself."""
        return () if self._is_worst else tuple(t for t in self.beyond if t not in self.doubts)

    @property
    def below(self) -> tuple[str, ...]:
        """What is said after the class and what decides it."""
        return tuple(text for text in self.beyond if text not in self.above)

    @property
    def _is_worst(self) -> bool:
        return self.rank > 1 or (
            self.rank >= 0 and any(one.level is Level.ALARMING for one in self.deciding)
        )

    @property
    def refused(self) -> bool:
        """True when the window cannot carry a class."""
        return self.rank < 0

    @property
    def level(self) -> Level:
        """How grave it is: the gravest reason that decides; an open alarm and what is beyond the
        letter count, and so does the class that a refused window is at least in."""
        if self.refused:
            levels = [Level.NOT_ASSESSED]
            levels += [r.level for r in self.reasons if r.level is Level.ALARMING]
            levels += [Level.CAUTION] if self.at_least or self.beyond else []
        else:
            levels = [Level.REASSURING, *(r.level for r in self.deciding)]
            levels += [Level.CAUTION] if self.beyond else []
        return max(levels, key=GRAVITY.index)

    @property
    def deciding(self) -> tuple[Reason, ...]:
        """The reasons that put it in this class, or in the one it is at least in."""
        return tuple(reason for reason in self.reasons if reason.rule in self.decided_by)

    @property
    def not_told(self) -> tuple[str, ...]:
        """Why no class is given, as sentences without their end; where one is certain at least,
        they tell why it may be worse."""
        head = "It may be worse" if self.at_least else "No class"
        return tuple(f"{head}: {why}" for why in self.refusal)


def gravity(one: Classification) -> tuple[int, int]:
    """For ordering: the gravest class last; among equally grave ones the worse class last."""
    return GRAVITY.index(one.level), one.rank


PANEL_LABELS = ("normal", "suspicious", "pathological")
"""The panel's words, in the order of their probabilities."""


@dataclass(frozen=True, slots=True)
class PanelContribution:
    """One finding's exact additive part of the panel score (positive: towards pathological)."""

    finding: str
    value: float
    unit: str
    points: float


@dataclass(frozen=True, slots=True)
class PanelReading:
    """How a panel of nine readers would probably split over normal, suspicious, pathological.

    probabilities: of normal, suspicious, pathological, summing to 1. contributions: parts of the
    score; before: what the one called "half hour before" is made of. warnings: where the window
    differs from those the model came from.
    """

    window: Window
    probabilities: tuple[float, float, float]
    label: str
    score: float
    contributions: tuple[PanelContribution, ...]
    model_version: str
    data: str
    warnings: tuple[str, ...]
    before: tuple[PanelContribution, ...] = ()
