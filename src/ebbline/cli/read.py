"""`ebbline read`: a recording, read and said; and `ebbline schema`, the form of its JSON."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ebbline.cli.output import Force, Outputs
from ebbline.cli.paper import PaperLine, PaperRange, PaperSpeed, PaperTraces
from ebbline.errors import ContextError
from ebbline.terms import Stage

if TYPE_CHECKING:
    from ebbline.recording.model import Context, Recording
    from ebbline.terms import Window

_PICTURES = (".pdf", ".svg", ".png")
_SPEEDS = (1, 2, 3)
_WEEKS = (20.0, 44.0)
_WIDEST = 100


def register(app: typer.Typer) -> None:
    """Add the commands of this file."""
    app.command()(read)
    app.command()(schema)


def read(
    paths: Annotated[
        list[str],
        typer.Argument(
            metavar="FILE...",
            help="The recording: .hea (or its name without ending), .edf, .csv, .parquet, .json; "
            "or pictures of a strip on paper (.jpg, .png, .tif, .pdf), several in order of time.",
        ),
    ],
    weeks: Annotated[
        str | None, typer.Option(help="Weeks of gestation: 37, or 37+4 with days.")
    ] = None,
    stage: Annotated[
        str | None, typer.Option(help="Stage of labour: first, second or antepartum.")
    ] = None,
    oxytocin: Annotated[
        bool | None, typer.Option("--oxytocin/--no-oxytocin", help="Oxytocin is running.")
    ] = None,
    epidural: Annotated[
        bool | None, typer.Option("--epidural/--no-epidural", help="An epidural is in place.")
    ] = None,
    criteria: Annotated[
        str, typer.Option(help="Standards to class by, with commas: nichd, figo, nice, nst.")
    ] = "nichd,figo,nice",
    start: Annotated[
        str | None,
        typer.Option("--from", help="Start of the window: 0:30 from the start, or @14:32."),
    ] = None,
    end: Annotated[
        str | None, typer.Option("--to", help="End of the window: 1:00, or @15:02.")
    ] = None,
    fetus: Annotated[
        int | None, typer.Option(help="Of twins, say and draw only this one: 1, 2, ...")
    ] = None,
    json: Annotated[
        str | None,
        typer.Option(help="Write the whole reading to this file; - prints it in place of words."),
    ] = None,
    picture: Annotated[
        Path | None, typer.Option(help="Draw the window: a file ending in .pdf, .svg or .png.")
    ] = None,
    speed: Annotated[int, typer.Option(help="Paper speed of the picture: 1, 2 or 3 cm/min.")] = 3,
    full: Annotated[
        bool, typer.Option("--full", help="Say everything: each reason, the panel, the sources.")
    ] = False,
    annotations_out: Annotated[
        Path | None,
        typer.Option(help="Write the findings as WFDB annotations: a file ending in .atr."),
    ] = None,
    paper_speed: PaperSpeed = None,
    paper_range: PaperRange = None,
    paper_line: PaperLine = None,
    paper_traces: PaperTraces = None,
    force: Force = False,
) -> None:
    """Read a recording, say what it shows, and class it with reasons.

    The window is the last 30 minutes unless --from and --to say otherwise. What is said here of
    the labour counts before what the file says. Without --weeks, 32 weeks or more are assumed.

    Examples:

      ebbline read 1001.hea --weeks 39 --stage first --picture strip.pdf

      ebbline read strip.jpg --paper-speed 3
    """
    from ebbline.criteria.asked import chosen_standards

    standards = chosen_standards(criteria, where="--criteria")
    _check_picture(picture, speed)
    asked_weeks, asked_stage = _weeks(weeks), _stage(stage)

    from ebbline.reading.analyse import read as analyse
    from ebbline.reading.text import say
    from ebbline.recording import files_read, open_recording
    from ebbline.recording.paper_options import paper_options

    path, *more = paths
    paper = paper_options(paper_speed, paper_range, paper_line, paper_traces, more)
    outputs = Outputs(force=force, read=[file for one in paths for file in files_read(one)])
    outputs.announce(json, picture, annotations_out)
    recording = open_recording(path, **paper)
    if fetus is not None:
        recording.heart_rate(fetus)
    reading = analyse(
        recording,
        context=_context(recording.context, asked_weeks, asked_stage, oxytocin, epidural),
        window=_window(recording, start, end),
        standards=standards,
    )
    if picture is not None:
        from ebbline.picture.strip import draw_strip

        shown = recording.fetuses[0] if fetus is None else fetus
        drawing = draw_strip(recording, reading, fetus=shown, speed_cm_per_min=speed)
        outputs.picture(drawing, picture)
    outputs.json(reading, json)
    if annotations_out is not None:
        from ebbline.reading.marks import annotations_of

        rate_hz = max(channel.rate_hz for channel in recording.channels)
        outputs.annotations(annotations_of(reading), annotations_out, rate_hz)
    if json != "-":
        print(say(reading, fetus=fetus, width=_width(), full=full), end="")


def schema() -> None:
    """Print the JSON schema of what `ebbline read --json` writes."""
    from ebbline.reading.schema import reading_schema

    print(reading_schema(), end="")


def _weeks(text: str | None) -> float | None:
    if text is None:
        return None
    whole, plus, days = text.strip().partition("+")
    try:
        weeks = float(whole) + (int(days) / 7 if plus else 0.0)
        fits = _WEEKS[0] <= weeks <= _WEEKS[1] and (not plus or 0 <= int(days) <= 6)
    except ValueError:
        fits = False
    if not fits:
        raise ContextError(
            f"'{text}' is not a number of weeks that a trace is read at.",
            where="--weeks",
            remedy=f"Write weeks from {_WEEKS[0]:.0f} to {_WEEKS[1]:.0f}, as 37 or 37+4.",
        )
    return weeks


def _stage(text: str | None) -> Stage | None:
    if text is None:
        return None
    stages = {stage.value: stage for stage in Stage if stage is not Stage.UNKNOWN}
    if text.strip().lower() not in stages:
        raise ContextError(
            f"'{text}' is not a stage.",
            where="--stage",
            remedy=f"Choose from {', '.join(stages)}.",
        )
    return stages[text.strip().lower()]


def _context(
    given: Context,
    weeks: float | None,
    stage: Stage | None,
    oxytocin: bool | None,
    epidural: bool | None,
) -> Context:
    """The recording's context, with what the user said in place of what the file said."""
    context = given
    if weeks is not None:
        context = replace(context, weeks=weeks)
    if stage is not None:
        context = replace(context, stage=stage, second_stage_start_s=None)
    if oxytocin is not None:
        context = replace(context, oxytocin=oxytocin)
    if epidural is not None:
        context = replace(context, epidural=epidural)
    return context


