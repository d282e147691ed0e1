"""Real recordings as cases: read in place where an open collection lies, never shipped.

The truth of such a case is the panel: the readings that several experts gave of the same window.
Only the class is scored; what Ebbline itself finds on the strip is shown beside it, as that.
"""

from __future__ import annotations

import csv
import math
import os
import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from ebbline.criteria.model import Standard
from ebbline.definitions import HALF_HOUR_S, HOUR_S
from ebbline.errors import ScenarioError
from ebbline.features.findings import VariabilityClass
from ebbline.reading.model import Reading
from ebbline.recording.model import Recording
from ebbline.teach.answers import StripAnswer
from ebbline.teach.case import AskedStep, Case, Recorded, Story
from ebbline.teach.scoring import Score, score_strip
from ebbline.teach.steps import AttemptError, Finish, ReadStrip, Step, checked_answer
from ebbline.teach.truth import StripTruth
from ebbline.terms import Window

COLLECTIONS_VARIABLE = "EBBLINE_COLLECTIONS"
"""Environment variable with the folder that holds the open collections, one folder each."""

CREDIT = {
    "ctu-uhb": (
        "Recording: Chudacek V, et al. Open access intrapartum CTG database. BMC Pregnancy and "
        "Childbirth 2014;14:16, distributed by PhysioNet (ODC-By 1.0). Readings: Hruban L, et al. "
        "Agreement on intrapartum cardiotocogram recordings between expert obstetricians. J Eval "
        "Clin Pract 2015."
    )
}

CLASSES = ("normal", "suspicious", "pathological")
_NOT_GIVEN = -1
LEAST_SECOND_STAGE_S = 300.0


def collections_folder() -> Path | None:
    """Where the open collections lie on this computer, or None."""
    named = os.environ.get(COLLECTIONS_VARIABLE)
    return Path(named) if named else None


