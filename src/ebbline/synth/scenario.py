"""A Scenario: every knob of the physiology and the sensors, checked, as frozen data."""

from __future__ import annotations

from dataclasses import dataclass, field, fields

from ebbline.errors import ScenarioError
from ebbline.synth.scenario_parser import Knobs, knobs_of
from ebbline.synth.scenario_parts import BaselineShift, Behaviour, Point, ProlongedFall, Spell
from ebbline.terms import SensorKind, Stage

HEART_AT, FUNDUS_AT = Point(5.0, -6.0), Point(0.0, 12.0)
"""Where a heart and the top of the womb are, and the sensors on them, unless said (ours)."""


@dataclass(frozen=True, slots=True)
class Scenario:
    """What a virtual labour is like. Shares are 0..1; times minutes; rates bpm; pressures mmHg.

    bandwidth_bpm: mean peak-to-trough of the baseline's fluctuation, about its own slope.
    late_share, early_share, variable_share: share of contractions answered by that deceleration.
    placental_vulnerability: how far fetal oxygen falls when a contraction stops the placental
    flow. reserve_loss: share of the oxygen reserve spent in an hour beyond what the contractions
    themselves cost. signal_loss: mean share of heart-rate signal lost with the sensor well
    placed, added to what a badly placed sensor loses. signal_constancy: how long good and poor
    signal last, against the open recordings (1: minutes, so that a quarter of an hour may lose
    far more or less than its share). sensor_off_per_hour, belt_off_per_hour: how
    often a sensor comes off and is left off for minutes (a belt then shows 0). toco_tone: units
    shown at rest; under 0 the foot of a contraction is cut off. Raises ScenarioError when a knob
    is out of its range.
    """

    hours: float = 1.0
    rate_hz: float = 4.0
    weeks: float = 39.0
    stage: Stage = Stage.FIRST
    second_stage_start_min: float | None = None
    pushing: bool = False
    oxytocin: bool = False
    epidural: bool = False

    baseline_bpm: float = 138.0
    baseline_wander_bpm: float = 2.0
    baseline_shifts: tuple[BaselineShift, ...] = ()
    bandwidth_bpm: float = 7.5
    behaviour: Behaviour = Behaviour.CYCLING
    accelerations_per_hour: float = 14.0
    acceleration_height_bpm: float = 22.0
    prolonged_acceleration_share: float = 0.02
    sinusoidal: tuple[Spell, ...] = ()
    sinusoidal_amplitude_bpm: float = 9.0
    sinusoidal_per_min: float = 3.8
    pseudo_sinusoidal: tuple[Spell, ...] = ()
    opioid_at_min: float | None = None
    magnesium: bool = False
    fever: bool = False

    contractions_per_10_min: float = 3.5
    contraction_mmhg: float = 50.0
    contraction_s: float = 80.0
    contraction_irregularity: float = 0.2
    resting_tone_mmhg: float = 10.0
    coupling_share: float = 0.0

    late_share: float = 0.0
    late_depth_bpm: float = 28.0
    early_share: float = 0.0
    early_depth_bpm: float = 22.0
    variable_share: float = 0.0
    variable_depth_bpm: float = 42.0
    variable_unpaired_per_hour: float = 0.0
    shoulder_share: float = 0.6
    overshoot_share: float = 0.0
    slow_return_share: float = 0.08
    variability_lost_within: bool = False
    prolonged: tuple[ProlongedFall, ...] = ()
    prolonged_per_hour: float = 0.0
    placental_vulnerability: float = 0.15
    reserve_loss: float = 0.0

    heart_sensor: SensorKind = SensorKind.ULTRASOUND
    activity_sensor: SensorKind = SensorKind.TOCO
    maternal_pulse: bool = False
    maternal_bpm: float = 82.0
    heart_at: Point = HEART_AT
    heart_depth_cm: float = 8.0
    ultrasound_at: Point = HEART_AT
    fundus_at: Point = FUNDUS_AT
    toco_at: Point = FUNDUS_AT
    toco_gain: float = 0.75
    toco_tone: float = 14.0
    toco_noise: float = 1.0
    belt_shifts_per_hour: float = 1.0
    belt_off_per_hour: float = 0.0
    activity_losses_per_hour: float = 0.1
    abdominal_wall_cm: float = 2.5
    signal_loss: float = 0.03
    signal_constancy: float = 0.25
    sensor_off_per_hour: float = 0.0
    doubling_per_hour: float = 0.3
    halving_per_hour: float = 0.3
    maternal_capture_per_hour: float = 0.0
    fetal_wandering_cm: float = 0.8
    words: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        for item in fields(self):
            limits = _LIMITS.get(item.name)
            if limits is None:
                continue
            value = getattr(self, item.name)
            if value is None:
                continue
            low, high = limits
            if not (isinstance(value, int | float) and low <= value <= high):
                raise ScenarioError(
                    f"{value} is outside {low:g} to {high:g}.",
                    where=item.name,
                    remedy="Choose a value in that range.",
                )
        _check_sensors(self)
        if self.rate_hz not in RATES_HZ:
            raise ScenarioError(
                f"{self.rate_hz:g} samples per second cannot be made.",
                where="rate_hz",
                remedy="Choose 1, 2 or 4.",
            )
        total = self.late_share + self.early_share + self.variable_share
        if total > 1.0 + 1e-9:
            raise ScenarioError(
                f"late, early and variable decelerations together with {total:.2f} of the "
                "contractions are more than all of them.",
                where="late_share, early_share, variable_share",
                remedy="Let the three shares sum to 1 or less.",
            )

    @staticmethod
    def from_words(words: str, after: Scenario | None = None) -> Scenario:
        """The scenario a sentence asks for, such as "recurrent late, minimal variability".

        after: the chapter before, whose gestation, sensors and baseline hold on. Raises
        ScenarioError for words that are not known, with the nearest known ones.
        """
        return Scenario(**knobs_of(words, after._carried() if after else {}), words=words.strip())

    def _carried(self) -> Knobs:
        """The knobs that a later chapter takes over."""
        reached = [x.to_bpm for x in self.baseline_shifts if x.at_min < self.hours * 60]
        return {name: getattr(self, name) for name in CARRIED} | {
            "baseline_bpm": reached[-1] if reached else self.baseline_bpm
        }


