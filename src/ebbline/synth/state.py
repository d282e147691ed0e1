"""Everything that changes while a labour runs, in one place."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from ebbline.synth.care import Care
from ebbline.synth.ground_truth import TrueBaselineChange
from ebbline.synth.latent_signals import Tracks
from ebbline.synth.scenario import Scenario
from ebbline.synth.scenario_parts import Point
from ebbline.synth.truth_events import CordEvent
from ebbline.terms import Stage


@dataclass(frozen=True, slots=True)
class Undulation:
    """A sinusoidal (pseudo: jagged) stretch that is on or to come."""

    start_s: float
    end_s: float
    pseudo: bool
    per_min: float
    amplitude_bpm: float


@dataclass(frozen=True, slots=True)
class Bell:
    """A contraction in the tracks: samples from start to stop (4 Hz)."""

    start: int
    stop: int
    resting_tone_mmhg: float
    pushing: bool
    coupled: bool


@dataclass(frozen=True, slots=True)
class Level:
    """The baseline that the heart makes for from a time on, with a memory."""

    since_s: float
    bpm: float
    memory_s: float


@dataclass(frozen=True, slots=True)
class Sites:
    """Where heart and ultrasound sensor are from a second on."""

    since_s: int
    heart: Point
    ultrasound: Point


@dataclass(slots=True)
class LabourState:
    """What is so now, and what has been, as far as the future or the truth needs it.

    now, breathed: whole seconds that are done, and whose oxygen is known. state_levels, widths:
    (time, value) of the behavioural state's share of variability and of the scenario's bandwidth.
    """

    scenario: Scenario
    care: Care
    tracks: Tracks
    pushing: bool
    second_stage_s: float
    now: int = 0
    breathed: int = 0
    quiet: bool = False
    coupled_next: bool = False
    bells: list[Bell] = field(default_factory=list)
    cord_events: list[CordEvent] = field(default_factory=list)
    changes: list[TrueBaselineChange] = field(default_factory=list)
    levels: list[Level] = field(default_factory=list)
    sites: list[Sites] = field(default_factory=list)
    widths: list[tuple[float, float]] = field(default_factory=list)
    state_levels: list[tuple[float, float]] = field(default_factory=list)
    undulations: list[Undulation] = field(default_factory=list)

    @staticmethod
    def begin(scenario: Scenario) -> LabourState:
        """The state at the labour's start."""
        s = scenario
        state = LabourState(
            scenario=s,
            care=Care.under(s),
            tracks=Tracks(),
            pushing=s.pushing,
            second_stage_s=second_stage_from(s, 0.0, math.inf),
        )
        state.levels.append(Level(0.0, s.baseline_bpm, 60.0))
        state.sites.append(Sites(0, s.heart_at, s.ultrasound_at))
        state.widths.append((0.0, s.bandwidth_bpm))
        state.undulations = undulations(s, 0.0)
        return state

    @property
    def reserve(self) -> float:
        """What is left of the fetal reserve, 0..1."""
        return float(self.tracks.reserve[self.breathed - 1]) if self.breathed else 1.0

    def sinusoidal_at(self, time_s: float) -> bool:
        """Whether a true sinusoidal pattern is on, or about to begin."""
        return any(u.start_s - 30 <= time_s < u.end_s and not u.pseudo for u in self.undulations)


def second_stage_from(scenario: Scenario, now_s: float, otherwise_s: float) -> float:
    """When the second stage begins under a scenario that is followed from now on, s."""
    if scenario.second_stage_start_min is not None:
        return now_s + scenario.second_stage_start_min * 60.0
    return min(now_s, otherwise_s) if scenario.stage is Stage.SECOND else otherwise_s


def undulations(scenario: Scenario, from_s: float) -> list[Undulation]:
    """The sinusoidal stretches of a scenario that is followed from a time on."""
    return [
        Undulation(
            from_s + spell.start_min * 60.0,
            from_s + spell.end_min * 60.0,
            pseudo,
            scenario.sinusoidal_per_min,
            scenario.sinusoidal_amplitude_bpm,
        )
        for pseudo, spells in ((False, scenario.sinusoidal), (True, scenario.pseudo_sinusoidal))
        for spell in spells
    ]
