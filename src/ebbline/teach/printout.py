"""A case on paper: story, what the hands feel, the strip, the questions; answers on request."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ebbline import CAUTION
from ebbline.picture.canvas import CM_PER_POINT, Document, Line, Page, Rect, Shape, Stroke, Text
from ebbline.picture.fonts import shortened, wrapped
from ebbline.picture.style import FRAME, INK, QUIET_INK
from ebbline.teach.answers import MarkKind
from ebbline.teach.case import AskedStep, Case
from ebbline.teach.debrief import Debrief, debrief
from ebbline.teach.encounter import Encounter
from ebbline.teach.measures import measure_table
from ebbline.teach.notes import notes_of
from ebbline.teach.sensations import GRIPS_HERE, Grip, Hands, Sensation, Zone
from ebbline.teach.standards import TITLES, classes_of
from ebbline.teach.variants import well_monitored

WIDTH, HEIGHT = 21.0, 29.7
"""A4 upright, cm (ISO 216)."""
MARGIN = 1.8
FOOT = 1.5
BODY_PT, SMALL_PT, HEAD_PT, TITLE_PT = 10.0, 8.0, 12.0, 17.0
LEADING = 1.42
WRITE_ON = Stroke("#94a2b6", 0.4)


class Flow:
    """Text and lines set one under the other, over as many pages as they need."""

    def __init__(self, title: str, foot: str) -> None:
        self._title, self._foot = title, foot
        self._pages: list[list[Shape]] = []
        self._ends: list[float] = []
        self._y = MARGIN
        self._new_page()

    def _new_page(self) -> None:
        self._ends.append(self._y)
        self._pages.append([])
        self._y = MARGIN

    def _room(self, height: float) -> None:
        if self._y + height > HEIGHT - MARGIN - FOOT:
            self._new_page()

    def _add(self, *shapes: Shape) -> None:
        self._pages[-1].extend(shapes)

    def words(
        self, text: str, *, size: float = BODY_PT, bold: bool = False, indent: float = 0.0,
        colour: str = INK, after: float = 0.12,
    ) -> None:  # fmt: skip
        """A paragraph."""
        line = size * CM_PER_POINT * LEADING
        for part in wrapped(text, WIDTH - 2 * MARGIN - indent, size, bold=bold):
            self._room(line)
            self._y += line
            self._add(Text(MARGIN + indent, self._y, part, size, colour, bold))
        self._y += after

    def head(self, text: str) -> None:
        """A heading that stays with what follows it."""
        self._room(2.2)
        self._y += 0.25
        self.words(text, size=HEAD_PT, bold=True, after=0.08)

    def pairs(self, rows: Sequence[tuple[str, str]]) -> None:
        """Names and words, in two columns."""
        line = SMALL_PT * CM_PER_POINT * 1.6
        half = (WIDTH - 2 * MARGIN) / 2
        for first in range(0, len(rows), 2):
            self._room(line)
            self._y += line
            for column, (name, words) in enumerate(rows[first : first + 2]):
                x = MARGIN + column * half
                self._add(Text(x, self._y, name, SMALL_PT, QUIET_INK))
                fits = shortened(words, half - 4.3, SMALL_PT, bold=True)
                self._add(Text(x + 4.0, self._y, fits, SMALL_PT, INK, True))
        self._y += 0.2

    def lines(self, count: int) -> None:
        """Empty lines to write on."""
        for _ in range(count):
            self._room(0.8)
            self._y += 0.8
            self._add(Line(MARGIN, self._y, WIDTH - MARGIN, self._y, WRITE_ON))
        self._y += 0.2

    def boxes(self, question: str, choices: Sequence[str]) -> None:
        """A question with boxes to tick."""
        self.words(question, bold=True, after=0.02)
        x, line = MARGIN + 0.2, BODY_PT * CM_PER_POINT * LEADING
        self._room(line)
        self._y += line
        for choice in choices:
            width = 0.75 + 0.21 * len(choice)
            if x + width > WIDTH - MARGIN:
                self._room(line)
                self._y += line
                x = MARGIN + 0.2
            self._add(
                Rect(x, self._y - 0.28, 0.3, 0.3, None, FRAME),
                Text(x + 0.42, self._y, choice, BODY_PT, INK),
            )
            x += width
        self._y += 0.3

    def name_line(self) -> None:
        """A line for whoever fills the sheet in."""
        y = self._y + 0.55
        for x, words, end in (
            (MARGIN, "Name", WIDTH - MARGIN - 5.5),
            (WIDTH - MARGIN - 5.0, "Date", WIDTH - MARGIN),
        ):
            self._add(Text(x, y, words, SMALL_PT, QUIET_INK), Line(x + 1.1, y, end, y, WRITE_ON))
        self._y = y + 0.25

    def _without_page_for_one_line(self) -> list[list[Shape]]:
        """A last page of one line of words goes under the page before, above its foot."""
        last = self._pages[-1]
        texts = [shape for shape in last if isinstance(shape, Text)]
        alone = len(texts) == len(last) and len({shape.y for shape in texts}) == 1
        if len(self._pages) < 2 or not alone:
            return self._pages
        y = self._ends[len(self._pages) - 1] + BODY_PT * CM_PER_POINT * LEADING
        moved = [replace(shape, y=y) for shape in texts]
        return [*self._pages[:-2], [*self._pages[-2], *moved]]

    def pages(self) -> list[Page]:
        """The finished pages, with title and caution at the foot."""
        made = []
        for number, shapes in enumerate(self._without_page_for_one_line(), start=1):
            y = HEIGHT - MARGIN
            foot = wrapped(self._foot, WIDTH - 2 * MARGIN - 2.0, 7.0)
            texts: list[Shape] = [
                Text(MARGIN, y - 0.3 * (len(foot) - 1 - i), part, 7.0, QUIET_INK)
                for i, part in enumerate(foot)
            ]
            texts.append(Text(WIDTH - MARGIN - 0.8, y, f"{number}", 7.0, QUIET_INK))
            made.append(Page(WIDTH, HEIGHT, (*shapes, *texts), self._title))
        return made


def sheet(case: Case, seed: int, *, answers: bool) -> Document:
    """The sheet of one variant of a case, strips at true scale. Raises ScenarioError.

    A recorded case has no sheet of its own: its recording may be drawn with `ebbline read`.
    """
    from ebbline.errors import ScenarioError

    if case.recorded is not None:
        raise ScenarioError(
            "a recorded case has no sheet.",
            where=case.id,
            remedy="Draw its recording with ebbline read.",
        )
    encounter = well_monitored(case, seed)
    told = encounter.case
    title = told.title + (", with answers" if answers else "")
    flow = Flow(title, f"{told.title}, variant {seed}. Invented patient. {CAUTION}")
    _front(flow, encounter, answers=answers)
    pages: list[Page] = []
    if AskedStep.STRIP in told.asks:
        pages = _strip_pages(encounter, marks=False)
    if answers:
        made = debrief(encounter)
        _answers(flow, encounter, made)
        if AskedStep.STRIP in told.asks:
            pages = _strip_pages(encounter, marks=True)
        if AskedStep.HANDS in told.asks:
            pages += _abdomen_pages(encounter)
    return Document(title, (*flow.pages(), *pages))


def _felt(encounter: Encounter) -> list[Sensation]:
    """What the hands feel, every grip at its places (looking and asking once)."""
    fetus = encounter.case.fetus
    if fetus is None:
        return []
    hands = Hands(encounter.case, fetus, encounter.seed)
    felt = [hands.feel(Grip.LOOK, Zone.FUNDUS), hands.feel(Grip.ASK, Zone.FUNDUS)]
    for grip in (Grip.FIRST, Grip.SECOND, Grip.THIRD, Grip.FOURTH):
        felt += [hands.feel(grip, zone) for zone in GRIPS_HERE[grip]]
    return felt


def _front(flow: Flow, encounter: Encounter, *, answers: bool) -> None:
    case = encounter.case
    if not answers:
        flow.name_line()
    flow.words(case.title, size=TITLE_PT, bold=True, after=0.05)
    flow.words(f"Difficulty {case.difficulty} of 5", size=SMALL_PT, colour=QUIET_INK)
    flow.words(case.story.who, bold=True)
    flow.words(case.story.scene)
    flow.words(f"Your task: {case.story.task}", after=0.2)
    flow.head("From her notes")
    flow.pairs(notes_of(case))
    for minute, say in encounter.happened:
        flow.words(f"Minute {minute:.0f}: {say}", indent=0.3)
    if AskedStep.HANDS in case.asks:
        flow.head("What the hands feel")
        for sensation in _felt(encounter):
            name = {Grip.LOOK: "Looking", Grip.ASK: "Asking"}.get(
                sensation.grip, f"{sensation.grip.value.capitalize()}, {sensation.zone}"
            )
            flow.words(f"{name}: {sensation.text}", size=9.0, indent=0.3, after=0.04)
    if not answers:
        _questions(flow, encounter)


def _questions(flow: Flow, encounter: Encounter) -> None:
    case = encounter.case
    if AskedStep.HANDS in case.asks:
        flow.head("How does the baby lie?")
        flow.words("Lie, presentation, position, attitude, fifths above the brim:")
        flow.lines(2)
    if AskedStep.SENSORS in case.asks:
        flow.head("Where do the two sensors go, and why?")
        flow.lines(2)
    if AskedStep.INTERNAL in case.asks:
        flow.head("Internal sensors")
        flow.boxes("Scalp electrode", ("may be offered", "not now"))
        flow.boxes("Pressure catheter", ("may be offered", "not now"))
        flow.words("What speaks against, or what would you find out?")
        flow.lines(2)
    if AskedStep.STRIP in case.asks:
        flow.head("Read the strip")
        flow.words("Bracket on the strip and name: " + ", ".join(MarkKind) + ".")
        flow.words("Baseline of the last ten minutes: ____________ bpm, or cannot be told")
        flow.boxes("Variability", ("absent", "minimal", "moderate", "marked", "indeterminate"))
        flow.boxes("Sinusoidal?", ("no", "yes"))
        flow.boxes("Tachysystole?", ("no", "yes"))
        flow.boxes(f"Class by {TITLES[case.standard]}", classes_of(case.standard))
    if AskedStep.MEASURES in case.asks:
        flow.head("What do you do, and whom do you tell?")
        flow.lines(4)


def _answers(flow: Flow, encounter: Encounter, made: Debrief) -> None:
    flow.head("Answers")
    if made.hands is not None:
        flow.words(f"The baby lies: {made.hands.truth_words}.", bold=True)
    if made.sensors is not None:
        flow.words(
            f"{made.sensors.words} The best sites are on the abdomen's page."
            if AskedStep.HANDS in encounter.case.asks
            else made.sensors.words
        )
    if made.internal is not None:
        for check in (made.internal.electrode_check, made.internal.catheter_check):
            flow.words(f"{check.title}: {check.verdict.value}.", bold=True)
            for result in check.results:
                if result.state.value != "clear":
                    line = result.line
                    flow.words(
                        f"{line.text} ({result.state.value}; {line.source})",
                        size=SMALL_PT, indent=0.3, after=0.04,
                    )  # fmt: skip
    if made.strip is not None:
        for part in made.strip.reading:
            if part.title in ("Change over time", "Not assessed"):
                continue
            flow.words(part.title, bold=True, size=9.0, after=0.0)
            for words in part.lines:
                flow.words(words, size=SMALL_PT, indent=0.3, after=0.03)
        others = ", ".join(f"{c.said} by {c.edition}" for c in made.strip.classes)
        flow.words(f"Classes: {others}.", bold=True, size=9.0)
    if AskedStep.MEASURES in encounter.case.asks:
        facts = encounter.facts()
        table = measure_table()
        flow.words("What this picture calls for:", bold=True)
        for measure in table.wanted(facts):
            flow.words(f"{measure.say} ({measure.source})", size=9.0, indent=0.3, after=0.03)
        person = table.lowest_call(facts)
        flow.words(f"To be told: {person.say} ({person.source})", size=9.0, indent=0.3)
        hurts = [
            f"{measure.say}: {' '.join(measure.dangers(facts))} ({measure.source})"
            for measure in table.measures
            if measure.dangers(facts)
        ]
        if hurts:
            flow.words("What could hurt here:", bold=True)
            for words in hurts:
                flow.words(words, size=SMALL_PT, indent=0.3, after=0.03)
    if made.aims:
        flow.head("What this case is for")
        for aim in made.aims:
            flow.words(aim, size=9.0, indent=0.3, after=0.03)
    flow.head("Limits of the model")
    for words in made.limits:
        flow.words(words, size=SMALL_PT, indent=0.3, after=0.03)


def _strip_pages(encounter: Encounter, *, marks: bool) -> list[Page]:
    from ebbline.ground_truth import findings_from_truth
    from ebbline.picture import draw_strip
    from ebbline.reading.analyse import read_findings
    from ebbline.teach.case_facts import context_of

    recording = encounter.recording()
    assert recording is not None
    recording = replace(recording, context=context_of(encounter.case))
    truth = encounter.labour().truth
    findings = findings_from_truth(truth, encounter.seen(truth))
    reading = read_findings(
        recording, (findings,), window=encounter.window, standards=(encounter.case.standard,)
    )
    drawn = draw_strip(recording, reading, speed_cm_per_min=1, marks=marks)
    return list(drawn.pages)


def _abdomen_pages(encounter: Encounter) -> list[Page]:
    from ebbline.bedside.exam import examine
    from ebbline.picture.abdomen import draw_abdomen
    from ebbline.teach.anatomy import context_of
    from ebbline.teach.sensations import findings_of

    felt = tuple(_felt(encounter))
    drawn = draw_abdomen([examine(findings_of(felt), context_of(encounter.case))])
    return list(drawn.pages)
