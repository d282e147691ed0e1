"""The debrief: each step against the truth, with the rule, the evidence and a worked reading."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ebbline import CAUTION
from ebbline.bedside.exam import ExamResult, examine
from ebbline.bedside.states import states
from ebbline.criteria import classify
from ebbline.criteria.model import Classification, PanelReading, Standard
from ebbline.errors import EbblineError
from ebbline.features.event_matching import Span, match
from ebbline.ground_truth import findings_from_truth
from ebbline.reading import text
from ebbline.reading.analyse import read, read_findings
from ebbline.synth.scenario_parts import Point
from ebbline.teach import anatomy
from ebbline.teach.answers import DECELERATION_MARKS, Mark, MarkKind
from ebbline.teach.auscultation import moments, true_mean_bpm
from ebbline.teach.case import AskedStep
from ebbline.teach.case_facts import context_of
from ebbline.teach.electrode_policy import Allowed, may_be_offered
from ebbline.teach.encounter import Encounter
from ebbline.teach.fetal_course import LIMITS as GASES_LIMITS
from ebbline.teach.fetal_course import Birth
from ebbline.teach.grading import examination_truth, score
from ebbline.teach.handover import statements
from ebbline.teach.measures import measure_table
from ebbline.teach.scoring import NEITHER_HIT_NOR_MISS, Score
from ebbline.teach.sensations import Sensation, findings_of
from ebbline.teach.summary import Summary, summary
from ebbline.teach.threat_scoring import Response, response
from ebbline.teach.truth import ExaminationTruth, StripTruth
from ebbline.teach.what_was_true import decision_facts, reading_truth
from ebbline.terms import Stage, Window

LIMITS = (
    "This is an invented patient: the model knows contractions, placental flow, cord and head "
    "compression, fetal reserve and the sensors, and nothing else. A real labour has more ways.",
    "What the model answers to a measure (position, oxytocic, tocolytic, fluids, amnioinfusion, "
    "pushing) has a plausible direction and time; its size is an assumption.",
    "Measures that the model has no answer to leave the trace as it was. That says nothing about "
    "their worth.",
    "A high score here is not competence at the bedside. " + CAUTION,
)


@dataclass(frozen=True, slots=True)
class WayToLie:
    """One way to lie with its probability after what was felt. true: it is how the fetus lay."""

    name: str
    probability: float
    true: bool


@dataclass(frozen=True, slots=True)
class HandsDebrief:
    """What the hands felt, what it amounts to, and how the fetus lay.

    likeliest: by the examination's model from the learner's own findings. true_probability: of
    the true lie, presentation and position among them. misled: the hands spoke for another
    presentation than the true one.
    """

    truth: ExaminationTruth
    truth_words: str
    felt: tuple[Sensation, ...]
    likeliest: tuple[WayToLie, ...]
    true_probability: float
    misled: bool
    scan_words: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SensorsDebrief:
    """Where the sensors lay and should have lain. moved: the site moved during the case."""

    heart_at: Point | None
    heart_sites: tuple[Point, ...]
    heart_distance_cm: float | None
    contraction_at: Point | None
    contraction_sites: tuple[Point, ...]
    contraction_distance_cm: float | None
    usable_share: float
    moved: bool
    words: str


@dataclass(frozen=True, slots=True)
class EventVerdict:
    """One event of the strip. said: what it was called, "" where it was not marked.

    true: "" where nothing was there. needed: whether it had to be found. why: the numbers.
    """

    start_s: float
    end_s: float
    true: str
    said: str
    needed: bool
    why: str

    @property
    def right(self) -> bool:
        """Found and called by its name, or rightly left alone."""
        return self.true == self.said or (not self.needed and not self.said)


@dataclass(frozen=True, slots=True, eq=False)
class StripDebrief:
    """The reading against truth. reading: a worked one, from the truth itself.

    panel: what a panel would probably have said of the learner's own strip, None where there is
    no panel model or the strip cannot be read; panel_note says why.
    """

    truth: StripTruth
    events: tuple[EventVerdict, ...]
    classes: tuple[Classification, ...]
    reading: tuple[text.Section, ...]
    panel: PanelReading | None
    panel_note: str


@dataclass(frozen=True, slots=True)
class OptionVerdict:
    """One option of the measures or of telling, as it stood in this picture."""

    say: str
    chosen: bool
    wanted: bool
    minutes: tuple[float, ...]
    source: str
    why: str


@dataclass(frozen=True, slots=True)
class MeasuresDebrief:
    """What was done and what the picture called for. facts: what was true at the decisions."""

    facts: tuple[str, ...]
    options: tuple[OptionVerdict, ...]
    told: str
    asked: str
    asked_source: str


@dataclass(frozen=True, slots=True, eq=False)
class Debrief:
    """Everything that is shown when a case is finished.

    A part is None where it was not asked; the strip also where nothing was recorded.
    """

    title: str
    score: Score
    aims: tuple[str, ...]
    afterword: str
    happened: tuple[tuple[float, str], ...]
    hands: HandsDebrief | None
    sensors: SensorsDebrief | None
    internal: Allowed | None
    strip: StripDebrief | None
    measures: MeasuresDebrief | None
    limits: tuple[str, ...]
    summary: Summary
    birth: Birth | None = None
    threat: str = ""
    response: Response | None = None
    handover: tuple[StatementVerdict, ...] = ()
    counts: tuple[CountVerdict, ...] = ()


@dataclass(frozen=True, slots=True)
class StatementVerdict:
    """One statement of the handover, as it stood. must: it had to be said; true: it was so."""

    section: str
    say: str
    said: bool
    must: bool
    true: bool


@dataclass(frozen=True, slots=True)
class CountVerdict:
    """One listening. start_s, end_s: of the labour; said, true: bpm, NaN where not counted.

    moments: seconds before, during and after a contraction, in words; "" where none was near.
    """

    start_s: float
    end_s: float
    said: float
    true: float
    moments: str


def debrief(encounter: Encounter) -> Debrief:
    """The debrief of an attempt, finished or not."""
    asks = encounter.case.asks
    scored = score(encounter)
    threat = encounter.threat
    limits = LIMITS if threat is None else (*LIMITS[:-1], GASES_LIMITS, LIMITS[-1])
    return Debrief(
        title=encounter.case.title,
        score=scored,
        aims=encounter.case.aims,
        afterword=encounter.case.afterword,
        happened=tuple(encounter.happened),
        hands=_hands(encounter) if AskedStep.HANDS in asks else None,
        sensors=_sensors(encounter) if AskedStep.SENSORS in asks else None,
        internal=(
            may_be_offered(encounter.case, encounter.fetus, frozenset(encounter.signs))
            if AskedStep.INTERNAL in asks
            else None
        ),
        strip=_strip(encounter) if AskedStep.STRIP in asks and encounter.minute >= 1 else None,
        measures=_measures(encounter) if AskedStep.MEASURES in asks else None,
        limits=limits,
        summary=summary(scored, encounter.birth),
        birth=encounter.birth,
        threat="" if threat is None else threat.kind.say,
        response=None if threat is None else response(encounter, threat),
        handover=_handover(encounter),
        counts=_counts(encounter),
    )


def _handover(encounter: Encounter) -> tuple[StatementVerdict, ...]:
    if AskedStep.HANDOVER not in encounter.case.asks:
        return ()
    given = encounter.handed_over
    said = set(given.said) if given is not None else set()
    return tuple(
        StatementVerdict(one.section.value, one.say, one.id in said, one.must, one.true)
        for one in (encounter.offered or statements(encounter))
        if one.must or one.id in said
    )


def _counts(encounter: Encounter) -> tuple[CountVerdict, ...]:
    if not encounter.counts:
        return ()
    truth = encounter.labour().truth
    return tuple(
        CountVerdict(
            c.start_s,
            c.end_s,
            c.bpm,
            true_mean_bpm(truth, c.first_s, c.last_s),
            ", ".join(f"{k} {s:.0f} s" for k, s in moments((c,), truth).items() if s >= 1),
        )
        for c in encounter.counts
    )


# --- hands ------------------------------------------------------------------------------------


def _hands(encounter: Encounter) -> HandsDebrief:
    fetus = encounter.fetus_at_conclusion or encounter.fetus
    state = anatomy.state_of(fetus)
    felt = tuple(encounter.sensations)
    result = examine(findings_of(felt), anatomy.context_of(encounter.case))
    same = [
        s.lie is state.lie and s.presentation is state.presentation and s.position is state.position
        for s in states()
    ]
    attitude = f", head {fetus.true_attitude}" if fetus.true_attitude else ""
    fifths = f", {fetus.fifths}/5 above the brim" if state.back is not None else ""
    return HandsDebrief(
        truth=examination_truth(encounter),
        truth_words=f"{state.name}{attitude}{fifths}",
        felt=felt,
        likeliest=tuple(
            WayToLie(p.name, p.probability, p.name == state.name) for p in result.positions[:4]
        ),
        true_probability=float(result.posterior[same].sum()),
        misled=_misled(result, state.presentation.value),
        scan_words=result.scan.why,
        cautions=tuple(one.text for one in result.cautions),
    )


def _misled(result: ExamResult, presentation: str) -> bool:
    return bool(result.findings) and result.presentation[0].word != presentation


# --- sensors ----------------------------------------------------------------------------------


def _sensors(encounter: Encounter) -> SensorsDebrief:
    turns = encounter.case.labour.turns if encounter.case.labour else ()
    moved = any(turn.fetus is not None and turn.minute <= encounter.minute for turn in turns)
    words = "The heart is carried best by the " + (
        "chest, so on the side of the limbs, when the face presents."
        if encounter.fetus.presentation.value == "face"
        else "back."
    )
    if moved:
        words += " The fetus moved during the case, and the site moved with it."
    return SensorsDebrief(
        heart_at=encounter.heart_sensor_at,
        heart_sites=encounter.site.spots,
        heart_distance_cm=encounter.site_distance_cm,
        contraction_at=encounter.contraction_sensor_at,
        contraction_sites=encounter.contraction_sites,
        contraction_distance_cm=encounter.contraction_site_distance_cm,
        usable_share=encounter.usable_share,
        moved=moved,
        words=words,
    )


# --- strip ------------------------------------------------------------------------------------


def _strip(encounter: Encounter) -> StripDebrief:
    truth = reading_truth(encounter)
    labour = encounter.labour().truth
    findings = findings_from_truth(labour, encounter.seen(labour))
    context = context_of(encounter.case)
    standards = tuple(dict.fromkeys((encounter.case.standard, *_others(encounter))))
    classes = tuple(classify(findings, truth.window, one, context) for one in standards)
    recording = replace(encounter.labour().recording, name=encounter.case.title, context=context)
    reading = read_findings(
        recording, (findings,), window=truth.window, standards=(encounter.case.standard,)
    )
    fetal = reading.fetuses[0]
    panel, note = _panel(encounter, truth.window)
    marks = encounter.reading.answer.marks if encounter.reading else ()
    return StripDebrief(
        truth=truth,
        events=verdicts(marks, truth),
        classes=classes,
        reading=text.sections(reading, fetal),
        panel=panel,
        panel_note=note,
    )


def _others(encounter: Encounter) -> tuple[Standard, ...]:
    labour = encounter.case.labour
    if labour is not None and labour.stage is Stage.ANTEPARTUM:
        return (Standard.NST,)
    return (Standard.NICHD, Standard.FIGO, Standard.NICE)


def _panel(encounter: Encounter, window: Window) -> tuple[PanelReading | None, str]:
    recording = encounter.recording()
    if recording is None:
        return None, "no strip was recorded"
    try:
        fetal = read(recording, window=window).fetuses[0]
    except EbblineError as error:
        return None, f"the strip cannot be read: {error.what}"
    if fetal.panel is None:
        return None, "no panel reading is given for this strip"
    return fetal.panel, ""


def verdicts(marks: tuple[Mark, ...], truth: StripTruth) -> tuple[EventVerdict, ...]:
    """Every event and every mark, paired as the score pairs them, by time."""
    found: list[EventVerdict] = []
    for kinds in ((MarkKind.CONTRACTION,), (MarkKind.ACCELERATION,), DECELERATION_MARKS):
        own = [mark for mark in marks if mark.kind in kinds]
        events = [event for event in truth.events if event.kind in kinds]
        spans = [
            Span(
                e.start_s,
                e.end_s,
                required=not e.borderline and e.visible_share >= NEITHER_HIT_NOR_MISS,
            )
            for e in events
        ]
        matching = match([Span(m.start_s, m.end_s) for m in own], spans)
        said = {e: own[m].kind.value for m, e in (*matching.pairs, *matching.optional)}
        for index, event in enumerate(events):
            why = []
            if event.visible_share < NEITHER_HIT_NOR_MISS:
                why.append("hardly visible on your strip")
            if event.borderline:
                why.append("on the border of recognition")
            if not event.clear:
                why.append("its kind is open to doubt")
            found.append(
                EventVerdict(
                    event.start_s,
                    event.end_s,
                    event.kind.value,
                    said.get(index, ""),
                    spans[index].required,
                    ", ".join(why),
                )
            )
        found += [
            EventVerdict(own[m].start_s, own[m].end_s, "", own[m].kind.value, True, "")
            for m in matching.extra
        ]
    return tuple(sorted(found, key=lambda v: (v.start_s, v.end_s)))


# --- measures ---------------------------------------------------------------------------------


def _measures(encounter: Encounter) -> MeasuresDebrief:
    table = measure_table()
    facts = decision_facts(encounter)
    wanted = {measure.id for measure in table.wanted(facts)}
    minutes: dict[str, list[float]] = {}
    dangers: dict[str, list[str]] = {}
    for choice in encounter.choices:
        minutes.setdefault(choice.measure, []).append(choice.minute)
        dangers.setdefault(choice.measure, []).extend(
            table.measure(choice.measure).dangers(choice.facts)
        )
    options = []
    for measure in table.measures:
        chosen = measure.id in minutes
        if not chosen and measure.id not in wanted:
            continue
        why = " ".join(dict.fromkeys(dangers.get(measure.id, [])))
        if not why and measure.id in wanted:
            because = [f for f in measure.wanted if f in facts]
            why = "Called for by: " + ", ".join(because) + "."
        elif not why and not measure.is_accepted(facts):
            why = measure.unsupported
        options.append(
            OptionVerdict(
                measure.say,
                chosen,
                measure.id in wanted,
                tuple(minutes.get(measure.id, ())),
                measure.source,
                why,
            )
        )
    told = [table.person(call.person).say for call in encounter.calls]
    asked = table.lowest_call(facts)
    return MeasuresDebrief(
        facts=tuple(sorted(facts)),
        options=tuple(options),
        told="; ".join(dict.fromkeys(told)) or "nobody",
        asked=asked.say,
        asked_source=asked.source,
    )
