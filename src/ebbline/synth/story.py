"""A story: chapters of one labour, one after the other."""

from __future__ import annotations

import re
from dataclasses import dataclass

from ebbline.errors import ScenarioError
from ebbline.synth.scenario import Scenario

FIXED = ("weeks", "rate_hz", "maternal_pulse")
"""What cannot change from chapter to chapter."""


@dataclass(frozen=True, slots=True)
class Story:
    """Chapters of one labour: each scenario lasts its own `hours`."""

    chapters: tuple[Scenario, ...]

    def __post_init__(self) -> None:
        for number, chapter in enumerate(self.chapters[1:], 2):
            for name in FIXED:
                first, here = getattr(self.chapters[0], name), getattr(chapter, name)
                if first != here:
                    raise ScenarioError(
                        f"{name} is {here} after {first} in the first chapter.",
                        where=f"chapter {number}",
                        remedy="Say it once, in the first chapter.",
                    )

    @staticmethod
    def from_words(words: str) -> Story:
        """Chapters parted by "then": "accelerations, 20 minutes then tachysystole, 30 minutes".

        Gestation, samples per second, sensors, loss and baseline hold on until said otherwise.
        Raises ScenarioError for words that are not known.
        """
        chapters: list[Scenario] = []
        for part in re.split(r"\bthen\b", words):
            said = part.strip(" ,;")
            chapters.append(Scenario.from_words(said, after=chapters[-1] if chapters else None))
        return Story(tuple(chapters))
