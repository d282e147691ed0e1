"""What paper cannot tell of a class: it is held against the same strip read a little otherwise.

A reading from paper lies off its trace by about half a beat a minute (docs/paper.md). Where so
little makes a worse class, or leaves none, the better one is not given: nothing may read better
because it stood on paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ebbline.criteria.classification_builder import NO_CLASS
from ebbline.criteria.model import Classification, Standard
from ebbline.recording.model import Channel, ChannelKind, FloatArray, Recording

FROM_PAPER = "paper"
"""The form of a recording that was read from paper (`Provenance.format`)."""
TIMES = 3
"""So often is a strip read a little otherwise (ours)."""
OFF_BPM, OFF_ACTIVITY = 0.5, 0.5
"""By so much, as a standard deviation, bpm and % of the paper: about what readings from paper are
wrong by (docs/paper.md)."""
OVER_S = 2.0
"""So long lies a reading off to the same side: a pen's width at 1 cm/min (docs/paper.md)."""


def read_otherwise(recording: Recording) -> tuple[Recording, ...]:
    """A recording from paper as it might have been read as well; none of any other recording.

    The same ones for the same recording.
    """
    if recording.provenance.format != FROM_PAPER:
        return ()
    made = []
    for seed in range(TIMES):
        chooser = np.random.default_rng(seed)
        channels = tuple(_moved(one, chooser) for one in recording.channels)
        made.append(replace(recording, channels=channels))
    return tuple(made)


def _moved(channel: Channel, chooser: np.random.Generator) -> Channel:
    heart = channel.kind is ChannelKind.FETAL_HEART_RATE
    size = max(1, round(OVER_S * channel.rate_hz))
    count = len(channel.samples)
    noise = chooser.normal(0.0, OFF_BPM if heart else OFF_ACTIVITY, count + size - 1)
    off: FloatArray = np.convolve(noise, np.full(size, size**-0.5), "valid")
    return replace(channel, samples=channel.samples + off)


def held_back(found: Classification, otherwise: Sequence[Classification]) -> Classification:
    """The class, or none where the same strip read a little otherwise has a worse one, or none.

    Where the class is not the best one it is still the least that is certain.
    """
    if found.refused:
        return found
    worse = [one for one in otherwise if one.rank > found.rank or (found.rank == 0 and one.refused)]
    if not worse:
        return found
    worst = max(worse, key=lambda one: one.rank)
    why = f"read from paper: by less than the pen's stroke tells, this window would be {worst.said}"
    certain = found.rank > 0 and isinstance(found.standard, Standard)
    return replace(
        found,
        label=NO_CLASS,
        rank=-1,
        refusal=(why,),
        at_least=found.label if certain else "",
        decided_by=found.decided_by if certain else (),
    )
