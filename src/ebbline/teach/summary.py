"""The debrief's first three sentences: any danger, what was right, what to do differently."""

from __future__ import annotations

from dataclasses import dataclass

from ebbline.teach.fetal_course import ACIDOSIS_MMOL, Birth
from ebbline.teach.scoring import NOT_ANSWERED, Score, ScoreLine

RIGHT_FROM = 0.999
MOST_NAMED = 4
URGENT = ("emergency known", "help called", "first act", "birth asked for")
MOST_SAID = 120
"""Letters of the right answer up to which it fits into a sentence (ours)."""


@dataclass(frozen=True, slots=True)
class Summary:
    """Three sentences. danger: "" never: where there was none, it says so."""

    right: str
    differently: str
    danger: str
    endangered: bool
    """Whether a choice was unsafe, or the birth bad."""

    @property
    def sentences(self) -> tuple[str, str, str]:
        """In the order they are read: a danger before all else, its absence last."""
        if self.endangered:
            return self.danger, self.right, self.differently
        return self.right, self.differently, self.danger


def summary(score: Score, birth: Birth | None = None) -> Summary:
    """Of a scored attempt."""
    harmed = birth is not None and birth.base_deficit >= ACIDOSIS_MMOL
    return Summary(
        right=_right(score),
        differently=_differently(score),
        danger=_danger(score, birth if harmed else None),
        endangered=bool(score.unsafe) or harmed,
    )


def _right(score: Score) -> str:
    right = [line for line in score.lines if line.share >= RIGHT_FROM]
    if not right:
        best = max(score.lines, key=lambda line: line.share, default=None)
        if best is None or best.share <= 0:
            return "Nothing was answered rightly yet."
        return f"Best was the {best.item}, with {100 * best.share:.0f} % of its points."
    named = sorted(right, key=lambda line: -line.possible)[:MOST_NAMED]
    more = len(right) - len(named)
    words = ", ".join(line.item for line in named) + (f" and {more} more" if more else "")
    return f"Right: {words}."


def _differently(score: Score) -> str:
    lost = [line for line in score.lines if line.share < RIGHT_FROM]
    if not lost:
        return "There is nothing to do differently next time."
    # In an emergency nothing else is as worth doing otherwise, whatever its points.
    worst = max(lost, key=lambda line: (line.item in URGENT and line.share < 0.5, _lost(line)))
    if worst.learner in (NOT_ANSWERED, "never", "nobody", "none"):
        if len(worst.truth) > MOST_SAID:
            return f"Do differently: {worst.item}, which was left out. What was right is below."
        return f"Do differently: {worst.item}, which was left out: {_end(worst.truth)}"
    if len(worst.truth) > MOST_SAID:
        return (
            f"Do differently: {worst.item}. You: {_bare(worst.learner)}. What was right is below."
        )
    return (
        f"Do differently: {worst.item}. You: {_bare(worst.learner)}. Rightly: {_end(worst.truth)}"
    )


def _lost(line: ScoreLine) -> float:
    return line.possible - line.points


def _bare(text: str) -> str:
    return text.removesuffix(".")


def _end(text: str) -> str:
    return text if text.endswith(".") else f"{text}."


def _danger(score: Score, harm: Birth | None) -> str:
    if score.unsafe:
        first = score.unsafe[0]
        more = len(score.unsafe) - 1
        words = f"Danger: {first.choice[0].lower()}{first.choice[1:]}. {_end(first.why)}"
        return words + (f" And {more} more below." if more else "")
    if harm is not None:
        return f"No unsafe choice, and still: {harm.words}"
    return "No choice of yours was unsafe."
