"""A case from the fields of a few sentences, for a teacher who would rather not write YAML."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from ebbline.criteria.model import Standard
from ebbline.errors import ScenarioError
from ebbline.teach.case import (
    AskedStep,
    Case,
    Fluid,
    Placenta,
    Sign,
    Wall,
    case_from_data,
    case_to_yaml,
)
from ebbline.terms import Attitude, Lie, Position, Presentation, Stage

WORDS: dict[str, list[str]] = {
    "walls": [one.value for one in Wall],
    "fluids": [one.value for one in Fluid],
    "placentas": [one.value for one in Placenta],
    "lies": [one.value for one in Lie],
    "presentations": [one.value for one in Presentation],
    "positions": [one.value for one in Position],
    "attitudes": [one.value for one in Attitude],
    "stages": [one.value for one in Stage if one is not Stage.UNKNOWN],
    "asks": [one.value for one in AskedStep],
    "standards": [one.value for one in Standard],
    "signs": [one.value for one in Sign],
}
"""The words each gap of the sentences can hold."""


def slug(title: str) -> str:
    """An id from a title: small letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:60]


def compose(given: Mapping[str, str], asks: Sequence[str]) -> str:
    """The YAML of a case from the gaps of the sentences. Raises ScenarioError.

    given: title, difficulty, who, scene, task, weeks, parity, wall, fluid, placenta, membranes,
    cervix, lie, presentation, position, attitude, fifths, lower_pole, stage, oxytocin, epidural,
    pushing, words, sign, standard, minutes. asks: what the learner is asked.
    """
    title = given.get("title", "").strip()
    data: dict[str, Any] = {
        "ebbline_case": 1,
        "id": slug(title),
        "title": title,
        "difficulty": _whole(given, "difficulty", 3),
        "story": {name: given.get(name, "").strip() for name in ("who", "scene", "task")},
        "mother": {
            "weeks": _number(given, "weeks", 39.0),
            "parity": _whole(given, "parity", 0),
            "abdominal_wall": given.get("wall", Wall.AVERAGE.value),
            "fluid": given.get("fluid", Fluid.NORMAL.value),
            "placenta": given.get("placenta", Placenta.POSTERIOR.value),
            "membranes_ruptured": given.get("membranes") == "ruptured",
        },
        "fetus": {
            "lie": given.get("lie", Lie.LONGITUDINAL.value),
            "presentation": given.get("presentation", Presentation.VERTEX.value),
            "position": given.get("position", Position.LEFT_ANTERIOR.value),
            "fifths": _whole(given, "fifths", 4),
        },
        "labour": {
            "words": given.get("words", "").strip(),
            "stage": given.get("stage", Stage.FIRST.value),
            "oxytocin": "oxytocin" in given,
            "epidural": "epidural" in given,
            "pushing": "pushing" in given,
        },
        "asks": list(asks),
        "standard": given.get("standard", Standard.NICHD.value),
        "minutes_before_reading": _whole(given, "minutes", 30),
    }
    if given.get("cervix", "").strip():
        data["mother"]["cervix_cm"] = _number(given, "cervix", 0.0)
    if given.get("attitude"):
        data["fetus"]["attitude"] = given["attitude"]
    if given.get("lower_pole"):
        data["fetus"]["lower_pole"] = given["lower_pole"]
    if given.get("sign"):
        data["signs"] = [given["sign"]]
    case: Case = case_from_data(data, where="the sentences")
    return case_to_yaml(case)


def _number(given: Mapping[str, str], name: str, otherwise: float) -> float:
    text = given.get(name, "").strip().replace(",", ".")
    if not text:
        return otherwise
    try:
        return float(text)
    except ValueError:
        raise ScenarioError(f"{text!r} is not a number.", where=name) from None


def _whole(given: Mapping[str, str], name: str, otherwise: int) -> int:
    value = _number(given, name, float(otherwise))
    if value != int(value):
        raise ScenarioError(f"{value:g} is not a whole number.", where=name)
    return int(value)
