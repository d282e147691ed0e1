"""A case played in words, for a terminal: one command a line."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Callable, Sequence
from enum import StrEnum
from typing import TypeVar

import numpy as np

from ebbline import codec
from ebbline.errors import EbblineError
from ebbline.features.findings import VariabilityClass
from ebbline.recording.model import ChannelKind, Recording
from ebbline.teach.answers import (
    AuscultationAnswer,
    ExaminationAnswer,
    InternalAnswer,
    Mark,
    MarkKind,
    StripAnswer,
    TwinsAnswer,
)
from ebbline.teach.case import Case
from ebbline.teach.encounter import Encounter, told_birth
from ebbline.teach.handover import statements
from ebbline.teach.measures import measure_table
from ebbline.teach.notes import notes_of
from ebbline.teach.real_cases import RecordedEncounter
from ebbline.teach.scoring import Score
from ebbline.teach.sensations import GRIPS_HERE, Grip, Zone
from ebbline.teach.standards import classes_of
from ebbline.teach.steps import (
    Auscultate,
    Choose,
    Conclude,
    ConcludeAuscultation,
    ConcludeTwins,
    DecideInternal,
    Feel,
    Finish,
    HandOver,
    Hint,
    Listen,
    PlaceContractionSensor,
    PlaceHeartSensor,
    ReadStrip,
    Recognise,
    Step,
    Tell,
    Wait,
    checked_listening,
    step_to_data,
)
from ebbline.teach.threats import threat_table
from ebbline.teach.variants import begin_case
from ebbline.terms import Attitude, Lie, Position, Presentation, Window

Word = TypeVar("Word", bound=StrEnum)

HELP = """\
story                 the story and the notes again
look, ask             look along the abdomen; ask where the kicks are
feel GRIP [ZONE]      GRIP 1 to 4; grip 2 needs a zone: left flank, right flank, around the
                      umbilicus, left iliac fossa, right iliac fossa
