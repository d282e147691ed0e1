"""The labour's clock: decides events one by one, lets the body and the sensors answer.

Everything random comes from streams named by purpose and seeded by the labour's seed, drawn in
the order of the labour's own time. So a labour advanced in pieces equals one advanced at once,
and an action changes only what follows from it.
"""

from __future__ import annotations

import heapq
import math
import zlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ebbline.errors import ScenarioError
from ebbline.recording.model import Channel, ChannelKind, Context, Provenance, Recording
from ebbline.synth import actions as act
from ebbline.synth import measure, oxygen, sensors, shapes
from ebbline.synth.compiled import compiled
from ebbline.synth.fluctuation import Fluctuation
from ebbline.synth.scenario import Behaviour, Point, Scenario
from ebbline.synth.shapes import STEP_HZ
from ebbline.synth.story import Story
from ebbline.synth.tracks import Tracks
from ebbline.synth.truth import (
    Curve,
    Mechanism,
    SpanKind,
    TrueBaselineChange,
    TrueContraction,
    TrueSinusoidal,
    TrueSpan,
    Truth,
    variability_class,
)
from ebbline.terms import SensorKind, Stage

FloatArray = NDArray[np.float64]

QUIET_MIN, ACTIVE_MIN = (14.0, 38.0), (25.0, 65.0)
QUIET_BANDWIDTH, QUIET_ACCELERATIONS = 0.5, 0.08
"""Behavioural states 1F and 2F: how long, how much less variability and accelerations in 1F.
Nijhuis JG, Prechtl HFR, Martin CB, Bots RSGM. Early Hum Dev 1982;6:177-95; quiet spells of 20 to
40 minutes at term (Pillai M, James D. Obstet Gynecol 1990;76:812-6; from memory)."""
STATE_TURNS_S = 45.0

OPIOID_DEPTH, OPIOID_FROM_MIN, OPIOID_FULL_MIN, OPIOID_FADES_MIN, OPIOID_GONE_MIN = (
    0.6,
    5.0,
    25.0,
    75.0,
    150.0,
)
"""Pethidine lowers variability from some 5 to 25 minutes after it is given, for one to two hours
(common practice; from memory)."""
MAGNESIUM_BANDWIDTH = 0.8
OXYTOCIN_FADES_S, TOCOLYTIC_S = 360.0, 900.0
OXYTOCIN_STOPPED, OXYTOCIN_ADDS, TOCOLYSED = 0.55, 0.35, 0.12
"""Contractions wane over 5 to 10 minutes after oxytocin stops (half-life 3 to 6 minutes; from
memory), a tocolytic holds the uterus for some 15 minutes (common practice). Shares of the rate that
remain, or that a full dose adds: chosen, no source."""
UNEVENNESS = 0.06
"""Standard deviation, as a share, of the unevenness of a reflex fall (by eye)."""
BURDEN_TACHYCARDIA_BPM = 18.0
FEVER_BPM = 22.0
DESCENT_CM_PER_HOUR = 2.0
BASELINE_MEMORY_S = 600.0
LEAST_RATE_BPM = 52.0
CALM_BANDWIDTH_BPM = 16.0
"""Beyond this bandwidth variability grows by faster swings, not by deeper slow waves (common
practice: saltatory patterns are quick and jagged)."""
EXCESS_SHARE = 0.8
"""How two fluctuations' bandwidths add (measured)."""
RAGGED_SHARE = 0.5
"""Most bandwidth of the swings inside a variable deceleration, as a share of its depth (by eye on
the CTU-UHB recordings)."""


@dataclass(frozen=True, slots=True, eq=False)
class Labour:
    """A virtual labour: what the sensors recorded, and the truth."""

    recording: Recording
    truth: Truth
    scenario: Scenario
    seed: int


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """The newest samples, from start_s. Heart rates in bpm, NaN where lost."""

    start_s: float
    end_s: float
    rate_hz: float
    heart_rate: FloatArray
    activity: FloatArray
    maternal_rate: FloatArray


@dataclass(slots=True)
class _Course:
    """What actions have changed."""

    oxytocin_from: float
    oxytocin_to: float
    oxytocin_at_s: float = -1e9
    tocolytic_at_s: float = -1e9
    cord_ease: float = 1.0
    flow_ease: float = 1.0


@compiled
def _walk(white: FloatArray, state: FloatArray, keep: FloatArray, kick: FloatArray) -> FloatArray:
    out = np.empty_like(white)
    for i in range(white.shape[0]):
        for k in range(white.shape[1]):
            state[k] = keep[k] * state[k] + kick[k] * white[i, k]
            out[i, k] = state[k]
    return out


@compiled
def _approach(state: FloatArray, target: FloatArray, memory_s: FloatArray) -> FloatArray:
    out = np.empty_like(target)
    for i in range(len(target)):
        state[0] += (target[i] - state[0]) / memory_s[i]
        out[i] = state[0]
    return out


class _Walk:
    """Slow random walks on the one-second grid, each of unit variance."""

    def __init__(self, rng: np.random.Generator, memories_s: list[float]) -> None:
        self._rng = rng
        self._keep = np.exp(-1.0 / np.array(memories_s))
        self._kick = np.sqrt(1 - self._keep**2)
        self._state = rng.standard_normal(len(memories_s))

    def draw(self, seconds: int) -> FloatArray:
        white = self._rng.standard_normal((seconds, len(self._keep)))
        return _walk(white, self._state, self._keep, self._kick)


