"""The labour's clock: lets events happen, oxygen follow, and the sensors give their signals."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ebbline.errors import ScenarioError
from ebbline.synth import actions as act
from ebbline.synth import oxygen, sensors
from ebbline.synth.activity_sensor import ActivitySensor
from ebbline.synth.apply_action import do
from ebbline.synth.body import Body, Shown
from ebbline.synth.event_scheduler import Happenings
from ebbline.synth.heart_sensor import HeartSensor
from ebbline.synth.output import Kept, Labour, recording_of, truth_of
from ebbline.synth.scenario import Scenario
from ebbline.synth.shapes import STEP_HZ
from ebbline.synth.state import LabourState
from ebbline.synth.story import Story
from ebbline.synth.streams import Streams
from ebbline.terms import SensorKind

FloatArray = NDArray[np.float64]

__all__ = ["Labour", "LabourEngine", "Stretch", "invent"]

BEATS_UNEVEN_BPM, BEATS_UNEVEN_SHARE = 0.42, 0.026
"""How far neighbouring beats differ: a least, and more with variability (share of the bandwidth;
fitted to the steps of the CTU-UHB recordings)."""
DESCENT_CM_PER_HOUR, TO_MIDLINE_PER_HOUR = 2.0, 0.4
"""In the second stage the heart's site moves down and to the midline (common practice; speed
chosen)."""


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """The newest samples, from start_s. Heart rates in bpm, NaN where lost."""

    start_s: float
    end_s: float
    rate_hz: float
    heart_rate: FloatArray
    activity: FloatArray
    maternal_rate: FloatArray


class LabourEngine:
    """A labour that goes on as long as it is asked to, and answers what is done to it.

    Advanced in pieces it is the same, sample by sample, as advanced at once.
    """

    def __init__(self, scenario: Scenario, seed: int) -> None:
        self.seed = seed
        self._streams = Streams(seed)
        self._state = LabourState.begin(scenario)
        self._state.tracks.reach(0)
        self._happenings = Happenings(self._state, self._streams)
        self._body = Body(self._state, self._streams)
        of = self._streams.of
        device = sensors.device_of(of("device"), scenario.heart_sensor)
        self._device = device
        self._heart = HeartSensor(of("device"), of("heart sensor"), of("heart noise"), device)
        self._belt = ActivitySensor(
            of("device"), of("activity sensor"), of("activity faults"), device
        )
        self._stores = oxygen.rested()
        self._kept = Kept()

    @property
    def now_s(self) -> float:
        """Seconds since the labour's start."""
        return float(self._state.now)

    @property
    def scenario(self) -> Scenario:
        """What the labour follows now, with the sensors and sites as they are now."""
        return self._state.scenario

    def advance(self, minutes: float, actions: Iterable[act.Action] = ()) -> Stretch:
        """Do the actions now, then let the labour go on for some minutes (whole seconds).

        Returns the new samples. Raises ScenarioError for a time that is not at least a second.
        """
        seconds = round(minutes * 60)
        if seconds < 1:
            raise ScenarioError(
                f"{minutes} minutes are less than a second.",
                where="advance",
                remedy="Advance by a second or more.",
            )
        for action in actions:
            do(action, self._state, self._happenings, self._streams)
        start, end = self._state.now, self._state.now + seconds
        self._state.tracks.reach(end)
        while self._happenings.next_s() < end:
            self._breathe(int(self._happenings.next_s()))
            self._happenings.happen()
        self._breathe(end)
        stretch = self._sense(start, end, self._body.show(start, end))
        self._state.now = end
        return stretch

    def labour(self) -> Labour:
        """The recording and the truth of everything so far."""
        recording = recording_of(self._state, self._kept, self.seed)
        return Labour(recording, truth_of(self._state, self._kept), self.scenario, self.seed)

    def _breathe(self, second: int) -> None:
        """Let oxygen follow up to a second: what comes later is not decided yet."""
        state, t, s = self._state, self._state.tracks, self._state.scenario
        if second <= state.breathed:
            return
        t.reach(second)
        oxygen.breathe(
            self._stores,
            state.breathed,
            second,
            s.resting_tone_mmhg,
            t.bell,
            t.push,
            t.occlusion,
            t.vulnerability,
            t.sluggishness,
            s.placental_vulnerability,
            s.reserve_loss / 3600.0,
            t.oxygen,
            t.reserve,
            t.reflex,
        )
        state.breathed = second

    def _sense(self, a: int, b: int, body: Shown) -> Stretch:
        s, t = self._state.scenario, self._state.tracks
        fast = slice(a * STEP_HZ, b * STEP_HZ)
        electrode = s.heart_sensor is SensorKind.SCALP_ELECTRODE
        distance = self._distance(a, b, body.wander)
        heard = sensors.hearing(
            s,
            electrode=electrode,
            averaging=self._device.averaging,
            rate=body.rate,
            fall=body.fall,
            push=t.push[fast],
            movement=t.movement[fast],
            distance_cm=np.repeat(distance, STEP_HZ),
        )
        uneven = BEATS_UNEVEN_BPM + BEATS_UNEVEN_SHARE * body.width
        heart, mode, off = self._heart.give(
            body.rate,
            body.maternal,
            heard,
            uneven,
            electrode,
            s.sensor_off_per_hour,
            s.signal_constancy,
        )
        pressure = s.resting_tone_mmhg + t.bell[fast] + t.push[fast]
        activity = self._belt.give(
            s.resting_tone_mmhg + t.bell[fast], t.push[fast], t.movement[fast], off, s
        )
        maternal = np.round(body.maternal)
        self._kept.add(
            baseline=body.baseline,
            fluctuation=body.fluctuation,
            lost=body.lost.astype(float),
            distance=np.full(b - a, np.nan) if electrode else distance,
            rate=body.rate,
            heart=heart,
            mode=mode.astype(float),
            activity=activity,
            maternal=maternal,
            pressure=pressure,
            **{mechanism.name: track for mechanism, track in body.falls.items()},
        )
        every = round(STEP_HZ / s.rate_hz)
        given = (values[::every] for values in (heart, activity, maternal))
        return Stretch(float(a), float(b), s.rate_hz, *given)

    def _distance(self, a: int, b: int, wander: FloatArray) -> FloatArray:
        """Distance between sensor and the heart's site, cm, each second from a to b."""
        second = np.arange(a, b)
        heart, sensor = np.empty((b - a, 2)), np.empty((b - a, 2))
        for sites in self._state.sites:
            here = second >= sites.since_s
            heart[here] = sites.heart.x_cm, sites.heart.y_cm
            sensor[here] = sites.ultrasound.x_cm, sites.ultrasound.y_cm
        hours = np.clip((second - self._state.second_stage_s) / 3600.0, 0.0, None)
        heart[:, 0] *= np.exp(-TO_MIDLINE_PER_HOUR * hours)
        heart[:, 1] -= DESCENT_CM_PER_HOUR * hours
        away = heart + self._state.scenario.fetal_wandering_cm * wander - sensor
        return np.asarray(np.hypot(away[:, 0], away[:, 1]))


