"""Two old rules of thumb from the tape: fundal height for dates, and Johnson's weight."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from ebbline.bedside.context import ExamContext
from ebbline.bedside.number_words import weeks_words
from ebbline.bedside.sources import JOHNSON_1954, PRACTICE, Mark, Source

FUNDAL_HEIGHT_RULE = Source(
    "McDonald's rule: centimetres are about the weeks, give or take 2", Mark.PRACTICE
)
FUNDAL_HEIGHT_FROM_WEEKS = 20.0
FUNDAL_HEIGHT_SURE_FROM_WEEKS = 24.0
FUNDAL_HEIGHT_TO_WEEKS = 36.0
FUNDAL_HEIGHT_TOLERANCE_CM = 2.0


class ForDates(StrEnum):
    """How a fundal height compares with the weeks."""

    AS_EXPECTED = "as expected"
    SMALL = "small for dates"
    LARGE = "large for dates"
    NOT_COMPARABLE = "not comparable"


@dataclass(frozen=True, slots=True)
class FundalHeight:
    """The fundal height against the weeks. difference_cm: measured minus weeks."""

    verdict: ForDates
    difference_cm: float
    text: str
    source: str


def fundal_height_for_dates(height_cm: float, weeks: float, fetuses: int = 1) -> FundalHeight:
    """Compare a fundal height with the weeks by McDonald's rule (common practice, no source).

    height_cm: symphysis to fundus; weeks: completed weeks. The rule holds from 20 (some say 24)
    to 36 weeks for one fetus in a longitudinal lie.
    """
    difference = height_cm - weeks
    measured = f"{height_cm:g} cm at {weeks_words(weeks)} weeks"

    def answer(verdict: ForDates, text: str) -> FundalHeight:
        return FundalHeight(verdict, difference, text, str(FUNDAL_HEIGHT_RULE))

    if fetuses > 1:
        return answer(ForDates.NOT_COMPARABLE, f"{measured}: the rule is for one fetus.")
    if not FUNDAL_HEIGHT_FROM_WEEKS <= weeks <= FUNDAL_HEIGHT_TO_WEEKS:
        return answer(
            ForDates.NOT_COMPARABLE,
            f"{measured}: the rule holds from 20 (some say 24) to 36 weeks"
            + ("; later the fundus sinks as the head engages." if weeks > 36 else "."),
        )
    early = " Some begin only at 24 weeks." if weeks < FUNDAL_HEIGHT_SURE_FROM_WEEKS else ""
    if abs(difference) <= FUNDAL_HEIGHT_TOLERANCE_CM:
        return answer(
            ForDates.AS_EXPECTED, f"{measured}: as expected, within 2 cm of the weeks.{early}"
        )
    if difference < 0:
        return answer(
            ForDates.SMALL,
            f"{measured}: {-difference:.1f} cm less than the weeks. Think of wrong dates, a lie "
            f"across, little fluid, a small fetus; guidelines list a scan.{early}",
        )
    return answer(
        ForDates.LARGE,
        f"{measured}: {difference:.1f} cm more than the weeks. Think of wrong dates, twins, much "
        f"fluid, a large fetus, fibroids, a full bladder; guidelines list a scan.{early}",
    )


GRAMS_PER_CM = 155.0
HEAVY_KG = 91.0
HEAVY_TAKES_CM = 1.0
JOHNSON_ERROR_G = 350.0
"""About two thirds of estimates fall within this of the birth weight (JOHNSON_1954)."""


class HeadHeight(StrEnum):
    """How low the head is, as Johnson's rule asks it."""

    FLOATING = "floating"
    AT_THE_SPINES = "at the spines"
    BELOW_THE_SPINES = "below the spines"


@dataclass(frozen=True, slots=True)
class JohnsonVariant:
    """One form of the rule: what is taken off the height, by how low the head is, in cm."""

    name: str
    takes_cm: dict[HeadHeight, float]
    heavy_takes_cm: float
    source: Source


