"""A story: chapters of one labour, one after the other."""

from __future__ import annotations

import re
from dataclasses import dataclass

from ebbline.synth.scenario import Scenario


@dataclass(frozen=True, slots=True)
class Story:
    """Chapters of one labour: each scenario lasts its own `hours`; sensors stay as in the first."""

    chapters: tuple[Scenario, ...]

    @staticmethod
    def from_words(words: str) -> Story:
        """Chapters parted by "then": "accelerations, 20 minutes then tachysystole, 30 minutes".

        Raises ScenarioError for words that are not known.
        """
        parts = [part.strip(" ,;") for part in re.split(r"\bthen\b", words)]
        return Story(tuple(Scenario.from_words(part) for part in parts))
