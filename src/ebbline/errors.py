"""The errors a user can meet: each says what is wrong, where, and what to do."""

from __future__ import annotations


class EbblineError(Exception):
    """A problem with what the user gave us, told in words.

    what: the problem; where: the file, line, channel or field; remedy: what to do about it.
    """

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        self.what = what
        self.where = where
        self.remedy = remedy
        super().__init__(str(self))

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        remedy = f" {self.remedy}" if self.remedy else ""
        return f"{place}{self.what}{remedy}"


class RecordingError(EbblineError):
    """A recording that cannot be read or written."""


class UnforeseenError(RecordingError):
    """A fault of ours that a file brought to light, told in words by the outermost guard."""


class MissingExtraError(EbblineError):
    """A package that only some of the parts need is not installed."""


class ContextError(EbblineError):
    """A word about the labour (weeks, stage, window, standard) that cannot be used."""


class ExaminationError(EbblineError):
    """A finding of the examination that cannot be used."""


class PolicyError(EbblineError):
    """A policy file that is not valid."""


class ScenarioError(EbblineError):
    """A virtual labour or case that cannot be made."""
