"""The results of the examination in words, for a terminal or a page of plain text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from datetime import datetime

from ebbline.bedside.context import Membranes, Placenta
from ebbline.bedside.exam import Chance, ExamResult, StateChance
from ebbline.bedside.findings_catalogue import coarse_words, items
from ebbline.bedside.next_step import NextStep
from ebbline.bedside.number_words import percent, weeks_words
from ebbline.bedside.placement import PlacementAdvice
from ebbline.bedside.policy.common import Differs, PolicyHead
from ebbline.bedside.policy.internal import InternalCheck, LineKind, LineState
from ebbline.bedside.policy.measures import MeasureList
from ebbline.bedside.policy.reviews import Due, DueState, ReviewsDue
from ebbline.bedside.sensors import SensorPlan
from ebbline.bedside.twins import TwinResult

WIDTH = 96
LEAST_SHOWN = 0.05
NEXT_SHOWN = 4
LITTLE_BITS = 0.06


class _Page:
    """Lines under headings, wrapped to a width."""

    def __init__(self, width: int) -> None:
        self.lines: list[str] = []
        self._width = width
        self._sources: list[str] = []

    def head(self, text: str) -> None:
        if self.lines:
            self.lines.append("")
        self.lines.append(text)

    def say(self, text: str, indent: str = "  ", hang: str | None = None) -> None:
        self.lines += textwrap.wrap(
            text,
            self._width,
            initial_indent=indent,
            subsequent_indent=indent if hang is None else hang,
            break_on_hyphens=False,
        )

    def row(self, label: str, text: str) -> None:
        """A label in a column of its own."""
        self.say(text, f"  {label:<15}", " " * 17)

    def cite(self, source: str) -> str:
        """The number under which a source stands at the end of the page, in brackets."""
        if source not in self._sources:
            self._sources.append(source)
        return f"[{self._sources.index(source) + 1}]"

    def close(self, *last: str) -> None:
        """The list of what was cited, and the last words."""
        if self._sources:
            self.head("SOURCES")
        for number, source in enumerate(self._sources, 1):
            self.say(source, f"  [{number}] ", "      ")
        self.lines.append("")
        for words in last:
            self.say(words, "")

    def text(self) -> str:
        return "\n".join(self.lines) + "\n"


def _likely(chances: Iterable[Chance], least: float = LEAST_SHOWN) -> str:
    """The words that matter, the likeliest first, the rest in one."""
    ordered = sorted(chances, key=lambda c: -c.probability)
    shown = [c for c in ordered if c.probability >= least] or ordered[:1]
    said = [f"{c.word} {percent(c.probability)}" for c in shown]
    rest = 1 - sum(c.probability for c in shown)
    if rest >= 0.01:
        said.append(f"other {percent(rest)}")
    return ", ".join(said)


def position_word(chance: StateChance) -> str:
    """LOA alone for a vertex, else with what presents: "frank breech LSA"."""
    if chance.lie != "longitudinal":
        side = "left" if chance.position.startswith("left") else "right"
        back = "front" if chance.position.endswith("anterior") else "rear"
        low = next(
            (f", {pole} low" for pole in ("head", "breech") if f"{pole} low" in chance.name), ""
        )
        return f"{chance.lie}{low}, head {side}, back {back}"
    return chance.abbreviation if chance.presentation == "vertex" else chance.name


def _side(result: ExamResult) -> str:
    """How sure the side of the back is."""
    back = {c.word: c.probability for c in result.back}
    left = sum(p for word, p in back.items() if word.startswith("left"))
    right = sum(p for word, p in back.items() if word.startswith("right"))
    rest = [("to the front", back["front"]), ("to the spine", back["rear"])]
    rest.append(("across", back["across"]))
    rows = [Chance("on her left", left, 0.0), Chance("on her right", right, 0.0)]
    rows += [Chance(word, p, 0.0) for word, p in rest]
    return _likely(rows)


def _presents(result: ExamResult) -> str:
    shown = [c for c in result.presentation if c.probability >= 0.01] or [result.presentation[0]]
    return ", ".join(
        f"{c.word} {percent(c.probability)} (before any finding {percent(c.before)})"
        for c in shown[:4]
    )


def context_words(result: ExamResult) -> str:
    """Weeks, stage, hands and what hinders them."""
    context = result.context
    said = [
        f"{weeks_words(context.weeks)} weeks" if context.weeks is not None else "weeks not given",
        f"stage {context.stage}" if context.stage != "unknown" else "stage not given",
        f"{context.examiner} hands",
    ]
    said += [str(hindrance) for hindrance in context.hindrances]
    if context.membranes is not Membranes.UNKNOWN:
        said.append(f"membranes {context.membranes}")
    if context.placenta is not Placenta.UNKNOWN:
        said.append(f"placenta {context.placenta}")
    if context.bleeding is not None:
        said.append("bleeding" if context.bleeding else "no bleeding")
    return ", ".join(said)


def say_exam(result: ExamResult, *, width: int = WIDTH, everything: bool = False) -> str:
    """The whole result in words. everything: with all that it rests on."""
    page = _Page(width)
    _say_exam(page, result, everything)
    page.close(result.caution)
    return page.text()


def _say_exam(page: _Page, result: ExamResult, everything: bool) -> None:
    if result.alone:
        # An emergency stands alone: no grip, no probability, no site beside it.
        page.head("NOW")
        for caution in result.alone:
            page.say(f"{caution.text} {page.cite(caution.source)}", "  !! ", "     ")
        page.head(f"Kept: {context_words(result)}")
        page.say("; ".join(f"{f.item}: {f.answer}" for f in result.findings) + ".")
        return
    if result.cautions:
        page.head("FIRST, FOR THE TEAM THAT HAS HER IN ITS CARE")
        for caution in result.cautions:
            mark = "!!" if caution.now else "! "
            page.say(f"{caution.text} {page.cite(caution.source)}", f"  {mark} ", "     ")
    page.head(f"WHAT WAS FOUND ({context_words(result)})")
    if result.findings:
        page.say("; ".join(f"{f.item}: {f.answer}" for f in result.findings) + ".")
    else:
        page.say("Nothing yet: what follows is only what is usual.")
    for against in result.contradictions:
        page.say(f"{against.text}", "  ?  ", "     ")
    page.head("WHAT IT COMES TO")
    page.row("Lie", _likely(result.lie, 0.01))
    page.row("Presents", _presents(result))
    page.row("Position", f"{result.position_told.words} ({percent(result.position_told.share)})")
    page.row(
        "  likeliest",
        _likely([Chance(position_word(p), p.probability, p.before) for p in result.positions]),
    )
    page.row("Back", _side(result))
    page.row("Attitude", _likely(result.attitude))
    page.row("Descent", f"{_likely(result.descent)}; engaged {percent(result.engaged)}")
    page.head("WHAT NEXT")
    _say_next(page, result.next_steps)
    page.say(result.scan.why, "  Scan?  ", "         ")
    if result.scan.trade:
        page.say(result.scan.trade, "         ")
    page.head("WHERE THE SENSORS GO")
    _say_plan(page, result.sensors)
    _say_growth(page, result)
    if result.not_examined:
        page.head("NOT EXAMINED")
        page.say(", ".join(result.not_examined) + ".")
    if result.not_told:
        page.head("NOT TOLD (never counts as no)")
        page.say(", ".join(result.not_told) + ".")
    page.head("WHAT IT RESTS ON")
    basis = result.basis if everything else result.basis[:2]
    for one in basis:
        page.say(f"{one.about}: {one.text} {page.cite(str(one.source))}", "  ", "    ")
    if not everything:
        page.say("More with --all. What the hands conclude is trusted as far as studies found it.")


def _say_next(page: _Page, steps: Sequence[NextStep]) -> None:
    if not steps:
        page.say("Nothing left that the hands, the ear or a question would settle.")
        return
    if steps[0].gain_bits < LITTLE_BITS:
        page.say("Little is left that would settle more:")
    for i, step in enumerate(steps[:NEXT_SHOWN], 1):
        only = (
            " Only if an internal examination is indicated anyway."
            if step.only_if_indicated
            else ""
        )
        most = " (settles most)" if i == 1 else ""
        where = f" Listen {step.place}." if step.place else ""
        page.say(
            f"{step.item}{most}, {step.step}: {step.question}{where}{only}", f"  {i}  ", "     "
        )


def _say_plan(page: _Page, plan: SensorPlan) -> None:
    page.row(
        "Heart rate",
        f"{plan.best.words}; chance that it is heard best within 4 cm of there: "
        f"{percent(plan.best.share)}",
    )
    if plan.both_sides_alike:
        page.row("", "Left and right are alike so far: listen on both sides first.")
    page.row("Search within", "; or ".join(p.words for p in plan.region.patches[:2]))
    if plan.fallback is not None:
        page.row("If silent", f"{plan.fallback.words} ({percent(plan.fallback.share)})")
    page.row("Later", plan.drift_words)
    page.row(
        "Contractions",
        f"{plan.contraction.words}, where the fundus is felt to harden most, away from limbs",
    )
    for note in plan.notes:
        page.say(note)


def _say_growth(page: _Page, result: ExamResult) -> None:
    growth = result.growth
    if growth.fundal_height is None and not growth.weights:
        return
    page.head("THE TAPE")
    if growth.fundal_height is not None:
        page.row(
            "Fundal height", f"{growth.fundal_height.text} {page.cite(growth.fundal_height.source)}"
        )
    for weight in growth.weights:
        page.row(
            "Weight",
            f"about {weight.grams:.0f} g, give or take {weight.error_g:.0f}: Johnson "
            f"'{weight.variant}', head {weight.head}, {weight.rule} {page.cite(weight.source)}",
        )
    for note in growth.notes:
        page.say(note)


def say_twins(result: TwinResult, *, width: int = WIDTH, everything: bool = False) -> str:
    """Both twins in words."""
    page = _Page(width)
    both = (("THE LOWER TWIN", result.first), ("THE OTHER TWIN", result.second))
    urgent = [(name, one) for name, one in both if one.alone]
    for name, one in urgent or both:
        page.head(f"=== {name} ===")
        _say_exam(page, one, everything)
    if not urgent:
        page.head("=== BOTH ===")
        page.say(f"The two heart-rate sites lie {result.apart_cm:.0f} cm apart.")
        for note in result.notes:
            page.say(note)
    page.close(result.first.caution)
    return page.text()


def one_line(result: ExamResult) -> str:
    """The state of the examination in one line, for reading while it goes on."""
    if result.alone:
        return "!! " + " ".join(caution.text for caution in result.alone)
    presents = _likely(result.presentation)
    tell = f"Now: {presents}; back {_side(result)}; site {result.sensors.best.words}."
    urgent = [c.id for c in result.cautions if c.now]
    if urgent:
        tell = f"!! {', '.join(urgent)}. {tell}"
    if result.contradictions:
        pair = " and ".join(result.contradictions[0].items)
        tell += f" ({pair} are seldom reported together.)"
    return tell


def say_sensors(
    plan: SensorPlan, advice: PlacementAdvice | None, caution: str, *, width: int = WIDTH
) -> str:
    """Where the sensors go, and what to try for the signal as it is."""
    page = _Page(width)
    if advice is not None and advice.exclude_maternal:
        page.head("FIRST: IS IT THE MOTHER'S PULSE?")
        for reason in advice.maternal_why:
            page.say(f"{reason[0].upper()}{reason[1:]}.", "  -  ", "     ")
    page.head("WHERE THE SENSORS GO")
    _say_plan(page, plan)
    if advice is not None:
        page.head("WHAT TO TRY, IN THIS ORDER")
        if advice.rest:
            page.say(advice.rest, "  !  ", "     ")
        if not advice.steps and not advice.done:
            page.say("Nothing: by what was told the signal serves.")
        elif not advice.steps:
            page.say("All of it was tried.")
        for i, step in enumerate(advice.steps, 1):
            page.say(f"{step.what} ({step.why}) {page.cite(step.source)}", f"  {i}  ", "     ")
        if advice.done:
            page.head("TRIED (for the record)")
            page.say("; ".join(advice.done) + ".")
        page.head("AN INTERNAL SENSOR?")
        page.row("Electrode", advice.electrode_why)
        page.row("Catheter", advice.catheter_why)
        if advice.not_known:
            page.head("NOT KNOWN")
            page.say(", ".join(advice.not_known) + ".")
    page.close(caution)
    return page.text()


def _differs(page: _Page, differs: Sequence[Differs]) -> str:
    return "".join(f" Elsewhere: {d.text.rstrip('.')} {page.cite(d.source)}." for d in differs)


def _policy_line(policy: PolicyHead) -> str:
    return f"Policy: {policy.policy}, {policy.edition} ({policy.file})."


def say_internal(check: InternalCheck, *, width: int = WIDTH) -> str:
    """The check of an internal sensor in words."""
    page = _Page(width)
    page.head(f"{check.title.upper()}: {check.verdict.upper()}")
    care = LineKind.CAUTION
    parts = (
        (
            "STANDS AGAINST IT",
            [
                r
                for r in check.results
                if r.state in (LineState.PRESENT, LineState.NOT_MET) and r.line.kind is not care
            ],
        ),
        (
            "ASKS FOR CARE",
            [r for r in check.results if r.state is LineState.PRESENT and r.line.kind is care],
        ),
        (
            "NOT TOLD (counts as not met)",
            [r for r in check.results if r.state is LineState.UNKNOWN and r.line.kind is not care],
        ),
        (
            "NOT TOLD, WOULD ASK FOR CARE",
            [r for r in check.results if r.state is LineState.UNKNOWN and r.line.kind is care],
        ),
        ("CLEAR", [r for r in check.results if r.state is LineState.CLEAR]),
    )
    for title, rows in parts:
        if rows:
            page.head(title)
        for row in rows:
            line = row.line
            page.say(
                f"{line.kind}: {line.text} ({line.fact}: {row.known}) {page.cite(line.source)}"
                + _differs(page, line.differs),
                "  -  ",
                "     ",
            )
    if check.dropped:
        page.head("LEFT OUT OF THE SHIPPED LIST BY THIS FILE")
        page.say(", ".join(check.dropped) + ".")
    if check.find_out:
        page.head("FIND OUT")
        for text in check.find_out:
            page.say(text, "  -  ", "     ")
    page.close(
        "This is a list held against what was told, not a decision: the team and she decide. "
        + _policy_line(check.policy),
        check.caution,
    )
    return page.text()


def _every(minutes: float) -> str:
    """An interval in minutes or, where it is whole, in hours."""
    hours = minutes / 60
    return f"{hours:g} h" if hours >= 2 and hours == int(hours) else f"{minutes:g} min"


def clock_words(time: datetime, now: datetime) -> str:
    """A time as the clock shows it, with the day where it is not today's."""
    days = (time.date() - now.date()).days
    day = {0: "", -1: "yesterday ", 1: "tomorrow "}.get(days, f"{time:%d %b} ")
    return f"{day}{time:%H:%M}"


