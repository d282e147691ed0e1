"""How a threatened fetus fares: base deficit by the minute, and the cord gases and Apgar at birth.

A small model with one number, the base deficit of the extracellular fluid in mmol/L. It rises at
the threat's pace, less what eases it; carbon dioxide rises with it and is blown off again. pH
follows by the Henderson-Hasselbalch equation.

Sources: the paces and the start (2 mmol/L at the onset of labour, 1 mmol/L in three to six hours
of the first stage and in one hour of the second; 1 mmol/L in 30 minutes with repeated severe
decelerations, in 6 to 15 minutes of a compromise under way, in 2 to 3 minutes of an acute one):
Ross MG, Gala R. Am J Obstet Gynecol 2002;187:1-9. Bicarbonate and base deficit: NCCLS C12-A 1994
(extracellular fluid, 24.8 and 16.2). Normal arterial cord blood: Yeomans ER, et al. Am J Obstet
Gynecol 1985;151:798-800 (pH 7.28, pCO2 49 mmHg). Who falls ill: over 12 mmol/L one newborn in ten,
over 16 four in ten: Low JA, et al. Am J Obstet Gynecol 1997;177:1391-4. All from memory. Apgar, the
carbon dioxide's course and the times to birth: ours.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from ebbline.teach.threats import ThreatKind, threat_table
from ebbline.terms import Stage

START_MMOL = {Stage.ANTEPARTUM: 2.0, Stage.FIRST: 3.0, Stage.SECOND: 4.5}
NORMAL_PCO2, HIGHEST_PCO2 = 50.0, 120.0
PCO2_PER_MMOL, PCO2_FADES_MIN = 6.0, 8.0
FAILING_MMOL, ENDING_MMOL = 8.0, 14.0
MOST_MMOL = 30.0
"""The model stops here."""

SOLUBILITY, PK = 0.0307, 6.1
"""mmol/L of carbon dioxide for one mmHg, and the constant of its reaction, in plasma at 37 C."""

BIRTH_TAKES_MIN = {Stage.ANTEPARTUM: 22.0, Stage.FIRST: 18.0, Stage.SECOND: 9.0}
"""From people called and birth asked for to birth: theatre, or by instrument in the second stage
(ours; inside the 30 minutes of RCOG and NICE for the most urgent caesarean)."""

BIRTH_BY_HAND_MIN = 1.0
FOUND_AFTER_MIN = 20.0
"""Ended without anybody sent for: someone else finds it so much later (ours)."""

ACIDOSIS_MMOL = 12.0
"""Base deficit from which newborns fall ill more often (Low 1997, from memory)."""

EASED_SHARE = 0.4
LIMITS = (
    "The cord gases and the Apgar are a simple model's: one pace for each danger, the same for "
    "every fetus, from published averages. Real ones differ widely, and many babies do better or "
    "worse than this."
)


def ph_of(base_deficit: float, pco2_mmhg: float) -> float:
    """pH of blood with this base deficit (extracellular fluid, mmol/L) and carbon dioxide."""
    low, high = 6.3, 7.7
    for _ in range(50):
        middle = (low + high) / 2
        if base_deficit_of(middle, pco2_mmhg) > base_deficit:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def base_deficit_of(ph: float, pco2_mmhg: float) -> float:
    """Base deficit of the extracellular fluid, mmol/L (NCCLS C12-A 1994, from memory)."""
    bicarbonate = SOLUBILITY * pco2_mmhg * 10 ** (ph - PK)
    return -(bicarbonate - 24.8 + 16.2 * (ph - 7.4))


@dataclass(frozen=True, slots=True)
class Birth:
    """The end of the case. minute: of the case; by: how; apgar: at one and at five minutes.

    ph, base_deficit (mmol/L), pco2_mmhg: of the cord's artery. words: what it comes to.
    """

    minute: float
    by: str
    apgar: tuple[int, int]
    ph: float
    base_deficit: float
    pco2_mmhg: float
    words: str


_CONDITION = (
    (8.0, (8, 9), "Born in good condition; the gases are as after most births."),
    (ACIDOSIS_MMOL, (7, 9), "Born a little slow, and soon well."),
    (16.0, (4, 7), "Born with metabolic acidosis: about one in ten such newborns falls ill."),
    (
        20.0,
        (2, 5),
        "Born with severe metabolic acidosis: about four in ten such newborns fall ill.",
    ),
    (26.0, (1, 3), "Born in very poor condition, to full resuscitation and cooling."),
    (math.inf, (0, 0), "Born without signs of life. Resuscitation begins; the model ends here."),
)


@dataclass(slots=True)
class FetalCourse:
    """The fetus under one threat, minute by minute.

    from_minute: when the threat begins. base_deficit, pco2: now.
    """

    kind: ThreatKind
    from_minute: float
    stage: Stage
    weeks: float
    base_deficit: float = field(init=False)
    pco2: float = NORMAL_PCO2
    done: dict[str, float] = field(default_factory=dict)
    cured_minute: float | None = None
    birth_at: float | None = None
    birth_by: str = ""

    def __post_init__(self) -> None:
        self.base_deficit = START_MMOL.get(self.stage, 3.0)

    def active(self, minute: float) -> bool:
        """Whether the threat has begun and is not over."""
        if minute < self.from_minute:
            return False
        return self.cured_minute is None or minute < self.cured_minute

    def do(self, measure: str, minute: float) -> None:
        """A measure is taken: it eases, cures, or brings about birth."""
        if minute < self.from_minute:
            return
        self.done.setdefault(measure, minute)
        if measure in self.kind.cured_by and self.cured_minute is None:
            self.cured_minute = minute + self.kind.cure_min
        hands = self.kind.born_by
        if hands and all(one in self.done for one in hands) and self.birth_at is None:
            self.birth_at, self.birth_by = minute + BIRTH_BY_HAND_MIN, "by the manoeuvres"

    def arrange_birth(self, minute: float) -> None:
        """People are there and birth is asked for: it follows after the time it takes."""
        if self.birth_at is None and not self.kind.born_by:
            how = "with an instrument" if self.stage is Stage.SECOND else "by caesarean"
            self.birth_at, self.birth_by = minute + BIRTH_TAKES_MIN.get(self.stage, 20.0), how

    def pace(self, minute: float) -> float:
        """Share of the threat's pace that is left, 0..1."""
        if not self.active(minute):
            return 0.0
        left = 1.0
        for measure, share in self.kind.eased.items():
            if measure in self.done:
                left *= share
        return left

    def go_on(self, minute: float, minutes: float) -> None:
        """Let some minutes pass from this minute of the case."""
        share = self.pace(minute)
        rise = minutes * share / self.kind.minutes_per_mmol
        self.base_deficit = min(MOST_MMOL, self.base_deficit + rise)
        over = (self.pco2 - NORMAL_PCO2) * math.exp(-minutes * (1 - share) / PCO2_FADES_MIN)
        self.pco2 = min(HIGHEST_PCO2, NORMAL_PCO2 + over + PCO2_PER_MMOL * rise)

    def phase(self, minute: float) -> str:
        """Which trace it shows now: "", begins, eased, cured, failing or ending."""
        if minute < self.from_minute:
            return ""
        if self.base_deficit >= ENDING_MMOL:
            return "ending"
        if not self.active(minute):
            return "cured"
        if self.pace(minute) <= EASED_SHARE:
            return "eased"
        return "failing" if self.base_deficit >= FAILING_MMOL else "begins"

    def born(self, minute: float, by: str) -> Birth:
        """The newborn, were it born now."""
        limit = next(i for i, (most, _, _) in enumerate(_CONDITION) if self.base_deficit < most)
        _, apgar, words = _CONDITION[limit]
        if self.weeks < 32 and apgar[0] > 0:
            apgar = (max(1, apgar[0] - 1), max(1, apgar[1] - 1))
        return Birth(
            minute,
            by,
            apgar,
            round(ph_of(self.base_deficit, self.pco2), 2),
            round(self.base_deficit, 1),
            round(self.pco2),
            words,
        )


def course_of(kind: str, from_minute: float, stage: Stage, weeks: float) -> FetalCourse:
    """The course of a case's threat."""
    return FetalCourse(threat_table()[kind], from_minute, stage, weeks)
