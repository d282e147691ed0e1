"""An attempt at a virtual patient: the labour runs, answers, and keeps its truth.

An encounter is wholly decided by the case, the seed and the steps taken, so that an attempt is
kept as its steps alone and can be taken up, or looked at again, at any time.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ebbline.ground_truth import Seen
from ebbline.recording.model import Channel, ChannelKind, Provenance, Recording
from ebbline.synth import actions as act
from ebbline.synth.apply_action import ELECTRODE_LOSS
from ebbline.synth.engine import Labour, LabourEngine
from ebbline.synth.ground_truth import SpanKind, Truth
from ebbline.synth.scenario_parts import Point
from ebbline.synth.sensors import toco_reach
from ebbline.teach import anatomy, auscultation, patient
from ebbline.teach.answers import (
    AuscultationAnswer,
    ExaminationAnswer,
    InternalAnswer,
    StripAnswer,
    TwinsAnswer,
)
from ebbline.teach.case import AskedStep, Case, Fetus, Sign, Turn
from ebbline.teach.case_facts import facts_of, facts_of_trace
from ebbline.teach.fetal_course import FOUND_AFTER_MIN, Birth, FetalCourse, course_of
from ebbline.teach.guidance import after_grip, hint
from ebbline.teach.handover import Statement, statements
from ebbline.teach.measure_facts import Fact
from ebbline.teach.measures import Call, Choice, Measure, measure_table
from ebbline.teach.patient_view import ReadingTaken
from ebbline.teach.sensations import Grip, Hands, Sensation, Zone, hear
from ebbline.teach.steps import (
    AttemptError,
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
    checked_answer,
    checked_sure,
    checked_taps,
)
from ebbline.teach.threats import threat_table
from ebbline.teach.truth import StripTruth
from ebbline.terms import SensorKind, Window

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LONGEST_WAIT_MIN = 30.0
SLACK_MIN = 20.0
"""How long a learner may go on beyond what the case plans."""

MOST_STEPS = 600
"""Steps of one attempt; no earnest attempt comes near it."""

LEAST_BELT_REACH = 0.35
"""Below this share of the uterus's movement the belt shows no contraction to mark (ours)."""

NEAR_SITE_CM = 5.0
"""A sensor laid by hand so close to the site records as a well placed one (ours)."""

WELL_PLACED_LOSS = 0.04
"""Share of signal lost with a sensor that was laid down anew (ours)."""

NOT_THE_FETUS = (SpanKind.LOSS, SpanKind.DOUBLING, SpanKind.HALVING, SpanKind.MATERNAL)

TEAM_COMES_MIN = 5.0
"""After an emergency call the team takes over what has not been done (ours)."""

PEOPLE_FOR_BIRTH, EMERGENCY_TEAM = 2, 3
"""Steps of telling: from which someone can bring about birth, and the whole team."""

ENDS_WITH_THE_THREAT = (
    Sign.SEIZURE,
    Sign.LOW_BLOOD_PRESSURE,
    Sign.LOW_OXYGEN,
    Sign.SHOULDER_STUCK,
)