def _when(due: Due, now: datetime) -> str:
    if due.state is DueState.NEVER or due.due_at is None or due.last is None:
        return "no time given: when was it last done?"
    minutes = abs(due.minutes)
    span = f"{minutes:.0f} min" if minutes < 90 else f"{minutes / 60:.1f} h"
    last = f"last {clock_words(due.last, now)}, due {clock_words(due.due_at, now)}"
    if due.state is DueState.OVERDUE:
        return f"OVERDUE by {span} ({last})"
    return f"due now ({last})" if due.state is DueState.DUE else f"due in {span} ({last})"


def say_reviews(due: ReviewsDue, *, width: int = WIDTH) -> str:
    """What is due and overdue, in words."""
    page = _Page(width)
    stage = due.stage if due.stage != "unknown" else "not given"
    risk = due.risk if due.risk != "unknown" else "not given"
    page.head(f"REVIEWS AT {due.now:%H:%M} (stage {stage}, risk {risk})")
    for one in due.reviews:
        page.say(
            f"{one.title}: {_when(one, due.now)}; every {_every(one.every_min)} "
            + page.cite(one.source)
            + _differs(page, one.differs),
            "  -  ",
            "     ",
        )
    if due.factors:
        page.head("RISK FACTORS NAMED")
        for factor in due.factors:
            page.say(f"{factor.text} {page.cite(factor.source)}", "  -  ", "     ")
    for note in due.notes:
        page.say(note)
    page.close(_policy_line(due.policy), due.caution)
    return page.text()


