"""What was true of a patient when she was read and decided about."""

from __future__ import annotations

from ebbline.teach.case_facts import strip_truth
from ebbline.teach.measure_facts import Fact
from ebbline.teach.patient_view import PatientView
from ebbline.teach.truth import StripTruth


def reading_truth(patient: PatientView) -> StripTruth:
    """The truth of the window that was (or would have been) read.

    A finished case does not change any more: its score and its debrief ask for one and the same.
    """
    if patient.final_truth is not None:
        return patient.final_truth
    truth = patient.labour().truth
    made = strip_truth(truth, patient.seen(truth), patient.window, patient.case)
    if patient.finished:
        patient.final_truth = made
    return made


def decision_facts(patient: PatientView) -> frozenset[Fact]:
    """Everything that was true when the learner read, chose or told; now, if none was done."""
    moments = [choice.facts for choice in patient.choices]
    moments += [call.facts for call in patient.calls]
    if patient.reading is not None:
        moments.append(patient.reading.facts)
    if not moments:
        return patient.facts()
    facts = frozenset().union(*moments)
    calm = all(Fact.NORMAL_TRACE in moment for moment in moments)
    return facts if calm else facts - {Fact.NORMAL_TRACE}
