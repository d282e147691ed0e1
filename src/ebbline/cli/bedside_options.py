"""Options that the examination's commands share, grouped, and what they come to.

A group is a frozen dataclass whose fields are options. `grouped` lets a command take a group as
one parameter: on the command line its fields stand one by one, in the code they travel together.
"""

from __future__ import annotations

import functools
import inspect
import shutil
from collections.abc import Callable, Iterable
from dataclasses import MISSING, dataclass, fields, is_dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

import typer

from ebbline.cli.output import Force
from ebbline.errors import ContextError, ExaminationError
from ebbline.terms import Stage

if TYPE_CHECKING:
    from ebbline.bedside import ExamContext

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


@dataclass(frozen=True, slots=True)
class Pregnancy:
    """What is known of the pregnancy and of the labour."""

    weeks: Weeks = None
    stage: StageWord = None
    births: Annotated[int | None, typer.Option(help="Number of earlier births.")] = None
    previous_breech: Annotated[
        bool | None,
        typer.Option("--previous-breech/--no-previous-breech", help="An earlier breech birth."),
    ] = None
    placenta: Annotated[
        str | None, typer.Option(help="By scan: not-low, low, praevia, unknown.")
    ] = None
    bleeding: Annotated[
        bool | None, typer.Option("--bleeding/--no-bleeding", help="Vaginal bleeding.")
    ] = None
    membranes: Annotated[str | None, typer.Option(help="intact, ruptured, unknown.")] = None
    fluid: Annotated[
        str | None, typer.Option(help="Amniotic fluid: little, normal, much, unknown.")
    ] = None
    prevalence: Annotated[
        float | None,
        typer.Option(help="Your unit's share of non-cephalic presentations, in per cent."),
    ] = None


@dataclass(frozen=True, slots=True)
class Hands:
    """Whose hands they are, and what hinders them."""

    examiner: ExaminerWord = None
    years: Years = None
    hindered: Hindered = None


@dataclass(frozen=True, slots=True)
class Measures:
    """What the tape and the scales say."""

    fundal_height: FundalHeight = None
    girth: Girth = None
    navel: Annotated[
        float | None, typer.Option(help="Symphysis to umbilicus over the skin, cm.")
    ] = None
    mother_weight: Annotated[
        float | None, typer.Option("--mother-weight", help="Her weight in kg (Johnson's rule).")
    ] = None


@dataclass(frozen=True, slots=True)
class Results:
    """Where the result goes, and how much of it is said."""

    picture: Annotated[
        Path | None, typer.Option(help="Draw the abdomen: a file ending in .svg, .pdf or .png.")
    ] = None
    json: Annotated[
        str | None, typer.Option(help="Write the whole result to this file; - prints it.")
    ] = None
    force: Force = False
    everything: Annotated[
        bool, typer.Option("--all", help="Say everything the result rests on.")
    ] = False


def grouped(command: Callable[..., None]) -> Callable[..., None]:
    """A command that takes groups of options, as Typer reads it: with every option by itself."""
    hints = get_type_hints(command, include_extras=True)
    flat: list[inspect.Parameter] = []
    groups: dict[str, type[Any]] = {}
    for name, parameter in inspect.signature(command).parameters.items():
        kind = hints[name]
        if not is_dataclass(kind) or not isinstance(kind, type):
            flat.append(parameter.replace(annotation=kind))
            continue
        groups[name] = kind
        types = get_type_hints(kind, include_extras=True)
        for one in fields(kind):
            assert one.default is not MISSING
            flat.append(
                inspect.Parameter(
                    one.name,
                    inspect.Parameter.POSITIONAL_OR_KEYWORD,
                    default=one.default,
                    annotation=types[one.name],
                )
            )

    @functools.wraps(command)
    def taken(**given: Any) -> None:
        gathered = {
            name: kind(**{one.name: given.pop(one.name) for one in fields(kind)})
            for name, kind in groups.items()
        }
        command(**given, **gathered)

    taken.__dict__["__signature__"] = inspect.Signature(flat)
    taken.__annotations__ = {one.name: one.annotation for one in flat}
    return taken


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
    pregnancy: Pregnancy, hands: Hands | None = None, measures: Measures | None = None
) -> ExamContext:
    """The context of an examination from the words of the command line.

    Raises ContextError or ExaminationError, naming the option, for what cannot be.
    """
    from ebbline.bedside import ExamContext, Fluid, Hindrance, Membranes, Placenta
    from ebbline.bedside.number_words import weeks_from

    hands = Hands() if hands is None else hands
    measures = Measures() if measures is None else measures
    share = pregnancy.prevalence
    if share is not None and not 0 < share < 100:
        raise ContextError(
            f"{share:g} % cannot be.",
            where="--prevalence",
            remedy="Give per cent between 0 and 100.",
        )
    return ExamContext(
        weeks=None if pregnancy.weeks is None else weeks_from(pregnancy.weeks, "--weeks"),
        earlier_births=pregnancy.births,
        previous_breech=pregnancy.previous_breech,
        stage=choice(pregnancy.stage, Stage, "--stage"),
        placenta=choice(pregnancy.placenta, Placenta, "--placenta"),
        fluid=choice(pregnancy.fluid, Fluid, "--fluid"),
        membranes=choice(pregnancy.membranes, Membranes, "--membranes"),
        bleeding=pregnancy.bleeding,
        examiner=_examiner(hands),
        hindrances=tuple(choice(word, Hindrance, "--hindered") for word in hands.hindered or ()),
        fundal_height_cm=measures.fundal_height,
        girth_cm=measures.girth,
        symphysis_to_umbilicus_cm=measures.navel,
        maternal_weight_kg=measures.mother_weight,
        noncephalic_share=None if share is None else share / 100,
    )


def _examiner(hands: Hands) -> Any:
    from ebbline.bedside import Examiner, examiner_for_years

    if hands.examiner is not None and hands.years is not None:
        raise ContextError(
            "both --examiner and --years are given.", where="--years", remedy="Give one."
        )
    if hands.examiner is not None:
        return choice(hands.examiner, Examiner, "--examiner")
    return Examiner.ORDINARY if hands.years is None else examiner_for_years(hands.years)
