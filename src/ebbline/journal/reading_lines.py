"""The four lines of a reading, as the record keeps them with a review or a handover."""

from __future__ import annotations

from dataclasses import dataclass

from ebbline.reading.model import FetalReading, Reading
from ebbline.reading.text import Clock, number, share


@dataclass(frozen=True, slots=True)
class FourLines:
    """Of one fetus: the class and what decides it; right now; what is new; what was not seen."""

    fetus: int
    decided: str
    now: str
    new: str
    unseen: str

    def texts(self) -> tuple[str, str, str, str]:
        """The lines in their order."""
        return self.decided, self.now, self.new, self.unseen


def four_lines(reading: Reading) -> tuple[FourLines, ...]:
    """The four lines of each fetus; with several, each line says whose it is."""
    clock = Clock.of(reading)
    return tuple(_of(one, clock, len(reading.fetuses) > 1) for one in reading.fetuses)


def _of(fetal: FetalReading, clock: Clock, several: bool) -> FourLines:
    whose = f"Fetus {fetal.fetus}: " if several else ""
    return FourLines(
        fetal.fetus,
        whose + _decided(fetal, clock),
        whose + _now(fetal, clock),
        whose + _new(fetal),
        whose + _unseen(fetal),
    )


def _decided(fetal: FetalReading, clock: Clock) -> str:
    said = []
    for one in fetal.classes:
        deciding = [r.text.rstrip(".") for r in one.reasons if r.rule in one.decided_by]
        why = one.refusal or deciding[:2]
        said.append(f"{one.edition}: {one.label}" + (f" ({'; '.join(why)})" if why else ""))
    return (
        f"Class, {clock.stretch(fetal.review.window)}: {'. '.join(said) or 'none was asked for'}."
    )


def _now(fetal: FetalReading, clock: Clock) -> str:
    columns = fetal.review.columns
    if not columns:
        return "Right now: nothing was measured."
    last = columns[-1]
    return (
        f"Right now ({clock.stretch(last.window)}): baseline {number(last.baseline_bpm, 'bpm')}, "
        f"variability {last.variability.value}, decelerations {last.decelerations}, "
        f"{share(last.valid_share)} of the signal valid."
    )


def _new(fetal: FetalReading) -> str:
    columns = fetal.review.columns
    change = columns[-1].change if columns else ("not compared: nothing was measured",)
    return "New against the hour before: " + ("; ".join(change) or "nothing that is counted") + "."


def _unseen(fetal: FetalReading) -> str:
    unseen = fetal.review.not_assessed
    return "Could not be seen: " + ("; ".join(unseen) or "nothing that was looked for") + "."
