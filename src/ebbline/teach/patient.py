"""From a case to the virtual labour behind it: variants by seed, and the scenario."""

from __future__ import annotations

import zlib
from dataclasses import fields, replace
from functools import cache
from typing import Any

import numpy as np

from ebbline.errors import ScenarioError
from ebbline.synth.scenario import Scenario
from ebbline.synth.scenario_parts import BaselineShift, Behaviour, ProlongedFall, Spell
from ebbline.teach import anatomy
from ebbline.teach.case import Case, Fetus, Labour, Sign
from ebbline.terms import Position, Stage

AS_WRITTEN = 0
"""The seed of the case as its author wrote it; every other seed is a variant."""

LARGEST_NUMBER = 1e6
LONGEST_CAUSE = 200
"""Beyond any knob's own bounds, which the scenario checks; and signs of a cause (ours)."""

LARGEST_SEED = 2**31 - 1

MORE_BASELINE_BPM = 6
"""How far a variant may move a baseline that stays inside 115 to 155 bpm."""

_OURS = (
    "weeks", "stage", "oxytocin", "epidural", "pushing", "hours", "rate_hz", "words",
    "heart_sensor", "activity_sensor", "heart_at", "ultrasound_at", "fundus_at", "toco_at",
    "heart_depth_cm", "abdominal_wall_cm", "maternal_pulse", "second_stage_start_min",
    "maternal_bpm", "fever",
)  # fmt: skip
"""Knobs that follow from mother, fetus and the learner, and so are not a case's to set."""

_NESTED = {
    "baseline_shifts": BaselineShift,
    "prolonged": ProlongedFall,
    "sinusoidal": Spell,
    "pseudo_sinusoidal": Spell,
}
_KNOBS = tuple(field.name for field in fields(Scenario) if field.name not in _OURS)

_MIRRORED_SIDE = {"left": "right", "right": "left"}


def mirrored(position: Position) -> Position:
    """The position with the mother's left and right exchanged."""
    side, _, rest = position.value.partition(" ")
    if side not in _MIRRORED_SIDE:
        return position
    return Position(f"{_MIRRORED_SIDE[side]} {rest}")


def _mirrored_fetus(fetus: Fetus) -> Fetus:
    return fetus.model_copy(update={"position": mirrored(fetus.position)})


def drawn_seed(case: Case, seed: int) -> int:
    """A seed of the labour from a number; `variants` says which number a variant takes."""
    return (zlib.crc32(case.id.encode()) + 7919 * seed) % LARGEST_SEED


def check_seed(seed: int) -> int:
    """The seed. Raises ScenarioError for one out of range."""
    if not 0 <= seed <= LARGEST_SEED:
        raise ScenarioError(
            f"{seed} cannot name a variant.", where="variant", remedy=f"Give 0 to {LARGEST_SEED}."
        )
    return seed


def variant(case: Case, seed: int) -> Case:
    """The case as this seed plays it: perhaps mirrored, the baseline moved where that is free.

    What is taught does not change: sides are exchanged together in truth and story, and a
    baseline moves only inside 115 to 155 bpm. Events fall elsewhere, because the labour's own
    seed differs (`variants`).
    """
    check_seed(seed)
    if seed == AS_WRITTEN or case.recorded is not None:
        return _told(case, mirror=False)
    chance = np.random.default_rng([zlib.crc32(case.id.encode()), seed])
    mirror = bool(chance.integers(0, 2))
    move = int(chance.integers(-MORE_BASELINE_BPM, MORE_BASELINE_BPM + 1))
    update: dict[str, Any] = {}
    if mirror and case.fetus is not None:
        update["fetus"] = _mirrored_fetus(case.fetus)
    if case.labour is not None:
        turns = case.labour.turns
        if mirror:
            turns = tuple(
                turn.model_copy(update={"fetus": turn.fetus and _mirrored_fetus(turn.fetus)})
                for turn in turns
            )
        knobs = dict(case.labour.knobs)
        baseline = knobs.get("baseline_bpm")
        free = not any(key in knobs for key in ("baseline_shifts",)) and not any(
            "baseline_bpm" in turn.labour for turn in turns
        )
        if baseline is not None and free and 115 <= baseline + move <= 155 >= baseline >= 115:
            knobs["baseline_bpm"] = baseline + move
        update["labour"] = case.labour.model_copy(update={"turns": turns, "knobs": knobs})
    return _told(case.model_copy(update=update), mirror=mirror)


def _told(case: Case, *, mirror: bool) -> Case:
    """The story with {left} and {right} filled in."""
    sides = {side: (_MIRRORED_SIDE[side] if mirror else side) for side in _MIRRORED_SIDE}

    def fill(text: str) -> str:
        for side, word in sides.items():
            text = text.replace("{" + side + "}", word)
        return text

    story = case.story.model_copy(
        update={name: fill(getattr(case.story, name)) for name in ("who", "scene", "task")}
    )
    update: dict[str, Any] = {"story": story, "afterword": fill(case.afterword)}
    if case.labour is not None:
        turns = tuple(t.model_copy(update={"say": fill(t.say)}) for t in case.labour.turns)
        update["labour"] = case.labour.model_copy(update={"turns": turns})
    return case.model_copy(update=update)