def invent(scenario: Scenario | Story, seed: int) -> Labour:
    """A labour as long as the scenario (the story's chapters) says, from one seed."""
    chapters = scenario.chapters if isinstance(scenario, Story) else (scenario,)
    engine = LabourEngine(chapters[0], seed)
    engine.advance(chapters[0].hours * 60.0)
    for chapter in chapters[1:]:
        engine.advance(chapter.hours * 60.0, _turn_to(chapter))
    labour = engine.labour()
    words = " then ".join(chapter.words for chapter in chapters if chapter.words)
    if not words:
        return labour
    note = f"invented with seed {seed} from the words: {words}"
    told = replace(labour.recording.provenance, notes=(note,))
    return replace(labour, recording=replace(labour.recording, provenance=told))


def _turn_to(chapter: Scenario) -> list[act.Action]:
    """What turns a labour to another chapter, its sensors included."""
    electrode = chapter.heart_sensor is SensorKind.SCALP_ELECTRODE
    catheter = chapter.activity_sensor is SensorKind.PRESSURE_CATHETER
    return [
        act.ChangeCourse(chapter),
        act.UseElectrode() if electrode else act.UseUltrasound(),
        act.UseCatheter() if catheter else act.UseToco(),
        act.MoveUltrasound(chapter.ultrasound_at),
    ]
