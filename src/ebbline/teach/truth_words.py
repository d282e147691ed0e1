"""What is true of a case, in a few lines, for those who teach with it."""

from __future__ import annotations

from collections import Counter

from ebbline.teach import anatomy
from ebbline.teach.case import AskedStep, Case
from ebbline.teach.electrode_policy import may_be_offered
from ebbline.teach.encounter import Encounter
from ebbline.teach.measures import measure_table
from ebbline.teach.variants import well_monitored
from ebbline.teach.what_was_true import reading_truth


def truth_in_words(case: Case, seed: int) -> list[tuple[str, str]]:
    """Name and words of each truth, up to the reading, with the sensors well placed.

    A recorded case has none here: its truth is the panel's.
    """
    if case.recorded is not None:
        return [("Class", "the median of the experts who read it")]
    encounter = well_monitored(case, seed)
    asks = encounter.case.asks
    told: list[tuple[str, str]] = []
    if AskedStep.HANDS in asks:
        told.append(("Lies", anatomy.state_of(encounter.case.fetus or encounter.fetus).name))
    if AskedStep.STRIP in asks:
        told += _strip(encounter)
    if AskedStep.INTERNAL in asks:
        allowed = may_be_offered(encounter.case, encounter.fetus, frozenset(encounter.signs))
        said = {True: "may be offered", False: "not now"}
        told.append(("Scalp electrode", said[allowed.electrode]))
        told.append(("Pressure catheter", said[allowed.catheter]))
    if AskedStep.MEASURES in asks:
        facts = encounter.facts()
        table = measure_table()
        told.append(("Facts", ", ".join(sorted(facts)) or "none"))
        told.append(("Called for", "; ".join(m.say for m in table.wanted(facts)) or "nothing"))
        told.append(("To be told", table.lowest_call(facts).say))
    return told


def _strip(encounter: Encounter) -> list[tuple[str, str]]:
    strip = reading_truth(encounter)
    counts = Counter(event.kind.value for event in strip.events if not event.borderline)
    standard = encounter.case.standard.value
    return [
        ("Baseline", f"{strip.baseline_bpm:.0f} bpm" if strip.baseline_told else "cannot be told"),
        ("Variability", " or ".join(strip.variability_accepted)),
        ("Events", ", ".join(f"{n} {kind}" for kind, n in counts.items()) or "none"),
        (f"Class by {standard}", " or ".join(strip.accepted_labels[standard])),
    ]
