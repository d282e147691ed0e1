"""Variants keep what they teach: a seed's labour is taken only where its lesson is the written one.

The lesson is the class by the course's standard at the reading, whom it asks to tell, and which
measures it calls for. Of the labours that a seed can draw, the first whose lesson is that of the
case as written is this variant's, for everybody; where none is, events fall as written. The case
as written says itself which draw it is (`Case.draw`).
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass

from ebbline.synth.scenario_parts import Point
from ebbline.teach.case import AskedStep, Case
from ebbline.teach.case_facts import true_label
from ebbline.teach.coverage import kept_promises, shown_in
from ebbline.teach.encounter import LONGEST_WAIT_MIN, Encounter
from ebbline.teach.measures import measure_table
from ebbline.teach.patient import AS_WRITTEN, LARGEST_SEED, drawn_seed
from ebbline.teach.steps import PlaceContractionSensor, PlaceHeartSensor, Wait

MOST_DRAWS, MOST_DRAWS_AS_WRITTEN = 8, 40
STRIDE = 104_729
KEPT, KEPT_LESSONS = 2048, 256


def begin_case(case: Case, seed: int = AS_WRITTEN, *, engine_seed: int | None = None) -> Encounter:
    """An attempt at a variant. engine_seed: of the labour itself; None: the variant's own."""
    own = _engine_seed(case, seed) if engine_seed is None else engine_seed
    return Encounter(case, seed, engine_seed=own)


def well_monitored(
    case: Case, seed: int = AS_WRITTEN, *, engine_seed: int | None = None
) -> Encounter:
    """The case up to its reading, with the sensors laid where they should be and kept there.

    engine_seed: of the labour; None: the variant's own.
    """
    encounter = begin_case(case, seed, engine_seed=engine_seed)
    if AskedStep.SENSORS not in case.asks and AskedStep.AUSCULTATION in case.asks:
        while encounter.minute < case.minutes_before_reading:
            left = case.minutes_before_reading - encounter.minute
            encounter.take(Wait(min(left, LONGEST_WAIT_MIN)))
    if AskedStep.SENSORS in case.asks:
        lay_sensors(encounter)
        while encounter.minute < case.minutes_before_reading:
            site = encounter.site.at
            left = case.minutes_before_reading - encounter.minute
            encounter.take(Wait(min(2.0, left, LONGEST_WAIT_MIN)))
            if encounter.site.at != site:
                lay_sensors(encounter)
    return encounter


def lay_sensors(encounter: Encounter) -> None:
    """Both sensors where they lie well now."""
    heart: Point = encounter.site.at
    belt: Point = encounter.contraction_sites[0]
    encounter.take(PlaceHeartSensor(heart.x_cm, heart.y_cm))
    encounter.take(PlaceContractionSensor(belt.x_cm, belt.y_cm))


def shown_by(
    case: Case, seed: int = AS_WRITTEN, *, engine_seed: int | None = None
) -> frozenset[str]:
    """The terms and ways to lie that a case shows, up to its reading."""
    if case.recorded is not None:
        return frozenset()
    return shown_in(well_monitored(case, seed, engine_seed=engine_seed))


def missing_promises(case: Case) -> tuple[str, ...]:
    """What a case promises and as written does not keep: its story would not fit.

    `ebbline teach check` names another `draw` that keeps them, where there is one.
    """
    return kept_promises(well_monitored(case))[1] if case.promises else ()


@dataclass(frozen=True, slots=True)
class Lesson:
    """What a variant teaches at its reading."""

    label: str
    call: str
    wanted: tuple[str, ...]


def lesson(encounter: Encounter) -> Lesson:
    """What a labour teaches, with the sensors well placed up to the reading."""
    case = encounter.case
    label = call = ""
    wanted: tuple[str, ...] = ()
    if AskedStep.STRIP in case.asks:
        truth = encounter.labour().truth
        label = true_label(truth, encounter.seen(truth), encounter.window, case)
    if AskedStep.MEASURES in case.asks:
        facts, table = encounter.facts(), measure_table()
        wanted = tuple(measure.id for measure in table.wanted(facts))
        call = table.lowest_call(facts).id
    return Lesson(label, call, wanted)


_found: OrderedDict[tuple[str, int], int] = OrderedDict()
_guard = threading.Lock()


def _engine_seed(case: Case, seed: int) -> int:
    """The seed of this variant's labour, worked out once: some 50 ms a draw."""
    if seed == AS_WRITTEN:
        return drawn_seed(case, STRIDE * case.draw % LARGEST_SEED)
    if case.labour is None or not _teaches_by_trace(case):
        return drawn_seed(case, seed)
    key = (case.model_dump_json(), seed)
    with _guard:
        if key in _found:
            return _found[key]
    made = _drawn_alike(case, seed)
    with _guard:
        _found[key] = made
        while len(_found) > KEPT:
            _found.popitem(last=False)
    return made


def _teaches_by_trace(case: Case) -> bool:
    return bool(set(case.asks) & {AskedStep.STRIP, AskedStep.MEASURES})


def _draws(case: Case, seed: int) -> Iterator[int]:
    for draw in range(MOST_DRAWS):
        yield drawn_seed(case, (seed + STRIDE * draw) % LARGEST_SEED)


def draw_that_keeps_promises(case: Case) -> int | None:
    """The first `draw` whose labour shows all that a case promises; None where none does."""
    for draw in range(MOST_DRAWS_AS_WRITTEN):
        if not missing_promises(case.model_copy(update={"draw": draw})):
            return draw
    return None


_lessons: OrderedDict[str, Lesson] = OrderedDict()


def lesson_as_written(case: Case) -> Lesson:
    """What the case as written teaches, worked out once for all its variants."""
    key = case.model_dump_json()
    with _guard:
        if key in _lessons:
            return _lessons[key]
    as_written = _engine_seed(case, AS_WRITTEN)
    made = lesson(well_monitored(case, AS_WRITTEN, engine_seed=as_written))
    with _guard:
        _lessons[key] = made
        while len(_lessons) > KEPT_LESSONS:
            _lessons.popitem(last=False)
    return made


def _drawn_alike(case: Case, seed: int) -> int:
    written = lesson_as_written(case)
    for drawn in _draws(case, seed):
        encounter = well_monitored(case, seed, engine_seed=drawn)
        if lesson(encounter) == written and kept_promises(encounter)[0]:
            return drawn
    return _engine_seed(case, AS_WRITTEN)
