"""What is known beside the findings: the pregnancy, the examiner, what hinders the hands."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from ebbline.errors import ExaminationError
from ebbline.terms import Stage


class Examiner(StrEnum):
    """Whose hands they are. Each level stands on published accuracy (see accuracy.py)."""

    LEARNING = "learning"
    ORDINARY = "ordinary"
    EXPERIENCED = "experienced"
    TEXTBOOK = "textbook"


EXPERIENCED_YEARS = 5
"""More than so many years of practice count as experienced (Webb SS, et al.)."""


class Hindrance(StrEnum):
    """What makes the abdomen harder to read."""

    THICK_WALL = "thick wall"
    TENSE_UTERUS = "tense uterus"
    CONTRACTION = "contraction"
    FRONT_PLACENTA = "front placenta"


class Placenta(StrEnum):
    """Where the placenta lies, by scan."""

    UNKNOWN = "unknown"
    NOT_LOW = "not low"
    LOW = "low"
    PRAEVIA = "praevia"


class Fluid(StrEnum):
    """Amniotic fluid."""

    UNKNOWN = "unknown"
    LITTLE = "little"
    NORMAL = "normal"
    MUCH = "much"


class Membranes(StrEnum):
    """State of the membranes."""

    UNKNOWN = "unknown"
    INTACT = "intact"
    RUPTURED = "ruptured"


@dataclass(frozen=True, slots=True)
class ExamContext:
    """What is known of the pregnancy and the examination; None or unknown never means 'no'.

    weeks: completed weeks (decimals allowed). earlier_births: number of earlier births.
    upper_twin: the examination is of the twin that lies higher. fundal_height_cm: upper edge of
    the symphysis to the fundus. girth_cm: around the abdomen at the umbilicus.
    symphysis_to_umbilicus_cm: over the skin. noncephalic_share: the unit's or a study's own
    prevalence of non-cephalic presentation, 0..1, in place of the built-in curve.
    maternal_weight_kg: for Johnson's rule only.

    Raises ExaminationError for numbers that cannot be.
    """

    weeks: float | None = None
    earlier_births: int | None = None
    previous_breech: bool | None = None
    fetuses: int = 1
    upper_twin: bool = False
    stage: Stage = Stage.UNKNOWN
    placenta: Placenta = Placenta.UNKNOWN
    fluid: Fluid = Fluid.UNKNOWN
    membranes: Membranes = Membranes.UNKNOWN
    bleeding: bool | None = None
    examiner: Examiner = Examiner.ORDINARY
    hindrances: tuple[Hindrance, ...] = ()
    fundal_height_cm: float | None = None
    girth_cm: float | None = None
    symphysis_to_umbilicus_cm: float | None = None
    maternal_weight_kg: float | None = None
    noncephalic_share: float | None = None

    def __post_init__(self) -> None:
        for field, low, high, unit in _LIMITS:
            value = getattr(self, field)
            if value is not None and not low <= value <= high:
                said = f"{value:g}" if abs(value) < MOST_SHOWN or value != value else "That many"
                raise ExaminationError(
                    f"{said} {unit} cannot be.".replace("  ", " "),
                    where=field.replace("_", " "),
                    remedy=f"Give {low:g} to {high:g}{' ' + unit if unit else ''}.",
                )

    @property
    def in_labour(self) -> bool:
        """True in the first and second stage; unknown is not labour (the result says so)."""
        return self.stage in (Stage.FIRST, Stage.SECOND)


MOST_SHOWN = 1e9
"""A number beyond it is not repeated: it may be too long for any form."""
_LIMITS: tuple[tuple[str, float, float, str], ...] = (
    ("weeks", 16, 45, "weeks"),
    ("earlier_births", 0, 25, "births"),
    ("fetuses", 1, 2, "fetuses"),
    ("fundal_height_cm", 10, 60, "cm"),
    ("girth_cm", 60, 200, "cm"),
    ("symphysis_to_umbilicus_cm", 8, 35, "cm"),
    ("maternal_weight_kg", 30, 300, "kg"),
    ("noncephalic_share", 1e-9, 0.999, ""),
)


def examiner_for_years(years: float) -> Examiner:
    """The level for years of practice: more than five is experienced (Webb), under one learning.

    The lower step is an assumption. Raises ExaminationError for a negative number.
    """
    if not 0 <= years <= 70:
        raise ExaminationError(
            f"{years:g} years of practice cannot be.", where="years", remedy="Give 0 to 70."
        )
    if years > EXPERIENCED_YEARS:
        return Examiner.EXPERIENCED
    return Examiner.LEARNING if years < 1 else Examiner.ORDINARY
