"""`ebbline exam`: what the hands found, what it comes to, what to feel next."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ebbline.cli.output import Force, Outputs
from ebbline.errors import ContextError, ExaminationError
from ebbline.terms import Stage

if TYPE_CHECKING:
    from ebbline.bedside import ExamContext, ExamResult

_WIDEST = 100

Findings = Annotated[
    list[str] | None,
    typer.Argument(
        help='What was found, item=answer: fundus=breech back=left heart="left below". '
        "Leave out what was not examined.",
        metavar="ITEM=ANSWER...",
    ),
]
Weeks = Annotated[str | None, typer.Option(help="Weeks of gestation: 39, or 39+4 with days.")]
StageWord = Annotated[str | None, typer.Option(help="antepartum, first or second.")]
ExaminerWord = Annotated[
    str | None,
    typer.Option(help="Whose hands: learning, ordinary, experienced; textbook for teaching."),
]
Years = Annotated[
    float | None, typer.Option(help="The examiner's years of practice, in place of --examiner.")
]
Hindered = Annotated[
    list[str] | None,
    typer.Option(
        help="What hinders the hands (may be repeated): thick-wall, tense-uterus, contraction, "
        "front-placenta."
    ),
]
FundalHeight = Annotated[
    float | None, typer.Option("--fundal-height", help="Symphysis to fundus, cm.")
]
Girth = Annotated[float | None, typer.Option(help="Around her at the umbilicus, cm.")]


def register(app: typer.Typer) -> None:
    """Add the commands of this group."""
    from ebbline.cli import bedside_checks

    app.command()(exam)
    bedside_checks.register(app)


def exam(
    found: Findings = None,
    ask: Annotated[
        bool, typer.Option("--ask", help="Walk through the grips, answer by answer.")
    ] = False,
    weeks: Weeks = None,
    stage: StageWord = None,
    births: Annotated[int | None, typer.Option(help="Number of earlier births.")] = None,
    previous_breech: Annotated[
        bool | None,
        typer.Option("--previous-breech/--no-previous-breech", help="An earlier breech birth."),
    ] = None,
    placenta: Annotated[
        str | None, typer.Option(help="By scan: not-low, low, praevia, unknown.")
    ] = None,
    bleeding: Annotated[
        bool | None, typer.Option("--bleeding/--no-bleeding", help="Vaginal bleeding.")
    ] = None,
    membranes: Annotated[str | None, typer.Option(help="intact, ruptured, unknown.")] = None,
    fluid: Annotated[
        str | None, typer.Option(help="Amniotic fluid: little, normal, much, unknown.")
    ] = None,
    examiner: ExaminerWord = None,
    years: Years = None,
    hindered: Hindered = None,
    fundal_height: FundalHeight = None,
    girth: Girth = None,
    navel: Annotated[
        float | None, typer.Option(help="Symphysis to umbilicus over the skin, cm.")
    ] = None,
    mother_weight: Annotated[
        float | None, typer.Option("--mother-weight", help="Her weight in kg (Johnson's rule).")
    ] = None,
    prevalence: Annotated[
        float | None,
        typer.Option(help="Your unit's share of non-cephalic presentations, in per cent."),
    ] = None,
    second: Annotated[
        list[str] | None,
        typer.Option(
            "--second", help="Twins: a finding of the other twin, item=answer (may be repeated)."
        ),
    ] = None,
    picture: Annotated[
        Path | None, typer.Option(help="Draw the abdomen: a file ending in .svg, .pdf or .png.")
    ] = None,
    json: Annotated[
        str | None, typer.Option(help="Write the whole result to this file; - prints it.")
    ] = None,
    force: Force = False,
    everything: Annotated[
        bool, typer.Option("--all", help="Say everything the result rests on.")
    ] = False,
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
    from ebbline.bedside.wording import say_exam, say_twins, say_words

    if words:
        print(say_words(), end="")
        return
    if calibration:
        from ebbline.bedside.calibration import calibration_table

        print(calibration_table(), end="")
        return
    check_picture(picture)
    outputs = Outputs(force=force)
    outputs.announce(json, picture)
    context = context_from(
        weeks=weeks,
        stage=stage,
        births=births,
        previous_breech=previous_breech,
        placenta=placenta,
        bleeding=bleeding,
        membranes=membranes,
        fluid=fluid,
        examiner=examiner,
        years=years,
        hindered=hindered,
        fundal_height=fundal_height,
        girth=girth,
        navel=navel,
        mother_weight=mother_weight,
        prevalence=prevalence,
    )
    given = pairs(found or [])
    if not (given or ask or second):
        raise ExaminationError(
            "nothing was found yet.",
            where="ebbline exam",
            remedy="Give findings (fundus=breech back=left), or --ask to be asked, or --words for "
            "the list.",
        )
    from ebbline.bedside import examine, examine_twins

    if second:
        if ask:
            raise ExaminationError(
                "twins are not asked through.",
                where="--ask",
                remedy="Give both twins' findings: fundus=... --second fundus=...",
            )
        both = examine_twins(given, pairs(second), context)
        _draw([both.first, both.second], picture, outputs)
        outputs.json(both, json)
        if json != "-":
            print(say_twins(both, width=width(), everything=everything), end="")
        return
    if ask:
        from ebbline.cli.bedside_ask import walk

        result = walk(given, context, quiet=json == "-")
    else:
        result = examine(given, context)
    _draw([result], picture, outputs)
    outputs.json(result, json)
    if json != "-":
        print(say_exam(result, width=width(), everything=everything), end="")


def _draw(drawn: list[ExamResult], picture: Path | None, outputs: Outputs) -> None:
    """Draw the abdomen, where that was asked for."""
    if picture is not None:
        from ebbline.picture.abdomen import draw_abdomen

        outputs.picture(draw_abdomen(drawn), picture)


def check_picture(picture: Path | None) -> None:
    """Raise ExaminationError for a picture that could not be written, before any work is done."""
    endings = (".svg", ".pdf", ".png")
    if picture is not None and picture.suffix.lower() not in endings:
        raise ExaminationError(
            f"cannot draw a file that ends in '{picture.suffix}'.",
            where="--picture",
            remedy=f"End the name in {', '.join(endings)}.",
        )


def pairs(given: Iterable[str], where: str = "finding") -> list[tuple[str, str]]:
    """Item and answer of each 'item=answer'. Raises ExaminationError for anything else."""
    made = []
    for text in given:
        item, sign, answer = text.partition("=")
        if not sign or not item.strip():
            raise ExaminationError(
                f"'{text}' is not written as name=answer.",
                where=where,
                remedy='Write fundus=breech, or in quotes: "heart=left below".',
            )
        made.append((item, answer))
    return made


def width() -> int:
    """Columns to write in."""
    return min(shutil.get_terminal_size((_WIDEST, 24)).columns, _WIDEST)


def weeks_from(text: str | None) -> float | None:
    """Weeks from '39' or '39+4'. Raises ContextError for anything else."""
    if text is None:
        return None
    whole, plus, days = text.strip().partition("+")
    try:
        if plus and not 0 <= int(days) <= 6:
            raise ValueError
        return float(whole) + (int(days) / 7 if plus else 0.0)
    except ValueError:
        raise ContextError(
            f"'{text}' is not a number of weeks.",
            where="--weeks",
            remedy="Write 39, or 39+4 with days.",
        ) from None


def choice(text: str | None, kind: Any, option: str) -> Any:
    """A member of an enumeration from a word. Raises ContextError, with a suggestion."""
    from difflib import get_close_matches

    known = {str(member.value): member for member in kind}
    if text is None:
        return known.get("unknown")
    plain = text.strip().lower().replace("-", " ").replace("_", " ")
    if plain in known:
        return known[plain]
    close = get_close_matches(plain, known, n=1, cutoff=0.5)
    listed = ", ".join(word.replace(" ", "-") for word in known)
    remedy = f"Did you mean {close[0].replace(' ', '-')}?" if close else f"Choose from {listed}."
    raise ContextError(f"'{text}' cannot stand here.", where=option, remedy=remedy)


def context_from(
    *,
    weeks: str | None = None,
    stage: str | None = None,
    births: int | None = None,
    previous_breech: bool | None = None,
    placenta: str | None = None,
    bleeding: bool | None = None,
    membranes: str | None = None,
    fluid: str | None = None,
    examiner: str | None = None,
    years: float | None = None,
    hindered: list[str] | None = None,
    fundal_height: float | None = None,
    girth: float | None = None,
    navel: float | None = None,
    mother_weight: float | None = None,
    prevalence: float | None = None,
) -> ExamContext:
    """The context of an examination from the words of the command line.

    Raises ContextError or ExaminationError, naming the option, for what cannot be.
    """
    from ebbline.bedside import (
        ExamContext,
        Examiner,
        Fluid,
        Hindrance,
        Membranes,
        Placenta,
        examiner_for_years,
    )

    if examiner is not None and years is not None:
        raise ContextError(
            "both --examiner and --years are given.", where="--years", remedy="Give one."
        )
    if prevalence is not None and not 0 < prevalence < 100:
        raise ContextError(
            f"{prevalence:g} % cannot be.",
            where="--prevalence",
            remedy="Give per cent between 0 and 100.",
        )
    hands = Examiner.ORDINARY
    if examiner is not None:
        hands = choice(examiner, Examiner, "--examiner")
    elif years is not None:
        hands = examiner_for_years(years)
    return ExamContext(
        weeks=weeks_from(weeks),
        earlier_births=births,
        previous_breech=previous_breech,
        stage=choice(stage, Stage, "--stage"),
        placenta=choice(placenta, Placenta, "--placenta"),
        fluid=choice(fluid, Fluid, "--fluid"),
        membranes=choice(membranes, Membranes, "--membranes"),
        bleeding=bleeding,
        examiner=hands,
        hindrances=tuple(choice(word, Hindrance, "--hindered") for word in hindered or ()),
        fundal_height_cm=fundal_height,
        girth_cm=girth,
        symphysis_to_umbilicus_cm=navel,
        maternal_weight_kg=mother_weight,
        noncephalic_share=None if prevalence is None else prevalence / 100,
    )
