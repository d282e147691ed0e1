"""The examination with the hands: probabilities, sensor sites, checks, reviews due.

The door for other rooms is `examine(findings, context) -> ExamResult`; findings are words, all of
them listed by `items()`. Everything that comes back is frozen and goes to JSON and back through
`ebbline.codec`. Twins: `examine_twins`.

>>> from ebbline.bedside import ExamContext, examine
>>> result = examine({"fundus": "breech", "back": "left", "brim": "head"}, ExamContext(weeks=39))
>>> result.presentation[0].word, result.sensors.best.zone
('vertex', 'left below')

An abdomen is measured in centimetres from the umbilicus, x positive to the mother's left, y
positive towards her head (`geometry.py`).
"""

from ebbline.bedside.cautions import Caution, Contradiction
from ebbline.bedside.context import (
    ExamContext,
    Examiner,
    Fluid,
    Hindrance,
    Membranes,
    Placenta,
    examiner_for_years,
)
from ebbline.bedside.exam import Chance, ExamResult, StateChance, examine
from ebbline.bedside.findings_catalogue import Finding, Item, finding, findings_from, items
from ebbline.bedside.geometry import Abdomen, Point
from ebbline.bedside.next_step import NextStep, ScanAdvice
from ebbline.bedside.sensors import SensorPlan, Site, SiteMap
from ebbline.bedside.states import State, states
from ebbline.bedside.twins import TwinResult, examine_twins

__all__ = [
    "Abdomen",
    "Caution",
    "Chance",
    "Contradiction",
    "ExamContext",
    "ExamResult",
    "Examiner",
    "Finding",
    "Fluid",
    "Hindrance",
    "Item",
    "Membranes",
    "NextStep",
    "Placenta",
    "Point",
    "ScanAdvice",
    "SensorPlan",
    "Site",
    "SiteMap",
    "State",
    "StateChance",
    "TwinResult",
    "examine",
    "examine_twins",
    "examiner_for_years",
    "finding",
    "findings_from",
    "items",
    "states",
]
