"""`ebbline teach`: virtual patients in the terminal, on paper, and what a class learned."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ebbline.cli.output import Force, Outputs
from ebbline.errors import EbblineError, ScenarioError
from ebbline.terms import counted

if TYPE_CHECKING:
    from ebbline.teach.attempt_record import FinishedAttempt

CaseName = Annotated[
    str, typer.Argument(help="A shipped case (see `ebbline teach list`) or a YAML file.")
]
Variant = Annotated[int, typer.Option("--variant", help="Seed of the variant; 0 is as written.")]
StorePath = Annotated[
    Path | None,
    typer.Option("--store", help="The workbench's store. [default: in your own data directory]"),
]

teach_app = typer.Typer(no_args_is_help=True, help="Virtual patients: play, print, report.")


def register(app: typer.Typer) -> None:
    """Add the commands of this group."""
    app.add_typer(teach_app, name="teach")


@teach_app.command("list")
def list_cases(
    difficulty: Annotated[int | None, typer.Option(min=1, max=5, help="Only this one.")] = None,
    shows: Annotated[
        str | None, typer.Option("--shows", help='A term, such as "late deceleration".')
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON.")] = False,
) -> None:
    """List the shipped cases; --shows tells what they teach, so not for those who will play."""
    from ebbline.teach.index import index
    from ebbline.teach.library import shipped

    chosen = [
        case
        for case in shipped().values()
        if (difficulty is None or case.difficulty == difficulty)
        and (shows is None or any(shows.lower() in term for term in index()[case.id].shows))
    ]
    if as_json:
        rows = [
            {
                "id": case.id,
                "title": case.title,
                "difficulty": case.difficulty,
                "asks": [step.value for step in case.asks],
                "standard": case.standard.value,
                "shows": list(index()[case.id].shows),
            }
            for case in chosen
        ]
        typer.echo(json.dumps(rows, ensure_ascii=False, indent=2))
        return
    for case in chosen:
        asks = ", ".join(case.asks)
        typer.echo(f"{case.difficulty}  {case.id:32s}  {case.title}  ({asks})")
    typer.echo(f"{counted(len(chosen), 'case')}.")


@teach_app.command()
def show(
    case: CaseName,
    variant: Variant = 0,
    truth: Annotated[
        bool, typer.Option("--truth", help="Also what is true of it; not for who will play.")
    ] = False,
) -> None:
    """Show a case's story and notes."""
    from ebbline.teach.library import named_or_file
    from ebbline.teach.patient import check as sound
    from ebbline.teach.patient import variant as varied

    found = named_or_file(case)
    sound(found)
    told = varied(found, variant)
    typer.echo(f"{told.title} (difficulty {told.difficulty} of 5)\n")
    for text in (told.story.who, told.story.scene, f"Task: {told.story.task}"):
        typer.echo(text)
    if told.recorded is None:
        from ebbline.teach.notes import notes_of

        typer.echo("\nFrom her notes")
        for name, words in notes_of(told):
            typer.echo(f"  {name}: {words}")
    if truth:
        typer.echo("\nWhat is true")
        from ebbline.teach.truth_words import truth_in_words

        for name, words in truth_in_words(found, variant):
            typer.echo(f"  {name}: {words}")


@teach_app.command()
def check(
    files: Annotated[list[Path], typer.Argument(help="Case files (YAML).")],
) -> None:
    """Check case files, and tell what each truly shows."""
    from ebbline.teach.case import case_from_file
    from ebbline.teach.patient import check as sound
    from ebbline.teach.truth_words import truth_in_words
    from ebbline.teach.variants import draw_that_keeps_promises, missing_promises, shown_by

    problems = []
    for file in files:
        try:
            case = case_from_file(file)
            sound(case)
            words = truth_in_words(case, 0)
            shown = sorted(shown_by(case))
            if missing := missing_promises(case):
                draw = draw_that_keeps_promises(case)
                raise ScenarioError(
                    f"its strip does not show what it promises: {', '.join(missing)}.",
                    where=str(file),
                    remedy="Change the labour or the promises"
                    + (f", or set `draw: {draw}`." if draw is not None else "."),
                )
        except EbblineError as error:
            problems.append(str(error))
            continue
        typer.echo(f"{file}: sound. {case.title}, difficulty {case.difficulty}.")
        for name, said in words:
            typer.echo(f"  {name}: {said}")
        typer.echo(f"  Shows: {'; '.join(shown) or 'nothing that is asked'}")
    if problems:
        for problem in problems:
            typer.echo(f"ebbline: {problem}", err=True)
        raise typer.Exit(2)


