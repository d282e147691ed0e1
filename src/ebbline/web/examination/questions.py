"""The examination asked through with one gloved hand: one question a screen, one touch each.

What is known of the pregnancy comes first, then the grips in their order, then the ear. A choice
may answer two items that the same hand tells at once (what lies at the brim, and whether it moves).
Choices with a place are laid out as the abdomen is seen: her right on the left of the screen.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from ebbline.bedside.findings_catalogue import HEART_NOT_HEARD, HEART_ZONES, UNCLEAR, items


@dataclass(frozen=True, slots=True)
class Choice:
    """One button. sets: field to value, of the form of what is known or of the findings."""

    words: str
    sets: dict[str, str]
    said: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """One screen.

    form: "known" or "findings". columns: of the grid of buttons. only_after: asked only when one
    of these findings was answered so. skip: the word for leaving it out.
    """

    id: str
    form: str
    title: str
    how: str
    columns: int
    choices: tuple[Choice, ...]
    only_after: tuple[tuple[str, str], ...] = ()
    skip: str = "Not examined"
    typed: str = ""


def _known(name: str, title: str, choices: tuple[tuple[str, str], ...], columns: int) -> Question:
    return Question(
        name,
        "known",
        title,
        "",
        columns,
        tuple(Choice(words, {name: value}) for words, value in choices),
        skip="Not known",
        typed="weeks" if name == "weeks" else "",
    )


def _item(name: str, rows: tuple[tuple[str, str], ...], columns: int, **more: str) -> Question:
    item = items()[name]
    return Question(
        name,
        "findings",
        more.get("title", item.question),
        item.how,
        columns,
        tuple(Choice(words, {name: value}) for words, value in rows),
    )


_CANNOT = ("cannot tell", UNCLEAR)


def _heart() -> Question:
    """Fifteen places as they lie, then not heard."""
    short = {"right flank": "flank", "right": "right", "midline": "mid", "left": "left"}
    made = []
    for height in ("above", "level", "below"):
        for side in ("right flank", "right", "midline", "left", "left flank"):
            zone = f"{side} {height}"
            words = f"{short.get(side, 'flank')} {height}"
            made.append(Choice(words, {"heart": zone}, zone))
    made.append(Choice("not heard", {"heart": HEART_NOT_HEARD}))
    item = items()["heart"]
    return Question("heart", "findings", item.question, item.how, 5, tuple(made))


@cache
def questions() -> tuple[Question, ...]:
    """All questions in the order they are asked."""
    assert len(HEART_ZONES) == 15
    brim = tuple(
        Choice(f"{part}, {how}", {"brim": part, "mobility": how})
        for part in ("head", "breech")
        for how in ("mobile", "dipping", "fixed")
    )
    return (
        _known("weeks", "How many weeks?", tuple((str(n), str(n)) for n in range(37, 43)), 3),
        _known(
            "stage",
            "In labour?",
            (("not in labour", "antepartum"), ("first stage", "first"), ("second stage", "second")),
            1,
        ),
        _known("membranes", "The membranes?", (("intact", "intact"), ("ruptured", "ruptured")), 1),
        _known(
            "placenta",
            "The placenta, by scan?",
            (("not low", "not low"), ("low", "low"), ("praevia", "praevia")),
            1,
        ),
        _known("bleeding", "Is she bleeding?", (("no", "false"), ("yes", "true")), 1),
        _item(
            "fundus",
            (
                ("head: hard, round, moves on its own", "head"),
                ("breech: softer, broader", "breech"),
                ("nothing there", "nothing"),
                _CANNOT,
            ),
            1,
        ),
        _item(
            "back",
            (
                ("right, to the front", "right front"),
                ("in the middle", "front"),
                ("left, to the front", "left front"),
                ("right flank", "right flank"),
                ("lies across", "across"),
                ("left flank", "left flank"),
                ("far to the right", "right far"),
                ("not felt", "not felt"),
                ("far to the left", "left far"),
            ),
            3,
            title="Where is the back?",
        ),
        _item(
            "limbs",
            (
                ("right", "right"),
                ("both sides", "both sides"),
                ("left", "left"),
                ("across", "across"),
                ("not felt", "not felt"),
                _CANNOT,
            ),
            3,
        ),
        Question(
            "brim",
            "findings",
            "What lies above the symphysis, and does it move?",
            items()["brim"].how,
            3,
            (
                *brim,
                Choice("nothing there", {"brim": "nothing"}),
                Choice("cannot tell", {"brim": UNCLEAR, "mobility": UNCLEAR}),
            ),
        ),
        Question(
            "poles",
            "findings",
            items()["poles"].question,
            items()["poles"].how,
            2,
            tuple(
                Choice(words, {"poles": value})
                for words, value in (
                    ("head, right flank", "head right flank"),
                    ("head, left flank", "head left flank"),
                    ("head, right fossa", "head right fossa"),
                    ("head, left fossa", "head left fossa"),
                    ("head, upper right", "head upper right"),
                    ("head, upper left", "head upper left"),
                    ("none", "none"),
                    _CANNOT,
                )
            ),
            only_after=(("fundus", "nothing"), ("brim", "nothing")),
        ),
        _item("fifths", tuple((f"{n}/5", str(n)) for n in range(5, -1, -1)), 3),
        _item(
            "prominence",
            (
                ("right", "right"),
                ("both alike", "both alike"),
                ("left", "left"),
                ("not felt", "not felt"),
                _CANNOT,
            ),
            3,
        ),
        _heart(),
    )
