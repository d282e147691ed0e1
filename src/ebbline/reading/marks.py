"""The findings of a reading as annotations of its recording, for programs that show those."""

from __future__ import annotations

from collections.abc import Iterator

from ebbline.features.findings import FetalFindings, Findings
from ebbline.reading.model import Reading
from ebbline.recording.model import Annotation


def annotations_of(reading: Reading) -> tuple[Annotation, ...]:
    """Events of a whole recording in order of time, each with the word of its kind and its size.

    Contractions, accelerations, decelerations, sinusoidal episodes, changes of baseline and
    stretches suspected as artefact. Of twins each is told with the number of the fetus.
    """
    made: list[Annotation] = []
    for fetus in reading.fetuses:
        of = f" of fetus {fetus.fetus}" if len(reading.fetuses) > 1 else ""
        made += _fetal(fetus.findings.fetal, of)
        if fetus is reading.fetuses[0]:
            made += _uterine(fetus.findings)
    return tuple(sorted(made, key=lambda a: (a.time_s, a.duration_s, a.text)))


def _uterine(findings: Findings) -> Iterator[Annotation]:
    for one in findings.uterine.contractions:
        yield _stretch(one.onset_s, one.end_s, "contraction")


def _fetal(fetus: FetalFindings, of: str) -> Iterator[Annotation]:
    for rise in fetus.accelerations:
        word = "prolonged acceleration" if rise.prolonged else "acceleration"
        yield _stretch(rise.onset_s, rise.end_s, f"{word}{of}, {rise.height_bpm:.0f} bpm")
    for fall in fetus.decelerations:
        words = f"{fall.kind} deceleration{of}, {fall.depth_bpm:.0f} bpm"
        if not fall.recovered:
            words += ", not recovered at the end"
        yield _stretch(fall.onset_s, fall.end_s, words)
    for wave in fetus.sinusoidal:
        word = "pseudo-sinusoidal pattern" if wave.pseudo else "sinusoidal pattern"
        yield _stretch(wave.start_s, wave.end_s, f"{word}{of}")
    for change in fetus.baseline_changes:
        words = f"baseline{of} from {change.from_bpm:.0f} to {change.to_bpm:.0f} bpm"
        yield Annotation(float(change.at_s), 0.0, words)
    for lost in fetus.artefacts:
        yield _stretch(lost.start_s, lost.end_s, f"{lost.kind}{of}, suspected")


def _stretch(start_s: float, end_s: float, text: str) -> Annotation:
    return Annotation(float(start_s), max(0.0, float(end_s - start_s)), text)
