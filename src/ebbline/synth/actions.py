"""What can be done to a virtual labour while it runs, and what the model lets it change."""

from __future__ import annotations

from dataclasses import dataclass

from ebbline.synth.scenario import Scenario
from ebbline.synth.scenario_parts import Point


@dataclass(frozen=True, slots=True)
class MoveUltrasound:
    """Place the heart-rate sensor elsewhere on the abdomen."""

    to: Point


@dataclass(frozen=True, slots=True)
class MoveToco:
    """Place the contraction sensor elsewhere on the abdomen."""

    to: Point


@dataclass(frozen=True, slots=True)
class UseElectrode:
    """Take the heart rate from a scalp electrode."""


@dataclass(frozen=True, slots=True)
class UseUltrasound:
    """Take the heart rate from the ultrasound sensor."""


@dataclass(frozen=True, slots=True)
class UseCatheter:
    """Take the pressure from a catheter."""


@dataclass(frozen=True, slots=True)
class UseToco:
    """Take uterine activity from the belt."""


@dataclass(frozen=True, slots=True)
class MoveFetus:
    """The fetus moves, descends or rotates: the heart's site is now elsewhere."""

    heart_at: Point


@dataclass(frozen=True, slots=True)
class ChangePosition:
    """Turn the mother. Eases cord compression and improves placental flow; shifts the belt."""


@dataclass(frozen=True, slots=True)
class SetOxytocin:
    """Set the oxytocic relative to the scenario's: 0 stops it, 1 as before. Works over ~10 min."""

    level: float


@dataclass(frozen=True, slots=True)
class GiveTocolytic:
    """Relax the uterus for about 15 minutes; the baseline rises some."""


@dataclass(frozen=True, slots=True)
class GiveFluids:
    """A bolus: improves placental flow some, over 15 minutes."""


@dataclass(frozen=True, slots=True)
class InfuseAmnion:
    """Amnioinfusion: eases cord compression over 20 minutes."""


@dataclass(frozen=True, slots=True)
class GiveOpioid:
    """An opioid to the mother: variability and accelerations fall for one to two hours."""


@dataclass(frozen=True, slots=True)
class StartPushing:
    """The second stage's pushing begins."""


@dataclass(frozen=True, slots=True)
class PausePushing:
    """Stop pushing."""


@dataclass(frozen=True, slots=True)
class ChangeCourse:
    """From now on the labour follows another scenario (sensors and sites stay as they are)."""

    scenario: Scenario


Action = (
    MoveUltrasound
    | MoveToco
    | UseElectrode
    | UseUltrasound
    | UseCatheter
    | UseToco
    | MoveFetus
    | ChangePosition
    | SetOxytocin
    | GiveTocolytic
    | GiveFluids
    | InfuseAmnion
    | GiveOpioid
    | StartPushing
    | PausePushing
    | ChangeCourse
)
