"""What can be found: the items of the examination, their answers and the words for them.

An answer names one fine outcome or several: "left" for the back covers left front, left flank
and far left. "unclear" is an answer too (felt for, could not tell): it covers every outcome and
so moves nothing, but the item counts as examined. "not felt" is an outcome of its own. An item
that was not examined has no finding at all.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from functools import cache

from ebbline.errors import ExaminationError

UNCLEAR = "unclear"
NOT_EXAMINED = ("not examined", "unknown", "")

DIRECTIONS = (
    "front",
    "left front",
    "left",
    "left rear",
    "rear",
    "right rear",
    "right",
    "right front",
)
"""Towards what part of the mother something points, rear being her spine; the order of
states.POSITIONS. ("back" is the fetus's.)"""


class Step(StrEnum):
    """When in the examination an item is met."""

    LOOK = "looking"
    FUNDUS = "first grip: the fundus"
    FLANKS = "second grip: the flanks"
    BRIM = "third grip: above the symphysis"
    INLET = "fourth grip: towards the inlet"
    ASK = "asking"
    LISTEN = "listening"
    VAGINAL = "vaginal examination"
    CONCLUSION = "conclusion of the hands"
    SCAN = "ultrasound scan"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to find out.

    outcomes: the fine outcomes, exclusive and exhaustive. words: further answers, each covering
    one or more outcomes. how: what to do, in a sentence.
    """

    name: str
    step: Step
    question: str
    how: str
    outcomes: tuple[str, ...]
    words: Mapping[str, tuple[str, ...]]

    @property
    def answers(self) -> tuple[str, ...]:
        """All answers that can be given, the fine ones first."""
        return (*self.outcomes, *(w for w in self.words if w not in self.outcomes), UNCLEAR)

    def covered(self, answer: str) -> tuple[int, ...]:
        """Indices of the outcomes an answer covers. Raises ExaminationError for other words."""
        if answer == UNCLEAR:
            return tuple(range(len(self.outcomes)))
        if answer in self.words:
            return tuple(self.outcomes.index(word) for word in self.words[answer])
        if answer in self.outcomes:
            return (self.outcomes.index(answer),)
        raise ExaminationError(
            f"'{answer}' is not an answer here.",
            where=self.name,
            remedy=_did_you_mean(answer, self.answers),
        )


@dataclass(frozen=True, slots=True)
class Finding:
    """One item with the answer that was given."""

    item: str
    answer: str


def coarse_words(item: Item) -> list[str]:
    """Further answers worth listing: not those that only say an outcome in another way (0/5)."""
    return [
        word
        for word, covered in item.words.items()
        if word not in item.outcomes
        and not (len(covered) == 1 and (word.endswith("/5") or word in "123"))
    ]


def mirrored_word(text: str) -> str:
    """The same words with left and right exchanged."""
    swap = {"left": "right", "right": "left"}
    return " ".join(swap.get(word, word) for word in text.split(" "))


def _towards() -> dict[str, tuple[str, ...]]:
    """Coarse and trade words for the eight directions."""
    return {
        "anterior": ("front",),
        "left anterior": ("left front",),
        "left transverse": ("left",),
        "left posterior": ("left rear",),
        "posterior": ("rear",),
        "right posterior": ("right rear",),
        "right transverse": ("right",),
        "right anterior": ("right front",),
        "left side": ("left front", "left", "left rear"),
        "right side": ("right front", "right", "right rear"),
        "front half": ("front", "left front", "right front"),
        "rear half": ("rear", "left rear", "right rear"),
    }


_POLE_WORDS = {
    "a pole": ("head", "breech"),
    "empty": ("nothing",),
    "not felt": ("nothing",),
    "not a head": ("breech", "nothing"),
}

_POLES = (
    "none",
    "head left flank",
    "head right flank",
    "head left fossa",
    "head right fossa",
    "head upper left",
    "head upper right",
)

_HEART_SIDES = ("left flank", "left", "midline", "right", "right flank")
_HEART_HEIGHTS = ("above", "level", "below")
HEART_ZONES = tuple(f"{side} {height}" for height in _HEART_HEIGHTS for side in _HEART_SIDES)
HEART_NOT_HEARD = "not heard"


def _heart_words() -> dict[str, tuple[str, ...]]:
    def zones(sides: Sequence[str], heights: Sequence[str]) -> tuple[str, ...]:
        return tuple(f"{side} {height}" for height in heights for side in sides)

    left, right = ("left flank", "left"), ("right", "right flank")
    return {
        "left": zones(left, _HEART_HEIGHTS),
        "right": zones(right, _HEART_HEIGHTS),
        "midline": zones(("midline",), _HEART_HEIGHTS),
        "left flank": zones(("left flank",), _HEART_HEIGHTS),
        "right flank": zones(("right flank",), _HEART_HEIGHTS),
        "above": zones(_HEART_SIDES, ("above",)),
        "level": zones(_HEART_SIDES, ("level",)),
        "below": zones(_HEART_SIDES, ("below",)),
        "at or above": zones(_HEART_SIDES, ("above", "level")),
        "at the umbilicus": ("midline level",),
    }


_KICK_HEIGHTS = ("upper", "middle", "lower")
_KICK_SIDES = ("left", "middle", "right")
KICKS = tuple(
    f"{height} {side}" if (height, side) != ("middle", "middle") else "middle"
    for height in _KICK_HEIGHTS
    for side in _KICK_SIDES
)


def _kick_words() -> dict[str, tuple[str, ...]]:
    words = {h: tuple(k for k in KICKS if k.startswith(h)) for h in ("upper", "lower")}
    words |= {s: tuple(k for k in KICKS if k.endswith(s)) for s in ("left", "right")}
    words["not felt"] = ("not noticed",)
    words["all over the front"] = ("upper middle", "middle", "lower middle")
    return words


_NOT_FELT = "not felt"
_ITEMS = (
    Item(
        "shape",
        Step.LOOK,
        "What is the outline of the abdomen?",
        "Stand at the mother's side with the bladder empty and look along the abdomen.",
        ("long", "broad", "slanting", "dip at the umbilicus"),
        {"dip": ("dip at the umbilicus",), "ovoid": ("long", "dip at the umbilicus")},
    ),
    Item(
        "fundus",
        Step.FUNDUS,
        "Which pole lies in the fundus?",
        "Both hands round the fundus: the head is hard, round and moves on its own; the breech is "
        "softer, broader and moves with the trunk.",
        ("head", "breech", "nothing"),
        _POLE_WORDS,
    ),
    Item(
        "back",
        Step.FLANKS,
        "On which side, and how far forward, is the back?",
        "Steady one side and feel down the other: the back is smooth, long and firm.",
        (
            "front",
            "left front",
            "left flank",
            "left far",
            "right front",
            "right flank",
            "right far",
            "across",
            _NOT_FELT,
        ),
        {
            "left": ("left front", "left flank", "left far"),
            "right": ("right front", "right flank", "right far"),
            "midline": ("front",),
        },
    ),
    Item(
        "limbs",
        Step.FLANKS,
        "Where are the limbs felt?",
        "On the side away from the back: small, irregular parts that move away under the fingers.",
        ("left", "right", "both sides", "across", _NOT_FELT),
        {"front": ("both sides",), "all over the front": ("both sides",)},
    ),
    Item(
        "poles",
        Step.FLANKS,
        "Does a pole lie in a flank or an iliac fossa?",
        "Feel each flank and each iliac fossa for the hard, round head or the softer breech.",
        _POLES,
        {
            "head left": ("head left flank", "head left fossa", "head upper left"),
            "head right": ("head right flank", "head right fossa", "head upper right"),
            "breech left flank": ("head right flank",),
            "breech right flank": ("head left flank",),
            "breech left fossa": ("head upper right",),
            "breech right fossa": ("head upper left",),
            "no": ("none",),
            "not felt": ("none",),
        },
    ),
    Item(
        "brim",
        Step.BRIM,
        "What lies above the symphysis?",
        "Thumb and fingers of one hand just above the symphysis: what presents at the brim?",
        ("head", "breech", "nothing"),
        _POLE_WORDS,
    ),
    Item(
        "mobility",
        Step.BRIM,
        "Does the presenting part still move?",
        "Move it gently from side to side: a part that is fixed is engaged.",
        ("mobile", "dipping", "fixed"),
        {"floating": ("mobile",), "engaged": ("fixed",)},
    ),
    Item(
        "fifths",
        Step.INLET,
        "How many fifths are felt above the brim?",
        "Count the fingers' breadths of the presenting part above the brim, 5 (all of it) to 0.",
        ("0", "1", "2", "3", "4", "5"),
        {
            **{f"{n}/5": (str(n),) for n in range(6)},
            "engaged": ("0", "1", "2"),
            "not engaged": ("3", "4", "5"),
        },
    ),
    Item(
        "prominence",
        Step.INLET,
        "On which side do the fingers meet the cephalic prominence?",
        "Face her feet and slide the fingers of both hands towards the inlet: one hand is stopped "
        "by the prominence before the other.",
        ("left", "right", "both alike", _NOT_FELT),
        {"both": ("both alike",), "both sides": ("both alike",)},
    ),
    Item(
        "movement",
        Step.ASK,
        "Where does she feel most of the kicks?",
        "Ask where the strongest, sharpest movements are.",
        (*KICKS, "not noticed"),
        _kick_words(),
    ),
    Item(
        "heart",
        Step.LISTEN,
        "Where is the fetal heart heard best?",
        "Listen over the back first, then the other side, above and below the umbilicus; feel the "
        "mother's pulse at the same time.",
        (*HEART_ZONES, HEART_NOT_HEARD),
        _heart_words(),
    ),
    Item(
        "part",
        Step.VAGINAL,
        "What does the examining finger meet?",
        "Only where the placenta is known not to lie low and an examination is indicated.",
        (
            "head",
            "brow",
            "face",
            "breech",
            "breech and feet",
            "foot",
            "shoulder or hand",
            "cord",
            "nothing reached",
        ),
        {
            "any breech": ("breech", "breech and feet", "foot"),
            "skull": ("head",),
            "not felt": ("nothing reached",),
            "foot or knee": ("foot",),
            "hand": ("shoulder or hand",),
            "shoulder": ("shoulder or hand",),
            "arm": ("shoulder or hand",),
        },
    ),
    Item(
        "posterior-fontanelle",
        Step.VAGINAL,
        "Towards where does the posterior (small, three sutures) fontanelle point?",
        "Follow the sagittal suture to the small fontanelle where three sutures meet.",
        (*DIRECTIONS, "not reached"),
        _towards(),
    ),
    Item(
        "anterior-fontanelle",
        Step.VAGINAL,
        "Towards where does the anterior (large, diamond) fontanelle point?",
        "Follow the sagittal suture to the large fontanelle where four sutures meet.",
        (*DIRECTIONS, "not reached"),
        _towards(),
    ),
    Item(
        "suture",
        Step.VAGINAL,
        "How does the sagittal suture run?",
        "Sweep the finger across the head and follow the suture.",
        (
            "front to back",
            "left front to right rear",
            "side to side",
            "right front to left rear",
            "not reached",
        ),
        {
            "transverse": ("side to side",),
            "right oblique": ("left front to right rear",),
            "left oblique": ("right front to left rear",),
            "oblique": ("left front to right rear", "right front to left rear"),
        },
    ),
    Item(
        "chin",
        Step.VAGINAL,
        "Towards where does the chin point?",
        "In a face: the mouth with the gums and the chin, in one line with the nose.",
        (*DIRECTIONS, "not reached"),
        _towards(),
    ),
    Item(
        "sacrum",
        Step.VAGINAL,
        "Towards where does the sacrum point?",
        "In a breech: the bony row of the sacrum, the anus in line with the two tuberosities.",
        (*DIRECTIONS, "not reached"),
        _towards(),
    ),
    Item(
        "station",
        Step.VAGINAL,
        "At what station is the presenting part (cm from the ischial spines)?",
        "Centimetres above (-) or below (+) the ischial spines.",
        ("-3", "-2", "-1", "0", "+1", "+2", "+3"),
        {
            "high": ("-3", "-2"),
            "spines": ("0",),
            "low": ("+2", "+3"),
            "1": ("+1",),
            "2": ("+2",),
            "3": ("+3",),
        },
    ),
    Item(
        "presentation",
        Step.CONCLUSION,
        "What presents, all grips taken together?",
        "The conclusion of the hands, where only that was written down.",
        ("head", "breech", "across", "oblique"),
        {
            "cephalic": ("head",),
            "vertex": ("head",),
            "transverse": ("across",),
            "shoulder": ("across", "oblique"),
            "not a head": ("breech", "across", "oblique"),
            "non-cephalic": ("breech", "across", "oblique"),
        },
    ),
    Item(
        "position",
        Step.CONCLUSION,
        "In which position does the back lie, all grips taken together?",
        "The conclusion of the hands, where only that was written down: LOA, ROT, LSA...",
        (*DIRECTIONS, "across"),
        _towards(),
    ),
    Item(
        "scan",
        Step.SCAN,
        "What presents on the scan?",
        "Ultrasound of the presenting part.",
        ("head", "breech", "across", "oblique"),
        {
            "cephalic": ("head",),
            "vertex": ("head",),
            "transverse": ("across",),
            "not a head": ("breech", "across", "oblique"),
        },
    ),
    Item(
        "scan-back",
        Step.SCAN,
        "Towards where does the back look on the scan?",
        "Ultrasound of the spine, across the abdomen.",
        (*DIRECTIONS, "across"),
        _towards(),
    ),
)


def heard_zones(answer: str) -> tuple[str, ...]:
    """The listening places an answer of the heart names; none where it tells of no place.

    "unclear" covers every place and "not heard" none: neither says where.
    """
    covered = items()["heart"].covered(answer)
    zones = tuple(HEART_ZONES[i] for i in covered if i < len(HEART_ZONES))
    return zones if len(zones) < len(HEART_ZONES) else ()


@cache
def items() -> Mapping[str, Item]:
    """All items by name, in the order of the examination."""
    return {item.name: item for item in _ITEMS}


_DENOMINATORS = {"O": ("head", 0), "S": ("breech", 0), "M": ("head", 4), "FR": ("head", 4)}


def _letters(answer: str) -> tuple[str, str] | None:
    """LOA and its kin: what presents and where the back looks, or None."""
    matched = re.fullmatch(r"([LR]?)(O|S|M|FR)([ATP])", answer.upper())
    if matched is None:
        return None
    side, denominator, front = matched.groups()
    if side == "" and front == "T":
        return None
    lateral = {"A": 1, "T": 2, "P": 3}[front]
    index = {"A": 0, "P": 4}[front] if not side else lateral if side == "L" else 8 - lateral
    presents, turn = _DENOMINATORS[denominator]
    return presents, DIRECTIONS[(index + turn) % 8]


def _plain(text: str) -> str:
    return " ".join(text.strip().lower().replace("_", " ").split())


def _did_you_mean(word: str, choices: Iterable[str]) -> str:
    known = list(choices)
    close = get_close_matches(word, known, n=3, cutoff=0.6)
    if close:
        return f"Did you mean {' or '.join(close)}?"
    return f"Choose one of: {', '.join(known)}."


def item_named(name: str) -> Item:
    """The item of a name. Raises ExaminationError, with suggestions, for other words."""
    plain = _plain(name).replace(" ", "-")
    found = items().get(plain)
    if found is None:
        raise ExaminationError(
            f"'{name}' is nothing that can be examined.",
            where="finding",
            remedy=_did_you_mean(plain, items()),
        )
    return found


def finding(item: str, answer: str) -> Finding | None:
    """A finding from words; None where the answer says it was not examined.

    Hyphens, underscores and capitals do not matter. Raises ExaminationError, with suggestions,
    for a word that is not known.
    """
    known = item_named(item)
    plain = _plain(answer)
    if plain in NOT_EXAMINED or plain.replace("-", " ") in NOT_EXAMINED:
        return None
    for candidate in (plain, plain.replace("-", " "), plain.replace("-", " ").replace("the ", "")):
        if candidate in known.answers:
            return Finding(known.name, candidate)
    if known.name == "position":
        letters = _letters(plain)
        if letters is not None:
            return Finding(known.name, letters[1])
    known.covered(plain)
    return Finding(known.name, plain)


def findings_from(
    given: Mapping[str, str] | Iterable[tuple[str, str]] | Iterable[Finding],
) -> tuple[Finding, ...]:
    """Findings in the order of the examination, the letters of a position telling what presents.

    Raises ExaminationError for unknown words and for one item with two different answers.
    """
    pairs: list[tuple[str, str]] = []
    if isinstance(given, Mapping):
        pairs = [(str(k), str(v)) for k, v in given.items()]
    else:
        for entry in given:
            pairs.append(
                (entry.item, entry.answer) if isinstance(entry, Finding) else (entry[0], entry[1])
            )
    made: dict[str, Finding] = {}
    for item, answer in pairs:
        one = finding(item, answer)
        if one is None:
            continue
        before = made.get(one.item)
        if before is not None and before != one:
            raise ExaminationError(
                f"two answers, '{before.answer}' and '{one.answer}'.",
                where=one.item,
                remedy="Give one, or 'unclear'.",
            )
        made[one.item] = one
        if one.item == "position" and "presentation" not in made:
            letters = _letters(_plain(answer))
            told = any(item_named(other).name == "presentation" for other, _ in pairs)
            if letters is not None and not told:
                made["presentation"] = Finding("presentation", letters[0])
    return tuple(made[name] for name in items() if name in made)