def scenario(case: Case) -> Scenario:
    """The labour of a (varied) case with both sensors well placed. Raises ScenarioError."""
    labour = _labour(case)
    body = anatomy.body(case)
    heart = anatomy.heart_site(case, case.fetus)
    base = Scenario.from_words(labour.words) if labour.words else Scenario()
    known: dict[str, Any] = {
        "weeks": case.mother.weeks,
        "stage": labour.stage,
        "oxytocin": labour.oxytocin,
        "epidural": labour.epidural,
        "pushing": labour.pushing,
        "fever": Sign.FEVER in case.signs,
        "maternal_bpm": case.mother.pulse_bpm,
        "heart_at": heart.at,
        "ultrasound_at": heart.at,
        "heart_depth_cm": heart.depth_cm,
        "abdominal_wall_cm": body.wall_cm,
        "fundus_at": body.fundus,
        "toco_at": body.fundus,
    }
    return changed(replace(base, **known), labour.knobs, where=f"{case.id}: labour.knobs")


def calm(scenario: Scenario, minutes_since_planned: float) -> Scenario:
    """The same labour with nothing planned any more, at the level of baseline it has by now.

    What a labour has planned already stays planned; this is the ground for a change of course.
    """
    level = scenario.baseline_bpm
    for shift in scenario.baseline_shifts:
        if shift.at_min <= minutes_since_planned:
            level = shift.to_bpm
    return replace(
        scenario,
        baseline_bpm=level,
        baseline_shifts=(),
        prolonged=(),
        sinusoidal=(),
        pseudo_sinusoidal=(),
        opioid_at_min=None,
    )


def changed(scenario: Scenario, knobs: dict[str, Any], *, where: str) -> Scenario:
    """The labour with other knobs. Raises ScenarioError, with the place, for what cannot be."""
    made = checked_knobs(knobs, where=where)
    try:
        return replace(scenario, **made)
    except ScenarioError as error:
        raise ScenarioError(
            error.what, where=f"{where}.{error.where}", remedy=error.remedy
        ) from None


def checked_knobs(knobs: dict[str, Any], *, where: str) -> dict[str, Any]:
    """Knobs as the Scenario takes them. Raises ScenarioError for names and values unknown."""
    made: dict[str, Any] = {}
    for name, value in knobs.items():
        if name not in _KNOBS:
            raise ScenarioError(
                f"there is no knob {name!r}{_nearest(name)}.",
                where=where,
                remedy="Knobs that follow from mother, fetus and sensors are not set here.",
            )
        made[name] = _knob(name, value, f"{where}.{name}")
    try:
        Scenario(**made)
    except ScenarioError as error:
        raise ScenarioError(
            error.what, where=f"{where}.{error.where}", remedy=error.remedy
        ) from None
    except (TypeError, ValueError) as error:
        raise ScenarioError(f"{error}.", where=where, remedy="Check the values.") from None
    return made


def _knob(name: str, value: Any, where: str) -> Any:
    problem = ScenarioError(
        f"{value!r} does not fit.", where=where, remedy="See docs/teaching.md for its form."
    )
    if name in _NESTED:
        kind = _NESTED[name]
        if not isinstance(value, list):
            raise problem
        try:
            made = tuple(kind(**entry) for entry in value)
        except TypeError:
            raise problem from None
        if not all(_fits(one) for one in made):
            raise problem
        return made
    if name == "behaviour":
        try:
            return Behaviour(value)
        except ValueError:
            raise problem from None
    default = _default(name)
    if isinstance(default, bool):
        if not isinstance(value, bool):
            raise problem
        return value
    if value is None and default is None:
        return None
    if not _is_number(value):
        raise problem
    return float(value)


def _fits(entry: Any) -> bool:
    """True when each field of an entry is of the kind that its type says: a number or a text."""
    return all(
        isinstance(value, str) and len(value) <= LONGEST_CAUSE
        if field.type in (str, "str")
        else _is_number(value)
        for field, value in ((field, getattr(entry, field.name)) for field in fields(entry))
    )


def _is_number(value: Any) -> bool:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return is_number and abs(value) <= LARGEST_NUMBER


@cache
def _defaults() -> Scenario:
    return Scenario()


def _default(name: str) -> Any:
    return getattr(_defaults(), name)


def _nearest(name: str) -> str:
    import difflib

    close = difflib.get_close_matches(name, _KNOBS, n=1)
    return f" (did you mean {close[0]!r}?)" if close else ""


def _labour(case: Case) -> Labour:
    if case.labour is None:
        if case.recorded is not None:
            raise ScenarioError(
                "a recorded case has no labour to run.",
                where=case.id,
                remedy="Read its recording instead.",
            )
        return Labour(stage=Stage.ANTEPARTUM)
    return case.labour


def check(case: Case) -> None:
    """Everything that can be wrong with a case besides its form. Raises ScenarioError."""
    if case.recorded is not None:
        return
    now = scenario(variant(case, AS_WRITTEN))
    for number, turn in enumerate(_labour(case).turns):
        where = f"{case.id}: labour.turns.{number}"
        now = changed(calm(now, 0.0), turn.labour, where=f"{where}.labour")
        if turn.fetus is not None:
            anatomy.state_of(turn.fetus)
