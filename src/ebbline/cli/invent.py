"""`ebbline invent`: a virtual labour from a sentence, with its truth."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ebbline.cli.output import Force, Outputs
from ebbline.errors import ScenarioError

if TYPE_CHECKING:
    from ebbline.synth import Labour

_PICTURES = (".pdf", ".svg", ".png")
_LONGEST_SHEET_S = 9000.0


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command()(invent)


def invent(
    words: Annotated[
        str | None,
        typer.Argument(help='What the labour is like: "recurrent late, minimal variability".'),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Argument(help="File to write: .csv, .edf, .hea, .parquet, .json."),
    ] = None,
    hours: Annotated[
        float | None, typer.Option(help="Length in hours, where the words do not say.")
    ] = None,
    seed: Annotated[int, typer.Option(help="The same words and seed give the same labour.")] = 1,
    rate: Annotated[
        float | None, typer.Option(help="Samples per second: 4, 2 or 1; 4 unless said.")
    ] = None,
    truth: Annotated[Path | None, typer.Option(help="Write the truth to this JSON file.")] = None,
    picture: Annotated[
        Path | None,
        typer.Option(help="Draw the strip as read: a file ending in .svg, .pdf or .png."),
    ] = None,
    force: Force = False,
    list_words: Annotated[
        bool, typer.Option("--words", help="List the words that can be said, and leave.")
    ] = False,
) -> None:
    """Invent a labour: recording and truth, the same each time for the same words and seed.

    Chapters are parted by "then", each with its length. Sensors stay as in the first chapter.

    Example: ebbline invent "recurrent late, minimal variability, electrode" --hours 2 out.csv
    """
    if list_words:
        _list()
        return
    if words is None or out is None:
        raise ScenarioError(
            "nothing to invent." if words is None else "no file to write is named.",
            where="ebbline invent",
            remedy='Write: ebbline invent "words" out.csv; see --words for what can be said.',
        )
    if picture is not None and picture.suffix.lower() not in _PICTURES:
        raise ScenarioError(
            f'cannot draw a file that ends in "{picture.suffix}".',
            where=str(picture),
            remedy=f"End the name in {', '.join(_PICTURES)}.",
        )
    from ebbline.recording.registry import check_writable

    check_writable(out)
    outputs = Outputs(force=force)
    outputs.announce(out, truth, picture)
    labour = _labour(words, hours, seed, rate)
    saved = outputs.recording(labour.recording, out)
    for loss in saved.losses:
        typer.echo(f"Note: {loss}", err=True)
    outputs.json(labour.truth, truth)
    if picture is not None:
        _draw(labour, picture, outputs)
    typer.echo(_said(labour, saved.files))


def _labour(words: str, hours: float | None, seed: int, rate: float | None) -> Labour:
    from ebbline.synth import Story, invent

    if seed < 0:
        raise ScenarioError(
            f"{seed} is not a seed.", where="--seed", remedy="Choose a whole number from 0."
        )
    chapters = Story.from_words(words).chapters
    first = chapters[0]
    if rate is not None:
        first = replace(first, rate_hz=rate)
    if hours is not None:
        if len(chapters) > 1:
            raise ScenarioError(
                "a story of several chapters has its own length.",
                where="--hours",
                remedy='Give each chapter its length in the words: "tachysystole, 20 minutes".',
            )
        first = replace(first, hours=hours)
    return invent(Story((first, *chapters[1:])), seed)


def _draw(labour: Labour, picture: Path, outputs: Outputs) -> None:
    from ebbline.picture.strip import draw_strip
    from ebbline.reading.analyse import read
    from ebbline.terms import Window

    recording = labour.recording
    whole = Window(0.0, recording.duration_s)
    reading = read(recording, window=whole)
    one_sheet = picture.suffix.lower() == ".svg" and whole.duration_s <= _LONGEST_SHEET_S
    outputs.picture(draw_strip(recording, reading, window=whole, continuous=one_sheet), picture)


def _list() -> None:
    from ebbline.synth.scenario_parser import words_known

    for group, phrases in words_known().items():
        typer.echo(f"{group}: {', '.join(phrases)}")


def _said(labour: Labour, files: tuple[Path, ...]) -> str:
    truth = labour.truth
    falls: dict[str, int] = {}
    for fall in truth.decelerations:
        if fall.counts:
            falls[str(fall.kind)] = falls.get(str(fall.kind), 0) + 1
    parts = [
        f"{sum(c.counts for c in truth.contractions)} contractions",
        f"{sum(a.counts for a in truth.accelerations)} accelerations",
        *(f"{count} {kind} decelerations" for kind, count in sorted(falls.items())),
    ]
    names = ", ".join(str(file) for file in files)
    return f"{names}: {truth.duration_s / 60:.0f} minutes with " + ", ".join(parts) + "."
