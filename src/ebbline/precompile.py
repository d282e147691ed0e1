"""Fills the compiled caches, so that the first reading is as quick as the next. Run at install."""

from __future__ import annotations

from importlib.util import find_spec

import numpy as np

from ebbline.reading.analyse import read
from ebbline.recording.model import Channel, ChannelKind, Recording
from ebbline.terms import SensorKind

_RATE_HZ = 4.0
_DURATION_S = 3600.0


def made_up_hours() -> tuple[Recording, Recording]:
    """An hour that makes every loop of a reading run: with the mother's pulse, and without."""
    time_s = np.arange(0.0, _DURATION_S, 1.0 / _RATE_HZ)
    contraction = np.maximum(0.0, np.sin(2 * np.pi * time_s / 180.0)) ** 2
    variability = 6.0 * np.sin(2 * np.pi * time_s / 17.0)
    fetal = 140.0 + variability - 35.0 * np.roll(contraction, 80)
    fetal[::97] = np.nan
    channels = (
        Channel(ChannelKind.FETAL_HEART_RATE, fetal, _RATE_HZ, SensorKind.ULTRASOUND, fetus=1),
        Channel(ChannelKind.UTERINE_ACTIVITY, 60.0 * contraction, _RATE_HZ, SensorKind.TOCO),
        Channel(ChannelKind.MATERNAL_HEART_RATE, np.full_like(fetal, 85.0), _RATE_HZ),
    )
    return Recording("invented", channels), Recording("invented", channels[:2])


def warm() -> None:
    """Invent a labour, read the made-up hours, and follow a pen where paper can be read."""
    from ebbline.synth import Story, invent

    invent(Story.from_words("normal"), seed=1)
    for one in made_up_hours():
        read(one)
    if find_spec("cv2") is not None:
        from ebbline.recording.paper import precompile

        precompile.warm()


if __name__ == "__main__":
    warm()
