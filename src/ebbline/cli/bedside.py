"""`ebbline exam` and `plate`: what the hands found, what it comes to, and how it is drawn."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ebbline.cli.bedside_options import (
    Findings,
    Hands,
    Measures,
    Pregnancy,
    Results,
    check_picture,
    context_from,
    grouped,
    pairs,
    width,
)
from ebbline.cli.output import Force, Outputs
from ebbline.errors import ExaminationError

if TYPE_CHECKING:
    from ebbline.bedside import ExamContext, ExamResult


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command()(exam)
    app.command()(plate)


@grouped
def exam(
    pregnancy: Pregnancy,
    hands: Hands,
    measures: Measures,
    results: Results,
    found: Findings = None,
    ask: Annotated[
        bool, typer.Option("--ask", help="Walk through the grips, answer by answer.")
    ] = False,
    second: Annotated[
        list[str] | None,
        typer.Option(
            "--second", help="Twins: a finding of the other twin, item=answer (may be repeated)."
        ),
    ] = None,
    scan_policy: Annotated[
        Path | None,
        typer.Option(help="Your unit's own policy for scan advice (YAML); a copy of ours."),
    ] = None,
    words: Annotated[
        bool, typer.Option("--words", help="List all items and answers, and leave.")
    ] = False,
    calibration: Annotated[
        bool,
        typer.Option("--calibration", help="Print the model's accuracy beside the studies'."),
    ] = False,
) -> None:
    """Examine the abdomen: lie, presentation, position, descent as probabilities, and what next.

    An item left out was not examined; 'not felt' and 'unclear' are answers of their own. Nothing
    told of the placenta, bleeding or membranes counts as unknown.

    Examples:

      ebbline exam fundus=breech back=left brim=head fifths=3 --weeks 39 --stage first

      ebbline exam --ask --weeks 39 --picture abdomen.pdf

      ebbline exam fundus=head brim=breech back=left --second back=right --weeks 36
    """
    if words:
        from ebbline.bedside.wording import say_words

        print(say_words(), end="")
        return
    if calibration:
        from ebbline.bedside.calibration import calibration_table

        print(calibration_table(), end="")
        return
    check_picture(results.picture)
    context = context_from(pregnancy, hands, measures)
    given = pairs(found or [])
    if not (given or ask or second):
        raise ExaminationError(
            "nothing was found yet.",
            where="ebbline exam",
            remedy="Give findings (fundus=breech back=left), or --ask to be asked, or --words for "
            "the list.",
        )
    if second:
        if ask:
            raise ExaminationError(
                "twins are not asked through.",
                where="--ask",
                remedy="Give both twins' findings: fundus=... --second fundus=...",
            )
        _twins(given, pairs(second), context, results)
        return
    _one(given, context, results, ask=ask, scan_policy=scan_policy)


def _one(
    given: list[tuple[str, str]],
    context: ExamContext,
    results: Results,
    *,
    ask: bool,
    scan_policy: Path | None,
) -> None:
    from ebbline.bedside import examine
    from ebbline.bedside.policy.scan import load_scan
    from ebbline.bedside.wording import say_exam

    policy = load_scan(scan_policy)
    if ask:
        from ebbline.cli.bedside_ask import walk

        result = walk(given, context, quiet=results.json == "-", scan_policy=policy)
    else:
        result = examine(given, context, scan_policy=policy)
    outputs = Outputs(force=results.force)
    _draw([result], results.picture, outputs)
    outputs.json(result, results.json)
    if results.json != "-":
        print(say_exam(result, width=width(), everything=results.everything), end="")


def _twins(
    first: list[tuple[str, str]],
    second: list[tuple[str, str]],
    context: ExamContext,
    results: Results,
) -> None:
    from ebbline.bedside import examine_twins
    from ebbline.bedside.wording import say_twins

    both = examine_twins(first, second, context)
    outputs = Outputs(force=results.force)
    _draw([both.first, both.second], results.picture, outputs)
    outputs.json(both, results.json)
    if results.json != "-":
        print(say_twins(both, width=width(), everything=results.everything), end="")


def _draw(drawn: list[ExamResult], picture: Path | None, outputs: Outputs) -> None:
    """Draw the abdomen, where that was asked for."""
    if picture is not None:
        from ebbline.picture.abdomen import draw_abdomen

        outputs.picture(draw_abdomen(drawn), picture)


def plate(
    position: Annotated[
        str, typer.Argument(help="How the fetus lies: LOA, ROP, LSA, LMA, transverse ...")
    ],
    picture: Annotated[Path, typer.Argument(help="A file ending in .svg, .pdf or .png.")],
    fifths: Annotated[
        int, typer.Option(min=0, max=5, help="Fifths of the presenting part above the brim.")
    ] = 4,
    force: Force = False,
) -> None:
    """Draw a teacher's plate: the fetus in its place with the names of its parts, no numbers.

    Example: ebbline plate LOA loa.svg
    """
    from ebbline.bedside import ExamContext
    from ebbline.bedside.geometry import abdomen_for
    from ebbline.bedside.states import state_called
    from ebbline.picture.abdomen import draw_plate

    check_picture(picture)
    state = state_called(position, fifths)
    document = draw_plate(state, abdomen_for(ExamContext()))
    Outputs(force=force).picture(document, picture)
