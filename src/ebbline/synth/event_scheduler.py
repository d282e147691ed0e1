"""What happens by itself: contractions and what they set off, activity, states, movement.

Events are decided one by one in the order of time, each when it begins, from what is so then.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from ebbline.synth import oxygen, shapes
from ebbline.synth.care import OPIOID_STILLS
from ebbline.synth.ground_truth import TrueBaselineChange
from ebbline.synth.scenario import Scenario
from ebbline.synth.scenario_parts import Behaviour
from ebbline.synth.shapes import STEP_HZ
from ebbline.synth.state import Bell, LabourState, Level
from ebbline.synth.streams import Streams
from ebbline.synth.truth_events import CordEvent

FloatArray = NDArray[np.float64]
Handler = Callable[[float], None]

QUIET_MIN, ACTIVE_MIN = (14.0, 38.0), (25.0, 65.0)
QUIET_BANDWIDTH, QUIET_ACCELERATIONS, CYCLING_ACCELERATIONS = 0.5, 0.08, 1.3
"""Behavioural states 1F and 2F: how long, how much less variability and accelerations in 1F.
Nijhuis JG, Prechtl HFR, Martin CB, Bots RSGM. Early Hum Dev 1982;6:177-95; quiet spells of 20 to
40 minutes at term (Pillai M, James D. Obstet Gynecol 1990;76:812-6; from memory)."""

CONTRACTION_SPREAD, SPREAD_BY_IRREGULARITY = 0.12, 0.7
SECONDS_SPREAD, SECONDS_BY_IRREGULARITY = 0.08, 0.28
RISE_SHARE, RISE_SPREAD, RISE_BY_IRREGULARITY = 0.44, 0.03, 0.1
"""Spreads of strength (of its logarithm), of length (share) and of the rise's share: a least, and
more by the irregularity (chosen, then by the belts of CTU-UHB)."""
RARE_PER_10_MIN, LOOK_AGAIN_S = 1.0, 120.0
"""Rarer contractions come by chance, looked for this often."""

CORD_S, CORD_UNPAIRED_S = 32.0, 20.0
RAGGED_SHARE = 0.5
"""Most bandwidth of the swings inside a variable deceleration, as a share of its depth (by eye on
the CTU-UHB recordings, like the usual lengths above)."""

EARLY_LAG_S, EARLY_LAG_SPREAD_S, EARLY_LAGS_S = 3.5, 5.5, (-8.0, 20.0)
"""Head compression answers at once or some seconds before or after: 3.5 s on average, under 18 s
(Caldeyro-Barcia's type I dips; from memory); spread and limits are ours. The slowest come later
than the quickest late falls (ebbline.synth.oxygen), as they do in people."""

ANSWER_ENDS_S = 60
"""How long after the flow is free again an answer keeps its own pace."""

EFFORT, EFFORT_SPREAD = 0.6, 0.5
"""How hard a woman pushes, drawn for each labour (by the belts of CTU-UHB)."""

WITH_CONTRACTION, WITHOUT_CONTRACTION = 1.5, 0.45
"""Accelerations come rather with contractions than between them (by the cross-correlation of rate
and activity in CTU-UHB): how much more, and how many of those between are left."""

BUSY_BPM = 2.0
COINCIDING_SHARE = 0.12
"""Share of accelerations that come although another event is on."""


class Happenings:
    """The queue of what is to come, and the handlers that decide it."""

    def __init__(self, state: LabourState, streams: Streams) -> None:
        self._state = state
        self._streams = streams
        self._queue: list[tuple[float, int, Handler]] = []
        self._ticket = 0
        self._plan_number = 0
        of = streams.of
        self._at(float(of("contraction").uniform(5.0, 60.0)), self._contract)
        self._at(0.0, self._turn_state)
        self._at(float(of("acceleration").exponential(60.0)), self._accelerate)
        self._at(float(of("movement").exponential(120.0)), self._move)
        self._at(float(of("unpaired").exponential(300.0)), self._compress_unpaired)
        self._at(float(of("prolonged").exponential(1800.0)), self._fall_by_chance)
        self._sluggishness = float(of("chemoreflex").standard_normal())
        self._effort = EFFORT * math.exp(EFFORT_SPREAD * of("effort").standard_normal())
        self.plan(state.scenario, 0.0)

    def next_s(self) -> float:
        """Time of the next event, s; infinite without one."""
        return self._queue[0][0] if self._queue else math.inf

    def happen(self) -> None:
        """Decide the next event."""
        time, _, handler = heapq.heappop(self._queue)
        handler(time)

    def plan(self, scenario: Scenario, from_s: float) -> None:
        """Take up what a scenario has at fixed times, in place of what was planned before."""
        self._plan_number += 1
        number = self._plan_number

        def planned(at_min: float, handler: Handler) -> None:
            self._at(
                from_s + at_min * 60.0,
                lambda time: handler(time) if number == self._plan_number else None,
            )

        for shift in scenario.baseline_shifts:
            to_bpm, over = shift.to_bpm, shift.over_min
            planned(shift.at_min, lambda time, b=to_bpm, o=over: self.shift(time, b, o))  # type: ignore[misc]
        for fall in scenario.prolonged:
            depth, minutes = fall.depth_bpm, fall.minutes
            planned(fall.at_min, lambda time, d=depth, m=minutes: self._fall(time, d, m))  # type: ignore[misc]

    def shift(self, time: float, to_bpm: float, over_min: float) -> None:
        """Let the baseline make for another level."""
        before = self._state.levels[-1].bpm
        self._state.levels.append(Level(time, to_bpm, max(5.0, over_min * 60 / 3)))
        if abs(to_bpm - before) >= 5.0:
            self._state.changes.append(TrueBaselineChange(time, before, to_bpm))

    def stir(self, time: float, strength: float, seconds: float) -> None:
        """A movement of the fetus or the mother."""
        count = max(4, round(seconds * STEP_HZ))
        shape = np.sin(np.linspace(0.0, math.pi, count)) ** 0.7
        self._state.tracks.add("movement", time, min(1.5, strength) * shape)

    def _at(self, time_s: float, handler: Handler) -> None:
        self._ticket += 1
        when = float(max(time_s, self._state.now))
        heapq.heappush(self._queue, (when, self._ticket, handler))

    # --- contractions and what they set off --------------------------------------------------

    def _contract(self, time: float) -> None:
        state, s = self._state, self._state.scenario
        rng = self._streams.of("contraction")
        draws = rng.standard_normal(4)
        chance, coupled_chance, rare_chance = rng.random(3)
        per_10 = s.contractions_per_10_min * state.care.contraction_rate(time, s)
        rare = per_10 < RARE_PER_10_MIN
        if rare and rare_chance >= per_10 * LOOK_AGAIN_S / 600.0:
            self._at(time + LOOK_AGAIN_S, self._contract)
            return
        uneven = SECONDS_SPREAD + SECONDS_BY_IRREGULARITY * s.contraction_irregularity
        usual = LOOK_AGAIN_S if rare else 600.0 / per_10
        interval = usual * max(0.35, 1.0 + s.contraction_irregularity * draws[0])
        seconds = float(np.clip(s.contraction_s * (1 + uneven * draws[1]), 30.0, 180.0))
        seconds = min(seconds, max(40.0, 0.88 * usual))
        spread = CONTRACTION_SPREAD + SPREAD_BY_IRREGULARITY * s.contraction_irregularity
        peak = s.contraction_mmhg * math.exp(spread * draws[2])
        coupled = state.coupled_next
        if coupled:
            peak, seconds = 0.65 * peak, 0.8 * seconds
        state.coupled_next = bool(not coupled and coupled_chance < s.coupling_share)
        if state.coupled_next:
            interval = 1.05 * seconds
        rise = RISE_SPREAD + RISE_BY_IRREGULARITY * s.contraction_irregularity
        rise_share = float(np.clip(RISE_SHARE + rise * draws[3], 0.3, 0.58))
        bell = shapes.contraction(peak, seconds, rise_share, rng)
        state.tracks.add("bell", time, bell)
        pushing = state.pushing and time >= state.second_stage_s
        if pushing:
            state.tracks.add(
                "push", time, self._effort * shapes.pushes(bell, self._streams.of("pushing"))
            )
        start = round(time * STEP_HZ)
        state.bells.append(Bell(start, start + len(bell), s.resting_tone_mmhg, pushing, coupled))
        self._answer(time, bell, seconds, peak, chance)
        self._at(time + max(interval, 0.92 * seconds), self._contract)

    def _answer(
        self, time: float, bell: FloatArray, seconds: float, peak: float, chance: float
    ) -> None:
        """Which mechanism this contraction sets off, if any."""
        s, care, tracks = self._state.scenario, self._state.care, self._state.tracks
        draws = self._streams.of("answer").standard_normal(3)
        vulnerability, sluggishness = s.placental_vulnerability, 0.0
        up_to_late = s.late_share
        up_to_variable = up_to_late + s.variable_share
        up_to_early = up_to_variable + s.early_share
        if chance < up_to_late:
            size = peak * seconds / (s.contraction_mmhg * s.contraction_s)
            strength = min(1.25, math.sqrt(size))
            wish = s.late_depth_bpm * care.flow_left * strength * math.exp(0.2 * draws[0])
            pressure = s.resting_tone_mmhg + bell[::STEP_HZ]
            sluggishness = oxygen.sluggishness_of(self._sluggishness, float(draws[1]))
            vulnerability = oxygen.vulnerability_for(wish, pressure, math.exp(sluggishness))
        elif chance < up_to_late + s.variable_share * care.cord_left:
            depth = s.variable_depth_bpm * (0.6 + 0.4 * care.cord_left) * math.exp(0.3 * draws[0])
            begin = time + seconds * float(np.clip(0.3 + 0.15 * draws[1], 0.0, 0.7))
            self._compress(begin, depth, CORD_S * math.exp(0.4 * draws[2]))
        elif up_to_variable <= chance < up_to_early:
            depth = s.early_depth_bpm * math.exp(0.2 * draws[0])
            lag_s = float(np.clip(EARLY_LAG_S + EARLY_LAG_SPREAD_S * draws[1], *EARLY_LAGS_S))
            early = round(max(0.0, -lag_s) * STEP_HZ)
            lag_s = round(max(0.0, lag_s) * STEP_HZ) / STEP_HZ
            dip = shapes.smooth(bell[early:] / bell.max(), 10.0)
            dip[: 4 * STEP_HZ] *= np.linspace(0.0, 1.0, 4 * STEP_HZ)
            tracks.add("head", time + lag_s, depth * dip / dip.max())
        first, last = int(time), int(time + seconds + 45)
        tracks.reach(last + ANSWER_ENDS_S)
        tracks.vulnerability[first:last] = vulnerability
        tracks.sluggishness[first : last + ANSWER_ENDS_S] = sluggishness

    def _compress(self, time: float, depth: float, seconds: float) -> None:
        """Compression of the cord; a tired fetus has no shoulders and is slow to return."""
        s, tracks, rng = self._state.scenario, self._state.tracks, self._streams.of("cord")
        tired = float(np.clip((0.75 - self._state.reserve) / 0.4, 0.0, 1.0))
        chances = rng.random(3)
        response = shapes.cord_response(
            float(np.clip(depth, 8.0, 105.0)),
            float(np.clip(seconds, 15.0, 95.0)),
            shoulders=bool(chances[0] < s.shoulder_share * (1 - tired)),
            overshoot=bool(chances[1] < s.overshoot_share),
            slow_return=bool(chances[2] < s.slow_return_share + 0.5 * tired),
            rng=rng,
        )
        tracks.add("cord", time, response.fall)
        tracks.add("rises", time, response.rises)
        tracks.add("occlusion", time, response.occlusion)
        inside = shapes.smooth(np.clip(response.fall / response.fall.max() * 2, 0.0, 1.0), 3.0)
        tracks.add("ragged", time, depth * RAGGED_SHARE * rng.random() ** 1.5 * inside)
        fall_s = time + response.fall_at / STEP_HZ
        length = len(np.trim_zeros(response.fall, "b")) - response.fall_at
        self._state.cord_events.append(
            CordEvent(
                fall_s,
                fall_s + length / STEP_HZ,
                response.shoulder_before,
                response.shoulder_after,
                response.overshoot,
            )
        )

    def _compress_unpaired(self, time: float) -> None:
        rng, s = self._streams.of("unpaired"), self._state.scenario
        draws, wait = rng.standard_normal(2), rng.exponential(1.0)
        per_hour = s.variable_unpaired_per_hour * self._state.care.cord_left
        if per_hour > 0 and not self._busy(time, time + 60):
            depth = s.variable_depth_bpm * 0.8 * math.exp(0.3 * draws[0])
            self._compress(time, depth, CORD_UNPAIRED_S * math.exp(0.35 * draws[1]))
        wait_s = wait * 3600.0 / per_hour if per_hour > 0 else 300.0
        self._at(time + wait_s, self._compress_unpaired)

    def _fall_by_chance(self, time: float) -> None:
        rng, per_hour = self._streams.of("prolonged"), self._state.scenario.prolonged_per_hour
        wait, minutes, depth = rng.exponential(1.0), rng.uniform(2.4, 7.0), rng.uniform(25.0, 65.0)
        if per_hour > 0:
            self._fall(time, depth, minutes)
        wait_s = max(wait * 3600.0 / per_hour, 600.0) if per_hour > 0 else 600.0
        self._at(time + wait_s, self._fall_by_chance)

    def _fall(self, time: float, depth: float, minutes: float) -> None:
        fall = shapes.prolonged_fall(depth, minutes, self._streams.of("prolonged shape"))
        self._state.tracks.add("sustained", time, fall)
        self._state.tracks.add("occlusion", time, 0.5 * fall / fall.max())

    # --- behaviour -----------------------------------------------------------------------------

    def _turn_state(self, time: float) -> None:
        state, rng = self._state, self._streams.of("state")
        behaviour, share = state.scenario.behaviour, rng.random()
        if behaviour is Behaviour.CYCLING:
            state.quiet = not state.quiet if state.state_levels else bool(share < 0.3)
        else:
            state.quiet = behaviour is Behaviour.QUIET
        low, high = QUIET_MIN if state.quiet else ACTIVE_MIN
        minutes = low + (high - low) * rng.random()
        self.show_state(time)
        self._at(time + minutes * 60, self._turn_state)

    def show_state(self, time: float) -> None:
        """Let variability follow the behavioural state."""
        level = QUIET_BANDWIDTH if self._state.quiet else 1.0
        self._state.state_levels.append((time, level))

    def _liveliness(self, time: float) -> float:
        """How often accelerations come, against the scenario's rate."""
        state = self._state
        if state.sinusoidal_at(time):
            return 0.0
        lively = 1.0 - OPIOID_STILLS * float(state.care.opioid(np.array([time]))[0])
        if state.quiet:
            lively *= QUIET_ACCELERATIONS
        elif state.scenario.behaviour is Behaviour.CYCLING:
            lively *= CYCLING_ACCELERATIONS
        return lively * float(np.clip((state.reserve - 0.3) / 0.4, 0.0, 1.0))

    def _accelerate(self, time: float) -> None:
        s, rng = self._state.scenario, self._streams.of("acceleration")
        draws, chances, wait = rng.standard_normal(3), rng.random(4), rng.exponential(1.0)
        most = s.accelerations_per_hour * CYCLING_ACCELERATIONS * WITH_CONTRACTION
        keep = self._liveliness(time) / CYCLING_ACCELERATIONS if most > 0 else 0.0
        if s.contractions_per_10_min < RARE_PER_10_MIN:
            keep /= WITH_CONTRACTION
        elif not (self._state.bells and self._state.bells[-1].stop > time * STEP_HZ):
            keep *= WITHOUT_CONTRACTION
        if self._busy(time, time + 25) and chances[1] > COINCIDING_SHARE:
            keep = 0.0
        if chances[0] < keep:
            maturity = float(np.clip(0.62 + 0.38 * (s.weeks - 27.0) / 5.5, 0.62, 1.0))
            height = s.acceleration_height_bpm * maturity * math.exp(0.27 * draws[0])
            usual_s = (16.0 + 16.0 * maturity) * math.exp(0.45 * draws[1])
            prolonged = chances[2] < s.prolonged_acceleration_share
            seconds = 130.0 + 220.0 * chances[3] if prolonged else float(np.clip(usual_s, 9, 112))
            shape = shapes.acceleration(height, seconds, self._streams.of("acceleration shape"))
            self._state.tracks.add("activity", time, shape)
            if chances[3] < 0.7:
                self.stir(time, 0.35 + 0.3 * abs(draws[2]), seconds * 0.6)
        wait_s = min(wait * 3600.0 / most, 1800.0) if most > 0 else LOOK_AGAIN_S
        self._at(time + max(8.0, wait_s), self._accelerate)

    def _busy(self, start: float, stop: float) -> bool:
        a, b = round(start * STEP_HZ), round(stop * STEP_HZ)
        t = self._state.tracks
        t.reach(int(stop))
        falls = t.cord[a:b].max() + t.head[a:b].max() + t.sustained[a:b].max()
        reflex = t.reflex[self._state.breathed - 1] if self._state.breathed else 0.0
        return bool(falls > BUSY_BPM or reflex > BUSY_BPM or t.activity[a:b].max() > BUSY_BPM)

    def _move(self, time: float) -> None:
        rng = self._streams.of("movement")
        chance, strength, wait = rng.random(), abs(rng.standard_normal()), rng.exponential(150.0)
        if chance < (0.25 if self._state.quiet else 1.0):
            self.stir(time, 0.25 + 0.35 * strength, 3.0 + 9.0 * chance)
        self._at(time + wait, self._move)