@dataclass(frozen=True, slots=True)
class PanelReadings:
    """What the experts said of one window. said: expert -> class, their first reading of it."""

    said: tuple[str, ...]

    @property
    def counts(self) -> dict[str, int]:
        """How many said each class."""
        found = Counter(self.said)
        return {word: found[word] for word in CLASSES}

    @property
    def accepted(self) -> tuple[str, ...]:
        """The median reading; of an even number that falls between two classes, both."""
        ranks = sorted(CLASSES.index(word) for word in self.said)
        low, high = ranks[(len(ranks) - 1) // 2], ranks[len(ranks) // 2]
        return tuple(CLASSES[rank] for rank in sorted({low, high}))

    @property
    def words(self) -> str:
        """As a sentence: "of nine readers, two said normal, ..."."""
        parts = [f"{count} {word}" for word, count in self.counts.items() if count]
        return f"Of {len(self.said)} experts: " + ", ".join(parts) + "."


def collection_of(recorded: Recorded, folder: Path | None = None) -> Path:
    """The collection's folder. Raises ScenarioError where it is not on this computer."""
    base = folder or collections_folder()
    place = base / recorded.collection if base else None
    if place is None or not place.is_dir():
        raise ScenarioError(
            f"the open collection {recorded.collection!r} is not on this computer.",
            where=str(place or COLLECTIONS_VARIABLE),
            remedy=f"Set {COLLECTIONS_VARIABLE} to the folder that holds it.",
        )
    return place


@lru_cache(maxsize=4)
def _annotations(file: Path) -> Mapping[tuple[str, int], tuple[str, ...]]:
    found: dict[tuple[str, int], dict[str, str]] = {}
    with file.open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            for step in (1, 2, 3):
                value = int(row[f"eval_step{step}"])
                if value == _NOT_GIVEN:
                    continue
                own = found.setdefault((row["rec_id"], step), {})
                own.setdefault(row["expert_id"], CLASSES[value - 1])
    return {key: tuple(said.values()) for key, said in found.items()}


def panel_of(recorded: Recorded, folder: Path | None = None) -> PanelReadings:
    """What the experts said of the case's window. Raises ScenarioError where nobody did."""
    file = collection_of(recorded, folder) / "expert_annotations.csv"
    try:
        said = _annotations(file).get((recorded.record, recorded.step), ())
    except (OSError, KeyError, ValueError) as error:
        raise ScenarioError(
            f"the experts' readings cannot be read: {error}.", where=str(file), remedy="Check it."
        ) from None
    if not said:
        raise ScenarioError(
            f"no expert read step {recorded.step} of {recorded.record}.",
            where=str(file),
            remedy="Choose another record or step.",
        )
    return PanelReadings(said)


def window_of(recorded: Recorded, recording: Recording) -> Window:
    """The window the experts read. Raises ScenarioError where the recording does not hold it.

    1: the 30 minutes that begin (at most) 60 minutes before the end of the first stage; 2: the 30
    minutes before the end of the first stage; 3: the second stage, where 5 minutes or more were
    recorded.
    """
    second_s = recording.context.second_stage_start_s
    first_ends_s = recording.duration_s if second_s is None else second_s
    if recorded.step == 3:
        if second_s is None or recording.duration_s - second_s < LEAST_SECOND_STAGE_S:
            raise ScenarioError(
                "no second stage of five minutes or more was recorded.",
                where=recorded.record,
                remedy="Choose step 1 or 2.",
            )
        return Window(second_s, recording.duration_s)
    start_s = max(0.0, first_ends_s - (HOUR_S if recorded.step == 1 else HALF_HOUR_S))
    return Window(start_s, min(first_ends_s, start_s + HALF_HOUR_S))


@lru_cache(maxsize=32)
def recording_of(recorded: Recorded, folder: Path | None = None) -> Recording:
    """The recording itself, read in place. Raises ScenarioError, RecordingError."""
    from ebbline.recording import open_recording

    place = collection_of(recorded, folder)
    return open_recording(place / f"{recorded.record}.hea")


class RecordedEncounter:
    """An attempt at a real recording: it is read, and that is all."""

    def __init__(self, case: Case, seed: int, folder: Path | None = None) -> None:
        if case.recorded is None:
            raise ScenarioError("this case is not a recording.", where=case.id)
        self.case = case
        self.seed = seed
        self.steps: list[Step] = []
        self.answer: StripAnswer | None = None
        self.finished = False
        self._recording = recording_of(case.recorded, folder)
        self.window = window_of(case.recorded, self._recording)
        self.panel = panel_of(case.recorded, folder)

    @property
    def recording(self) -> Recording:
        """The whole recording, under the case's title."""
        return self._recording

    def take(self, step: Step) -> str:
        """Take one step: the reading, or the end. Raises AttemptError for any other."""
        if self.finished:
            raise AttemptError("the case is finished.", remedy="Begin a new attempt.")
        match step:
            case ReadStrip(answer):
                if self.answer is not None:
                    raise AttemptError("the reading has been given.", remedy="Finish the case.")
                self.answer = replace(checked_answer(answer), window=self.window)
                words = "Your reading is kept. It is compared with the experts' at the end."
            case Finish():
                self.finished = True
                words = "The case is finished."
            case _:
                raise AttemptError(
                    "a recorded case is only read.", remedy="Give the reading, then finish."
                )
        self.steps.append(step)
        return words

    @classmethod
    def replay(cls, case: Case, seed: int, steps: Iterable[Step]) -> RecordedEncounter:
        """The encounter after these steps."""
        made = cls(case, seed)
        for step in steps:
            made.take(step)
        return made

    def computed(self) -> Reading:
        """Ebbline's own reading of the window: shown, never scored against."""
        from ebbline.reading.analyse import read

        return read(self._recording, window=self.window, standards=(Standard.FIGO,))

    def truth(self) -> StripTruth:
        """The panel's class; nobody's truth tells numbers and events, so there are none."""
        accepted = self.panel.accepted
        return StripTruth(
            window=self.window,
            baseline_bpm=math.nan,
            variability_accepted=(VariabilityClass.INDETERMINATE,),
            sinusoidal=False,
            tachysystole=None,
            events=(),
            labels={Standard.FIGO.value: accepted[0]},
            accepted_labels={Standard.FIGO.value: accepted},
            source=f"the experts' median. {self.panel.words}",
        )

    def score(self) -> Score:
        """The class against the panel's median."""
        answer = self.answer or StripAnswer(self.window, Standard.FIGO)
        return score_strip(answer, self.truth(), kinds_known=False)


def recorded_case(record: str, step: int, *, difficulty: int = 3) -> Case:
    """A case of one record of the CTU-UHB collection, without a word about its outcome."""
    where = {
        1: "about an hour before the end of the first stage",
        2: "at the end of the first stage",
        3: "in the second stage",
    }
    if step not in where:
        raise ScenarioError("steps are 1, 2 and 3.", where="step", remedy="Choose one of them.")
    return Case.model_validate(
        {
            "ebbline_case": 1,
            "id": f"recorded-{record}-{step}",
            "title": f"A real recording, {record}, {where[step]}",
            "difficulty": difficulty,
            "story": Story(
                who="A real labour, recorded years ago; nothing else is told.",
                scene=f"The window was recorded {where[step]}. Several experts read it.",
                task="Read it by FIGO, and see how the experts' readings split.",
            ).model_dump(),
            "mother": {"weeks": 40},
            "recorded": {"collection": "ctu-uhb", "record": record, "step": step},
            "asks": [AskedStep.STRIP.value],
            "standard": Standard.FIGO.value,
            "minutes_after": 0,
            "aims": ["Experts differ: the median is no truth, only the middle of what they said"],
            "afterword": CREDIT["ctu-uhb"]
            + " The experts read by the FIGO criteria of before 2015.",
        }
    )


OFFERED = (
    ("1067", 1, 2), ("1129", 1, 2), ("1143", 2, 2), ("1155", 2, 2), ("1203", 3, 2),
    ("1057", 1, 3), ("1359", 1, 3), ("1139", 2, 3), ("1249", 2, 3), ("1155", 3, 3),
    ("1041", 1, 4), ("1101", 2, 4), ("1505", 3, 4),
    ("1065", 1, 5), ("1063", 2, 5), ("1055", 3, 5),
)  # fmt: skip
"""Record, step and difficulty (how far the experts differed: 2 hardly, 5 most) of the recordings
that are offered where the collection is; any other can be asked for by its id."""

_ID = re.compile(r"^recorded-(\d{4})-([123])$")


def offered() -> dict[str, Case]:
    """The recorded cases on this computer by id; none where the collection is not here."""
    base = collections_folder()
    if base is None or not (base / "ctu-uhb").is_dir():
        return {}
    cases = [recorded_case(record, step, difficulty=hard) for record, step, hard in OFFERED]
    return {case.id: case for case in cases}


def recorded_by_id(name: str) -> Case | None:
    """The case of an id such as recorded-1001-2; None for any other name."""
    found = _ID.match(name)
    if found is None:
        return None
    return offered().get(name) or recorded_case(found[1], int(found[2]))