lies                  say how the baby lies
listen X Y            listen X cm to her left (minus: right), Y cm above the umbilicus
heart X Y, belt X Y   lay the heart sensor, the contraction sensor
wait N                let the labour go on for N minutes
internal              decide on internal sensors
strip                 draw the strip so far
read                  give the reading
do, do N              list the measures; choose one
tell, tell N          list whom to tell; tell one
name, name N          list the dangers; say aloud which this is
hear S                listen for S seconds to the beats to come, without counting
count S N             listen for S seconds and count N beats
heard                 say what you heard at intervals, and what follows
twins                 say how the upper twin lies, and the two rates
over                  hand over: choose what you say
hint PART             a hint about hands, sensors, strip ...; it costs a fifth of its points
sure ITEM PERCENT     how sure you are of what you say next, such as: sure presentation 80
finish                end the case, and see the debrief"""

_GRIPS = {"1": Grip.FIRST, "2": Grip.SECOND, "3": Grip.THIRD, "4": Grip.FOURTH}
_ROWS_BPM = tuple(range(200, 50, -10))
_COLUMN_S = 10.0
_COLUMNS = 60


class Player:
    """Plays one case. say: shows a line; ask: shows a prompt and gives the answer."""

    def __init__(
        self, case: Case, seed: int, say: Callable[[str], object], ask: Callable[[str], str]
    ) -> None:
        self._say, self._ask = say, ask
        self._encounter: Encounter | RecordedEncounter = (
            RecordedEncounter(case, seed) if case.recorded else begin_case(case, seed)
        )
        self._score: Score | None = None
        self._sure: dict[str, float] = {}

    def run(self) -> None:
        """The whole case, from the story to the debrief."""
        self._story()
        self._say("\nWrite ? for what you can do.")
        while not self._encounter.finished:
            line = self._ask("What do you do").strip().lower()
            try:
                self._obey(line)
            except EbblineError as error:
                self._say(str(error))
        self._debrief()

    def record(self) -> str:
        """Steps and score as JSON."""
        data = {
            "case": self._encounter.case.id,
            "variant": self._encounter.seed,
            "steps": [step_to_data(step) for step in self._encounter.steps],
            "score": codec.to_data(self._score),
        }
        return json.dumps(data, ensure_ascii=False, indent=1) + "\n"

    # --- commands --------------------------------------------------------------------------

    def _obey(self, line: str) -> None:
        word, _, rest = line.partition(" ")
        match word:
            case "" | "?" | "help":
                self._say(HELP)
            case "story":
                self._story()
            case "look":
                self._take(Feel(Grip.LOOK, Zone.FUNDUS))
            case "ask":
                self._take(Feel(Grip.ASK, Zone.FUNDUS))
            case "feel":
                self._feel(rest)
            case "lies":
                self._conclude()
            case "listen" | "heart" | "belt":
                self._at_place(word, rest)
            case "wait":
                self._take(Wait(_number(rest)))
            case "internal":
                answer = InternalAnswer(
                    self._yes_no("May a scalp electrode be offered"),
                    self._yes_no("May a pressure catheter be offered"),
                )
                self._take(DecideInternal(answer))
            case "strip":
                self._strip()
            case "name":
                kinds = [(one.id, one.say) for one in threat_table().values()]
                self._listed(rest, kinds, Recognise)
            case "hear":
                self._hear(_number(rest))
            case "count":
                self._count(rest)
            case "heard":
                self._heard()
            case "twins":
                self._twins()
            case "over":
                self._hand_over()
            case "hint":
                self._take(Hint(rest.strip()))
            case "sure":
                item, _, percent = rest.rpartition(" ")
                self._sure[item.strip()] = _number(percent.rstrip("%")) / 100
                self._say(f"Kept for your next answer: {item.strip()}.")
            case "read":
                self._read()
            case "do":
                self._listed(rest, [(m.id, m.say) for m in measure_table().measures], Choose)
            case "tell":
                self._listed(rest, [(p.id, p.say) for p in measure_table().people], Tell)
            case "finish":
                self._take(Finish())
            case _:
                self._say(f"{word!r} is nothing that can be done here; write ? for the list.")

    def _take(self, step: Step) -> None:
        outcome = self._encounter.take(step)
        text = outcome if isinstance(outcome, str) else outcome.text
        self._say(textwrap.fill(text, 96))
        if not isinstance(outcome, str):
            for words in getattr(outcome, "guidance", ()):
                self._say(f"  {words}")

    def _confidence(self) -> tuple[tuple[str, float], ...]:
        told, self._sure = tuple(self._sure.items()), {}
        return told

    def _feel(self, rest: str) -> None:
        number, _, place = rest.partition(" ")
        grip = _GRIPS.get(number)
        if grip is None:
            self._say("Name a grip, 1 to 4, such as: feel 2 left flank")
            return
        zones = GRIPS_HERE[grip]
        if not place and len(zones) == 1:
            self._take(Feel(grip, zones[0]))
        elif place in {zone.value for zone in Zone}:
            self._take(Feel(grip, Zone(place)))
        else:
            self._say("Where? " + ", ".join(zones))

    def _at_place(self, word: str, rest: str) -> None:
        parts = rest.replace(",", " ").split()
        if len(parts) != 2:
            self._say(f"Give two numbers, such as: {word} 6 -7")
            return
        x, y = (_number(part) for part in parts)
        match word:
            case "heart":
                self._take(PlaceHeartSensor(x, y))
            case "belt":
                self._take(PlaceContractionSensor(x, y))
            case _:
                self._take(Listen(x, y))

    def _listed(
        self, rest: str, choices: Sequence[tuple[str, str]], kind: Callable[[str], Step]
    ) -> None:
        if not rest:
            for number, (_, say) in enumerate(choices, start=1):
                self._say(f"{number:3d}  {say}")
            return
        chosen = int(_number(rest))
        if not 1 <= chosen <= len(choices):
            self._say(f"Choose 1 to {len(choices)}.")
            return
        self._take(kind(choices[chosen - 1][0]))

    # --- questions -------------------------------------------------------------------------

    def _choice(self, question: str, words: type[Word]) -> Word | None:
        said = self._ask(f"{question} ({', '.join(words)})").strip().lower()
        if not said:
            return None
        try:
            return words(said)
        except ValueError:
            self._say("That is not one of the words; left open.")
            return None

    def _yes_no(self, question: str) -> bool | None:
        said = self._ask(f"{question} (yes, no)").strip().lower()
        return {"yes": True, "y": True, "no": False, "n": False}.get(said)

    def _conclude(self) -> None:
        lie = self._choice("Lie", Lie)
        presentation = self._choice("Presentation", Presentation)
        position = self._choice("Position", Position)
        attitude = self._choice("Attitude of the head, empty for a breech", Attitude)
        fifths = self._ask("Fifths above the brim (5 to 0)").strip()
        number = int(fifths) if fifths in tuple("012345") else None
        sure = self._confidence()
        said = ExaminationAnswer(lie, presentation, position, attitude, number, sure)
        self._take(Conclude(said))

    def _hear(self, seconds: float) -> None:
        encounter = self._playing()
        now, beats = encounter.beats_ahead(checked_listening(seconds))
        self._say("Each beat is a dot; five seconds a line.")
        for start in range(0, math.ceil(seconds), 5):
            here = ((beats >= now + start) & (beats < now + start + 5)).sum()
            self._say(f"  {start:4d} s  {'.' * int(here)}")

    def _count(self, rest: str) -> None:
        parts = rest.split()
        if len(parts) != 2:
            self._say("Give the seconds and the beats counted, such as: count 60 138")
            return
        seconds, beats = _number(parts[0]), _number(parts[1])
        if not 0 <= beats <= 1000:
            self._say("That many beats cannot be.")
            return
        taps = tuple(np.linspace(0.0, seconds, int(beats) + 1)) if beats else ()
        self._take(Auscultate(seconds, taps))

    def _heard(self) -> None:
        rate = self._ask("Rate between contractions, bpm").strip()
        answer = AuscultationAnswer(
            baseline_bpm=float(rate) if rate.replace(".", "", 1).isdigit() else None,
            decelerations=self._yes_no("Does the rate fall after contractions"),
            continuous=self._yes_no("Go over to continuous monitoring"),
            sure=self._confidence(),
        )
        self._take(ConcludeAuscultation(answer))

    def _twins(self) -> None:
        lie = self._choice("Lie of the upper twin", Lie)
        presentation = self._choice("Its presentation", Presentation)
        rates = [self._ask(f"Rate of the {which}, bpm").strip() for which in ("lower", "upper")]
        first, second = (
            float(rate) if rate.replace(".", "", 1).isdigit() else None for rate in rates
        )
        self._take(ConcludeTwins(TwinsAnswer(lie, presentation, first, second)))

    def _hand_over(self) -> None:
        offered = statements(self._playing())
        section = ""
        for number, one in enumerate(offered, start=1):
            if one.section.value != section:
                section = one.section.value
                self._say(section.upper())
            self._say(f"{number:3d}  {one.say}")
        said = self._ask("What do you say (numbers)").replace(",", " ").split()
        chosen = [int(word) for word in said if word.isdigit() and 1 <= int(word) <= len(offered)]
        ids = tuple(offered[number - 1].id for number in dict.fromkeys(chosen))
        self._take(HandOver(ids, self._confidence()))

    def _playing(self) -> Encounter:
        if not isinstance(self._encounter, Encounter):
            raise EbblineError("a recorded case has nothing but its strip.")
        return self._encounter

    def _read(self) -> None:
        case = self._encounter.case
        window = self._encounter.window
        self._say(f"The window: {_clock(window.start_s)} to {_clock(window.end_s)}.")
        baseline = self._ask("Baseline of the last ten minutes, bpm (or none)").strip().lower()
        variability = self._choice("Variability", VariabilityClass)
        sinusoidal = self._yes_no("Sinusoidal")
        tachysystole = self._yes_no("Tachysystole")
        marks = self._marks()
        label = self._ask(f"Class ({', '.join(classes_of(case.standard))})").strip()
        known = {word.lower(): word for word in classes_of(case.standard)}
        answer = StripAnswer(
            window=window,
            standard=case.standard,
            baseline_bpm=float(baseline) if baseline.replace(".", "", 1).isdigit() else None,
            no_baseline=baseline == "none",
            variability=variability,
            sinusoidal=sinusoidal,
            tachysystole=tachysystole,
            label=known.get(label.lower()),
            marks=tuple(marks),
            sure=self._confidence(),
        )
        self._take(ReadStrip(answer))

    def _marks(self) -> list[Mark]:
        self._say("Marks, one a line, such as: late deceleration 12:30 13:40. An empty line ends.")
        marks: list[Mark] = []
        while line := self._ask("mark").strip().lower():
            kind, *times = line.rsplit(" ", 2)
            try:
                start_s, end_s = (_seconds(one) for one in times)
                marks.append(Mark(MarkKind(kind), start_s, end_s))
            except ValueError:
                self._say("Not kept. Kinds: " + ", ".join(MarkKind) + "; times as m:ss.")
        return marks

    # --- pictures in letters ---------------------------------------------------------------

    def _story(self) -> None:
        case = self._encounter.case
        self._say(f"{case.title} (difficulty {case.difficulty} of 5)\n")
        for text in (case.story.who, case.story.scene, f"Task: {case.story.task}"):
            self._say(textwrap.fill(text, 96))
        if case.recorded is None:
            self._say("\n" + "; ".join(f"{name}: {words}" for name, words in notes_of(case)))
        self._say("Asked: " + ", ".join(case.asks) + ".")

    def _strip(self) -> None:
        if isinstance(self._encounter, Encounter):
            recording = self._encounter.recording()
        else:
            recording = self._encounter.recording
        if recording is None:
            self._say("No sensor lies yet.")
            return
        window = self._encounter.window
        for line in strip_in_letters(recording, window):
            self._say(line)

    def _debrief(self) -> None:
        encounter = self._encounter
        if isinstance(encounter, Encounter):
            from ebbline.teach.debrief import debrief

            made = debrief(encounter)
            self._score = made.score
            for sentence in made.summary.sentences:
                self._say(textwrap.fill(sentence, 96))
            self._scored(made.score)
            if made.birth is not None:
                self._say("\n" + textwrap.fill(told_birth(made.birth), 96))
            if made.hands is not None:
                self._say(f"\nThe baby lay: {made.hands.truth_words}.")
            if made.strip is not None:
                self._say("\nA worked reading")
                for part in made.strip.reading:
                    self._say(f"{part.title}: " + " ".join(part.lines))
            for words in made.limits:
                self._say(textwrap.fill(words, 96))
            return
        self._score = encounter.score()
        self._scored(self._score)
        self._say(encounter.panel.words)

    def _scored(self, score: Score) -> None:
        if score.lines:
            self._say(
                f"\n{score.points:.1f} of {score.possible:.0f} points ({100 * score.share:.0f} %)"
            )
        for line in score.lines:
            self._say(
                f"  {line.item}: {line.points:.1f} of {line.possible:.0f}. You: {line.learner}. "
                f"Truth: {line.truth}. {line.rule}"
            )
        for choice in score.unsafe:
            self._say(f"UNSAFE, apart from the score: {choice.choice}. {choice.why}")


def strip_in_letters(recording: Recording, window: Window) -> list[str]:
    """The window as rows of letters, ten minutes a block, one column for ten seconds.

    `o` heart rate, `.` its range where it is wide, blank where signal is missing; activity below
    as height 0 to 9, blank where missing.
    """
    lines = []
    start_s = window.start_s
    while start_s < window.end_s - 1:
        stop_s = min(start_s + _COLUMN_S * _COLUMNS, window.end_s)
        lines += _block(recording, start_s, stop_s)
        start_s = stop_s
    return lines


def _block(recording: Recording, start_s: float, stop_s: float) -> list[str]:
    heart = _columns(recording, ChannelKind.FETAL_HEART_RATE, start_s, stop_s)
    activity = _columns(recording, ChannelKind.UTERINE_ACTIVITY, start_s, stop_s)
    lines = [f"{_clock(start_s)} to {_clock(stop_s)}"]
    for row in _ROWS_BPM:
        cells = []
        for low, middle, high in heart:
            if middle == middle and row - 5 <= middle < row + 5:
                cells.append("o")
            elif low == low and low < row + 5 and high >= row - 5:
                cells.append(".")
            else:
                cells.append(" ")
        label = f"{row:4d}" if row % 20 == 0 else "    "
        lines.append(f"{label} |{''.join(cells)}")
    shown = "".join(
        " " if middle != middle else str(min(9, max(0, int(middle // 10))))
        for _, middle, _ in activity
    )
    lines += [f"  UA |{shown}", "     +" + "-----'" * 10]
    return lines


def _columns(
    recording: Recording, kind: ChannelKind, start_s: float, stop_s: float
) -> list[tuple[float, float, float]]:
    channel = recording.first(kind)
    made = []
    for number in range(math.ceil((stop_s - start_s) / _COLUMN_S)):
        here = start_s + number * _COLUMN_S
        part = np.empty(0)
        if channel is not None:
            first, last = (round(t * channel.rate_hz) for t in (here, here + _COLUMN_S))
            part = channel.samples[first:last]
            part = part[np.isfinite(part)]
        if len(part):
            made.append((float(part.min()), float(np.median(part)), float(part.max())))
        else:
            made.append((math.nan, math.nan, math.nan))
    return made


def _clock(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


def _seconds(text: str) -> float:
    parts = [float(part) for part in text.split(":")]
    total = 0.0
    for part in parts:
        total = total * 60 + part
    return total


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise EbblineError(f"{text!r} is not a number.")
    return value
