"""Dangers that grow with the clock: what eases them, and how soon they ask to be seen to.

The table is threats.yaml; this module only looks it up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

import yaml

PHASES = ("begins", "eased", "cured", "failing", "ending")
TARGETS = ("know", "call", "act", "birth")


TOLERANCE_MIN = 1.0
"""A minute more than a limit counts as within it: nobody's clock is truer than that (ours)."""


@dataclass(frozen=True, slots=True)
class Target:
    """Minutes from when the threat could be known: all points up to `full`, none from `none`."""

    full: float
    none: float

    def share(self, minutes: float | None) -> float:
        """Share of the points for something done so late; None: never done."""
        if minutes is None:
            return 0.0
        late = minutes - TOLERANCE_MIN
        return min(1.0, max(0.0, (self.none - late) / (self.none - self.full)))


@dataclass(frozen=True, slots=True)
class ThreatKind:
    """One danger.

    minutes_per_mmol: minutes in which the base deficit rises by 1 mmol/L with nothing done. eased:
    measure -> share of that pace left. cured_by: measures that end it after cure_min minutes. acts:
    the right first action, any of them. born_by: measures that together bring about birth. birth:
    it asks for birth now. call: lowest step of telling. trace: phase -> knobs of the generator.
    """

    id: str
    say: str
    minutes_per_mmol: float
    eased: Mapping[str, float]
    cured_by: tuple[str, ...]
    cure_min: float
    acts: tuple[str, ...]
    born_by: tuple[str, ...]
    birth: bool
    call: int
    targets: Mapping[str, Target]
    trace: Mapping[str, Mapping[str, Any]]
    source: str


@cache
def threat_table() -> Mapping[str, ThreatKind]:
    """All threats by id, in the order they are shown."""
    text = files("ebbline.teach").joinpath("threats.yaml").read_text(encoding="utf-8")
    data = yaml.safe_load(text)
    sources = data["sources"]
    return MappingProxyType(
        {
            entry["id"]: ThreatKind(
                id=entry["id"],
                say=entry["say"],
                minutes_per_mmol=float(entry["minutes_per_mmol"]),
                eased=MappingProxyType(entry.get("eased", {})),
                cured_by=tuple(entry.get("cured_by", ())),
                cure_min=float(entry.get("cure_min", 0.0)),
                acts=tuple(entry["acts"]),
                born_by=tuple(entry.get("born_by", ())),
                birth=bool(entry["birth"]),
                call=int(entry["call"]),
                targets=MappingProxyType(
                    {name: Target(*limits) for name, limits in entry["targets"].items()}
                ),
                trace=MappingProxyType(entry.get("trace", {})),
                source=str(sources[entry["source"]]),
            )
            for entry in data["threats"]
        }
    )