CARRIED = (
    "weeks", "rate_hz", "heart_sensor", "activity_sensor", "maternal_pulse", "signal_loss",
    "ultrasound_at", "toco_gain", "toco_noise",
)  # fmt: skip
"""Knobs that a later chapter of a story takes over from the one before."""


def _check_sensors(scenario: Scenario) -> None:
    if scenario.heart_sensor not in (SensorKind.ULTRASOUND, SensorKind.SCALP_ELECTRODE):
        raise ScenarioError(
            f"the fetal heart rate cannot come from a {scenario.heart_sensor}.",
            where="heart_sensor",
            remedy="Choose ultrasound or scalp electrode.",
        )
    if scenario.activity_sensor not in (SensorKind.TOCO, SensorKind.PRESSURE_CATHETER):
        raise ScenarioError(
            f"uterine activity cannot come from a {scenario.activity_sensor}.",
            where="activity_sensor",
            remedy="Choose toco or pressure catheter.",
        )


RATES_HZ = (1.0, 2.0, 4.0)
_SHARE = (0.0, 1.0)
_LIMITS: dict[str, tuple[float, float]] = {
    "hours": (1 / 60, 48.0),
    "weeks": (22.0, 44.0),
    "second_stage_start_min": (0.0, 48 * 60.0),
    "baseline_bpm": (60.0, 220.0),
    "baseline_wander_bpm": (0.0, 10.0),
    "bandwidth_bpm": (0.0, 60.0),
    "accelerations_per_hour": (0.0, 60.0),
    "acceleration_height_bpm": (5.0, 60.0),
    "prolonged_acceleration_share": _SHARE,
    "sinusoidal_amplitude_bpm": (2.0, 25.0),
    "sinusoidal_per_min": (2.0, 6.0),
    "opioid_at_min": (-240.0, 48 * 60.0),
    "contractions_per_10_min": (0.0, 9.0),
    "contraction_mmhg": (5.0, 100.0),
    "contraction_s": (30.0, 180.0),
    "contraction_irregularity": (0.0, 0.6),
    "resting_tone_mmhg": (2.0, 45.0),
    "coupling_share": _SHARE,
    "late_share": _SHARE,
    "late_depth_bpm": (5.0, 80.0),
    "early_share": _SHARE,
    "early_depth_bpm": (5.0, 60.0),
    "variable_share": _SHARE,
    "variable_depth_bpm": (5.0, 110.0),
    "variable_unpaired_per_hour": (0.0, 30.0),
    "shoulder_share": _SHARE,
    "overshoot_share": _SHARE,
    "slow_return_share": _SHARE,
    "prolonged_per_hour": (0.0, 6.0),
    "placental_vulnerability": (0.0, 1.0),
    "reserve_loss": (0.0, 2.0),
    "maternal_bpm": (45.0, 160.0),
    "heart_depth_cm": (2.0, 20.0),
    "toco_gain": (0.05, 3.0),
    "toco_tone": (-40.0, 80.0),
    "toco_noise": (0.0, 6.0),
    "belt_shifts_per_hour": (0.0, 30.0),
    "belt_off_per_hour": (0.0, 240.0),
    "sensor_off_per_hour": (0.0, 30.0),
    "activity_losses_per_hour": (0.0, 30.0),
    "abdominal_wall_cm": (0.5, 12.0),
    "signal_loss": (0.0, 0.9),
    "signal_constancy": (0.05, 2.0),
    "doubling_per_hour": (0.0, 60.0),
    "halving_per_hour": (0.0, 60.0),
    "maternal_capture_per_hour": (0.0, 30.0),
    "fetal_wandering_cm": (0.0, 5.0),
}
