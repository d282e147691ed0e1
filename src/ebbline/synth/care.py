"""What care does to the model, and for how long: simple, fixed courses within stated limits."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ebbline.synth.scenario import Scenario

FloatArray = NDArray[np.float64]

OXYTOCIN_FADES_S = 360.0
OXYTOCIN_STOPPED, OXYTOCIN_ADDS = 0.55, 0.35
"""Contractions wane over 5 to 10 minutes after oxytocin stops (half-life 3 to 6 minutes; from
memory). Shares of the rate that remain without it, or that a full dose adds: chosen, no source."""

TOCOLYTIC_S, TOCOLYSED = 900.0, 0.12
TOCOLYTIC_BPM = 12.0
"""A tocolytic holds the uterus for some 15 minutes and quickens the heart (common practice)."""

OPIOID_MINUTES = (5.0, 25.0, 75.0, 150.0)
OPIOID_DEPTH, OPIOID_STILLS = 0.6, 0.8
"""Pethidine lowers variability and accelerations: begins, full, fades, gone (minutes after it is
given), and by which shares (one to two hours is common practice; figures from memory)."""

MAGNESIUM_BANDWIDTH = 0.8
FEVER_BPM = 22.0
"""Magnesium lowers variability a little; fever quickens the heart (common practice)."""

POSITION_CORD, POSITION_FLOW = (0.25, 0.55), (0.7, 0.85)
FLUIDS_FLOW, AMNIOINFUSION_CORD = 0.8, 0.4
"""Shares of cord compression and of the depth of late falls that remain after a change of
position (drawn), fluids, amnioinfusion: that they help is in ACOG Practice Bulletin 116 (2010);
how far is chosen, no source."""


@dataclass(slots=True)
class Care:
    """What has been given, and what it leaves."""

    oxytocin_from: float
    oxytocin_to: float
    oxytocin_at_s: float = -math.inf
    tocolytic_at_s: float = -math.inf
    cord_left: float = 1.0
    flow_left: float = 1.0
    opioid_at_s: list[float] = field(default_factory=list)

    @staticmethod
    def under(scenario: Scenario, from_s: float = 0.0) -> Care:
        """The care that a scenario begins with."""
        level = 1.0 if scenario.oxytocin else 0.0
        given = scenario.opioid_at_min
        return Care(
            oxytocin_from=level,
            oxytocin_to=level,
            opioid_at_s=[] if given is None else [from_s + given * 60.0],
        )

    def oxytocin(self, time_s: float) -> float:
        """Level of the oxytocic that acts, 1 = as in a scenario with oxytocin."""
        gone = math.exp(-max(0.0, time_s - self.oxytocin_at_s) / OXYTOCIN_FADES_S)
        return self.oxytocin_to + (self.oxytocin_from - self.oxytocin_to) * gone

    def contraction_rate(self, time_s: float, scenario: Scenario) -> float:
        """Share of the scenario's rate of contractions that is left or added."""
        level = self.oxytocin(time_s)
        if scenario.oxytocin:
            share = OXYTOCIN_STOPPED + (1 - OXYTOCIN_STOPPED) * level
        else:
            share = 1 + OXYTOCIN_ADDS * level
        since = time_s - self.tocolytic_at_s
        if 0 <= since < 2 * TOCOLYTIC_S:
            share *= TOCOLYSED + (1 - TOCOLYSED) * max(0.0, since / TOCOLYTIC_S - 1)
        return share

    def opioid(self, seconds: FloatArray) -> FloatArray:
        """Effect of opioids at each time, 0..1."""
        effect = np.zeros(len(seconds))
        for given in self.opioid_at_s:
            minutes = (seconds - given) / 60.0
            effect = np.maximum(effect, np.interp(minutes, OPIOID_MINUTES, (0.0, 1.0, 1.0, 0.0)))
        return effect

    def baseline_rise_bpm(self, seconds: FloatArray, scenario: Scenario) -> FloatArray:
        """What a tocolytic and fever add to the baseline."""
        since = seconds - self.tocolytic_at_s
        rise = np.interp(since, [60.0, 300.0, 1200.0, 2400.0], [0.0, 1.0, 1.0, 0.0])
        return np.asarray(TOCOLYTIC_BPM * rise + (FEVER_BPM if scenario.fever else 0.0))

    def bandwidth_left(self, seconds: FloatArray, scenario: Scenario) -> FloatArray:
        """Share of variability that drugs leave."""
        left = 1 - OPIOID_DEPTH * self.opioid(seconds)
        return np.asarray(left * (MAGNESIUM_BANDWIDTH if scenario.magnesium else 1.0))
