"""`ebbline archive`: whole archives read into tables, their report, and two runs compared."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from ebbline.cli.output import Force, Outputs
from ebbline.errors import ContextError

if TYPE_CHECKING:
    from ebbline.journal.store import Journal

_READ = "read"


class _Archive(TyperGroup):
    """A group whose first word may be the archive itself: then it is read."""

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """The command of the first word, or reading what it names."""
        if args and args[0] not in self.commands:
            args = [_READ, *args]
        return super().resolve_command(ctx, args)


archive = typer.Typer(
    cls=_Archive,
    no_args_is_help=True,
    help="Read a whole archive into tables: ebbline archive FOLDER --out RESULTS. "
    "Then its report, or two results compared.",
    rich_markup_mode=None,
)


def register(app: typer.Typer) -> None:
    """Add the command group."""
    app.add_typer(archive, name="archive")


@archive.command(_READ)
def read(
    where: Annotated[
        str, typer.Argument(help="Folder, pattern (in quotes) or fsspec address of recordings.")
    ],
    out: Annotated[Path, typer.Option(help="Folder for the tables.")],
    criteria: Annotated[
        str, typer.Option(help="Standards to class by, with commas.")
    ] = "nichd,figo,nice",
    scheduler: Annotated[
        str,
        typer.Option(help="Address of a Dask scheduler, tcp://...; default: cores here."),
    ] = "",
    workers: Annotated[int, typer.Option(help="Workers to start here; 0: one a core.", min=0)] = 0,
    force: Annotated[
        bool, typer.Option("--force", help="Make results of another version or standard anew.")
    ] = False,
) -> None:
    """Read every recording; go on where an earlier run ended; list what cannot be read.

    Example: ebbline archive recordings/ --out results/
    """
    from ebbline.cohort.fork_server import start_loading

    if not scheduler and not out.exists():
        # There is something to read: loading for it goes on beside our own.
        start_loading()
    from ebbline.cohort.run import run_archive
    from ebbline.criteria.asked import named_standards

    standards = named_standards(criteria, where="--criteria")
    try:
        with _Bar() as told:
            done = run_archive(
                where,
                out,
                standards=standards,
                scheduler=scheduler,
                workers=workers,
                force=force,
                progress=told,
            )
    except KeyboardInterrupt:
        typer.echo("Stopped. What was read is kept; the same command goes on from there.", err=True)
        raise
    typer.echo(
        f"{done.recordings} recordings: {done.read} gone through, {done.kept} unchanged since an "
        f"earlier run; {done.failed} of all cannot be read"
        + (" (why stands in failures.parquet and in the report)." if done.failed else ".")
    )
    typer.echo(f"Tables: {done.folder}. Next: ebbline archive report {done.folder}")


@archive.command()
def report(
    results: Annotated[Path, typer.Argument(help="Folder of results.")],
    readers: Annotated[
        Path | None, typer.Option(help="CSV file of readings that people gave of the windows.")
    ] = None,
    record: Annotated[
        str | None,
        typer.Option(
            help="Labour record of the same unit, its file or postgresql://...: reviews on time."
        ),
    ] = None,
    out: Annotated[
        list[Path] | None,
        typer.Option(help="File to write, .html or .pdf; may be told twice. Default: both."),
    ] = None,
    force: Force = False,
) -> None:
    """Write what an archive shows: one HTML page that works offline, and PDF.

    Example: ebbline archive report results/ --readers readings.csv
    """
    targets = out or [results / "report.html", results / "report.pdf"]
    for target in targets:
        _check_suffix(target, "a report is", (".html", ".pdf"))
    outputs = Outputs(force=force, read=[readers])
    outputs.announce(*targets)

    from ebbline.cohort.report.build import build_report

    made = build_report(results, readers, None if record is None else _record(record))
    for target in targets:
        if target.suffix.lower() == ".html":
            from ebbline.cohort.report.html import html

            outputs.text(target, html(made))
        else:
            from ebbline.cohort.report.pdf import pdf

            outputs.bytes(target, pdf(made))
        typer.echo(f"wrote {target}")


@archive.command()
def compare(
    before: Annotated[Path, typer.Argument(help="Folder of results of one version.")],
    after: Annotated[Path, typer.Argument(help="Folder of results of another.")],
    out: Annotated[
        Path | None, typer.Option(help="Write every changed window to a .csv or .parquet file.")
    ] = None,
    force: Force = False,
) -> None:
    """Tell which recordings changed class between two results, and why.

    Example: ebbline archive compare results-before results-after
    """
    outputs = Outputs(force=force)
    if out is not None:
        _check_suffix(out, "the changes are", (".csv", ".parquet"))
        outputs.announce(out)
    from ebbline.cohort.compare import changes, said
    from ebbline.cohort.compare import compare as compared

    found = compared(before, after)
    typer.echo(said(found), nl=False)
    if out is not None:
        outputs.bytes(out, changes(found, out.suffix.lower()))
        typer.echo(f"wrote {out}")


def _record(place: str) -> Journal:
    from ebbline.journal.store import Journal

    if "://" not in place and not Path(place).is_file():
        # Opening it would make an empty one.
        raise ContextError(
            "there is no labour record.", where=place, remedy="Name its file, or postgresql://..."
        )
    return Journal(place)


def _check_suffix(target: Path, what: str, known: tuple[str, ...]) -> None:
    if target.suffix.lower() not in known:
        raise ContextError(
            f"{what} not written as '{target.suffix}'.",
            where=str(target),
            remedy=f"End the name in {' or '.join(known)}.",
        )


class _Bar:
    """A bar with the time left on a terminal; lines now and then where there is none."""

    def __init__(self) -> None:
        from rich.console import Console
        from rich.progress import (
            BarColumn,
            MofNCompleteColumn,
            Progress,
            TextColumn,
            TimeElapsedColumn,
            TimeRemainingColumn,
        )

        self._progress = Progress(
            TextColumn("reading"),
            BarColumn(),
            MofNCompleteColumn(),
            TextColumn("gone"),
            TimeElapsedColumn(),
            TextColumn("left"),
            TimeRemainingColumn(),
            console=Console(stderr=True),
        )
        self._task = self._progress.add_task("reading", total=None)

    def __enter__(self) -> Any:
        return self._tell

    def _tell(self, done: int, of: int) -> None:
        # Nothing is drawn before there is something to read.
        self._progress.start()
        self._progress.update(self._task, completed=done, total=of)

    def __exit__(self, *_: object) -> None:
        self._progress.stop()
