"""The words around the drawn abdomen: cautions above, probabilities and sites below."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ebbline import __version__
from ebbline.bedside.exam import Chance, ExamResult
from ebbline.bedside.number_words import percent
from ebbline.bedside.wording import context_words, position_word
from ebbline.picture.canvas import (
    Anchor,
    Circle,
    Line,
    Rect,
    Shape,
    Stroke,
    Text,
    hatch,
)
from ebbline.picture.fonts import shortened, text_width, wrapped
from ebbline.picture.style import BODY, GRID_MAJOR, HEAD, INK, PAPER, QUIET_INK, SMALL

LINE = 0.33
GAP = 0.6
BAR = "#8290a6"
MAP_KEY = (("#7fae9c", "30 %"), ("#b5d3c6", "60 %"), ("#e3efe9", "85 %"))
"""Tints of the map and the share of it that lies within, as the drawing has them."""


@dataclass(frozen=True, slots=True)
class Words:
    """Shapes, and where they end on the page, cm from the top."""

    shapes: tuple[Shape, ...]
    bottom: float


class _Column:
    """Lines under each other in a column."""

    def __init__(self, left: float, right: float, top: float) -> None:
        self.left, self.right, self.y = left, right, top
        self.shapes: list[Shape] = []

    def head(self, text: str) -> None:
        self.y += 0.56
        self.shapes.append(Text(self.left, self.y, text, 8.8, INK, True))
        self.y += 0.06

    def say(self, text: str, indent: float = 0.0, colour: str = INK) -> None:
        for line in wrapped(text, self.right - self.left - indent, BODY):
            self.y += LINE
            self.shapes.append(Text(self.left + indent, self.y, line, BODY, colour))

    def bar(self, word: str, share: float) -> None:
        """A word with its probability as a bar."""
        self.y += LINE + 0.05
        full = self.right - self.left
        number = percent(share)
        label = shortened(word, full * 0.55, BODY)
        self.shapes.append(Text(self.left, self.y, label, BODY, INK))
        begin, length = self.left + full * 0.57, full * 0.24
        self.shapes += [
            Rect(begin, self.y - 0.2, length, 0.22, None, Stroke(BAR, 0.4)),
            Rect(begin, self.y - 0.2, max(length * share, 0.015), 0.22, BAR),
            Text(self.right, self.y, number, BODY, INK, anchor=Anchor.END),
        ]


def above(results: Sequence[ExamResult], left: float, right: float, top: float) -> Words:
    """Title, context and cautions."""
    first = results[0]
    twins = len(results) > 1
    title = "The abdomen, examined: twins" if twins else "The abdomen, examined"
    shapes: list[Shape] = [Text(left, top + 0.45, title, HEAD, INK, True)]
    begin = left + text_width(title, HEAD, bold=True) + 0.4
    said = shortened(context_words(first), right - begin, BODY)
    shapes.append(Text(begin, top + 0.45, said, BODY, QUIET_INK))
    y = top + 0.75
    column = _Column(left + 0.3, right, y)
    for caution in dict.fromkeys(c for result in results for c in result.cautions):
        column.say(("NOW: " if caution.now else "") + caution.text)
    for against in (a for result in results for a in result.contradictions):
        column.say(f"Does not fit: {against.text}")
    if column.shapes:
        shapes.append(Rect(left, y + 0.08, 0.12, column.y - y + 0.02, INK))
        shapes += column.shapes
        y = column.y + 0.1
    return Words(tuple(shapes), y)


def beside(results: Sequence[ExamResult], left: float, right: float, top: float) -> Words:
    """Probabilities on one side, sites and next steps on the other, the caution below."""
    middle = (left + right) / 2
    one = _Column(left, middle - GAP / 2, top)
    other = _Column(middle + GAP / 2, right, top)
    if len(results) == 1:
        _probabilities(one, results[0], "")
        _sites(other, results[0], "1", "2")
        _next(other, results[0])
        _left_out(one, results[0])
    else:
        for result, column, name in zip(
            results, (one, other), ("A, the lower twin", "B, the other twin"), strict=True
        ):
            _probabilities(column, result, f"{name}: ", brief=True)
            _found(column, result)
            _sites(column, result, name[0], "")
            _next(column, result)
    bottom = max(one.y, other.y) + 0.55
    key = _key(left, bottom, twins=len(results) > 1)
    bottom += 0.5
    shapes = [Line(left, top, right, top, GRID_MAJOR), *one.shapes, *other.shapes, *key]
    for line in wrapped(f"{results[0].caution} Ebbline {__version__}.", right - left, SMALL):
        bottom += 0.3
        shapes.append(Text(left, bottom, line, SMALL, QUIET_INK))
    return Words(tuple(shapes), bottom)


def _top(chances: Iterable[Chance], count: int) -> list[Chance]:
    ordered = sorted(chances, key=lambda c: -c.probability)
    return [c for c in ordered[:count] if c.probability >= 0.01] or ordered[:1]


def _probabilities(column: _Column, result: ExamResult, name: str, *, brief: bool = False) -> None:
    column.head(f"{name}What presents".strip().capitalize() if not name else f"{name}what presents")
    for chance in _top(result.presentation, 3 if brief else 4):
        column.bar(chance.word, chance.probability)
    column.head("Position")
    for place in result.positions[: 3 if brief else 4]:
        if place.probability >= 0.02:
            column.bar(position_word(place), place.probability)
    column.head("Descent" if brief else "Attitude and descent")
    for chance in () if brief else _top(result.attitude, 2):
        if chance.probability >= 0.02:
            column.bar(f"head {chance.word}", chance.probability)
    for chance in _top(result.descent, 1 if brief else 2):
        fifths = chance.word.endswith("/5")
        column.bar(chance.word + (" above the brim" if fifths else ""), chance.probability)
    column.bar("engaged", result.engaged)


def _sites(column: _Column, result: ExamResult, first: str, second: str) -> None:
    plan = result.sensors
    column.head("Sites")
    column.say(f"{first}  Heart rate: {plan.best.words} ({percent(plan.best.share)} within 4 cm).")
    if plan.both_sides_alike:
        column.say("Left and right are alike so far: listen on both sides first.")
    if second and plan.fallback is not None:
        column.say(f"{second}  If silent: {plan.fallback.words}.")
    if first != "B":
        column.say(
            f"C  Contractions: {plan.contraction.words}, where the fundus hardens most, away from "
            "limbs."
        )
    if second:
        column.say(plan.drift_words)


def _next(column: _Column, result: ExamResult) -> None:
    column.head("Next")
    for i, step in enumerate(result.next_steps[:2], 1):
        column.say(f"{i}  {step.question}")
    column.say(f"Scan? {result.scan.why}")


def _found(column: _Column, result: ExamResult) -> None:
    column.head("Found")
    column.say("; ".join(f"{f.item}: {f.answer}" for f in result.findings) + ".")


def _left_out(column: _Column, result: ExamResult) -> None:
    column.head("Not examined")
    column.say(", ".join(result.not_examined) + "." if result.not_examined else "Nothing.")


def _key(left: float, y: float, *, twins: bool) -> list[Shape]:
    """What the tints mean."""
    text = "Heart heard best, the darkest holds"
    shapes: list[Shape] = [Text(left, y, text, SMALL, QUIET_INK)]
    x = left + text_width(text, SMALL) + 0.15
    for tint, words in MAP_KEY:
        shapes += [
            Rect(x, y - 0.22, 0.5, 0.26, tint, Stroke(QUIET_INK, 0.3)),
            Text(x + 0.58, y, words, SMALL, QUIET_INK),
        ]
        x += 0.58 + text_width(words, SMALL) + 0.25
    end = "of the probability"
    shapes.append(Text(x, y, end, SMALL, QUIET_INK))
    x += text_width(end, SMALL) + 0.5
    if twins:
        area = Rect(x, y - 0.22, 0.5, 0.26, PAPER, Stroke(QUIET_INK, 0.6))
        shapes += [area, hatch(area, Stroke(QUIET_INK, 0.5), spacing=0.12, turn=-45)]
        shapes.append(Text(x + 0.58, y, "twin B, 60 %", SMALL, QUIET_INK))
    else:
        shapes += [
            Circle(x + 0.12, y - 0.1, 0.11, None, Stroke(INK, 1.0, (0.06, 0.06))),
            Text(x + 0.35, y, "where to try next", SMALL, QUIET_INK),
        ]
    return shapes