def say_measures(listed: MeasureList, *, width: int = WIDTH) -> str:
    """First measures in words."""
    page = _Page(width)
    if listed.call is not None:
        page.head("THE CALL, BY THE CLASS")
        page.say(f"{listed.call.text} {page.cite(listed.call.source)}", "  !! ", "     ")
    page.head("FIRST MEASURES THAT GUIDELINES LIST")
    page.say(f"For: {'; '.join(listed.titles).lower()}.")
    page.say(listed.note)
    if listed.clock:
        page.head("THE CLOCK OF A FALL THAT LASTS")
        for step in listed.clock:
            reached = {None: "", True: " NOW", False: " not yet"}[step.reached]
            page.say(
                f"from {step.from_min:g} min{reached}: {step.text} {page.cite(step.source)}",
                "  -  ",
                "     ",
            )
    page.head("OPTIONS")
    for measure in listed.measures:
        page.say(
            f"{measure.text} {page.cite(measure.source)}"
            + "".join(f" Care: {c.text} {page.cite(c.source)}." for c in measure.cautions)
            + _differs(page, measure.differs),
            "  -  ",
            "     ",
        )
    for name in listed.nothing_listed:
        page.say(f"Nothing is listed for: {name}.")
    page.close(_policy_line(listed.policy), listed.caution)
    return page.text()


def say_words() -> str:
    """All items with the answers that can be given."""
    page = _Page(WIDTH)
    step = None
    for item in items().values():
        if item.step is not step:
            step = item.step
            page.head(step.upper())
        coarse = coarse_words(item)
        also = f"; or: {', '.join(coarse)}" if coarse else ""
        page.say(f"{item.name} = {', '.join(item.outcomes)}{also}", "  ", "      ")
    page.head("ANY ITEM")
    page.say("unclear: felt for and could not tell. unknown, or left out: not examined.")
    page.say("Hyphens may stand for spaces. position also takes letters: LOA, ROT, LSA, RMP ...")
    return page.text()