BEING_STOPPED = "Before it is done, someone beside you asks you to think again. It is not done."
NOTHING_CHANGES = "It is done. The model has no answer to it; the labour goes on as before."


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the learner sees after a step. happened: what came up by itself, with its minute.

    minute: of monitored labour when the step was over. guidance: in a guided case, what the grip
    rules out.
    """

    text: str
    happened: tuple[tuple[float, str], ...] = ()
    minute: float = 0.0
    guidance: tuple[str, ...] = ()


class Encounter:
    """One attempt, live. The case given is already the variant of its seed."""

    def __init__(self, case: Case, seed: int, *, engine_seed: int) -> None:
        """engine_seed: of the labour itself (`variants.begin_case` takes the variant's own)."""
        self._written = case
        self.case = patient.variant(case, seed)
        self.seed = seed
        self.steps: list[Step] = []
        self.outcomes: list[Outcome] = []
        self.sensations: list[Sensation] = []
        self.happened: list[tuple[float, str]] = []
        self.conclusion: ExaminationAnswer | None = None
        self.fetus_at_conclusion: Fetus | None = None
        self.internal: InternalAnswer | None = None
        self.reading: ReadingTaken | None = None
        self.choices: list[Choice] = []
        self.calls: list[Call] = []
        self.finished = False
        self.final_truth: StripTruth | None = None
        self.hints: list[AskedStep] = []
        self.recognised: list[tuple[str, float]] = []
        self.counts: list[auscultation.Count] = []
        self.listening: AuscultationAnswer | None = None
        self.twins: TwinsAnswer | None = None
        self.handed_over: HandOver | None = None
        self.offered: tuple[Statement, ...] = ()
        self.birth_asked: float | None = None
        self.birth: Birth | None = None
        self.threat: FetalCourse | None = None
        if self.case.threat is not None and self.case.labour is not None:
            threat = self.case.threat
            self.threat = course_of(
                threat.kind, threat.minute, self.case.labour.stage, self.case.mother.weeks
            )
        self._phase = ""
        self._team_at: float | None = None

        self.fetus = self.case.fetus or anatomy.STANDARD_FETUS
        self.site = anatomy.heart_site(self.case, self.fetus)
        self.body = anatomy.body(self.case)
        self.signs = set(self.case.signs)
        self.heart_sensor_at: Point | None = None
        self.contraction_sensor_at: Point | None = None
        self._heart_from_s = math.inf
        self._contraction_from_s = math.inf
        self._turns: list[Turn] = list(self.case.labour.turns) if self.case.labour else []
        self._oxytocic = 1.0
        self._pushing = bool(self.case.labour and self.case.labour.pushing)
        self._pending: list[act.Action] = []
        self._reach: list[tuple[float, float]] = []
        self._planned_minute = 0.0
        self._made: tuple[float, Labour] | None = None
        self._engine_seed = engine_seed
        self._engine = LabourEngine(patient.scenario(self.case), engine_seed)
        if AskedStep.SENSORS not in self.case.asks and AskedStep.STRIP in self.case.asks:
            self._put_heart_sensor(self.site.at)
            self._put_contraction_sensor(self.contraction_sites[0])
            self._go_on(self.case.minutes_before_reading)
        self.began_minute = self.minute

    # --- what can be asked of it -----------------------------------------------------------

    @property
    def monitors(self) -> bool:
        """Whether the case has a trace at all."""
        return self.case.labour is not None and bool(
            set(self.case.asks) & {AskedStep.SENSORS, AskedStep.STRIP, AskedStep.AUSCULTATION}
        )

    @property
    def minute(self) -> float:
        """Minutes of monitored labour."""
        return self._engine.now_s / 60.0

    @property
    def last_minute(self) -> float:
        """Up to when the case can go on; birth ends it."""
        if self.birth is not None:
            return self.minute
        planned = self.case.minutes_before_reading + self.case.minutes_after + SLACK_MIN
        coming = self.threat.birth_at if self.threat is not None else None
        return max(planned, (coming or 0.0) + 1.0)

    @property
    def ready_to_read(self) -> bool:
        """Whether enough has been recorded for the reading that is asked."""
        return (
            AskedStep.STRIP in self.case.asks
            and self.minute >= self.case.minutes_before_reading
            and self._heart_from_s < math.inf
        )

    @property
    def window(self) -> Window:
        """The window that is, or was, read: the last minutes asked for."""
        end_s = 60.0 * self.reading.minute if self.reading else self._engine.now_s
        return Window(max(0.0, end_s - 60.0 * self.case.minutes_before_reading), end_s)

    def labour(self) -> Labour:
        """The labour so far with its whole truth, as if every sensor had been on.

        Made once for each moment: the engine's truth changes only as time goes on.
        """
        if self._made is None or self._made[0] != self._engine.now_s:
            self._made = (self._engine.now_s, self._engine.labour())
        return self._made[1]

    def recording(self) -> Recording | None:
        """What the learner's own sensors brought; None before the first was laid down."""
        if min(self._heart_from_s, self._contraction_from_s) == math.inf:
            return None
        whole = self.labour().recording
        begins = {
            ChannelKind.FETAL_HEART_RATE: self._heart_from_s,
            ChannelKind.UTERINE_ACTIVITY: self._contraction_from_s,
        }
        channels = tuple(
            _from(channel, begins[channel.kind])
            for channel in whole.channels
            if channel.kind in begins and begins[channel.kind] < math.inf
        )
        return replace(
            whole,
            name=self.case.title,
            channels=channels,
            provenance=Provenance(source="invented", format="virtual patient"),
        )

    def seen(self, truth: Truth) -> Seen:
        """Which seconds of the labour the learner's sensors showed."""
        seconds = int(truth.duration_s)
        heart = np.ones(seconds * 4, dtype=np.bool_)
        for span in truth.artefacts:
            if span.kind in NOT_THE_FETUS:
                heart[round(span.start_s * 4) : round(span.end_s * 4)] = False
        heart_s = heart.reshape(seconds, 4).mean(axis=1)
        heart_s[: int(min(self._heart_from_s, seconds))] = 0.0
        activity = np.ones(seconds)
        activity[: int(min(self._contraction_from_s, seconds))] = 0.0
        for start_s, reach in self._reach:
            activity[int(start_s) :] = float(reach >= LEAST_BELT_REACH)
        if self._contraction_from_s == math.inf:
            activity[:] = 0.0
        return Seen(heart_s, activity)

    @property
    def usable_share(self) -> float:
        """Share of the time since the heart sensor was first laid down with fetal signal."""
        if self._heart_from_s >= self._engine.now_s:
            return math.nan
        heart = self.seen(self.labour().truth).heart
        return float(heart[int(self._heart_from_s) :].mean())

    def facts(self) -> frozenset[Fact]:
        """What is true of the patient now, for judging choices."""
        known = facts_of(
            self.case,
            self.fetus,
            self.signs,
            pushing=self._pushing,
            oxytocic=self._oxytocic > 0,
        )
        if self.minute > 0:
            truth = self.labour().truth
            known |= facts_of_trace(truth, self.seen(truth), self.case)
        return frozenset(known)

    @property
    def since(self) -> float | None:
        """Minute from which what is called for could be known; None where no time runs."""
        if not self.monitors:
            return None
        if self.threat is not None:
            return max(self.threat.from_minute, self.began_minute)
        return max(self.began_minute, float(self.case.minutes_before_reading))

    # --- taking steps ----------------------------------------------------------------------

    def take_all(self, steps: Iterable[Step]) -> Encounter:
        """Take these steps, as `take` takes each."""
        for step in steps:
            self.take(step)
        return self

    def take(self, step: Step) -> Outcome:
        """Take one step. Raises AttemptError for one that cannot be taken now."""
        if self.finished:
            raise AttemptError("the case is finished.", remedy="Begin a new attempt.")
        if len(self.steps) >= MOST_STEPS:
            raise AttemptError("too many steps.", remedy="Finish the case.")
        outcome = replace(self._take(step), minute=self.minute)
        self.steps.append(step)
        self.outcomes.append(outcome)
        return outcome

    def _take(self, step: Step) -> Outcome:
        match step:
            case Feel(grip, zone):
                self._asked(AskedStep.HANDS)
                return self._feel(grip, zone)
            case Listen(x, y):
                return self._listen(_place(x, y))
            case PlaceHeartSensor(x, y):
                self._asked(AskedStep.SENSORS)
                self._move_by_hand(_place(x, y))
                return Outcome("The heart sensor lies. Let the labour go on to see what it brings.")
            case PlaceContractionSensor(x, y):
                self._asked(AskedStep.SENSORS)
                self._put_contraction_sensor(_place(x, y))
                return Outcome("The contraction sensor lies.")
            case Conclude(answer):
                self._asked(AskedStep.HANDS)
                checked_sure(answer.sure)
                self.conclusion, self.fetus_at_conclusion = answer, self.fetus
                return Outcome("Noted.")
            case DecideInternal(answer):
                return self._decide_internal(answer)
            case Wait(minutes):
                return self._wait(minutes)
            case ReadStrip(answer):
                return self._read(answer)
            case Choose(name):
                return self._choose(measure_table().measure(name))
            case Tell(name):
                return self._tell(name)
            case Recognise(name):
                return self._recognise(name)
            case Hint(about):
                return self._hint(about)
            case Auscultate(seconds, taps):
                return self._auscultate(seconds, taps)
            case ConcludeAuscultation(heard):
                self._asked(AskedStep.AUSCULTATION)
                checked_sure(heard.sure)
                self.listening = heard
                return Outcome("Noted.")
            case ConcludeTwins(both):
                if self.case.second_twin is None:
                    raise AttemptError("there is one fetus in this case.")
                self._asked(AskedStep.HANDS)
                self.twins = both
                return Outcome("Noted.")
            case HandOver():
                return self._hand_over(step)
            case Finish():
                return self._finish()

    def _asked(self, step: AskedStep) -> None:
        if step not in self.case.asks:
            raise AttemptError(
                f"this case does not ask for the {step}.",
                remedy="It asks for: " + ", ".join(self.case.asks) + ".",
            )

    def _not_born(self) -> None:
        if self.birth is not None:
            raise AttemptError("the baby is born.", remedy="Finish the case.")

    def _feel(self, grip: Grip, zone: Zone) -> Outcome:
        sensation = Hands(self.case, self.fetus, self.seed).feel(grip, zone)
        if self.case.second_twin is not None and grip in (Grip.FIRST, Grip.SECOND):
            upper = Hands(self.case, self.case.second_twin.fetus, self.seed + 1).feel(grip, zone)
            if upper.text != sensation.text:
                both = f"{sensation.text} And besides, as if of another: {upper.text}"
                sensation = replace(sensation, text=both)
        self.sensations.append(sensation)
        guidance: tuple[str, ...] = ()
        if self.case.guided:
            guidance = after_grip(self)
        return Outcome(sensation.text, guidance=guidance)

    def _tell(self, name: str) -> Outcome:
        self._asked(AskedStep.MEASURES)
        self._not_born()
        person = measure_table().person(name)
        self.calls.append(Call(person.id, self.minute, self.facts()))
        if person.step >= EMERGENCY_TEAM and self._team_at is None:
            self._team_at = self.minute + TEAM_COMES_MIN
        self._arrange_birth()
        return Outcome(f"You tell: {person.say[0].lower()}{person.say[1:]}.")

    def _recognise(self, name: str) -> Outcome:
        self._asked(AskedStep.MEASURES)
        if name not in threat_table():
            raise AttemptError(
                f"there is no danger {name!r}.", remedy="One of: " + ", ".join(threat_table())
            )
        self.recognised.append((name, self.minute))
        return Outcome(f"You say aloud: {threat_table()[name].say}.")

    def _hint(self, about: str) -> Outcome:
        if about not in set(self.case.asks):
            raise AttemptError(
                f"this case does not ask for {about!r}.",
                remedy="It asks for: " + ", ".join(self.case.asks) + ".",
            )
        part = AskedStep(about)
        text = hint(self, part)
        self.hints.append(part)
        return Outcome(text)

    def _hand_over(self, step: HandOver) -> Outcome:
        self._asked(AskedStep.HANDOVER)
        checked_sure(step.sure)
        offered = statements(self)
        unknown = set(step.said) - {one.id for one in offered}
        if unknown:
            raise AttemptError(
                f"there is no such statement: {', '.join(sorted(unknown))}.",
                remedy="Choose from those that are offered.",
            )
        self.handed_over, self.offered = step, offered
        return Outcome("It is said, and heard.")

    def _auscultate(self, seconds: float, taps: tuple[float, ...]) -> Outcome:
        self._asked(AskedStep.AUSCULTATION)
        self._not_born()
        taps = checked_taps(seconds, taps)
        if self.minute + seconds / 60 > self.last_minute:
            raise AttemptError("the case does not go on beyond this.", remedy="Conclude.")
        before, start_s = len(self.happened), self._engine.now_s
        self._go_on(seconds / 60.0)
        made = auscultation.counted(start_s, self._engine.now_s, taps)
        self.counts.append(made)
        heard = "You did not count." if np.isnan(made.bpm) else f"You counted {made.bpm:.0f}."
        return Outcome(f"{heard} {self._hand_on_fundus(start_s)}", tuple(self.happened[before:]))

    def _hand_on_fundus(self, start_s: float) -> str:
        truth = self.labour().truth
        spans = auscultation.hardened(truth, start_s, self._engine.now_s)
        if not spans:
            return "The uterus stayed soft under your hand."
        words = ", ".join(f"{_clock(a)} to {_clock(b)}" for a, b in spans)
        return f"Under your hand the uterus was hard from {words}."

    def beats_ahead(self, seconds: float) -> tuple[float, NDArray[np.float64]]:
        """Now, and when the heart will beat in the seconds to come, s of the labour.

        For sound and for counting along: the labour is asked on a copy and does not go on here.
        """
        now = self._engine.now_s
        return now, auscultation.beats(self._ahead(seconds), now, now + seconds)

    def hard_ahead(self, seconds: float) -> tuple[tuple[float, float], ...]:
        """When a hand on the fundus will feel it hard in the seconds to come, s of the labour."""
        now = self._engine.now_s
        return auscultation.hardened(self._ahead(seconds), now, now + seconds)

    def _ahead(self, seconds: float) -> Truth:
        same = Encounter(self._written, self.seed, engine_seed=self._engine_seed)
        ahead = same.take_all(self.steps)
        ahead._go_on(max(1.0, seconds) / 60.0)
        return ahead.labour().truth

    def chance_of(self, purpose: str) -> np.random.Generator:
        """A stream of chance of its own for something that is no step."""
        return self._chance(purpose)

    def _finish(self) -> Outcome:
        self.finished = True
        threat = self.threat
        if threat is None or self.minute < threat.from_minute:
            return Outcome("The case is finished.")
        if self.birth is None:
            self.birth = self._run_out(threat)
        return Outcome(f"The case is finished. {told_birth(self.birth)}")

    def _run_out(self, threat: FetalCourse) -> Birth:
        """What becomes of a fetus that the learner leaves: on by the clock, without new help."""
        now = self.minute
        told = max((measure_table().person(c.person).step for c in self.calls), default=0)
        if threat.birth_at is None and threat.active(now):
            helped = told >= threat.kind.call
            seen_at = now + (TEAM_COMES_MIN if helped else FOUND_AFTER_MIN)
            while now < seen_at and threat.active(now):
                threat.go_on(now, 1.0)
                now += 1.0
            self._team_acts(threat, now)
        while threat.birth_at is not None and now < threat.birth_at:
            threat.go_on(now, 1.0)
            now += 1.0
        return threat.born(now, threat.birth_by)

    def _chance(self, purpose: str) -> np.random.Generator:
        return np.random.default_rng(
            [self.seed, len(self.steps), zlib.crc32(f"{self.case.id}/{purpose}".encode())]
        )

    def _listen(self, place: Point) -> Outcome:
        if not set(self.case.asks) & {AskedStep.HANDS, AskedStep.SENSORS}:
            self._asked(AskedStep.SENSORS)
        rate = self.heart_bpm()
        site = self.site
        second = self.second_site
        if second is not None and self.case.second_twin is not None:
            to_first = anatomy.nearest_cm(place, site.spots)
            if anatomy.nearest_cm(place, second.spots) < to_first:
                site, rate = second, rate + self.case.second_twin.heart_apart_bpm
        heard = hear(place, site, rate, self.case.mother.pulse_bpm, self._chance("listen"))
        text = heard.text
        if Sign.IRREGULAR_HEART in self.signs and heard.clear >= 2:
            text += " It is not even: a beat comes early, then a pause, again and again."
        return Outcome(text)

    def heart_bpm(self) -> float:
        """The (first) fetal heart's rate of the last half minute."""
        truth = self.labour().truth if self.minute > 0 else None
        if truth is not None and len(truth.heart_rate.values) > 120:
            return float(np.mean(truth.heart_rate.values[-120:]))
        return self._engine.scenario.baseline_bpm

    @property
    def second_site(self) -> anatomy.HeartSite | None:
        """Where the upper twin's heart is heard; None with one fetus."""
        if self.case.second_twin is None:
            return None
        return anatomy.second_heart_site(self.case, self.case.second_twin.fetus, self.site)

    def _move_by_hand(self, place: Point) -> None:
        """A sensor taken up and laid anew counts as the measure of the same name."""
        lay = self._heart_from_s < math.inf
        self._put_heart_sensor(place)
        if not (lay and AskedStep.MEASURES in self.case.asks):
            return
        facts = self.facts()
        measure = measure_table().measure("move the heart sensor")
        if measure.is_accepted(facts):
            self.choices.append(Choice(measure.id, self.minute, facts))
            if anatomy.nearest_cm(place, self.site.spots) <= NEAR_SITE_CM:
                self._lay_well()

    def _put_heart_sensor(self, place: Point) -> None:
        self.heart_sensor_at = place
        self._heart_from_s = min(self._heart_from_s, self._engine.now_s)
        self._pending.append(act.MoveUltrasound(place))

    def _put_contraction_sensor(self, place: Point) -> None:
        self.contraction_sensor_at = place
        self._contraction_from_s = min(self._contraction_from_s, self._engine.now_s)
        self._pending.append(act.MoveToco(place))
        reach = toco_reach(place.distance_cm(self.body.fundus), self.body.wall_cm)
        self._reach.append((self._engine.now_s, float(reach)))

    def _decide_internal(self, answer: InternalAnswer) -> Outcome:
        from ebbline.teach.electrode_policy import may_be_offered

        self._asked(AskedStep.INTERNAL)
        checked_sure(answer.sure)
        self.internal = answer
        allowed = may_be_offered(self.case, self.fetus, frozenset(self.signs))
        placed = []
        if answer.electrode and allowed.electrode and self.monitors:
            self._pending.append(act.UseElectrode())
            self._change({"signal_loss": ELECTRODE_LOSS, "maternal_capture_per_hour": 0.0})
            self._heart_from_s = min(self._heart_from_s, self._engine.now_s)
            placed.append("a scalp electrode")
        if answer.catheter and allowed.catheter and self.monitors:
            self._pending.append(act.UseCatheter())
            self._contraction_from_s = min(self._contraction_from_s, self._engine.now_s)
            self._reach.append((self._engine.now_s, 1.0))
            placed.append("a pressure catheter")
        refused = [
            f"{name} is refused: " + " ".join(dict.fromkeys(r.text for r in reasons))
            for name, said, may, reasons in (
                (
                    "A scalp electrode",
                    answer.electrode,
                    allowed.electrode,
                    allowed.electrode_reasons,
                ),
                (
                    "A pressure catheter",
                    answer.catheter,
                    allowed.catheter,
                    allowed.catheter_reasons,
                ),
            )
            if said and not may
        ]
        words = list(refused)
        if placed:
            words.append(
                "She is asked, and agrees. The licensed team places " + " and ".join(placed) + "."
            )
        return Outcome(" ".join(words) or "Noted.")

    def _wait(self, minutes: float) -> Outcome:
        if not (isinstance(minutes, int | float) and 0 < minutes <= LONGEST_WAIT_MIN):
            raise AttemptError(
                f"{minutes} minutes cannot be waited.",
                remedy=f"Wait up to {LONGEST_WAIT_MIN:.0f} minutes at a time.",
            )
        if not self.monitors:
            raise AttemptError(
                "nothing is recorded in this case.", remedy="Go on to the questions."
            )
        self._not_born()
        by_ear = AskedStep.AUSCULTATION in self.case.asks
        if min(self._heart_from_s, self._contraction_from_s) == math.inf and not by_ear:
            raise AttemptError(
                "no sensor lies yet.", remedy="Lay a sensor down; the clock begins with it."
            )
        left = self.last_minute - self.minute
        if left < 1 / 60:
            raise AttemptError(
                "the case does not go on beyond this.", remedy="Choose, tell, and finish."
            )
        before, start_s = len(self.happened), self._engine.now_s
        self._go_on(min(minutes, left))
        news = tuple(self.happened[before:])
        words = [say for _, say in news] or [f"{_length(min(minutes, left))} by."]
        if by_ear:
            words.append(self._hand_on_fundus(start_s))
        return Outcome(" ".join(words), news)

    def _go_on(self, minutes: float) -> None:
        end_s = self._engine.now_s + round(minutes * 60)
        while self._engine.now_s < end_s and self.birth is None:
            while self._turns and self._turns[0].minute * 60 <= self._engine.now_s:
                self._turn(self._turns.pop(0))
            until = end_s
            if self._turns:
                until = min(end_s, max(self._turns[0].minute * 60, self._engine.now_s + 1))
            until = self._threaten(until)
            actions, self._pending = self._pending, []
            start_s = self._engine.now_s
            self._engine.advance((until - start_s) / 60.0, actions)
            if self.threat is not None:
                self.threat.go_on(start_s / 60.0, (until - start_s) / 60.0)
                self._see_to_birth(self.threat)
        while self._turns and self._turns[0].minute * 60 <= self._engine.now_s:
            self._turn(self._turns.pop(0))

    # --- a threat, and birth ---------------------------------------------------------------

    def _threaten(self, until_s: float) -> float:
        """Let the trace follow the threat; returns how far the labour may go before it is asked."""
        threat = self.threat
        if threat is None:
            return until_s
        now_s = self._engine.now_s
        if self.minute < threat.from_minute:
            return min(until_s, max(now_s + 1, threat.from_minute * 60))
        if self._team_at is not None and self.minute >= self._team_at:
            self._team_at = None
            self._team_acts(threat, self.minute)
        phase = threat.phase(self.minute)
        if phase != self._phase:
            self._phase = phase
            if phase == "cured":
                self.signs -= set(ENDS_WITH_THE_THREAT)
            knobs = threat.kind.trace.get(phase)
            if knobs is not None:
                self._change(dict(knobs))
        return min(until_s, now_s + 60)

    def _team_acts(self, threat: FetalCourse, minute: float) -> None:
        """The team does what has not been done."""
        if not threat.active(minute):
            return
        for measure in (*threat.kind.cured_by[:1], *threat.kind.acts, *threat.kind.born_by):
            threat.do(measure, minute)
        if threat.kind.birth:
            threat.arrange_birth(minute)
        self.happened.append((minute, "The team is there and takes over what is left to do."))

    def _arrange_birth(self) -> None:
        """Birth needs both: that someone asks for it, and people who can bring it about."""
        told = max((measure_table().person(c.person).step for c in self.calls), default=0)
        asked = self.birth_asked is not None
        begun = self.threat is not None and self.minute >= self.threat.from_minute
        if self.threat is not None and begun and asked and told >= PEOPLE_FOR_BIRTH:
            self.threat.arrange_birth(self.minute)

    def _see_to_birth(self, threat: FetalCourse) -> None:
        if threat.birth_at is not None and self.minute >= threat.birth_at:
            self.birth = threat.born(self.minute, threat.birth_by)
            self.happened.append((self.minute, told_birth(self.birth)))

    def _turn(self, turn: Turn) -> None:
        self.happened.append((self.minute, turn.say))
        self.signs |= set(turn.sign)
        self.signs -= set(turn.ends)
        if turn.fetus is not None:
            self.fetus = turn.fetus
            self.site = anatomy.heart_site(self.case, turn.fetus)
            self._pending.append(act.MoveFetus(self.site.at))
            if AskedStep.SENSORS not in self.case.asks:
                self._put_heart_sensor(self.site.at)
        if turn.labour:
            self._change(turn.labour)

    def _change(self, knobs: dict[str, Any]) -> None:
        """From now on the labour has these knobs; what the learner set stays set."""
        turned = [one.scenario for one in self._pending if isinstance(one, act.ChangeCourse)]
        base = turned[-1] if turned else self._engine.scenario
        calm = patient.calm(base, 0.0 if turned else self.minute - self._planned_minute)
        self._planned_minute = self.minute
        scenario = patient.changed(calm, knobs, where=self.case.id)
        self._pending.append(act.ChangeCourse(scenario))
        if self._oxytocic != 1.0:
            self._pending.append(act.SetOxytocin(self._oxytocic))
        if not self._pushing:
            self._pending.append(act.PausePushing())

    def _read(self, answer: StripAnswer) -> Outcome:
        self._asked(AskedStep.STRIP)
        if self.reading is not None:
            raise AttemptError(
                "the reading has been given.", remedy="Go on to what you would do, or finish."
            )
        if not self.ready_to_read:
            raise AttemptError(
                f"{self.case.minutes_before_reading} minutes of trace are read; there are "
                f"{self.minute:.0f}.",
                remedy="Let the labour go on.",
            )
        self.reading = ReadingTaken(
            self.minute, replace(checked_answer(answer), window=self.window), self.facts()
        )
        return Outcome("Your reading is kept. It is compared with the truth at the end.")

    # --- measures --------------------------------------------------------------------------

    def _choose(self, measure: Measure) -> Outcome:
        self._asked(AskedStep.MEASURES)
        self._not_born()
        facts = self.facts()
        self.choices.append(Choice(measure.id, self.minute, facts))
        if measure.dangers(facts):
            return Outcome(BEING_STOPPED)
        if self.threat is not None:
            self.threat.do(measure.id, self.minute)
        return Outcome(self._do(measure.does, facts))

    def _ready_for_birth(self) -> str:
        if self.birth_asked is None:
            self.birth_asked = self.minute
        self._arrange_birth()
        if self.threat is None or self.minute < self.threat.from_minute:
            return "Theatre and people are told. Whether and when is the team's to decide."
        if self.threat.birth_at is None:
            return "Everything is made ready. Nobody who can bring about birth has been told yet."
        left = max(0.0, self.threat.birth_at - self.minute)
        return f"Everything is made ready and people are there. Birth in some {left:.0f} minutes."

    def _do(self, does: str, facts: frozenset[Fact]) -> str:
        match does:
            case "change position":
                self._pending.append(act.ChangePosition())
                return "She turns over to her side. The belts are put straight."
            case "stop oxytocic" | "halve oxytocic" | "raise oxytocic":
                if Fact.OXYTOCIC not in facts and does != "raise oxytocic":
                    return "No oxytocic is running."
                self._oxytocic = {"stop": 0.0, "halve": 0.5, "raise": 1.3}[does.split()[0]]
                self._pending.append(act.SetOxytocin(self._oxytocic))
                return "The pump is set. Its effect takes about ten minutes to change."
            case "tocolytic":
                self._pending.append(act.GiveTocolytic())
                return "The obstetrician orders it, and it is given."
            case "fluids":
                self._pending.append(act.GiveFluids())
                return "A bolus is ordered and runs."
            case "treat pressure":
                if Sign.LOW_BLOOD_PRESSURE not in self.signs:
                    return "Her pressure is as it was: not low."
                self.signs.discard(Sign.LOW_BLOOD_PRESSURE)
                self._pending.append(act.GiveFluids())
                return "The anaesthetist treats it. Five minutes later it is back to 104 over 62."
            case "pause pushing":
                self._pushing = False
                self._pending.append(act.PausePushing())
                return "She breathes through the next contractions."
            case "maternal pulse":
                return self._feel_pulse()
            case "resite":
                return self._resite()
            case "lift off cord":
                self._pending += [act.ChangePosition(), act.ChangePosition()]
                return (
                    "A hand lifts the presenting part and stays there; she turns, knees to chest."
                )
            case "amnioinfusion":
                self._pending.append(act.InfuseAmnion())
                return "The obstetrician agrees, and it runs slowly."
            case "get ready for birth":
                return self._ready_for_birth()
            case "":
                return NOTHING_CHANGES
            case _:
                return "It is arranged."

    def _feel_pulse(self) -> str:
        pulse = self.case.mother.pulse_bpm
        recording = self.recording()
        text = f"Her pulse is about {pulse:.0f}."
        if recording is None or not recording.fetuses:
            return text
        channel = recording.heart_rate()
        last = channel.samples[-round(60 * channel.rate_hz) :]
        if not np.isfinite(last).any():
            return f"{text} The strip shows no rate just now."
        shown = float(np.nanmedian(last))
        alike = abs(shown - pulse) <= 8
        return f"{text} The strip shows about {shown:.0f} in the last minute" + (
            "; the two go together." if alike else "; they are two different rates."
        )

    def _resite(self) -> str:
        self._lay_well()
        if AskedStep.SENSORS in self.case.asks:
            return "You take the sensor off and listen again. Choose its new place on the abdomen."
        self._put_heart_sensor(self.site.at)
        return "You listen again and lay the sensor where the heart is loudest."

    def _lay_well(self) -> None:
        now = self._engine.scenario
        if now.signal_loss > WELL_PLACED_LOSS or now.maternal_capture_per_hour > 0:
            self._change({"signal_loss": WELL_PLACED_LOSS, "maternal_capture_per_hour": 0.0})

    @property
    def site_distance_cm(self) -> float | None:
        """Heart sensor to the nearest best site now, cm; None when it never lay."""
        if self.heart_sensor_at is None:
            return None
        return anatomy.nearest_cm(self.heart_sensor_at, self.site.spots)

    @property
    def contraction_site_distance_cm(self) -> float | None:
        """Contraction sensor to its best site, cm; None when it never lay."""
        if self.contraction_sensor_at is None:
            return None
        return anatomy.nearest_cm(self.contraction_sensor_at, self.contraction_sites)

    @property
    def contraction_sites(self) -> tuple[Point, ...]:
        """Where the contraction sensor lies well now."""
        return anatomy.contraction_sites(self.case, self.fetus)

    def electrode_on(self) -> bool:
        """Whether the heart rate comes from an electrode."""
        return self._engine.scenario.heart_sensor is SensorKind.SCALP_ELECTRODE


def told_birth(birth: Birth) -> str:
    """How the case ends, in words."""
    gases = (
        f"Cord artery: pH {birth.ph:.2f}, base deficit {birth.base_deficit:.1f} mmol/L, pCO2 "
        f"{birth.pco2_mmhg:.0f} mmHg."
    )
    if not birth.by:
        return f"The baby is not born in this case; were it born now, its gases would be: {gases}"
    one, five = birth.apgar
    return (
        f"The baby is born {birth.by} at minute {birth.minute:.0f}. Apgar {one} at one minute, "
        f"{five} at five. {gases} {birth.words}"
    )


def _clock(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}"


def _length(minutes: float) -> str:
    return "One minute goes" if minutes == 1 else f"{minutes:.3g} minutes go"


def _place(x: float, y: float) -> Point:
    if not (abs(x) <= 60 and abs(y) <= 60):
        raise AttemptError("that is not a place on the abdomen.", remedy="Choose one on it.")
    return Point(float(x), float(y))


def _from(channel: Channel, start_s: float) -> Channel:
    if start_s <= 0:
        return channel
    samples = channel.samples.copy()
    samples[: round(start_s * channel.rate_hz)] = np.nan
    return replace(channel, samples=samples)
