"""Words of the trade shared by all rooms of the house: data without behaviour."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of the recording, seconds from its start."""

    start_s: float
    end_s: float

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.end_s - self.start_s

    def overlaps(self, start_s: float, end_s: float) -> bool:
        """Whether any part of another stretch lies in it."""
        return start_s < self.end_s and end_s > self.start_s


class SensorKind(StrEnum):
    """What a channel was measured with."""

    ULTRASOUND = "ultrasound"
    SCALP_ELECTRODE = "scalp electrode"
    TOCO = "toco"
    PRESSURE_CATHETER = "pressure catheter"
    MATERNAL_PULSE = "maternal pulse"
    UNKNOWN = "unknown"


class Stage(StrEnum):
    """Stage of labour at the time that is read."""

    ANTEPARTUM = "antepartum"
    FIRST = "first"
    SECOND = "second"
    UNKNOWN = "unknown"


class VariabilityClass(StrEnum):
    """Classes of baseline variability (NICHD 2008); indeterminate when it cannot be measured."""

    ABSENT = "absent"
    MINIMAL = "minimal"
    MODERATE = "moderate"
    MARKED = "marked"
    INDETERMINATE = "indeterminate"


class Side(StrEnum):
    """The mother's left or right."""

    LEFT = "left"
    RIGHT = "right"


class Lie(StrEnum):
    """The long axis of the fetus against that of the mother."""

    LONGITUDINAL = "longitudinal"
    OBLIQUE = "oblique"
    TRANSVERSE = "transverse"


class Presentation(StrEnum):
    """The part of the fetus nearest to the birth canal."""

    VERTEX = "vertex"
    BROW = "brow"
    FACE = "face"
    FRANK_BREECH = "frank breech"
    COMPLETE_BREECH = "complete breech"
    FOOTLING_BREECH = "footling breech"
    SHOULDER = "shoulder"


class Attitude(StrEnum):
    """Flexion of the fetal head."""

    FLEXED = "flexed"
    MILITARY = "military"
    PARTLY_EXTENDED = "partly extended"
    EXTENDED = "extended"


class Position(StrEnum):
    """Where the denominator (occiput, brow, mentum, sacrum, back) points in the mother's pelvis.

    Named for longitudinal lies by side and front/back; the denominator follows from the
    presentation (LOA for a vertex, LSA for a breech, LMA for a face, LFrA for a brow).
    """

    ANTERIOR = "anterior"
    LEFT_ANTERIOR = "left anterior"
    LEFT_TRANSVERSE = "left transverse"
    LEFT_POSTERIOR = "left posterior"
    POSTERIOR = "posterior"
    RIGHT_POSTERIOR = "right posterior"
    RIGHT_TRANSVERSE = "right transverse"
    RIGHT_ANTERIOR = "right anterior"


def counted(amount: int, one: str, many: str = "") -> str:
    """'1 contraction', '3 contractions', '2 entries'."""
    return f"{amount} {one if amount == 1 else many or one + 's'}"
