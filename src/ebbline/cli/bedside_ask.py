"""The examination asked through, item by item, from a terminal or a file of answers."""

from __future__ import annotations

import sys
import textwrap
from typing import TYPE_CHECKING, TextIO

from ebbline.cli.bedside_options import width
from ebbline.errors import ExaminationError

if TYPE_CHECKING:
    from ebbline.bedside import ExamContext, ExamResult, Item
    from ebbline.bedside.policy.scan import ScanPolicy

UNCLEAR = "unclear"
_TIED = "\N{NO-BREAK SPACE}"
_STOP = ("stop", "done", "quit", "end")
_BACK = ("back", "b")
_HELP = ("?", "help", "h")
_SKIP = ("", "unknown", "not examined", "skip", "-")


def walk(
    given: list[tuple[str, str]],
    context: ExamContext,
    *,
    quiet: bool = False,
    answers: TextIO | None = None,
    scan_policy: ScanPolicy | None = None,
) -> ExamResult:
    """Ask the items in the order of the examination; say after each answer what it comes to.

    given: findings already told, which are not asked again. An empty answer or "unknown" means
    not examined; "?" explains; "back" goes one item back; "stop", or the end of the input, ends.
    quiet: questions go to stderr, so that stdout holds the result alone.
    """
    from ebbline.bedside import examine, finding, findings_from
    from ebbline.bedside.wording import one_line

    lines = sys.stdin if answers is None else answers
    out = sys.stderr if quiet else sys.stdout

    def say(text: str) -> None:
        print(text, file=out, flush=True)

    found = {f.item: f.answer for f in findings_from(given)}
    asked = [item for item in _asked(context) if item.name not in found]
    own: dict[str, str] = {}
    say("Answer with a word or a number. Enter: not examined. ?: help. back: one back. stop: end.")
    i = 0
    step = None
    while i < len(asked):
        item = asked[i]
        if item.step is not step:
            step = item.step
            say(f"\n{step.upper()}\n{item.how}" if step else "")
        say(f"  {item.question}\n  {_offered(item)}")
        print("> ", end="", file=out, flush=True)
        line = lines.readline()
        if not lines.isatty():
            say(line.strip())
        if line == "" or line.strip().lower() in _STOP:
            break
        text = " ".join(line.split()).lower()
        if text in _HELP:
            say(f"  {item.how}\n  Any of: {', '.join(item.answers)}.")
            continue
        if text in _BACK:
            i = max(i - 1, 0)
            own.pop(asked[i].name, None)
            step = None
            continue
        if text in _SKIP:
            i += 1
            continue
        try:
            told = finding(item.name, _numbered(item, text))
        except ExaminationError as error:
            say(f"  {error}")
            continue
        if told is not None:
            own[told.item] = told.answer
        say(one_line(examine(found | own, context, scan_policy=scan_policy)))
        i += 1
    say("")
    return examine(found | own, context, scan_policy=scan_policy)


def _asked(context: ExamContext) -> list[Item]:
    """The items to ask: inside only where that may be; conclusions and scans are not asked."""
    from ebbline.bedside.findings_catalogue import Step, items
    from ebbline.bedside.next_step import vaginal_allowed

    left_out = {Step.CONCLUSION, Step.SCAN}
    if not vaginal_allowed(context):
        left_out.add(Step.VAGINAL)
    return [item for item in items().values() if item.step not in left_out]


def _offered(item: Item) -> str:
    """The answers with their numbers; fifths and station are numbers themselves."""
    if _is_number(item):
        return ", ".join((*item.outcomes, UNCLEAR))
    listed = "   ".join(
        f"{n} {answer}".replace(" ", _TIED) for n, answer in enumerate(_listed(item), 1)
    )
    from ebbline.bedside.findings_catalogue import coarse_words

    coarse = coarse_words(item)
    if coarse:
        listed += f"   (or: {', '.join(coarse)})"
    lines = textwrap.wrap(listed, width() - 2, subsequent_indent="  ", break_on_hyphens=False)
    return "\n".join(lines).replace(_TIED, " ")


def _listed(item: Item) -> tuple[str, ...]:
    return (*item.outcomes, UNCLEAR)


def _is_number(item: Item) -> bool:
    return all(answer.lstrip("+-").isdigit() for answer in item.outcomes)


def _numbered(item: Item, text: str) -> str:
    """An answer given by its number in the list, as the word."""
    listed = _listed(item)
    if _is_number(item) or not text.isascii() or not text.isdigit():
        return text
    if not 1 <= int(text) <= len(listed):
        raise ExaminationError(
            f"{text} is not in the list.", where=item.name, remedy=f"Choose 1 to {len(listed)}."
        )
    return listed[int(text) - 1]