@teach_app.command()
def play(
    case: CaseName,
    variant: Variant = 0,
    record: Annotated[
        Path | None, typer.Option(help="Also write steps and score here, as JSON.")
    ] = None,
    force: Force = False,
) -> None:
    """Play a case in the terminal, in words; the debrief follows."""
    from ebbline.teach.library import named_or_file
    from ebbline.teach.terminal import Player

    outputs = Outputs(force=force, read=[Path(case)])
    outputs.announce(record)
    found = named_or_file(case)
    player = Player(found, variant, typer.echo, lambda words: str(typer.prompt(words, default="")))
    player.run()
    if record is not None:
        outputs.text(record, player.record())


@teach_app.command()
def sheet(
    case: CaseName,
    target: Annotated[Path, typer.Argument(help="File to write: .pdf (or .svg, .png).")],
    variant: Variant = 0,
    answers: Annotated[bool, typer.Option("--answers", help="With the answers.")] = False,
    force: Force = False,
) -> None:
    """Print a case: story, what the hands feel, the strip at true scale, the questions."""
    from ebbline.teach.library import named_or_file
    from ebbline.teach.patient import check as sound
    from ebbline.teach.printout import sheet as made

    outputs = Outputs(force=force, read=[Path(case)])
    outputs.announce(target)
    found = named_or_file(case)
    sound(found)
    for path in outputs.picture(made(found, variant, answers=answers), target):
        typer.echo(f"Wrote {path}.")


@teach_app.command()
def report(
    store: StorePath = None,
    assignment: Annotated[str, typer.Option(help="Only this assignment's attempts.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="As JSON.")] = False,
) -> None:
    """The class report: questions, agreement, confusion of terms, progress, unsafe choices."""
    from ebbline import codec
    from ebbline.teach.report import class_report, report_text

    made = class_report(_finished(store, assignment)[0])
    typer.echo(codec.to_json(made, indent=2) if as_json else report_text(made), nl=as_json)


@teach_app.command()
def portfolio(
    learner: Annotated[str, typer.Argument(help="The learner's account name.")],
    store: StorePath = None,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON.")] = False,
) -> None:
    """A learner's results: cases, growth by term, how sure, unsafe choices."""
    from ebbline import codec
    from ebbline.teach.portfolio import portfolio as made
    from ebbline.teach.portfolio import portfolio_text

    finished = _finished(store, "")[0]
    known = sorted({attempt.learner for attempt in finished})
    if learner not in known:
        raise EbblineError(
            f"{learner!r} has finished no case.",
            remedy="Known: " + ", ".join(known) + "." if known else "Nobody has yet.",
        )
    found = made(finished, learner)
    typer.echo(codec.to_json(found, indent=2) if as_json else portfolio_text(found), nl=as_json)


@teach_app.command()
def passmark(
    judgements: Annotated[
        Path,
        typer.Argument(
            help="CSV with a heading: cases, then one column a judge, 0 to 100; with --borderline "
            "learners, their scores (0 to 100), the examiner's rating of the whole."
        ),
    ],
    borderline: Annotated[
        float | None,
        typer.Option(help="The rating that means just good enough: by borderline regression."),
    ] = None,
) -> None:
    """A pass mark: by Angoff's method from judges, or by borderline regression from learners."""
    from ebbline.teach.statistics.reliability import angoff, borderline_regression

    remedy = "A heading; then for each case its name and each judge's 0 to 100."
    if borderline is not None:
        remedy = "A heading; then for each of three learners or more name, score 0 to 100, rating."
    try:
        rows = _numbers_after_names(judgements)
        if borderline is None:
            made = angoff([[cell / 100 for cell in row] for row in zip(*rows, strict=True)])
            basis = f"{counted(made.judges, 'judge')}, {counted(made.items, 'case')}"
        else:
            shares, ratings = zip(*rows, strict=True)
            if not all(0 <= share <= 100 for share in shares):
                raise ValueError("scores are 0 to 100")
            made = borderline_regression([s / 100 for s in shares], ratings, borderline)
            basis = f"{counted(len(shares), 'learner')}, just good enough rated {borderline:g}"
    except (OSError, ValueError) as error:
        raise EbblineError(
            f"no pass mark can be made of it: {error}.", where=str(judgements), remedy=remedy
        ) from None
    error_words = f", standard error {100 * made.error:.1f}" if made.error == made.error else ""
    typer.echo(f"Pass mark {100 * made.mark:.1f} of 100 by {made.method} ({basis}{error_words}).")


def _numbers_after_names(path: Path) -> list[list[float]]:
    """The numbers of a table's rows, after its heading and each row's name."""
    import csv

    rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))[1:]
    return [[float(cell) for cell in row[1:]] for row in rows if row]


