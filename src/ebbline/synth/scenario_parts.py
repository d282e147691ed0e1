"""What a Scenario is made of beside numbers: states, places, and what happens at a time."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum


class Behaviour(StrEnum):
    """Behavioural state of the fetus.

    cycling: quiet and active sleep take turns; the others hold one state. steady: active without
    the waxing and waning of variability, for scenarios that ask for one class of variability.
    """

    CYCLING = "cycling"
    QUIET = "quiet"
    ACTIVE = "active"
    STEADY = "steady"


@dataclass(frozen=True, slots=True)
class Point:
    """A place on the mother's abdomen in cm from the umbilicus.

    x_cm: towards the mother's left; y_cm: towards her head.
    """

    x_cm: float
    y_cm: float

    def distance_cm(self, other: Point) -> float:
        """Distance to another place in cm."""
        return math.hypot(self.x_cm - other.x_cm, self.y_cm - other.y_cm)


@dataclass(frozen=True, slots=True)
class BaselineShift:
    """A change of baseline that begins at_min into the labour and takes over_min to complete."""

    at_min: float
    to_bpm: float
    over_min: float = 2.0


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch of labour in minutes from its start."""

    start_min: float
    end_min: float


@dataclass(frozen=True, slots=True)
class ProlongedFall:
    """A prolonged deceleration asked for at a time. cause: in words, kept in the truth."""

    at_min: float
    minutes: float = 4.0
    depth_bpm: float = 45.0
    cause: str = "sustained cord compression"