class LabourEngine:
    """A labour that goes on as long as it is asked to, and answers what is done to it."""

    def __init__(self, scenario: Scenario, seed: int) -> None:
        if 4 % scenario.rate_hz:
            raise ScenarioError(
                f"{scenario.rate_hz:g} samples per second cannot be made.",
                where="rate_hz",
                remedy="Choose 1, 2 or 4.",
            )
        self.scenario = scenario
        self.seed = seed
        self._now = 0
        self._tracks = Tracks()
        self._tracks.reach(0)
        self._breath = oxygen.rested()
        self._breathed = 0
        self._queue: list[tuple[float, int, Callable[[float], None]]] = []
        self._ticket = 0
        self._course = _course(scenario)
        self._rngs: dict[str, np.random.Generator] = {}

        self._contractions: list[tuple[int, int, float, bool, bool]] = []
        self._cord_events: list[measure.CordEvent] = []
        self._pushing = scenario.pushing
        self._second_stage_s = (
            scenario.second_stage_start_min * 60.0
            if scenario.second_stage_start_min is not None
            else (0.0 if scenario.stage is Stage.SECOND else math.inf)
        )
        self._opioid_s = (
            [scenario.opioid_at_min * 60.0] if scenario.opioid_at_min is not None else []
        )
        self._sites_from: list[tuple[int, Point, Point]] = [
            (0, scenario.heart_at, scenario.ultrasound_at)
        ]
        self._levels: list[tuple[float, float, float]] = [(0.0, scenario.baseline_bpm, 60.0)]
        self._changes: list[TrueBaselineChange] = []
        self._state_levels: list[tuple[float, float]] = []
        self._quiet = False
        self._widths: list[tuple[float, float]] = [(0.0, scenario.bandwidth_bpm)]
        self._spells: list[tuple[float, float, bool]] = [
            (s.start_min * 60, s.end_min * 60, False) for s in scenario.sinusoidal
        ] + [(s.start_min * 60, s.end_min * 60, True) for s in scenario.pseudo_sinusoidal]

        self._fluctuation = Fluctuation(self._rng("fluctuation"))
        self._slow = _Walk(
            self._rng("slow"), [BASELINE_MEMORY_S, 900.0, 900.0, 25.0, 400.0, 8.0, 7.0]
        )
        self._heart = sensors.HeartSensor(self._rng("heart sensor"), self._rng("heart noise"))
        self._belt = sensors.ActivitySensor(
            self._rng("activity sensor"), self._rng("activity faults")
        )
        self._level_state = np.array([scenario.baseline_bpm])
        self._state_state = np.array([1.0])
        self._kept: dict[str, list[FloatArray]] = {}
        self._last: dict[str, float] = {}
        self._coupled_next = False
        self._begin()

    @property
    def now_s(self) -> float:
        """Seconds since the labour's start."""
        return float(self._now)

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
            self._do(action)
        end = self._now + seconds
        self._tracks.reach(end)
        while self._queue and self._queue[0][0] < end:
            time, _, handler = heapq.heappop(self._queue)
            self._breathe(int(time))
            handler(time)
        self._breathe(end)
        stretch = self._render(self._now, end)
        self._now = end
        return stretch

    # --- streams and queue -----------------------------------------------------------------

    def _rng(self, purpose: str) -> np.random.Generator:
        if purpose not in self._rngs:
            key = [self.seed & 0xFFFFFFFF, (self.seed >> 32) & 0xFFFFFFFF]
            sequence = np.random.SeedSequence([*key, zlib.crc32(purpose.encode())])
            self._rngs[purpose] = np.random.Generator(np.random.PCG64(sequence))
        return self._rngs[purpose]

    def _at(self, time_s: float, handler: Callable[[float], None]) -> None:
        self._ticket += 1
        heapq.heappush(self._queue, (max(time_s, float(self._now)), self._ticket, handler))

    def _breathe(self, second: int) -> None:
        if second <= self._breathed:
            return
        a, b = self._breathed, second
        self._tracks.reach(b)
        t = self._tracks
        every = slice(a * STEP_HZ, b * STEP_HZ, STEP_HZ)
        pressure = np.zeros(b)
        cord = np.zeros(b)
        pressure[a:] = self.scenario.resting_tone_mmhg + t.bell[every] + t.push[every]
        cord[a:] = t.occlusion[every]
        oxygen.breathe(
            self._breath,
            a,
            b,
            pressure,
            cord,
            t.vulnerability,
            self.scenario.placental_vulnerability,
            self.scenario.reserve_loss / 3600.0,
            t.oxygen,
            t.reserve,
            t.reflex,
        )
        self._breathed = b

    # --- what happens by itself --------------------------------------------------------------

    def _begin(self) -> None:
        rng = self._rng("contraction")
        self._at(float(rng.uniform(5.0, 60.0)), self._contract)
        self._at(0.0, self._turn_state)
        self._at(float(self._rng("acceleration").exponential(60.0)), self._accelerate)
        self._at(float(self._rng("movement").exponential(120.0)), self._move)
        self._at(float(self._rng("unpaired").exponential(300.0)), self._compress_unpaired)
        self._at(float(self._rng("prolonged").exponential(1800.0)), self._fall_by_chance)
        self._plan(self.scenario, 0.0)

    def _plan(self, scenario: Scenario, from_s: float) -> None:
        """Put what the scenario has at fixed times into the queue."""
        for shift in scenario.baseline_shifts:
            self._at(
                from_s + shift.at_min * 60,
                lambda time, s=shift: self._shift(time, s.to_bpm, s.over_min),  # type: ignore[misc]
            )
        for fall in scenario.prolonged:
            self._at(
                from_s + fall.at_min * 60,
                lambda time, f=fall: self._fall(time, f.depth_bpm, f.minutes),  # type: ignore[misc]
            )

    def _shift(self, time: float, to_bpm: float, over_min: float) -> None:
        before = self._levels[-1][1]
        self._levels.append((time, to_bpm, max(5.0, over_min * 60 / 3)))
        if abs(to_bpm - before) >= 5.0:
            self._changes.append(TrueBaselineChange(time, before, to_bpm))

    def _oxytocin(self, time: float) -> float:
        """Level of the oxytocic that acts, against the scenario's own."""
        c = self._course
        gone = math.exp(-max(0.0, time - c.oxytocin_at_s) / OXYTOCIN_FADES_S)
        return c.oxytocin_to + (c.oxytocin_from - c.oxytocin_to) * gone

    def _rate_factor(self, time: float) -> float:
        """What the oxytocic and a tocolytic make of the scenario's rate of contractions."""
        level = self._oxytocin(time)
        own, more = OXYTOCIN_STOPPED, OXYTOCIN_ADDS
        factor = own + (1 - own) * level if self.scenario.oxytocin else 1 + more * level
        since = time - self._course.tocolytic_at_s
        if 0 <= since < 2 * TOCOLYTIC_S:
            left = TOCOLYSED
            factor *= left if since < TOCOLYTIC_S else left + (1 - left) * (since / TOCOLYTIC_S - 1)
        return factor

    def _contract(self, time: float) -> None:
        s, rng = self.scenario, self._rng("contraction")
        factor = self._rate_factor(time)
        draws = rng.standard_normal(6)
        chance, coupled_chance = rng.random(), rng.random()
        per_10 = s.contractions_per_10_min * factor
        if per_10 < 0.05:
            self._at(time + 120.0, self._contract)
            return
        coupled = bool(self._contractions) and self._coupled_next
        interval = 600.0 / per_10 * max(0.35, 1.0 + s.contraction_irregularity * draws[0])
        seconds = float(np.clip(s.contraction_s * (1 + 0.14 * draws[1]), 30.0, 180.0))
        seconds = min(seconds, max(40.0, 0.88 * 600.0 / per_10))
        peak = s.contraction_mmhg * math.exp(0.22 * draws[2])
        if coupled:
            peak, seconds = 0.65 * peak, 0.8 * seconds
        self._coupled_next = not coupled and coupled_chance < s.coupling_share
        if self._coupled_next:
            interval = 1.05 * seconds
        rise_share = float(np.clip(0.45 + 0.04 * draws[3], 0.34, 0.52))
        bell = shapes.contraction(peak, seconds, rise_share, rng)
        self._tracks.add("bell", time, bell)
        pushing = self._pushing and time >= self._second_stage_s - 1e-9
        if pushing:
            self._tracks.add("push", time, shapes.pushes(bell, self._rng("pushing")))
        start = round(time * STEP_HZ)
        self._contractions.append((start, start + len(bell), s.resting_tone_mmhg, pushing, coupled))
        self._answer(time, bell, seconds, peak, chance)
        self._at(time + max(interval, 0.92 * seconds), self._contract)

    def _answer(
        self, time: float, bell: FloatArray, seconds: float, peak: float, chance: float
    ) -> None:
        """Which mechanism this contraction sets off, if any."""
        s, c = self.scenario, self._course
        late = s.late_share
        variable = late + s.variable_share * c.cord_ease
        early = s.late_share + s.variable_share + s.early_share
        rng = self._rng("answer")
        draws = rng.standard_normal(3)
        vulnerability = s.placental_vulnerability
        if chance < late:
            strength = min(1.25, math.sqrt(peak * seconds / (s.contraction_mmhg * s.contraction_s)))
            wish = s.late_depth_bpm * c.flow_ease * strength * math.exp(0.2 * draws[0])
            pressure = s.resting_tone_mmhg + bell[::STEP_HZ]
            vulnerability = oxygen.vulnerability_for(wish, pressure)
        elif chance < variable:
            depth = s.variable_depth_bpm * (0.6 + 0.4 * c.cord_ease) * math.exp(0.3 * draws[0])
            begin = time + seconds * float(np.clip(0.3 + 0.15 * draws[1], 0.0, 0.7))
            self._compress(begin, depth, 36.0 * math.exp(0.4 * draws[2]))
        elif s.late_share + s.variable_share <= chance < early:
            depth = s.early_depth_bpm * math.exp(0.2 * draws[0])
            lag = round(float(np.clip(1.0 + 1.5 * draws[1], 0.0, 4.0)) * STEP_HZ)
            dip = shapes.smooth(bell / bell.max(), 10.0)
            self._tracks.add("head", time + lag / STEP_HZ, depth * dip / dip.max())
        first, last = int(time), int(time + seconds + 45)
        self._tracks.reach(last)
        self._tracks.vulnerability[first:last] = vulnerability

    def _compress(self, time: float, depth: float, seconds: float) -> None:
        s, rng = self.scenario, self._rng("cord")
        reserve = self._tracks.reserve[max(0, self._breathed - 1)] if self._breathed else 1.0
        tired = float(np.clip((0.75 - reserve) / 0.4, 0.0, 1.0))
        chances = rng.random(3)
        shoulders = bool(chances[0] < s.shoulder_share * (1 - tired))
        overshoot = bool(chances[1] < s.overshoot_share)
        slow = bool(chances[2] < s.slow_return_share + 0.5 * tired)
        response = shapes.cord_response(
            float(np.clip(depth, 8.0, 105.0)),
            float(np.clip(seconds, 17.0, 95.0)),
            shoulders=shoulders,
            overshoot=overshoot,
            slow_return=slow,
            rng=rng,
        )
        self._tracks.add("cord", time, response.fall)
        self._tracks.add("rises", time, response.rises)
        self._tracks.add("occlusion", time, response.occlusion)
        inside = shapes.smooth(np.clip(response.fall / response.fall.max() * 2, 0.0, 1.0), 3.0)
        self._tracks.add("ragged", time, depth * RAGGED_SHARE * rng.random() ** 1.5 * inside)
        fall_s = time + response.fall_at / STEP_HZ
        length = len(np.trim_zeros(response.fall, "b")) - response.fall_at
        self._cord_events.append(
            measure.CordEvent(
                fall_s,
                fall_s + length / STEP_HZ,
                response.shoulder_before,
                response.shoulder_after,
                response.overshoot,
            )
        )

    def _compress_unpaired(self, time: float) -> None:
        rng = self._rng("unpaired")
        draws, wait = rng.standard_normal(2), rng.exponential(1.0)
        per_hour = self.scenario.variable_unpaired_per_hour * self._course.cord_ease
        if per_hour > 0 and not self._busy(time, time + 60):
            depth = self.scenario.variable_depth_bpm * 0.8 * math.exp(0.3 * draws[0])
            self._compress(time, depth, 26.0 * math.exp(0.35 * draws[1]))
        self._at(
            time + (wait * 3600.0 / per_hour if per_hour > 0 else 300.0), self._compress_unpaired
        )

    def _fall_by_chance(self, time: float) -> None:
        rng = self._rng("prolonged")
        wait, minutes, depth = rng.exponential(1.0), rng.uniform(2.4, 7.0), rng.uniform(25.0, 65.0)
        per_hour = self.scenario.prolonged_per_hour
        if per_hour > 0:
            self._fall(time, depth, minutes)
            wait *= 3600.0 / per_hour
        self._at(time + (max(wait, 600.0) if per_hour > 0 else 600.0), self._fall_by_chance)

    def _fall(self, time: float, depth: float, minutes: float) -> None:
        fall = shapes.prolonged_fall(depth, minutes, self._rng("prolonged shape"))
        self._tracks.add("sustained", time, fall)
        self._tracks.add("occlusion", time, 0.5 * fall / fall.max())

    def _turn_state(self, time: float) -> None:
        rng = self._rng("state")
        behaviour = self.scenario.behaviour
        share = rng.random()
        if behaviour is Behaviour.CYCLING:
            first = not self._state_levels
            self._quiet = share < 0.3 if first else not self._quiet
        else:
            self._quiet = behaviour is Behaviour.QUIET
        low, high = QUIET_MIN if self._quiet else ACTIVE_MIN
        minutes = low + (high - low) * rng.random()
        self._state_levels.append((time, QUIET_BANDWIDTH if self._quiet else 1.0))
        if len(self._state_levels) == 1:
            self._state_state[0] = self._state_levels[0][1]
        self._at(time + minutes * 60, self._turn_state)

    def _liveliness(self, time: float) -> float:
        """How often accelerations come, against the scenario's rate."""
        lively = 1.0 - 0.8 * float(self._opioid(np.array([time]))[0])
        if self._quiet:
            lively *= QUIET_ACCELERATIONS
        elif self.scenario.behaviour is Behaviour.CYCLING:
            lively *= 1.3
        if any(a - 30 <= time < b and not pseudo for a, b, pseudo in self._spells):
            return 0.0
        reserve = self._tracks.reserve[self._breathed - 1] if self._breathed else 1.0
        return lively * float(np.clip((reserve - 0.3) / 0.4, 0.0, 1.0))

    def _accelerate(self, time: float) -> None:
        s, rng = self.scenario, self._rng("acceleration")
        draws, chances, wait = rng.standard_normal(3), rng.random(4), rng.exponential(1.0)
        most = max(1e-6, s.accelerations_per_hour * 1.4)
        keep = self._liveliness(time) / 1.4
        if self._busy(time, time + 25) and chances[1] > 0.12:
            keep = 0.0
        maturity = float(np.clip(0.62 + 0.38 * (s.weeks - 27.0) / 5.5, 0.62, 1.0))
        if chances[0] < keep:
            height = s.acceleration_height_bpm * maturity * math.exp(0.27 * draws[0])
            if chances[2] < s.prolonged_acceleration_share:
                seconds = 130.0 + 220.0 * chances[3]
            else:
                seconds = float(
                    np.clip((16.0 + 16.0 * maturity) * math.exp(0.45 * draws[1]), 9.0, 112.0)
                )
            shape = shapes.acceleration(height, seconds, self._rng("acceleration shape"))
            self._tracks.add("activity", time, shape)
            if chances[3] < 0.7:
                self._stir(time, 0.35 + 0.3 * abs(draws[2]), seconds * 0.6)
        self._at(time + max(8.0, wait * 3600.0 / most), self._accelerate)

    def _busy(self, start: float, stop: float) -> bool:
        a, b = round(start * STEP_HZ), round(stop * STEP_HZ)
        t = self._tracks
        t.reach(int(stop))
        falls = t.cord[a:b].max() + t.head[a:b].max() + t.sustained[a:b].max()
        reflex = t.reflex[max(0, self._breathed - 1)] if self._breathed else 0.0
        return bool(falls > 2.0 or reflex > 2.0 or t.activity[a:b].max() > 2.0)

    def _move(self, time: float) -> None:
        rng = self._rng("movement")
        chance, strength, wait = rng.random(), abs(rng.standard_normal()), rng.exponential(150.0)
        if chance < (0.25 if self._quiet else 1.0):
            self._stir(time, 0.25 + 0.35 * strength, 3.0 + 9.0 * chance)
        self._at(time + wait, self._move)

    def _stir(self, time: float, strength: float, seconds: float) -> None:
        count = max(4, round(seconds * STEP_HZ))
        shape = np.sin(np.linspace(0.0, math.pi, count)) ** 0.7
        self._tracks.add("movement", time, min(1.5, strength) * shape)

    # --- what is done to it --------------------------------------------------------------------

    def _do(self, action: act.Action) -> None:
        now, c, s = float(self._now), self._course, self.scenario
        _, heart, ultrasound = self._sites_from[-1]
        match action:
            case act.MoveUltrasound(to):
                self._sites_from.append((self._now, heart, to))
                self.scenario = replace(s, ultrasound_at=to)
            case act.MoveFetus(heart_at):
                self._sites_from.append((self._now, heart_at, ultrasound))
                self.scenario = replace(s, heart_at=heart_at)
                self._stir(now, 1.2, 15.0)
            case act.MoveToco(to):
                self.scenario = replace(s, toco_at=to)
            case act.UseElectrode():
                self.scenario = replace(s, heart_sensor=SensorKind.SCALP_ELECTRODE)
            case act.UseUltrasound():
                self.scenario = replace(s, heart_sensor=SensorKind.ULTRASOUND)
            case act.UseCatheter():
                self.scenario = replace(s, activity_sensor=SensorKind.PRESSURE_CATHETER)
            case act.UseToco():
                self.scenario = replace(s, activity_sensor=SensorKind.TOCO)
            case act.ChangePosition():
                help_cord, help_flow = self._rng("position").uniform((0.25, 0.55), (0.7, 0.85))
                c.cord_ease *= float(help_cord)
                c.flow_ease *= float(help_flow)
                self._stir(now, 1.5, 25.0)
            case act.SetOxytocin(level):
                c.oxytocin_from = self._oxytocin(now)
                c.oxytocin_to, c.oxytocin_at_s = level, now
            case act.GiveTocolytic():
                c.tocolytic_at_s = now
            case act.GiveFluids():
                c.flow_ease *= 0.8
            case act.InfuseAmnion():
                c.cord_ease *= 0.4
            case act.GiveOpioid():
                self._opioid_s.append(now)
            case act.StartPushing():
                self._pushing, self._second_stage_s = True, min(self._second_stage_s, now)
            case act.PausePushing():
                self._pushing = False
            case act.ChangeCourse(scenario):
                self._change(scenario)

    def _change(self, scenario: Scenario) -> None:
        now, old = float(self._now), self.scenario
        if scenario.baseline_bpm != self._levels[-1][1]:
            self._shift(now, scenario.baseline_bpm, 3.0)
        self._widths.append((now, scenario.bandwidth_bpm))
        self._course = _course(scenario)
        self._spells = [(a, min(b, now), p) for a, b, p in self._spells if a < now]
        self._spells += [
            (now + x.start_min * 60, now + x.end_min * 60, pseudo)
            for pseudo, spells in ((False, scenario.sinusoidal), (True, scenario.pseudo_sinusoidal))
            for x in spells
        ]
        if scenario.second_stage_start_min is not None:
            self._second_stage_s = now + scenario.second_stage_start_min * 60
        elif scenario.stage is Stage.SECOND:
            self._second_stage_s = min(self._second_stage_s, now)
        self._pushing = scenario.pushing
        if scenario.opioid_at_min is not None:
            self._opioid_s.append(now + scenario.opioid_at_min * 60)
        kept = {
            name: getattr(old, name)
            for name in (
                "rate_hz", "heart_sensor", "activity_sensor", "heart_at", "ultrasound_at",
                "toco_at", "fundus_at", "heart_depth_cm", "abdominal_wall_cm", "toco_gain",
                "toco_tone", "toco_noise", "maternal_pulse", "hours",
            )
        }  # fmt: skip
        self.scenario = replace(scenario, **kept)
        self._quiet = scenario.behaviour is Behaviour.QUIET or (
            scenario.behaviour is Behaviour.CYCLING and self._quiet
        )
        self._state_levels.append((now, QUIET_BANDWIDTH if self._quiet else 1.0))
        self._plan(scenario, now)

    # --- what the body shows and the sensors give ------------------------------------------

    def _opioid(self, seconds: FloatArray) -> FloatArray:
        effect = np.zeros(len(seconds))
        for given in self._opioid_s:
            minutes = (seconds - given) / 60.0
            bump = np.interp(
                minutes,
                [OPIOID_FROM_MIN, OPIOID_FULL_MIN, OPIOID_FADES_MIN, OPIOID_GONE_MIN],
                [0.0, 1.0, 1.0, 0.0],
            )
            effect = np.maximum(effect, bump)
        return effect

    def _sites(self, a: int, b: int, wander: FloatArray) -> FloatArray:
        """Distance between sensor and heart, cm, for seconds a to b."""
        second = np.arange(a, b)
        x, y = np.empty(b - a), np.empty(b - a)
        us = np.empty((b - a, 2))
        for start, heart, ultrasound in self._sites_from:
            x[second >= start], y[second >= start] = heart.x_cm, heart.y_cm
            us[second >= start] = ultrasound.x_cm, ultrasound.y_cm
        hours = np.clip((second - self._second_stage_s) / 3600.0, 0.0, None)
        y = y - DESCENT_CM_PER_HOUR * hours
        x = x * np.exp(-0.4 * hours)
        reach = self.scenario.fetal_wandering_cm
        away_x, away_y = x + reach * wander[:, 0] - us[:, 0], y + reach * wander[:, 1] - us[:, 1]
        return np.asarray(np.hypot(away_x, away_y))

    def _render(self, a: int, b: int) -> Stretch:
        s, t = self.scenario, self._tracks
        seconds = np.arange(a, b, dtype=float)
        fast = slice(a * STEP_HZ, b * STEP_HZ)
        walk = self._slow.draw(b - a)

        baseline = self._baseline(seconds, walk[:, 0], t.reserve[a:b])
        width, sine_share = self._width(seconds, t.reserve[a:b])
        fall_parts = {
            Mechanism.CORD: t.cord[fast],
            Mechanism.HEAD: t.head[fast],
            Mechanism.SUSTAINED: t.sustained[fast],
            Mechanism.PLACENTAL: self._fine(t.reflex, a, b)
            * self._joined("uneven", 1 + UNEVENNESS * np.clip(walk[:, 6], -2.5, 2.5)),
        }
        base = self._joined("baseline", baseline)
        floor = base - LEAST_RATE_BPM
        fall = np.sum(list(fall_parts.values()), axis=0)
        limited = np.where(fall > 0.75 * floor, floor - 0.25 * floor * np.exp(
            -(fall - 0.75 * floor) / (0.25 * floor)), fall)  # fmt: skip
        scale = np.where(fall > 0, limited / np.maximum(fall, 1e-9), 1.0)
        lost = (limited > 8.0) & (s.variability_lost_within | (self._fine(t.reserve, a, b) < 0.5))
        fractal, swing = self._fluctuation.draw((b - a) * STEP_HZ)
        fine_width = self._joined("width", width)
        calm = np.minimum(fine_width, CALM_BANDWIDTH_BPM)
        excess = EXCESS_SHARE * np.sqrt(np.clip(fine_width**2 - calm**2, 0.0, None))
        fluctuation = fractal * calm + swing * (excess + t.ragged[fast])
        fluctuation = fluctuation * np.where(lost, 0.3, 1.0) + self._sine(a, b, sine_share)
        rate = base - limited + t.activity[fast] + t.rises[fast] + fluctuation
        rate = np.clip(rate, 40.0, 230.0)

        tone = s.resting_tone_mmhg
        contraction = t.bell[fast] + t.push[fast]
        maternal = (
            s.maternal_bpm
            + 2.5 * np.repeat(walk[:, 3], STEP_HZ)
            + 4.0 * np.repeat(walk[:, 4], STEP_HZ)
            + 1.2 * np.repeat(walk[:, 5], STEP_HZ)
            + 0.14 * t.bell[fast]
            + 0.35 * t.push[fast]
        )
        distance = self._sites(a, b, walk[:, 1:3])
        electrode = s.heart_sensor is SensorKind.SCALP_ELECTRODE
        hazards = self._hazards(rate, maternal, limited, fast, distance, electrode)
        heart, mode = self._heart.give(
            rate,
            maternal,
            hazards,
            sensors.JITTER_BPM + sensors.JITTER_SHARE * fine_width,
            electrode,
        )
        catheter = s.activity_sensor is SensorKind.PRESSURE_CATHETER
        activity = self._belt.give(
            contraction + tone,
            tone,
            t.movement[fast],
            gain=s.toco_gain
            * sensors.toco_reach(s.toco_at.distance_cm(s.fundus_at), s.abdominal_wall_cm),
            belt_tone=s.toco_tone,
            noise=s.toco_noise,
            shifts_per_hour=s.belt_shifts_per_hour,
            losses_per_hour=s.activity_losses_per_hour,
            catheter=catheter,
        )
        maternal_given = np.round(maternal)
        self._keep(
            baseline=baseline,
            fluctuation=fluctuation,
            cord=fall_parts[Mechanism.CORD] * scale,
            head=fall_parts[Mechanism.HEAD] * scale,
            sustained=fall_parts[Mechanism.SUSTAINED] * scale,
            placental=fall_parts[Mechanism.PLACENTAL] * scale,
            lost=lost.astype(float),
            distance=np.full(b - a, np.nan) if electrode else distance,
            rate=rate,
            heart=heart,
            mode=mode.astype(float),
            activity=activity,
            maternal=maternal_given,
            pressure=contraction + tone,
        )
        every = round(STEP_HZ / s.rate_hz)
        return Stretch(
            start_s=float(a),
            end_s=float(b),
            rate_hz=s.rate_hz,
            heart_rate=heart[::every],
            activity=activity[::every],
            maternal_rate=maternal_given[::every],
        )

    def _keep(self, **parts: FloatArray) -> None:
        for name, values in parts.items():
            self._kept.setdefault(name, []).append(values)

    def _all(self, name: str) -> FloatArray:
        kept = self._kept.get(name, [])
        if len(kept) > 1:
            self._kept[name] = [np.concatenate(kept)]
        return self._kept[name][0] if kept else np.zeros(0)

    def _fine(self, track: FloatArray, a: int, b: int) -> FloatArray:
        """A one-second track at 4 Hz, joined by lines; each value holds at its second's end."""
        start = track[a - 1] if a > 0 else track[0]
        fine: FloatArray = np.interp(
            np.arange((b - a) * STEP_HZ) / STEP_HZ,
            np.arange(b - a + 1),
            np.append(start, track[a:b]),
        )
        return fine

    def _joined(self, name: str, values: FloatArray) -> FloatArray:
        """As _fine, for values drawn just now; remembers the last one for the next stretch."""
        last = self._last.get(name, float(values[0]))
        self._last[name] = float(values[-1])
        fine: FloatArray = np.interp(
            np.arange(len(values) * STEP_HZ) / STEP_HZ,
            np.arange(len(values) + 1),
            np.append(last, values),
        )
        return fine

    def _baseline(self, seconds: FloatArray, wander: FloatArray, reserve: FloatArray) -> FloatArray:
        target, memory = np.empty(len(seconds)), np.empty(len(seconds))
        for since, bpm, tau in self._levels:
            here = seconds >= since
            target[here], memory[here] = bpm, tau
        s = self.scenario
        burden = np.clip((0.85 - reserve) / 0.45, 0.0, 1.0) - np.clip((0.3 - reserve) / 0.3, 0, 1)
        target = target + BURDEN_TACHYCARDIA_BPM * burden
        if s.fever:
            target = target + FEVER_BPM
        relaxed = seconds - self._course.tocolytic_at_s
        target = target + np.interp(relaxed, [60.0, 300.0, 1200.0, 2400.0], [0.0, 12.0, 12.0, 0.0])
        if self._now == 0:
            self._level_state[0] = target[0]
        level = _approach(self._level_state, target, memory)
        wandering: FloatArray = s.baseline_wander_bpm * np.clip(wander, -2.2, 2.2)
        return level + wandering

    def _width(self, seconds: FloatArray, reserve: FloatArray) -> tuple[FloatArray, FloatArray]:
        width, state = np.empty(len(seconds)), np.ones(len(seconds))
        for since, bpm in self._widths:
            width[seconds >= since] = bpm
        for since, level in self._state_levels:
            state[seconds >= since] = level
        state = _approach(self._state_state, state, np.full(len(seconds), STATE_TURNS_S))
        width = width * state * (1 - OPIOID_DEPTH * self._opioid(seconds))
        if self.scenario.magnesium:
            width = width * MAGNESIUM_BANDWIDTH
        width = width * np.clip((reserve - 0.1) / 0.4, 0.1, 1.0)
        sine = np.zeros(len(seconds))
        for begin, stop, pseudo in self._spells:
            inside = np.clip(np.minimum(seconds - begin, stop - seconds) / 30.0, 0.0, 1.0)
            sine = np.maximum(sine, inside)
            left = 0.5 if pseudo else 0.08
            width = width * (1 - inside * (1 - left))
        return width, sine

    def _sine(self, a: int, b: int, share: FloatArray) -> FloatArray:
        s = self.scenario
        time = np.arange(a * STEP_HZ, b * STEP_HZ) / STEP_HZ
        fine = np.repeat(share, STEP_HZ)
        if not fine.any():
            return np.zeros(len(time))
        phase = 2 * math.pi * s.sinusoidal_per_min / 60.0 * time
        phase = (
            phase
            + 0.5 * np.sin(2 * math.pi * time / 233.0)
            + 0.3 * np.sin(2 * math.pi * time / 97.0)
        )
        size = s.sinusoidal_amplitude_bpm * (1 + 0.08 * np.sin(2 * math.pi * time / 171.0))
        smooth = np.sin(phase)
        jagged = 2 / math.pi * np.arcsin(np.sin(phase)) + 0.25 * np.sin(3.1 * phase + 1.0)
        wave = np.zeros(len(time))
        for start, stop, pseudo in self._spells:
            here = (time >= start) & (time < stop)
            swing = 1 + 0.4 * np.sin(2 * math.pi * time / 67.0) if pseudo else 1.0
            wave = np.where(here, size * (jagged * swing if pseudo else smooth), wave)
        return wave * fine

    def _hazards(
        self,
        rate: FloatArray,
        maternal: FloatArray,
        fall: FloatArray,
        fast: slice,
        distance: FloatArray,
        electrode: bool,
    ) -> FloatArray:
        s, t = self.scenario, self._tracks
        share = np.full(len(distance), s.signal_loss)
        if not electrode:
            share = 1 - (1 - share) * (1 - sensors.placement_loss(distance, s.heart_depth_cm))
        share = np.clip(np.repeat(share, STEP_HZ), 0.0, 0.97)
        unrest = (
            0.75
            + 2.0 * t.movement[fast]
            + 0.5 * (t.bell[fast] > 20.0)
            + 1.5 * (t.push[fast] > 5.0)
            + 1.2 * np.clip(fall / 40.0, 0.0, 1.0)
        )
        hazards = np.zeros((len(rate), 4))
        hazards[:, 0] = share / (1 - share) / sensors.mean_gap_s() * unrest
        if electrode:
            return hazards
        slow = np.where(rate < 85.0, 25.0, np.where(rate < 105.0, 3.0, 0.3))
        fast_rate = np.where(rate > 175.0, 8.0, np.where(rate > 155.0, 2.0, 0.6))
        hazards[:, 1] = s.doubling_per_hour / 3600.0 * slow
        hazards[:, 2] = s.halving_per_hour / 3600.0 * fast_rate
        off = np.repeat(sensors.maternal_hazard(distance, s.heart_depth_cm), STEP_HZ)
        hazards[:, 3] = s.maternal_capture_per_hour / 3600.0 + off
        return hazards

    # --- the whole, and its truth ----------------------------------------------------------

    def labour(self) -> Labour:
        """The recording and the truth of everything so far."""
        return Labour(self._recording(), self._truth(), self.scenario, self.seed)

    def _recording(self) -> Recording:
        s = self.scenario
        every = round(STEP_HZ / s.rate_hz)
        catheter = s.activity_sensor is SensorKind.PRESSURE_CATHETER
        channels = [
            Channel(
                ChannelKind.FETAL_HEART_RATE,
                self._all("heart")[::every],
                s.rate_hz,
                s.heart_sensor,
                1,
                "bpm",
                "FHR",
            ),
            Channel(
                ChannelKind.UTERINE_ACTIVITY,
                self._all("activity")[::every],
                s.rate_hz,
                s.activity_sensor,
                0,
                "mmHg" if catheter else "",
                "UA",
            ),
        ]
        if s.maternal_pulse:
            channels.append(
                Channel(
                    ChannelKind.MATERNAL_HEART_RATE,
                    self._all("maternal")[::every],
                    s.rate_hz,
                    SensorKind.MATERNAL_PULSE,
                    0,
                    "bpm",
                    "MHR",
                )
            )
        second = self._second_stage_s
        stage = Stage.SECOND if second < self._now else s.stage
        return Recording(
            name=f"invented labour {self.seed}",
            channels=tuple(channels),
            context=Context(
                weeks=s.weeks,
                stage=stage,
                second_stage_start_s=second if 0 < second < self._now else None,
                oxytocin=s.oxytocin,
                epidural=s.epidural,
                fever=s.fever or None,
            ),
            provenance=Provenance(
                source="invented",
                format="invented",
                notes=(f"invented with seed {self.seed}",),
            ),
        )

    def _truth(self) -> Truth:
        s, n = self.scenario, self._now
        baseline = self._all("baseline")
        contractions = self._true_contractions()
        parts = {
            Mechanism.CORD: self._all("cord"),
            Mechanism.HEAD: self._all("head"),
            Mechanism.SUSTAINED: self._all("sustained"),
            Mechanism.PLACENTAL: self._all("placental"),
        }
        activity = self._tracks.activity[: n * STEP_HZ]
        around = self._tracks.rises[: n * STEP_HZ]
        fall = np.sum(list(parts.values()), axis=0)
        # What coincides is read as what remains of it: a rise inside a deceleration that does not
        # come above the baseline is no acceleration.
        falls = measure.decelerations(
            np.clip(fall - activity - around, 0.0, None),
            parts,
            baseline,
            contractions,
            self._cord_events,
            self._all("lost"),
        )
        rises = measure.accelerations(
            np.clip(activity - fall, 0.0, None), baseline, contractions, s.weeks
        )
        events = fall + activity + around
        bandwidth = _bandwidth(self._all("fluctuation"), events)
        return Truth(
            duration_s=float(n),
            weeks=s.weeks,
            baseline=Curve(0.0, 1.0, baseline),
            baseline_changes=tuple(c for c in self._changes if c.at_s < n),
            bandwidth=Curve(0.0, 60.0, bandwidth),
            variability=tuple(variability_class(float(b)) for b in bandwidth),
            accelerations=rises,
            decelerations=falls,
            rises=measure.rises(around),
            contractions=contractions,
            sinusoidal=tuple(
                TrueSinusoidal(
                    a, min(b, float(n)), s.sinusoidal_per_min, s.sinusoidal_amplitude_bpm, pseudo
                )
                for a, b, pseudo in self._spells
                if a < n
            ),
            artefacts=_spans(self._all("mode")),
            oxygen=Curve(0.0, 1.0, self._tracks.oxygen[:n].copy()),
            reserve=Curve(0.0, 1.0, self._tracks.reserve[:n].copy()),
            heart_rate=Curve(0.0, 1 / STEP_HZ, self._all("rate")),
            pressure=Curve(0.0, 1 / STEP_HZ, self._all("pressure")),
            sensor_distance=Curve(0.0, 1.0, self._all("distance")),
        )

    def _true_contractions(self) -> tuple[TrueContraction, ...]:
        made = []
        bell = self._tracks.bell
        last = self._now * STEP_HZ
        for start, stop, tone, pushing, coupled in self._contractions:
            part = bell[start : min(stop, last)]
            if len(part) < STEP_HZ:
                continue
            peak = int(np.argmax(part))
            size = float(part[peak])
            level = max(1.0, measure.DEPARTURE_SHARE * size)
            above = np.flatnonzero(part > level)
            if not len(above):
                continue
            seconds = (above[-1] + 1 - above[0]) / STEP_HZ
            made.append(
                TrueContraction(
                    onset_s=(start + int(above[0])) / STEP_HZ,
                    peak_s=(start + peak) / STEP_HZ,
                    end_s=(start + int(above[-1]) + 1) / STEP_HZ,
                    amplitude_mmhg=size,
                    resting_tone_mmhg=tone,
                    pushing=pushing,
                    coupled=coupled,
                    counts=bool(size >= 10.0 and seconds >= 30.0),
                )
            )
        return tuple(made)


