"""Virtual labours whose truth is known."""

from ebbline.synth.engine import Labour, LabourEngine, Stretch, invent
from ebbline.synth.ground_truth import Truth
from ebbline.synth.scenario import Scenario
from ebbline.synth.scenario_parts import BaselineShift, Behaviour, Point, ProlongedFall, Spell
from ebbline.synth.story import Story

__all__ = [
    "BaselineShift",
    "Behaviour",
    "Labour",
    "LabourEngine",
    "Point",
    "ProlongedFall",
    "Scenario",
    "Spell",
    "Story",
    "Stretch",
    "Truth",
    "invent",
]
