"""Where each number of the examination comes from, said once, with its mark.

A mark says how far a source can be trusted here: read (the figure is quoted from the source),
from memory (the source is named but was not re-read), common practice (the trade agrees, no
source), assumption (ours, chosen so that the rest hangs together).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Mark(StrEnum):
    """How a figure came to us."""

    READ = "read"
    MEMORY = "from memory"
    PRACTICE = "common practice, no source"
    ASSUMPTION = "ours"


@dataclass(frozen=True, slots=True)
class Source:
    """A publication or a plain statement, with its mark."""

    text: str
    mark: Mark

    def __str__(self) -> str:
        if self.mark is Mark.READ:
            return self.text
        if not self.text:
            return self.mark.value
        return f"{self.text} ({self.mark.value})"


@dataclass(frozen=True, slots=True)
class Basis:
    """What a part of a result rests on, in words, with its source."""

    about: str
    text: str
    source: Source


PRACTICE = Source("", Mark.PRACTICE)
ASSUMPTION = Source("", Mark.ASSUMPTION)

THORP_1991 = Source(
    "Thorp JM, Jenkins T, Watson W. Obstet Gynecol 1991;78:394-6",
    Mark.READ,
)
LYDON_ROCHELLE_1993 = Source("Lydon-Rochelle M, Albers L, et al. Birth 1993;20:132-5", Mark.READ)
NASSAR_2006 = Source("Nassar N, et al. BMJ 2006;333:578-80", Mark.READ)
RUEANGCHAINIKHOM_2010 = Source(
    "Rueangchainikhom W, Prommas S, Sarapak S. J Med Assoc Thai 2010;93:1019-23", Mark.READ
)
WEBB_2011 = Source(
    "Webb SS, et al. Acta Obstet Gynecol Scand 2011, doi 10.1111/j.1600-0412.2011.01226.x",
    Mark.READ,
)
AHMAD_2014 = Source("Ahmad A, et al. Ultrasound Obstet Gynecol 2014;43:176-82", Mark.READ)
KNIGHTS_2023 = Source(
    "Knights S, et al. PLoS Med 2023: breeches unknown at labour 14-16 % without and 3 % with a "
    "scan for all",
    Mark.READ,
)
CEPHALIC_BY_WEEKS = Source("Acta Obstet Gynecol Scand 2015;94:660-3, 18 019 scans", Mark.READ)
FORD_2010 = Source(
    "Ford JB, Roberts CL, Nassar N, Giles W, Morris JM. BJOG 2010;117:830-6", Mark.MEMORY
)
MACHAREY_2017 = Source("Macharey G, et al. Arch Gynecol Obstet 2017;295:833-8", Mark.MEMORY)
SCHEER_1976 = Source("Scheer K, Nubar J. Am J Obstet Gynecol 1976;125:269-70", Mark.MEMORY)
WILLIAMS = Source("Williams Obstetrics, chapter on abnormal labour", Mark.MEMORY)
OXORN = Source("Oxorn-Foote, Human Labor and Birth", Mark.MEMORY)
CHERVENAK_1985 = Source("Chervenak FA, et al. Obstet Gynecol 1985;65:119-24", Mark.MEMORY)
AKMAL_2002 = Source(
    "Akmal S, et al. J Matern Fetal Neonatal Med 2002;12:172-7; Sherer DM, et al. Ultrasound "
    "Obstet Gynecol 2002;19:258-63",
    Mark.MEMORY,
)
AKMAL_2004 = Source("Akmal S, et al. Ultrasound Obstet Gynecol 2004;24:425-8", Mark.MEMORY)
GARDBERG_1998 = Source("Gardberg M, et al. Obstet Gynecol 1998;91:746-9", Mark.MEMORY)
JOHNSON_1954 = Source("Johnson RW, Toshach CE. Am J Obstet Gynecol 1954;68:891-6", Mark.MEMORY)
WHO_FIFTHS = Source("World Health Organization, partograph manuals", Mark.MEMORY)
