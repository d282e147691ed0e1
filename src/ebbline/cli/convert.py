"""`ebbline convert`: any format that is read to any that is written."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ebbline.cli.output import Force, Outputs
from ebbline.cli.paper import PaperLine, PaperRange, PaperSpeed, PaperTraces


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command()(convert)


def convert(
    source: Annotated[
        Path, typer.Argument(help="Recording to read; a WFDB record needs no suffix.")
    ],
    target: Annotated[
        Path,
        typer.Argument(
            help="File to write; its suffix chooses the format: .hea, .edf, .csv, .parquet, .json."
        ),
    ],
    annotations: Annotated[
        Path | None,
        typer.Option(help="Add the annotations of a WFDB annotation file (.atr and the like)."),
    ] = None,
    annotations_out: Annotated[
        Path | None,
        typer.Option(help="Write the annotations as a WFDB annotation file too: .atr."),
    ] = None,
    paper_speed: PaperSpeed = None,
    paper_range: PaperRange = None,
    paper_line: PaperLine = None,
    paper_traces: PaperTraces = None,
    force: Force = False,
) -> None:
    """Write a recording in another format, and say what that format cannot hold.

    Examples:

      ebbline convert 1001 out.edf

      ebbline convert 1001 out.json --annotations 1001.atr

      ebbline convert strip.png out.csv --paper-speed 1
    """
    from dataclasses import replace

    from ebbline.recording import files_read, open_recording
    from ebbline.recording.paper_options import paper_options
    from ebbline.recording.registry import check_writable

    check_writable(target)
    outputs = Outputs(force=force, read=[*files_read(source), annotations])
    outputs.announce(target, annotations_out)
    paper = paper_options(paper_speed, paper_range, paper_line, paper_traces)
    recording = open_recording(source, **paper)
    if annotations is not None:
        from ebbline.recording.wfdb_annotations import with_annotations

        recording = with_annotations(recording, annotations)
    origin = f"converted from {recording.provenance.source} ({recording.provenance.format})."
    provenance = replace(recording.provenance, notes=(*recording.provenance.notes, origin))
    saved = outputs.recording(replace(recording, provenance=provenance), target)
    typer.echo("wrote " + ", ".join(map(str, saved.files)))
    if annotations_out is not None:
        rate_hz = max(channel.rate_hz for channel in recording.channels)
        outputs.annotations(recording.annotations, annotations_out, rate_hz)
    for channel in recording.channels:
        fetus = f" of fetus {channel.fetus}" if channel.fetus else ""
        minutes = channel.duration_s / 60
        typer.echo(
            f"  {channel.kind}{fetus}: {len(channel.samples)} samples at {channel.rate_hz:g} Hz "
            f"({minutes:.1f} min), sensor {channel.sensor}"
        )
    for note in recording.provenance.notes:
        typer.echo(f"note from reading: {note}")
    for loss in saved.losses:
        typer.echo(f"not held by this format: {loss}")
    if not saved.losses:
        typer.echo("nothing was lost.")