def _bandwidth(fluctuation: FloatArray, events: FloatArray) -> FloatArray:
    """Peak to trough in each minute where no event is on; NaN with less than 20 s of it."""
    minutes = math.ceil(len(fluctuation) / (60 * STEP_HZ))
    out = np.full(minutes, np.nan)
    for minute in range(minutes):
        here = slice(minute * 60 * STEP_HZ, (minute + 1) * 60 * STEP_HZ)
        calm = fluctuation[here][np.abs(events[here]) < 1.0]
        if len(calm) >= 20 * STEP_HZ:
            out[minute] = float(calm.max() - calm.min())
    return out


_SPAN_OF_MODE = {
    sensors.LOST: SpanKind.LOSS,
    sensors.SPIKE: SpanKind.SPIKE,
    sensors.DOUBLED: SpanKind.DOUBLING,
    sensors.HALVED: SpanKind.HALVING,
    sensors.MATERNAL: SpanKind.MATERNAL,
}


def _spans(mode: FloatArray) -> tuple[TrueSpan, ...]:
    edges = np.flatnonzero(np.diff(mode)) + 1
    starts = np.concatenate(([0], edges))
    stops = np.concatenate((edges, [len(mode)]))
    return tuple(
        TrueSpan(_SPAN_OF_MODE[int(mode[a])], a / STEP_HZ, b / STEP_HZ)
        for a, b in zip(starts.tolist(), stops.tolist(), strict=True)
        if len(mode) and int(mode[a]) in _SPAN_OF_MODE
    )


def _course(scenario: Scenario) -> _Course:
    level = 1.0 if scenario.oxytocin else 0.0
    return _Course(oxytocin_from=level, oxytocin_to=level)


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
    told = replace(
        labour.recording.provenance, notes=(f"invented with seed {seed} from the words: {words}",)
    )
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