JOHNSON_VARIANTS = (
    JohnsonVariant(
        "13, 12, 11",
        {
            HeadHeight.FLOATING: 13.0,
            HeadHeight.AT_THE_SPINES: 12.0,
            HeadHeight.BELOW_THE_SPINES: 11.0,
        },
        0.0,
        PRACTICE,
    ),
    JohnsonVariant(
        "12, 11, with a centimetre off above 91 kg",
        {
            HeadHeight.FLOATING: 12.0,
            HeadHeight.AT_THE_SPINES: 12.0,
            HeadHeight.BELOW_THE_SPINES: 11.0,
        },
        HEAVY_TAKES_CM,
        JOHNSON_1954,
    ),
)


@dataclass(frozen=True, slots=True)
class WeightEstimate:
    """A weight by one variant of Johnson's rule, in grams, with its usual error."""

    variant: str
    head: HeadHeight
    grams: float
    error_g: float
    rule: str
    source: str


def johnson_weight(
    height_cm: float, head: HeadHeight, maternal_weight_kg: float | None = None
) -> tuple[WeightEstimate, ...]:
    """Weight by Johnson's rule, (fundal height - n) x 155 g, in each variant.

    For one fetus, head first, near term. Source: Johnson and Toshach 1954 (from memory).
    """
    made = []
    for variant in JOHNSON_VARIANTS:
        heavy = maternal_weight_kg is not None and maternal_weight_kg > HEAVY_KG
        height = height_cm - (variant.heavy_takes_cm if heavy else 0.0)
        takes = variant.takes_cm[head]
        made.append(
            WeightEstimate(
                variant.name,
                head,
                max(height - takes, 0.0) * GRAMS_PER_CM,
                JOHNSON_ERROR_G,
                f"({height:g} - {takes:g}) x {GRAMS_PER_CM:g} g",
                str(variant.source),
            )
        )
    return tuple(made)


@dataclass(frozen=True, slots=True)
class Growth:
    """What the tape says. notes: why a part is missing or doubtful."""

    fundal_height: FundalHeight | None
    weights: tuple[WeightEstimate, ...]
    notes: tuple[str, ...]


JOHNSON_FROM_WEEKS = 35.0


def growth(context: ExamContext, noncephalic: float, descent: dict[int, float]) -> Growth:
    """Both rules for what was measured.

    noncephalic: probability that no head presents; descent: probability of each number of fifths
    above the brim (5/5 and 4/5 count as floating, 3/5 and 2/5 as at the spines).
    """
    height = context.fundal_height_cm
    if height is None:
        return Growth(None, (), ("Fundal height was not measured.",))
    notes = []
    for_dates = None
    if context.weeks is None:
        notes.append("Weeks not given: the fundal height is compared with nothing.")
    else:
        for_dates = fundal_height_for_dates(height, context.weeks, context.fetuses)
    if context.fetuses > 1:
        return Growth(for_dates, (), (*notes, "Johnson's rule is for one fetus."))
    if context.weeks is not None and context.weeks < JOHNSON_FROM_WEEKS:
        return Growth(for_dates, (), (*notes, "Johnson's rule is for the last weeks."))
    if noncephalic > 0.5:
        return Growth(for_dates, (), (*notes, "Johnson's rule is for a head that presents."))
    levels = {
        HeadHeight.FLOATING: descent[5] + descent[4],
        HeadHeight.AT_THE_SPINES: descent[3] + descent[2],
        HeadHeight.BELOW_THE_SPINES: descent[1] + descent[0],
    }
    head = max(levels, key=lambda level: levels[level])
    notes.append(
        f"Two thirds of such estimates fall within about {JOHNSON_ERROR_G:g} g ({JOHNSON_1954}); "
        "more fluid, a full bladder or a thick wall make it too high."
    )
    return Growth(for_dates, johnson_weight(height, head, context.maternal_weight_kg), tuple(notes))
