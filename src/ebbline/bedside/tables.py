"""How likely each answer is: the likelihood tables, a line of data for each, with its source.

The tables of the hands say what is answered given what the hands perceive (accuracy.py says how
perception follows from truth); the other tables say what is answered given how the fetus lies.
Lines are written for the mother's left and the middle; the right is their exact mirror image.
Shares of a line need not sum to one: they are scaled to.

All shares are judgements put in numbers: the direction of each is common practice (the handbooks
agree), the size is ours unless a line says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ebbline.bedside.sources import (
    ASSUMPTION,
    KNIGHTS_2023,
    OXORN,
    WHO_FIFTHS,
    WILLIAMS,
    Mark,
    Source,
)

SIZE_OURS = Source("direction common practice, size ours", Mark.ASSUMPTION)

Shares = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Line:
    """Shares of the answers of one item, given one perceived or true class."""

    given: str
    shares: Shares
    source: Source = SIZE_OURS


FLOOR = 0.002
"""The least share of any answer: nothing that can be said is taken as impossible."""

FUNDUS = (
    Line("head", {"breech": 0.97, "head": 0.01, "nothing": 0.02}),
    Line("breech", {"head": 0.97, "breech": 0.01, "nothing": 0.02}),
    Line("across, head left", {"nothing": 0.90, "head": 0.05, "breech": 0.05}),
    Line("oblique, head low left", {"nothing": 0.50, "breech": 0.45, "head": 0.05}),
    Line("oblique, breech low, head left", {"nothing": 0.50, "head": 0.45, "breech": 0.05}),
)

BRIM = (
    Line("head", {"head": 0.97, "breech": 0.01, "nothing": 0.02}),
    Line("breech", {"breech": 0.96, "head": 0.01, "nothing": 0.03}),
    Line("across, head left", {"nothing": 0.92, "head": 0.03, "breech": 0.05}),
    Line("oblique, head low left", {"nothing": 0.70, "head": 0.25, "breech": 0.05}),
    Line("oblique, breech low, head left", {"nothing": 0.70, "breech": 0.25, "head": 0.05}),
)

NOTHING_ABOVE_BRIM = {0: 0.85, 1: 0.25, 2: 0.02}
"""Share of examinations in which the hand above the symphysis meets nothing of a presenting part
that has gone into the pelvis, by fifths: at 0/5 nothing is left to feel (common practice, size
ours)."""

POLES = (
    Line("head", {"none": 0.98, "head left fossa": 0.01, "head right fossa": 0.01}),
    Line("breech", {"none": 0.98, "head upper left": 0.01, "head upper right": 0.01}),
    Line(
        "across, head left",
        {"head left flank": 0.85, "head left fossa": 0.05, "head upper left": 0.05, "none": 0.03},
    ),
    Line(
        "oblique, head low left",
        {"head left fossa": 0.85, "head left flank": 0.10, "none": 0.05},
    ),
    Line(
        "oblique, breech low, head left",
        {"head upper left": 0.80, "head left flank": 0.12, "none": 0.08},
    ),
)

PRESENTATION = (
    Line("head", {"head": 1.0}, ASSUMPTION),
    Line("breech", {"breech": 1.0}, ASSUMPTION),
    Line("across, head left", {"across": 1.0}, ASSUMPTION),
    Line("oblique, head low left", {"oblique": 1.0}, ASSUMPTION),
    Line("oblique, breech low, head left", {"oblique": 1.0}, ASSUMPTION),
)
"""What is concluded is what is perceived: no further error, the studies measured this."""

BACK = (
    Line(
        "front",
        {"front": 0.70, "left front": 0.12, "right front": 0.12, "not felt": 0.04},
    ),
    Line(
        "left front",
        {"left front": 0.78, "left flank": 0.10, "front": 0.06, "left far": 0.02, "not felt": 0.02},
    ),
    Line(
        "left",
        {"left flank": 0.78, "left front": 0.06, "left far": 0.10, "not felt": 0.04},
    ),
    Line(
        "left rear",
        {"left far": 0.60, "left flank": 0.16, "not felt": 0.20, "left front": 0.02},
    ),
    Line("rear", {"not felt": 0.72, "left far": 0.12, "right far": 0.12}),
    Line("across front", {"across": 0.86, "front": 0.05, "not felt": 0.05}),
    Line("across spine", {"not felt": 0.80, "across": 0.10}),
)

LIMBS = (
    Line("front", {"not felt": 0.56, "both sides": 0.14, "left": 0.15, "right": 0.15}),
    Line("left front", {"right": 0.74, "not felt": 0.16, "both sides": 0.07, "left": 0.03}),
    Line("left", {"right": 0.74, "both sides": 0.10, "not felt": 0.13, "left": 0.03}),
    Line("left rear", {"both sides": 0.46, "right": 0.46, "left": 0.04, "not felt": 0.03}),
    Line("rear", {"both sides": 0.84, "left": 0.06, "right": 0.06, "not felt": 0.03}),
    Line("across front", {"not felt": 0.60, "across": 0.20, "both sides": 0.10}),
    Line("across spine", {"across": 0.75, "both sides": 0.18, "not felt": 0.04}),
)

POSITION = (
    *(
        Line(given, {given: 1.0}, ASSUMPTION)
        for given in ("front", "left front", "left", "left rear", "rear")
    ),
    Line("across front", {"across": 1.0}, ASSUMPTION),
    Line("across spine", {"across": 1.0}, ASSUMPTION),
)

PROMINENCE = {
    # Head flexed: the brow stands out, opposite the back.
    "flexed": (
        Line("front", {"both alike": 0.44, "not felt": 0.44, "left": 0.06, "right": 0.06}),
        Line("left front", {"right": 0.80, "both alike": 0.08, "not felt": 0.08, "left": 0.04}),
        Line("left", {"right": 0.80, "both alike": 0.08, "not felt": 0.08, "left": 0.04}),
        Line("left rear", {"right": 0.76, "both alike": 0.12, "not felt": 0.06, "left": 0.06}),
        Line("rear", {"both alike": 0.62, "not felt": 0.16, "left": 0.11, "right": 0.11}),
    ),
    "military": (
        Line("front", {"both alike": 0.80, "not felt": 0.12, "left": 0.04, "right": 0.04}),
        Line("left front", {"both alike": 0.78, "not felt": 0.08, "right": 0.09, "left": 0.05}),
        Line("left", {"both alike": 0.78, "not felt": 0.08, "right": 0.09, "left": 0.05}),
        Line("left rear", {"both alike": 0.78, "not felt": 0.08, "right": 0.09, "left": 0.05}),
        Line("rear", {"both alike": 0.80, "not felt": 0.12, "left": 0.04, "right": 0.04}),
    ),
    # Half extended: between the two, the occiput begins to stand out on the side of the back.
    "partly extended": (
        Line("front", {"both alike": 0.66, "not felt": 0.14, "left": 0.10, "right": 0.10}),
        Line("left front", {"left": 0.56, "both alike": 0.30, "right": 0.08, "not felt": 0.06}),
        Line("left", {"left": 0.60, "both alike": 0.28, "right": 0.07, "not felt": 0.05}),
        Line("left rear", {"left": 0.52, "both alike": 0.30, "right": 0.10, "not felt": 0.08}),
        Line("rear", {"both alike": 0.66, "not felt": 0.14, "left": 0.10, "right": 0.10}),
    ),
    # Head extended: the occiput stands out, on the same side as the back.
    "extended": (
        Line("front", {"both alike": 0.58, "not felt": 0.14, "left": 0.14, "right": 0.14}),
        Line("left front", {"left": 0.82, "both alike": 0.08, "right": 0.04, "not felt": 0.06}),
        Line("left", {"left": 0.84, "both alike": 0.07, "right": 0.04, "not felt": 0.05}),
        Line("left rear", {"left": 0.70, "both alike": 0.14, "right": 0.06, "not felt": 0.10}),
        Line("rear", {"both alike": 0.40, "not felt": 0.40, "left": 0.10, "right": 0.10}),
    ),
}
"""By attitude, then by the direction of the back as perceived."""

PROMINENCE_NO_HEAD = Line(
    "no head at the brim",
    {"not felt": 0.30, "both alike": 0.16, "left": 0.27, "right": 0.27},
    ASSUMPTION,
)
"""Hands that take a breech for a head find a prominence on it too: it must not count as a second
witness for the head."""

PROMINENCE_LOST = {0: 0.85, 1: 0.40, 2: 0.08}
"""Share of heads whose prominence has gone below the brim, by fifths (common practice)."""

SHAPE = (
    Line("longitudinal", {"long": 0.86, "broad": 0.05, "slanting": 0.03, "dip": 0.06}),
    Line("longitudinal, back behind", {"long": 0.56, "broad": 0.05, "slanting": 0.03, "dip": 0.36}),
    Line("transverse", {"broad": 0.80, "slanting": 0.12, "long": 0.06, "dip": 0.02}),
    Line("oblique", {"slanting": 0.62, "broad": 0.20, "long": 0.16, "dip": 0.02}),
)

MOBILITY = (
    Line("5", {"mobile": 0.86, "dipping": 0.11, "fixed": 0.03}),
    Line("4", {"mobile": 0.52, "dipping": 0.38, "fixed": 0.10}),
    Line("3", {"mobile": 0.15, "dipping": 0.50, "fixed": 0.35}),
    Line("2", {"mobile": 0.04, "dipping": 0.14, "fixed": 0.82}, WHO_FIFTHS),
    Line("1", {"mobile": 0.02, "dipping": 0.05, "fixed": 0.93}, WHO_FIFTHS),
    Line("0", {"mobile": 0.02, "dipping": 0.03, "fixed": 0.95}, WHO_FIFTHS),
)

STATION = (
    Line("5", {"-3": 0.88, "-2": 0.10, "-1": 0.02}),
    Line("4", {"-3": 0.28, "-2": 0.56, "-1": 0.14, "0": 0.02}),
    Line("3", {"-3": 0.06, "-2": 0.26, "-1": 0.48, "0": 0.18, "+1": 0.02}),
    Line("2", {"-2": 0.05, "-1": 0.26, "0": 0.46, "+1": 0.20, "+2": 0.03}),
    Line("1", {"-1": 0.05, "0": 0.22, "+1": 0.46, "+2": 0.23, "+3": 0.04}),
    Line("0", {"0": 0.04, "+1": 0.18, "+2": 0.42, "+3": 0.36}),
)
"""Station by fifths: 2/5 about at the spines (common practice)."""

KICK_HEIGHT = (
    Line("head low", {"upper": 0.66, "middle": 0.24, "lower": 0.10}),
    Line("frank breech", {"upper": 0.34, "middle": 0.40, "lower": 0.26}),
    Line("complete breech", {"upper": 0.10, "middle": 0.26, "lower": 0.64}),
    Line("footling breech", {"upper": 0.06, "middle": 0.18, "lower": 0.76}),
    Line("across", {"upper": 0.33, "middle": 0.44, "lower": 0.23}),
)
"""Where kicks are felt, up and down: the feet are far from the head."""

KICK_SIDE = (
    Line("front", {"left": 0.34, "right": 0.34, "middle": 0.32}),
    Line("left front", {"right": 0.67, "middle": 0.20, "left": 0.13}),
    Line("left", {"right": 0.67, "middle": 0.20, "left": 0.13}),
    Line("left rear", {"right": 0.52, "middle": 0.34, "left": 0.14}),
    Line("rear", {"middle": 0.50, "left": 0.25, "right": 0.25}),
    Line("head to the left", {"right": 0.62, "middle": 0.24, "left": 0.14}),
)
"""Where kicks are felt, side to side: away from the back, or from the head in a lie across."""

KICKS_NOT_NOTICED = 0.05

FINGER_FLOOR = 0.0001
"""The least share of what a finger meets: it errs far less than hands on the wall (ours)."""

PART = (
    Line(
        "vertex",
        {
            "head": 0.99,
            "brow": 0.0002,
            "breech": 0.0015,
            "foot": 0.0002,
            "shoulder or hand": 0.0004,
            "cord": 0.001,
        },
    ),
    Line("brow", {"brow": 0.78, "head": 0.16, "face": 0.05, "breech": 0.005, "cord": 0.002}),
    Line(
        "face", {"face": 0.84, "breech": 0.10, "brow": 0.03, "head": 0.02, "cord": 0.002}, WILLIAMS
    ),
    Line(
        "frank breech",
        {"breech": 0.94, "breech and feet": 0.02, "face": 0.003, "head": 0.03, "cord": 0.003},
    ),
    Line(
        "complete breech",
        {"breech and feet": 0.68, "breech": 0.18, "foot": 0.10, "head": 0.02, "cord": 0.02},
    ),
    Line(
        "footling breech",
        {
            "foot": 0.74,
            "breech and feet": 0.14,
            "breech": 0.05,
            "shoulder or hand": 0.02,
            "cord": 0.05,
        },
    ),
    Line(
        "across",
        {"shoulder or hand": 0.82, "breech": 0.06, "foot": 0.04, "head": 0.02, "cord": 0.06},
        OXORN,
    ),
    Line(
        "oblique",
        {"shoulder or hand": 0.52, "breech": 0.18, "head": 0.16, "foot": 0.08, "cord": 0.05},
    ),
)
"""What the finger meets, where it meets anything; no study of it was at hand, the shares are
stated (ours): a face is taken for a breech in one of ten (WILLIAMS tells of the confusion), a
vertex for a breech in 15 of 10 000. The cord comes down the oftener the worse the presenting part
fills the brim (common practice)."""

NOTHING_REACHED = {"5": 0.40, "4": 0.20, "3": 0.08, "2": 0.03, "1": 0.01, "0": 0.01, "across": 0.70}
"""Share of examinations that reach nothing, by fifths."""

POSTERIOR_FONTANELLE_REACHED = {"flexed": 0.88, "military": 0.72, "partly extended": 0.05}
ANTERIOR_FONTANELLE_REACHED = {"flexed": 0.10, "military": 0.84, "partly extended": 0.86}
SUTURE_REACHED = {"flexed": 0.88, "military": 0.88, "partly extended": 0.40}
CHIN_REACHED = 0.86
SACRUM_REACHED = 0.84
FALSELY_REACHED = 0.03
"""Shares of examinations in which a landmark is felt, by attitude; the last where it is not
there. Fixed by common practice in direction: flexion brings the small fontanelle down, a military
head both, a brow the large one."""

SCAN_FLOOR = 0.0002
SCAN_STATED = Source(f"ours, bounded by {KNIGHTS_2023}", Mark.ASSUMPTION)
SCAN = (
    Line("head", {"head": 0.9994}, SCAN_STATED),
    Line("breech", {"breech": 0.985, "head": 0.012, "oblique": 0.003}, SCAN_STATED),
    Line("across", {"across": 0.95, "oblique": 0.045, "breech": 0.003}, SCAN_STATED),
    Line("oblique", {"oblique": 0.86, "across": 0.08, "head": 0.04, "breech": 0.02}, SCAN_STATED),
)
"""What a scan shows. It is the studies' own measure of truth; the shares leave room for a slip of
the pen and for a fetus that turns afterwards."""

SCAN_BACK_EXACT = 0.92
"""Share of scans that show the direction of the back rightly (ours)."""

LISTENING_SPREAD_CM = 1.8
"""How far (one standard deviation) the place heard best wanders from the place itself."""

HEART_NOT_HEARD_SHARE = 0.02
"""The same in every state: not hearing tells nothing of how the fetus lies, and is a caution."""
