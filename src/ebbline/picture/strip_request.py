"""What is to be drawn: chosen once, the same for every page."""

from __future__ import annotations

from dataclasses import dataclass

from ebbline.picture.paper import Scale
from ebbline.reading.model import FetalReading, Reading
from ebbline.recording.model import Channel, ChannelKind, Recording
from ebbline.terms import Window


@dataclass(frozen=True, slots=True, eq=False)
class Job:
    """One strip: whose, which stretch, on which paper, with or without what was computed."""

    recording: Recording
    reading: Reading
    fetal: FetalReading
    window: Window
    paper: Scale
    marks: bool
    continuous: bool

    @property
    def rate(self) -> Channel:
        """The heart-rate channel of the fetus whose strip this is."""
        return self.recording.heart_rate(self.fetal.fetus)

    @property
    def others(self) -> list[Channel]:
        """Heart-rate channels of the other fetuses."""
        return [
            self.recording.heart_rate(number)
            for number in self.recording.fetuses
            if number != self.fetal.fetus
        ]

    @property
    def activity(self) -> Channel | None:
        """The activity channel, if there is one."""
        return self.recording.first(ChannelKind.UTERINE_ACTIVITY)

    @property
    def maternal(self) -> Channel | None:
        """The mother's pulse, if there is one."""
        return self.recording.first(ChannelKind.MATERNAL_HEART_RATE)