def _window(recording: Recording, start: str | None, end: str | None) -> Window | None:
    """The window asked for; with one end given, the other is 30 minutes off or the rim."""
    if start is None and end is None:
        return None
    from ebbline.cli.times import time_s
    from ebbline.reading.analyse import WINDOW_S
    from ebbline.terms import Window

    def seconds(text: str, option: str) -> float:
        return time_s(text, option=option, start=recording.start, duration_s=recording.duration_s)

    if start is None:
        end_s = seconds(end or "", "--to")
        return Window(max(end_s - WINDOW_S, 0.0), end_s)
    start_s = seconds(start, "--from")
    if end is None:
        return Window(start_s, min(start_s + WINDOW_S, recording.duration_s))
    return Window(start_s, seconds(end, "--to"))


def _check_picture(picture: Path | None, speed: int) -> None:
    if picture is not None and picture.suffix.lower() not in _PICTURES:
        raise ContextError(
            f"cannot draw a file that ends in '{picture.suffix}'.",
            where=str(picture),
            remedy=f"End the name in {', '.join(_PICTURES)}.",
        )
    if speed not in _SPEEDS:
        raise ContextError(
            f"{speed} cm/min is not a paper speed.", where="--speed", remedy="Choose 1, 2 or 3."
        )


def _width() -> int:
    return min(shutil.get_terminal_size().columns, _WIDEST)