@teach_app.command()
def practice(
    one: Annotated[str, typer.Argument(help='A term, such as "late deceleration".')],
    other: Annotated[str, typer.Argument(help="The term that it is taken for.")],
    seed: Annotated[int, typer.Option(min=0, help="Other strips with another seed.")] = 0,
) -> None:
    """Ten short strips of one term or the other, in random order: say which."""
    from ebbline.teach.practice import contrasting
    from ebbline.teach.terminal import strip_in_letters

    right = 0
    for strip in contrasting((one, other), seed):
        typer.echo("\n".join(strip_in_letters(strip.recording, strip.window)))
        said = str(typer.prompt(f"{strip.number}: 1 {one}, 2 {other}", default=""))
        given = {"1": one, "2": other}.get(said.strip(), said.strip())
        right += given == strip.answer
        typer.echo(("Right. " if given == strip.answer else "No. ") + strip.why)
    typer.echo(f"{right} of 10 right.")


@teach_app.command()
def export(
    target: Annotated[Path, typer.Argument(help="File to write: .csv, or .json for xAPI.")],
    store: StorePath = None,
    assignment: Annotated[str, typer.Option(help="Only this assignment's attempts.")] = "",
    names: Annotated[
        bool, typer.Option("--names", help="With the learners' names; else with pseudonyms.")
    ] = False,
    home_page: Annotated[
        str, typer.Option(help="xAPI: web address that accounts and activities belong to.")
    ] = "",
    force: Force = False,
) -> None:
    """Export finished attempts: CSV, one row a step, or xAPI statements."""
    from ebbline.teach.export import HOME_PAGE, pseudonyms, to_csv, to_xapi

    suffix = target.suffix.lower()
    if suffix not in (".csv", ".json"):
        raise EbblineError(
            "attempts are exported as CSV or xAPI.",
            where=str(target),
            remedy="End the name in .csv or .json.",
        )
    outputs = Outputs(force=force, read=[store])
    outputs.announce(target)
    finished, secret = _finished(store, assignment)
    shown = {a.learner: a.learner for a in finished} if names else pseudonyms(finished, secret)
    if suffix == ".csv":
        text = to_csv(finished, shown)
    else:
        statements = to_xapi(finished, shown, home_page=home_page or HOME_PAGE)
        text = json.dumps(statements, ensure_ascii=False, indent=1, allow_nan=False) + "\n"
    outputs.text(target, text)
    typer.echo(f"Wrote {counted(len(finished), 'attempt')} to {target}.")


def _finished(path: Path | None, assignment: str) -> tuple[tuple[FinishedAttempt, ...], bytes]:
    from ebbline.store import StoreError
    from ebbline.web.settings import default_store
    from ebbline.web.store import Store
    from ebbline.web.teaching.store import Teaching

    place = path or default_store()
    if not place.exists():
        raise StoreError("there is no store.", where=str(place), remedy="Give it with --store.")
    store = Store(place)
    try:
        return Teaching(store).finished(assignment=assignment or None), store.secret()
    finally:
        store.close()
