"""A learner's portfolio on paper: what `portfolio` reckoned, half-year by half-year."""

from __future__ import annotations

from collections.abc import Mapping

from ebbline import CAUTION
from ebbline.picture.canvas import Document
from ebbline.picture.style import QUIET_INK
from ebbline.teach.portfolio import (
    LEAST_FOR_INTERVAL,
    Portfolio,
    calibration_words,
    growth_words,
    half_year_words,
    share_words,
)
from ebbline.teach.printout import SMALL_PT, TITLE_PT, Flow


def portfolio_sheet(made: Portfolio, titles: Mapping[str, str]) -> Document:
    """The portfolio as pages. titles: case -> its title."""
    title = f"Portfolio of {made.learner}"
    flow = Flow(title, f"{title}. Invented patients. {CAUTION}")
    flow.words(title, size=TITLE_PT, bold=True)
    if not made.half_years:
        flow.words("Nothing has been finished yet.")
    for half in made.half_years:
        flow.head(f"{half.name[0].upper()}{half.name[1:]}")
        flow.words(half_year_words(half))
        flow.pairs(
            [
                (
                    f"{case.finished:%d %b %Y}",
                    f"{share_words(case).strip()}  {titles.get(case.case, case.case)}",
                )
                for case in half.cases
            ]
        )
    if made.growth:
        flow.head("Growth, skill by skill")
        for one in made.growth:
            flow.words(growth_words(one), size=SMALL_PT, after=0.02)
    if made.calibration.answers:
        flow.head("How sure against how right")
        flow.words(calibration_words(made.calibration))
    if made.unsafe:
        flow.head("Unsafe choices")
        for choice, times in made.unsafe:
            flow.words(f"{times} x {choice}", after=0.02)
    flow.words(
        "Means are of all finished cases of a half-year; intervals are 95 % percentile bootstrap "
        f"intervals over cases, given from {LEAST_FOR_INTERVAL} on. Growth: change of a skill's "
        "share of points in 30 days, least squares, the least grown first.",
        size=SMALL_PT,
        colour=QUIET_INK,
    )
    return Document(title, tuple(flow.pages()))
